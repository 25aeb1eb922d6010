//! Readers: one file a format, each turning bytes into [`crate::wind`] types.
