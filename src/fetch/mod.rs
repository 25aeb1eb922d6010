//! Downloads, for a plan and a span of time, the messages of a public forecast that a flight needs.
//!
//! A [`feed`] is data. [`survey`] chooses the run and reads inventories; [`download`] fetches what
//! was found, a few requests at a time, checks every message, and writes a file that is whole or
//! not there, with a [`manifest`] beside it. Besides it only sources of reports (`listen`) and Zarr stores at
//! addresses talk to a network.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

pub mod asked;
pub mod check;
pub mod download;
pub mod feed;
pub mod field;
pub mod inventory;
pub mod join;
mod lock;
pub mod manifest;
mod parallel;
mod part;
pub mod ranges;
pub mod region;
mod reply;
pub mod runs;
mod select;
pub mod service;
pub mod survey;
pub mod template;

pub use crate::files::{address, http, pace};
