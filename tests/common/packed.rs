//! Bytes that are small as they come and large once they are unpacked.

#![allow(
    clippy::unwrap_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::io::{Read, copy, repeat};

use flate2::Compression;
use flate2::write::ZlibEncoder;

/// So many zeros, packed by zlib.
pub fn zeros(bytes: u64) -> Vec<u8> {
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::best());
    copy(&mut repeat(0).take(bytes), &mut packed).unwrap();
    packed.finish().unwrap()
}
