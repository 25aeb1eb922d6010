//! Many flights: what varies, how it is drawn, where they all come down.

pub mod draws;
pub mod members;
pub mod rate_error;
pub mod region;
pub mod run;
