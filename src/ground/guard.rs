//! Other people's readers, kept from stopping the program on a broken file.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::error::{Fault, Result};

/// What `read` gives; a panic inside it is a fault of the file.
pub(super) fn guarded<T>(name: &str, format: &str, read: impl FnOnce() -> Result<T>) -> Result<T> {
    catch_unwind(AssertUnwindSafe(read)).unwrap_or_else(|_| {
        let found = format!("{format} that its reader cannot follow");
        Err(Fault::new(name, found, "a complete, undamaged file").into())
    })
}
