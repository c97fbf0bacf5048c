//! From audio that others made to samples: bytes in, samples out. It must not know paths, the session, the screen or the store.

mod decode;
mod fold;
mod level;
#[cfg(test)]
mod tests;

pub use decode::{DecodeError, Decoded, MAX_SECONDS, decode};
