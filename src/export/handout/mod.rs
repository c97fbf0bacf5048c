//! A page that explains a groove to students: one HTML page, a PDF, or Markdown with files. The caller renders the takes.

mod content;
mod figure;
mod html;
mod markdown;
mod name;
mod pdf;
mod player;
mod practice;
mod student;
mod terms;
#[cfg(test)]
mod tests;

pub use html::html;
pub(crate) use markdown::Markdown;
pub use markdown::markdown;
pub(crate) use name::stem;
pub use pdf::{Paper, pdf};

use super::ExportInput;
use crate::analysis::Limits;
use crate::describe::notes::NotationOptions;
use crate::rhythm::Fraction;
use figure::Layout;

/// The input of a handout.
#[derive(Debug, Clone)]
pub struct Handout<'a> {
    /// The groove, its report, and the hearings whose pulses are drawn.
    pub piece: ExportInput<'a>,
    /// The limits of the report.
    pub limits: Limits,
    /// The steps of the ladder, ascending, as fractions of the written tempo.
    pub ladder: Vec<Fraction>,
    /// Layout of the notation.
    pub notation: NotationOptions,
    /// The takes to listen to.
    pub takes: Vec<Take>,
    /// Prefix of the names of the files next to the page.
    pub stem: String,
}

/// The default ladder: from half the tempo up, in percent.
const LADDER_PERCENT: std::ops::RangeInclusive<i64> = 50..=100;
const LADDER_STEP_PERCENT: usize = 10;

impl<'a> Handout<'a> {
    /// A handout without takes, with the default ladder.
    pub(crate) fn without_takes(piece: ExportInput<'a>, limits: Limits, notation: NotationOptions) -> Self {
        let steps = LADDER_PERCENT.step_by(LADDER_STEP_PERCENT);
        let ladder = steps.filter_map(|percent| Fraction::new(percent, 100)).collect();
        Self { piece, limits, ladder, notation, takes: Vec::new(), stem: "groove".into() }
    }
}

/// A rendered take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// Its title.
    pub name: String,
    /// Its sound.
    pub sound: Sound,
}

impl Take {
    /// Its title, and the name of its file.
    fn label(&self) -> String {
        match &self.sound {
            Sound::Embedded(_) => self.name.clone(),
            Sound::File(file) => format!("{} ({file})", self.name),
        }
    }
}

/// Whom a page is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reader {
    /// One sheet to play from, with a player in the HTML page.
    Student,
    /// Everything that is known about the groove.
    Teacher,
}

/// The blocks of a page, with each picture in these layouts.
fn blocks<'a>(handout: &'a Handout<'_>, reader: Reader, layouts: &[Layout]) -> Vec<content::Block<'a>> {
    match reader {
        Reader::Student => student::blocks(handout, layouts),
        Reader::Teacher => content::blocks(handout, layouts),
    }
}

/// The sound of a take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sound {
    /// The bytes of a WAV file, embedded in the page.
    Embedded(Vec<u8>),
    /// The name of a file next to the page.
    File(String),
}

/// The line near the start of every handout that identifies it.
const MARKER: &str = "<!-- a handout made by teeter -->";
