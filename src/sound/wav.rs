//! WAV output and offline rendering.

use super::render::RENDER_LATENCY;
use super::schedule::Schedule;
use super::segment::{Segment, SegmentQueue};
use super::units::{Frame, SampleRate};
use std::io::{self, Write};

/// Format tag of integer samples.
const PCM: u16 = 1;
const CHANNELS: u16 = 2;
const BYTES_PER_SAMPLE: u16 = 3;
const MAX_SAMPLE: f32 = 8_388_607.0;
/// Frames rendered at once.
const BLOCK_FRAMES: usize = 1024;
/// Seconds of the fade of a file that ends within the groove.
const FADE_OUT_SECONDS: f64 = 0.005;

/// How much to render.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Length {
    /// This many passes of the loop, until the last sound has ended.
    Passes(u32),
    /// This many seconds; the last 5 ms are faded.
    Seconds(f64),
}

/// Writes stereo samples as a WAV file: PCM, 24 bits, little endian. The length is in the header from the start, so that the
/// file can be written to a pipe (Multimedia Programming Interface and Data Specifications 1.0, RIFF WAVE, IBM and Microsoft
/// 1991).
pub(super) struct Writer<'a> {
    sink: &'a mut dyn Write,
    samples_left: u64,
    bytes: Vec<u8>,
    chunks: &'a [u8],
}

impl<'a> Writer<'a> {
    /// Writes the header of a file with `frames` frames; `chunks` are whole chunks of even length that follow the samples.
    ///
    /// # Errors
    /// Those of the sink, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
    pub(super) fn new(sink: &'a mut dyn Write, rate: SampleRate, frames: Frame, chunks: &'a [u8]) -> io::Result<Self> {
        let frame_bytes = CHANNELS * BYTES_PER_SAMPLE;
        let frames = u64::try_from(frames.0).unwrap_or(0);
        let data = frames.saturating_mul(u64::from(frame_bytes));
        let (Ok(size), Ok(data)) = (u32::try_from(data.saturating_add(36 + chunks.len() as u64)), u32::try_from(data))
        else {
            let reason = "the sound is longer than a WAV file can hold (4 GiB)";
            return Err(io::Error::new(io::ErrorKind::InvalidInput, reason));
        };
        let two = |low: u16, high: u16| (u32::from(low) | u32::from(high) << 16).to_le_bytes();
        let hertz = rate.hertz();
        let header: [[u8; 4]; 11] = [
            *b"RIFF",
            size.to_le_bytes(),
            *b"WAVE",
            *b"fmt ",
            16_u32.to_le_bytes(),
            two(PCM, CHANNELS),
            hertz.to_le_bytes(),
            (hertz * u32::from(frame_bytes)).to_le_bytes(),
            two(frame_bytes, 8 * BYTES_PER_SAMPLE),
            *b"data",
            data.to_le_bytes(),
        ];
        sink.write_all(header.as_flattened())?;
        Ok(Self { sink, samples_left: frames * u64::from(CHANNELS), bytes: Vec::new(), chunks })
    }

    /// Writes interleaved stereo samples, -1 to 1; those beyond the length in the header are ignored.
    pub(super) fn write(&mut self, samples: &[f32]) -> io::Result<()> {
        let count = self.samples_left.min(samples.len() as u64);
        self.bytes.clear();
        for sample in &samples[..count as usize] {
            let value = (sample.clamp(-1.0, 1.0) * MAX_SAMPLE).round() as i32;
            self.bytes.extend_from_slice(&value.to_le_bytes()[..3]);
        }
        self.samples_left -= count;
        self.sink.write_all(&self.bytes)
    }

    pub(super) fn finish(self) -> io::Result<()> {
        self.sink.write_all(self.chunks)?;
        self.sink.flush()
    }
}

/// Called after each block with the frames written and the total; an error ends the rendering.
pub(crate) type OnBlock<'a> = &'a mut dyn FnMut(Frame, Frame) -> io::Result<()>;

/// Renders segments into a WAV file with the code that the player runs.
pub(super) struct Rendering<'a> {
    writer: Writer<'a>,
    queue: SegmentQueue,
    /// Frames of the renderer's latency still to discard.
    latency: usize,
    /// Frames written, and to write.
    done: i64,
    total: i64,
    /// Frames of the fade at the end.
    fade: i64,
    on_block: OnBlock<'a>,
}

impl<'a> Rendering<'a> {
    pub(super) fn new(writer: Writer<'a>, rate: SampleRate, total: Frame, fade: Frame, on_block: OnBlock<'a>) -> Self {
        let (queue, latency) = (SegmentQueue::new(rate), RENDER_LATENCY);
        Self { writer, queue, latency, done: 0, total: total.0, fade: fade.0, on_block }
    }

    pub(super) fn push(&mut self, segment: Segment) {
        self.queue.push(Box::new(segment), &mut drop);
    }

    pub(super) fn render(&mut self, frames: Frame) -> io::Result<()> {
        let mut block = [0.0_f32; 2 * BLOCK_FRAMES];
        let mut left = frames.0;
        while left > 0 {
            let frames = left.min(BLOCK_FRAMES as i64);
            left -= frames;
            let samples = &mut block[..2 * frames as usize];
            self.queue.render(samples, &mut drop);
            let discarded = self.latency.min(frames as usize);
            self.latency -= discarded;
            let samples = &mut samples[2 * discarded..];
            for (pair, left) in samples.chunks_exact_mut(2).zip((1..=self.total - self.done).rev()) {
                if left <= self.fade {
                    let gain = (left - 1) as f32 / self.fade as f32;
                    pair[0] *= gain;
                    pair[1] *= gain;
                }
            }
            self.writer.write(samples)?;
            self.done += samples.len() as i64 / 2;
            (self.on_block)(Frame(self.done), Frame(self.total))?;
        }
        Ok(())
    }

    pub(super) fn finish(mut self) -> io::Result<()> {
        self.render(Frame(self.total - self.done + self.latency as i64))?;
        self.writer.finish()
    }
}

/// Renders a loop into a WAV stream and returns the length of the stream.
///
/// # Errors
/// Those of the sink and `on_block`, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
pub(crate) fn render_wav(
    schedule: Schedule,
    length: Length,
    sink: &mut dyn Write,
    on_block: OnBlock<'_>,
) -> io::Result<Frame> {
    let rate = schedule.rate;
    let (passes, total, fade) = match length {
        Length::Passes(passes) => (u64::from(passes), schedule.end(passes), Frame(0)),
        Length::Seconds(seconds) => {
            let total = rate.frames(seconds);
            (u64::MAX, total, rate.frames(FADE_OUT_SECONDS).min(total))
        }
    };
    let writer = Writer::new(sink, rate, total, &[])?;
    let mut rendering = Rendering::new(writer, rate, total, fade, on_block);
    if passes > 0 {
        rendering.push(Segment::new(schedule).passes(passes).stop_at_end());
    }
    rendering.finish()?;
    Ok(total)
}
