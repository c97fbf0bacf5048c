//! Finished results in open formats, and grooves made from what others wrote: bytes in, bytes out. It must not know paths,
//! the session or the screen.

mod assemble;
mod draft;
mod finding;
pub mod formats;
pub mod handout;
pub mod midi;
pub mod musicxml;
pub mod notation;
pub mod picture;
mod pulses;
pub mod score;
pub mod writing;

pub use assemble::{Rounding, assemble, fit};
pub use draft::{Draft, DraftBar, DraftNote, DraftTrack, Through, bars, notes, throughs};
pub use finding::{Imported, Refused, Remark};
pub use pulses::left_out;

use crate::analysis::Report;
use crate::rhythm::Groove;

/// Something to be put into another format.
#[derive(Debug, Clone)]
pub struct Piece<'a> {
    /// The groove.
    pub groove: &'a Groove,
    /// What is said of it at full speed.
    pub report: &'a Report,
    /// Hearings whose pulses are wanted too: indices into the report's.
    pub hearings: Vec<usize>,
    /// Only this section, from 0; all of them otherwise.
    pub section: Option<usize>,
}
