//! Where a falling track meets the ground.

use super::terrain::Terrain;
use crate::earth::SEMI_MAJOR_M;
use crate::geodesy::Normal;
use crate::numeric;

/// A point of a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fix {
    /// Where.
    pub place: Normal,
    /// Altitude above mean sea level, m.
    pub altitude_m: f64,
}

/// Where a track meets the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touchdown {
    /// Where and how high.
    pub fix: Fix,
    /// Between which points of the track: the index of the one before, and the share of the way to
    /// the next.
    pub after: f64,
}

/// How near to the ground, m, the touchdown is found.
const NEAR_M: f64 = 0.1;
/// Halvings that bring any leg below a millimetre.
const MOST_STEPS: usize = 60;

/// Where a falling track meets the terrain; `None` when it ends above it, or over ground that no
/// file tells the height of. A track that begins below the ground is down at once.
pub fn touchdown(terrain: &Terrain, track: &[Fix]) -> Option<Touchdown> {
    let step_m = terrain.spacing_m()?;
    let highest_m = terrain.highest_m()?;
    meet(|place| terrain.height_at(place), highest_m, step_m, track)
}

/// [`touchdown`] on any ground: `height_m` of a place, nowhere above `highest_m`.
///
/// The track is straight between its points. It is looked at every `step_m` over the ground, so
/// that no ridge broader than that is flown through, and then more closely, to 0.1 m in height,
/// around the first look that is below ground.
pub fn meet(
    height_m: impl Fn(Normal) -> Option<f64>,
    highest_m: f64,
    step_m: f64,
    track: &[Fix],
) -> Option<Touchdown> {
    let first = *track.first()?;
    let above = |fix: Fix| Some(fix.altitude_m - height_m(fix.place)?);
    if first.altitude_m <= highest_m && above(first).is_some_and(|h| h <= 0.0) {
        return Some(Touchdown {
            fix: first,
            after: 0.0,
        });
    }
    for (i, leg) in track.windows(2).enumerate() {
        let (a, b) = (leg[0], leg[1]);
        if a.altitude_m.min(b.altitude_m) > highest_m {
            continue;
        }
        if let Some((t, fix)) = on_leg(&above, a, b, highest_m, step_m) {
            return Some(Touchdown {
                fix,
                after: i as f64 + t,
            });
        }
    }
    None
}

fn on_leg(
    above: &impl Fn(Fix) -> Option<f64>,
    a: Fix,
    b: Fix,
    highest_m: f64,
    step_m: f64,
) -> Option<(f64, Fix)> {
    let chord: f64 = (0..3).map(|i| (b.place.0[i] - a.place.0[i]).powi(2)).sum();
    // At most so many looks that a leg across the earth over fine heights comes to an end.
    let looks = (chord.sqrt() * SEMI_MAJOR_M / step_m.max(1.0))
        .ceil()
        .clamp(1.0, 1e5);
    // Down to the highest ground there is nothing to meet.
    let fall = a.altitude_m - b.altitude_m;
    let free = if fall > 0.0 {
        ((a.altitude_m - highest_m) / fall).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let mut clear = (free * looks).floor() / looks;
    for k in (free * looks).floor() as usize + 1..=looks as usize {
        let t = k as f64 / looks;
        match above(between(a, b, t)) {
            Some(h) if h <= 0.0 => return Some(closer(above, a, b, clear, t)),
            // Ground that nobody knows the height of stops no flight.
            _ => clear = t,
        }
    }
    None
}

/// The crossing between a share of the leg that is clear and one that is not.
fn closer(
    above: &impl Fn(Fix) -> Option<f64>,
    a: Fix,
    b: Fix,
    clear: f64,
    down: f64,
) -> (f64, Fix) {
    let (mut clear, mut down) = (clear, down);
    for _ in 0..MOST_STEPS {
        let fix = between(a, b, down);
        if above(fix).is_some_and(|h| h.abs() < NEAR_M) {
            break;
        }
        let middle = 0.5 * (clear + down);
        if above(between(a, b, middle)).is_some_and(|h| h <= 0.0) {
            down = middle;
        } else {
            clear = middle;
        }
    }
    (down, between(a, b, down))
}

/// The point at a share of the way from one to the other.
fn between(a: Fix, b: Fix, t: f64) -> Fix {
    let n = numeric::between(a.place.0, b.place.0, t);
    let scale = 1.0 / n.iter().map(|v| v * v).sum::<f64>().sqrt();
    Fix {
        place: Normal(n.map(|v| v * scale)),
        altitude_m: a.altitude_m + t * (b.altitude_m - a.altitude_m),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    fn fix(lat: f64, lon: f64, altitude_m: f64) -> Fix {
        Fix {
            place: Position::new(lat, lon).unwrap().normal(),
            altitude_m,
        }
    }

    #[test]
    fn flat_ground_is_met_where_altitudes_say() {
        let track = [
            fix(10.0, 20.0, 1000.0),
            fix(10.0, 20.01, 400.0),
            fix(10.0, 20.02, 100.0),
        ];
        let down = meet(|_| Some(250.0), 250.0, 90.0, &track).unwrap();
        assert!((down.after - 1.5).abs() < 1e-3, "{down:?}");
        assert!((down.fix.altitude_m - 250.0).abs() < NEAR_M);
        assert_eq!(meet(|_| Some(50.0), 50.0, 90.0, &track), None);
        assert_eq!(meet(|_| None, 250.0, 90.0, &track), None);
        assert_eq!(meet(|_| Some(50.0), 50.0, 90.0, &[]), None);
        let below = meet(|_| Some(2000.0), 2000.0, 90.0, &track).unwrap();
        assert_eq!((below.after, below.fix), (0.0, track[0]));
    }

    #[test]
    fn a_ridge_between_two_points_is_not_flown_through() {
        let ridge = |place: Normal| {
            let lon = place.position().lon_deg;
            Some(if (20.004..20.006).contains(&lon) {
                900.0
            } else {
                0.0
            })
        };
        let track = [fix(0.0, 20.0, 1000.0), fix(0.0, 20.01, 500.0)];
        let down = meet(ridge, 900.0, 90.0, &track).unwrap();
        assert!(
            (down.fix.place.position().lon_deg - 20.004).abs() < 1e-6,
            "{down:?}"
        );
    }
}
