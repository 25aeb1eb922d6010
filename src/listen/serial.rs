//! A serial device: a receiver or a modem at a baud rate, opened again where it was unplugged.

use std::io::{ErrorKind, Read};
use std::path::Path;
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant};

use serial2::SerialPort;

use super::{Backoff, Event, Said, Waiting, gone};

/// How often it is looked whether anybody still listens.
const LOOK: Duration = Duration::from_secs(1);

/// Listens until nobody takes events any more: 8 bits, no parity, one stop bit. A receiver may have nothing to say
/// for long, so silence is no fault.
pub fn listen(device: &Path, baud: u32, waiting: Waiting, to: &SyncSender<Event>) {
    let mut backoff = Backoff::new(waiting);
    loop {
        let why = match SerialPort::open(device, baud) {
            Ok(mut port) => {
                let name = format!("{} at {baud} baud", device.display());
                if gone(to, Event::Said(Said::Connected(name))) {
                    return;
                }
                match receive(&mut port, to, &mut backoff) {
                    None => return,
                    Some(why) => why,
                }
            }
            Err(cause) => cause.to_string(),
        };
        let why = format!("{}: {why}", device.display());
        if gone(to, Event::Cut) || !backoff.wait(why, to) {
            return;
        }
    }
}

/// Receives until the device is gone, and why; `None` where nobody listens any more.
fn receive(port: &mut SerialPort, to: &SyncSender<Event>, backoff: &mut Backoff) -> Option<String> {
    if let Err(cause) = port.set_read_timeout(LOOK) {
        return Some(cause.to_string());
    }
    let begun = Instant::now();
    let mut buffer = vec![0; 1 << 12];
    loop {
        match port.read(&mut buffer) {
            Ok(0) => return Some("the device is gone".into()),
            Ok(count) => {
                backoff.lasted(begun);
                if gone(to, Event::read(&buffer, count)) {
                    return None;
                }
            }
            Err(cause) if matches!(cause.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {
                if gone(to, Event::Bytes(Vec::new())) {
                    return None;
                }
            }
            Err(cause) if cause.kind() == ErrorKind::Interrupted => {}
            Err(cause) => return Some(cause.to_string()),
        }
    }
}
