//! What a groove is: exact time, meter, layers, cells, groups, and edits as pure functions. It must not know seconds,
//! audio frames, files, serde, keys, colours or clocks.

mod anchor_map;
mod apply;
mod arrange;
mod bars;
pub mod bounds;
mod cell;
pub mod cell_notation;
mod clip;
mod divide;
mod edit;
mod edit_error;
mod groove;
pub mod group_line;
mod meter;
mod part;
#[cfg(test)]
pub(crate) mod random;
mod recording;
#[cfg(test)]
pub(crate) mod tests;
mod text;
mod time;
mod voice;

pub use anchor_map::AnchorMap;
pub(crate) use cell::semitones;
pub use cell::{Accent, Attack, Cell, Pitch, Swing};
pub(crate) use cell::{FLAM_DB, FLAM_LEAD_MS};
pub(crate) use clip::Clip;
pub use edit::Edit;
pub(crate) use edit::{LengthScale, Region};
pub(crate) use edit_error::EditError;
pub(crate) use groove::Event;
pub use groove::{Groove, Layer, Place, Section};
pub(crate) use meter::{LOWER_FORM, METER_FORM};
pub use meter::{Meter, MeterKind, Tempo};
pub(crate) use meter::{MeterError, parse_note_value, print_note_value};
pub use part::{Part, PartContext, Span};
pub(crate) use part::{SoundedAttack, Spot, written_start};
pub use recording::{Anchor, GridPlace, Micros, Recording};
pub(crate) use text::{NotationError, count, expected, is_hidden};
pub use time::{Fraction, Time};
pub use voice::{ClickSound, Voice};
