//! Decodes sound files into samples, and plays long ones from what was decoded. It must not know paths, the session, the screen
//! or the store.

mod decode;
mod envelope;
mod fold;
mod level;
mod spool;
mod spool_file;
mod stretch;
#[cfg(test)]
mod tests;

pub use decode::{DecodeError, DecodedSound, decode};
pub use envelope::{Envelope, Level};
pub use spool::{Layout, MAX_SECONDS, Sink, SpoolError, Spooled, spool};
pub use spool_file::SpoolFile;
