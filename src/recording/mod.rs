//! From audio to samples and times: decodes sound files, plays long ones from what was decoded, finds onsets, and lays grooves over
//! recordings. It must not know paths, the session, the screen or the store.

mod decode;
pub mod detect;
mod envelope;
pub mod fit;
mod fold;
pub mod grid;
mod level;
pub mod onsets;
mod packed;
pub mod score;
mod spool;
mod spool_file;
mod stretch;
#[cfg(test)]
mod tests;

pub use decode::{DecodeError, DecodedSound, decode};
pub use envelope::{Envelope, Level};
pub use spool::{Layout, MAX_SECONDS, Sink, SpoolError, Spooled, spool};
pub use spool_file::SpoolFile;
