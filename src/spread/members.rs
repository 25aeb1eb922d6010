//! How much of a spread is between the members of an ensemble, and how much within them.

use serde::Serialize;

use super::region::Moments;

/// How the landings of an ensemble's members differ; each component, one standard deviation. The
/// squares of the two add up to the variance of all landings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MemberSpread {
    /// How many members.
    pub count: usize,
    /// Of the members' mean landings, m.
    pub between_m: f64,
    /// Of the landings about the mean of their member, m.
    pub within_m: f64,
}

impl MemberSpread {
    /// From points on a plane (m), each with the number of its member; `None` for fewer than two
    /// members with two points each.
    pub fn of(points: &[([f64; 2], usize)]) -> Option<MemberSpread> {
        let members = 1 + points.iter().map(|p| p.1).max()?;
        let mut groups: Vec<Vec<[f64; 2]>> = vec![Vec::new(); members];
        for (point, member) in points {
            groups[*member].push(*point);
        }
        // Of one landing nothing tells how its member spreads.
        let groups: Vec<Moments> = groups.iter().filter_map(|g| Moments::of(g)).collect();
        if groups.len() < 2 {
            return None;
        }
        let total: f64 = groups.iter().map(|g| g.count as f64).sum();
        let mean = [0, 1].map(|i| {
            let sum = groups.iter().map(|g| g.count as f64 * g.mean_m[i]);
            sum.sum::<f64>() / total
        });
        let (mut between, mut within) = (0.0, 0.0);
        for g in &groups {
            let n = g.count as f64;
            let away = [0, 1].map(|i| g.mean_m[i] - mean[i]);
            between += n * (away[0] * away[0] + away[1] * away[1]);
            // Back from the unbiased covariance to the sum of squares, so that the two parts add
            // up.
            within += (n - 1.0) * (g.covariance_m2[0][0] + g.covariance_m2[1][1]);
        }
        Some(MemberSpread {
            count: groups.len(),
            between_m: (0.5 * between / total).sqrt(),
            within_m: (0.5 * within / total).sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_and_within_add_up_to_the_whole() {
        let points: Vec<([f64; 2], usize)> = (0..60)
            .map(|i| {
                let (member, k) = (i % 3, f64::from(i as u32 / 3));
                let at = [100.0 * member as f64 + (k * 7.0) % 11.0, (k * 5.0) % 13.0];
                (at, member)
            })
            .collect();
        let spread = MemberSpread::of(&points).unwrap();
        let all: Vec<[f64; 2]> = points.iter().map(|p| p.0).collect();
        let whole = Moments::of(&all).unwrap();
        let variance = 59.0 / 60.0 * 0.5 * (whole.covariance_m2[0][0] + whole.covariance_m2[1][1]);
        let sum = spread.between_m.powi(2) + spread.within_m.powi(2);
        assert!((sum / variance - 1.0).abs() < 1e-12);
        assert_eq!(spread.count, 3);
        // Three means 100 m apart along one axis: sqrt(2/3) 100 / sqrt(2).
        assert!(
            (spread.between_m - 57.7).abs() < 2.0,
            "{}",
            spread.between_m
        );
        assert!(MemberSpread::of(&points[..1]).is_none());
        assert!(MemberSpread::of(&[]).is_none());
    }
}
