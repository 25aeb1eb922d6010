//! Pages for a crew, each one file that needs nothing else.

pub mod brief;
pub mod debrief;
pub mod fill_card;
pub mod follow;
pub mod years;
