//! Winds given as speed and direction: slabs of both components, computed when they are read.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use std::collections::{HashMap, HashSet};

use jiff::Timestamp;
use ndarray::{Array2, Zip};

use crate::numeric::single;
use crate::wind::slab::{Quantity, Slab, Surface};
use crate::wind::sounding::Wind;

/// The slabs of a speed and of the direction that belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SpeedAndDirection {
    pub speed: usize,
    pub from: usize,
}

/// Where, when and whose a slab is.
type Place = (
    Surface,
    Timestamp,
    Option<Timestamp>,
    Option<u32>,
    bool,
    usize,
);

fn place(slab: &Slab) -> Place {
    (
        slab.surface,
        slab.valid,
        slab.run,
        slab.member,
        slab.minus,
        slab.lattice,
    )
}

/// Adds both components, east first, wherever only speed and direction are given; returns what each
/// pair of them comes from.
pub(super) fn add_components(slabs: &mut Vec<Slab>) -> Vec<SpeedAndDirection> {
    let of = |quantity: Quantity| {
        let all = slabs.iter().enumerate();
        all.filter(move |(_, slab)| slab.quantity == quantity)
    };
    let given: HashSet<Place> = of(Quantity::EastWind)
        .map(|(_, slab)| place(slab))
        .collect();
    let directions: HashMap<Place, usize> = of(Quantity::WindFrom)
        .map(|(i, slab)| (place(slab), i))
        .collect();
    let pairs: Vec<SpeedAndDirection> = of(Quantity::WindSpeed)
        .filter(|(_, slab)| !given.contains(&place(slab)))
        .filter_map(|(speed, slab)| {
            let from = *directions.get(&place(slab))?;
            Some(SpeedAndDirection { speed, from })
        })
        .collect();
    for pair in &pairs {
        for quantity in [Quantity::EastWind, Quantity::NorthWind] {
            let slab = Slab {
                quantity,
                // Directions count from true north, whatever the grid.
                along_grid: false,
                ..slabs[pair.speed].clone()
            };
            slabs.push(slab);
        }
    }
    pairs
}

/// One component of winds of these speeds (m/s) from these directions (degrees); not-a-number where
/// either is none.
pub(super) fn component(
    quantity: Quantity,
    speed: &Array2<f32>,
    from: &Array2<f32>,
) -> Array2<f32> {
    Zip::from(speed).and(from).map_collect(|&speed, &from| {
        // Said so that not-a-number fails it, too; some count directions to 360, some from -180.
        if !(speed >= 0.0 && (-180.0..=360.0).contains(&from)) {
            return f32::NAN;
        }
        let wind = Wind::from_direction(f64::from(speed), f64::from(from));
        match quantity {
            Quantity::EastWind => single(wind.east_m_s),
            _ => single(wind.north_m_s),
        }
    })
}
