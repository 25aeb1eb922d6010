//! Whatever bytes come in, the readers neither panic nor return what cannot be.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use proptest::prelude::*;
use windfall::sources::{Format, Hints, parse, recognise};
use windfall::wind::sounding::Sounding;

const FORMATS: [Format; 7] = [
    Format::Csv,
    Format::Igra,
    Format::Listing,
    Format::Gsl,
    Format::Bufkit,
    Format::Spc,
    Format::Json,
];

const REAL: [&str; 12] = [
    include_str!("data/soundings/archive_csv_high_altitude.txt"),
    include_str!("data/soundings/chmi_11520.csv"),
    include_str!("data/soundings/archive_list_hobart_20130702_00z.txt"),
    include_str!("data/soundings/fm35_temp_bulletin_decoded.txt"),
    include_str!("data/soundings/igra2_hour99_header.txt"),
    include_str!("data/soundings/igra2_omaha_2025.txt"),
    include_str!("data/soundings/gsl_raob_san_diego.txt"),
    include_str!("data/soundings/bufkit_gfs_missoula.buf"),
    include_str!("data/soundings/bufkit_hrrr_los_angeles.buf"),
    include_str!("data/soundings/spc_nashville.txt"),
    include_str!("data/soundings/raob_json_with_nan.txt"),
    include_str!("data/soundings/igra2_cape_canaveral_1950_derived.txt"),
];

/// At least two winds, altitudes strictly rising, every number finite.
fn check(sounding: &Sounding) {
    assert!(sounding.levels.iter().filter(|l| l.wind.is_some()).count() >= 2);
    for pair in sounding.levels.windows(2) {
        assert!(pair[0].altitude_m < pair[1].altitude_m);
    }
    for level in &sounding.levels {
        let wind = level.wind.map(|w| w.speed_m_s());
        let values = [
            Some(level.altitude_m),
            level.pressure_pa,
            level.temperature_k,
            level.vapour_pressure_pa,
            wind,
        ];
        assert!(values.into_iter().flatten().all(f64::is_finite));
    }
}

fn read_every_way(text: &str) {
    let _ = recognise(text);
    let columns = "1=pressure hPa, 2=height m, 3=wind from, 4=wind speed kt".parse();
    let told = Hints {
        format: Some(Format::Csv),
        columns: columns.unwrap(),
        ..Hints::default()
    };
    if let Ok(soundings) = parse("f", text, told) {
        soundings.iter().for_each(check);
    }
    for format in FORMATS.map(Some).into_iter().chain([None]) {
        match parse("f", text, format) {
            Ok(soundings) => soundings.iter().for_each(check),
            // Never an error without words.
            Err(error) => assert!(error.to_string().contains("expected")),
        }
    }
}

/// The place in `text` at a share of its length, on a character boundary.
fn place(text: &str, share: f64) -> usize {
    let mut at = (share * text.len() as f64) as usize;
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[test]
fn an_empty_text_has_a_message() {
    // Found by `any_text`, 2026-11-25: an archive without an ascent gave an error without words.
    read_every_way("");
    read_every_way("\n");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn any_text(text in "\\PC{0,300}") {
        read_every_way(&text);
    }

    #[test]
    fn any_table(text in "(altitude_m|pressure_hPa|z_ft),(u_kt|wind_m/s),(v_kt|wind_dir)\n([-0-9.eE]{0,9},[-0-9.eE]{0,9},[-0-9]{0,5}\n){0,12}") {
        read_every_way(&text);
    }

    #[test]
    fn any_table_with_a_preamble(text in "(# )?[a-z: ]{0,12}\n(P|altitude|PRES) {1,3}(u|FF|SKNT) {1,3}(v|DD)\n(hPa|m|-) {1,4}(kt|m/s)  (deg)?\n(-{5}\n)?([-0-9.,]{0,9} {1,5}[-0-9.]{0,9}[ ;\t]{1,3}[-0-9]{0,5}\n){0,12}") {
        read_every_way(&text);
    }

    #[test]
    fn any_json(text in "\\{\"(p|pres|height_m)\": ?\\[[-0-9.,NaN]{0,12}\\], ?\"(u_kt|sknt|v)\": ?[-0-9,\\[\\]{}\"]{0,12}\\}?") {
        read_every_way(&text);
    }

    #[test]
    fn truncated_files(which in 0..REAL.len(), share in 0.0..1.0) {
        let text = REAL[which];
        read_every_way(&text[..place(text, share)]);
    }

    #[test]
    fn changed_files(
        which in 0..REAL.len(),
        changes in prop::collection::vec((0.0..1.0, "[-#0-9A-Z .,;<>°]{0,4}", 0usize..4), 1..6),
    ) {
        let mut text = REAL[which].to_owned();
        for (share, new, cut) in changes {
            let from = place(&text, share);
            let mut to = (from + cut).min(text.len());
            while !text.is_char_boundary(to) {
                to -= 1;
            }
            text.replace_range(from..to.max(from), &new);
        }
        read_every_way(&text);
    }
}

/// The same table from the ground up and from the top down, and over midnight: each level is as long after the
/// release.
#[test]
fn clocks_of_a_table_count_from_its_earliest_row_whichever_way_it_runs() {
    let clock = |s: i64| {
        let s = s.rem_euclid(86_400);
        format!("{:02}:{:02}:{:02}", s / 3_600, s / 60 % 60, s % 60)
    };
    for (begin_s, dated) in [(43_200, false), (85_000, false), (43_200, true)] {
        let row = |i: i64| {
            let day = if dated { "2026-02-06 " } else { "" };
            format!(
                "{day}{},{},10,270\n",
                clock(begin_s + 180 * i),
                1_640 + 900 * i
            )
        };
        let head =
            "latitude: 43.0\nlongitude: -108.3\n\ntime,altitude_m,wind_speed_ms,wind_dir_deg\n";
        let up: String = (0..31).map(row).collect();
        let down: String = (0..31).rev().map(row).collect();
        for rows in [up, down] {
            let read = parse("f", &format!("{head}{rows}"), Some(Format::Csv)).unwrap();
            let after = |i: usize| read[0].levels[i].after_s.unwrap();
            assert_eq!([after(0), after(1), after(30)], [0.0, 180.0, 5_400.0]);
            let released = dated.then(|| "2026-02-06T12:00:00Z".parse().unwrap());
            assert_eq!(read[0].time, released);
        }
    }
}
