//! Names on a map that do not cover each other.

use crate::numeric::between;
use crate::report::palette::{INK, PAPER};
use crate::report::pictures::picture::{Anchor, Picture};

/// Width of a character of our font over its size, on average and a little more.
const WIDE: f64 = 0.62;
/// Height of a line over the size of its letters.
const TALL: f64 = 1.05;

/// A name that is joined by a line stands so much farther away, units, with each ring that is tried.
const JOIN_STEP: f64 = 24.0;
/// Rings that are tried, and directions on each.
const RINGS: u32 = 30;
const DIRECTIONS: u32 = 24;

/// The room that is taken.
pub struct Labels {
    size: [f64; 2],
    taken: Vec<[f64; 4]>,
    /// Points of lines that are better left free.
    lines: Vec<[f64; 2]>,
}

/// Where a name may stand beside its point, in half widths and half heights of it.
const PLACES: [[f64; 2]; 12] = [
    [1.0, 0.0],
    [-1.0, 0.0],
    [0.0, -1.0],
    [0.0, 1.0],
    [1.0, -1.0],
    [1.0, 1.0],
    [-1.0, -1.0],
    [-1.0, 1.0],
    [1.0, -2.0],
    [1.0, 2.0],
    [-1.0, -2.0],
    [-1.0, 2.0],
];

impl Labels {
    /// Nothing is taken of a sheet of that size.
    pub fn new(size: [f64; 2]) -> Labels {
        Labels {
            size,
            taken: Vec::new(),
            lines: Vec::new(),
        }
    }

    /// Keeps a rectangle free: its left, upper, right and lower edge.
    pub fn take(&mut self, edges: [f64; 4]) {
        self.taken.push(edges);
    }

    /// Names had better not stand on this line.
    pub fn avoid(&mut self, line: &[[f64; 2]]) {
        self.lines.extend(line);
    }

    /// Whether something stands within a rectangle already.
    pub fn is_taken(&self, [left, top, right, bottom]: [f64; 4]) -> bool {
        let over = |t: &[f64; 4]| left < t[2] && right > t[0] && top < t[3] && bottom > t[1];
        self.taken.iter().any(over)
    }

    /// Writes a name beside a point as [`Labels::write`] does; where there is no room, farther away,
    /// joined to its point by a line.
    pub fn write_or_join(
        &mut self,
        picture: &mut Picture,
        point: [f64; 2],
        around: f64,
        size: f64,
        text: &str,
    ) -> bool {
        if self.write(picture, point, around, size, text) {
            return true;
        }
        let half = half_size(size, text);
        let mut found = None;
        for ring in 1..=RINGS {
            let away = around + JOIN_STEP * f64::from(ring);
            found = (0..DIRECTIONS)
                .filter_map(|k| {
                    let turn = f64::from(k) / f64::from(DIRECTIONS) * std::f64::consts::TAU;
                    let (s, c) = turn.sin_cos();
                    // To the edge of the name, as names are wide and low.
                    let middle = [
                        point[0] + c * (away + half[0]),
                        point[1] + s * (away + half[1]),
                    ];
                    let edges = edges(middle, half);
                    self.is_free(edges)
                        .then(|| (self.crossed(edges), middle, edges))
                })
                .min_by_key(|(crossed, ..)| *crossed);
            // The next ring would only be farther away.
            if found.is_some() {
                break;
            }
        }
        let Some((_, middle, edges)) = found else {
            return false;
        };
        // The nearest point of the name, so that the line does not run through it.
        let end = [
            point[0].clamp(edges[0], edges[2]),
            point[1].clamp(edges[1], edges[3]),
        ];
        let long = (end[0] - point[0]).hypot(end[1] - point[1]).max(1.0);
        // From the edge of the sign, not from its middle.
        let start = between(point, end, (around / long).min(1.0));
        picture.line(&[start, end], 4.5, PAPER);
        picture.line(&[start, end], 1.8, INK);
        self.put(picture, middle, size, text, edges);
        true
    }

    /// Writes a name on a point itself, if there is room.
    pub fn write_on(
        &mut self,
        picture: &mut Picture,
        point: [f64; 2],
        size: f64,
        text: &str,
    ) -> bool {
        let edges = edges(point, half_size(size, text));
        let free = self.is_free(edges);
        if free {
            self.put(picture, point, size, text, edges);
        }
        free
    }

    fn put(
        &mut self,
        picture: &mut Picture,
        middle: [f64; 2],
        size: f64,
        text: &str,
        edges: [f64; 4],
    ) {
        self.take(edges);
        // Half the height of a capital: the letters have their middle there, not their base.
        let base = [middle[0], middle[1] + 0.36 * size];
        picture.edged_text(base, size, Anchor::Middle, text);
    }

    /// Writes a name beside a point that takes `around` units itself; whether there was room.
    pub fn write(
        &mut self,
        picture: &mut Picture,
        point: [f64; 2],
        around: f64,
        size: f64,
        text: &str,
    ) -> bool {
        let half = half_size(size, text);
        let best = PLACES
            .iter()
            .filter_map(|place| {
                let middle: [f64; 2] =
                    std::array::from_fn(|k| point[k] + place[k] * (half[k] + around));
                let edges = edges(middle, half);
                self.is_free(edges)
                    .then(|| (self.crossed(edges), middle, edges))
            })
            // The first of equals is taken, so the order of `PLACES` is that of preference.
            .min_by_key(|(crossed, ..)| *crossed);
        let Some((_, middle, edges)) = best else {
            return false;
        };
        self.put(picture, middle, size, text, edges);
        true
    }

    fn is_free(&self, [left, top, right, bottom]: [f64; 4]) -> bool {
        // Clear of the frame around a sheet, which is two units wide.
        left >= 2.0
            && top >= 2.0
            && right <= self.size[0] - 2.0
            && bottom <= self.size[1] - 2.0
            && !self.is_taken([left, top, right, bottom])
    }

    fn crossed(&self, [left, top, right, bottom]: [f64; 4]) -> usize {
        // Points stand for lines: those of tracks and rings lie close enough together.
        let inside = |p: &&[f64; 2]| p[0] > left && p[0] < right && p[1] > top && p[1] < bottom;
        self.lines.iter().filter(inside).count()
    }
}

/// Half the width and height of a text.
fn half_size(size: f64, text: &str) -> [f64; 2] {
    let wide = 0.5 * WIDE * size * text.chars().count() as f64;
    [wide, 0.5 * TALL * size]
}

/// The left, upper, right and lower edge of what has that middle.
fn edges(middle: [f64; 2], half: [f64; 2]) -> [f64; 4] {
    [
        middle[0] - half[0],
        middle[1] - half[1],
        middle[0] + half[0],
        middle[1] + half[1],
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_do_not_cover_each_other() {
        let mut picture = Picture::new(300.0, 300.0);
        let mut labels = Labels::new([300.0, 300.0]);
        let written = (0..40)
            .filter(|i| {
                let at = [150.0 + f64::from(i % 5), 150.0 + f64::from(i / 5)];
                labels.write(&mut picture, at, 4.0, 18.0, "Name")
            })
            .count();
        assert!((6..40).contains(&written), "{written}");
        for (i, a) in labels.taken.iter().enumerate() {
            for b in &labels.taken[i + 1..] {
                assert!(a[0] >= b[2] || a[2] <= b[0] || a[1] >= b[3] || a[3] <= b[1]);
            }
            assert!(a[0] >= 0.0 && a[3] <= 300.0);
        }
    }

    #[test]
    fn a_name_without_room_is_joined_by_a_line() {
        let mut picture = Picture::new(400.0, 400.0);
        let mut labels = Labels::new([400.0, 400.0]);
        let point = [200.0, 200.0];
        labels.take([100.0, 120.0, 300.0, 280.0]);
        assert!(!labels.write(&mut picture, point, 16.0, 20.0, "landing"));
        assert!(labels.write_or_join(&mut picture, point, 16.0, 20.0, "landing"));
        let svg = picture.svg();
        assert_eq!(svg.matches("<text").count(), 1);
        assert!(svg.contains("stroke-width=\"1.8\""), "{svg}");
        let [first, second] = [labels.taken[0], labels.taken[1]];
        assert!(
            second[0] >= first[2]
                || second[2] <= first[0]
                || second[1] >= first[3]
                || second[3] <= first[1]
        );
        // Where there is room it stands beside its point, without a line.
        let mut free = Labels::new([400.0, 400.0]);
        let mut picture = Picture::new(400.0, 400.0);
        assert!(free.write_or_join(&mut picture, point, 16.0, 20.0, "landing"));
        assert!(!picture.svg().contains("stroke-width=\"1.8\""));
    }
}
