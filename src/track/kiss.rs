//! KISS frames (Chepponis and Karn 1987) around AX.25 frames: what a software modem gives over TCP or a
//! serial line. An AX.25 frame has addresses of seven bytes, six letters shifted by a bit and flags, the
//! last marked by its lowest bit; then 03 F0 and the information.

/// Ends a frame.
const FEND: u8 = 0xc0;
/// Begins an escape.
const FESC: u8 = 0xdb;
/// Stands for FEND after FESC.
const TFEND: u8 = 0xdc;
/// Stands for FESC after FESC.
const TFESC: u8 = 0xdd;
/// Longest frame: an AX.25 frame with eight repeaters and 256 bytes of information, and room beside.
pub const LONGEST: usize = 1_024;

/// Bytes on their way to frames.
#[derive(Debug, Clone, Default)]
pub struct Unwrapping {
    frame: Vec<u8>,
    escaped: bool,
    inside: bool,
}

/// Whether bytes begin as frames do.
pub fn looks_like(bytes: &[u8]) -> bool {
    bytes.first() == Some(&FEND)
}

impl Unwrapping {
    /// Takes a byte; gives the AX.25 frame that it ends, if it ends one with data.
    pub fn push(&mut self, byte: u8) -> Option<Vec<u8>> {
        if byte == FEND {
            // One sign ends a frame and begins the next: between two in a row there is nothing.
            let frame = std::mem::take(&mut self.frame);
            self.escaped = false;
            self.inside = true;
            // The first byte is the port and the command; command 0 is data.
            let (kind, data) = frame.split_first()?;
            return (kind & 0x0f == 0 && !data.is_empty()).then(|| data.to_vec());
        }
        if !self.inside {
            return None;
        }
        let plain = match (self.escaped, byte) {
            (false, FESC) => {
                self.escaped = true;
                return None;
            }
            (true, TFEND) => FEND,
            (true, TFESC) => FESC,
            // Behind an escape anything else is the sender's fault, and stands as it came.
            _ => byte,
        };
        self.escaped = false;
        self.frame.push(plain);
        if self.frame.len() > LONGEST {
            self.frame.clear();
            // What follows up to the next end belongs to it.
            self.inside = false;
        }
        None
    }
}

/// An AX.25 frame as the text of a packet; what has no addresses as it is.
pub fn as_text(frame: &[u8]) -> Vec<u8> {
    let Some(last) = frame
        .chunks(7)
        .position(|a| a.last().is_some_and(|b| b & 1 == 1))
    else {
        return frame.to_vec();
    };
    let name = |address: &[u8], repeats: bool| {
        let letters = address.iter().take(6).map(|b| char::from(b >> 1));
        let mut name = letters.collect::<String>().trim_end().to_owned();
        let flags = address.get(6).copied().unwrap_or(0);
        if flags >> 1 & 0x0f != 0 {
            name += &format!("-{}", flags >> 1 & 0x0f);
        }
        if repeats && flags & 0x80 != 0 {
            name.push('*');
        }
        name
    };
    let addresses: Vec<&[u8]> = frame.chunks(7).take(last + 1).collect();
    let [to, from, path @ ..] = addresses.as_slice() else {
        return frame.to_vec();
    };
    let mut text = format!("{}>{}", name(from, false), name(to, false));
    for address in path {
        text += &format!(",{}", name(address, true));
    }
    let mut bytes = text.into_bytes();
    bytes.push(b':');
    bytes.extend_from_slice(frame.get(7 * (last + 1) + 2..).unwrap_or_default());
    bytes
}
