//! Decodes sound files into samples. It must not know paths, the session, the screen or the store.

mod decode;
mod fold;
mod level;
#[cfg(test)]
mod tests;

pub use decode::{DecodeError, DecodedSound, decode};
