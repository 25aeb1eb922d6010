//! Longitudes of a grid from west to east, wherever the file lets them begin; rows of Gaussian
//! grids.

/// The longitude of the first column such that the grid lies within -180 to 360 degrees, if its
/// `span` allows: 355 to 9 begins at -5, 170 to -170 at 170, 210 to 310 at 210.
pub(super) fn first_column(west_deg: f64, span_deg: f64) -> f64 {
    let west = if west_deg < -180.0 {
        west_deg + 360.0
    } else {
        west_deg
    };
    // A microdegree for 360 itself.
    if west + span_deg > 360.0 + 1e-6 {
        west - 360.0
    } else {
        west
    }
}

/// The way east from one longitude to another, above 0 and up to a whole turn.
pub(super) fn eastward(from_deg: f64, to_deg: f64) -> f64 {
    let way = (to_deg - from_deg).rem_euclid(360.0);
    // Equal ends are taken for a whole turn.
    if way < 1e-9 { 360.0 } else { way }
}

/// The way between neighbouring rows of a Gaussian grid of so many rows, degrees.
///
/// The latitudes at which a Legendre polynomial of degree n is 0 lie at colatitudes of
/// (4 k - 1) pi / (4 n + 2) + cot / (8 n^2) and less (Abramowitz and Stegun, 22.16.6): equally
/// spaced, symmetric about the equator, but for the second term. With 64 rows that is 0.2 km at 45
/// degrees and 1 % of a step, 4 km, in the row nearest to a pole; with 640 it is 2 m and 0.4 km.
pub(super) fn gaussian_step(rows: usize) -> f64 {
    180.0 / (rows as f64 + 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grids_begin_in_the_west() {
        for (west, east, first) in [
            (355.0, 9.0, -5.0),
            (170.0, -170.0, 170.0),
            (170.0, 190.0, 170.0),
            (210.0, 310.0, 210.0),
            (180.0, 179.6, -180.0),
            (0.0, 357.5, 0.0),
            (-180.0, 179.25, -180.0),
            (-190.0, -170.0, 170.0),
            (0.0, 360.0, 0.0),
        ] {
            let span = eastward(west, east);
            assert_eq!(first_column(west, span), first, "{west} {east}");
        }
    }
}
