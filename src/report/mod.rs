//! What people and other programs get to read. Each room writes answers in one manner; what several
//! rooms share lies beside them.

pub mod basis;
mod cautions;
mod extent;
pub mod files;
pub mod fill_words;
pub mod findings;
pub mod follow_words;
pub mod input_notes;
pub mod json;
mod layout;
mod markup;
pub mod notes;
pub mod pages;
mod palette;
pub mod pictures;
mod places;
pub mod reasons;
pub mod round_heights;
pub mod site;
pub mod tables;
pub mod warnings;
mod words;
