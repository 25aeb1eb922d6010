//! Other people's readers, kept from stopping the program on a broken file.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

use crate::error::{Fault, Result};

thread_local! {
    /// How many guards this thread is in.
    static GUARDS: Cell<usize> = const { Cell::new(0) };
}

/// One guard of this thread, until it is dropped.
struct Guard;

impl Guard {
    fn new() -> Guard {
        silence_guarded();
        GUARDS.with(|guards| guards.set(guards.get() + 1));
        Guard
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        GUARDS.with(|guards| guards.set(guards.get() - 1));
    }
}

/// Puts a hook before the one there is, which passes on what happens outside of guards. There is one
/// hook for all threads, so it is set once and asks the thread.
fn silence_guarded() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |panic| {
            if GUARDS.with(Cell::get) == 0 {
                before(panic);
            }
        }));
    });
}

/// What `read` gives. The crates that read binary formats check what they read, but they are not ours:
/// a panic in one is a fault of the file here, and its text is kept off the screen. `format` is what
/// the file was to be, as in "a GeoTIFF".
///
/// # Errors
///
/// Those of `read`, and a panic within it.
pub fn guarded<T>(name: &str, format: &str, read: impl FnOnce() -> Result<T>) -> Result<T> {
    let caught = quiet(|| catch_unwind(AssertUnwindSafe(read)));
    caught.unwrap_or_else(|_| {
        let found = format!("{format} that its reader cannot follow");
        Err(Fault::new(name, found, "a complete, undamaged file").into())
    })
}

/// What `read` gives; the text of a panic within it is kept off the screen. For the threads that help
/// with what is [`guarded`] on another one.
pub fn quiet<T>(read: impl FnOnce() -> T) -> T {
    let _guard = Guard::new();
    read()
}
