//! From audio to samples and times: decodes sound files and recordings, finds onsets, and lays grooves over them. It must not know paths, the session, the
//! screen or the store.

mod decode;
pub mod detect;
pub mod envelope;
pub mod fit;
mod fold;
mod level;
pub mod onsets;
mod packed;
pub mod score;
pub mod spool;
#[cfg(test)]
mod tests;

pub use decode::{DecodeError, DecodedSound, decode};
