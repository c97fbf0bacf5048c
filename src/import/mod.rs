//! Grooves made from what others wrote: bytes in. It must not know paths, the session or the screen.
//!
//! Each import reader makes a draft (bars, and notes at exact times); one assembly turns drafts into grooves. Times that were rounded or
//! played are first moved to the grids they mean; after that everything is exact, and every change is reported.

mod assemble;
mod draft;
pub(crate) mod formats;
mod import_result;
pub mod midi;
pub mod musicxml;

pub(crate) use draft::{DraftBar, DraftTrack, ImportDraft};
pub(crate) use import_result::{ImportWarning, Imported};
