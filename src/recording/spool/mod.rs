//! Decodes a recording of any length into a sink, in order and with little memory.
//!
//! Frames keep the rate of the file. One channel stays one, two stay two, more are folded down to two. What an encoder inserted
//! before and after the sound is removed, so frame 0 is the first frame that was recorded.

mod codec;
mod counted;
mod decode;
mod error;
mod matroska;
mod mpeg4;
#[cfg(test)]
mod tests;

pub use decode::spool;
pub use error::SpoolError;

use crate::recording::envelope::Envelope;
use std::io;
use std::ops::ControlFlow;

/// Greatest length of a recording, in seconds.
pub const MAX_SECONDS: u64 = 3 * 3600;

/// What decoded frames are written to.
pub trait Sink {
    /// Called once before the first frames.
    ///
    /// # Errors
    /// Whatever prevents writing.
    fn start(&mut self, layout: Layout) -> io::Result<()>;

    /// Appends interleaved frames.
    ///
    /// # Errors
    /// Whatever prevents writing.
    fn write(&mut self, frames: &[f32]) -> io::Result<()>;
}

/// Told the share of the work that is done, from 0 to 1; `Break` cancels the rest.
pub(super) type Progress<'a> = &'a mut dyn FnMut(f64) -> ControlFlow<()>;

/// How frames are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// Frames per second.
    pub rate: u32,
    /// 1 or 2.
    pub channels: usize,
}

/// A recording that was decoded.
#[derive(Debug, Clone)]
pub struct Spooled {
    /// How its frames are laid out.
    pub layout: Layout,
    /// Number of frames.
    pub frames: u64,
    /// Its level over time.
    pub envelope: Envelope,
    /// Damage and truncation, one sentence each.
    pub warnings: Vec<String>,
}
