//! From audio that others made to samples: bytes in, samples out. It must not know paths, the session, the screen or the store.
//!
//! Decoding streams: it keeps at most 30 s and reads at most 256 MiB, whatever a file claims.

mod decode;
mod fold;
mod level;
#[cfg(test)]
mod tests;

pub(crate) use decode::{DecodeError, DecodedSound, decode};
