//! One profile of wind and air, ready for the integrator.
