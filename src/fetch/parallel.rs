//! Several questions at a time.

use rayon::prelude::*;

use crate::error::{Error, Result};

/// Does the work for each item, this many at a time; the results are in the order of the items.
///
/// # Errors
///
/// One of those of the work; what is not begun then is left.
pub fn each<T, R>(
    at_a_time: usize,
    items: &[T],
    work: impl Fn(&T) -> Result<R> + Sync,
) -> Result<Vec<R>>
where
    T: Sync,
    R: Send,
{
    let threads = at_a_time.clamp(1, items.len().max(1));
    // A pool of its own: threads that wait for servers must not be missing where work is done.
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|cause| Error::CannotDo {
            why: format!("cannot start {threads} threads: {cause}"),
            remedy: "expected fewer --connections".into(),
        })?;
    // One item a task: the last of several in one would wait while other
    // threads have nothing to do.
    pool.install(|| items.par_iter().with_max_len(1).map(&work).collect())
}
