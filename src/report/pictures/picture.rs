//! A small canvas: SVG text, and the PNG made of it with our own font.

use std::fmt::Write as _;

use resvg::{tiny_skia, usvg};

use crate::error::{Error, Result};

const FONT: &[u8] = include_bytes!("../fonts/DejaVuSans-subset.ttf");

/// Where a text stands relative to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

impl Anchor {
    fn name(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// A picture being drawn; x to the right and y down, in pixels.
pub struct Picture {
    width: f64,
    height: f64,
    body: String,
}

impl Picture {
    /// A white picture.
    pub fn new(width: f64, height: f64) -> Picture {
        let mut picture = Picture {
            width,
            height,
            body: String::new(),
        };
        picture.rectangle([0.0, 0.0], [width, height], "#ffffff");
        picture
    }

    /// A filled rectangle from its upper left corner and its size.
    pub fn rectangle(&mut self, [x, y]: [f64; 2], [w, h]: [f64; 2], fill: &str) {
        let _ = writeln!(
            self.body,
            r#"<rect x="{x:.1}" y="{y:.1}" width="{w:.1}" height="{h:.1}" fill="{fill}"/>"#
        );
    }

    /// A broken line through points.
    pub fn line(&mut self, points: &[[f64; 2]], width: f64, stroke: &str) {
        if points.len() < 2 {
            return;
        }
        let _ = writeln!(
            self.body,
            r#"<polyline points="{}" fill="none" stroke="{stroke}" stroke-width="{width:.1}" stroke-linejoin="round" stroke-linecap="round"/>"#,
            point_list(points)
        );
    }

    /// A filled shape.
    pub fn shape(&mut self, points: &[[f64; 2]], fill: &str) {
        let _ = writeln!(
            self.body,
            r#"<polygon points="{}" fill="{fill}"/>"#,
            point_list(points)
        );
    }

    /// Lines through points, `closed` or not, drawn as one path with these attributes of SVG.
    pub fn path(&mut self, lines: &[Vec<[f64; 2]>], closed: bool, attributes: &str) {
        let mut d = String::new();
        for line in lines.iter().filter(|line| line.len() > 1) {
            for (i, [x, y]) in line.iter().enumerate() {
                let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
            }
            if closed {
                d.push('Z');
            }
        }
        if !d.is_empty() {
            self.raw_path(&d, attributes);
        }
    }

    /// A path as SVG writes it.
    pub fn raw_path(&mut self, d: &str, attributes: &str) {
        let _ = writeln!(self.body, r#"<path d="{d}" {attributes}/>"#);
    }

    /// Opens a group of things with these attributes of SVG.
    pub fn open_group(&mut self, attributes: &str) {
        let _ = writeln!(self.body, "<g {attributes}>");
    }

    /// Closes the group opened last.
    pub fn close_group(&mut self) {
        self.body.push_str("</g>\n");
    }

    /// Draws another picture over this one, from the same corner.
    pub fn append(&mut self, other: &Picture) {
        self.body.push_str(&other.body);
    }

    /// Something that is not drawn but named: a pattern, a clipping path.
    pub fn define(&mut self, what: &str) {
        let _ = writeln!(self.body, "<defs>{what}</defs>");
    }

    /// A line of text with a white edge, so that it reads on a busy ground.
    pub fn edged_text(&mut self, [x, y]: [f64; 2], size: f64, anchor: Anchor, text: &str) {
        let anchor = anchor.name();
        let _ = writeln!(
            self.body,
            r##"<text x="{x:.1}" y="{y:.1}" font-size="{size:.0}" text-anchor="{anchor}" fill="#000000" stroke="#ffffff" stroke-width="4" stroke-linejoin="round" paint-order="stroke">{}</text>"##,
            escaped(text)
        );
    }

    /// A dot.
    pub fn dot(&mut self, [x, y]: [f64; 2], radius: f64, fill: &str) {
        let _ = writeln!(
            self.body,
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="{radius:.1}" fill="{fill}"/>"#
        );
    }

    /// A line of text.
    pub fn text(&mut self, at: [f64; 2], size: f64, anchor: Anchor, text: &str) {
        self.turned_text(at, size, anchor, 0.0, text);
    }

    /// A line of text turned clockwise by `degrees` about its point.
    pub fn turned_text(
        &mut self,
        [x, y]: [f64; 2],
        size: f64,
        anchor: Anchor,
        degrees: f64,
        text: &str,
    ) {
        let anchor = anchor.name();
        let turn = match degrees {
            0.0 => String::new(),
            d => format!(r#" transform="rotate({d:.1} {x:.1} {y:.1})""#),
        };
        let _ = writeln!(
            self.body,
            r##"<text x="{x:.1}" y="{y:.1}" font-size="{size:.0}" text-anchor="{anchor}" fill="#000000"{turn}>{}</text>"##,
            escaped(text)
        );
    }

    /// The picture as SVG.
    pub fn svg(&self) -> String {
        self.svg_with("", "")
    }

    /// The picture as SVG that tells those who do not see it what it shows: `id` names it within a
    /// page.
    pub fn described_svg(&self, id: &str, title: &str, description: &str) -> String {
        let attributes = format!(r#" id="{id}" role="img" aria-labelledby="{id}-title {id}-text""#);
        let said = format!(
            "<title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-text\">{}</desc>\n",
            escaped(title),
            escaped(description)
        );
        self.svg_with(&attributes, &said)
    }

    fn svg_with(&self, attributes: &str, head: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w:.0}\" height=\"{h:.0}\" \
             viewBox=\"0 0 {w:.0} {h:.0}\" font-family=\"DejaVu Sans, Verdana, sans-serif\"{attributes}>\n\
             {head}{}</svg>\n",
            self.body,
            w = self.width,
            h = self.height
        )
    }

    /// The picture as PNG, a pixel for each unit.
    ///
    /// # Errors
    ///
    /// The picture is too large to be drawn.
    pub fn png(&self) -> Result<Vec<u8>> {
        self.scaled_png(1.0)
    }

    /// The picture as PNG, so many pixels for each unit.
    ///
    /// # Errors
    ///
    /// The picture is too large to be drawn.
    pub fn scaled_png(&self, scale: f32) -> Result<Vec<u8>> {
        let failed = |cause: String| Error::CannotDo {
            why: format!("the picture cannot be drawn ({cause})"),
            remedy: "write it as .svg instead".to_owned(),
        };
        let mut options = usvg::Options::default();
        options.fontdb_mut().load_font_data(FONT.to_vec());
        let tree =
            usvg::Tree::from_str(&self.svg(), &options).map_err(|e| failed(e.to_string()))?;
        let scaled = tree.size().scale_by(scale);
        let size = scaled.unwrap_or(tree.size()).to_int_size();
        let mut pixels = tiny_skia::Pixmap::new(size.width(), size.height())
            .ok_or_else(|| failed("no memory for its pixels".to_owned()))?;
        resvg::render(
            &tree,
            tiny_skia::Transform::from_scale(scale, scale),
            &mut pixels.as_mut(),
        );
        pixels.encode_png().map_err(|e| failed(e.to_string()))
    }
}

/// Text as XML has it, without what XML cannot hold.
pub fn escaped(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control())
        .fold(String::new(), |mut out, c| {
            match c {
                '&' => out.push_str("&amp;"),
                '<' => out.push_str("&lt;"),
                '>' => out.push_str("&gt;"),
                '"' => out.push_str("&quot;"),
                other => out.push(other),
            }
            out
        })
}

/// The step of an axis: 1, 2 or 5 times a power of ten, so that at most `most` steps cover `range`.
pub fn axis_step(range: f64, most: f64) -> f64 {
    let least = range / most;
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// A number on an axis with no more decimals than its step needs.
pub fn tick(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 3.0) as usize;
    format!("{:.decimals$}", value + 0.0)
}

/// Points as SVG lists them.
fn point_list(points: &[[f64; 2]]) -> String {
    let list: Vec<String> = points
        .iter()
        .map(|[x, y]| format!("{x:.1},{y:.1}"))
        .collect();
    list.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_have_round_steps() {
        for (range, step) in [(32.0, 5.0), (9.0, 1.0), (0.7, 0.1), (110.0, 20.0)] {
            let found = axis_step(range, 9.0);
            assert!((found - step).abs() < 1e-9, "{range}: {found}");
        }
    }

    #[test]
    fn text_is_escaped_and_drawn() {
        let mut picture = Picture::new(60.0, 20.0);
        picture.text([2.0, 15.0], 14.0, Anchor::Start, "a<b & \u{7}c");
        assert!(picture.svg().contains(">a&lt;b &amp; c</text>"));
        let png = picture.png().unwrap();
        assert_eq!(&png[1..4], b"PNG");
        // The font is there: something darker than white was drawn.
        let pixels = tiny_skia::Pixmap::decode_png(&png).unwrap();
        assert!(pixels.pixels().iter().any(|p| p.red() < 100));
    }
}
