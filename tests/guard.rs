//! Panics of other people's readers become errors without a word on the screen; all others are heard.
//! In a test of its own, as there is one panic hook for a whole program.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::panic::{catch_unwind, set_hook};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use windfall::error::Result;
use windfall::files::{guarded, quiet};

static HEARD: AtomicUsize = AtomicUsize::new(0);

#[test]
fn panics_within_guards_are_errors_and_silent_on_every_thread() {
    set_hook(Box::new(|_| {
        HEARD.fetch_add(1, Ordering::SeqCst);
    }));
    let broken = || -> Result<()> {
        guarded("a.tif", "a GeoTIFF", || {
            let inner: Result<()> = guarded("b.tif", "a GeoTIFF", || panic!("inside"));
            assert!(inner.is_err());
            panic!("as it should be")
        })
    };
    let threads: Vec<_> = (0..4).map(|_| thread::spawn(broken)).collect();
    for thread in threads {
        let message = thread.join().unwrap().unwrap_err().to_string();
        assert_eq!(
            message,
            "a.tif: found a GeoTIFF that its reader cannot follow; expected a complete, undamaged file"
        );
    }
    assert!(catch_unwind(|| quiet(|| panic!("unheard"))).is_err());
    assert_eq!(HEARD.load(Ordering::SeqCst), 0);
    // After a guard, and beside one on another thread, panics are heard.
    assert!(broken().is_err());
    assert!(catch_unwind(|| panic!("heard")).is_err());
    let beside = guarded("c", "a GeoTIFF", || {
        Ok(thread::spawn(|| panic!("heard")).join().is_err())
    });
    assert!(beside.unwrap());
    assert_eq!(HEARD.load(Ordering::SeqCst), 2);
}
