//! The readers of bytes from outside, and what they are tried with.

use std::fs;
use std::path::{Path, PathBuf};

use windfall::compare::PublishedZone;
use windfall::desk::fields;
use windfall::error::Error;
use windfall::fetch::feed::Feeds;
use windfall::fetch::http::{ByteSpan, Piece};
use windfall::fetch::inventory::{idx, json_lines, walk};
use windfall::fetch::ranges::{RangeSource, chunks};
use windfall::fetch::{check, join};
use windfall::files::packed;
use windfall::fill::checklist;
use windfall::fill::rules::RuleBook;
use windfall::geodesy::Position;
use windfall::ground::layers::{self, Kind, LayerRequest};
use windfall::ground::region::Region;
use windfall::ground::terrain::Terrain;
use windfall::logbook::Logbook;
use windfall::plan::Plan;
use windfall::plan::edit::PlanText;
use windfall::sources::grid::GridFile;
use windfall::sources::{self, Format};
use windfall::track::fields::Fields;
use windfall::track::reader::Reader as Reports;
use windfall::vehicle::latex::LatexTable;
use windfall::years::parts::Part;

pub mod made;

/// A reader, and what is given to it.
pub struct Reader {
    /// What it is called; its target has the same name.
    pub name: &'static str,
    /// How the names of its files end.
    pub ending: &'static str,
    /// Folders of the project with files to begin from, each with an ending.
    pub seeds: &'static [(&'static str, &'static str)],
    read: fn(&Path, &[u8]),
}

/// Files to begin from are at most this large, bytes: larger ones are too slow to be tried often.
const LARGEST_SEED: u64 = 300_000;

/// All of them.
pub const READERS: [Reader; 39] = [
    of("csv", ".csv", &[("samples/high-plains", ".csv"), ("tests/data/soundings", ".txt"), ("tests/data/profiles", ".csv")], |_, bytes| sounding(bytes, Format::Csv)),
    of("igra", ".txt", &[("tests/data/soundings", ".txt")], |_, bytes| sounding(bytes, Format::Igra)),
    of("listing", ".txt", &[("tests/data/soundings", ".txt")], |_, bytes| sounding(bytes, Format::Listing)),
    of("gsl", ".txt", &[("tests/data/soundings", ".txt")], |_, bytes| sounding(bytes, Format::Gsl)),
    of("bufkit", ".buf", &[("tests/data/soundings", ".buf")], |_, bytes| sounding(bytes, Format::Bufkit)),
    of("spc", ".txt", &[("tests/data/soundings", ".txt")], |_, bytes| sounding(bytes, Format::Spc)),
    of("json_sounding", ".json", &[("tests/data/soundings", ".json"), ("tests/data/soundings", ".txt")], |_, bytes| sounding(bytes, Format::Json)),
    of("point", ".json", &[], |_, bytes| sounding(bytes, Format::Point)),
    of("bufr", ".bufr", &[("tests/data/soundings/binary", ".bufr")], |_, bytes| binary(bytes)),
    of("netcdf_sounding", ".nc", &[("tests/data/soundings/binary", ".nc"), ("tests/data/soundings/binary", ".cdf")], |_, bytes| binary(bytes)),
    of("any_sounding", ".txt", &[("tests/data/soundings", ".txt"), ("samples/high-plains", ".csv")], |_, bytes| {
        let _ = sources::soundings_of("a", bytes, None);
    }),
    of("grib", ".grib2", &[("tests/data/grids", ".grib2"), ("tests/data/grids", ".grib"), ("tests/data/grids/repacked", ".grib2")], |_, bytes| grid(bytes)),
    of("netcdf", ".nc", &[("tests/fuzz/corpus", ".nc")], |_, bytes| grid(bytes)),
    of("plan", ".toml", &[("samples/high-plains", ".toml"), ("samples/first-light", ".toml"), ("samples/ribatejo", ".toml"), ("samples/idaho", ".toml")], |_, bytes| {
        text(bytes, |text| drop(Plan::parse("a", text, Path::new("/nowhere"))));
    }),
    of("geojson", ".geojson", &[("samples/idaho", ".geojson"), ("samples/ribatejo", ".geojson")], |path, _| layer(path, &[Kind::Road, Kind::KeepOut, Kind::Place])),
    of("flatgeobuf", ".fgb", &[("tests/data/ground", ".fgb"), ("tests/data/hostile", ".fgb")], |path, _| layer(path, &[Kind::Road, Kind::Lake])),
    of("shapefile", ".shp", &[("tests/data/hostile", ".shp")], |path, _| layer(path, &[Kind::Road, Kind::Lake])),
    of("osm", ".osm.pbf", &[("tests/data/hostile", ".pbf")], |path, _| {
        let _ = layers::read_osm(path, &region());
    }),
    of("geotiff", ".tif", &[("tests/data/ground", ".tif")], |path, _| terrain(path)),
    of("hgt", ".hgt.gz", &[], |path, _| terrain(path)),
    of("ascii_grid", ".asc", &[("tests/fuzz/corpus", ".asc")], |path, _| terrain(path)),
    of("candidates", ".csv", &[("samples/idaho", ".csv"), ("samples/idaho", ".geojson"), ("samples/lake-shore", "fields.csv")], |path, _| {
        let _ = windfall::choice::candidates::read(path, 5_000.0);
    }),
    of("balloons", ".toml", &[("src/vehicle", ".toml")], |_, bytes| {
        text(bytes, |text| drop(LatexTable::built_in().map(|table| table.with("a", text))));
    }),
    of("rules", ".toml", &[("src/fill", "rules.toml")], |_, bytes| {
        text(bytes, |text| drop(RuleBook::built_in().map(|book| book.with("a", text))));
    }),
    of("checklist", ".toml", &[("src/fill", "checklist.toml")], |_, bytes| {
        text(bytes, |text| drop(checklist::read("a", text)));
    }),
    of("feeds", ".toml", &[("src/fetch", ".toml")], |_, bytes| {
        text(bytes, |text| drop(Feeds::built_in().map(|feeds| feeds.extended("a", text))));
    }),
    of("inventory", ".idx", &[("tests/data/inventories", ".idx"), ("tests/data/inventories", ".index")], |_, bytes| {
        text(bytes, |text| {
            let all = idx::parse("a", text).or_else(|_| json_lines::parse("a", text));
            let spans = all.into_iter().flatten().filter_map(|m| ByteSpan::new(m.start, m.length?));
            let source = RangeSource { url: "a".into(), step: 0, messages: spans.collect() };
            drop(chunks(&[source.clone(), source]));
        });
    }),
    of("packed", ".gz", &[], |path, _| drop(packed::unpacked(path))),
    of("logbook", ".toml", &[], |_, bytes| {
        text(bytes, |text| {
            let Ok(book) = Logbook::parse("a", text) else {
                return;
            };
            let _ = (book.rate(0.05), book.fall(0.05), book.burst(0.05), book.misses(), book.winds());
        });
    }),
    of("part", ".jsonl", &[], |_, bytes| {
        text(bytes, |text| {
            if let Ok(part) = Part::parse("a", text) {
                drop(part.clone().with(part).text());
            }
        });
    }),
    of("published_zone", ".geojson", &[("tests/fuzz/corpus", ".geojson")], |_, bytes| {
        text(bytes, |text| drop(PublishedZone::of_text("a", text)));
    }),
    of("reports", ".txt", &[("tests/data/tracks", ".txt"), ("tests/data/tracks", ".csv"), ("tests/data/tracks", ".bin")], |_, bytes| {
        let hear = |_| ();
        Reports::new(Fields::default(), &[]).whole(bytes, &mut { hear });
        let mut live = Reports::new(Fields::default(), &[]).streaming();
        for part in bytes.chunks(97) {
            live.bytes(part, &mut { hear });
        }
        live.end(&mut { hear });
    }),
    of("logger", ".csv", &[("samples/high-plains", ".csv"), ("tests/data/flights", ".csv")], |_, bytes| {
        let near = windfall::clock::after(Default::default(), 1.7e9);
        let columns = windfall::track::logger::LoggerColumns::default();
        drop(windfall::track::logger::Logger::read("a", bytes, &columns, near));
    }),
    of("photo", ".jpg", &[], |path, _| {
        drop(windfall::track::photo::Photo::read(path));
    }),
    of("walk", ".grib2", &[("tests/data/grids", ".grib2")], |_, bytes| {
        drop(walk::messages_of("a", &|span| Ok(Some(piece(bytes, span)))));
    }),
    of("whole", ".nc", &[("tests/fuzz/corpus", ".nc"), ("tests/data/grids", ".grib2")], |_, bytes| {
        drop(check::wholeness(bytes));
    }),
    of("halves", ".grib2", &[("tests/data/grids", ".grib2")], |_, bytes| {
        let east = made::beside(bytes);
        drop(join::halves("a", bytes, &east));
        let (west, east) = bytes.split_at(bytes.len() / 2);
        drop(join::halves("a", west, east));
    }),
    of("payloads", ".jsonl", &[("tests/data/tracks", ".txt"), ("tests/data/tracks", ".csv")], |_, bytes| {
        // Each message of a topic is whole, and one reader hears them all.
        let hear = |_| ();
        let mut reader = Reports::new(Fields::default(), &[]);
        bytes.split(|b| *b == b'\n').for_each(|payload| reader.whole(payload, &mut { hear }));
    }),
    of("form", ".toml", &[("samples/high-plains", ".toml"), ("samples/ribatejo", ".toml"), ("samples/idaho", ".toml")], |_, bytes| {
        text(bytes, form);
    }),
];

/// The boxes of a form over a plan: `id = value` lines behind the last line of dashes, or without them the
/// plan's own lines moved by one box.
fn form(text: &str) {
    let (plan, typed) = text.rsplit_once("\n---\n").unwrap_or((text, ""));
    let (Some(was), Some(mut plan)) = (PlanText::read(plan), PlanText::read(plan)) else {
        return;
    };
    let was_shown = fields::shown(&was);
    let mut given = was_shown.clone();
    let lines = typed.lines().filter_map(|line| line.split_once(" = "));
    given.extend(lines.map(|(id, value)| (id.to_owned(), value.to_owned())));
    if typed.is_empty() {
        let values: Vec<String> = was_shown.values().skip(1).cloned().collect();
        given.values_mut().zip(values).for_each(|(given, other)| *given = other);
    }
    let changed = fields::apply(&mut plan, &was, &given);
    for id in changed.iter().flatten() {
        let _ = fields::is_beyond(&plan, id);
    }
    let text = plan.text();
    // What is written can be read again: else the desk would lose a draft.
    let again = PlanText::read(&text);
    assert!(again.is_some(), "{text}");
    drop(again.map(|plan| fields::shown(&plan)));
    if let Err(Error::Faults(faults)) = Plan::parse("a", &text, Path::new("/nowhere")) {
        faults.iter().for_each(|fault| drop(fields::of_fault(&plan, fault)));
    }
}

/// A part of a file, as a server gives it.
fn piece(file: &[u8], span: ByteSpan) -> Piece {
    let place = |at: u64| usize::try_from(at).unwrap_or(usize::MAX).min(file.len());
    let bytes = &file[place(span.start)..place(span.start.saturating_add(span.length))];
    Piece {
        bytes: bytes.to_vec(),
        of: Some(file.len() as u64),
    }
}

const fn of(
    name: &'static str,
    ending: &'static str,
    seeds: &'static [(&'static str, &'static str)],
    read: fn(&Path, &[u8]),
) -> Reader {
    Reader {
        name,
        ending,
        seeds,
        read,
    }
}

/// The reader of a name.
///
/// # Panics
///
/// Where there is none.
pub fn reader(name: &str) -> &'static Reader {
    let found = READERS.iter().find(|reader| reader.name == name);
    found.unwrap_or_else(|| panic!("there is no reader {name}"))
}

impl Reader {
    /// Reads bytes. Whatever they are, this returns.
    ///
    /// # Panics
    ///
    /// Where the reader does, and where the system gives no file to read from.
    pub fn try_bytes(&self, bytes: &[u8]) {
        thread_local! {
            static FOLDER: tempfile::TempDir = tempfile::tempdir_in(memory()).unwrap();
        }
        FOLDER.with(|folder| {
            // Of the readers of tiles, one takes the corner from the name.
            let path = folder.path().join(format!("N44W072{}", self.ending));
            fs::write(&path, bytes).unwrap();
            (self.read)(&path, bytes);
        });
    }

    /// The bytes to begin from, in the order of their names.
    ///
    /// # Panics
    ///
    /// Where a folder of the project is missing.
    pub fn seeds(&self) -> Vec<Vec<u8>> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
        let mut paths: Vec<PathBuf> = Vec::new();
        for (folder, ending) in self.seeds {
            let entries = fs::read_dir(root.join(folder)).unwrap();
            let all = entries.map(|entry| entry.unwrap().path());
            paths.extend(all.filter(|path| {
                let small = fs::metadata(path).is_ok_and(|there| there.len() <= LARGEST_SEED);
                small && path.to_string_lossy().ends_with(ending)
            }));
        }
        paths.sort();
        let read = paths.iter().map(|path| fs::read(path).unwrap());
        read.chain(made::seeds(self.name)).collect()
    }
}

/// Where files cost no disk, if there is such a place.
fn memory() -> PathBuf {
    let shared = Path::new("/dev/shm");
    match shared.is_dir() {
        true => shared.to_owned(),
        false => std::env::temp_dir(),
    }
}

fn text(bytes: &[u8], read: impl FnOnce(&str)) {
    if let Ok(text) = std::str::from_utf8(bytes) {
        read(text);
    }
}

fn sounding(bytes: &[u8], format: Format) {
    let _ = sources::soundings_of("a", bytes, Some(format));
}

/// The catalogue, and the first rows of some slabs.
fn binary(bytes: &[u8]) {
    let _ = sources::soundings_of("a", bytes, None);
}

fn grid(bytes: &[u8]) {
    let Ok(file) = GridFile::from_bytes("a", bytes.to_vec()) else {
        return;
    };
    for (index, slab) in file.slabs.iter().enumerate().take(3) {
        let mut window = file.lattices[slab.lattice].whole();
        window.rows = window.rows.min(10);
        window.columns = window.columns.min(10);
        let _ = file.read(index, window);
    }
}

fn region() -> Region {
    Region::around(Position::new(43.6, -113.0).unwrap(), 80_000.0)
}

fn layer(path: &Path, kinds: &[Kind]) {
    for &kind in kinds {
        let _ = layers::read(path, &LayerRequest::new(kind), &region());
    }
}

fn terrain(path: &Path) {
    let middle = Position::new(44.5, -71.5).unwrap();
    if let Ok(terrain) = Terrain::open(&[path], &Region::around(middle, 50_000.0)) {
        let _ = terrain.height_m(middle);
    }
}
