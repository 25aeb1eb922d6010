//! What happens when the program is told to stop.

/// From now on an interrupt, a request to end or a closed terminal removes what is not finished, and ends
/// the program as it would without this.
#[cfg(unix)]
pub fn leave_nothing() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let ignored = ignored();
    let signals = [SIGHUP, SIGINT, SIGTERM];
    // What was told to be ignored, as by nohup, stays so.
    let heard = signals
        .into_iter()
        .filter(|signal| ignored >> (signal - 1) & 1 == 0);
    // Where they cannot be waited for, the program ends without having cleaned up.
    let Ok(mut waiting) = signal_hook::iterator::Signals::new(heard.collect::<Vec<_>>()) else {
        return;
    };
    // On a thread of its own: within a signal handler nothing may be removed or locked.
    std::thread::spawn(move || {
        for signal in waiting.forever() {
            windfall::files::remove_unfinished();
            let _ = signal_hook::low_level::emulate_default_handler(signal);
        }
    });
}

/// The signals that are ignored, a bit each, where the system tells.
#[cfg(unix)]
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    line.and_then(|bits| u64::from_str_radix(bits.trim(), 16).ok())
        .unwrap_or(0)
}

/// Elsewhere temporary files are left to the system.
#[cfg(not(unix))]
pub fn leave_nothing() {}
