//! HTML and SVG as they leave the program.
//!
//! Both are written with the macro of `maud`, which checks at compile time that elements close and
//! escapes every value put into them: a text becomes markup only where the code says `PreEscaped`.
//! Templates in files of their own (askama) would need a struct for each of some forty pieces, most
//! of them tables whose rows depend on the answer; as functions they stay beside the numbers they
//! write, and SVG is made by the same macro.

use maud::{Markup, Render, html};

use super::plain;

/// A length or place in a picture, to a tenth of a pixel.
pub struct Px(pub f64);

impl Render for Px {
    fn render_to(&self, buffer: &mut String) {
        buffer.push_str(&format!("{:.1}", self.0));
    }
}

/// Markup as the text of a file.
pub fn document(markup: Markup) -> String {
    without_controls(&markup.into_string())
}

/// A text without what XML 1.0 cannot hold (section 2.2, Char) and HTML does not allow, and without
/// marks of direction.
pub fn without_controls(text: &str) -> String {
    text.chars()
        .filter(|&c| !plain::is_obeyed(c) && !matches!(c, '\u{fffe}' | '\u{ffff}'))
        .collect()
}

/// A plain text where markup is asked for.
pub fn cell(text: impl AsRef<str>) -> Markup {
    html! { (text.as_ref()) }
}

/// A table with a heading row, if any heading says something; the first cell of each row heads it.
pub fn table(caption: &str, heads: &[&str], rows: &[Vec<Markup>]) -> Markup {
    html! {
        table { "\n"
            caption { (caption) } "\n"
            @if heads.iter().any(|head| !head.is_empty()) {
                thead {
                    tr {
                        @for head in heads {
                            @if head.is_empty() { td {} } @else { th scope="col" { (head) } }
                        }
                    }
                } "\n"
            }
            tbody { "\n"
                @for row in rows {
                    tr {
                        @for (i, cell) in row.iter().enumerate() {
                            @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                        }
                    } "\n"
                }
            } "\n"
        } "\n"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_a_plan_becomes_markup() {
        let text = "</bdi><script>alert('x')</script> \"&\u{7}\u{ffff}";
        assert_eq!(
            document(html! { bdi title=(text) { (text) } }),
            "<bdi title=\"&lt;/bdi&gt;&lt;script&gt;alert('x')&lt;/script&gt; &quot;&amp;\">\
             &lt;/bdi&gt;&lt;script&gt;alert('x')&lt;/script&gt; &quot;&amp;</bdi>"
        );
    }
}
