//! The smallest regions that hold a given share of the landings.
//!
//! A Gaussian kernel estimate of the density on a grid, and the line of equal density above which
//! the wanted share of the draws lies: the highest-density region (Hyndman 1996, "Computing and
//! Graphing Highest Density Regions", The American Statistician 50, 120-126,
//! doi:10.1080/00031305.1996.10474359; cited from memory).

use geo::{Area, BoundingRect, Contains, Coord, Intersects, MultiPolygon, Polygon};
use ndarray::{Array2, Axis};

use super::moments::{Moments, PrincipalAxes};
use super::rings::nest;

/// A region of equal density on a local plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// The probability it is meant to hold, 0 to 1.
    pub probability: f64,
    /// The share of the draws that lie inside its polygons.
    pub held: f64,
    /// How many of its polygons hold at least 2 % of the draws. Smaller ones are specks, which
    /// chance makes around single draws.
    pub pieces: usize,
    /// The region, metres; outlines counter-clockwise, holes clockwise.
    pub polygons: MultiPolygon,
}

impl Contour {
    /// Area in square metres.
    pub fn area_m2(&self) -> f64 {
        self.polygons.unsigned_area()
    }
}

/// Why no contour could be drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoContour {
    /// A density needs more draws than these.
    TooFew {
        /// How many there are.
        draws: usize,
    },
    /// The draws lie on a point or a line.
    Flat,
    /// A draw is not a finite number, or a probability is not above 0 and below 1.
    NotFinite,
}

/// The fewest draws that a density is estimated from.
pub(super) const FEWEST: usize = 50;
/// Draws spread less than this across the line they follow, in metres ...
const FLAT_M: f64 = 1e-3;
/// ... or as a share of their spread along it, have no density on the plane.
const FLAT_SHARE: f64 = 1e-6;
/// A piece that holds less than this share of the draws is a speck.
const SPECK: f64 = 0.02;

/// The smallest region for each of `probabilities`, from one density estimate of `points`
/// (metres).
///
/// The kernel is a normal with the covariance of the draws times h2, h = n^(-1/6): the rule of
/// Scott and, in two dimensions, of Silverman (Silverman 1986, Density Estimation for Statistics
/// and Data Analysis, section 4.3; cited from memory). It smooths draws in several clumps more
/// than need be, so two clumps close together may come out as one.
///
/// # Errors
///
/// [`NoContour`] when the draws make no density.
pub fn contours(points: &[[f64; 2]], probabilities: &[f64]) -> Result<Vec<Contour>, NoContour> {
    if points.len() < FEWEST {
        return Err(NoContour::TooFew {
            draws: points.len(),
        });
    }
    if !probabilities.iter().all(|p| *p > 0.0 && *p < 1.0) {
        return Err(NoContour::NotFinite);
    }
    let moments = Moments::of(points).ok_or(NoContour::NotFinite)?;
    // On the whitened plane one width of the kernel suits both directions, however long the zone.
    let whitener = Whitener::of(&moments).ok_or(NoContour::Flat)?;
    let white: Vec<[f64; 2]> = points.iter().map(|p| whitener.whiten(*p)).collect();
    let grid = Grid::of(&white);
    let mut densities: Vec<f64> = white.iter().map(|z| grid.at(*z)).collect();
    densities.sort_unstable_by(|a, b| b.total_cmp(a));
    Ok(probabilities
        .iter()
        .map(|p| {
            let polygons = nest(grid.rings(level_above(&densities, *p)));
            contour(*p, polygons, &white, &whitener)
        })
        .collect())
}

/// The level that a share `p` of the densities (highest first) exceeds.
fn level_above(densities: &[f64], p: f64) -> f64 {
    let last = densities.len() - 1;
    // At least one draw within and one without, or there is no level between.
    let inside = ((p * densities.len() as f64).round() as usize).clamp(1, last);
    // Halfway between two draws: neither lies on the line itself.
    0.5 * (densities[inside - 1] + densities[inside])
}

/// Counts the draws inside whitened polygons and brings them back to metres.
fn contour(probability: f64, white: Vec<Polygon>, draws: &[[f64; 2]], back: &Whitener) -> Contour {
    let counts: Vec<usize> = white.iter().map(|p| count_inside(p, draws)).collect();
    let enough = SPECK * draws.len() as f64;
    Contour {
        probability,
        held: counts.iter().sum::<usize>() as f64 / draws.len() as f64,
        pieces: counts.iter().filter(|c| **c as f64 >= enough).count(),
        polygons: white.into_iter().map(|p| back.unwhiten(p)).collect(),
    }
}

fn count_inside(polygon: &Polygon, draws: &[[f64; 2]]) -> usize {
    let Some(bounds) = polygon.bounding_rect() else {
        return 0;
    };
    draws
        .iter()
        .map(|&[x, y]| Coord { x, y })
        .filter(|c| bounds.intersects(c) && polygon.contains(c))
        .count()
}

/// Makes the draws uncorrelated with unit variance, by the Cholesky factor of their covariance.
struct Whitener {
    mean: [f64; 2],
    /// Lower triangle: east from 1; north from 1 and 2.
    factor: [f64; 3],
}

impl Whitener {
    fn of(moments: &Moments) -> Option<Whitener> {
        let axes = PrincipalAxes::of(moments.covariance_m2);
        if axes.sigma_minor_m < FLAT_M.max(FLAT_SHARE * axes.sigma_major_m) {
            return None;
        }
        let [[ee, en], [_, nn]] = moments.covariance_m2;
        let east = ee.sqrt();
        let lean = en / east;
        Some(Whitener {
            mean: moments.mean_m,
            factor: [east, lean, (nn - lean * lean).max(0.0).sqrt()],
        })
    }

    fn whiten(&self, p: [f64; 2]) -> [f64; 2] {
        let [east, lean, north] = self.factor;
        let z = (p[0] - self.mean[0]) / east;
        [z, (p[1] - self.mean[1] - lean * z) / north]
    }

    fn unwhiten(&self, mut polygon: Polygon) -> Polygon {
        let [east, lean, north] = self.factor;
        let back = |c: &mut Coord| {
            *c = Coord {
                x: self.mean[0] + east * c.x,
                y: self.mean[1] + lean * c.x + north * c.y,
            }
        };
        polygon.exterior_mut(|ring| ring.coords_mut().for_each(back));
        polygon.interiors_mut(|rings| {
            rings
                .iter_mut()
                .flat_map(|ring| ring.coords_mut())
                .for_each(back)
        });
        polygon
    }
}

/// Cells in a kernel's standard deviation.
const CELLS_PER_BANDWIDTH: f64 = 4.0;
/// A kernel ends at this many standard deviations.
const KERNEL_REACH: f64 = 4.0;
/// The most cells along an axis; far outliers make the cells coarser, not the grid larger.
const MOST_CELLS: f64 = 500.0;

/// A density, up to a constant factor, at the nodes of a square grid over the whitened plane.
struct Grid {
    values: Array2<f64>,
    low: [f64; 2],
    cell: f64,
}

impl Grid {
    /// The kernel estimate: draws shared out to the nodes around them, then smoothed along one
    /// axis after the other.
    fn of(white: &[[f64; 2]]) -> Grid {
        let bandwidth = (white.len() as f64).powf(-1.0 / 6.0);
        let (low, high) = extent(white);
        let longest = (high[0] - low[0]).max(high[1] - low[1]);
        let cell = (bandwidth / CELLS_PER_BANDWIDTH).max(longest / MOST_CELLS);
        // So wide that the kernel of the outermost draw ends within the grid.
        let margin = KERNEL_REACH * bandwidth + 2.0 * cell;
        let low = low.map(|x| x - margin);
        let nodes = [0, 1].map(|k| ((high[k] + margin - low[k]) / cell).ceil() as usize + 1);
        let mut grid = Grid {
            values: Array2::zeros(nodes),
            low,
            cell,
        };
        for z in white {
            grid.add(*z);
        }
        let kernel = half_kernel(bandwidth / cell);
        smooth(&mut grid.values, Axis(0), &kernel);
        smooth(&mut grid.values, Axis(1), &kernel);
        grid.clear_border();
        grid
    }

    /// The cell that `z` is in, and how far along it, 0 to 1.
    fn locate(&self, z: [f64; 2]) -> ([usize; 2], [f64; 2]) {
        let at = [0, 1].map(|k| (z[k] - self.low[k]) / self.cell);
        (at.map(|x| x as usize), at.map(f64::fract))
    }

    fn add(&mut self, z: [f64; 2]) {
        let ([i, j], [u, v]) = self.locate(z);
        self.values[[i, j]] += (1.0 - u) * (1.0 - v);
        self.values[[i + 1, j]] += u * (1.0 - v);
        self.values[[i, j + 1]] += (1.0 - u) * v;
        self.values[[i + 1, j + 1]] += u * v;
    }

    /// Bilinear between the nodes.
    fn at(&self, z: [f64; 2]) -> f64 {
        let ([i, j], [u, v]) = self.locate(z);
        let f = |i, j| self.values[[i, j]];
        (f(i, j) * (1.0 - u) + f(i + 1, j) * u) * (1.0 - v)
            + (f(i, j + 1) * (1.0 - u) + f(i + 1, j + 1) * u) * v
    }

    /// The outermost nodes are more than a kernel away from every draw: no line leaves the grid.
    fn clear_border(&mut self) {
        for axis in [Axis(0), Axis(1)] {
            let last = self.values.len_of(axis) - 1;
            self.values.index_axis_mut(axis, 0).fill(0.0);
            self.values.index_axis_mut(axis, last).fill(0.0);
        }
    }

    /// The lines where the density is `level` (above 0), as closed rings with the higher side on
    /// their left: marching squares.
    ///
    /// Every grid edge with one end above the level is entered by the line in one of its two
    /// cells and left in the other, so "the next edge" is a permutation, and its cycles are the
    /// rings.
    fn rings(&self, level: f64) -> Vec<Vec<Coord>> {
        let mut next = self.next_edges(level);
        let mut rings = Vec::new();
        for first in 0..next.len() {
            let mut ring: Vec<Coord> = Vec::new();
            let mut edge = first;
            while let Some(following) = next[edge].take() {
                let corner = self.crossing(edge, level);
                // Where the line meets a node, two edges have the same crossing.
                if ring.last() != Some(&corner) {
                    ring.push(corner);
                }
                edge = following;
            }
            if ring.len() > 2 {
                rings.push(ring);
            }
        }
        rings
    }

    /// For each edge the line leads away from, the edge it leads to. The edge from node (i, j)
    /// towards i + 1 has the number 2 (i columns + j), that towards j + 1 the number after it.
    fn next_edges(&self, level: f64) -> Vec<Option<usize>> {
        let (rows, columns) = self.values.dim();
        let mut next = vec![None; 2 * rows * columns];
        for i in 0..rows - 1 {
            for j in 0..columns - 1 {
                // Corners and edges counter-clockwise; edge k leads from corner k to k + 1.
                let corners = [[i, j], [i + 1, j], [i + 1, j + 1], [i, j + 1]];
                let f = corners.map(|c| self.values[c]);
                let above = f.map(|f| f >= level);
                // Most cells are wholly on one side, and no line passes them.
                if above == [false; 4] || above == [true; 4] {
                    continue;
                }
                let node = |i, j| 2 * (i * columns + j);
                let edges = [
                    node(i, j),
                    node(i + 1, j) + 1,
                    node(i, j + 1),
                    node(i, j) + 1,
                ];
                // Opposite corners above: joined in the middle, or apart.
                let joined = f.iter().sum::<f64>() >= 4.0 * level;
                let step = if joined { 1 } else { 3 };
                for k in 0..4 {
                    if above[k] && !above[(k + 1) % 4] {
                        let mut to = (k + step) % 4;
                        while above[to] || !above[(to + 1) % 4] {
                            to = (to + step) % 4;
                        }
                        next[edges[k]] = Some(edges[to]);
                    }
                }
            }
        }
        next
    }

    /// Where on an edge the density is `level`, linear between its nodes.
    fn crossing(&self, edge: usize, level: f64) -> Coord {
        let columns = self.values.dim().1;
        let (i, j) = (edge / 2 / columns, edge / 2 % columns);
        let (di, dj) = if edge.is_multiple_of(2) {
            (1, 0)
        } else {
            (0, 1)
        };
        let (from, to) = (self.values[[i, j]], self.values[[i + di, j + dj]]);
        // Between the ends by how edges are chosen, but for rounding.
        let t = ((level - from) / (to - from)).clamp(0.0, 1.0);
        Coord {
            x: self.low[0] + self.cell * (i as f64 + t * di as f64),
            y: self.low[1] + self.cell * (j as f64 + t * dj as f64),
        }
    }
}

fn extent(points: &[[f64; 2]]) -> ([f64; 2], [f64; 2]) {
    points.iter().fold(
        ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]),
        |(low, high), p| {
            (
                [low[0].min(p[0]), low[1].min(p[1])],
                [high[0].max(p[0]), high[1].max(p[1])],
            )
        },
    )
}

/// exp(-k2 / (2 s2)) for k = 0, 1, ..., with s the bandwidth in cells.
fn half_kernel(bandwidth_cells: f64) -> Vec<f64> {
    let reach = (KERNEL_REACH * bandwidth_cells).ceil() as usize;
    (0..=reach)
        .map(|k| (-0.5 * (k as f64 / bandwidth_cells).powi(2)).exp())
        .collect()
}

/// Convolves every line of `values` along `axis` with the symmetric kernel.
fn smooth(values: &mut Array2<f64>, axis: Axis, half: &[f64]) {
    let reach = half.len() - 1;
    let kernel: Vec<f64> = half.iter().rev().chain(&half[1..]).copied().collect();
    let mut sums = vec![0.0; values.len_of(axis) + 2 * reach];
    for mut lane in values.lanes_mut(axis) {
        sums.fill(0.0);
        // Most nodes have no draw near: nothing of theirs is spread.
        for (i, value) in lane.iter().enumerate().filter(|(_, v)| **v != 0.0) {
            for (sum, weight) in sums[i..].iter_mut().zip(&kernel) {
                *sum += value * weight;
            }
        }
        for (value, sum) in lane.iter_mut().zip(&sums[reach..]) {
            *value = *sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(values: Array2<f64>) -> Grid {
        Grid {
            values,
            low: [0.0; 2],
            cell: 1.0,
        }
    }

    #[test]
    fn one_high_node_makes_a_diamond() {
        let mut values = Array2::zeros((3, 3));
        values[[1, 1]] = 2.0;
        let polygons = nest(grid(values).rings(1.0));
        assert_eq!(polygons.len(), 1);
        assert!((polygons[0].signed_area() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_low_middle_makes_a_hole() {
        let block = |(i, j): (usize, usize)| (1..6).contains(&i) && (1..6).contains(&j);
        let mut values = Array2::from_shape_fn((7, 7), |node| if block(node) { 2.0 } else { 0.0 });
        values[[3, 3]] = 0.0;
        let polygons = nest(grid(values).rings(1.0));
        assert_eq!((polygons.len(), polygons[0].interiors().len()), (1, 1));
        let hole = Polygon::new(polygons[0].interiors()[0].clone(), Vec::new());
        assert!((hole.signed_area() + 0.5).abs() < 1e-12);
    }

    #[test]
    fn opposite_corners_are_joined_by_a_high_middle_only() {
        for (high, pieces) in [(1.2, 2), (9.0, 1)] {
            let mut values = Array2::zeros((4, 4));
            values[[1, 1]] = high;
            values[[2, 2]] = high;
            assert_eq!(nest(grid(values).rings(1.0)).len(), pieces);
        }
    }

    #[test]
    fn no_draws_no_contour() {
        let few = vec![[0.0, 0.0]; 10];
        assert_eq!(contours(&few, &[0.5]), Err(NoContour::TooFew { draws: 10 }));
        assert_eq!(contours(&[[3.0, 4.0]; 100], &[0.5]), Err(NoContour::Flat));
        let line: Vec<[f64; 2]> = (0..200).map(|i| [f64::from(i), f64::from(2 * i)]).collect();
        assert_eq!(contours(&line, &[0.5]), Err(NoContour::Flat));
        let mut odd = line;
        odd[3][0] = f64::NAN;
        assert_eq!(contours(&odd, &[0.5]), Err(NoContour::NotFinite));
    }

    #[test]
    fn a_far_outlier_costs_no_memory() {
        let mut points: Vec<[f64; 2]> = (0..400)
            .map(|i| [f64::from(i % 20), f64::from(i / 20)])
            .collect();
        points.push([1e7, -1e7]);
        assert!(contours(&points, &[0.5, 0.9]).is_ok());
    }
}
