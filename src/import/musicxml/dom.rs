//! The XML tree of a document, and searches in it.

use crate::notation::FormatError;
use crate::rhythm::expected;
use roxmltree::{Document, Node, ParsingOptions};

/// Most elements, texts and comments.
const MAX_NODES: u32 = 4_000_000;

pub(super) type Element<'a> = Node<'a, 'a>;

pub(super) trait ElementExt<'a>: Copy {
    fn element(self) -> Element<'a>;

    fn child(self, name: &str) -> Option<Element<'a>> {
        self.element().children().find(|c| c.tag_name().name() == name)
    }

    fn children_named(self, name: &'a str) -> impl Iterator<Item = Element<'a>> {
        self.element().children().filter(move |c| c.tag_name().name() == name)
    }

    fn trimmed_text(self) -> &'a str {
        self.element().text().unwrap_or_default().trim()
    }

    fn child_text(self, name: &str) -> Option<&'a str> {
        self.child(name).map(ElementExt::trimmed_text)
    }

    fn has_child(self, name: &str) -> bool {
        self.child(name).is_some()
    }
}

impl<'a> ElementExt<'a> for Element<'a> {
    fn element(self) -> Element<'a> {
        self
    }
}

pub(super) fn error_at(element: Element<'_>, message: impl Into<String>) -> FormatError {
    FormatError::new(place_of(element), message)
}

/// The line and column of an element.
pub(super) fn place_of(element: Element<'_>) -> String {
    position(element.document().text_pos_at(element.range().start))
}

fn position(at: roxmltree::TextPos) -> String {
    format!("line {}, column {}", at.row, at.col)
}

/// Parses a document. A document type that declares entities is an error.
pub(super) fn parse(text: &str) -> Result<Document<'_>, FormatError> {
    let options = ParsingOptions { allow_dtd: true, nodes_limit: MAX_NODES, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options).map_err(|e| {
        let (at, message) = (e.pos(), e.to_string());
        // The position is in the error's place already.
        let message = message.strip_suffix(&format!(" at {at}")).unwrap_or(&message);
        FormatError::new(position(at), format!("not well-formed XML: {message}"))
    })?;
    let root = document.root_element();
    if text[..root.range().start].contains("<!ENTITY") {
        return Err(FormatError::new("line 1, column 1", expected("a document type without entities", "<!ENTITY")));
    }
    Ok(document)
}
