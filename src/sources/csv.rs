//! Tables in text: headings somewhere near the start, units in them or on the line below, cells
//! separated by commas, semicolons, tabs, bars or blanks. Each is an ascent, or several.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use super::aligned::Aligned;
use super::around::Around;
use super::clean::Raw;
use super::columns::Columns;
use super::looked::{Below, Heads, Looked, bare, is_comment, quoted, uncommented};
use super::parts;
use super::table::Table;
use super::text::date_time;
use super::zones::is_of_a_zone;
use crate::error::{Fault, Result};
use crate::units::counted;

pub(super) fn looks_like(text: &str, columns: &Columns) -> bool {
    let lines: Vec<&str> = text.lines().collect();
    Looked::at(&lines, columns).heads(0).is_some() || bare(&lines).is_some()
}

/// Takes the tables of a text apart; each is an ascent.
pub(super) fn read(file: &str, text: &str, columns: &Columns) -> Vec<Result<Raw>> {
    let lines: Vec<&str> = text.lines().collect();
    let mut looked = Looked::at(&lines, columns);
    let mut from = 0;
    let mut ascents = Vec::new();
    while let Some(heads) = looked.heads(from) {
        let (table, end) = table(file, &mut looked, &heads, from);
        match table {
            Ok(table) => ascents.extend(table.read(file, columns)),
            Err(fault) => ascents.push(Err(fault)),
        }
        from = end;
    }
    if ascents.is_empty() {
        match bare_table(file, &mut looked) {
            Ok(table) => ascents.extend(table.read(file, columns)),
            Err(fault) => ascents.push(Err(fault)),
        }
    }
    parts::joined(ascents)
}

/// A table without headings, whose columns were named by number.
fn bare_table(file: &str, looked: &mut Looked) -> Result<Table> {
    let Some(heads) = bare(looked.lines) else {
        let expected =
            "a line of headings, as in altitude_m, wind_kt, wind_dir, and rows of numbers";
        return Err(Fault::new(file, "no table", expected).into());
    };
    if looked.columns.is_empty() {
        const LIKELY: [&str; 5] = [
            "pressure hPa",
            "height m",
            "temperature C",
            "wind from",
            "wind speed kt",
        ];
        let numbered = (1..=heads.cells.len()).zip(LIKELY);
        let told: Vec<String> = numbered.map(|(n, what)| format!("{n}={what}")).collect();
        let found = format!("a table of {} columns without headings", heads.cells.len());
        let expected = format!(
            "headings with units; or, with what is true of these columns, --columns \"{}\"",
            told.join(", ")
        );
        return Err(Fault::new(file, found, expected)
            .at_line(heads.at + 1)
            .into());
    }
    table(file, looked, &heads, 0).0
}

/// Takes the rows under some headings; what stands above them begins at an index. With them the index of the first line
/// that belongs to no row.
fn table(file: &str, looked: &mut Looked, heads: &Heads, from: usize) -> (Result<Table>, usize) {
    let lines = looked.lines;
    let mut table = heads.table();
    let mut aligned = Aligned::new(heads.separator);
    let mut words = Vec::new();
    let mut end = lines.len();
    for at in heads.rows_from..lines.len() {
        match looked.below(at, heads, &table) {
            Below::Nothing => {}
            Below::Heads => table.headed.push(table.rows.len()),
            Below::Words => {
                // They may tell of another ascent.
                table.headed.push(table.rows.len());
                words.push(at);
            }
            Below::Row(row) => match aligned.row(row, &heads.cells) {
                Ok(Some(row)) => table.rows.push((at + 1, row)),
                Ok(None) => {}
                Err(fault) => {
                    let file = file.to_owned();
                    let fault = Fault { file, ..fault }.at_line(at + 1);
                    // Where this table ends is not known any more, so none is looked for behind it.
                    return (Err(fault.into()), lines.len());
                }
            },
            Below::End => {
                end = at;
                break;
            }
        }
    }
    let said = aligned.said().into_iter().chain(passed(lines, &words));
    table.tally.left_out = said.chain(looked.lost(end, heads)).collect();
    let comments: Vec<&str> = lines[from..end]
        .iter()
        .copied()
        .filter(|l| is_comment(l))
        .collect();
    table.tally.comments = comments.len();
    table.around = about(&lines[from..heads.at], &comments);
    (Ok(table), end)
}

/// What is said of lines of words between rows, by their indices.
fn passed(lines: &[&str], words: &[usize]) -> Option<String> {
    let first = *words.first()?;
    let lines_of = counted(words.len(), "line", "lines");
    let (line, text) = (first + 1, quoted(lines[first]));
    Some(format!(
        "{lines_of} of words between rows, as line {line}, {text}"
    ))
}

/// What the lines above a table and all comments say of it.
fn about(above: &[&str], comments: &[&str]) -> Around {
    let mut about = Around::default();
    above.iter().for_each(|line| about.learn(line));
    let told = |surely| {
        comments
            .iter()
            .find_map(|line| time_in_comment(line, surely))
    };
    // A line that names the time counts more than a comment in which there is just one.
    about.time = told(true).or(about.time).or_else(|| told(false));
    about
}

/// A time of release in a comment: `# launch 2007-11-20T17:30`, `# ... First record
/// 2026-02-05T23:03:59Z.`; where it is not `surely` one, `# time 2007-11-20T17:30`.
fn time_in_comment(line: &str, surely: bool) -> Option<(jiff::Timestamp, bool)> {
    const RELEASE: [&str; 4] = ["launch", "release", "released", "record"];
    /// What a time is of that is as good as that of the release.
    const OF: [&str; 14] = [
        "launch",
        "release",
        "released",
        "record",
        "valid",
        "observation",
        "observed",
        "nominal",
        "start",
        "sounding",
        "ascent",
        "flight",
        "date",
        "utc",
    ];
    /// Times of something else, or not in UTC.
    const OTHERS: [&str; 6] = ["creat", "process", "retriev", "download", "local", "last"];
    let words: Vec<String> = uncommented(line)
        .split_ascii_whitespace()
        .map(|w| w.trim_end_matches(['.', ',', ';', ':', '=']).to_owned())
        .collect();
    let is = |at: usize, of: &[&str]| of.iter().any(|w| words[at].eq_ignore_ascii_case(w));
    let is_time = |at: usize| is(at, &["time"]);
    let is_other = |at: usize| {
        OTHERS
            .iter()
            .any(|o| words[at].to_lowercase().starts_with(o))
    };
    // "Valid" alone is said of much.
    let is_valid = |at: usize| {
        let next = words.get(at + 1).and_then(|word| date_time(word));
        is(at, &["valid"]) && next.is_some()
    };
    let told = |at: &usize| match surely {
        true => is(*at, &RELEASE),
        false => (is_time(*at) && (*at == 0 || is(at - 1, &OF))) || is_valid(*at),
    };
    let at = (0..words.len()).find(told)?;
    if at.checked_sub(1).is_some_and(is_other) {
        return None;
    }
    let behind = at + 1 + usize::from(words.get(at + 1).is_some() && is_time(at + 1));
    let (time, is_assumed) = date_time(words.get(behind)?)?;
    // Without an offset of its own a time of another zone is none. An offset may stand apart from what it is from;
    // what else follows is of something else, as in "west of town".
    let word = |at: usize| words.get(behind + at).map_or("", String::as_str);
    let zone = match word(2) {
        "of" => String::new(),
        offset if offset.starts_with(['+', '-', '\u{2212}']) => format!("{} {offset}", word(1)),
        _ => word(1).to_owned(),
    };
    (!(is_assumed && is_of_a_zone(&zone))).then_some((time, is_assumed))
}

#[cfg(test)]
mod tests {
    use super::super::clean::clean;
    use super::*;
    use crate::geodesy::Position;
    use crate::notes::reading::Reading;
    use crate::units::ZERO_CELSIUS_K;
    use crate::wind::sounding::Sounding;

    fn sounding(text: &str) -> Sounding {
        clean(read("f", text, &Columns::default()).remove(0).unwrap()).unwrap()
    }

    fn message(text: &str) -> String {
        let read = read("f", text, &Columns::default()).remove(0);
        read.and_then(clean).err().unwrap().to_string()
    }

    fn heights_of(text: &str) -> Vec<f64> {
        sounding(text).levels.iter().map(|l| l.altitude_m).collect()
    }

    fn soundings(text: &str) -> Vec<Sounding> {
        let found = read("f", text, &Columns::default()).into_iter();
        found.map(|raw| clean(raw.unwrap()).unwrap()).collect()
    }

    #[test]
    fn rows_without_values_and_words_between_rows_end_no_table() {
        let head = "time,altitude_m,wind_kt,wind_dir\n";
        let rows = ["12:00:00Z,100,5,270", "12:01:00Z,400,6,270"];
        let rows = rows.map(|row| format!("2026-02-05T{row}\n")).concat();
        let last = "2026-02-05T12:03:00Z,1000,9,280\n";
        for between in [
            "2026-02-05T12:02:00Z,,,",
            "2026-02-05T12:02:00Z,-,-,-",
            "12:02:00,,NaN,",
            ",,,",
            "Tropopause reached",
            "Tropopause reached,,,",
            "Tropopause reached\n2026-02-05T12:02:00Z,,,",
            "2026-02-05T12:02:00Z,signal lost,,",
        ] {
            let s = sounding(&format!("{head}{rows}{between}\n{last}"));
            assert_eq!(s.levels.len(), 3, "{between}");
            let words = ["Tropopause", "signal"]
                .iter()
                .any(|word| between.contains(word));
            let is_told = s
                .tally
                .left_out
                .iter()
                .any(|what| what.contains("line 4, "));
            assert_eq!(is_told, words, "{between}");
        }
    }

    #[test]
    fn a_time_above_rows_is_no_row() {
        let head = "altitude_m,wind_kt,wind_dir,\n";
        let time = "2026-02-05 14:30:00,,,\n";
        for text in [
            format!("{head}{time}100,5,270,\n400,6,270,\n"),
            format!("{head}100,5,270,\n{time}400,6,270,\n"),
        ] {
            assert_eq!(heights_of(&text), [100.0, 400.0]);
        }
    }

    #[test]
    fn words_pass_over_only_before_rows_that_go_on() {
        let head = "altitude_m  wind_kt  wind_dir\n";
        let low = "100 5 270\n5000 6 270\n9000 7 270\n";
        for (text, read, lost) in [
            ("Tropopause\n 1 229.0 10850 -56.1 270 45\n", 3, true),
            ("Mean wind\n5000 12 270\n", 3, true),
            ("Tropopause\n10850 45 270\n", 4, false),
            ("Tropopause\n- 45 270\n10850 45 270\n", 4, false),
        ] {
            let found = soundings(&format!("{head}{low}{text}"));
            assert_eq!(found.len(), 1, "{text}");
            assert_eq!(found[0].levels.len(), read, "{text}");
            let left_out = &found[0].tally.left_out;
            let is_lost = left_out.iter().any(|said| said.contains("no headings"));
            assert_eq!(is_lost, lost, "{text}: {left_out:?}");
        }
        // From the top down.
        let down = format!("{head}9000 7 270\n5000 6 270\nFreezing level\n100 5 270\n");
        assert_eq!(heights_of(&down), [100.0, 5_000.0, 9_000.0]);
    }

    #[test]
    fn of_a_part_and_the_whole_the_whole_counts() {
        let part = "Mandatory levels\npressure_hPa,altitude_m,wind_kt,wind_dir\n850,1500,15,250\n500,5600,40,270\n\n";
        let whole = "All levels\naltitude_m,pressure_hPa,wind_kt,wind_dir\n200,990,5,200\n1500,850,15,250\n\
                     3000,700,20,260\n5600,500,40,270\n9000,310,60,280\n\n";
        let about =
            "Station: Lisboa\nLatitude: 39.4\nLongitude: -8.8\nLaunch time: 2026-02-05 12:00\n";
        for tables in [format!("{part}{whole}"), format!("{whole}{part}")] {
            let s = soundings(&format!("{about}{tables}"));
            assert_eq!((s.len(), s[0].levels.len()), (1, 5));
            assert_eq!(s[0].name, "Lisboa");
            assert_eq!(s[0].position, Position::new(39.4, -8.8));
            assert_eq!(s[0].time.unwrap().to_string(), "2026-02-05T12:00:00Z");
            assert!(s[0].tally.assumed.contains(&Reading::TimesInUtc));
            let told = &s[0].tally.left_out;
            assert!(
                told.iter().any(|said| said.contains("a table of 2 rows")),
                "{told:?}"
            );
            // Without its time it is the only one, and so not refused.
            assert_eq!(soundings(&tables).len(), 1);
        }
        // Another wind, or another time, is of another ascent.
        let other = whole.replace("15,250", "15,200");
        assert_eq!(soundings(&format!("{about}{part}{other}")).len(), 2);
        let later = about.replace("12:00", "18:00");
        assert_eq!(soundings(&format!("{about}{part}{later}{whole}")).len(), 2);
    }

    #[test]
    fn a_line_to_copy_says_nothing_against_headings() {
        let wide = message("altitude_ft,wind_dir 06Z,wind_kt 06Z\n1000,270,5\n9000,270,15\n");
        let line = "--columns \"wind_kt 06Z=wind speed kt, wind_dir 06Z=wind from\"";
        assert!(wide.contains(line), "{wide}");
        let french = "Heure;Altitude (m);Vitesse du vent (m/s);Direction du vent (deg)\n";
        let french = message(&format!(
            "{french}12:00:00;100;5;270\n12:10:00;3000;15;270\n"
        ));
        let line = "\"Vitesse du vent (m/s)=wind speed m/s, Direction du vent (deg)=wind from\"";
        assert!(french.contains(line), "{french}");
        let few = message("altitude_ft,wind_dir 06Z,Feuchte (%)\n1000,270,5\n9000,270,15\n");
        assert!(!few.contains("--columns"), "{few}");
    }

    #[test]
    fn another_wind_beside_the_first_is_told() {
        let table = |other: &str| {
            format!(
                "altitude_m,dir (deg),wind (m/s),dir (deg),wind (kt)\n100,270,5,{other}\n900,359,9,{other}\n"
            )
        };
        let s = sounding(&table("90,40"));
        assert_eq!(s.tally.left_out.len(), 2, "{:?}", s.tally.left_out);
        assert!(s.tally.left_out[0].contains("column 4, \"dir (deg)\""));
        let same = "altitude_m,dir (deg),wind (m/s),dir (deg),wind (kt)\n\
                    100,270,5,270,9.7\n900,359,9,1,17.5\n";
        assert!(sounding(same).tally.left_out.is_empty());
        assert!(sounding(&table("-999,9999")).tally.left_out.is_empty());
    }

    #[test]
    fn directions_of_a_course_are_asked_about() {
        let row = |i: u32| {
            format!(
                "12:{i:02}:00,39.42,{:.3},{},36,90\n",
                -8.83 + 0.007 * f64::from(i),
                1_000 * i
            )
        };
        let rows: String = (0..6).map(row).collect();
        let log = format!("time,lat,lon,alt (m),speed (km/h),direction (deg)\n{rows}");
        let told = message(&log);
        let line = "--columns \"direction (deg)=wind to\"";
        assert!(
            told.contains(line) && told.contains("against its wind"),
            "{told}"
        );
        let columns = "direction (deg)=wind to".parse().unwrap();
        let read = read("f", &log, &columns).remove(0).unwrap();
        let wind = clean(read).unwrap().levels[0].wind.unwrap();
        assert!((wind.east_m_s - 10.0).abs() < 1e-9 && wind.north_m_s.abs() < 1e-9);
    }

    #[test]
    fn a_course_below_0_is_west_of_north() {
        let s = sounding("altitude_m,wind_m_s,wind_to_deg\n100,10,-90\n500,10,-180\n900,10,90\n");
        let east: Vec<f64> = s
            .levels
            .iter()
            .map(|l| l.wind.unwrap().east_m_s.round())
            .collect();
        assert_eq!(east, [-10.0, 0.0, 10.0]);
        assert!(
            s.tally
                .assumed
                .contains(&Reading::SignedDirections { below_0: 2 })
        );
    }

    #[test]
    fn thousands_in_pressures_move_no_level() {
        let table = "altitude_m;pressure_hPa;wind_kt;wind_dir\n\
                     112;1.008;5;270\n180;1.000;6;270\n1.512;850;10;280\n3.080;700;14;280\n";
        assert_eq!(heights_of(table), [112.0, 180.0, 1_512.0, 3_080.0]);
        let feet = "altitude_ft\tpressure_mb\twind_kt\twind_dir\n350\t1,004\t10\t270\n4,800\t850\t20\t280\n9,900\t700\t20\t280\n";
        assert_eq!(heights_of(feet).len(), 3);
        assert!((heights_of(feet)[0] - 106.68).abs() < 1e-6);
        // Decimals behind the other sign stay what they are.
        for separator in ["\t", ";"] {
            let rows = [
                "pressure_hPa wind_kt wind_dir",
                "1,004 5 270",
                "850.5 10 280",
                "85.5 9 280",
            ];
            let table = rows.map(|row| row.replace(' ', separator) + "\n").concat();
            let near = [0.0..100.0, 1_400.0..1_500.0, 16_500.0..18_500.0];
            let found = heights_of(&table);
            assert_eq!(found.len(), 3, "{found:?}");
            assert!(
                near.iter()
                    .zip(&found)
                    .all(|(near, height)| near.contains(height)),
                "{found:?}"
            );
        }
    }

    #[test]
    fn rows_before_the_release_are_no_winds() {
        let head = "time,lat,lon,altitude_m,wind_speed_m/s,wind_dir\n";
        let before = |i: u32| {
            let (minute, second) = (30 + i / 6, 10 * (i % 6));
            format!(
                "2026-02-05T11:{minute}:{second:02}Z,39.42,-8.83,{},0.1,0\n",
                40 + i % 2
            )
        };
        let flight = |i: u32| {
            let height = if i <= 80 {
                40 + 300 * i
            } else {
                24_040 - 700 * (i - 80)
            };
            let (hour, minute) = (12 + i / 60, i % 60);
            let lon = -8.83 + 0.006 * f64::from(i);
            format!("2026-02-05T{hour}:{minute:02}:00Z,39.42,{lon:.4},{height},9.0,270\n")
        };
        let rows: String = (0..180).map(before).chain((0..110).map(flight)).collect();
        let s = sounding(&format!("{head}{rows}"));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T12:00:00Z");
        assert_eq!((s.levels.len(), s.tally.descent), (81, 29));
        assert_eq!(s.levels[0].after_s, Some(0.0));
        assert_eq!(s.levels[1].after_s, Some(60.0));
        assert_eq!(s.tally.left_out, ["the first 180 rows, before the release"]);
        // Seconds since it was switched on, below the time of the release.
        let row = |i: u32| {
            let height = 40 + 5 * i.saturating_sub(600);
            format!("{i},{height},{},270\n", if i < 600 { 0.1 } else { 9.0 })
        };
        let rows: String = (0..180).map(|i| row(10 * i)).collect();
        let told = "Launch time: 2026-02-05T12:00:00Z\n";
        let s = sounding(&format!(
            "{told}time_s,altitude_m,wind_speed_m/s,wind_dir\n{rows}"
        ));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T12:00:00Z");
        assert_eq!(
            (s.levels[0].after_s, s.levels[1].after_s),
            (Some(0.0), Some(10.0))
        );
        // Zeros of a receiver that has no place yet.
        let unset = "2026-02-05T11:58:00Z,0.0,0.0,0,0,0\n2026-02-05T11:59:00Z,0.0,0.0,0,0,0\n";
        let rows: String = (0..60).map(flight).collect();
        let s = sounding(&format!("{head}{unset}{rows}"));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T12:00:00Z");
        assert_eq!(s.levels.len(), 60);
        assert!((s.levels[0].wind.unwrap().east_m_s - 9.0).abs() < 1e-9);
    }

    #[test]
    fn times_of_another_zone_are_no_times() {
        let head = "Time zone: MST (UTC-7)\ntime,altitude_m,wind_kt,wind_dir\n";
        let rows = "2026-02-05 05:00:00,1700,5,270\n2026-02-05 05:10:00,4700,25,270\n";
        let s = sounding(&format!("{head}{rows}"));
        assert_eq!((s.time, s.levels[1].after_s), (None, Some(600.0)));
        assert!(!s.tally.assumed.contains(&Reading::TimesInUtc));
        let told = "Launch time: 2026-02-05T12:00:00Z\n";
        let s = sounding(&format!("{told}{head}{rows}"));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T12:00:00Z");
        assert_eq!(s.levels[1].after_s, Some(600.0));
        for utc in ["TimeUTC", "time (UTC)"] {
            let s = sounding(&format!("{head}{rows}").replace("\ntime", &format!("\n{utc}")));
            assert_eq!(
                s.time.map(|t| t.to_string()).as_deref(),
                Some("2026-02-05T05:00:00Z"),
                "{utc}"
            );
            assert!(!s.tally.assumed.contains(&Reading::TimesInUtc));
        }
    }

    #[test]
    fn sondes_of_a_log_are_ascents_of_their_own() {
        let row = |i: u32| {
            format!(
                "2026-02-05T12:{i:02}:00Z,A111,{},10,270\n2026-02-05T12:{i:02}:00Z,B222,{},30,90\n",
                100 + 300 * i,
                5_000 + 300 * i
            )
        };
        let rows: String = (0..60).map(row).collect();
        let head = "datetime,serial,alt (m),wind_speed (m/s),wind_dir (deg)\n";
        let found = soundings(&format!("{head}{rows}"));
        let told: Vec<(&str, usize)> = found
            .iter()
            .map(|s| (s.name.as_str(), s.levels.len()))
            .collect();
        assert_eq!(told, [("A111", 60), ("B222", 60)]);
        let far = "2026-02-05T12:30:00Z,C333,30000,50,180\n";
        let found = soundings(&format!("{head}{rows}{far}"));
        assert_eq!(found.len(), 2);
        let told = &found[0].tally.left_out;
        assert_eq!(told[..], ["1 row of stations that have no other"]);
    }

    #[test]
    fn a_part_is_known_though_it_is_rounded_otherwise() {
        let about = "Latitude: 39.4\nLongitude: -8.8\nLaunch time: 2026-02-05 12:00\n";
        let part = "pressure_hPa,altitude_m,wind_kt,wind_dir\n\
                    1000,110,0,\n850,1500,15,0\n500,5600,40,270\n\n";
        let whole = "time,altitude_m,wind_kt,wind_dir,lat,lon\n\
                     12:00:03,110,0,0,39.4001,-8.8001\n12:05:00,1500,15,358,39.41,-8.79\n\
                     12:10:00,3000,20,260,39.42,-8.78\n12:20:00,5600,40,270,39.43,-8.7\n";
        for time in ["", "2026-02-05T"] {
            let whole = whole.replace("12:", &format!("{time}12:"));
            let found = soundings(&format!("{about}{part}All levels\n{whole}"));
            assert_eq!((found.len(), found[0].levels.len()), (1, 4));
        }
    }

    #[test]
    fn rows_behind_the_end_of_a_table_are_told() {
        let table = "altitude_m,wind_kt,wind_dir\n100,5,270\n400,6,270\n";
        let s = sounding(&format!("{table}level,count,mean\n1,2,3\n2,3,4\n"));
        assert_eq!(s.levels.len(), 2);
        assert_eq!(
            s.tally.left_out,
            ["2 rows below line 4, \"level,count,mean\", under no headings that are known"]
        );
        assert!(
            sounding(&format!("{table}\nStation: X\n"))
                .tally
                .left_out
                .is_empty()
        );
        // Padded, as a spreadsheet does.
        let padded = "altitude_m,wind_kt,wind_dir,temp_C\n100,5,270,9\n400,6,270,9\nlevel,count,mean,\n1,2,3,\n";
        assert_eq!(sounding(padded).levels.len(), 2);
        // Words may stand before another ascent.
        let again = "Station B\n50,7,90\n900,8,90\n5000,8,90\n";
        let two = soundings(&format!("{table}9000,6,270\n{again}"));
        assert_eq!(
            two.iter().map(|s| s.levels.len()).collect::<Vec<_>>(),
            [3, 3]
        );
    }

    #[test]
    fn a_page_may_begin_behind_a_blank_line() {
        let head = "time;altitude_m;wind_kt;wind_dir\n";
        let rows = |from: u32, hour: u32| -> String {
            let row = |i: u32| format!("2026-02-05T{hour}:{:02}Z;{};5;270\n", i, 100 * i);
            (from..from + 10).map(row).collect()
        };
        let paged = format!("{head}{}\n{head}{}", rows(1, 12), rows(11, 12));
        assert_eq!(soundings(&paged)[0].levels.len(), 20);
        for apart in [
            format!("{head}{}\n{head}{}", rows(1, 12), rows(1, 12)),
            format!("{head}{}\n{head}{}", rows(1, 12), rows(11, 18)),
            format!("{head}{}\n# another\n{head}{}", rows(1, 12), rows(11, 12)),
        ] {
            assert_eq!(soundings(&apart).len(), 2, "{apart}");
        }
        // With the units below the head.
        let head = "altitude;wind speed;wind dir\nm;kt;deg\n";
        let paged = format!("{head}100;5;270\n200;5;270\n\n{head}300;6;270\n400;6;270\n");
        assert_eq!(soundings(&paged)[0].levels.len(), 4);
    }

    #[test]
    fn of_two_tables_the_first_is_read_too() {
        let narrow = "altitude_m,wind_kt,wind_dir\n100,5,270\n400,6,270\n";
        let wide = "altitude_m,wind_kt,wind_dir,temperature_C\n200,7,90,5\n900,8,90,1\n";
        let found = soundings(&format!("{narrow}\n{wide}"));
        let lowest: Vec<f64> = found.iter().map(|s| s.levels[0].altitude_m).collect();
        assert_eq!(lowest, [100.0, 200.0]);
    }

    #[test]
    fn a_time_of_another_zone_is_none_and_one_with_its_offset_counts_most() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        for local in [
            "# Launch 2026-02-05T17:00 MST",
            "# Launch 2026-02-05T17:00 local time",
            "Launch time (MDT): 2026-05-09 06:00",
            "# Release time (local): 2026-05-09 06:00",
            "Date/time (LT): 2026-05-09 06:00",
        ] {
            assert_eq!(sounding(&format!("{local}\n{table}")).time, None, "{local}");
        }
        let timed =
            "time,altitude_m,u_kt,v_kt\n2026-02-05T12:00:00Z,1,2,3\n2026-02-05T12:01:00Z,4,5,6\n";
        let time = |text: &str| sounding(text).time.unwrap().to_string();
        let noon = "2026-02-05T12:00:00Z";
        assert_eq!(time(&format!("# Launch 2026-02-05T05:00\n{timed}")), noon);
        let certain = format!("# Launch 2026-02-05T11:59:00Z\n{timed}");
        assert_eq!(time(&certain), "2026-02-05T11:59:00Z");
        let valid = format!("# GFS forecast valid {noon}\n{table}");
        assert_eq!(time(&valid), noon);
    }

    #[test]
    fn a_model_is_told_from_a_measurement() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        let model = |line: &str| sounding(&format!("{line}\n{table}")).model;
        let gfs = model("# GFS 72 h forecast valid 2026-05-09T12:00Z").unwrap();
        assert_eq!((gfs.name.as_str(), gfs.lead_s), ("GFS", Some(259_200.0)));
        assert_eq!(model("Model: ICON").unwrap().name, "ICON");
        assert_eq!(model("# Radiosonde RS41 of station RAP"), None);
    }

    #[test]
    fn units_below_the_headings_are_not_passed_over() {
        let table = |time: &str, height: &str, from: &str, lon: &str| {
            format!(
                "time;altitude;wind speed;wind direction;longitude\n{time};{height};kt;{from};{lon}\n\
                 2026-02-05T12:00;100;5;270;8\n2026-02-05T12:01;500;6;280;8\n"
            )
        };
        let s = sounding(&table("UTC", "m", "deg", "deg"));
        assert!(s.time.is_some() && s.levels.len() == 2);
        assert_eq!(sounding(&table("hh:mm:ss", "m", "deg", "-")).time, s.time);
        assert_eq!(sounding(&table("local", "m", "deg", "deg")).time, None);
        for turned in ["deg to", "deg (mag)"] {
            let text = message(&table("UTC", "m", turned, "deg"));
            assert!(
                text.contains("no column of wind") && !text.contains("--columns"),
                "{text}"
            );
        }
        let text = message(&table("UTC", "m AGL", "deg", "deg"));
        assert!(text.contains("no column of height"), "{text}");
        let s = sounding(&table("UTC", "m", "deg", "\u{b0}W"));
        assert!(s.tally.left_out[0].contains("longitude"), "{:?}", s.tally);
    }

    #[test]
    fn thousands_are_no_decimals() {
        let feet = "altitude_ft\twind_kt\twind_dir\n985\t5\t270\n1,640\t6\t270\n39,370\t9\t280\n";
        let s = sounding(feet);
        assert!(
            (s.levels[2].altitude_m - 12_000.0).abs() < 1.0,
            "{:?}",
            s.levels
        );
        let column = "altitude_ft".to_owned();
        assert!(s.tally.assumed.contains(&Reading::Thousands { column }));
        let metres = "altitude_m;wind_kt;wind_dir\n100;5;270\n1.471;6;270\n12.345;9;280\n";
        assert_eq!(heights_of(metres), [100.0, 1_471.0, 12_345.0]);
        let kilometres = metres
            .replace("altitude_m", "altitude_km")
            .replace("100;", "0.100;");
        assert_eq!(heights_of(&kilometres), [100.0, 1_471.0, 12_345.0]);
        let text = message("altitude_m;wind_kt;wind_dir\n1.471;6;270\n12.345;9;280\n");
        assert!(text.contains("thousands or decimals"), "{text}");
    }

    #[test]
    fn a_receiver_without_a_place_says_0() {
        let table = "lat,lon,altitude_m,u_kt,v_kt\n0.0,0.0,1,2,3\n13.1,-59,4,5,6\n13.2,-58,7,8,9\n";
        let s = sounding(table);
        assert_eq!(s.position, Position::new(13.1, -59.0));
        assert_eq!(s.levels[0].place, None);
        let around = "Latitude: 0.0\nLongitude: 0.0\naltitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        assert_eq!(sounding(around).position, None);
    }

    #[test]
    fn a_height_by_another_name_is_told_and_of_two_the_fuller_counts() {
        let table =
            |height: &str| format!("{height},pressure_hPa,u_kt,v_kt\n500,955,2,3\n1000,899,5,6\n");
        for known in [
            "HeightMSL [m]",
            "GpsHeightMSL [m]",
            "GeopHgt [m]",
            "H\u{f6}he [m]",
        ] {
            assert!(
                (heights_of(&table(known))[1] - 1_000.0).abs() < 1.0,
                "{known}"
            );
        }
        let s = sounding(&table("HeightOfSonde"));
        assert!(
            s.tally.left_out[0].contains("HeightOfSonde"),
            "{:?}",
            s.tally
        );
        assert!(sounding(&table("RangeOfSonde")).tally.left_out.is_empty());
        let two =
            "gps altitude_m,geopotential height_m,u_kt,v_kt\n,500,2,3\n,1000,5,6\n1600,1600,5,6\n";
        assert_eq!(sounding(two).levels.len(), 3);
    }

    /// As many lines are looked at twice as large: time grows with them, not with their square.
    #[test]
    fn many_small_tables_are_read_one_after_the_other() {
        let table = "# one\naltitude_m,wind_speed_ms,wind_dir_deg\n100,5,270\n500,6,280\n\n";
        let took = |count: usize| {
            let begin = std::time::Instant::now();
            let found = read("f", &table.repeat(count), &Columns::default());
            let comments = found.iter().map(|raw| raw.as_ref().unwrap().tally.comments);
            assert_eq!((found.len(), comments.sum::<usize>()), (count, count));
            let last = clean(found.into_iter().next_back().unwrap().unwrap()).unwrap();
            assert_eq!(last.levels.len(), 2);
            begin.elapsed().as_secs_f64()
        };
        let (some, more) = (took(1_000), took(8_000));
        assert!(more < 24.0 * some.max(0.01), "{some} s, {more} s");
    }

    #[test]
    fn separators_and_decimal_commas() {
        let comma = sounding("altitude_m,u_m_s,v_m_s\n100.5,1,2\n200,3,4\n");
        let semicolon = sounding("altitude_m;u_m_s;v_m_s\n100,5;1;2\n200;3;4\n");
        let tab = sounding("altitude_m\tu_m_s\tv_m_s\r\n100.5\t1\t2\r\n200\t3\t4\r\n");
        assert_eq!(comma.levels, semicolon.levels);
        assert_eq!(comma.levels, tab.levels);
        assert_eq!(comma.levels[0].altitude_m, 100.5);
        assert_eq!(comma.levels[1].wind.unwrap().east_m_s, 3.0);
    }

    #[test]
    fn units_are_brought_to_si() {
        let s = sounding(
            "height (ft),wind_kt,wind_dir,temperature (F),pressure [mbar]\n\
             1000,10,360,32,977\n2000,20,90,14,942\n",
        );
        assert!((s.levels[0].altitude_m - 304.8).abs() < 1e-9);
        let wind = s.levels[0].wind.unwrap();
        assert!((wind.north_m_s + 18_520.0 / 3_600.0).abs() < 1e-9);
        assert!((s.levels[0].temperature_k.unwrap() - ZERO_CELSIUS_K).abs() < 1e-9);
        assert_eq!(s.levels[0].pressure_pa, Some(97_700.0));
        assert!(s.tally.assumed.contains(&Reading::GeometricHeight));
    }

    #[test]
    fn a_missing_unit_is_not_guessed() {
        let text = message("altitude_m,wind_speed,wind_dir\n1,2,3\n");
        assert!(
            text.contains("line 1, wind_speed") && text.contains("wind_kt"),
            "{text}"
        );
        let text = message("altitude_m,wind_speed_furlongs,wind_dir\n1,2,3\n");
        assert!(text.contains("no column of wind"), "{text}");
        let text = message("wind_kt,wind_dir\n1,2\n");
        assert!(text.contains("no column of height"), "{text}");
        // Above ground is not above sea level.
        let text = message("altitude_agl_m,wind_kt,wind_dir\n1,2,3\n");
        assert!(text.contains("no column of height"), "{text}");
    }

    #[test]
    fn fillers_are_missing() {
        let s = sounding(
            "altitude_m,wind_kt,wind_dir,temperature_C\n\
             100,5,270,-9999\n300,NaN,280,9999\n500,99999,270,\n700,5,270,99999\n",
        );
        assert_eq!(s.tally.fillers, 6);
        assert_eq!(s.tally.out_of_range, 0);
        assert_eq!((s.levels.len(), s.tally.unusable), (2, 2));
        assert!(s.levels.iter().all(|l| l.temperature_k.is_none()));
    }

    #[test]
    fn a_height_of_9999_m_may_be_true() {
        let header = "altitude_m,pressure_hPa,wind_kt,wind_dir\n9000,308,5,270\n";
        let s = sounding(&format!("{header}9999,265,5,270\n11000,227,5,270\n"));
        assert_eq!((s.levels.len(), s.tally.fillers), (3, 0));
        let s = sounding(&format!("{header}9999,10,5,270\n11000,227,5,270\n"));
        assert_eq!((s.tally.fillers, s.tally.heights_computed), (1, 1));
        assert!(s.levels.last().unwrap().altitude_m > 29_000.0);
    }

    #[test]
    fn comments_and_their_times() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        let s = sounding(&format!(
            "# station x launch 2007-11-20T17:30 lat0 5\n{table}"
        ));
        assert_eq!(s.time.unwrap().to_string(), "2007-11-20T17:30:00Z");
        assert_eq!(s.tally.comments, 1);
        assert!(s.tally.assumed.contains(&Reading::TimesInUtc));
        let s = sounding(&format!("# First record 2026-02-05T23:03:59Z.\n{table}"));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T23:03:59Z");
        assert!(s.tally.assumed.is_empty());
        assert_eq!(
            sounding(&format!("# made 2026-02-05T23:03\n{table}")).time,
            None
        );
        let s = sounding("time,altitude_m,u_kt,v_kt\n2010-12-09 11:06:00,1,2,3\nx,4,5,6\n");
        assert_eq!(s.time.unwrap().to_string(), "2010-12-09T11:06:00Z");
        assert_eq!(
            sounding("time,altitude_m,u_kt,v_kt\n0,1,2,3\n1,4,5,6\n").time,
            None
        );
    }

    #[test]
    fn times_of_making_are_none_of_the_release() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        let time = |comments: &str| {
            let time = sounding(&format!("{comments}\n{table}")).time;
            time.map(|t| t.to_string())
        };
        let launch = Some("2026-02-05T12:00:00Z".to_owned());
        let made = "# File creation time: 2026-03-01T10:00:00Z";
        for told in [
            "# Launch time: 2026-02-05T12:00:00Z",
            "# launch time 2026-02-05T12:00:00Z",
            "# time 2026-02-05T12:00:00Z",
            "# valid time 2026-02-05T12:00Z",
            "# launch 2026-02-05T12:00 west of town",
            "# Launch time: 2026-02-05T12:00 UTC (local 05:00)",
        ] {
            assert_eq!(time(told), launch, "{told}");
            assert_eq!(time(&format!("{made}\n{told}")), launch, "{told}");
        }
        for other in [
            made,
            "# Processing time 2026-03-01T10:00:00Z",
            "# Local time 2026-02-05T05:00",
            "# Local launch 2026-02-05T05:00",
            "# launch 2026-02-05T05:00 mst",
            "# launch 2026-02-05T05:00 mst boulder",
            "# launch 2026-02-05T05:00 UTC -7",
            "# Download time 2026-03-01T10:00:00Z",
        ] {
            assert_eq!(time(other), None, "{other}");
        }
        let timed = "time,altitude_m,u_kt,v_kt\n2026-02-05T12:00Z,1,2,3\n2026-02-05T12:01Z,4,5,6\n";
        let s = sounding(&format!("# Processing time 2026-03-01T10:00:00Z\n{timed}"));
        assert_eq!(s.time.map(|t| t.to_string()), launch);
    }

    #[test]
    fn two_files_under_each_other_are_two_ascents() {
        let heads = "time,height_m,u_m_s,v_m_s\n";
        let rows = |day: u32, u: u32| -> String {
            let row = |i: u32| format!("2026-02-0{day} 11:{:02}:00,{},{u},1\n", 2 * i, 1_000 * i);
            (0..20).map(row).collect()
        };
        let (one, two) = (rows(5, 10), rows(6, 20));
        for text in [
            format!("{heads}{one}{heads}{two}"),
            format!("{heads}{one}{two}"),
            format!("{heads}{one}\n{heads}{two}"),
        ] {
            let found = read("f", &text, &Columns::default()).into_iter();
            let found: Vec<Sounding> = found.map(|raw| clean(raw.unwrap()).unwrap()).collect();
            assert_eq!(found.len(), 2);
            for (s, (day, u)) in found.iter().zip([(5, 10.0), (6, 20.0)]) {
                assert_eq!(
                    s.time.unwrap().to_string(),
                    format!("2026-02-0{day}T11:00:00Z")
                );
                assert_eq!(s.levels.len(), 20);
                assert!(s.levels.iter().all(|l| l.wind.unwrap().east_m_s == u));
            }
        }
        // The head of a printed page ends nothing.
        let page = one[..one.len() / 2].rfind('\n').unwrap() + 1;
        let (low, high) = one.split_at(page);
        let text = format!("{heads}{low}{heads}{high}");
        let paged = read("f", &text, &Columns::default());
        assert_eq!(paged.len(), 1);
    }

    #[test]
    fn stations_of_a_column_are_ascents_of_their_own() {
        let text = "station,validUTC,height_m,u_m_s,v_m_s\n\
                    A,2026-02-05 00:00:00,100,1,2\nB,2026-02-05 00:00:00,100,3,4\n\
                    A,2026-02-05 00:00:00,900,1,2\nB,2026-02-05 00:00:00,900,3,4\n";
        let found = read("f", text, &Columns::default()).into_iter();
        let found: Vec<Sounding> = found.map(|raw| clean(raw.unwrap()).unwrap()).collect();
        let names: Vec<&str> = found.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["A", "B"]);
        assert!(
            found
                .iter()
                .all(|s| s.levels.len() == 2 && s.time.is_some())
        );
    }

    #[test]
    fn a_date_that_stays_the_same_over_midnight() {
        let head = "date,time,lat,lon,height_m,u_m_s,v_m_s\n";
        let row = |i: u32| {
            let minute = 23 * 60 + 30 + 4 * i;
            let (hour, minute) = (minute / 60 % 24, minute % 60);
            format!(
                "2026-02-05,{hour:02}:{minute:02}:00,43.0{i:02},-108.3,{},1,2\n",
                1_000 * i
            )
        };
        let up: String = (0..20).map(row).collect();
        let down: String = (0..20).rev().map(row).collect();
        let [up, down] = [up, down].map(|rows| sounding(&format!("{head}{rows}")));
        assert_eq!(up.time.unwrap().to_string(), "2026-02-05T23:30:00Z");
        assert_eq!(up.levels.last().unwrap().after_s, Some(19.0 * 240.0));
        // From the top down it is the same ascent, from the same place.
        assert_eq!((up.time, up.position), (down.time, down.position));
        assert_eq!(up.levels, down.levels);
        assert_eq!(up.position, Position::new(43.0, -108.3));
    }

    #[test]
    fn the_first_place_counts() {
        let s = sounding("lat,lon,altitude_m,u_kt,v_kt\n,,1,2,3\n13.1,301,4,5,6\n13.2,-58,7,8,9\n");
        assert_eq!(s.position, Position::new(13.1, -59.0));
    }

    #[test]
    fn faults_name_line_and_column() {
        let header = "# a comment\naltitude_m,wind_kt,wind_dir\n1,2,3\n";
        let text = message(&format!("{header}4,x5,6\n"));
        assert_eq!(
            text,
            "f, line 4, wind_kt: found \"x5\"; expected a number, or nothing"
        );
        let text = message(&format!("{header}4,5\n"));
        assert!(
            text.contains("line 4: found 2 values; expected 3"),
            "{text}"
        );
    }
}
