//! Writes XML elements one after the other. It must not know what they mean.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// An XML document in the making.
pub(super) struct Xml {
    writer: Writer<Vec<u8>>,
    open: Vec<&'static str>,
    /// The last number written; kept for its memory.
    number: String,
}

impl Xml {
    /// An empty document: declaration and, if given, document type.
    pub(super) fn new(doctype: Option<&'static str>) -> Self {
        let mut xml =
            Self { writer: Writer::new_with_indent(Vec::new(), b' ', 1), open: Vec::new(), number: String::new() };
        xml.put(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), Some("no"))));
        if let Some(text) = doctype {
            xml.put(Event::DocType(BytesText::from_escaped(text)));
        }
        xml
    }

    fn put(&mut self, event: Event<'_>) {
        self.writer.write_event(event).expect("memory takes every write");
    }

    /// Opens an element.
    pub(super) fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.put(Event::Start(start(name, attributes)));
        self.open.push(name);
    }

    /// Closes the innermost open element.
    pub(super) fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.put(Event::End(BytesEnd::new(name)));
        }
    }

    /// An element without content.
    pub(super) fn empty(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.put(Event::Empty(start(name, attributes)));
    }

    /// An element with text.
    pub(super) fn text(&mut self, name: &'static str, attributes: &[(&str, &str)], text: &str) {
        self.put(Event::Start(start(name, attributes)));
        if text.chars().all(allowed) {
            self.put(Event::Text(BytesText::new(text)));
        } else {
            let text: String = text.chars().map(|c| if allowed(c) { c } else { '\u{fffd}' }).collect();
            self.put(Event::Text(BytesText::new(&text)));
        }
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element with a number.
    pub(super) fn number(&mut self, name: &'static str, number: impl std::fmt::Display) {
        use std::fmt::Write as _;
        let mut text = std::mem::take(&mut self.number);
        text.clear();
        write!(text, "{number}").expect("memory takes every write");
        self.put(Event::Start(BytesStart::new(name)));
        self.put(Event::Text(BytesText::from_escaped(text.as_str())));
        self.put(Event::End(BytesEnd::new(name)));
        self.number = text;
    }

    /// The bytes, every element closed.
    pub(super) fn finish(mut self) -> Vec<u8> {
        while !self.open.is_empty() {
            self.close();
        }
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        bytes
    }
}

fn start<'a>(name: &'a str, attributes: &[(&'a str, &'a str)]) -> BytesStart<'a> {
    let start = BytesStart::new(name);
    if attributes.is_empty() { start } else { start.with_attributes(attributes.iter().copied()) }
}

/// Characters that XML 1.0 allows in a document (production `Char`).
fn allowed(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..)
}
