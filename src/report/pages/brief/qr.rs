//! QR codes (ISO/IEC 18004), drawn as pictures.

use std::fmt::Write as _;

use maud::{Markup, html};
use qrcode::{Color, QrCode};

use crate::report::palette::{PAPER, TEXT};

/// Light modules around a code, as the standard asks for.
const QUIET: usize = 4;

/// A text as a code; none where it is too long for one.
pub fn code(id: &str, title: &str, text: &str) -> Option<Markup> {
    // What is too long for any code still stands beside it as text.
    let code = QrCode::new(text.as_bytes()).ok()?;
    let across = code.width();
    // One path for all of them: an element each would make the page far longer.
    let mut dark = String::new();
    for (i, module) in code.to_colors().into_iter().enumerate() {
        if module == Color::Dark {
            let _ = write!(
                dark,
                "M{} {}h1v1h-1z",
                i % across + QUIET,
                i / across + QUIET
            );
        }
    }
    let side = across + 2 * QUIET;
    let name = format!("{id}-title");
    Some(html! {
        svg xmlns="http://www.w3.org/2000/svg" id=(id) viewBox={ "0 0 " (side) " " (side) } width="240" height="240"
            shape-rendering="crispEdges" role="img" aria-labelledby=(name) {
            "\n"
            title id=(name) { (title) } "\n"
            rect width=(side) height=(side) fill=(PAPER) {}
            path d=(dark) fill=(TEXT) {}
        } "\n"
    })
}
