//! What a groove is: exact time, meter, layers, cells, groups, and edits as pure functions. It must not know seconds,
//! audio frames, files, serde, keys, colours or clocks.

pub mod bounds;
mod cell;
mod divide;
mod edit;
mod groove;
pub mod line;
mod meter;
mod part;
pub mod picture;
#[cfg(test)]
mod tests;
mod time;
mod voice;

pub use cell::{Accent, Attack, Cell, Pitch, Swing};
pub use edit::{Clip, Edit, Region};
pub use groove::{Event, Groove, Layer, Place, Refusal, Section};
pub use meter::{Meter, MeterError, MeterKind, Tempo, parse_note_value, print_note_value};
pub use part::{Frame, Part, Sound, Span, Spot, written_start};
pub use time::{Fraction, Time};
pub use voice::Voice;
