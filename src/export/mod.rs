//! Exports to open formats, as bytes. It must not know paths, the session or the screen.

pub mod annotations;
mod data;
pub mod engraving;
pub(crate) mod formats;
pub mod handout;
pub mod midi;
pub mod musicxml;
pub mod picture;
mod pulses;

pub(crate) use pulses::skipped_hearings;

use crate::analysis::Report;
use crate::describe;
use crate::notation::FormatError;
use crate::rhythm::{Groove, Section};
use std::io;

/// Why an export failed.
#[derive(Debug)]
pub enum ExportError {
    /// The format cannot hold the groove; nothing was written.
    Format(FormatError),
    /// The file cannot be written.
    Write(io::Error),
}

impl From<FormatError> for ExportError {
    fn from(error: FormatError) -> Self {
        Self::Format(error)
    }
}

impl From<io::Error> for ExportError {
    fn from(error: io::Error) -> Self {
        Self::Write(error)
    }
}

/// A groove to export, and its analysis.
#[derive(Debug, Clone)]
pub struct ExportInput<'a> {
    /// The groove.
    pub groove: &'a Groove,
    /// Its report at full speed.
    pub report: &'a Report,
    /// The hearings whose pulses are exported too, as indices into those of the report.
    pub hearings: Vec<usize>,
    /// The only section to export, from 0; `None` exports all.
    pub section: Option<usize>,
}

impl ExportInput<'_> {
    fn has_section(&self, section: usize) -> bool {
        self.section.is_none_or(|only| only == section)
    }

    /// The exported sections, from 0.
    fn sections(&self) -> Vec<usize> {
        (0..self.groove.sections().len()).filter(|s| self.has_section(*s)).collect()
    }
}

/// A section's name, meter, tempo, length, swing and passes on one line.
fn section_summary(section: &Section) -> String {
    capitalized(&describe::section_summary(section))
}

fn capitalized(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
