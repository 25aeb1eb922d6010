//! A large OpenStreetMap extract is streamed: memory does not grow with the file.
//!
//! The file is made by repeating one block of nodes and ways far from the region, 200 times: 0.6 GB
//! when decoded (small on disk, as equal blocks pack well), read through three times. What is
//! wanted stands in its first and last blocks.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "common/pbf.rs"]
mod pbf;

use std::fs::File;
use std::io::Write;

use pbf::{Block, heading};
use windfall::geodesy::Position;
use windfall::ground::layers::{Kind, read_osm};
use windfall::ground::region::Region;

/// Most memory the process has had, MB; 0 where the system does not tell.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM:"));
    let kb = line.and_then(|l| l.split_ascii_whitespace().nth(1)?.parse::<f64>().ok());
    kb.unwrap_or(0.0) / 1024.0
}

#[test]
fn memory_is_bounded_by_the_region() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large.osm.pbf");
    let mut file = File::create(&path).unwrap();
    file.write_all(&heading()).unwrap();
    let near = [
        (1, 13.0, 52.0, &[][..]),
        (2, 13.1, 52.0, &[]),
        (3, 13.2, 52.1, &[]),
    ];
    file.write_all(&Block::new().nodes(&near).blob()).unwrap();
    let far: Vec<_> = (0..200_000)
        .map(|k| (1_000 + k, 100.0 + 1e-5 * k as f64, 10.0, &[][..]))
        .collect();
    let mut block = Block::new().nodes(&far);
    for k in 0..2_000 {
        let nodes: Vec<i64> = (0..100).map(|i| 1_000 + 100 * k + i).collect();
        block = block.way(10_000 + k, &nodes, &[("highway", "primary")]);
    }
    let blob = block.blob();
    for _ in 0..200 {
        file.write_all(&blob).unwrap();
    }
    let way = Block::new().way(7, &[1, 2, 3], &[("highway", "motorway"), ("name", "A 1")]);
    file.write_all(&way.blob()).unwrap();
    drop((file, far, block, blob));

    let before = peak_mb();
    let region = Region::around(Position::new(52.0, 13.1).unwrap(), 50_000.0);
    let layers = read_osm(&path, &region).unwrap();
    let grown = peak_mb() - before;
    println!("grew by {grown:.0} MB over {before:.0} MB");
    let roads = layers.iter().find(|l| l.kind == Kind::Road).unwrap();
    assert_eq!(
        (roads.lines.len(), roads.lines[0].name.as_str()),
        (1, "A 1")
    );
    assert_eq!(
        roads.lines[0].points,
        [[13.0, 52.0], [13.1, 52.0], [13.2, 52.1]]
    );
    assert!(grown < 200.0, "{grown}");
}
