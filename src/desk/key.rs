//! The key of a run: who does not have it gets nothing.

use std::io;
use std::path::Path;

use subtle::ConstantTimeEq;

use crate::error::{Error, Result};

/// Bytes of a key: 128 bits.
const BYTES: usize = 16;

/// A random key, made anew for each run.
pub struct DeskKey(String);

impl DeskKey {
    /// A key from the system's source of randomness.
    ///
    /// # Errors
    ///
    /// The system has none to give.
    pub fn new() -> Result<DeskKey> {
        let mut bytes = [0; BYTES];
        getrandom::fill(&mut bytes).map_err(|cause| {
            let cause = io::Error::other(cause.to_string());
            Error::file(Path::new("the system's random numbers"), "read", cause)
        })?;
        Ok(DeskKey(bytes.iter().map(|b| format!("{b:02x}")).collect()))
    }

    /// The key as it stands in the address.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Whether this is the key. Takes as long for every wrong one, so that nothing is learnt from the time.
    pub fn is(&self, given: &str) -> bool {
        self.0.as_bytes().ct_eq(given.as_bytes()).into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_differ_and_only_the_whole_key_is_right() {
        let [a, b] = [DeskKey::new().unwrap(), DeskKey::new().unwrap()];
        assert_eq!(a.text().len(), 32);
        assert_ne!(a.text(), b.text());
        assert!(a.is(a.text()));
        for wrong in [b.text(), "", &a.text()[..31], &format!("{}0", a.text())] {
            assert!(!a.is(wrong), "{wrong}");
        }
    }
}
