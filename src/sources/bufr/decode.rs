//! The values of a message's data, in order.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2, FM 94 BUFR: regulations 94.5 and 94.6, table C. What
//! follows operators 222 to 237 (quality, statistics) comes after all values and is not read.

use super::tables::{Descriptor, packing, sequence};

/// The most values and repetitions of a message, of all its subsets: a sounding of four hours at ten
/// levels a second has a million and a half.
const MOST_STEPS: usize = 4_000_000;
/// The deepest that sequences and repetitions stand in each other.
const DEEPEST: usize = 16;

/// What is met on the way through a subset.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Event {
    /// A repetition begins.
    Item,
    /// A repetition ends.
    ItemEnd,
    /// A number, in the unit of table B; `None` where missing.
    Number(Descriptor, Option<f64>),
    /// A text; `None` where missing.
    Text(Descriptor, Option<String>),
}

/// Either all values or why there are none.
type Decoded<T> = Result<T, String>;

/// The bits of a section, the highest first.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn take(&mut self, width: u32) -> Decoded<u64> {
        let end = self.at + width as usize;
        if width > 64 || end > 8 * self.bytes.len() {
            return Err("data that end too soon".into());
        }
        let byte = |i: usize| self.bytes.get(i / 8).copied().unwrap_or_default();
        let bit = |i: usize| u64::from(byte(i) >> (7 - i % 8) & 1);
        // Bit by bit, as values begin anywhere: a sounding has few enough of them.
        let value = (self.at..end).fold(0, |value, i| value << 1 | bit(i));
        self.at = end;
        Ok(value)
    }

    /// A number of no more bits than the type has.
    fn number<T: TryFrom<u64>>(&mut self, width: u32) -> Decoded<T> {
        let number = self.take(width)?;
        T::try_from(number).map_err(|_| format!("{number} of {width} bits"))
    }

    fn text(&mut self, characters: usize) -> Decoded<Option<String>> {
        let bytes: Vec<u8> = (0..characters)
            .map(|_| self.number::<u8>(8))
            .collect::<Decoded<_>>()?;
        let missing = bytes.iter().all(|byte| *byte == 0xff);
        // Latin 1 takes any byte; these texts are not always UTF-8.
        let text: String = bytes.into_iter().map(char::from).collect();
        Ok((!missing).then(|| text.trim().to_owned()))
    }
}

/// What operators have changed.
#[derive(Clone, Copy, Default)]
struct Changes {
    width: i64,
    scale: i32,
    /// Of 207: scale, reference and width of this many digits more.
    digits: i32,
    text_bytes: Option<usize>,
    /// Bits of an associated field before each element.
    associated: u32,
    /// Bits of a local element that follows.
    local: Option<u32>,
}

struct Decoder<'a> {
    bits: Bits<'a>,
    changes: Changes,
    /// Whether the values of all subsets are packed together, element by element.
    compressed: bool,
    /// How many are: 1 where each stands alone.
    together: usize,
    steps: usize,
    /// Events of each of the subsets that are packed together.
    events: Vec<Vec<Event>>,
    /// Whether what follows is quality and statistics.
    ended: bool,
}

/// The values of each subset.
pub(super) fn subsets(
    data: &[u8],
    descriptors: &[Descriptor],
    count: usize,
    compressed: bool,
) -> Decoded<Vec<Vec<Event>>> {
    let together = if compressed { count } else { 1 };
    // A subset takes bits: no more are believed than there are bytes.
    if count == 0 || count > 8 * data.len() {
        return Err(format!("{count} subsets"));
    }
    let mut all = Vec::new();
    let mut decoder = Decoder {
        bits: Bits { bytes: data, at: 0 },
        changes: Changes::default(),
        compressed,
        together,
        steps: 0,
        events: Vec::new(),
        ended: false,
    };
    for _ in 0..if compressed { 1 } else { count } {
        // Operators hold within their subset.
        decoder.changes = Changes::default();
        decoder.ended = false;
        decoder.events = vec![Vec::new(); together];
        decoder.run(descriptors, 0)?;
        // Where the next subset begins after quality and statistics is not known.
        let cut_short = decoder.ended && !compressed && count > 1;
        all.append(&mut decoder.events);
        if cut_short {
            return Err("several subsets with quality or statistics after the values".into());
        }
    }
    Ok(all)
}

impl Decoder<'_> {
    fn run(&mut self, descriptors: &[Descriptor], depth: usize) -> Decoded<()> {
        if depth > DEEPEST {
            return Err("sequences within sequences without end".into());
        }
        let mut rest = descriptors;
        while let [first, after @ ..] = rest {
            if self.ended {
                return Ok(());
            }
            rest = after;
            let (x, y) = (first / 1_000 % 100, first % 1_000);
            match first / 100_000 {
                0 => self.element(*first)?,
                1 => rest = self.repeat(x as usize, y as usize, after, depth)?,
                2 => self.operate(x, y)?,
                3 => {
                    let parts = sequence(*first)
                        .ok_or_else(|| format!("sequence {first}, which is none of soundings"))?;
                    self.run(parts, depth + 1)?;
                }
                _ => return Err(format!("descriptor {first}")),
            }
        }
        Ok(())
    }

    fn step(&mut self) -> Decoded<()> {
        self.steps += self.together;
        let few = (self.steps <= MOST_STEPS).then_some(());
        few.ok_or_else(|| format!("more than {MOST_STEPS} values"))
    }

    /// Repeats the next `many` descriptors; returns what comes after them.
    fn repeat<'d>(
        &mut self,
        many: usize,
        times: usize,
        after: &'d [Descriptor],
        depth: usize,
    ) -> Decoded<&'d [Descriptor]> {
        let (times, after) = match (times, after) {
            // The count stands in the data, as wide as the next descriptor says.
            (0, [factor, after @ ..]) => {
                let element = packing(*factor).ok_or_else(|| format!("a count {factor}"))?;
                (self.count_of_all(element.width)?, after)
            }
            _ => (times, after),
        };
        if many > after.len() {
            return Err("a repetition of more than there is".into());
        }
        let (repeated, after) = after.split_at(many);
        for _ in 0..times {
            self.step()?;
            self.keep(vec![Event::Item; self.together]);
            self.run(repeated, depth + 1)?;
            self.keep(vec![Event::ItemEnd; self.together]);
        }
        Ok(after)
    }

    /// A count that must be the same in all subsets.
    fn count_of_all(&mut self, width: u32) -> Decoded<usize> {
        let value = self.bits.number(width)?;
        // Behind a count, too, stands how many bits each subset has on top: none where all agree.
        if self.compressed && self.bits.take(6)? != 0 {
            return Err("subsets of different length packed together".into());
        }
        Ok(value)
    }

    fn operate(&mut self, x: u32, y: u32) -> Decoded<()> {
        // Three digits at most.
        let y = i32::try_from(y).map_err(|_| format!("operand {y}"))?;
        // Operands count from 128; 0 takes an earlier change back.
        let signed = |y: i32| if y == 0 { 0 } else { y - 128 };
        let bytes = usize::try_from(y).unwrap_or(0);
        match x {
            1 => self.changes.width = i64::from(signed(y)),
            2 => self.changes.scale = signed(y),
            4 => self.changes.associated = y.unsigned_abs(),
            // Characters between the values, which no element names.
            5 => drop(self.texts(0, bytes)?),
            6 => self.changes.local = Some(y.unsigned_abs()),
            7 => self.changes.digits = y,
            8 => self.changes.text_bytes = (bytes > 0).then_some(bytes),
            22..=37 => self.ended = true,
            _ => return Err(format!("operator 2{x:02}{y:03}")),
        }
        Ok(())
    }

    fn element(&mut self, number: Descriptor) -> Decoded<()> {
        self.step()?;
        // 206: an element that no table has, so its width is told.
        if let Some(width) = self.changes.local.take() {
            self.numbers(width)?;
            return Ok(());
        }
        let element = packing(number)
            .ok_or_else(|| format!("element {number:06}, which is none of soundings"))?;
        // Neither operators nor associated fields concern counts and what associated fields mean.
        let plain = number / 1_000 == 31;
        if self.changes.associated > 0 && !plain {
            self.numbers(self.changes.associated)?;
        }
        if element.is_text {
            let given = self.changes.text_bytes;
            let texts = self.texts(number, given.unwrap_or(element.width as usize / 8))?;
            self.keep(texts);
            return Ok(());
        }
        let (mut width, mut scale) = (i64::from(element.width), element.scale);
        let mut reference = element.reference as f64;
        if !plain && !element.is_code {
            width += self.changes.width;
            scale += self.changes.scale;
            if self.changes.digits > 0 {
                let digits = self.changes.digits;
                scale += digits;
                // Table C, operator 207: ten bits for three digits, rounded up.
                width += i64::from((10 * digits + 2) / 3);
                reference *= 10.0_f64.powi(digits);
            }
        }
        let width = u32::try_from(width).map_err(|_| format!("{width} bits"))?;
        let unit = 10.0_f64.powi(scale);
        let values = self.numbers(width)?;
        let value = |raw: Option<u64>| raw.map(|raw| (raw as f64 + reference) / unit);
        let events = values
            .into_iter()
            .map(|raw| Event::Number(number, value(raw)));
        self.keep(events.collect());
        Ok(())
    }

    /// One event of each subset.
    fn keep(&mut self, events: Vec<Event>) {
        for (all, event) in self.events.iter_mut().zip(events) {
            all.push(event);
        }
    }

    /// One number of each subset; `None` where all bits are ones.
    fn numbers(&mut self, width: u32) -> Decoded<Vec<Option<u64>>> {
        let ones = |width: u32| u64::MAX.checked_shr(64 - width).unwrap_or(0);
        let known = |raw: u64, width: u32| (width == 0 || raw != ones(width)).then_some(raw);
        let least = self.bits.take(width)?;
        if !self.compressed {
            return Ok(vec![known(least, width)]);
        }
        // Regulation 94.6: the least of all, how many bits each has on top of it, and these.
        let more = self.bits.number(6)?;
        (0..self.together)
            .map(|_| {
                let above = self.bits.take(more)?;
                Ok(match more {
                    0 => known(least, width),
                    _ => known(above, more).and_then(|above| least.checked_add(above)),
                })
            })
            .collect()
    }

    fn texts(&mut self, number: Descriptor, bytes: usize) -> Decoded<Vec<Event>> {
        let same = self.bits.text(bytes)?;
        // Of each subset's own, which it has only where they are packed together.
        let own = self.compressed.then(|| self.bits.number(6)).transpose()?;
        let texts = (0..self.together).map(|_| match own {
            None | Some(0) => Ok(Event::Text(number, same.clone())),
            Some(characters) => Ok(Event::Text(number, self.bits.text(characters)?)),
        });
        texts.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn bits_are_taken_from_the_highest_on() {
        let mut bits = Bits {
            bytes: &[0b1010_0000, 0xff],
            at: 0,
        };
        assert_eq!(bits.take(3), Ok(5));
        assert_eq!(bits.take(6), Ok(1));
        assert!(bits.take(8).is_err());
    }

    #[test]
    fn a_pressure_with_more_digits() {
        // 7004 has 14 bits in tens of Pa; with 207001 18 bits in single Pa.
        let data = [0b0110_0000, 0b0101_1000, 0b0100_0000];
        let found = subsets(&data, &[207_001, 7_004, 207_000], 1, false).unwrap();
        let raw = u64::from(data[0]) << 10 | u64::from(data[1]) << 2 | u64::from(data[2] >> 6);
        assert_eq!(found[0], [Event::Number(7_004, Some(raw as f64))]);
    }

    #[test]
    fn subsets_packed_together() {
        // Temperature 012101, 16 bits: 27315 at least, 2 bits more: 1, missing, 0.
        let value: u64 = 27_315 << 12 | 2 << 6 | 0b01_11_00;
        let data = (value << 4).to_be_bytes();
        let found = subsets(&data[4..], &[12_101], 3, true).unwrap();
        let of = |t| vec![Event::Number(12_101, t)];
        assert_eq!(found, [of(Some(273.16)), of(None), of(Some(273.15))]);
    }

    proptest! {
        #[test]
        fn no_bytes_panic(
            data in proptest::collection::vec(any::<u8>(), 0..200),
            descriptors in proptest::collection::vec(
                prop_oneof![
                    Just(309_052_u32), Just(309_057), Just(31_001), Just(101_000), Just(102_003),
                    Just(1_011), Just(12_101), 200_000..240_000_u32, any::<u32>()
                ],
                0..6,
            ),
            count in 0..5_usize,
            compressed: bool,
        ) {
            let _ = subsets(&data, &descriptors, count, compressed);
        }
    }
}
