//! Renders a sequence of takes into one WAV stream with its cues.

use super::Take;
use super::cue::{self, Cue};
use crate::rhythm::Groove;
use crate::sound::schedule::Schedule;
use crate::sound::segment::Segment;
use crate::sound::units::{Frame, SampleRate};
use crate::sound::user_samples::UserSamples;
use crate::sound::wav::{OnBlock, WavRenderer};
use std::io::{self, Write};

/// Takes in order, measured and ready to be rendered.
///
/// Every count-in and take begins on a whole frame, its cue. Its notes are at the frame of the cue plus their rounded exact
/// time, as in [`Schedule`], and the next cue follows after the rounded exact length. What still rings at the end of a take
/// continues in the next one.
pub(crate) struct SequenceRenderer<'a> {
    groove: &'a Groove,
    rate: SampleRate,
    takes: &'a [Take],
    samples: UserSamples,
    pub(crate) cues: Vec<Cue>,
    pub(crate) total: Frame,
}

impl<'a> SequenceRenderer<'a> {
    /// Measures the takes. Loops are built here and again for rendering, one at a time, to limit memory.
    pub(crate) fn new(groove: &'a Groove, takes: &'a [Take], rate: SampleRate, samples: UserSamples) -> Self {
        let (mut at, mut end, mut cues) = (0_i64, 0_i64, Vec::new());
        let mut add = |name: String, note: String, schedule: &Schedule, passes: u32| {
            cues.push(Cue { frame: Frame(at), name, note });
            end = end.max(at.saturating_add(schedule.end(passes).0));
            at = at.saturating_add(schedule.map.pass_start(u64::from(passes)).0);
        };
        for take in takes {
            if let Some(count_in) = take.count_in_schedule(groove, rate) {
                add(format!("count-in: {}", take.name), String::new(), &count_in, take.count_in_passes());
            }
            add(take.name.clone(), take.note.clone(), &take.schedule(groove, rate, &samples), take.times);
        }
        Self { groove, rate, takes, samples, cues, total: Frame(end) }
    }

    /// Renders everything into a WAV stream with cues, with the code that the player runs, and returns its length.
    ///
    /// # Errors
    /// Those of the sink and `on_block`, and [`io::ErrorKind::InvalidInput`] if the file would exceed 4 GiB.
    pub(crate) fn write(&self, sink: &mut dyn Write, on_block: OnBlock<'_>) -> io::Result<Frame> {
        let chunks = cue::chunks(&self.cues);
        let mut renderer = WavRenderer::new(sink, self.rate, self.total, Frame(0), &chunks, on_block)?;
        let mut render_passes = |segment: Segment, passes: u32| {
            let frames = segment.schedule.as_ref().map_or(Frame(0), |s| s.map.pass_start(u64::from(passes)));
            if passes > 0 {
                renderer.push(segment);
            }
            renderer.render(frames)
        };
        for (k, take) in self.takes.iter().enumerate() {
            if let Some(count_in) = take.count_in_schedule(self.groove, self.rate) {
                let passes = take.count_in_passes();
                render_passes(Segment::new(count_in).passes(u64::from(passes)), passes)?;
            }
            let segment = take.segment(self.groove, self.rate, &self.samples);
            let segment = if k + 1 == self.takes.len() { segment.stop_at_end() } else { segment };
            render_passes(segment, take.times)?;
        }
        renderer.finish()?;
        Ok(self.total)
    }
}
