//! Decodes a sound file into one channel at a wanted rate, with bounded memory.

use super::{fold, level};
use crate::rhythm::expected;
use crate::sound::SampleRate;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler};
use std::fmt;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::codecs::audio::well_known::CODEC_ID_AAC;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

/// Longest sound, in seconds.
pub(crate) const MAX_SECONDS: u32 = 30;
/// Most bytes read of a file: more than the longest sound has in eight channels of 32 bits at 192000 Hz.
const MAX_READ: u64 = 256 << 20;
/// Damaged packets after which decoding stops.
const MAX_DAMAGED: usize = 1000;
/// Sample rates of a file.
const RATES: std::ops::RangeInclusive<u32> = 1_000..=768_000;
/// Frames that an AAC encoder inserts before the sound if the file does not say how many, and the most it may say.
const DEFAULT_PRIMING: u32 = 1024;
const MAX_PRIMING: u32 = 1 << 14;
/// Bytes at either end of a file that are searched for its edit list.
const SEARCHED_BYTES: u64 = 1 << 20;
/// The supported formats.
const FORMATS: &str = "a WAV, AIFF, FLAC, Ogg Vorbis, MP3 or M4A file";

/// A decoded sound in one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct DecodedSound {
    /// Samples at the wanted rate, at most 1 in magnitude; never empty, never all zero.
    pub samples: Vec<f32>,
    /// Damage, truncation, channels that cancel each other: one sentence each.
    pub warnings: Vec<String>,
}

/// Why a sound cannot be used: what is expected, and what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DecodeError(String);

impl DecodeError {
    pub(crate) fn new(wanted: impl fmt::Display, found: impl fmt::Display) -> Self {
        Self(expected(wanted, found))
    }

    pub(crate) fn unreadable(reason: &str) -> Self {
        Self(format!("cannot read the file: {reason}"))
    }
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for DecodeError {}

/// Decodes a sound of at most [`MAX_SECONDS`] seconds: all channels mixed to one (see `fold`), resampled to `rate`, at the level
/// of the voices (see `level`). `extension` is that of the file, as a hint.
///
/// At most 256 MiB are read and no more than the longest sound is kept, whatever the file claims.
///
/// # Errors
/// [`DecodeError`] for an empty or silent file, an unknown format, damage at the start, a sound that is too long, and samples
/// that are not finite.
pub fn decode(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    rate: SampleRate,
) -> Result<DecodedSound, DecodeError> {
    // The input is untrusted; a panic in a decoder must not end the program.
    catch_unwind(AssertUnwindSafe(|| decode_untrusted(source, extension, rate)))
        .unwrap_or_else(|_| Err(DecodeError::new(FORMATS, "a damaged file")))
}

fn decode_untrusted(
    mut source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    rate: SampleRate,
) -> Result<DecodedSound, DecodeError> {
    let unreadable = |e: io::Error| DecodeError::unreadable(&e.to_string());
    let length = source.seek(SeekFrom::End(0)).map_err(unreadable)?;
    source.rewind().map_err(unreadable)?;
    if length == 0 {
        return Err(DecodeError::new(FORMATS, "an empty file"));
    }
    let priming = edit_start(&mut source, length).map_err(unreadable)?.unwrap_or(DEFAULT_PRIMING);
    let mut hint = Hint::new();
    if let Some(extension) = extension {
        hint.with_extension(extension);
    }
    let source = Box::new(BoundedSource { source, left: MAX_READ, length });
    let stream = MediaSourceStream::new(source, MediaSourceStreamOptions::default());
    let format = symphonia::default::get_probe()
        .probe(&hint, stream, FormatOptions::default(), MetadataOptions::default())
        .map_err(|e| match e {
            Error::Unsupported(what) => DecodeError::new(FORMATS, format!("a file in an unknown format ({what})")),
            e => DecodeError::new(FORMATS, format!("a damaged file or an unknown format ({e})")),
        })?;
    let RawSamples { mut samples, first_channel, rate: file_rate, mut warnings, non_finite } =
        read_samples(format, priming)?;
    if non_finite > 0 {
        return Err(DecodeError::new("finite samples", format!("{non_finite} NaN or infinite samples")));
    }
    if level::peak(&samples) <= 1e-4 * level::peak(&first_channel) {
        warnings.push("its channels cancel each other; only the first one plays".into());
        samples = first_channel;
    }
    if level::peak(&samples) == 0.0 {
        return Err(DecodeError::new("an audible sound", "digital silence"));
    }
    let mut samples = resample(samples, file_rate, rate)
        .ok_or_else(|| DecodeError::new("a sample rate that can be converted", format!("{file_rate} Hz")))?;
    level::normalize(&mut samples, rate);
    if level::peak(&samples) == 0.0 {
        return Err(DecodeError::new("an audible sound", "a sound too quiet to tell from silence"));
    }
    Ok(DecodedSound { samples, warnings })
}

/// The samples of a file.
#[derive(Default)]
struct RawSamples {
    /// All channels mixed to one.
    samples: Vec<f32>,
    first_channel: Vec<f32>,
    /// 0 until the first packet.
    rate: u32,
    warnings: Vec<String>,
    /// Number of samples that are not finite.
    non_finite: usize,
}

fn read_samples(mut format: Box<dyn FormatReader + '_>, priming: u32) -> Result<RawSamples, DecodeError> {
    let no_sound = || DecodeError::new(FORMATS, "a file without an audio track");
    let track = format.default_track(TrackType::Audio).ok_or_else(no_sound)?;
    let (id, declared) = (track.id, track.num_frames);
    let params = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or_else(no_sound)?;
    // The reader of the container keeps what an AAC encoder inserted before the sound.
    let priming = if params.codec == CODEC_ID_AAC { priming as usize } else { 0 };
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map_err(|e| DecodeError::new(FORMATS, format!("an unknown codec ({e})")))?;
    let mut raw = RawSamples::default();
    let (mut damaged, mut complete) = (0, true);
    let (mut weights, mut layout) = (Vec::new(), Channels::None);
    let mut block: Vec<f32> = Vec::new();
    while damaged < MAX_DAMAGED {
        let packet = match format.next_packet() {
            Ok(Some(packet)) if packet.track_id != id => continue,
            Ok(None) => break,
            Ok(Some(packet)) => Ok(packet),
            Err(error) => Err(error),
        };
        let decoded = packet.and_then(|packet| {
            let damage = |e| if let Error::IoError(_) = e { Error::DecodeError("incomplete packet") } else { e };
            decoder.decode(&packet).map_err(damage)
        });
        let buffer = match decoded {
            Ok(buffer) if buffer.frames() == 0 => continue,
            Ok(buffer) => buffer,
            Err(Error::DecodeError(_)) => {
                damaged += 1;
                continue;
            }
            Err(_) => {
                complete = false;
                break;
            }
        };
        let spec = buffer.spec();
        if raw.rate == 0 {
            raw.rate = spec.rate();
            if !RATES.contains(&raw.rate) {
                let wanted = format!("{} to {} Hz", RATES.start(), RATES.end());
                return Err(DecodeError::new(wanted, format!("{} Hz", raw.rate)));
            }
        }
        if spec.rate() != raw.rate {
            raw.warnings.push("the sample rate changes within the file; the rest is ignored".into());
            break;
        }
        if *spec.channels() != layout {
            layout = spec.channels().clone();
            weights = fold::mono(&layout);
        }
        buffer.copy_to_vec_interleaved(&mut block);
        raw.non_finite += block.iter().filter(|x| !x.is_finite()).count();
        for frame in block.chunks_exact(weights.len().max(1)) {
            raw.samples.push(frame.iter().zip(&weights).map(|(x, w)| x * w).sum());
            raw.first_channel.push(frame[0]);
        }
        if raw.samples.len() > MAX_SECONDS as usize * raw.rate as usize + priming {
            return Err(too_long(declared, raw.rate));
        }
    }
    if raw.samples.is_empty() {
        let intact = damaged == 0 && complete;
        let found = if intact { "a file without audio samples" } else { "a damaged file that cannot be decoded" };
        return Err(DecodeError::new(FORMATS, found));
    }
    if damaged > 0 {
        raw.warnings.push(format!("it is damaged: {damaged} parts are missing"));
    }
    // Programs that do not know the length yet write one with all bits set.
    let length = raw.samples.len() as u64;
    if let Some(declared) = declared.filter(|frames| *frames < 1 << 28 && *frames > length + 4096) {
        let seconds = |frames: u64| frames as f64 / f64::from(raw.rate);
        let (present, whole) = (seconds(length), seconds(declared));
        raw.warnings.push(format!("it is truncated: {present:.2} s of {whole:.2} s are present"));
    } else if !complete {
        raw.warnings.push("it is damaged: the rest is missing".into());
    }
    let priming = priming.min(raw.samples.len() - 1);
    raw.samples.drain(..priming);
    raw.first_channel.drain(..priming);
    Ok(raw)
}

/// The frame at which the sound of an MPEG-4 file begins: the media time of the first edit that is not empty (ISO/IEC 14496-12,
/// edit list box `elst`) near either end of the file; audio counts it in frames.
fn edit_start(source: &mut (impl Read + Seek), length: u64) -> io::Result<Option<u32>> {
    let mut found = None;
    for from in [0, length.saturating_sub(SEARCHED_BYTES)] {
        source.seek(SeekFrom::Start(from))?;
        let mut bytes = Vec::new();
        source.by_ref().take(SEARCHED_BYTES).read_to_end(&mut bytes)?;
        if from == 0 && bytes.get(4..8) != Some(b"ftyp") {
            break;
        }
        found = bytes.windows(4).position(|w| w == b"elst").and_then(|at| first_edit(&bytes[at + 4..]));
        if found.is_some() {
            break;
        }
    }
    source.rewind()?;
    Ok(found)
}

/// The media time of the first edit that is not empty, from the list's content after its name.
fn first_edit(list: &[u8]) -> Option<u32> {
    let word = |at: usize| Some(u32::from_be_bytes(list.get(at..at + 4)?.try_into().ok()?));
    // The 64-bit form is not used for sounds of seconds.
    let (version, count) = (list.first()?, word(4)?);
    let times = (0..count.min(4) as usize).filter_map(|k| word(8 + 12 * k + 4));
    times.filter(|_| *version == 0).find(|t| *t != u32::MAX).filter(|t| *t <= MAX_PRIMING)
}

fn too_long(declared: Option<u64>, rate: u32) -> DecodeError {
    let seconds = declared.map_or(0, |frames| frames / u64::from(rate));
    let found = match seconds {
        s if s <= u64::from(MAX_SECONDS) || s > 1_000_000 => format!("a sound longer than {MAX_SECONDS} s"),
        s if s < 120 => format!("a sound of {s} s"),
        s if s < 7200 => format!("a sound of {} min", s / 60),
        s => format!("a sound of {} h {} min", s / 3600, s / 60 % 60),
    };
    DecodeError::new(format!("at most {MAX_SECONDS} s"), found)
}

fn resample(samples: Vec<f32>, from: u32, to: SampleRate) -> Option<Vec<f32>> {
    if from == to.hertz() {
        return Some(samples);
    }
    let mut resampler = Fft::<f32>::new(from as usize, to.hertz() as usize, 1024, 1, FixedSync::Both).ok()?;
    let frames = samples.len();
    let input = InterleavedSlice::new(&samples, 1, frames).ok()?;
    Some(resampler.process_all(&input, frames, None).ok()?.take_data())
}

/// A source that fails when more is read than any supported sound has.
struct BoundedSource<R> {
    source: R,
    left: u64,
    length: u64,
}

impl<R: Read> Read for BoundedSource<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let max = into.len().min(usize::try_from(self.left).unwrap_or(usize::MAX));
        if max == 0 && !into.is_empty() {
            return Err(io::Error::other("the file is too large"));
        }
        let read = self.source.read(&mut into[..max])?;
        self.left -= read as u64;
        Ok(read)
    }
}

impl<R: Seek> Seek for BoundedSource<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.source.seek(to)
    }
}

impl<R: Read + Seek + Send + Sync> MediaSource for BoundedSource<R> {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}
