//! How sure the landing is: what varies, many flights, and the regions their landings fill.

pub mod region;
