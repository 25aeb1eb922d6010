//! The bounding box of things on the map (RFC 7946, section 5).

use geo::Coord;

/// What a bounding box has to span.
#[derive(Debug, Clone, Default)]
pub struct Extent {
    /// West and east ends of each piece, degrees, -180 to 180.
    spans: Vec<[f64; 2]>,
    /// South and north ends of each piece, degrees.
    latitudes: Vec<[f64; 2]>,
    /// Lowest and highest altitude, metres, where the pieces have altitudes.
    altitudes_m: Option<[f64; 2]>,
}

impl Extent {
    /// The extent of `pieces`, none of which crosses the antimeridian.
    pub fn of<'a>(pieces: impl IntoIterator<Item = &'a [Coord]>) -> Extent {
        let mut extent = Extent::default();
        for piece in pieces.into_iter().filter(|piece| !piece.is_empty()) {
            extent.spans.push(range(piece.iter().map(|c| c.x)));
            extent.latitudes.push(range(piece.iter().map(|c| c.y)));
        }
        extent
    }

    /// The same extent with the range of these altitudes, metres.
    pub fn with_altitudes(mut self, altitudes_m: impl IntoIterator<Item = f64>) -> Extent {
        self.altitudes_m = Some(range(altitudes_m.into_iter()));
        self
    }

    /// Adds another extent on the map; the sum has no altitudes.
    pub fn add(&mut self, other: &Extent) {
        self.spans.extend(&other.spans);
        self.latitudes.extend(&other.latitudes);
        // Areas have none, and a box has altitudes for all that is in it or not at all.
        self.altitudes_m = None;
    }

    /// `[west, south, east, north]`, degrees, with the lowest altitude after south and the
    /// highest at the end where there are altitudes; west is greater than east when the box
    /// crosses the antimeridian (section 5.2). `None` for nothing.
    pub fn bbox(&self) -> Option<Vec<f64>> {
        let [west, east] = narrowest(&self.spans)?;
        let [south, north] = range(self.latitudes.iter().flatten().copied());
        Some(match self.altitudes_m {
            Some([low, high]) => vec![west, south, low, east, north, high],
            None => vec![west, south, east, north],
        })
    }
}

fn range(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], x| {
        [low.min(x), high.max(x)]
    })
}

/// The narrowest interval of longitude around all spans: what the widest gap between them leaves.
fn narrowest(spans: &[[f64; 2]]) -> Option<[f64; 2]> {
    let mut spans = spans.to_vec();
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (first, rest) = spans.split_first()?;
    let (start, mut reach) = (first[0], first[1]);
    let mut inner: Option<[f64; 2]> = None;
    for [west, east] in rest.iter().copied() {
        // Spans that overlap leave less than nothing between them, which is no gap.
        if west - reach > inner.map_or(0.0, |[from, to]| to - from) {
            inner = Some([reach, west]);
        }
        // A piece farther west may reach farther east than this one.
        reach = reach.max(east);
    }
    // The gap across the antimeridian counts like all others.
    let outer_gap = start + 360.0 - reach;
    Some(match inner {
        // What the gap leaves begins where the gap ends, so west may be greater than east.
        Some([from, to]) if to - from > outer_gap => [to, from],
        _ => [start, reach],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_widest_gap_is_left_out() {
        assert_eq!(narrowest(&[]), None);
        assert_eq!(narrowest(&[[3.0, 3.0]]), Some([3.0, 3.0]));
        assert_eq!(
            narrowest(&[[20.0, 30.0], [-10.0, -5.0]]),
            Some([-10.0, 30.0])
        );
        // The Fiji example of section 5.2.
        assert_eq!(
            narrowest(&[[177.0, 180.0], [-180.0, -178.0]]),
            Some([177.0, -178.0])
        );
        assert_eq!(
            narrowest(&[[179.0, 179.0], [-179.5, -179.0], [178.0, 178.5]]),
            Some([178.0, -179.0])
        );
        assert_eq!(
            narrowest(&[[-180.0, 180.0], [10.0, 20.0]]),
            Some([-180.0, 180.0])
        );
    }
}
