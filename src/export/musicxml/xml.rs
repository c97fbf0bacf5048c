//! Writes XML, one element per line.

use crate::export::picture::canvas::escaped;
use std::fmt::{Display, Write};

/// An XML document being written, one element a line.
pub(super) struct Xml {
    out: String,
    open: Vec<&'static str>,
}

impl Xml {
    /// An empty document: the declaration and, if given, the document type.
    pub(super) fn new(doctype: Option<&str>) -> Self {
        let mut out = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>".to_owned();
        if let Some(text) = doctype {
            out.extend(["\n<!DOCTYPE ", text, ">"]);
        }
        Self { out, open: Vec::new() }
    }

    fn line(&mut self) {
        self.out.push('\n');
        self.out.extend(self.open.iter().map(|_| ' '));
    }

    fn start(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.line();
        self.out.extend(["<", name]);
        for (key, value) in attributes {
            self.out.extend([" ", key, "=\"", &escaped(value), "\""]);
        }
    }

    /// Opens an element.
    pub(super) fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.out.push('>');
        self.open.push(name);
    }

    /// Closes the innermost open element.
    pub(super) fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.line();
            self.out.extend(["</", name, ">"]);
        }
    }

    /// An element without content.
    pub(super) fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.out.push_str("/>");
    }

    /// An element with text.
    pub(super) fn text(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.start(name, attributes);
        let lines: Vec<String> = text.split('\n').map(escaped).collect();
        self.out.extend([">", &lines.join("\n"), "</", name, ">"]);
    }

    /// An element with a number.
    pub(super) fn number(&mut self, name: &str, number: impl Display) {
        self.start(name, &[]);
        // Writing to a String cannot fail.
        let _ = write!(self.out, ">{number}</{name}>");
    }

    /// The bytes, every element closed.
    pub(super) fn finish(mut self) -> Vec<u8> {
        while !self.open.is_empty() {
            self.close();
        }
        self.out.push('\n');
        self.out.into_bytes()
    }
}
