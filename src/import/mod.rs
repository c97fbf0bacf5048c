//! Grooves from files of other programs: bytes in. It must not know paths, the session or the screen.
//!
//! A reader of each format makes a draft (bars, and notes at exact times), and `assemble` turns drafts into grooves. Rounded or
//! played times are first moved to the grids they mean; from there on everything is exact, and every change is a warning.

mod assemble;
mod draft;
pub(crate) mod formats;
mod import_result;
pub mod midi;
pub mod musicxml;

pub(crate) use draft::{DraftBar, DraftTrack, ImportDraft};
pub(crate) use import_result::Imported;
use import_result::Warnings;

use crate::notation::FormatError;

/// The error for times whose exact sums would overflow.
fn too_fine_error(place: impl Into<String>) -> FormatError {
    FormatError::new(place, "note lengths are too fine to represent exactly; quantize them to a coarser grid")
}
