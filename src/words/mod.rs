//! What is said of a groove in words that the screen, the command line and the handouts share. It must not know where the words
//! are shown.

mod explain;
pub mod ladder;
pub mod notes;
pub mod plain;
mod report;
pub mod streams;
pub mod tap;

pub use explain::{explain, turns};
pub use report::{
    built, cut, is_told, kind, lands, measure, meets, no_hearing, pair, parts, place, silence, stream, stretch,
    stretch_place, tempos, told_streams, trimmed, written,
};
