//! Tables as people have them: one real sounding written in many ways, read as the same.
//!
//! The values are those of tests/data/soundings/chmi_11520.csv (Prague, 2007-11-20 17:30 UTC), its
//! heights in whole metres.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use program::{stderr, stdout, windfall};
use windfall::sources::{Hints, parse, read_soundings};
use windfall::wind::sounding::Sounding;

/// Pressure (hPa), geopotential height (m), temperature (C), direction, speed (m/s).
type Row = (f64, f64, Option<f64>, Option<f64>, Option<f64>);

fn rows() -> Vec<Row> {
    let text = include_str!("data/soundings/chmi_11520.csv");
    let row = |line: &str| {
        let cells: Vec<Option<f64>> = line.split(',').map(|c| c.parse().ok()).collect();
        let rounded = |v: f64, to: f64| (v / to).round() * to;
        let p = rounded(cells[1].unwrap() / 100.0, 0.1);
        let t = cells[5].map(|t| rounded(t - 273.15, 0.1));
        let speed = cells[7].map(|s| rounded(s, 0.1));
        Some((p, cells[2]?.round(), t, cells[6], speed))
    };
    text.lines().skip(2).filter_map(row).collect()
}

fn shown(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(String::new, |v| format!("{v:.digits$}"))
}

/// The table with cells made of each row, joined.
fn table(head: &str, joint: &str, cells: impl Fn(&Row) -> [String; 5]) -> String {
    let mut text = head.to_owned();
    for row in rows() {
        writeln!(text, "{}", cells(&row).join(joint)).unwrap();
    }
    text
}

fn plain(row: &Row) -> [String; 5] {
    let (p, z, t, from, speed) = *row;
    [
        format!("{p:.1}"),
        format!("{z:.0}"),
        shown(t, 1),
        shown(from, 0),
        shown(speed, 1),
    ]
}

/// In columns flush right, what is missing blank.
fn flush(row: &Row) -> [String; 5] {
    plain(row).map(|cell| format!("{cell:>8}"))
}

fn read(text: &str) -> Sounding {
    let mut all = parse("f", text, None).unwrap();
    assert_eq!(all.len(), 1);
    all.remove(0)
}

fn told(text: &str, columns: &str) -> Sounding {
    let hints = Hints {
        columns: columns.parse().unwrap(),
        ..Hints::default()
    };
    parse("f", text, hints).unwrap().remove(0)
}

fn message(text: &str) -> String {
    parse("f", text, None).unwrap_err().to_string()
}

/// The reference: unambiguous headings, commas.
fn reference() -> Sounding {
    let head = "pressure_hPa,geopotential_height_m,temperature_C,wind_dir_deg,wind_speed_m/s\n";
    let s = read(&table(head, ",", plain));
    assert!(s.levels.len() > 75);
    s
}

#[test]
fn separators_units_below_and_preambles_make_no_difference() {
    let expected = reference().levels;
    let named = "PRES HGHT TEMP DRCT SPED";
    let flushed = "    PRES    HGHT    TEMP    DRCT    SPED\n";
    let units = "     hPa       m       C     deg     m/s\n";
    let rule = "-".repeat(40) + "\n";
    let comma = |row: &Row| plain(row).map(|cell| cell.replace('.', ","));
    let marked = |row: &Row| plain(row).map(|c| if c.is_empty() { "-".into() } else { c });
    for (name, text) in [
        (
            "semicolons, decimal commas",
            table(
                "p [hPa];gph [m];T [\u{b0}C];dd [deg];ff [m/s]\n",
                ";",
                comma,
            ),
        ),
        (
            "tabs, a row of units",
            table(
                "PRES\tHGHT\tTEMP\tDRCT\tSPED\nhPa\tm\tC\tdeg\tm/s\n",
                "\t",
                plain,
            ),
        ),
        (
            "commas, a row of units",
            table(
                "PRES,HGHT,TEMP,DRCT,SPED\n(hPa),(m),(C),,(m/s)\n",
                ",",
                plain,
            ),
        ),
        (
            "bars",
            table("PRES (hPa)|HGHT (m)|TEMP (C)|DRCT|SPED (m/s)\n", "|", plain),
        ),
        (
            "blanks, flush",
            table(&format!("{flushed}{units}{rule}"), "", flush),
        ),
        (
            "blanks, a unit missing",
            table(
                &format!("{flushed}{}", units.replace("deg", "   ")),
                "",
                flush,
            ),
        ),
        (
            "blanks, marks of what is missing",
            table(&format!("{named}\nhPa m C deg m/s\n"), "  ", marked),
        ),
        (
            "blanks in names",
            table(
                "Pressure (hPa)  Geopotential height (m)  Air temperature (C)  Wind direction  Wind speed (m/s)\n",
                "  ",
                marked,
            ),
        ),
        (
            "a head in a comment",
            table(
                "# made for a test\n# pressure_hPa gph_m temperature_C wind_dir wind_speed_m/s\n",
                " ",
                marked,
            ),
        ),
        (
            "decimal commas between blanks",
            table(&format!("{named}\nhPa m C deg m/s\n"), " ", |row| {
                marked(row).map(|c| c.replace('.', ","))
            }),
        ),
    ] {
        let s = read(&text);
        assert_eq!(s.levels.len(), expected.len(), "{name}: {:?}", s.tally);
        // The reference has no latitude either, so heights agree.
        for (level, wanted) in s.levels.iter().zip(&expected) {
            assert!(
                (level.altitude_m - wanted.altitude_m).abs() < 1e-6,
                "{name}"
            );
            assert_eq!(level.wind, wanted.wind, "{name}");
            assert_eq!(level.pressure_pa, wanted.pressure_pa, "{name}");
            assert_eq!(level.temperature_k, wanted.temperature_k, "{name}");
        }
        // Fifty lines of other things above it.
        let about: String = (0..50)
            .map(|i| format!("Parameter {i}: wind and height of the day\n"))
            .collect();
        let far = read(&format!(
            "{about}Latitude: 50.01 N\nLongitude: 14.45 E\nLaunch time: 2007-11-20 17:30\nStation: Praha\n\n{text}"
        ));
        assert_eq!(far.levels.len(), expected.len(), "{name}, far below");
        assert_eq!(far.name, "Praha", "{name}");
        assert_eq!(far.time.unwrap().to_string(), "2007-11-20T17:30:00Z");
        assert!((far.position.unwrap().lat_deg - 50.01).abs() < 1e-9);
    }
}

#[test]
fn what_names_or_units_do_not_say_is_asked_for_in_a_line_to_copy() {
    let expected = reference().levels;
    let text = table("P,Z,Temp,DD,FF\n", ",", plain);
    let message = message(&text);
    let asked = "--columns \"P=pressure hPa, Z=height m, Temp=temperature C, FF=wind speed m/s\"";
    assert!(
        message.contains(asked) && message.contains("line 1"),
        "{message}"
    );
    let line = asked
        .split('"')
        .nth(1)
        .unwrap()
        .replace("height", "geopotential height");
    assert_eq!(told(&text, &line).levels, expected);

    let strange = table("A;B;C;D;E\n", ";", plain);
    let message = self::message(&strange);
    let asked =
        "--columns \"1=pressure hPa, 2=height m, 3=temperature C, 4=wind from, 5=wind speed kt\"";
    assert!(
        message.contains("5 columns without headings") && message.contains(asked),
        "{message}"
    );
    let columns =
        "A=pressure hPa, B=geopotential height m, C=temperature C, D=wind from, E=wind speed m/s";
    assert_eq!(told(&strange, columns).levels, expected);

    let bare = table("", "\t", |row| {
        plain(row).map(|c| if c.is_empty() { "nan".into() } else { c })
    });
    assert!(
        self::message(&bare).contains("without headings"),
        "{}",
        self::message(&bare)
    );
    let columns =
        "1=pressure hPa, 2=geopotential height m, 3=temperature C, 4=wind from, 5=wind speed m/s";
    assert_eq!(told(&bare, columns).levels, expected);

    // What is said goes before what headings say.
    let wrong = table(
        "pressure_hPa,geopotential_height_m,temperature_C,wind_dir_deg,wind_speed_kt\n",
        ",",
        plain,
    );
    assert_eq!(
        told(&wrong, "wind_speed_kt=wind speed m/s").levels,
        expected
    );
    let passed = told(&wrong, "wind_speed_kt=wind speed m/s, temperature_C=none");
    assert!(passed.levels.iter().all(|l| l.temperature_k.is_none()));
    let hints = Hints {
        columns: "Q=height m".parse().unwrap(),
        ..Hints::default()
    };
    let message = parse("f", &wrong, hints).unwrap_err().to_string();
    assert!(message.contains("no column \"Q\""), "{message}");
}

#[test]
fn what_cannot_be_told_apart_is_refused_or_left_out() {
    // Decimal commas between commas.
    let text = "altitude_m,wind_kt,wind_dir\n100,5,5,2,270,0\n200,5,7,1,280,0\n";
    assert!(message(text).contains("6 values"), "{}", message(text));
    // Blanks for missing values under names that stand elsewhere: three of four, but which?
    let text = "altitude_m wind_kt wind_dir temperature_C\n100     5   270    10\n200     5   270\n300     6   280     9\n";
    let s = read(text);
    assert_eq!(s.levels.len(), 2);
    assert!(
        s.tally.left_out[0].contains("1 row that lacks values"),
        "{:?}",
        s.tally
    );
    // One v that is missing costs its level.
    let s = read("altitude_m,u_kt,v_kt\n100,1,2\n200,3,\n300,4,5\n");
    assert_eq!(s.levels.len(), 2);
    // A table that ends with other text, and one more below it.
    let two = "altitude_m u_kt v_kt\n100 1 2\n200 3 4\n\nThe second day\n\naltitude_m u_kt v_kt\n100 5 6\n200 7 8\n";
    let both = parse("f", two, None).unwrap();
    assert_eq!(both.len(), 2);
    assert!((both[1].levels[0].wind.unwrap().east_m_s - 5.0 * 1852.0 / 3600.0).abs() < 1e-9);
}

#[test]
fn heights_that_are_missing_are_computed_and_said() {
    let known = reference();
    // Pressure, temperature and wind, and one height: the lowest.
    let one = table(
        "pressure_hPa,geopotential_height_m,temperature_C,wind_dir_deg,wind_speed_m/s\n",
        ",",
        |row| {
            let mut cells = plain(row);
            if row.0 < 999.0 {
                cells[1].clear();
            }
            cells
        },
    );
    let computed = read(&one);
    let worst = |s: &Sounding| {
        let known = &known.levels;
        let error = s.levels.iter().filter_map(|level| {
            let same = known.iter().find(|k| k.pressure_pa == level.pressure_pa)?;
            Some((level.altitude_m - same.altitude_m).abs())
        });
        error.fold(0.0, f64::max)
    };
    let hydrostatic_m = worst(&computed);
    // Without temperatures the standard atmosphere's are taken, and that is said.
    let standard = read(&table(
        "pressure_hPa,wind_dir_deg,wind_speed_m/s,x,y\n",
        ",",
        |row| {
            let [p, _, _, from, speed] = plain(row);
            [p, from, speed, String::new(), String::new()]
        },
    ));
    let standard_m = worst(&standard);
    println!(
        "heights computed: wrong by {hydrostatic_m:.1} m at most with temperatures, {standard_m:.0} m without"
    );
    assert!(
        hydrostatic_m < 25.0 && standard_m > 4.0 * hydrostatic_m,
        "{hydrostatic_m} {standard_m}"
    );
    assert!(computed.tally.heights_computed > 70);
    let said = standard
        .tally
        .assumed
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ");
    assert!(
        said.contains("temperatures of the standard atmosphere")
            && said.contains("lowest pressure"),
        "{said}"
    );
}

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tables");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn packed_files_and_saved_pages_are_read() {
    let plain = std::fs::read(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/soundings/spc_nashville.txt"),
    )
    .unwrap();
    let expected = parse("f", std::str::from_utf8(&plain).unwrap(), None).unwrap();
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    gz.write_all(&plain).unwrap();
    let mut bz = bzip2::write::BzEncoder::new(Vec::new(), bzip2::Compression::best());
    bz.write_all(&plain).unwrap();
    // The name says nothing.
    for (name, bytes) in [
        ("a.txt", gz.finish().unwrap()),
        ("b.gz", bz.finish().unwrap()),
    ] {
        let path = folder().join(name);
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(read_soundings(&path, None).unwrap(), expected);
        let shown = windfall("winds", &[path.to_str().unwrap()]);
        assert!(stdout(&shown).contains("BNA"), "{}", stderr(&shown));
        std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        let shown = windfall("winds", &[path.to_str().unwrap()]);
        assert!(stderr(&shown).contains("packed file"), "{}", stderr(&shown));
    }
    let text = String::from_utf8(plain).unwrap();
    let page =
        format!("<!DOCTYPE html>\n<html><body><p>A sounding</p><pre>\n{text}</pre></body></html>");
    assert_eq!(
        parse("f", &page, None).unwrap()[0].levels,
        expected[0].levels
    );
    let rows: String = rows()
        .iter()
        .map(|r| {
            let cells: String = self::plain(r)
                .iter()
                .map(|c| format!("<td>{c}</td>\n"))
                .collect();
            format!("<tr>{cells}</tr>\n")
        })
        .collect();
    let heads = "<th>p (hPa)</th><th>gph (m)</th><th>T (&deg;C)</th><th>dd</th><th>ff (m/s)</th>";
    let table = format!("<html><table><tr>{heads}</tr>\n{rows}</table></html>");
    assert_eq!(read(&table).levels, reference().levels);
    let other =
        message("<html><head><title>News</title></head><body><p>Fine weather.</p></body></html>");
    assert!(other.contains("a page saved from the web"), "{other}");
}

#[test]
fn columns_are_told_on_the_command_line_and_in_a_plan() {
    let path = folder().join("told.csv");
    std::fs::write(&path, table("P,Z,Temp,DD,FF\n", ",", plain)).unwrap();
    let file = path.to_str().unwrap();
    let columns = "P=pressure hPa, Z=geopotential height m, Temp=temperature C, FF=wind speed m/s";
    let output = windfall("winds", &[file, "--columns", columns]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(
        windfall("winds", &[file, "--columns", "P=pressure"])
            .status
            .code(),
        Some(2)
    );
    let plan = |columns: &str| {
        let path = folder().join("plan.toml");
        let text = format!(
            "[flight]\nrelease = 2007-11-20T17:30:00Z\n[site]\nlat = 50.0\nlon = 14.4\n[wind]\nfiles = [\"told.csv\"]\n{columns}\n\
             [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"25 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n"
        );
        std::fs::write(&path, text).unwrap();
        windfall("zone", &[path.to_str().unwrap(), "--draws", "64"])
    };
    let output = plan(&format!("columns = \"{columns}\""));
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let output = plan("");
    assert!(
        stderr(&output).contains("--columns \"P=pressure hPa"),
        "{}",
        stderr(&output)
    );
    let output = plan("columns = \"P=pressure\"");
    assert!(
        stderr(&output).contains("line 8, [wind] columns") || stderr(&output).contains("columns"),
        "{}",
        stderr(&output)
    );
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_lost_ascent_is_said_wherever_its_file_is_flown_in() {
    let omaha =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/soundings/igra2_omaha_2025.txt");
    let text = std::fs::read_to_string(omaha).unwrap();
    std::fs::write(folder().join("cut.txt"), &text[..text.len() - 500]).unwrap();
    let path = folder().join("cut.toml");
    let plan = "[flight]\nrelease = 2021-01-01T00:00:00Z\n[site]\nlat = 41.3\nlon = -96.4\n[wind]\nfiles = [\"cut.txt\"]\n\
                [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"25 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n";
    std::fs::write(&path, plan).unwrap();
    let output = windfall("zone", &[path.to_str().unwrap(), "--draws", "64"]);
    let said = stdout(&output)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        said.contains("left out of the winds: an ascent:") && said.contains("ends after"),
        "{said} {}",
        stderr(&output)
    );
}

/// Ways in which the bytes of a text are spoilt on their way to a crew.
#[test]
fn bytes_of_other_systems_make_no_difference() {
    let head = "pressure_hPa,geopotential_height_m,temperature_C,wind_dir_deg,wind_speed_m/s\n";
    let text = table(head, ",", plain);
    let expected = reference().levels;
    let units = |unit: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(unit).collect::<Vec<u8>>();
    let gz = |bytes: &[u8]| {
        let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        gz.write_all(bytes).unwrap();
        gz.finish().unwrap()
    };
    for (name, bytes) in [
        ("carriage returns", text.replace('\n', "\r").into_bytes()),
        ("UTF-16, no mark", units(u16::to_le_bytes)),
        ("UTF-16 the other way, no mark", units(u16::to_be_bytes)),
        ("zeros at the end", [text.as_bytes(), &[0; 300]].concat()),
        (
            "the end mark of old systems",
            [text.as_bytes(), b"\x1a"].concat(),
        ),
        ("packed twice", gz(&gz(text.as_bytes()))),
    ] {
        let path = folder().join("bytes");
        std::fs::write(&path, bytes).unwrap();
        let read = read_soundings(&path, None).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(read[0].levels, expected, "{name}");
    }
    let zeros = folder().join("zeros");
    std::fs::write(
        &zeros,
        [text.as_bytes(), &[0; 300], text.as_bytes()].concat(),
    )
    .unwrap();
    assert!(
        read_soundings(&zeros, None)
            .unwrap_err()
            .to_string()
            .contains("binary")
    );
}

/// When and where the sonde was, by whatever columns say it; it changes nothing else.
#[test]
fn times_and_places_of_levels_are_kept() {
    let head = "pressure_hPa,geopotential_height_m,temperature_C,wind_dir_deg,wind_speed_m/s";
    let with = |name: &str, cell: &dyn Fn(usize) -> String| {
        let mut text = format!("{name},{head}\n");
        for (k, row) in rows().iter().enumerate() {
            writeln!(text, "{},{}", cell(k), plain(row).join(",")).unwrap();
        }
        read(&text)
    };
    let expected = reference().levels;
    let clock = |k: usize| {
        let s = 23 * 3_600 + 1_800 + 60 * k;
        format!("{:02}:{:02}:{:02}", s / 3_600 % 24, s / 60 % 60, s % 60)
    };
    let stamp = |k: usize| format!("2007-11-20T17:{:02}:{:02}Z", k / 2, 30 * (k % 2));
    let seconds = |k: usize| format!("{}", 60 * k);
    let minutes = |k: usize| format!("{k}");
    let odd = |k: usize| format!("T+{k}");
    type Cell<'a> = &'a dyn Fn(usize) -> String;
    for (name, cell, step_s) in [
        ("time_s", &seconds as Cell, Some(60.0)),
        ("elapsed time [sec]", &seconds, Some(60.0)),
        ("flight time (min)", &minutes, Some(60.0)),
        ("time", &clock, Some(60.0)),
        ("time", &stamp, Some(30.0)),
        ("time_s", &odd, None),
        ("elapsed time", &minutes, None),
    ] {
        let s = with(name, cell);
        assert_eq!(s.levels.len(), expected.len(), "{name}");
        assert_eq!(s.tally.fillers, reference().tally.fillers, "{name}");
        for (level, wanted) in s.levels.iter().zip(&expected) {
            assert_eq!(
                (level.wind, level.altitude_m),
                (wanted.wind, wanted.altitude_m)
            );
        }
        let last = rows().len() - 1;
        let after_s = s.levels[s.levels.len() - 1].after_s;
        assert_eq!(after_s, step_s.map(|step| step * last as f64), "{name}");
    }
    let moving = with("lat,lon", &|k| {
        format!("{:.2},{:.2}", 50.0 + 0.01 * k as f64, 14.5)
    });
    let top = moving.levels[moving.levels.len() - 1].place.unwrap();
    assert!((top.lat_deg - (50.0 + 0.01 * (rows().len() - 1) as f64)).abs() < 1e-9);
    // The station's own place in every row is no way.
    let standing = with("lat,lon", &|_| "50.01,14.45".into());
    assert!(standing.levels.iter().all(|level| level.place.is_none()));
    assert!((standing.position.unwrap().lat_deg - 50.01).abs() < 1e-9);
}

#[test]
fn a_direction_that_varies_is_none() {
    let head = "altitude_m,wind_dir,wind_speed_kt\n";
    let s = read(&format!(
        "{head}100,VRB,2\n200,calm,0\n300,270,10\n400,280,12\n"
    ));
    let winds: Vec<bool> = s.levels.iter().map(|l| l.wind.is_some()).collect();
    assert_eq!(
        (s.levels[0].altitude_m, &winds[..]),
        (200.0, &[true; 3][..])
    );
}
