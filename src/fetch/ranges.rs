//! The requests for a file's messages: near ones go together.

use serde::{Deserialize, Serialize};

use super::http::ByteSpan;

/// Bytes between two messages that are fetched and thrown away rather than asked around.
const NEAR: u64 = 64 << 10;
/// A request grows to about this many bytes: what is lost when it breaks off.
const LARGE: u64 = 4 << 20;

/// Messages to be taken from one file of a server.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RangeSource {
    /// Where the file is.
    pub url: String,
    /// Its step, hours after the run.
    pub step: u32,
    /// The messages, each with its place in the file; rising.
    pub messages: Vec<ByteSpan>,
}

/// One request, and where its messages go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// Where the file is.
    pub url: String,
    /// Its step, hours after the run.
    pub step: u32,
    /// What to ask for.
    pub span: ByteSpan,
    /// The messages in it, with their places in the file that is written.
    pub messages: Vec<Placed>,
}

/// A message and where it goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// Its place in the server's file.
    pub from: ByteSpan,
    /// Its first byte in the file that is written.
    pub to: u64,
}

impl Chunk {
    /// Bytes of its messages.
    pub fn useful(&self) -> u64 {
        total(self.messages.iter().map(|m| m.from.length))
    }
}

/// Bytes together, which inventories may state as they like.
pub fn total(bytes: impl IntoIterator<Item = u64>) -> u64 {
    bytes.into_iter().fold(0, u64::saturating_add)
}

/// The requests for all messages; they are written one after the other, in the order of the sources.
pub fn chunks(sources: &[RangeSource]) -> Vec<Chunk> {
    let mut chunks: Vec<Chunk> = Vec::new();
    let mut to = 0;
    for source in sources {
        // No request goes on from one file into the next, however their places lie.
        let mut fresh = true;
        for &from in &source.messages {
            let placed = Placed { from, to };
            to = total([to, from.length]);
            match chunks.last_mut() {
                Some(chunk) if !fresh && goes_with(chunk.span, from) => {
                    chunk.span.length = from.end() - chunk.span.start;
                    chunk.messages.push(placed);
                }
                _ => chunks.push(Chunk {
                    url: source.url.clone(),
                    step: source.step,
                    span: from,
                    messages: vec![placed],
                }),
            }
            fresh = false;
        }
    }
    chunks
}

fn goes_with(before: ByteSpan, next: ByteSpan) -> bool {
    let gap = next.start.checked_sub(before.end());
    gap.is_some_and(|gap| gap < NEAR) && next.end() - before.start <= LARGE
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(url: &str, messages: &[(u64, u64)]) -> RangeSource {
        let spans = messages
            .iter()
            .map(|&(start, length)| ByteSpan { start, length });
        RangeSource {
            url: url.into(),
            step: 0,
            messages: spans.collect(),
        }
    }

    #[test]
    fn near_messages_of_one_file_go_together() {
        let far = 100 + NEAR;
        let all = chunks(&[
            source("a", &[(0, 10), (10, 10), (50, 50), (far, 7)]),
            source("b", &[(200_000, 5)]),
        ]);
        let spans: Vec<_> = all
            .iter()
            .map(|c| (c.span.start, c.span.length, c.useful()))
            .collect();
        assert_eq!(spans, [(0, 100, 70), (far, 7, 7), (200_000, 5, 5)]);
        let places: Vec<u64> = all.iter().flat_map(|c| &c.messages).map(|m| m.to).collect();
        assert_eq!(places, [0, 10, 20, 70, 77]);
    }

    #[test]
    fn requests_do_not_grow_without_end() {
        let mb = 1 << 20;
        let rows: Vec<(u64, u64)> = (0..10).map(|i| (i * mb, mb)).collect();
        let all = chunks(&[source("a", &rows), source("b", &[(0, 9 * mb), (9 * mb, 1)])]);
        let lengths: Vec<u64> = all.iter().map(|c| c.span.length / mb).collect();
        assert_eq!(lengths, [4, 4, 2, 9, 0]);
    }
}
