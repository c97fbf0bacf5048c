//! Where in the document something was found, for refusals and remarks. It must not know notes.

use super::dom::{Element, place};
use crate::import::Remark;
use crate::notation::FormatError;

/// Most remarks kept.
const MOST: usize = 200;

/// A document being read.
pub(super) struct Reading<'a> {
    text: &'a str,
    remarks: Vec<Remark>,
    more: usize,
}

impl<'a> Reading<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, remarks: Vec::new(), more: 0 }
    }

    /// A refusal with the line and column of an element.
    pub(super) fn refuse(&self, element: &Element, words: impl Into<String>) -> FormatError {
        FormatError::new(place(self.text, element.at), words)
    }

    pub(super) fn remark(&mut self, place: String, words: String) {
        if self.remarks.len() < MOST {
            self.remarks.push(Remark { place, words });
        } else {
            self.more += 1;
        }
    }

    pub(super) fn finish(mut self) -> Vec<Remark> {
        if self.more > 0 {
            self.remarks
                .push(Remark { place: "the document".into(), words: format!("and {} more remarks", self.more) });
        }
        self.remarks
    }
}
