//! Why a recording cannot be decoded.

use super::MAX_SECONDS;
use std::{fmt, io};

/// The supported files, as they are named in messages.
const FORMATS: &str = "a recording in WAV, AIFF, CAF, FLAC, Ogg, MP3, AAC, MPEG-4, QuickTime or Matroska";

/// Why a recording cannot be decoded.
#[derive(Debug)]
#[non_exhaustive]
pub enum SpoolError {
    /// The file has no bytes.
    Empty,
    /// The format is unknown or the beginning of the file is damaged.
    UnknownFormat,
    /// There is no audio track.
    NoAudio,
    /// The audio track is encrypted.
    Encrypted,
    /// The codec is not supported; its name, if it is known.
    Codec(Option<String>),
    /// No frame could be decoded; the number of damaged parts.
    Damaged(usize),
    /// The audio track has no frames.
    NoFrames,
    /// The sample rate is out of range.
    Rate(u32),
    /// The recording exceeds [`MAX_SECONDS`].
    TooLong,
    /// The caller cancelled.
    Cancelled,
    /// The file cannot be read.
    Read(io::Error),
    /// The sink cannot be written.
    Write(io::Error),
}

impl fmt::Display for SpoolError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let found = match self {
            Self::Empty => "an empty file".into(),
            Self::UnknownFormat => "an unknown format or a damaged file".into(),
            Self::NoAudio => "a file without an audio track".into(),
            Self::Encrypted => "an encrypted file".into(),
            Self::Codec(Some(name)) => format!("the codec {name}, which cannot be decoded"),
            Self::Codec(None) => "an unknown codec".into(),
            Self::Damaged(_) => "a damaged file in which nothing can be decoded".into(),
            Self::NoFrames => "an audio track without samples".into(),
            Self::Rate(rate) => return write!(f, "expected a sample rate from 1000 to 768000 Hz, found {rate} Hz"),
            Self::TooLong => {
                return write!(f, "expected a recording of at most {} hours, found a longer one", MAX_SECONDS / 3600);
            }
            Self::Cancelled => return f.write_str("cancelled"),
            Self::Read(error) => return write!(f, "cannot read the recording: {error}"),
            Self::Write(error) => return write!(f, "cannot write the decoded recording: {error}"),
        };
        write!(f, "expected {FORMATS}, found {found}")
    }
}

impl std::error::Error for SpoolError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read(error) | Self::Write(error) => Some(error),
            _ => None,
        }
    }
}
