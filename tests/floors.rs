//! The house has floors: a module uses only modules below it. DEVELOPERS.md shows the list.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::{Path, PathBuf};

/// Modules from the ground up; those on one line may not use each other.
const FLOORS: [&[&str]; 20] = [
    &["earth", "numeric"],
    &["error", "units", "random", "clock", "notes"],
    &["atmosphere", "geodesy", "files"],
    &["ground"],
    &["wind"],
    &["sources", "track"],
    &["vehicle"],
    &["flight"],
    &["sizing", "logbook"],
    &["spread"],
    &["plan"],
    &["draft", "fetch", "listen", "winds"],
    &["zone"],
    &["choice", "compare", "fill"],
    &["brief", "years"],
    &["follow"],
    &["debrief"],
    &["report"],
    &["desk"],
    &["cli"],
];

fn floor(module: &str) -> Option<usize> {
    FLOORS.iter().position(|names| names.contains(&module))
}

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// The top-level modules named after `crate::` on a line of code, or after `windfall::`, as the
/// program, `cli`, calls the library.
fn used(line: &str) -> Vec<&str> {
    let code = line.split("//").next().unwrap_or("");
    let of_program = code.split("windfall::").skip(1);
    code.split("crate::")
        .skip(1)
        .chain(of_program)
        .map(|rest| {
            let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_');
            &rest[..end.unwrap_or(rest.len())]
        })
        .filter(|name| !name.is_empty())
        .collect()
}

#[test]
fn no_module_uses_one_above_it() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let mut uses = 0;
    let mut wrong = Vec::new();
    for file in &files {
        let inside = file.strip_prefix(&src).unwrap();
        let first = inside.iter().next().unwrap().to_str().unwrap();
        let module = first.trim_end_matches(".rs");
        if ["lib", "main"].contains(&module) {
            continue;
        }
        let here = floor(module).unwrap_or_else(|| panic!("{module} has no floor"));
        for (number, line) in fs::read_to_string(file).unwrap().lines().enumerate() {
            for name in used(line) {
                uses += 1;
                match floor(name) {
                    Some(there) if there < here || name == module => {}
                    _ => wrong.push(format!("{}:{}: {name}", inside.display(), number + 1)),
                }
            }
        }
    }
    assert!(
        uses > 100,
        "only {uses} uses found: the test looks in the wrong place"
    );
    assert!(wrong.is_empty(), "upward uses:\n{}", wrong.join("\n"));
}

/// Which units a person reads is known where words are made, and by who is asked for them.
#[test]
fn unit_systems_are_known_to_words_only() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let knows = |file: &&PathBuf| fs::read_to_string(file).unwrap().contains("UnitSystem");
    let modules = files.iter().filter(knows).map(|file| {
        let first = file.strip_prefix(&src).unwrap().iter().next().unwrap();
        first.to_str().unwrap().trim_end_matches(".rs")
    });
    let mut modules: Vec<&str> = modules.collect();
    modules.sort_unstable();
    modules.dedup();
    assert_eq!(modules, ["cli", "desk", "report", "units"]);
}

#[test]
fn uses_are_found_in_code_only() {
    assert_eq!(used("use crate::wind::column::Column;"), ["wind"]);
    assert_eq!(
        used("let x = crate::units::parse(crate::error::X);"),
        ["units", "error"]
    );
    assert_eq!(used("use windfall::zone::predict;"), ["zone"]);
    assert!(used("/// see [`crate::plan`]").is_empty());
}
