//! Runs the program as a person does.

use std::process::{Command, Output};

/// The program's result for these arguments, run in the project's folder.
pub fn windfall(command: &str, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .arg(command)
        .args(args)
        .output()
        .unwrap()
}

pub fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

pub fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}
