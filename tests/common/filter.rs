//! A service that cuts regions out of a real forecast, as NCEP's filter of GRIB files does, written
//! without the program: a message is taken apart, its columns and rows chosen, and put together again
//! with the very integers it had.

use std::collections::HashMap;

/// What the service has: the forecast of 2020-03-14 00 UTC, 41 to 51 N, 5 W to 9 E, every 0.25 degrees.
pub const WHOLE: &[u8] = include_bytes!("../data/grids/gfs_0p25_western_europe_20200314_00z.grib2");
const COLUMNS: usize = 57;
const ROWS: usize = 41;
const SPACING: f64 = 0.25;
const SOUTH: f64 = 41.0;

/// The service, and how many degrees east the forecast is shifted.
#[derive(Clone, Copy)]
pub struct Filter {
    pub shifted: f64,
}

/// What is asked.
pub struct Query {
    pub parameters: HashMap<String, String>,
}

impl Query {
    pub fn of(path: &str) -> Query {
        let query = path.split_once('?').map_or("", |(_, q)| q);
        let pairs = query.split('&').filter_map(|p| p.split_once('='));
        let parameters = pairs.map(|(name, value)| (name.to_owned(), value.to_owned()));
        Query {
            parameters: parameters.collect(),
        }
    }

    pub fn number(&self, name: &str) -> f64 {
        self.parameters[name].parse().unwrap()
    }

    fn has(&self, name: &str) -> bool {
        self.parameters.get(name).is_some_and(|v| v == "on")
    }

    /// The step in a file name as gfs.t00z.pgrb2.0p25.f005.
    pub fn step(&self) -> u32 {
        let file = &self.parameters["file"];
        file.rsplit_once(".f").unwrap().1.parse().unwrap()
    }
}

fn word(bytes: &[u8], at: usize) -> u32 {
    u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap())
}

/// The messages of GRIB files.
pub fn messages(mut bytes: &[u8]) -> Vec<&[u8]> {
    let mut all = Vec::new();
    while !bytes.is_empty() {
        let length = u64::from_be_bytes(bytes[8..16].try_into().unwrap()) as usize;
        let (message, rest) = bytes.split_at(length);
        all.push(message);
        bytes = rest;
    }
    all
}

/// The seven sections of a message without a local one.
fn sections(message: &[u8]) -> HashMap<u8, &[u8]> {
    let mut all = HashMap::new();
    let mut at = 16;
    while at < message.len() - 4 {
        let length = word(message, at) as usize;
        all.insert(message[at + 4], &message[at..at + length]);
        at += length;
    }
    all
}

/// Name and level as in the addresses of the service.
fn name_and_level(message: &[u8]) -> Option<(&'static str, String)> {
    let product = sections(message)[&4];
    let name = match (message[6], product[9], product[10]) {
        (0, 3, 5) => "HGT",
        (0, 0, 0) => "TMP",
        (0, 1, 1) => "RH",
        (0, 2, 2) => "UGRD",
        (0, 2, 3) => "VGRD",
        (0, 3, 0) => "PRES",
        _ => return None,
    };
    let value = word(product, 24);
    let level = match product[22] {
        100 => format!("{}_mb", value / 100),
        103 => format!("{value}_m_above_ground"),
        1 => "surface".to_owned(),
        _ => return None,
    };
    Some((name, level))
}

/// The whole numbers of a packed field, of 32 bits at most.
fn unpacked(data: &[u8], bits: usize, count: usize) -> Vec<u64> {
    let number = |i: usize| {
        let (first, end) = (i * bits, (i + 1) * bits);
        let bytes = &data[first / 8..end.div_ceil(8)];
        let held = bytes
            .iter()
            .fold(0, |held, byte| held << 8 | u64::from(*byte));
        held >> (8 * end.div_ceil(8) - end) & ((1 << bits) - 1)
    };
    (0..count).map(number).collect()
}

fn packed(numbers: &[u64], bits: usize) -> Vec<u8> {
    let mut bytes = vec![0; (numbers.len() * bits).div_ceil(8)];
    for (i, number) in numbers.iter().enumerate() {
        for b in 0..bits {
            let at = i * bits + b;
            bytes[at / 8] |= ((number >> (bits - 1 - b) & 1) as u8) << (7 - at % 8);
        }
    }
    bytes
}

fn section(number: u8, content: &[u8]) -> Vec<u8> {
    [
        &(content.len() as u32 + 5).to_be_bytes()[..],
        &[number],
        content,
    ]
    .concat()
}

impl Filter {
    /// The western edge of what it has, degrees east.
    pub fn west(&self) -> f64 {
        -5.0 + self.shifted
    }

    /// What it answers.
    pub fn answer(&self, query: &Query) -> Vec<u8> {
        let wanted = messages(WHOLE).into_iter().filter(|message| {
            name_and_level(message).is_some_and(|(name, level)| {
                query.has(&format!("var_{name}")) && query.has(&format!("lev_{level}"))
            })
        });
        let cut = |message| self.cut(message, query);
        wanted.flat_map(cut).collect()
    }

    /// Rows and columns of a message within the edges asked for, at another step.
    fn cut(&self, message: &[u8], query: &Query) -> Vec<u8> {
        let column = |lon: f64| (lon - self.west()).rem_euclid(360.0) / SPACING;
        let (west, east) = (query.number("leftlon"), query.number("rightlon"));
        let first_column = match column(west) {
            c if c < COLUMNS as f64 => c.ceil() as usize,
            _ => 0,
        };
        let last_column = match column(east) {
            c if c < COLUMNS as f64 => c.floor() as usize,
            _ => COLUMNS - 1,
        };
        let row = |lat: f64| (lat - SOUTH) / SPACING;
        let first_row = row(query.number("bottomlat")).ceil().max(0.0) as usize;
        let last_row = row(query.number("toplat")).floor().min(ROWS as f64 - 1.0) as usize;
        let columns = last_column + 1 - first_column;
        let rows = last_row + 1 - first_row;

        let parts = sections(message);
        let (grid, data) = (parts[&3], parts[&5]);
        let bits = usize::from(data[19]);
        let all = unpacked(&parts[&7][5..], bits, COLUMNS * ROWS);
        let chosen: Vec<u64> = (first_row..=last_row)
            .flat_map(|row| &all[row * COLUMNS + first_column..=row * COLUMNS + last_column])
            .copied()
            .collect();

        let points = ((columns * rows) as u32).to_be_bytes();
        let micro = |degrees: f64| ((degrees.rem_euclid(360.0) * 1e6).round() as u32).to_be_bytes();
        let lon = |column: usize| micro(self.west() + SPACING * column as f64);
        let lat = |row: usize| ((SOUTH + SPACING * row as f64) * 1e6).round() as u32;
        let mut grid = grid.to_vec();
        grid[6..10].copy_from_slice(&points);
        grid[30..34].copy_from_slice(&(columns as u32).to_be_bytes());
        grid[34..38].copy_from_slice(&(rows as u32).to_be_bytes());
        grid[46..50].copy_from_slice(&lat(first_row).to_be_bytes());
        grid[50..54].copy_from_slice(&lon(first_column));
        grid[55..59].copy_from_slice(&lat(last_row).to_be_bytes());
        grid[59..63].copy_from_slice(&lon(last_column));
        let mut product = parts[&4].to_vec();
        product[18..22].copy_from_slice(&query.step().to_be_bytes());
        let mut data = data.to_vec();
        data[5..9].copy_from_slice(&points);
        let values = section(7, &packed(&chosen, bits));
        let body = [
            parts[&1], &grid, &product, &data, parts[&6], &values, b"7777",
        ]
        .concat();
        let length = (body.len() as u64 + 16).to_be_bytes();
        [&message[..8], &length, &body].concat()
    }
}
