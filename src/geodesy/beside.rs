//! Steps on the ellipsoid, of several flights beside each other: loops over arrays, of which the compiler
//! makes several at a time. One flight alone is an array of one, with the same numbers to the last bit.

use super::{Compass, Normal, carried};
use crate::earth::{ECCENTRICITY_2, SECOND_ECCENTRICITY_2, SEMI_MAJOR_M};
use crate::numeric::each;

/// Vectors of several flights, earth-fixed: all x, all y, all z.
#[derive(Debug, Clone, Copy)]
pub struct Vectors<const N: usize>(pub [[f64; N]; 3]);

impl<const N: usize> Vectors<N> {
    /// By the number of the flight.
    #[inline(always)]
    pub fn of(place: impl Fn(usize) -> Normal) -> Vectors<N> {
        let mut all = Vectors([[0.0; N]; 3]);
        for i in 0..N {
            all.set(i, place(i));
        }
        all
    }

    /// Sets that of one flight.
    #[inline(always)]
    pub fn set(&mut self, i: usize, place: Normal) {
        let [x, y, z] = &mut self.0;
        (x[i], y[i], z[i]) = place.0.into();
    }

    /// That of one flight.
    #[inline(always)]
    pub fn one(&self, i: usize) -> Normal {
        let [x, y, z] = &self.0;
        Normal([x[i], y[i], z[i]])
    }

    /// The places reached by small horizontal displacements (metres, tangent here) made at some altitudes, by
    /// one Euler step `from` places nearby.
    ///
    /// dn/ds = t / (N + h) + (1 / (M + h) - 1 / (N + h)) (t . north) north, with the radii of
    /// curvature M in the meridian and N in the prime vertical. Written with
    /// N - M = M e'^2 cos^2(lat), the second term has no division by cos(lat), so the poles are
    /// places like any other. In that small term M / (M + h) is taken as N / (N + h).
    #[inline(always)]
    fn displaced(
        &self,
        along: &Vectors<N>,
        altitude_m: &[f64; N],
        from: &Vectors<N>,
    ) -> Vectors<N> {
        let [x, y, z] = &self.0;
        // (1 - q)^(-1/2) to the fifth power of q, at most 0.0067: 3e-14 short.
        let q: [f64; N] = each(|i| ECCENTRICITY_2 * z[i] * z[i]);
        let n: [f64; N] = each(|i| {
            let q = q[i];
            let fifth = 0.273_437_5 + q * 0.246_093_75;
            SEMI_MAJOR_M * (1.0 + q * (0.5 + q * (0.375 + q * (0.3125 + q * fifth))))
        });
        let scale: [f64; N] = each(|i| 1.0 / (n[i] + altitude_m[i]));
        let [a, b, c] = &along.0;
        let polar: [f64; N] = each(|i| SECOND_ECCENTRICITY_2 * n[i] * scale[i] * c[i]);
        Vectors([
            each(|i| from.0[0][i] + scale[i] * (a[i] - polar[i] * z[i] * x[i])),
            each(|i| from.0[1][i] + scale[i] * (b[i] - polar[i] * z[i] * y[i])),
            each(|i| from.0[2][i] + scale[i] * (c[i] + polar[i] * (1.0 - z[i] * z[i]))),
        ])
        .nearly_unit()
    }

    /// Brought to length 1 by one Newton step, 1 / |n| = (3 - |n|^2) / 2: after a leg of 100 km
    /// the length is off by 1e-8 at most.
    #[inline(always)]
    fn nearly_unit(&self) -> Vectors<N> {
        let [x, y, z] = &self.0;
        let scale: [f64; N] = each(|i| 1.5 - 0.5 * (x[i] * x[i] + y[i] * y[i] + z[i] * z[i]));
        Vectors([
            each(|i| x[i] * scale[i]),
            each(|i| y[i] * scale[i]),
            each(|i| z[i] * scale[i]),
        ])
    }
}

/// The vectors of east and north components at some places.
#[inline(always)]
fn vectors<const N: usize>(
    compass: &Compass,
    places: &Vectors<N>,
    [east, north]: &[[f64; N]; 2],
) -> Vectors<N> {
    if let Compass::Carried { origin, axes } = compass {
        return Vectors::of(|i| {
            let [e, n] = axes.map(|axis| carried(axis, *origin, places.one(i)));
            Normal([0, 1, 2].map(|k| east[i] * e[k] + north[i] * n[k]))
        });
    }
    let [x, y, z] = &places.0;
    // Not hypot: components of a unit vector do not overflow, and this is the hot loop.
    let cos_lat: [f64; N] = each(|i| (x[i] * x[i] + y[i] * y[i]).sqrt());
    let scale: [f64; N] = each(|i| 1.0 / cos_lat[i]);
    // Nearer to a pole than this the direction of east is rounding.
    let cos: [f64; N] = each(|i| {
        if cos_lat[i] > 1e-12 {
            x[i] * scale[i]
        } else {
            1.0
        }
    });
    let sin: [f64; N] = each(|i| {
        if cos_lat[i] > 1e-12 {
            y[i] * scale[i]
        } else {
            0.0
        }
    });
    let polewards: [f64; N] = each(|i| north[i] * z[i]);
    Vectors([
        each(|i| -east[i] * sin[i] - polewards[i] * cos[i]),
        each(|i| east[i] * cos[i] - polewards[i] * sin[i]),
        each(|i| north[i] * cos_lat[i]),
    ])
}

/// The middles of legs that drift so many metres east and north as seen from their starts: the first half of
/// a midpoint step, [`super::advance`].
#[inline(always)]
pub fn half_ways<const N: usize>(
    starts: &Vectors<N>,
    compass: &Compass,
    altitude_m: &[f64; N],
    drift_m: &[[f64; N]; 2],
) -> Vectors<N> {
    let half = [each(|i| 0.5 * drift_m[0][i]), each(|i| 0.5 * drift_m[1][i])];
    starts.displaced(&vectors(compass, starts, &half), altitude_m, starts)
}

/// The second half: the ends of legs that drift so many metres east and north as felt in their middles.
#[inline(always)]
pub fn whole_ways<const N: usize>(
    starts: &Vectors<N>,
    middles: &Vectors<N>,
    compass: &Compass,
    altitude_m: &[f64; N],
    drift_m: &[[f64; N]; 2],
) -> Vectors<N> {
    middles.displaced(&vectors(compass, middles, drift_m), altitude_m, starts)
}
