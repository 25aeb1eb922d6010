//! Results written down.
