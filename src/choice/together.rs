//! Candidates that lie together share a ground and the first flights; those far away have their own.

use crate::geodesy::{Normal, Position};

/// Candidates no farther than this from their middle lie together, m: with the drift of most flights
/// their landings fit into a region, which reaches 500 km.
const TOGETHER_M: f64 = 200_000.0;

/// Places that lie together.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// Their middle.
    pub middle: Position,
    /// From there to the farthest, m.
    pub reach_m: f64,
    /// Which they are, by number, in ascending order.
    pub numbers: Vec<usize>,
}

impl Together {
    fn of(places: &[Position], numbers: Vec<usize>) -> Option<Together> {
        let those: Vec<Position> = numbers.iter().map(|&i| places[i]).collect();
        let middle = middle(&those)?;
        let away = those.iter().map(|place| middle.distance_m(*place));
        Some(Together {
            reach_m: away.fold(0.0, f64::max),
            middle,
            numbers,
        })
    }
}

/// Which of some places lie together: all, where none is far from their middle.
pub fn together(places: &[Position]) -> Vec<Together> {
    let all = Together::of(places, (0..places.len()).collect());
    if let Some(all) = all.filter(|all| all.reach_m <= TOGETHER_M) {
        return vec![all];
    }
    let mut left: Vec<usize> = (0..places.len()).collect();
    let mut found = Vec::new();
    while let Some(&first) = left.first() {
        // Half as far from one of them: then none is farther than that from their middle.
        let near = |i: &usize| places[*i].distance_m(places[first]) <= 0.5 * TOGETHER_M;
        let (those, others) = left.into_iter().partition(near);
        found.extend(Together::of(places, those));
        left = others;
    }
    found
}

/// Of each place the number of its group: it is in exactly one.
pub fn group_of(those: &[Together]) -> Vec<usize> {
    let mut found = vec![0; those.iter().map(|t| t.numbers.len()).sum()];
    for (group, those) in those.iter().enumerate() {
        those.numbers.iter().for_each(|&i| found[i] = group);
    }
    found
}

/// The middle of some places; `None` where there are none, or they lie all round the earth.
pub fn middle(places: &[Position]) -> Option<Position> {
    // The normal of a single place is rounded on its way there and back.
    if let [only] = places {
        return Some(*only);
    }
    let mut sum = [0.0; 3];
    for place in places {
        let normal = place.normal().0;
        // The mean of normals knows no pole and no antimeridian.
        (0..3).for_each(|k| sum[k] += normal[k]);
    }
    let length = sum.iter().map(|v| v * v).sum::<f64>().sqrt();
    (length > 1e-9).then(|| Normal(sum.map(|v| v / length)).position())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_far_from_each_other_are_apart_and_each_is_in_one_group() {
        let at = |lat, lon| Position::new(lat, lon).unwrap();
        let near = [at(43.0, -108.2), at(44.0, -107.0)];
        let all = together(&near);
        assert_eq!(all.len(), 1);
        assert_eq!(all[0].numbers, [0, 1]);
        let far = [
            at(43.0, -108.2),
            at(43.0, -92.0),
            at(43.2, -108.0),
            at(-10.0, 179.9),
            at(-10.0, -179.9),
        ];
        let numbers: Vec<Vec<usize>> = together(&far).into_iter().map(|t| t.numbers).collect();
        assert_eq!(numbers, [vec![0, 2], vec![1], vec![3, 4]]);
        assert!(together(&far).iter().all(|t| t.reach_m <= TOGETHER_M));
        // Opposite each other there is no middle.
        assert_eq!(together(&[at(0.0, 0.0), at(0.0, 180.0)]).len(), 2);
        assert!(together(&[]).is_empty());
    }
}
