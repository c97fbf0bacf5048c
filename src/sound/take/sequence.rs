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

/// Frames rendered at once.
const BLOCK: usize = 1024;

/// Takes in order, measured and ready to be rendered.
///
/// Every count-in and take begins on a whole frame, its cue. Its notes are at the frame of the cue plus their rounded exact
/// time, as in [`Schedule`], and the next cue follows after the rounded exact length. What still rings at the end of a take
/// continues in the next one.
pub(crate) struct Sequence<'a> {
    groove: &'a Groove,
    rate: SampleRate,
    takes: &'a [Take],
    own: UserSamples,
    cues: Vec<Cue>,
    total: Frame,
}

impl<'a> Sequence<'a> {
    #[cfg(test)]
    pub(crate) fn new(groove: &'a Groove, takes: &'a [Take], rate: SampleRate) -> Self {
        Self::with(groove, takes, rate, UserSamples::none())
    }

    /// Measures the takes. Loops are built here and again for rendering, one at a time, to limit memory.
    pub(crate) fn with(groove: &'a Groove, takes: &'a [Take], rate: SampleRate, own: UserSamples) -> Self {
        let (mut at, mut end, mut cues) = (0_i64, 0_i64, Vec::new());
        let mut add = |name: String, note: String, schedule: &Schedule, passes: u32| {
            cues.push(Cue { frame: Frame(at), name, note });
            at = at.saturating_add(schedule.pass_start(u64::from(passes)).0);
            end = end.max(at.saturating_add(if passes == 0 { 0 } else { schedule.tail().0 }));
        };
        for take in takes {
            if let Some(count) = take.count(groove, rate) {
                add(format!("count-in: {}", take.name), String::new(), &count, 1);
            }
            add(take.name.clone(), take.note.clone(), &take.schedule_with(groove, rate, &own), take.times);
        }
        Self { groove, rate, takes, own, cues, total: Frame(end) }
    }

    /// The starts of the count-ins and takes, in order.
    pub(crate) fn cues(&self) -> &[Cue] {
        &self.cues
    }

    #[cfg(test)]
    pub(crate) fn frames(&self) -> Frame {
        self.total
    }

    /// Renders everything into a WAV stream with cues, with the code that the player runs.
    ///
    /// # Errors
    /// Those of the sink and `on_block`, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
    pub(crate) fn write(&self, sink: &mut dyn Write, on_block: OnBlock<'_>) -> io::Result<Frame> {
        let chunks = cue::chunks(&self.cues);
        let mut run = Run {
            writer: Writer::with_chunks(sink, self.rate, self.total, &chunks)?,
            relay: SegmentQueue::new(self.rate),
            late: RENDER_LATENCY,
            done: 0,
            total: self.total,
            on_block,
        };
        for (k, take) in self.takes.iter().enumerate() {
            if let Some(count) = take.count(self.groove, self.rate) {
                run.passes(Segment::new(count).times(1), 1)?;
            }
            let segment = take.segment_with(self.groove, self.rate, &self.own);
            run.passes(if k + 1 == self.takes.len() { segment.last() } else { segment }, take.times)?;
        }
        // What rings at the end, and the latency of the renderer.
        run.frames(self.total.0 - run.done + RENDER_LATENCY as i64)?;
        run.writer.finish()?;
        Ok(self.total)
    }
}

/// A rendering in progress.
struct Run<'a> {
    writer: Writer<'a>,
    relay: SegmentQueue,
    /// Frames of latency to discard before the first one of the sequence.
    late: usize,
    /// Frames of the schedules rendered.
    done: i64,
    total: Frame,
    on_block: OnBlock<'a>,
}

impl Run<'_> {
    /// Renders a segment with this many passes.
    fn passes(&mut self, segment: Segment, times: u32) -> io::Result<()> {
        let frames = segment.schedule().map_or(0, |s| s.pass_start(u64::from(times)).0);
        if times > 0 {
            self.relay.push(Box::new(segment), &mut drop);
        }
        self.frames(frames)
    }

    fn frames(&mut self, mut left: i64) -> io::Result<()> {
        let mut block = [0.0_f32; 2 * BLOCK];
        self.done += left.max(0);
        while left > 0 {
            let part = &mut block[..2 * left.min(BLOCK as i64) as usize];
            self.relay.render(part, &mut drop);
            left -= part.len() as i64 / 2;
            let skip = self.late.min(part.len() / 2);
            self.late -= skip;
            self.writer.write(&part[2 * skip..])?;
            (self.on_block)(Frame(self.done - left.max(0)), self.total)?;
        }
        Ok(())
    }
}
