//! Writes XML with one element per line.

use crate::export::picture::canvas::escaped;
use std::fmt::Display;
use std::io::{self, Write};

const MAX_PENDING_BYTES: usize = 1 << 16;

pub(super) struct Xml {
    /// What is not written yet.
    pending: String,
    open: Vec<&'static str>,
}

impl Xml {
    /// Starts with the declaration and the document type.
    pub(super) fn new(doctype: Option<&str>) -> Self {
        let mut pending = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>".to_owned();
        if let Some(text) = doctype {
            pending.extend(["\n<!DOCTYPE ", text, ">"]);
        }
        Self { pending, open: Vec::new() }
    }

    fn line(&mut self) {
        self.pending.push('\n');
        self.pending.extend(self.open.iter().map(|_| ' '));
    }

    fn start(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.line();
        self.pending.extend(["<", name]);
        for (key, value) in attributes {
            self.pending.extend([" ", key, "=\"", &escaped(value), "\""]);
        }
    }

    pub(super) fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.pending.push('>');
        self.open.push(name);
    }

    /// An element around others.
    pub(super) fn wrap(&mut self, name: &'static str, attributes: &[(&str, &str)], content: impl FnOnce(&mut Self)) {
        self.open(name, attributes);
        content(self);
        self.close(1);
    }

    /// Opens elements, each within the one before.
    pub(super) fn open_all(&mut self, names: &[&'static str]) {
        for name in names {
            self.open(name, &[]);
        }
    }

    /// Closes the innermost elements.
    pub(super) fn close(&mut self, count: usize) {
        for _ in 0..count {
            if let Some(name) = self.open.pop() {
                self.line();
                self.pending.extend(["</", name, ">"]);
            }
        }
    }

    pub(super) fn empty_element(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.pending.push_str("/>");
    }

    pub(super) fn text(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.start(name, attributes);
        let lines: Vec<String> = text.split('\n').map(escaped).collect();
        self.pending.extend([">", &lines.join("\n"), "</", name, ">"]);
    }

    pub(super) fn number(&mut self, name: &str, number: impl Display) {
        self.text(name, &[], &number.to_string());
    }

    /// Writes what was built if it is much.
    pub(super) fn flush(&mut self, out: &mut dyn Write) -> io::Result<()> {
        if self.pending.len() >= MAX_PENDING_BYTES {
            out.write_all(self.pending.as_bytes())?;
            self.pending.clear();
        }
        Ok(())
    }

    /// Closes all elements and writes what is left.
    pub(super) fn finish(mut self, out: &mut dyn Write) -> io::Result<()> {
        self.close(self.open.len());
        self.pending.push('\n');
        out.write_all(self.pending.as_bytes())
    }
}
