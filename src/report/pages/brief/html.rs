//! Pieces of HTML.

use crate::geodesy::Position;
use crate::report::files::markup::without_controls;

/// A text as HTML has it, in elements and in attributes.
pub fn escaped(text: &str) -> String {
    without_controls(text)
        .chars()
        .fold(String::new(), |mut out, c| {
            match c {
                '&' => out.push_str("&amp;"),
                '<' => out.push_str("&lt;"),
                '>' => out.push_str("&gt;"),
                '"' => out.push_str("&quot;"),
                '\'' => out.push_str("&#39;"),
                other => out.push(other),
            }
            out
        })
}

/// A text of the plan or of a file, which may run from right to left.
pub fn user_text(text: &str) -> String {
    format!("<bdi>{}</bdi>", escaped(text))
}

/// A place as a link that map programs open without a network (RFC 5870).
pub fn place(at: Position) -> String {
    format!(
        "<a href=\"geo:{:.6},{:.6}\">{}</a>",
        at.lat_deg,
        at.lon_deg,
        at.text()
    )
}

/// A table with a heading row; the first cell of each row heads it. Cells are HTML.
pub fn table(caption: &str, heads: &[&str], rows: &[Vec<String>]) -> String {
    let head: String = heads
        .iter()
        .map(|h| format!("<th scope=\"col\">{}</th>", escaped(h)))
        .collect();
    let body: String = rows
        .iter()
        .map(|row| {
            let cells: String = row
                .iter()
                .enumerate()
                .map(|(i, cell)| match i {
                    0 => format!("<th scope=\"row\">{cell}</th>"),
                    _ => format!("<td>{cell}</td>"),
                })
                .collect();
            format!("<tr>{cells}</tr>\n")
        })
        .collect();
    format!(
        "<table>\n<caption>{}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table>\n",
        escaped(caption)
    )
}

/// A list of texts.
pub fn list<S: AsRef<str>>(items: &[S]) -> String {
    let items: String = items
        .iter()
        .map(|item| format!("<li>{}</li>\n", user_text(item.as_ref())))
        .collect();
    format!("<ul>\n{items}</ul>\n")
}

/// Terms and what they stand for, as HTML.
pub fn terms(rows: &[(&str, String)]) -> String {
    let rows: String = rows
        .iter()
        .map(|(term, said)| format!("<dt>{}</dt><dd>{said}</dd>\n", escaped(term)))
        .collect();
    format!("<dl>\n{rows}</dl>\n")
}

/// A paragraph of plain text.
pub fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", escaped(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_the_plan_becomes_markup() {
        let text = "</bdi><script>alert('x')</script> \"&\u{7}";
        assert_eq!(
            user_text(text),
            "<bdi>&lt;/bdi&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &quot;&amp;</bdi>"
        );
    }
}
