//! What flies: the load, the balloon and its gas, how fast it rises and falls.

pub mod ascent;
pub mod balloon;
pub mod burst;
pub mod climb;
pub mod cylinder;
pub mod descent;
pub mod latex;
pub mod parachute;
pub mod real_gas;
