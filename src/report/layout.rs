//! Lists and paragraphs in plain text.

use std::fmt::Write as _;

/// A heading with its lines, wrapped; nothing where there are none.
pub fn list<S: AsRef<str>>(heading: &str, lines: &[S]) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let mut text = format!("\n{heading}\n");
    for line in lines {
        // 96 columns with the mark before them.
        for (i, part) in wrapped(line.as_ref(), 94).iter().enumerate() {
            let _ = writeln!(text, "{} {part}", if i == 0 { "-" } else { " " });
        }
    }
    text
}

/// A text in lines of at most `width` characters, cut between words.
/// A longer word has a line of its own; breaks in the text count as spaces.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_wrapped_whole() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("", 7), Vec::<String>::new());
        assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
    }
}
