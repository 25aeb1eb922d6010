//! A small writer of OpenStreetMap extracts, for tests: protocol buffers put together by hand.
//!
//! OpenStreetMap wiki, "PBF Format": field numbers of fileformat.proto and osmformat.proto.

#![allow(dead_code, reason = "each test file uses a part of it")]

use std::io::Write;

use flate2::Compression;
use flate2::write::ZlibEncoder;

/// Names and values.
pub type Tags<'a> = &'a [(&'a str, &'a str)];

/// A number, longitude and latitude, tags.
pub type Node<'a> = (i64, f64, f64, Tags<'a>);

fn varint(out: &mut Vec<u8>, mut value: u64) {
    while value >= 0x80 {
        out.push(value as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

fn zigzag(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

fn number(out: &mut Vec<u8>, field: u64, value: u64) {
    varint(out, field << 3);
    varint(out, value);
}

fn bytes(out: &mut Vec<u8>, field: u64, value: &[u8]) {
    varint(out, field << 3 | 2);
    varint(out, value.len() as u64);
    out.extend(value);
}

fn packed(out: &mut Vec<u8>, field: u64, values: impl Iterator<Item = u64>) {
    let mut inner = Vec::new();
    values.for_each(|v| varint(&mut inner, v));
    bytes(out, field, &inner);
}

fn deltas(values: &[i64]) -> impl Iterator<Item = u64> + '_ {
    let before = std::iter::once(0).chain(values.iter().copied());
    values.iter().zip(before).map(|(v, b)| zigzag(v - b))
}

/// One block of nodes, ways and relations.
#[derive(Default)]
pub struct Block {
    strings: Vec<String>,
    groups: Vec<u8>,
}

impl Block {
    /// An empty one.
    pub fn new() -> Block {
        Block {
            strings: vec![String::new()],
            groups: Vec::new(),
        }
    }

    fn string(&mut self, text: &str) -> u64 {
        let at = self
            .strings
            .iter()
            .position(|s| s == text)
            .unwrap_or_else(|| {
                self.strings.push(text.to_owned());
                self.strings.len() - 1
            });
        at as u64
    }

    fn tags(&mut self, out: &mut Vec<u8>, tags: Tags) {
        let keys: Vec<u64> = tags.iter().map(|t| self.string(t.0)).collect();
        let values: Vec<u64> = tags.iter().map(|t| self.string(t.1)).collect();
        packed(out, 2, keys.into_iter());
        packed(out, 3, values.into_iter());
    }

    /// Nodes: number, longitude, latitude, tags.
    pub fn nodes(mut self, nodes: &[Node]) -> Block {
        let units = |v: f64| (v * 1e7).round() as i64;
        let column = |f: &dyn Fn(&Node) -> i64| nodes.iter().map(f).collect();
        let [ids, lats, lons]: [Vec<i64>; 3] = [
            column(&|n| n.0),
            column(&|n| units(n.2)),
            column(&|n| units(n.1)),
        ];
        let mut dense = Vec::new();
        packed(&mut dense, 1, deltas(&ids));
        packed(&mut dense, 8, deltas(&lats));
        packed(&mut dense, 9, deltas(&lons));
        let mut tags = Vec::new();
        for node in nodes {
            for (key, value) in node.3 {
                tags.push(self.string(key));
                tags.push(self.string(value));
            }
            tags.push(0);
        }
        packed(&mut dense, 10, tags.into_iter());
        let mut group = Vec::new();
        bytes(&mut group, 2, &dense);
        bytes(&mut self.groups, 2, &group);
        self
    }

    /// A way: number, nodes, tags.
    pub fn way(mut self, id: i64, nodes: &[i64], tags: Tags) -> Block {
        let mut way = Vec::new();
        number(&mut way, 1, id as u64);
        self.tags(&mut way, tags);
        packed(&mut way, 8, deltas(nodes));
        let mut group = Vec::new();
        bytes(&mut group, 3, &way);
        bytes(&mut self.groups, 2, &group);
        self
    }

    /// A relation of ways: number, ways, tags.
    pub fn relation(mut self, id: i64, ways: &[i64], tags: Tags) -> Block {
        let mut relation = Vec::new();
        number(&mut relation, 1, id as u64);
        self.tags(&mut relation, tags);
        packed(&mut relation, 8, ways.iter().map(|_| 0));
        packed(&mut relation, 9, deltas(ways));
        packed(&mut relation, 10, ways.iter().map(|_| 1));
        let mut group = Vec::new();
        bytes(&mut group, 4, &relation);
        bytes(&mut self.groups, 2, &group);
        self
    }

    /// The block as it stands in a file.
    pub fn blob(&self) -> Vec<u8> {
        let mut table = Vec::new();
        self.strings
            .iter()
            .for_each(|s| bytes(&mut table, 1, s.as_bytes()));
        let mut block = Vec::new();
        bytes(&mut block, 1, &table);
        block.extend(&self.groups);
        blob("OSMData", &block)
    }
}

/// The heading that begins every file.
pub fn heading() -> Vec<u8> {
    heading_with(Vec::new())
}

/// A heading that says which box the file holds: west, east, north and south, degrees.
pub fn heading_of(sides: [f64; 4]) -> Vec<u8> {
    let mut inner = Vec::new();
    for (field, side) in (1..).zip(sides) {
        number(&mut inner, field, zigzag((side * 1e9).round() as i64));
    }
    let mut block = Vec::new();
    bytes(&mut block, 1, &inner);
    heading_with(block)
}

fn heading_with(mut block: Vec<u8>) -> Vec<u8> {
    bytes(&mut block, 4, b"OsmSchema-V0.6");
    bytes(&mut block, 4, b"DenseNodes");
    blob("OSMHeader", &block)
}

fn blob(kind: &str, content: &[u8]) -> Vec<u8> {
    let mut zlib = ZlibEncoder::new(Vec::new(), Compression::default());
    zlib.write_all(content).unwrap();
    let mut blob = Vec::new();
    number(&mut blob, 2, content.len() as u64);
    bytes(&mut blob, 3, &zlib.finish().unwrap());
    let mut header = Vec::new();
    bytes(&mut header, 1, kind.as_bytes());
    number(&mut header, 3, blob.len() as u64);
    let mut out = (header.len() as u32).to_be_bytes().to_vec();
    out.extend(header);
    out.extend(blob);
    out
}
