//! Pages saved from the web: the text that stands on them.

/// Whether a text is marked up as a page.
pub(super) fn is_page(text: &str) -> bool {
    let start: String = text.chars().take(2_000).collect();
    let start = start.to_ascii_lowercase();
    [
        "<html",
        "<!doctype html",
        "<pre",
        "<head>",
        "<body",
        "<table",
    ]
    .iter()
    .any(|mark| start.contains(mark))
}

/// The text of a page: as it is laid out where it is set as typed (`pre`), else with a line for each row of
/// a table and a tab after each cell.
pub(super) fn text_of(page: &str) -> String {
    // ASCII alone, so that places in it are those in the page.
    let lower = page.to_ascii_lowercase();
    let as_typed = lower.contains("<pre");
    let mut text = String::with_capacity(page.len());
    let from = |text: &str, at: usize, mark: &str| Some(at + text.get(at..)?.find(mark)?);
    let mut at = 0;
    while let Some(open) = from(page, at, "<") {
        push(&mut text, page.get(at..open).unwrap_or_default(), as_typed);
        let Some(close) = from(page, open, ">") else {
            // A mark without its end is where a page was cut.
            return text;
        };
        let tag = lower.get(open + 1..close).unwrap_or_default();
        let name: String = tag
            .chars()
            .take_while(|c| c.is_ascii_alphanumeric() || *c == '/')
            .collect();
        at = close + 1;
        match name.as_str() {
            "script" | "style" => {
                let end = from(&lower, at, &format!("</{name}"));
                // Cut off within a script, the page has no more text.
                at = end.unwrap_or(page.len());
            }
            "/td" | "/th" if !as_typed => text.push('\t'),
            "/tr" | "br" | "br/" | "/p" | "/div" | "/h1" | "/h2" | "/h3" | "/li" if !as_typed => {
                text.push('\n');
            }
            _ => {}
        }
    }
    push(&mut text, page.get(at..).unwrap_or_default(), as_typed);
    text
}

fn push(text: &mut String, part: &str, as_typed: bool) {
    let plain = [
        ("&nbsp;", " "),
        ("&deg;", "\u{b0}"),
        ("&minus;", "-"),
        ("&lt;", "<"),
        ("&gt;", ">"),
        // Last: what it leaves must not be taken for another mark.
        ("&amp;", "&"),
    ]
    .iter()
    .fold(part.to_owned(), |text, (mark, sign)| {
        text.replace(mark, sign)
    });
    if as_typed {
        text.push_str(&plain);
    } else {
        text.push_str(&plain.replace(['\n', '\r', '\t'], " "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_are_known_and_read() {
        let typed =
            "<html><script>a<b\n</script><PRE>\n PRES  HGHT\n <b>1000</b>   97\n</PRE></html>";
        assert!(is_page(typed));
        assert!(
            text_of(typed).contains("\n PRES  HGHT\n 1000   97\n"),
            "{}",
            text_of(typed)
        );
        let table = "<table><tr><th>P (hPa)</th><th>T&nbsp;(&deg;C)</th></tr>\n<tr><td>1000</td>\n<td>5</td></tr></table>";
        let lines: Vec<String> = text_of(table)
            .lines()
            .map(|l| l.trim().to_owned())
            .collect();
        assert_eq!(lines, ["P (hPa)\tT (\u{b0}C)", "1000\t 5"]);
        assert!(!is_page("pressure < 1000 hPa > 900 hPa\n"));
        assert_eq!(text_of("<p>cut <b"), "cut ");
    }
}
