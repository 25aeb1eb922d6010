//! How much comes out of a packed chunk, before it is unpacked: a small one could fill the memory.

use std::io::Read;

use flate2::read::{MultiGzDecoder, ZlibDecoder};
use serde_json::Value;
use zstd::bulk::Decompressor;

/// Zlib's format packs no more than this many bytes into one (from memory: 1032).
const DEFLATED: usize = 1_032;
/// Bytes of a checksum that may stand behind what is packed.
const CHECKSUM: usize = 4;

/// Which packings an array names.
#[derive(Debug, Clone, Copy)]
pub(super) struct Packing {
    blosc: bool,
    gzip: bool,
    zlib: bool,
    zstd: bool,
}

impl Packing {
    /// Those that an array's metadata names among its codecs.
    pub fn named_in(metadata: &Value) -> Packing {
        let codecs = ["codecs", "compressor", "filters"].map(|key| metadata[key].to_string());
        // Names end with their quote but may have more before them, as in "numcodecs.blosc".
        let named = |name: &str| codecs.iter().any(|codecs| codecs.contains(name));
        Packing {
            blosc: named("blosc\""),
            gzip: named("gzip\""),
            zlib: named("zlib\""),
            zstd: named("zstd\""),
        }
    }

    /// Refuses what unpacks to more than `most` bytes.
    pub fn check(self, packed: &[u8], most: usize) -> Result<(), String> {
        let fits = (!self.blosc || blosc_fits(packed, most))
            && (!self.gzip || deflated_fits(MultiGzDecoder::new(packed), packed, most))
            && (!self.zlib || deflated_fits(ZlibDecoder::new(packed), packed, most))
            && (!self.zstd || zstd_fits(packed, most));
        match fits {
            true => Ok(()),
            false => Err(format!("a chunk that unpacks to more than {most} bytes")),
        }
    }
}

/// The length stands in bytes 4 to 8 of blosc's header.
fn blosc_fits(packed: &[u8], most: usize) -> bool {
    let length = packed.get(4..8).and_then(|b| <[u8; 4]>::try_from(b).ok());
    length.is_none_or(|length| u32::from_le_bytes(length) as usize <= most)
}

fn deflated_fits(unpacked: impl Read, packed: &[u8], most: usize) -> bool {
    // What is small enough cannot hold too much, so most chunks are not unpacked twice.
    packed.len().saturating_mul(DEFLATED) <= most || unpacks_within(unpacked, most)
}

fn zstd_fits(packed: &[u8], most: usize) -> bool {
    let body = &packed[..packed.len().saturating_sub(CHECKSUM)];
    let bounds = [packed, body].map(Decompressor::upper_bound);
    match bounds.into_iter().flatten().min() {
        Some(bound) => bound <= most,
        None => zstd::stream::read::Decoder::new(packed)
            .is_ok_and(|unpacked| unpacks_within(unpacked, most)),
    }
}

/// Whether no more than `most` bytes come out before the end or an error, which is not told here.
fn unpacks_within(unpacked: impl Read, most: usize) -> bool {
    let mut bounded = unpacked.take(most as u64 + 1);
    let _until = std::io::copy(&mut bounded, &mut std::io::sink());
    bounded.limit() > 0
}
