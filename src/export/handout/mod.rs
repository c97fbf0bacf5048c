//! A groove explained on a page for students: one HTML page, or Markdown with files. It does not render audio: the caller provides
//! the takes.

mod content;
mod html;
mod markdown;
mod name;
mod practice;
mod terms;
#[cfg(test)]
mod tests;

pub use html::html;
pub(crate) use markdown::Markdown;
pub use markdown::markdown;
pub(crate) use name::stem;

use super::ExportInput;
use crate::analysis::Limits;
use crate::export::annotations::NotationOptions;
use crate::rhythm::Fraction;

/// What a handout is made from.
#[derive(Debug, Clone)]
pub struct Handout<'a> {
    /// The groove, what is said of it, and the hearings whose pulses are drawn.
    pub piece: ExportInput<'a>,
    /// The limits the report was made with.
    pub limits: Limits,
    /// The steps of the ladder, rising, as parts of the written tempo.
    pub ladder: Vec<Fraction>,
    /// How its notation is written.
    pub writing: NotationOptions,
    /// The takes that can be heard.
    pub takes: Vec<Take>,
    /// Begins the names of files beside it, as [`stem`] makes it.
    pub stem: String,
}

/// A take that can be heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// What it is called.
    pub name: String,
    /// Where its sound is.
    pub sound: Sound,
}

/// Where a take's sound is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sound {
    /// A WAV file that goes into the page itself.
    Within(Vec<u8>),
    /// A file of this name beside the page.
    Beside(String),
}

/// A line that every handout has near its start, so that it can be told from other files.
pub const SIGN: &str = "<!-- a handout made by teeter -->";
