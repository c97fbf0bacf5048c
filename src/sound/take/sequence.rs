//! Renders a sequence of takes into one WAV stream with its cues.

use super::Take;
use super::cue::{self, Cue};
use crate::rhythm::Groove;
use crate::sound::render::RENDER_LATENCY;
use crate::sound::schedule::Schedule;
use crate::sound::segment::{Segment, SegmentQueue};
use crate::sound::units::{Frame, SampleRate};
use crate::sound::user_samples::UserSamples;
use crate::sound::wav::{OnBlock, Writer};
use std::io::{self, Write};

const BLOCK_FRAMES: usize = 1024;

/// Takes in order, measured and ready to be rendered.
///
/// Every count-in and take begins on a whole frame, its cue. Its notes are at the frame of the cue plus their rounded exact
/// time, as in [`Schedule`], and the next cue follows after the rounded exact length. What still rings at the end of a take
/// continues in the next one.
pub(crate) struct Sequence<'a> {
    groove: &'a Groove,
    rate: SampleRate,
    takes: &'a [Take],
    samples: UserSamples,
    cues: Vec<Cue>,
    total: Frame,
}

impl<'a> Sequence<'a> {
    /// Measures the takes. Loops are built here and again for rendering, one at a time, to limit memory.
    pub(crate) fn new(groove: &'a Groove, takes: &'a [Take], rate: SampleRate, samples: UserSamples) -> Self {
        let (mut at, mut end, mut cues) = (0_i64, 0_i64, Vec::new());
        let mut add = |name: String, note: String, schedule: &Schedule, passes: u32| {
            cues.push(Cue { frame: Frame(at), name, note });
            at = at.saturating_add(schedule.pass_start(u64::from(passes)).0);
            end = end.max(at.saturating_add(if passes == 0 { 0 } else { schedule.tail().0 }));
        };
        for take in takes {
            if let Some(count_in) = take.count_in_schedule(groove, rate) {
                add(format!("count-in: {}", take.name), String::new(), &count_in, 1);
            }
            add(take.name.clone(), take.note.clone(), &take.schedule(groove, rate, &samples), take.times);
        }
        Self { groove, rate, takes, samples, cues, total: Frame(end) }
    }

    /// The starts of the count-ins and takes, in order.
    pub(crate) fn cues(&self) -> &[Cue] {
        &self.cues
    }

    #[cfg(test)]
    pub(crate) fn frames(&self) -> Frame {
        self.total
    }

    /// Renders everything into a WAV stream with cues, with the code that the player runs, and returns its length.
    ///
    /// # Errors
    /// Those of the sink and `on_block`, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
    pub(crate) fn write(&self, sink: &mut dyn Write, on_block: OnBlock<'_>) -> io::Result<Frame> {
        let chunks = cue::chunks(&self.cues);
        let mut rendering = Rendering {
            writer: Writer::new(sink, self.rate, self.total, &chunks)?,
            queue: SegmentQueue::new(self.rate),
            latency: RENDER_LATENCY,
            done: 0,
            total: self.total,
            on_block,
        };
        for (k, take) in self.takes.iter().enumerate() {
            if let Some(count_in) = take.count_in_schedule(self.groove, self.rate) {
                rendering.render_passes(Segment::new(count_in).passes(1), 1)?;
            }
            let segment = take.segment(self.groove, self.rate, &self.samples);
            let segment = if k + 1 == self.takes.len() { segment.stop_at_end() } else { segment };
            rendering.render_passes(segment, take.times)?;
        }
        // What rings at the end, and the latency of the renderer.
        rendering.render_frames(self.total.0 - rendering.done + RENDER_LATENCY as i64)?;
        rendering.writer.finish()?;
        Ok(self.total)
    }
}

struct Rendering<'a> {
    writer: Writer<'a>,
    queue: SegmentQueue,
    /// Frames of latency still to discard before the first one of the sequence.
    latency: usize,
    /// Frames requested from the queue.
    done: i64,
    total: Frame,
    on_block: OnBlock<'a>,
}

impl Rendering<'_> {
    fn render_passes(&mut self, segment: Segment, passes: u32) -> io::Result<()> {
        let frames = segment.schedule().map_or(0, |s| s.pass_start(u64::from(passes)).0);
        if passes > 0 {
            self.queue.push(Box::new(segment), &mut drop);
        }
        self.render_frames(frames)
    }

    fn render_frames(&mut self, mut left: i64) -> io::Result<()> {
        let mut block = [0.0_f32; 2 * BLOCK_FRAMES];
        self.done += left.max(0);
        while left > 0 {
            let part = &mut block[..2 * left.min(BLOCK_FRAMES as i64) as usize];
            self.queue.render(part, &mut drop);
            left -= part.len() as i64 / 2;
            let skip = self.latency.min(part.len() / 2);
            self.latency -= skip;
            self.writer.write(&part[2 * skip..])?;
            (self.on_block)(Frame(self.done - left.max(0)), self.total)?;
        }
        Ok(())
    }
}
