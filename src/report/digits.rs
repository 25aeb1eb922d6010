//! JSON as it is printed: numbers to ten digits.
//!
//! The digits behind are those in which the C libraries of two machines differ; DEVELOPERS.md tells how far.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::Serializer;
use serde_json::ser::{Formatter, PrettyFormatter};

/// A value as indented JSON, ending in a newline.
///
/// # Errors
///
/// What is no JSON: a table whose keys are no texts.
pub fn json(value: &impl Serialize) -> serde_json::Result<String> {
    let mut text = Vec::new();
    let tidy = Tidy(PrettyFormatter::new());
    value.serialize(&mut Serializer::with_formatter(&mut text, tidy))?;
    text.push(b'\n');
    Ok(String::from_utf8_lossy(&text).into_owned())
}

/// Indented, with ten digits a number.
struct Tidy(PrettyFormatter<'static>);

/// A number to ten digits.
fn ten_digits(x: f64) -> f64 {
    // By way of text: powers of ten would bring their own errors into the digits behind.
    let short = format!("{x:.9e}").parse().ok();
    // The largest numbers there are would be rounded up to infinity.
    short.filter(|short: &f64| short.is_finite()).unwrap_or(x)
}

impl Formatter for Tidy {
    fn write_f64<W: ?Sized + Write>(&mut self, to: &mut W, value: f64) -> io::Result<()> {
        self.0.write_f64(to, ten_digits(value))
    }

    fn begin_array<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.begin_array(to)
    }

    fn end_array<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.end_array(to)
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, to: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_array_value(to, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.end_array_value(to)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.begin_object(to)
    }

    fn end_object<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.end_object(to)
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, to: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_object_key(to, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.begin_object_value(to)
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.0.end_object_value(to)
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn as_others_write_it_but_for_the_last_digits() {
        let value = json!({"a": [1, -2.5, 346.8115313921604, null], "b": {}, "c": [], "d": [[true]], "e": "x",
            "f": 1.0, "g": 1e-300, "h": 18_446_744_073_709_551_615_u64});
        let mut rounded = value.clone();
        rounded["a"][2] = json!(346.811_531_4);
        let text = super::json(&value).unwrap();
        assert_eq!(text, serde_json::to_string_pretty(&rounded).unwrap() + "\n");
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), rounded);
        // A number of single precision stays as short as it was.
        assert_eq!(super::json(&[0.1_f32]).unwrap(), "[\n  0.1\n]\n");
        assert_eq!(
            ten_digits(346.811_531_392_160_4),
            ten_digits(346.811_531_392_160_9)
        );
        assert_eq!(ten_digits(f64::MAX), f64::MAX);
    }
}
