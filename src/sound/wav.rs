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

/// Called after each block with the frames written and the total; an error ends the rendering.
pub(super) type OnBlock<'a> = &'a mut dyn FnMut(Frame, Frame) -> io::Result<()>;

/// Renders segments into a WAV file, PCM with 24 bits, with the code that the player runs. The length is in the header from the
/// start, so that the file can be written to a pipe (Multimedia Programming Interface and Data Specifications 1.0, RIFF WAVE, IBM
/// and Microsoft 1991).
pub(super) struct WavRenderer<'a> {
    sink: &'a mut dyn Write,
    /// Whole RIFF chunks of even length that follow the samples.
    chunks: &'a [u8],
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

impl<'a> WavRenderer<'a> {
    /// Writes the header of a file with `total` frames.
    ///
    /// # Errors
    /// Those of the sink, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
    pub(super) fn new(
        sink: &'a mut dyn Write,
        rate: SampleRate,
        total: Frame,
        fade: Frame,
        chunks: &'a [u8],
        on_block: OnBlock<'a>,
    ) -> io::Result<Self> {
        let frame_bytes = CHANNELS * BYTES_PER_SAMPLE;
        let data = u64::try_from(total.0).unwrap_or(0).saturating_mul(u64::from(frame_bytes));
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
        let queue = SegmentQueue::new(rate);
        Ok(Self { sink, chunks, queue, latency: RENDER_LATENCY, done: 0, total: total.0, fade: fade.0, on_block })
    }

    pub(super) fn push(&mut self, segment: Segment) {
        self.queue.push(Box::new(segment), &mut drop);
    }

    /// Renders frames; those beyond the length in the header are not written.
    pub(super) fn render(&mut self, frames: Frame) -> io::Result<()> {
        let (mut block, mut bytes) = ([0.0_f32; 2 * BLOCK_FRAMES], Vec::new());
        let mut left = frames.0;
        while left > 0 {
            let frames = left.min(BLOCK_FRAMES as i64);
            left -= frames;
            let samples = &mut block[..2 * frames as usize];
            self.queue.prepare();
            self.queue.render(samples, &mut drop);
            let discarded = self.latency.min(frames as usize);
            self.latency -= discarded;
            bytes.clear();
            let pairs = samples[2 * discarded..].chunks_exact(2);
            for (pair, left) in pairs.zip((1..=self.total - self.done).rev()) {
                let gain = if left <= self.fade { (left - 1) as f32 / self.fade as f32 } else { 1.0 };
                for sample in pair {
                    let value = ((sample * gain).clamp(-1.0, 1.0) * MAX_SAMPLE).round() as i32;
                    bytes.extend_from_slice(&value.to_le_bytes()[..3]);
                }
            }
            self.sink.write_all(&bytes)?;
            self.done += frames - discarded as i64;
            (self.on_block)(Frame(self.done), Frame(self.total))?;
        }
        Ok(())
    }

    pub(super) fn finish(mut self) -> io::Result<()> {
        self.render(Frame(self.total - self.done + self.latency as i64))?;
        self.sink.write_all(self.chunks)?;
        self.sink.flush()
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
    let mut renderer = WavRenderer::new(sink, rate, total, fade, &[], on_block)?;
    if passes > 0 {
        renderer.push(Segment::new(schedule).passes(passes).stop_at_end());
    }
    renderer.finish()?;
    Ok(total)
}
