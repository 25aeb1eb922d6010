//! Forecast and reanalysis grids: what a file holds, and single slabs of it.

use std::path::Path;

use ndarray::Array2;

use crate::error::Result;
use crate::geodesy::lattice::{Lattice, Window};
use crate::wind::slab::Slab;

/// An opened file: its catalogue is read, nothing is decoded.
pub struct GridFile {
    /// The file as the user named it.
    pub name: String,
    /// The grids in it.
    pub lattices: Vec<Lattice>,
    /// What it holds that a flight can use.
    pub slabs: Vec<Slab>,
    /// What it holds besides, counted in words.
    pub left_out: Vec<String>,
}
