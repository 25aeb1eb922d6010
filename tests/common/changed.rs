//! A sample's plan with changes, in a folder of its own.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::fs;
use std::path::{Path, PathBuf};

use super::program::{stderr, stdout, windfall};

/// A sample's plan in a folder of its own, with text replaced; its wind files beside it.
pub struct Changed {
    pub folder: tempfile::TempDir,
}

impl Changed {
    pub fn of(plan: &str, winds: &str, changes: &[(&str, &str)]) -> Changed {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let folder = tempfile::tempdir().unwrap();
        let mut text = fs::read_to_string(root.join(plan)).unwrap();
        for (from, to) in changes {
            assert!(text.contains(from), "the sample has no {from}");
            text = text.replace(from, to);
        }
        fs::write(folder.path().join("plan.toml"), text).unwrap();
        let name = Path::new(winds).file_name().unwrap();
        fs::copy(root.join(winds), folder.path().join(name)).unwrap();
        Changed { folder }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn plan(&self) -> String {
        self.path("plan.toml").to_str().unwrap().to_owned()
    }

    /// Runs the plan, expects failure and nothing written, and gives the message.
    pub fn refused(&self) -> String {
        let before = fs::read_dir(self.folder.path()).unwrap().count();
        let out = self.path("zone.geojson");
        let output = windfall("zone", &[&self.plan(), "--out", out.to_str().unwrap()]);
        let message = stderr(&output);
        assert_eq!(output.status.code(), Some(1), "{message}");
        assert_eq!(stdout(&output), "", "{message}");
        assert!(message.starts_with("windfall: ") && !message.contains("panicked"));
        let after = fs::read_dir(self.folder.path()).unwrap().count();
        assert_eq!(after, before, "something was left behind");
        message
    }

    /// The same, of one line.
    pub fn refused_in_one_line(&self) -> String {
        let message = self.refused();
        assert_eq!(message.lines().count(), 1, "{message}");
        message
    }
}
