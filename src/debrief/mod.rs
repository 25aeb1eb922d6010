//! After the flight: what its track says of the prediction, and what to take into the next plan.

pub mod score;
