//! What is said of a groove in words that the screen, the command line and the handouts share. It must not know where the words
//! are shown.

mod explain;
pub mod ladder;
mod measure;
pub mod notes;
pub mod plain;
mod reason;
mod report;
pub mod streams;
pub mod tap;

pub use explain::{explain, turns};
pub use measure::measure;
pub use reason::{counts, source};
pub use report::{
    bars, built, cut, is_told, kind, lands, meets, no_hearing, pair, parts, place, silence, sounds, stream, stretch,
    stretch_place, tempos, told_streams, trimmed, written,
};
