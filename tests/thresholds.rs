//! Published thresholds: just below, at and just above, in both systems of units.
//!
//! 14 CFR 101.1(a)(4): packages of more than 6 lb; of more than 4 lb with more than 3 oz/in2; two or
//! more of more than 12 lb together; suspensions that need more than 50 lb. ICAO Annex 2 and SERA
//! Appendix 2: heavy from 6 kg together, 3 kg a package, 2 kg with more than 13 g/cm2, 230 N. UK ANO
//! 2016: 2 m. Canada CAR 602.42: 115 ft3. Sources beside each line of `src/fill/rules.toml`.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use program::{stderr, stdout, windfall};
use windfall::fill::compared::AgainstThreshold;
use windfall::fill::rules::{Numbers, Package, RuleBook};
use windfall::units::{CUBIC_FOOT_M3, Dimension, FOOT_M, POUND_FORCE_N, POUND_KG, parse};

/// The verdict on the line about `what`.
fn verdict(rules: &str, what: &str, numbers: &Numbers) -> AgainstThreshold {
    let book = RuleBook::built_in().unwrap();
    let rules = book.get(rules).unwrap().compare(numbers);
    let lines: Vec<_> = rules
        .lines
        .iter()
        .filter(|l| l.what.contains(what))
        .collect();
    assert_eq!(lines.len(), 1, "{what}");
    lines[0].verdict
}

fn boxed(mass_kg: f64, smallest_face_m2: Option<f64>) -> Package {
    Package {
        name: "box".into(),
        mass_kg,
        smallest_face_m2,
    }
}

fn package(kg: f64, face_m2: Option<f64>) -> Numbers {
    Numbers {
        packages: vec![boxed(kg, face_m2)],
        ..Numbers::default()
    }
}

fn two(kg: f64) -> Numbers {
    let half = boxed(0.5 * kg, None);
    Numbers {
        packages: vec![half.clone(), half],
        ..Numbers::default()
    }
}

fn line(n: f64) -> Numbers {
    Numbers {
        lines_n: vec![Some(n), Some(n + 500.0)],
        ..Numbers::default()
    }
}

/// Below, at and above a threshold given in either system.
fn around(at: f64) -> [f64; 3] {
    [at * (1.0 - 1e-6), at, at * (1.0 + 1e-6)]
}

/// The thresholds themselves: where "more than" is published, at is not above.
#[test]
fn just_below_at_and_just_above() {
    use AgainstThreshold::{Above, Below};
    let more_than = [Below, Below, Above];
    let that_or_more = [Below, Above, Above];
    let square_inch = (FOOT_M / 12.0).powi(2);
    // 5 lb on so many square inches as make 3 oz/in2; 2.5 kg and 13 g/cm2.
    let us_face = |share: f64| package(5.0 * POUND_KG, Some(80.0 / 3.0 * square_inch / share));
    let icao_face = |share: f64| package(2.5, Some(2.5 / 130.0 / share));
    type Case<'a> = (
        &'a str,
        &'a str,
        f64,
        &'a dyn Fn(f64) -> Numbers,
        [AgainstThreshold; 3],
    );
    let cases: [Case; 12] = [
        (
            "us",
            "heaviest package",
            6.0 * POUND_KG,
            &|kg| package(kg, None),
            more_than,
        ),
        ("us", "by smallest face", 1.0, &us_face, more_than),
        (
            "us",
            "two or more packages",
            12.0 * POUND_KG,
            &two,
            more_than,
        ),
        (
            "us",
            "force that parts",
            50.0 * POUND_FORCE_N,
            &line,
            more_than,
        ),
        (
            "us",
            "length of the suspension",
            50.0 * FOOT_M,
            &|m| Numbers {
                lines_m: vec![Some(m)],
                ..Numbers::default()
            },
            more_than,
        ),
        ("icao", "together: heavy", 6.0, &two, that_or_more),
        (
            "icao",
            "heaviest package",
            3.0,
            &|kg| package(kg, None),
            that_or_more,
        ),
        ("icao", "by smallest face", 1.0, &icao_face, more_than),
        ("icao", "force that parts", 230.0, &line, that_or_more),
        ("icao", "together: medium", 4.0, &two, that_or_more),
        (
            "uk",
            "largest size",
            2.0,
            &|m| Numbers {
                burst_diameter_m: Some(m),
                ..Numbers::default()
            },
            more_than,
        ),
        (
            "canada",
            "gas-carrying",
            115.0 * CUBIC_FOOT_M3,
            &|m3| Numbers {
                capacity_m3: Some(m3),
                release_m3: m3,
                ..Numbers::default()
            },
            more_than,
        ),
    ];
    for (rules, what, at, numbers, expected) in cases {
        let found = around(at).map(|value| verdict(rules, what, &numbers(value)));
        assert_eq!(found, expected, "{rules}: {what}");
    }
}

/// The same threshold written in the other system falls on the same side: pounds as kilograms, feet
/// as metres, to all digits a person would write and more.
#[test]
fn the_units_do_not_matter() {
    use AgainstThreshold::{Above, Below};
    for (rules, what, dimension, texts) in [
        (
            "us",
            "heaviest package",
            Dimension::Mass,
            [
                ("5.99 lb", Below),
                ("6 lb", Below),
                ("2.72155422 kg", Below),
                ("96 oz", Below),
                ("2721.6 g", Above),
                ("6.01 lb", Above),
            ],
        ),
        (
            "icao",
            "heaviest package",
            Dimension::Mass,
            [
                ("2.999 kg", Below),
                ("3 kg", Above),
                ("3000 g", Above),
                ("6.61 lb", Below),
                ("6.6138679 lb", Above),
                ("3.001 kg", Above),
            ],
        ),
        (
            "us",
            "two or more packages",
            Dimension::Mass,
            [
                ("11.99 lb", Below),
                ("12 lb", Below),
                ("5.44310844 kg", Below),
                ("5.4432 kg", Above),
                ("192 oz", Below),
                ("12.01 lb", Above),
            ],
        ),
    ] {
        for (text, expected) in texts {
            let kg = parse(text, dimension).unwrap();
            let numbers = if what.contains("two") {
                two(kg)
            } else {
                package(kg, None)
            };
            assert_eq!(verdict(rules, what, &numbers), expected, "{rules} {text}");
        }
    }
    for (text, expected) in [
        ("50 lb", Below),
        ("50 lbf", Below),
        ("222.4 N", Below),
        ("222.5 N", Above),
        ("22.68 kg", Above),
    ] {
        let n = parse(text, Dimension::Force).unwrap();
        assert_eq!(
            verdict("us", "force that parts", &line(n)),
            expected,
            "{text}"
        );
    }
    for (text, expected) in [
        ("115 ft3", Below),
        ("3.256 m3", Below),
        ("3.257 m3", Above),
        ("3257 L", Above),
    ] {
        let m3 = parse(text, Dimension::Volume).unwrap();
        let numbers = Numbers {
            capacity_m3: Some(m3),
            release_m3: m3,
            ..Numbers::default()
        };
        assert_eq!(
            verdict("canada", "gas-carrying", &numbers),
            expected,
            "{text}"
        );
    }
}

/// A package below the mass never crosses by its face; above it, without a face, nobody knows.
#[test]
fn the_face_counts_from_a_mass_on() {
    let dense = |kg| package(kg, Some(1e-3));
    let what = "by smallest face";
    assert_eq!(
        verdict("us", what, &dense(4.0 * POUND_KG)),
        AgainstThreshold::Below
    );
    assert_eq!(
        verdict("us", what, &dense(4.001 * POUND_KG)),
        AgainstThreshold::Above
    );
    assert_eq!(
        verdict("icao", what, &dense(1.999)),
        AgainstThreshold::Below
    );
    assert_eq!(verdict("icao", what, &dense(2.0)), AgainstThreshold::Above);
    assert_eq!(
        verdict("us", what, &package(2.0, None)),
        AgainstThreshold::NotEnoughInformation
    );
    // One dense package is enough, whatever is not known of the others.
    let mut numbers = dense(2.5);
    numbers.packages.push(boxed(2.5, None));
    assert_eq!(verdict("icao", what, &numbers), AgainstThreshold::Above);
}

/// Where lines and parachute decide, it is for the authority to say whether they count.
#[test]
fn what_may_count_is_not_decided() {
    let mut numbers = two(11.0 * POUND_KG);
    let what = "two or more packages";
    assert_eq!(verdict("us", what, &numbers), AgainstThreshold::Below);
    numbers.other_kg = 2.0 * POUND_KG;
    assert_eq!(
        verdict("us", what, &numbers),
        AgainstThreshold::NotEnoughInformation
    );
    // One package of 13 lb is not two or more.
    assert_eq!(
        verdict("us", what, &package(13.0 * POUND_KG, None)),
        AgainstThreshold::Below
    );
    // Capacity: filled below it, but it can carry more.
    let numbers = Numbers {
        capacity_m3: Some(300.0),
        release_m3: 2.0,
        ..Numbers::default()
    };
    assert_eq!(
        verdict("canada", "gas-carrying", &numbers),
        AgainstThreshold::NotEnoughInformation
    );
    // A line of unknown strength may be the weaker one; below the threshold it does not matter.
    let lines = |n| Numbers {
        lines_n: vec![Some(n), None],
        ..Numbers::default()
    };
    assert_eq!(
        verdict("icao", "force that parts", &lines(300.0)),
        AgainstThreshold::NotEnoughInformation
    );
    assert_eq!(
        verdict("icao", "force that parts", &lines(200.0)),
        AgainstThreshold::Below
    );
}

const PLAN: &str = "samples/first-light/plan.toml";

/// As a person sees it: each line with the number, the citation and where to ask; and never a word
/// that would allow a flight.
#[test]
fn the_lines_as_printed() {
    for (rules, cited) in [
        ("us", "14 CFR 101.1(a)(4)(ii)"),
        ("icao", "Annex 2"),
        ("uk", "Air Navigation Order 2016"),
        ("canada", "CAR 602.42"),
    ] {
        for units in ["metric", "us"] {
            let output = windfall("fill", &[PLAN, "--rules", rules, "--units", units]);
            assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
            let text = stdout(&output);
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains(cited), "{rules}");
            let start = text.find("\nThresholds").unwrap();
            let end = start + text[start..].find("\n\n").unwrap_or(text.len() - start);
            let lines = text[start..end].matches("\n- ").count();
            for phrase in [
                "As published in",
                "check the current text and ask the authority",
            ] {
                assert_eq!(flat.matches(phrase).count(), lines, "{rules}: {phrase}");
            }
            for part in text[start..end].split("\n- ").skip(1) {
                let known = ["above: ", "below: ", "not enough information: "];
                assert!(known.iter().any(|k| part.starts_with(k)), "{part}");
            }
            let thresholds = text[start..end].to_lowercase();
            for word in ["legal", "exempt", "allowed", "permitted"] {
                assert!(!thresholds.contains(word), "{rules}: {word}");
            }
        }
    }
    let none = stdout(&windfall("fill", &[PLAN, "--rules", "none"]));
    assert!(!none.contains("\nThresholds") && none.contains("--rules us"));
    let wrong = windfall("fill", &[PLAN, "--rules", "mars"]);
    assert_eq!(wrong.status.code(), Some(1));
    assert!(stderr(&wrong).contains("expected one of canada, icao, uk, us, or none"));
}

/// What was not read at the source is marked.
#[test]
fn unverified_is_said() {
    let text = stdout(&windfall("fill", &[PLAN, "--rules", "icao"]));
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(
        flat.matches("from memory; undated, unverified").count(),
        2,
        "{text}"
    );
}

#[test]
fn a_users_own_rules() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("club.toml");
    let text = "[club]\ntitle = \"Our club\"\n[[club.line]]\nwhat = \"heaviest box\"\ncompare = \"package mass\"\nthreshold = \"3 lb\"\ncrossed = \"above\"\nmeans = \"two sign\"\ncitation = \"house rules\"\nsource = \"the wall\"\ndate = \"2026\"\nverified = true\n";
    std::fs::write(&path, text).unwrap();
    let path = path.to_str().unwrap();
    let output = windfall("fill", &[PLAN, "--rules-file", path, "--rules", "club"]);
    assert!(
        stdout(&output).contains(
            "- above: heaviest box, 1.91 kg (cosmic ray box); threshold more than 3 lb (1.36 kg)"
        ),
        "{}",
        stdout(&output)
    );
}
