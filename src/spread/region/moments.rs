//! Mean, covariance and principal axes of points on the plane.

/// Mean and covariance of points on a local plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// How many points.
    pub count: usize,
    /// Mean, `[east, north]` in metres.
    pub mean_m: [f64; 2],
    /// Covariance with divisor `count - 1`, rows and columns east and north, square metres.
    pub covariance_m2: [[f64; 2]; 2],
}

impl Moments {
    /// The moments of `points` (metres); `None` for fewer than two, or when one is not finite.
    ///
    /// # Examples
    ///
    /// ```
    /// use windfall::spread::region::Moments;
    /// let m = Moments::of(&[[0.0, 0.0], [2.0, 4.0]]).unwrap();
    /// assert_eq!(m.mean_m, [1.0, 2.0]);
    /// assert_eq!(m.covariance_m2, [[2.0, 4.0], [4.0, 8.0]]);
    /// assert!(Moments::of(&[[0.0, 0.0]]).is_none());
    /// ```
    pub fn of(points: &[[f64; 2]]) -> Option<Moments> {
        if points.len() < 2 {
            return None;
        }
        let count = points.len() as f64;
        let mut mean_m = [0.0; 2];
        for p in points {
            mean_m[0] += p[0];
            mean_m[1] += p[1];
        }
        mean_m = mean_m.map(|sum| sum / count);
        // About the mean, in a second pass: squares of far places would lose the digits that
        // matter.
        let (mut ee, mut en, mut nn) = (0.0, 0.0, 0.0);
        for p in points {
            let (east, north) = (p[0] - mean_m[0], p[1] - mean_m[1]);
            ee += east * east;
            en += east * north;
            nn += north * north;
        }
        let [ee, en, nn] = [ee, en, nn].map(|sum| sum / (count - 1.0));
        // A point that is not finite shows in this sum, whatever its component.
        (ee + nn).is_finite().then_some(Moments {
            count: points.len(),
            mean_m,
            covariance_m2: [[ee, en], [en, nn]],
        })
    }
}

/// The principal axes of a covariance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrincipalAxes {
    /// Standard deviation along the major axis, metres.
    pub sigma_major_m: f64,
    /// Standard deviation along the minor axis, metres.
    pub sigma_minor_m: f64,
    /// Azimuth of the major axis, degrees clockwise from the plane's north, 0 up to 180.
    pub azimuth_deg: f64,
}

impl PrincipalAxes {
    /// The axes of a symmetric 2 x 2 covariance (square metres; rows and columns east, north).
    ///
    /// With t = (a + c) / 2, d = (a - c) / 2 and r = hypot(d, b) the variances along the axes are
    /// t + r and t - r, and the major axis lies atan2(b, d) / 2 counter-clockwise of east. What
    /// rounding makes negative counts as 0.
    pub fn of(covariance_m2: [[f64; 2]; 2]) -> PrincipalAxes {
        let [[a, b], [_, c]] = covariance_m2;
        let (t, d) = (0.5 * (a + c), 0.5 * (a - c));
        let r = d.hypot(b);
        let east_of_major_deg = 0.5 * b.atan2(d).to_degrees();
        PrincipalAxes {
            sigma_major_m: (t + r).max(0.0).sqrt(),
            sigma_minor_m: (t - r).max(0.0).sqrt(),
            // From counter-clockwise of east to clockwise of north.
            azimuth_deg: half_turn_deg(90.0 - east_of_major_deg),
        }
    }
}

/// The azimuth of an axis, which has no front: 0 up to (not including) 180 degrees.
pub fn half_turn_deg(azimuth_deg: f64) -> f64 {
    let azimuth = azimuth_deg.rem_euclid(180.0);
    // rem_euclid rounds a tiny negative angle up to the divisor itself.
    if azimuth < 180.0 { azimuth } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_has_no_front() {
        assert_eq!(half_turn_deg(180.0), 0.0);
        assert_eq!(half_turn_deg(-1e-18), 0.0);
        assert_eq!(half_turn_deg(-30.0), 150.0);
    }

    #[test]
    fn axes_along_the_compass() {
        let north = PrincipalAxes::of([[1.0, 0.0], [0.0, 4.0]]);
        assert_eq!((north.sigma_major_m, north.sigma_minor_m), (2.0, 1.0));
        assert_eq!(north.azimuth_deg, 0.0);
        assert_eq!(
            PrincipalAxes::of([[4.0, 0.0], [0.0, 1.0]]).azimuth_deg,
            90.0
        );
        let point = PrincipalAxes::of([[0.0; 2]; 2]);
        assert_eq!((point.sigma_major_m, point.sigma_minor_m), (0.0, 0.0));
        assert!(point.azimuth_deg.is_finite());
    }

    #[test]
    fn what_is_not_finite_has_no_moments() {
        assert!(Moments::of(&[[0.0, f64::NAN], [1.0, 1.0]]).is_none());
        assert!(Moments::of(&[[1e200, 0.0], [-1e200, 1.0]]).is_none());
    }
}
