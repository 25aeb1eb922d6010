//! A small canvas: SVG text, and the PNG made of it with our own font.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped, Render, html};
use resvg::{tiny_skia, usvg};

use crate::error::{Error, Result};
use crate::report::markup::{Px, document};
use crate::report::palette::{Colour, PAPER, TEXT};

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

/// What an area is filled with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Paint {
    /// Nothing.
    Open,
    /// A colour.
    Colour(Colour),
    /// A colour with that share of it, from 0 to 1, over what lies below.
    Tint(Colour, f64),
    /// A pattern that the picture defines under this name.
    Pattern(&'static str),
}

impl Render for Paint {
    fn render_to(&self, buffer: &mut String) {
        match self {
            Paint::Open => buffer.push_str("none"),
            Paint::Colour(colour) | Paint::Tint(colour, _) => colour.render_to(buffer),
            Paint::Pattern(name) => html! { "url(#" (name) ")" }.render_to(buffer),
        }
    }
}

/// How a path is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    fill: Paint,
    stroke: Option<Colour>,
    width: f64,
    opacity: Option<f64>,
    joins: Option<&'static str>,
    dashes: Option<&'static str>,
    caps: Option<&'static str>,
    rendering: Option<&'static str>,
}

impl Look {
    /// A line whose corners are round.
    pub const fn line(colour: Colour, width: f64) -> Look {
        let mut look = Look::area(Paint::Open).edged(colour, width);
        look.joins = Some("round");
        look
    }

    /// An area without an edge. Rings inside rings are holes.
    pub const fn area(fill: Paint) -> Look {
        Look {
            fill,
            stroke: None,
            width: 0.0,
            opacity: None,
            joins: None,
            dashes: None,
            caps: None,
            rendering: None,
        }
    }

    /// The same with an edge.
    #[must_use]
    pub const fn edged(mut self, colour: Colour, width: f64) -> Look {
        self.stroke = Some(colour);
        self.width = width;
        self
    }

    /// The same in dashes, as SVG lists them; solid where there are none.
    #[must_use]
    pub const fn dashed(mut self, dashes: &'static str) -> Look {
        self.dashes = if dashes.is_empty() {
            None
        } else {
            Some(dashes)
        };
        self
    }

    /// The same with a line that lets through what lies below.
    #[must_use]
    pub const fn faint(mut self, opacity: f64) -> Look {
        self.opacity = Some(opacity);
        self
    }

    /// The same with round ends.
    #[must_use]
    pub const fn capped(mut self) -> Look {
        self.caps = Some("round");
        self
    }

    /// The same with edges along whole pixels, so that neighbours join without a seam.
    #[must_use]
    pub const fn crisp(mut self) -> Look {
        self.rendering = Some("crispEdges");
        self
    }

    /// Width of its line, units.
    pub const fn width(&self) -> f64 {
        self.width
    }

    /// The same with a line of another width.
    #[must_use]
    pub const fn wide(mut self, width: f64) -> Look {
        self.width = width;
        self
    }

    fn fill_opacity(&self) -> Option<f64> {
        match self.fill {
            Paint::Tint(_, share) => Some(share),
            _ => None,
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
        // Else black letters stand on whatever a viewer has behind pictures, black in some.
        let mut picture = Picture::clear(width, height);
        picture.rectangle([0.0, 0.0], [width, height], PAPER);
        picture
    }

    /// A picture without a ground, to be laid over another.
    pub fn clear(width: f64, height: f64) -> Picture {
        Picture {
            width,
            height,
            body: String::new(),
        }
    }

    /// A filled rectangle from its upper left corner and its size.
    pub fn rectangle(&mut self, at: [f64; 2], size: [f64; 2], fill: Colour) {
        self.put(rectangle(at, size, Some(fill)));
    }

    /// A broken line through points.
    pub fn line(&mut self, points: &[[f64; 2]], width: f64, stroke: Colour) {
        if points.len() < 2 {
            return;
        }
        self.put(html! {
            polyline points=(point_list(points)) fill="none" stroke=(stroke) stroke-width=(Px(width))
                stroke-linejoin="round" stroke-linecap="round" {}
        });
    }

    /// The edges of a rectangle: its left, upper, right and lower one.
    pub fn frame(&mut self, [left, top, right, bottom]: [f64; 4], width: f64, stroke: Colour) {
        let upper = [[left, top], [right, top]];
        let lower = [[right, bottom], [left, bottom]];
        self.line(
            // Back to where it began: a broken line does not close itself.
            &[upper[0], upper[1], lower[0], lower[1], upper[0]],
            width,
            stroke,
        );
    }

    /// A filled shape.
    pub fn shape(&mut self, points: &[[f64; 2]], fill: Colour) {
        self.put(html! { polygon points=(point_list(points)) fill=(fill) {} });
    }

    /// Lines through points, `closed` or not, drawn as one path.
    /// Lines of a single point are left out.
    pub fn path(&mut self, lines: &[Vec<[f64; 2]>], closed: bool, look: Look) {
        let mut d = String::new();
        for line in lines.iter().filter(|line| line.len() > 1) {
            for (i, [x, y]) in line.iter().enumerate() {
                // A tenth of a pixel is not seen, and more digits make longer files.
                let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
            }
            if closed {
                d.push('Z');
            }
        }
        if !d.is_empty() {
            self.raw_path(&d, look);
        }
    }

    /// A path as SVG writes it.
    pub fn raw_path(&mut self, d: &str, look: Look) {
        let edge = look.stroke;
        // It decides what is inside, of which a line has nothing.
        let rule = (look.fill != Paint::Open).then_some("evenodd");
        self.put(html! {
            path d=(d) fill=(look.fill) fill-rule=[rule] fill-opacity=[look.fill_opacity()]
                stroke=[edge] stroke-width=[edge.map(|_| look.width)] stroke-opacity=[look.opacity]
                stroke-linejoin=[look.joins] stroke-dasharray=[look.dashes]
                stroke-linecap=[look.caps] shape-rendering=[look.rendering] {}
        });
    }

    /// Draws another picture over this one, from the same corner.
    pub fn append(&mut self, other: &Picture) {
        self.body.push_str(&other.body);
    }

    /// Draws within a clipping path.
    pub fn clipped(&mut self, clip: &str, draw: impl FnOnce(&mut Picture)) {
        let body = self.aside(draw);
        self.put(html! { g clip-path={ "url(#" (clip) ")" } { "\n" (body) } });
    }

    /// Draws moved down.
    pub fn lowered(&mut self, down: f64, draw: impl FnOnce(&mut Picture)) {
        let body = self.aside(draw);
        self.put(html! { g transform={ "translate(0 " (down) ")" } { "\n" (body) } });
    }

    /// Draws a layer that a page can find by its name, to switch it on and off.
    pub fn layer(&mut self, name: &str, draw: impl FnOnce(&mut Picture)) {
        let body = self.aside(draw);
        self.put(html! { g data-layer=(name) { "\n" (body) } });
    }

    /// What was drawn, for a page that has the picture's frame already.
    pub fn inside(&self) -> Markup {
        PreEscaped(self.body.clone())
    }

    /// What `draw` draws, kept apart.
    fn aside(&mut self, draw: impl FnOnce(&mut Picture)) -> Markup {
        // By the same picture, so that what draws need not know that it is in a group.
        let before = std::mem::take(&mut self.body);
        draw(self);
        PreEscaped(std::mem::replace(&mut self.body, before))
    }

    /// Names a rectangle that drawings can be clipped to.
    pub fn clipping(&mut self, name: &str, at: [f64; 2], size: [f64; 2]) {
        self.define(html! { clipPath id=(name) { (rectangle(at, size, None)) } });
    }

    /// Something that is not drawn but named, as a pattern.
    pub fn define(&mut self, what: Markup) {
        self.put(html! { defs { (what) } });
    }

    /// A line of text with a white edge, so that it reads on a busy ground.
    pub fn edged_text(&mut self, [x, y]: [f64; 2], size: f64, anchor: Anchor, text: &str) {
        self.put(html! {
            text x=(Px(x)) y=(Px(y)) font-size=(size) text-anchor=(anchor.name()) fill=(TEXT)
                stroke=(PAPER) stroke-width="4" stroke-linejoin="round" paint-order="stroke" { (text) }
        });
    }

    /// A dot.
    pub fn dot(&mut self, [x, y]: [f64; 2], radius: f64, fill: Colour) {
        self.put(html! { circle cx=(Px(x)) cy=(Px(y)) r=(Px(radius)) fill=(fill) {} });
    }

    /// A line of text.
    /// Its point lies on the line that letters stand on.
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
        // Most texts stand upright, and thousands of turns by nothing make long files.
        let turn = (degrees != 0.0).then(|| format!("rotate({degrees:.1} {x:.1} {y:.1})"));
        self.put(html! {
            text x=(Px(x)) y=(Px(y)) font-size=(size) text-anchor=(anchor.name()) fill=(TEXT)
                transform=[turn] { (text) }
        });
    }

    fn put(&mut self, markup: Markup) {
        self.body.push_str(&markup.into_string());
        self.body.push('\n');
    }

    /// The picture as SVG.
    pub fn svg(&self) -> String {
        document(self.element(None))
    }

    /// The picture as an element of a page that tells those who do not see it what it shows: `id`
    /// names it within the page.
    pub fn described(&self, id: &str, title: &str, description: &str) -> Markup {
        self.element(Some([id, title, description]))
    }

    fn element(&self, described: Option<[&str; 3]>) -> Markup {
        let [w, h] = [self.width.round(), self.height.round()];
        let names = described.map(|[id, ..]| format!("{id}-title {id}-text"));
        html! {
            svg xmlns="http://www.w3.org/2000/svg" width=(w) height=(h) viewBox={ "0 0 " (w) " " (h) }
                font-family="DejaVu Sans, Verdana, sans-serif" id=[described.map(|[id, ..]| id)]
                role=[described.map(|_| "img")] aria-labelledby=[names] {
                "\n"
                @if let Some([id, title, description]) = described {
                    title id={ (id) "-title" } { (title) } "\n"
                    desc id={ (id) "-text" } { (description) } "\n"
                }
                (PreEscaped(&self.body))
            }
            "\n"
        }
    }

    /// The picture as PNG, a pixel for each unit.
    ///
    /// # Errors
    ///
    /// The picture is too large to be drawn.
    pub fn png(&self) -> Result<Vec<u8>> {
        self.scaled_png(1.0)
    }

    /// The picture as PNG, this many pixels for each unit.
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
        // No font but ours: a picture must not depend on what is installed.
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

/// A rectangle from its upper left corner and its size.
fn rectangle([x, y]: [f64; 2], [w, h]: [f64; 2], fill: Option<Colour>) -> Markup {
    html! { rect x=(Px(x)) y=(Px(y)) width=(Px(w)) height=(Px(h)) fill=[fill] {} }
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
