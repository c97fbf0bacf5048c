//! Grooves made from what others wrote: bytes in. It must not know paths, the session or the screen.

mod assemble;
mod draft;
pub mod formats;
mod import_result;
pub mod midi;
pub mod musicxml;

pub use draft::{DraftBar, DraftTrack, ImportDraft};
pub use import_result::{ImportWarning, Imported};
