//! What people and other programs get to read. Each room writes answers in one manner; what several
//! rooms share lies beside them.

pub mod basis;
mod cautions;
pub mod digits;
mod extent;
pub mod files;
pub mod fill_words;
pub mod findings;
pub mod follow_words;
pub mod input_notes;
pub mod json;
mod layout;
pub(crate) mod markup;
pub mod notes;
pub mod pages;
pub(crate) mod palette;
pub mod pictures;
mod places;
pub mod plain;
pub mod reasons;
pub mod round_heights;
pub mod site;
pub mod tables;
pub mod warnings;
pub(crate) mod words;
pub mod years_words;
