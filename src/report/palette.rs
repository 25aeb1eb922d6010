//! Every colour of pictures and pages, by what it stands for. None carries its meaning alone: lines
//! differ in width and dashes too, areas in pattern, verdicts in their sign.

use std::fmt;

use maud::Render;

/// A colour as CSS and SVG write it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour(&'static str);

impl Colour {
    /// Red, green and blue; a colour of three digits has each of them twice.
    pub fn channels(self) -> [u8; 3] {
        let digits: Vec<u8> = self
            .0
            .chars()
            .filter_map(|c| c.to_digit(16))
            .map(|d| d as u8)
            .collect();
        std::array::from_fn(|i| match digits.len() {
            // The digit d stands for dd, which is 17 d.
            3 => 17 * digits[i],
            _ => 16 * digits[2 * i] + digits[2 * i + 1],
        })
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0)
    }
}

impl Render for Colour {
    fn render_to(&self, buffer: &mut String) {
        self.0.render_to(buffer);
    }
}

/// What pictures are drawn on, and the edge that lifts a line off a busy ground.
pub const PAPER: Colour = Colour("#ffffff");
/// Text, and the axes it belongs to.
pub const TEXT: Colour = Colour("#000000");
/// Lines and signs of maps and charts.
pub const INK: Colour = Colour("#111111");

/// Grid of the briefing's charts.
pub const CHART_GRID: Colour = Colour("#c4c4c4");
/// Grid of a profile of winds.
pub const PROFILE_GRID: Colour = Colour("#cccccc");
/// Grid behind the curves of a fill.
pub const CURVE_GRID: Colour = Colour("#b0b0b0");
/// Heights of a profile without winds.
pub const NO_WINDS: Colour = Colour("#e8e8e8");
/// Landing times that hold 9 in 10 draws.
pub const USUAL: Colour = Colour("#4a4a4a");
/// The landing times outside.
pub const UNUSUAL: Colour = Colour("#b0b0b0");
/// How far the error of the wind moves the landing.
pub const WIND_ERROR: Colour = Colour("#555555");

/// Within a limit. This and the next three are pale, so that black text reads on them (contrast
/// above 7 to 1).
pub const WITHIN: Colour = Colour("#bfe3c8");
/// Near a limit.
pub const NEAR: Colour = Colour("#fbe3a1");
/// Beyond a limit.
pub const BEYOND: Colour = Colour("#f3b6ae");
/// Nothing known, or no limit to hold it against.
pub const UNKNOWN: Colour = Colour("#e4e4e4");

/// Balloons compared, the plan's own first: distinguished by those who see no red or green.
pub const BALLOONS: [Colour; 3] = [Colour("#0b3d91"), Colour("#d55e00"), Colour("#00806a")];
/// Fills that do not rise to a burst.
pub const NO_FLIGHT: Colour = Colour("#d9d9d9");
/// Fills that rise too slowly.
pub const SLOW: Colour = Colour("#f6dfd2");
/// Balloons too wide for an opening.
pub const TOO_WIDE: Colour = Colour("#dbe6f7");
/// More gas than there is.
pub const TOO_MUCH_GAS: Colour = Colour("#fbeeb8");

/// Ellipses of the landing zone.
pub const ELLIPSE: Colour = Colour("#00366e");
/// Contours of the landing zone.
pub const CONTOUR: Colour = Colour("#8a4300");
/// What was flown, beside what was planned: a double line, so that it is told without its colour.
pub const FLOWN: Colour = Colour("#9c005d");
/// Meridians and parallels.
pub const MAP_GRID: Colour = Colour("#6a6a6a");
/// Built-up areas. Towns, water and roads are darker in that order, also where they are printed in grey.
pub const TOWN: Colour = Colour("#e9dfd2");
/// Water.
pub const WATER: Colour = Colour("#cfe0ee");
/// Shores, coasts and narrow rivers.
pub const SHORE: Colour = Colour("#5f8bb0");
/// Areas to keep out of.
pub const KEEP_OUT: Colour = Colour("#a03030");
/// Areas to land in.
pub const LAND_IN: Colour = Colour("#4c7a4c");
/// Power lines, borders, runways: thin lines that have to be seen.
pub const FINE_LINE: Colour = Colour("#333333");
/// The area of an airfield.
pub const AIRFIELD: Colour = Colour("#d0d0d0");
/// Edges of motorways and trunk roads.
pub const ROAD_EDGE: Colour = Colour("#5c5c5c");
/// The middle of a trunk road; a motorway's is paper.
pub const TRUNK_ROAD: Colour = Colour("#ffe7b0");
/// Primary roads, and the sample of all roads in the key.
pub const PRIMARY_ROAD: Colour = Colour("#777777");
/// Secondary roads.
pub const SECONDARY_ROAD: Colour = Colour("#858585");
/// Tertiary roads.
pub const TERTIARY_ROAD: Colour = Colour("#959595");
/// Local roads.
pub const LOCAL_ROAD: Colour = Colour("#a8a8a8");
/// Slopes turned away from the light, the lightest first: light enough for names and lines to read
/// on all of them.
pub const SLOPES: [Colour; 4] = [
    Colour("#f1f1ef"),
    Colour("#e4e4e1"),
    Colour("#d5d5d1"),
    Colour("#c4c4bf"),
];

/// The track in a file for globes, over pictures of the ground.
pub const GLOBE_TRACK: Colour = Colour("#202020");
/// Edges of ellipses there.
pub const GLOBE_ELLIPSE: Colour = Colour("#003b7a");
/// What fills the ellipses, nearly transparent.
pub const GLOBE_AREA: Colour = Colour("#1060b0");
/// Contours there.
pub const GLOBE_CONTOUR: Colour = Colour("#a05000");

/// A colour of a page: the name its style sheet calls it by, and what it is by day and by night.
struct PageColour {
    name: &'static str,
    light: Colour,
    dark: Colour,
}

const fn page_colour(name: &'static str, light: &'static str, dark: &'static str) -> PageColour {
    PageColour {
        name,
        light: Colour(light),
        dark: Colour(dark),
    }
}

/// Colours of the briefing's page. Pictures on it keep their white paper by night.
const PAGE: [PageColour; 7] = [
    page_colour("paper", "#fff", "#12171b"),
    page_colour("ink", "#14181c", "#e6eaed"),
    page_colour("soft", "#4a5259", "#b3bbc2"),
    page_colour("line", "#b9c0c6", "#4b545c"),
    page_colour("tint", "#f2f4f5", "#20282e"),
    page_colour("key", "#00366e", "#8fc1ff"),
    page_colour("focus", "#b35900", "#ffb454"),
];

/// Colours of the card, which is printed: black, but for rules and tints.
const CARD: [(&str, Colour); 4] = [
    ("paper", Colour("#fff")),
    ("ink", Colour("#000")),
    ("line", Colour("#777")),
    ("tint", Colour("#eee")),
];

/// The colours of the briefing's page as variables of its style sheet. Paper is white also where
/// the screen is dark.
pub fn page_style() -> String {
    let light = variables(PAGE.iter().map(|c| (c.name, c.light)));
    let dark = variables(PAGE.iter().map(|c| (c.name, c.dark)));
    format!(
        "{light}@media screen and (prefers-color-scheme: dark) {{\n:root {{ color-scheme: dark; }}\n{dark}}}\n"
    )
}

/// The colours of the desk: those of a page, and of what is drawn on its map, whose paper stays white.
pub fn desk_style() -> String {
    let map = variables([("map-edge", PAPER), ("map-line", CONTOUR)]);
    page_style() + &map
}

/// The colours of the card as variables of its style sheet.
pub fn card_style() -> String {
    variables(CARD)
}

fn variables(colours: impl IntoIterator<Item = (&'static str, Colour)>) -> String {
    let each = colours.into_iter();
    let each: String = each.map(|(name, c)| format!(" --{name}: {c};")).collect();
    format!(":root {{{each} }}\n")
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::{Path, PathBuf};

    use super::*;

    fn files(folder: &Path, into: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let kind = path.extension().and_then(|e| e.to_str());
            if path.is_dir() {
                files(&path, into);
            } else if ["rs", "css", "js"].map(Some).contains(&kind) {
                into.push(path);
            }
        }
    }

    /// Hexadecimal colours, colour functions, and names of colours where a colour is set.
    fn literals(text: &str) -> Vec<String> {
        let mut found = Vec::new();
        for (at, _) in text.match_indices('#') {
            let rest = &text[at + 1..];
            let end = rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '-' && c != '_');
            let word = &rest[..end.unwrap_or(rest.len())];
            let hex = word.chars().all(|c| c.is_ascii_hexdigit());
            if hex && [3, 4, 6, 8].contains(&word.len()) {
                found.push(format!("#{word}"));
            }
        }
        // KML's aabbggrr.
        found.extend(
            text.split('"')
                .filter(|word| word.len() == 8 && word.chars().all(|c| c.is_ascii_hexdigit()))
                .map(str::to_owned),
        );
        for function in ["rgb(", "rgba(", "hsl(", "hsla("] {
            found.extend(text.contains(function).then(|| function.to_owned()));
        }
        for set in [
            "fill=\"",
            "stroke=\"",
            "color: ",
            "background: ",
            "px solid ",
            "pt solid ",
        ] {
            for (at, _) in text.match_indices(set) {
                let rest = &text[at + set.len()..];
                let end = rest.find(|c: char| !c.is_ascii_lowercase());
                let word = &rest[..end.unwrap_or(rest.len())];
                let free = ["", "none", "var", "inherit", "url"];
                found.extend((!free.contains(&word)).then(|| format!("{set}{word}")));
            }
        }
        found
    }

    #[test]
    fn no_other_file_of_reports_holds_a_colour() {
        let report = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report");
        let mut all = Vec::new();
        files(&report, &mut all);
        assert!(all.len() > 30, "only {} files seen", all.len());
        for file in all.iter().filter(|f| !f.ends_with("report/palette.rs")) {
            let found = literals(&fs::read_to_string(file).unwrap());
            assert!(found.is_empty(), "{}: {found:?}", file.display());
        }
    }

    #[test]
    fn colours_are_found_however_they_are_written() {
        for text in ["\"#a0B1c2\"", "color: #fff;", "rgba(0, 0, 0, .5)"] {
            assert_eq!(literals(text).len(), 1, "{text}");
        }
        for text in ["fill=\"white\"", "background: red;", "1pt solid black"] {
            assert_eq!(literals(text).len(), 1, "{text}");
        }
        for text in ["url(#hatch)", "#[cfg(test)]", "fill=\"none\"", "#map-view"] {
            assert!(literals(text).is_empty(), "{text}");
        }
    }

    /// Relative luminance by WCAG 2.
    fn luminance(colour: Colour) -> f64 {
        let [red, green, blue] = colour.channels().map(|c| match f64::from(c) / 255.0 {
            v if v <= 0.04045 => v / 12.92,
            v => ((v + 0.055) / 1.055).powf(2.4),
        });
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    }

    fn contrast(a: Colour, b: Colour) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_reads_on_what_lies_below_it() {
        assert!((contrast(PAPER, TEXT) - 21.0).abs() < 1e-9);
        for pale in [WITHIN, NEAR, BEYOND, UNKNOWN] {
            assert!(contrast(pale, TEXT) > 7.0, "{pale}");
        }
        let named = |name: &str| PAGE.iter().find(|c| c.name == name).unwrap();
        let (paper, tint) = (named("paper"), named("tint"));
        for text in ["ink", "soft", "key"].map(named) {
            for below in [paper, tint] {
                assert!(contrast(text.light, below.light) > 7.0, "{}", text.name);
                assert!(contrast(text.dark, below.dark) > 7.0, "{}", text.name);
            }
        }
    }
}
