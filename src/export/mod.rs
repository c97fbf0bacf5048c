//! Finished results in open formats: bytes out. It must not know paths, the session or the screen.

pub mod annotations;
pub mod engraving;
pub(crate) mod formats;
pub mod handout;
pub mod midi;
pub mod musicxml;
pub mod picture;
mod pulses;

pub(crate) use pulses::left_out;

use crate::analysis::Report;
use crate::rhythm::Groove;

/// What is exported.
#[derive(Debug, Clone)]
pub struct ExportInput<'a> {
    /// The groove.
    pub groove: &'a Groove,
    /// Its analysis at full speed.
    pub report: &'a Report,
    /// Hearings whose pulses are exported too: indices into the report's.
    pub hearings: Vec<usize>,
    /// The only section to export, from 0; `None` exports all.
    pub section: Option<usize>,
}
