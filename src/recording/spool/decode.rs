//! Reads the packets of a file and writes their frames.

use super::counted::Counted;
use super::mpeg4::AudioTrack;
use super::{Layout, MAX_SECONDS, Progress, Sink, SpoolError, Spooled, codec, matroska, mpeg4};
use crate::recording::envelope::Envelope;
use crate::recording::fold;
use std::io::{Read, Seek, SeekFrom};
use std::ops::{ControlFlow, RangeInclusive};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::well_known::{CODEC_ID_AAC, CODEC_ID_MP1, CODEC_ID_MP2, CODEC_ID_MP3};
use symphonia::core::codecs::audio::{AudioCodecId, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, Track, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

/// Sample rates of a file.
const RATES: RangeInclusive<u32> = 1_000..=768_000;
/// Damaged packets after which decoding stops.
const MAX_DAMAGED: usize = 10_000;
/// Frames before the sound if the file does not say how many: what the common encoders insert, for MP3 with what a decoder adds.
const AAC_PRIMING: u64 = 1024;
const MP3_PRIMING: u64 = 576 + 529;
/// The delay of the filter banks of MPEG-1 layers I and II (ISO/IEC 11172-3) is part of the format.
const MP2_PRIMING: u64 = 481;
/// Most frames or ticks of priming that are believed.
const MAX_PRIMING: u64 = 1 << 16;

/// Decodes a recording. `extension` is that of the file, as a hint.
///
/// Damaged parts become silence of the same length where the file says how long they are, so what follows keeps its place.
///
/// # Errors
/// [`SpoolError`]; frames may have been written before.
pub fn spool(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    sink: &mut dyn Sink,
    progress: Progress<'_>,
) -> Result<Spooled, SpoolError> {
    // The input is untrusted; a panic in a decoder must not end the program.
    catch_unwind(AssertUnwindSafe(|| spool_untrusted(source, extension, sink, progress)))
        .unwrap_or(Err(SpoolError::Damaged(1)))
}

fn spool_untrusted(
    mut source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    sink: &mut dyn Sink,
    progress: Progress<'_>,
) -> Result<Spooled, SpoolError> {
    let length = source.seek(SeekFrom::End(0)).map_err(SpoolError::Read)?;
    source.rewind().map_err(SpoolError::Read)?;
    if length == 0 {
        return Err(SpoolError::Empty);
    }
    let mpeg4 = mpeg4::audio_track(&mut source, length).map_err(SpoolError::Read)?;
    if mpeg4.is_some_and(|track| matches!(&track.entry, b"enca" | b"drms")) {
        return Err(SpoolError::Encrypted);
    }
    let delay = matroska::codec_delay(&mut source).map_err(SpoolError::Read)?;
    let mut hint = Hint::new();
    if let Some(extension) = extension {
        hint.with_extension(extension);
    }
    let (source, position) = Counted::new(source, length);
    let stream = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
    let mut format = symphonia::default::get_probe()
        .probe(&hint, stream, FormatOptions::default(), MetadataOptions::default())
        .map_err(|error| match error {
            Error::IoError(error) if error.kind() != std::io::ErrorKind::UnexpectedEof => SpoolError::Read(error),
            _ => SpoolError::UnknownFormat,
        })?;
    let unknown = || SpoolError::Codec(mpeg4.and_then(|track| codec::name_of_sample_entry(track.entry)));
    let track = format.default_track(TrackType::Audio).ok_or_else(|| match mpeg4 {
        Some(_) => unknown(),
        None => SpoolError::NoAudio,
    })?;
    let params = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or_else(unknown)?;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map_err(|_| codec::name(params.codec).map_or_else(unknown, |name| SpoolError::Codec(Some(name))))?;
    let (id, declared) = (track.id, track.num_frames);
    let mut writer = Writer::new(sink, Priming::of(track, params.codec, mpeg4, delay), mpeg4);
    let (mut damaged, mut complete) = (0, true);
    while damaged < MAX_DAMAGED {
        let packet = match format.next_packet() {
            Ok(Some(packet)) if packet.track_id == id => packet,
            Ok(Some(_)) => continue,
            Ok(None) => break,
            Err(Error::DecodeError(_)) => {
                damaged += 1;
                continue;
            }
            Err(_) => {
                complete = false;
                break;
            }
        };
        writer.ticks += packet.dur.get();
        match decoder.decode(&packet) {
            Ok(buffer) if buffer.frames() > 0 => {
                let spec = buffer.spec();
                let (rate, channels) = (spec.rate(), spec.channels().clone());
                buffer.copy_to_vec_interleaved(&mut writer.block);
                if writer.layout.is_some_and(|layout| layout.rate != rate) {
                    writer.warnings.push("the sample rate changes within the file; the rest is ignored".into());
                    break;
                }
                writer.write(rate, &channels)?;
            }
            Ok(_) => {}
            Err(Error::DecodeError(_) | Error::IoError(_)) => {
                damaged += 1;
                writer.silence(packet.dur.get())?;
            }
            Err(_) => {
                complete = false;
                break;
            }
        }
        let share = match declared {
            Some(frames) if frames > 0 => writer.frames as f64 / frames as f64,
            _ => position.load(Ordering::Relaxed) as f64 / length as f64,
        };
        if let ControlFlow::Break(()) = progress(share.min(1.0)) {
            return Err(SpoolError::Cancelled);
        }
    }
    writer.finish(damaged, complete, declared)
}

/// What comes before the sound.
#[derive(Debug, Clone, Copy)]
enum Priming {
    /// The decoder removes it, or there is none.
    None,
    Frames(u64),
    /// Ticks at so many per second.
    Ticks(u64, u32),
    Nanoseconds(u64),
}

impl Priming {
    fn of(track: &Track, codec: AudioCodecId, mpeg4: Option<AudioTrack>, delay: Option<u64>) -> Self {
        let usual = match codec {
            CODEC_ID_AAC => Self::Frames(AAC_PRIMING),
            CODEC_ID_MP1 | CODEC_ID_MP2 => Self::Frames(MP2_PRIMING),
            CODEC_ID_MP3 if track.delay.is_none() => Self::Frames(MP3_PRIMING),
            _ => Self::None,
        };
        match (mpeg4, delay) {
            (Some(AudioTrack { start, timescale, has_edits: true, .. }), _) => Self::Ticks(start, timescale),
            (_, Some(delay)) if matches!(codec, CODEC_ID_AAC | CODEC_ID_MP3) => Self::Nanoseconds(delay),
            _ => usual,
        }
    }

    fn frames(self, rate: u32) -> u64 {
        let scale = |count: u64, per_second: u64| {
            (u128::from(count) * u128::from(rate) + u128::from(per_second) / 2) / u128::from(per_second.max(1))
        };
        let frames = match self {
            Self::None => 0,
            Self::Frames(frames) => u128::from(frames),
            Self::Ticks(ticks, timescale) => scale(ticks, u64::from(timescale)),
            Self::Nanoseconds(delay) => scale(delay, 1_000_000_000),
        };
        u64::try_from(frames).unwrap_or(u64::MAX).min(MAX_PRIMING)
    }
}

/// Folds, trims and counts frames on their way to the sink.
struct Writer<'a> {
    sink: &'a mut dyn Sink,
    priming: Priming,
    mpeg4: Option<AudioTrack>,
    layout: Option<Layout>,
    envelope: Envelope,
    /// Interleaved frames of the packet decoded last, and the same in the channels of the sink.
    block: Vec<f32>,
    folded: Vec<f32>,
    /// Frames still to be dropped.
    dropped: u64,
    frames: u64,
    /// Ticks of all packets so far.
    ticks: u64,
    non_finite: u64,
    warnings: Vec<String>,
}

impl<'a> Writer<'a> {
    fn new(sink: &'a mut dyn Sink, priming: Priming, mpeg4: Option<AudioTrack>) -> Self {
        Self {
            sink,
            priming,
            mpeg4,
            layout: None,
            envelope: Envelope::new(Layout { rate: 48_000, channels: 1 }),
            block: Vec::new(),
            folded: Vec::new(),
            dropped: 0,
            frames: 0,
            ticks: 0,
            non_finite: 0,
            warnings: Vec::new(),
        }
    }

    /// Writes `block`, which has the given channels.
    fn write(&mut self, rate: u32, channels: &Channels) -> Result<(), SpoolError> {
        let width = channels.count().max(1);
        let layout = match self.layout {
            Some(layout) => layout,
            None => self.start(Layout { rate, channels: width.min(2) })?,
        };
        for x in &mut self.block {
            if !x.is_finite() {
                *x = 0.0;
                self.non_finite += 1;
            }
        }
        self.folded.clear();
        let frames = self.block.chunks_exact(width);
        match (fold::stereo(channels), width, layout.channels) {
            (Some(weights), _, count) => self.folded.extend(frames.flat_map(|frame| {
                let sum = |side: usize| frame.iter().zip(&weights).map(|(x, w)| x * w[side]).sum::<f32>();
                [sum(0), sum(1)].into_iter().take(count)
            })),
            (None, 1, 2) => self.folded.extend(frames.flat_map(|frame| [frame[0]; 2])),
            (None, 2, 1) => self.folded.extend(frames.map(|frame| f32::midpoint(frame[0], frame[1]))),
            (None, ..) => self.folded.extend_from_slice(&self.block),
        }
        self.put()
    }

    /// Writes silence in place of a packet of so many ticks.
    fn silence(&mut self, ticks: u64) -> Result<(), SpoolError> {
        let Some(layout) = self.layout else { return Ok(()) };
        let per_second = self.mpeg4.map_or(layout.rate, |track| track.timescale.max(1));
        let frames = u128::from(ticks) * u128::from(layout.rate) / u128::from(per_second);
        self.folded.clear();
        self.folded.resize(frames.min(MAX_PRIMING.into()) as usize * layout.channels, 0.0);
        self.put()
    }

    fn start(&mut self, layout: Layout) -> Result<Layout, SpoolError> {
        if !RATES.contains(&layout.rate) {
            return Err(SpoolError::Rate(layout.rate));
        }
        self.sink.start(layout).map_err(SpoolError::Write)?;
        self.dropped = self.priming.frames(layout.rate);
        self.envelope = Envelope::new(layout);
        self.layout = Some(layout);
        Ok(layout)
    }

    /// Writes the folded frames that belong to the sound.
    fn put(&mut self) -> Result<(), SpoolError> {
        let Some(Layout { rate, channels }) = self.layout else { return Ok(()) };
        let count = (self.folded.len() / channels) as u64;
        let dropped = self.dropped.min(count);
        self.dropped -= dropped;
        let kept = (count - dropped).min(self.end(rate).saturating_sub(self.frames));
        let from = dropped as usize * channels;
        let frames = &self.folded[from..from + kept as usize * channels];
        self.frames += kept;
        if self.frames > MAX_SECONDS * u64::from(rate) {
            return Err(SpoolError::TooLong);
        }
        self.envelope.add(frames);
        if frames.is_empty() { Ok(()) } else { self.sink.write(frames).map_err(SpoolError::Write) }
    }

    /// The frame at which the packets of an MPEG-4 file end so far: the last one states less than it decodes to.
    fn end(&self, rate: u32) -> u64 {
        let Some(track) = self.mpeg4 else { return u64::MAX };
        let scale = |ticks: u64| u128::from(ticks) * u128::from(rate) / u128::from(track.timescale.max(1));
        let end = scale(self.ticks).saturating_sub(self.priming.frames(rate).into());
        let end = track.length.map_or(end, |length| end.min(scale(length)));
        u64::try_from(end).unwrap_or(u64::MAX)
    }

    fn finish(mut self, damaged: usize, complete: bool, declared: Option<u64>) -> Result<Spooled, SpoolError> {
        let Some(layout) = self.layout.filter(|_| self.frames > 0) else {
            return Err(if damaged > 0 || !complete { SpoolError::Damaged(damaged) } else { SpoolError::NoFrames });
        };
        if damaged > 0 {
            self.warnings.push(format!("it is damaged: {damaged} parts are missing"));
        }
        if self.non_finite > 0 {
            self.warnings.push(format!("it has {} samples that are not numbers; they became silence", self.non_finite));
        }
        // Programs that do not know the length yet write one with all bits set.
        let plausible = 1..=MAX_SECONDS * u64::from(layout.rate);
        let slack = u64::from(layout.rate) / 10;
        // An MPEG-4 file counts what comes before the sound.
        let declared = declared.map(|d| d.saturating_sub(self.mpeg4.map_or(0, |_| self.priming.frames(layout.rate))));
        match declared {
            Some(declared) if plausible.contains(&declared) && declared > self.frames + slack => {
                let seconds = |frames: u64| frames as f64 / f64::from(layout.rate);
                let (present, whole) = (seconds(self.frames), seconds(declared));
                self.warnings.push(format!("it is truncated: {present:.2} s of {whole:.2} s are present"));
            }
            // Such a file ends where that program stopped.
            Some(declared) if declared > *plausible.end() => {}
            _ if !complete => self.warnings.push("it is damaged: the rest is missing".into()),
            _ => {}
        }
        self.envelope.finish();
        Ok(Spooled { layout, frames: self.frames, envelope: self.envelope, warnings: self.warnings })
    }
}
