//! The logbook of a club's flights: what each was planned and measured to be, and what that teaches.

pub mod learn;
