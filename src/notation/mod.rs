//! Spells a groove as notation: bars of notes and rests with values, dots, ties, tuplets and beams. It must not know file formats or
//! the layout of a page.
//!
//! The spelling is exact: the value, dots and tuplet of a note give its exact length without swing, the pieces of one sound are tied,
//! and every bar is filled. Cycles are written out. The shortest value is 1/1024.
//!
//! The rules, in order:
//! 1. A span of cells whose changes fall on powers of two needs no tuplet. Others are reduced to the fewest cells that hold their
//!    changes (`x.x.x.` in six is a triplet), and divided into equal tuplets by beat if no sound crosses from one to the next.
//! 2. A note shows the strong beats it crosses: it is one value if it begins or ends with a part of the bar, or lies evenly across its
//!    middle. In an additive meter every term has a head; in a compound one a note consists of whole beats or lies within one.
//! 3. Rests fill parts of the bar and never hide a beat.
//! 4. Beams join the notes of one beat, or of one group of the meter's terms if the beat is shorter than a quarter; [`Beaming`] adds
//!    breaks and joins. The beam of a group that has its own extends over its rests.

mod beam;
mod cut;
mod error;
pub(crate) mod general_midi;
mod kit;
mod names;
mod passes;
mod pitch;
mod score;
mod spell;
mod swing;
pub(crate) mod teeter_meta;
#[cfg(test)]
pub(crate) mod tests;
mod tree;
mod value;

pub use crate::describe::notes::{Beaming, NoteLengths, Spelling};
pub(crate) use beam::Beam;
pub(crate) use error::{FormatError, count_were};
pub(crate) use kit::{Kit, KitVoice, Stroke, step as kit_step};
pub(crate) use passes::{Pass, TimedNote, passes, timed_notes};
pub(crate) use pitch::{Accidental, Clef, SpelledPitch};
pub use score::Score;
pub(crate) use score::{Bar, HeadShape, Note, NoteSound, Staff, StaffKind, Tuplet, section_range};
pub(crate) use swing::SwungValue;
pub(crate) use value::NoteValue;
