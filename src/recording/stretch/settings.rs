//! What to play of a recording, and how.

use super::Frames;
use std::fmt;
use std::io;
use std::ops::{Range, RangeInclusive};

/// How fast a recording plays, of which channels, how high, and which part of its spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Settings {
    /// Seconds of the source per second of the output.
    pub(crate) speed: f64,
    /// Transposition.
    pub(crate) semitones: f64,
    /// Channels that sound.
    pub(crate) voice: Voice,
    /// Frequencies that sound; all if `None`.
    pub(crate) band: Option<Band>,
    /// Frames per second of the output; those of the source if `None`.
    pub(crate) rate: Option<u32>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { speed: 1.0, semitones: 0.0, voice: Voice::All, band: None, rate: None }
    }
}

impl Settings {
    /// Supported speeds.
    pub(crate) const SPEEDS: RangeInclusive<f64> = 0.2..=2.0;
    /// Supported transpositions: two octaves in either direction.
    pub(crate) const SEMITONES: RangeInclusive<f64> = -24.0..=24.0;

    pub(super) fn output_rate(&self, source: u32) -> f64 {
        f64::from(self.rate.unwrap_or(source))
    }

    /// Frames of the source per prepared frame: the factor by which frequencies rise and the rate falls.
    pub(super) fn pitch(&self, source: u32) -> f64 {
        (self.semitones / 12.0).exp2() * f64::from(source) / self.output_rate(source)
    }

    /// Frames of the source per frame of the output.
    pub(super) fn step(&self, source: u32) -> f64 {
        self.speed * f64::from(source) / self.output_rate(source)
    }

    pub(super) fn check(&self, source: &dyn Frames, region: &Range<u64>) -> Result<(), StretchError> {
        if !Self::SPEEDS.contains(&self.speed) {
            return Err(StretchError::Speed(self.speed));
        }
        if !Self::SEMITONES.contains(&self.semitones) {
            return Err(StretchError::Semitones(self.semitones));
        }
        if region.start >= region.end || region.end > source.len() {
            return Err(StretchError::Region { start: region.start, end: region.end, frames: source.len() });
        }
        match self.band {
            Some(Band { low, high }) if !(low >= 1.0 && low < high) => Err(StretchError::Band(low, high)),
            _ => Ok(()),
        }
    }
}

/// A band of frequencies, with slopes of 12 dB per octave beyond its edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Band {
    /// Lower edge in Hz.
    pub(crate) low: f64,
    /// Upper edge in Hz.
    pub(crate) high: f64,
}

/// The channels that sound. All but `All` give one channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Voice {
    /// All channels of the source.
    #[default]
    All,
    /// The left channel.
    Left,
    /// The right channel.
    Right,
    /// Half the sum of both channels.
    Middle,
    /// Half the difference of both channels: what lies in the middle is silent.
    Side,
}

impl Voice {
    pub(super) fn channels(self, source: usize) -> usize {
        if self == Self::All { source } else { 1 }
    }

    /// Appends the channels that sound to `into`. One channel is left, right and middle at once.
    pub(super) fn mix(self, frames: &[f32], channels: usize, into: &mut Vec<f32>) {
        let pairs = frames.chunks_exact(channels).map(|frame| (frame[0], frame[channels - 1]));
        match self {
            Self::All => into.extend_from_slice(frames),
            Self::Left => into.extend(pairs.map(|(left, _)| left)),
            Self::Right => into.extend(pairs.map(|(_, right)| right)),
            Self::Middle => into.extend(pairs.map(|(left, right)| f32::midpoint(left, right))),
            Self::Side => into.extend(pairs.map(|(left, right)| 0.5 * (left - right))),
        }
    }
}

/// Why a recording cannot be played as wanted.
#[derive(Debug)]
#[non_exhaustive]
pub(crate) enum StretchError {
    /// The speed is out of range.
    Speed(f64),
    /// The transposition is out of range.
    Semitones(f64),
    /// The region is empty or exceeds the source.
    Region {
        /// First frame.
        start: u64,
        /// Frame after the last one.
        end: u64,
        /// Frames of the source.
        frames: u64,
    },
    /// The edges of the band are no range of frequencies.
    Band(f64, f64),
    /// The resampler refused the transposition.
    Transposition,
    /// The source cannot be read.
    Source(io::Error),
}

impl fmt::Display for StretchError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Speed(speed) => write!(f, "expected a speed from 20 to 200 %, found {:.0} %", 100.0 * speed),
            Self::Semitones(n) => write!(f, "expected a transposition from -24 to 24 semitones, found {n}"),
            Self::Region { start, end, frames } => {
                write!(f, "expected a region within {frames} frames, found {start} to {end}")
            }
            Self::Band(low, high) => write!(f, "expected a band from 1 Hz up, found {low} to {high} Hz"),
            Self::Transposition => f.write_str("cannot transpose at this sample rate"),
            Self::Source(error) => write!(f, "cannot read the recording: {error}"),
        }
    }
}

impl std::error::Error for StretchError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        if let Self::Source(error) = self { Some(error) } else { None }
    }
}
