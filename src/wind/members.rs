//! How much the members of an ensemble differ in one column.

use super::column::WindProfile;

/// Altitudes at which the members are compared are so far apart, m.
const STEP_M: f64 = 500.0;

/// Standard deviation between the members' winds, each component (m/s), by altitude (m), unbiased:
/// divided by one less than their number. Empty for fewer than two.
pub fn member_sigma(members: &[WindProfile]) -> Vec<(f64, f64)> {
    if members.len() < 2 {
        return Vec::new();
    }
    let base_m = members.iter().map(WindProfile::base_m);
    let top_m = members.iter().map(WindProfile::top_m);
    let (base_m, top_m) = (
        base_m.fold(f64::INFINITY, f64::min),
        top_m.fold(f64::NEG_INFINITY, f64::max),
    );
    let count = ((top_m - base_m) / STEP_M).ceil().max(0.0) as usize;
    (0..=count)
        // At common altitudes: the levels of each member lie at heights of their own.
        .map(|k| base_m + STEP_M * k as f64)
        .map(|z| (z, sigma_at(members, z)))
        .collect()
}

fn sigma_at(members: &[WindProfile], altitude_m: f64) -> f64 {
    let n = members.len() as f64;
    let winds: Vec<[f64; 2]> = members
        .iter()
        .map(|m| m.at(altitude_m))
        .map(|wind| [wind.east_m_s, wind.north_m_s])
        .collect();
    let squares: f64 = [0, 1]
        .into_iter()
        .map(|i| {
            let mean = winds.iter().map(|w| w[i]).sum::<f64>() / n;
            winds.iter().map(|w| (w[i] - mean).powi(2)).sum::<f64>()
        })
        .sum();
    // Both components make one number: the mean of their variances.
    (0.5 * squares / (n - 1.0)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::sounding::Wind;

    #[test]
    fn members_differ_by_their_unbiased_spread() {
        let profile = |east_m_s: f64| {
            let wind = |z: f64| Wind {
                east_m_s: east_m_s * (1.0 + z / 10_000.0),
                north_m_s: 7.0,
            };
            WindProfile::new(&[(0.0, wind(0.0)), (10_000.0, wind(10_000.0))])
        };
        let members = [profile(-1.0), profile(1.0), profile(0.0)];
        let sigma = member_sigma(&members);
        assert_eq!(sigma.len(), 21);
        // Of -1, 0 and 1 the variance is 1, in one of two components.
        assert!((sigma[0].1 - 0.5f64.sqrt()).abs() < 1e-12);
        let (z, top) = sigma[20];
        assert_eq!(z, 10_000.0);
        assert!((top - 2.0 * 0.5f64.sqrt()).abs() < 1e-12);
        assert!(member_sigma(&members[..1]).is_empty());
    }
}
