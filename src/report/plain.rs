//! Texts as a terminal and a sheet of paper take them: nothing in them is obeyed.
//!
//! Names come from plans, maps and stations. A control character in one may ring, erase a line or
//! colour the screen, and a mark of direction may turn the digits of a place round.

use std::borrow::Cow;

/// What stands for a character that is taken out.
const TAKEN_OUT: char = '\u{fffd}';

/// A text whose control characters (but for ends of lines and tabs) and marks of direction are
/// replaced.
pub fn text(text: &str) -> Cow<'_, str> {
    // A return before a newline belongs to the end of a line, and stays.
    let mut before_line_end = text.chars().skip(1).map(|c| c == '\n');
    let mut obeyed = |c: char| {
        let before_line_end = before_line_end.next().unwrap_or(false);
        is_obeyed(c) && !(c == '\r' && before_line_end)
    };
    let taken_out: Vec<bool> = text.chars().map(&mut obeyed).collect();
    if !taken_out.contains(&true) {
        return Cow::Borrowed(text);
    }
    let both = text.chars().zip(taken_out);
    both.map(|(c, out)| if out { TAKEN_OUT } else { c })
        .collect()
}

/// Whether a terminal or a page does something at a character.
pub(super) fn is_obeyed(c: char) -> bool {
    c.is_control() && !matches!(c, '\n' | '\t')
        || matches!(c,
            // Marks, embeddings, overrides and isolates of direction; ends of lines and paragraphs.
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A cell of a table that spreadsheets take as text: one that begins as a formula does gets an
/// apostrophe before it, unless it is a number.
pub fn cell(cell: &str) -> Cow<'_, str> {
    // Spreadsheets pass over a tab or a return at the beginning, and then see the formula.
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    match formula && cell.parse::<f64>().is_err() {
        true => Cow::Owned(format!("'{}", text(cell))),
        false => text(cell),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_obeyed_and_the_rest_stays() {
        assert_eq!(
            text("a\u{1b}[31mb\u{7}\rc"),
            "a\u{fffd}[31mb\u{fffd}\u{fffd}c"
        );
        assert_eq!(
            text("x\u{202e}12\u{2069}\u{9b}"),
            "x\u{fffd}12\u{fffd}\u{fffd}"
        );
        let kept = "BEGIN:VCALENDAR\r\nÉvora, \u{5d0}\ttab\n";
        assert!(matches!(text(kept), Cow::Borrowed(same) if same == kept));
        assert_eq!(text("\r"), "\u{fffd}");
    }

    #[test]
    fn formulas_become_text_and_numbers_stay() {
        assert_eq!(cell("=1+2"), "'=1+2");
        assert_eq!(cell("@cmd"), "'@cmd");
        assert_eq!(cell("-north"), "'-north");
        assert_eq!(cell("-8.4"), "-8.4");
        assert_eq!(cell("+1e3"), "+1e3");
        assert_eq!(cell("Field 1"), "Field 1");
    }
}
