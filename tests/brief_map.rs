//! The map as a picture: what is dark and what is light where, in coarse cells, not in pixels.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/briefing.rs"]
mod briefing;
#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use briefing::Briefing;
use resvg::tiny_skia::Pixmap;

/// Cells across the map; a cell is 20 units.
const ACROSS: u32 = 36;
/// How dark a cell is, as letters: from white to as dark as a line.
const LETTERS: [char; 5] = [' ', '.', ':', 'x', '#'];
/// A cell is that dark from this share of black on.
const FROM: [f64; 5] = [0.0, 0.012, 0.05, 0.13, 0.3];

/// The darkness of each cell, a line of letters a row.
fn coarse(png: &[u8]) -> Vec<String> {
    let pixels = Pixmap::decode_png(png).unwrap();
    let cell = pixels.width() / ACROSS;
    let black = |column: u32, row: u32| -> f64 {
        let mut sum = 0.0;
        for y in row * cell..(row + 1) * cell {
            for x in column * cell..(column + 1) * cell {
                let p = pixels.pixel(x, y).unwrap();
                let grey = 0.3 * f64::from(p.red())
                    + 0.59 * f64::from(p.green())
                    + 0.11 * f64::from(p.blue());
                sum += 1.0 - grey / 255.0;
            }
        }
        sum / f64::from(cell * cell)
    };
    let letter = |share: f64| LETTERS[FROM.iter().rposition(|f| share >= *f).unwrap_or(0)];
    (0..pixels.height() / cell)
        .map(|row| {
            (0..ACROSS)
                .map(|column| letter(black(column, row)))
                .collect()
        })
        .collect()
}

fn level(c: char) -> i32 {
    LETTERS.iter().position(|l| *l == c).unwrap_or(0) as i32
}

/// The picture of the sample: heading, sheet with the zone right of the release, key. Cells may be off
/// by a level, and one in fifty by more, so that a changed font or line does not matter.
#[test]
fn the_coarse_structure_of_the_sample() {
    let briefing = Briefing::of_sample(&[]);
    let found = coarse(&std::fs::read(briefing.path("map.png")).unwrap());
    let path = briefing::root().join("tests/data/pictures/ribatejo_map.txt");
    if std::env::var_os("UPDATE_PICTURES").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, found.join("\n") + "\n").unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    let kept: Vec<&str> = kept.lines().collect();
    let picture = found.join("\n");
    assert_eq!(found.len(), kept.len(), "{picture}");
    let mut off = 0;
    for (a, b) in found.iter().zip(&kept) {
        let kept = b.chars().chain(std::iter::repeat(' '));
        off += a
            .chars()
            .zip(kept)
            .filter(|(a, b)| (level(*a) - level(*b)).abs() > 1)
            .count();
    }
    let cells = found.len() * ACROSS as usize;
    assert!(
        off * 50 <= cells,
        "{off} of {cells} cells are off:\n{picture}"
    );
}

/// Where the map shows things is where they are: the dark cross of the landing, the ring of the release,
/// the outer line around the centre, white paper in the corners of the sheet.
#[test]
fn things_are_drawn_where_they_are() {
    let briefing = Briefing::of_everything();
    let svg = briefing.text("map.svg");
    let document = roxmltree::Document::parse(&svg).unwrap();
    let texts: Vec<&str> = document
        .descendants()
        .filter(|n| n.tag_name().name() == "text")
        .filter_map(|n| n.text())
        .collect();
    for wanted in [
        "release 10:30",
        "wait A",
        "wait B",
        "50 %",
        "90 %",
        "99 %",
        "N",
        "keep out",
        "roads, wider the busier",
    ] {
        assert!(texts.contains(&wanted), "{wanted}: {texts:?}");
    }
    assert!(texts.iter().any(|t| t.starts_with("planned landing ")));
    // Marks at whole heights and whole ten minutes, as far as there is room for their names.
    let heights = texts
        .iter()
        .filter(|t| t.contains(" km \u{2191}") || t.contains(" km \u{2193}"));
    assert!(heights.count() >= 6, "{texts:?}");
    assert!(
        texts.iter().filter(|t| t.starts_with('+')).count() >= 5,
        "{texts:?}"
    );
    // A grid of coordinates, a scale.
    assert!(
        texts
            .iter()
            .any(|t| t.ends_with(" N") && t.starts_with("39.")),
        "{texts:?}"
    );
    assert!(
        texts
            .iter()
            .any(|t| t.ends_with(" W") && t.starts_with("8.")),
        "{texts:?}"
    );
    assert!(texts.contains(&"10 km"), "{texts:?}");
    // The rendered picture has all greys: shading, lines, paper.
    let png = std::fs::read(briefing.path("map.png")).unwrap();
    let cells = coarse(&png).concat();
    for letter in LETTERS {
        assert!(cells.contains(letter), "no cell is {letter:?}");
    }
}

/// Ellipses and contours differ without colour: each has a line style of its own.
#[test]
fn lines_are_told_apart_without_colour() {
    let svg = Briefing::of_sample(&[]).text("map.svg");
    let document = roxmltree::Document::parse(&svg).unwrap();
    let mut styles: Vec<String> = document
        .descendants()
        .filter(|n| ["#00366e", "#8a4300"].contains(&n.attribute("stroke").unwrap_or("")))
        .map(|n| {
            let get = |key| n.attribute(key).unwrap_or("-").to_owned();
            format!("{} {}", get("stroke-width"), get("stroke-dasharray"))
        })
        .collect();
    styles.sort();
    styles.dedup();
    // Three ellipses and two contours, on the map and in its key.
    assert_eq!(styles.len(), 5, "{styles:?}");
}
