//! Names on a map that do not cover each other.

use crate::report::pictures::picture::{Anchor, Picture};

/// Width of a character of our font over its size, on average and a little more.
const WIDE: f64 = 0.62;
/// Height of a line over the size of its letters.
const TALL: f64 = 1.05;

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

    /// Writes a name beside a point that takes `around` units itself; whether there was room.
    pub fn write(
        &mut self,
        picture: &mut Picture,
        point: [f64; 2],
        around: f64,
        size: f64,
        text: &str,
    ) -> bool {
        let half = [
            0.5 * WIDE * size * text.chars().count() as f64,
            0.5 * TALL * size,
        ];
        let best = PLACES
            .iter()
            .filter_map(|place| {
                let middle: [f64; 2] =
                    std::array::from_fn(|k| point[k] + place[k] * (half[k] + around));
                let edges = [
                    middle[0] - half[0],
                    middle[1] - half[1],
                    middle[0] + half[0],
                    middle[1] + half[1],
                ];
                self.is_free(edges)
                    .then(|| (self.crossed(edges), middle, edges))
            })
            .min_by_key(|(crossed, ..)| *crossed);
        let Some((_, middle, edges)) = best else {
            return false;
        };
        self.take(edges);
        let base = [middle[0], middle[1] + 0.36 * size];
        picture.edged_text(base, size, Anchor::Middle, text);
        true
    }

    fn is_free(&self, [left, top, right, bottom]: [f64; 4]) -> bool {
        left >= 2.0
            && top >= 2.0
            && right <= self.size[0] - 2.0
            && bottom <= self.size[1] - 2.0
            && !self
                .taken
                .iter()
                .any(|t| left < t[2] && right > t[0] && top < t[3] && bottom > t[1])
    }

    fn crossed(&self, [left, top, right, bottom]: [f64; 4]) -> usize {
        let inside = |p: &&[f64; 2]| p[0] > left && p[0] < right && p[1] > top && p[1] < bottom;
        self.lines.iter().filter(inside).count()
    }
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
}
