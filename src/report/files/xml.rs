//! XML as KML and GPX need it.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use crate::report::markup::without_controls;

/// An XML document being written, two spaces of indent a level.
pub struct Xml {
    writer: Writer<Vec<u8>>,
    open: Vec<&'static str>,
}

impl Xml {
    /// A document with nothing in it yet.
    pub fn new() -> Xml {
        let mut xml = Xml {
            writer: Writer::new_with_indent(Vec::new(), b' ', 2),
            open: Vec::new(),
        };
        xml.put(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml
    }

    /// Opens an element.
    pub fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.put(Event::Start(start(name, attributes)));
        self.open.push(name);
    }

    /// Closes the element opened last.
    pub fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.put(Event::End(BytesEnd::new(name)));
        }
    }

    /// An element that holds a text.
    /// What XML cannot hold is left out of it.
    pub fn text(&mut self, name: &'static str, text: &str) {
        self.put(Event::Start(BytesStart::new(name)));
        self.put(Event::Text(BytesText::new(&without_controls(text))));
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// The document, everything closed, ending in a newline.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        let mut text = String::from_utf8(self.writer.into_inner()).unwrap_or_default();
        text.push('\n');
        text
    }

    fn put(&mut self, event: Event) {
        // Writing to memory does not fail.
        let _ = self.writer.write_event(event);
    }
}

fn start<'a>(name: &'a str, attributes: &[(&str, &str)]) -> BytesStart<'a> {
    let mut start = BytesStart::new(name);
    for (key, value) in attributes {
        start.push_attribute((*key, without_controls(value).as_str()));
    }
    start
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_escaped() {
        let mut xml = Xml::new();
        xml.open("a", &[("b", "\"<&>'\u{1}")]);
        xml.text("c", "x < y & \"z\" ]]> \u{0}\u{1b}\u{1f388}");
        let text = xml.finish();
        assert!(text.starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<a b="));
        assert!(text.contains("x &lt; y &amp; "), "{text}");
        assert!(text.contains("]]&gt; \u{1f388}</c>"), "{text}");
        assert!(text.contains("\"&quot;&lt;&amp;&gt;&apos;\""), "{text}");
        assert!(text.ends_with("</a>\n"));
    }
}
