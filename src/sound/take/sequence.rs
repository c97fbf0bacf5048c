//! A sequence of takes, rendered into one WAV stream with its cues. It must not know where the bytes go.

use super::cue::{self, Cue};
use super::{Take, opening};
use crate::rhythm::{Groove, Time};
use crate::sound::own::OwnSounds;
use crate::sound::render::{Keep, LATENCY, Renderer};
use crate::sound::schedule::Schedule;
use crate::sound::units::{Frame, SampleRate};
use crate::sound::wav::Writer;
use std::io::{self, Write};

/// Frames rendered at once.
const BLOCK: usize = 1024;

/// Takes in their order, measured and ready to be rendered.
///
/// Every count-in and every take begins on a whole frame, its cue. Each sound in it begins at the frame of its cue plus the
/// rounded exact time since then, as [`Schedule`] has it, and the next cue comes after the rounded exact length.
/// What still rings at the end of a take rings on in the next: nothing is cut at a join.
pub struct Sequence<'a> {
    groove: &'a Groove,
    rate: SampleRate,
    takes: &'a [Take],
    own: OwnSounds,
    cues: Vec<Cue>,
    total: Frame,
}

impl<'a> Sequence<'a> {
    /// Measures the takes. Loops are built here and again when they are rendered, one at a time, so that many long ones
    /// never stand in memory together.
    pub fn new(groove: &'a Groove, takes: &'a [Take], rate: SampleRate) -> Self {
        Self::with(groove, takes, rate, OwnSounds::none())
    }

    /// The same with the user's own sounds.
    pub fn with(groove: &'a Groove, takes: &'a [Take], rate: SampleRate, own: OwnSounds) -> Self {
        let (mut at, mut end, mut cues) = (0_i64, 0_i64, Vec::new());
        let mut add = |name: String, note: String, schedule: &Schedule, turns: u32| {
            cues.push(Cue { frame: Frame(at), name, note });
            at = at.saturating_add(schedule.turn_start(u64::from(turns)).0);
            end = end.max(at.saturating_add(if turns == 0 { 0 } else { schedule.tail().0 }));
        };
        for take in takes {
            if let Some(count) = take.count(groove, rate) {
                add(format!("count-in: {}", take.name), String::new(), &count, 1);
            }
            add(take.name.clone(), take.note.clone(), &take.schedule_with(groove, rate, &own), take.times);
        }
        Self { groove, rate, takes, own, cues, total: Frame(end) }
    }

    /// Where the count-ins and takes begin, in order.
    pub fn cues(&self) -> &[Cue] {
        &self.cues
    }

    /// Frames of the whole, until the last sound has rung out.
    pub fn frames(&self) -> Frame {
        self.total
    }

    /// Renders everything into a WAV stream that carries the cues, with the same code that the player runs.
    ///
    /// # Errors
    /// What the sink gives, and [`io::ErrorKind::InvalidInput`] if the file would be larger than 4 GiB.
    pub fn write(&self, sink: &mut dyn Write) -> io::Result<Frame> {
        let chunks = cue::chunks(&self.cues);
        let mut run = Run {
            writer: Writer::with_chunks(sink, self.rate, self.total, &chunks)?,
            renderer: Renderer::new(self.rate),
            late: LATENCY,
            done: 0,
        };
        for take in self.takes {
            if let Some(count) = take.count(self.groove, self.rate) {
                run.turns(count, 1, &[], Time::ZERO)?;
            }
            let schedule = take.schedule_with(self.groove, self.rate, &self.own);
            run.turns(schedule, take.times, &take.silences, opening(self.groove))?;
        }
        run.renderer.limit_turns(0);
        // What rings at the end, and the frames by which the output lags behind.
        run.frames(self.total.0 - run.done + LATENCY as i64)?;
        run.writer.finish()?;
        Ok(self.total)
    }
}

/// A rendering under way.
struct Run<'a> {
    writer: Writer<'a>,
    renderer: Renderer,
    /// Frames that still come before the first frame of the sequence.
    late: usize,
    /// Frames of the schedules rendered.
    done: i64,
}

impl Run<'_> {
    /// Renders a loop so many times through; in the turns named only what begins before `until` sounds.
    fn turns(&mut self, schedule: Schedule, times: u32, silences: &[u32], until: Time) -> io::Result<()> {
        let start = self.done;
        let hushed = (!silences.is_empty()).then(|| schedule.hushed(until));
        let map = schedule.map().clone();
        let turn_start = |turn: u32| map.turn_start(u64::from(turn)).0;
        let is_silent = |turn: u32| silences.binary_search(&turn).is_ok();
        let mut other = hushed.map(Box::new);
        self.renderer.follow(Box::new(schedule), u64::from(times));
        let (mut turn, mut silent) = (0, false);
        while turn < times {
            let wanted = is_silent(turn);
            if wanted != silent
                && let Some(next) = other.take()
            {
                // Both loops have one clock, so that the frame is kept exactly.
                other = self.renderer.swap(next, Keep::Place);
                silent = wanted;
            }
            // Up to the next change, or the end.
            let change = (turn + 1..times).find(|&t| is_silent(t) != wanted).unwrap_or(times);
            self.frames(start + turn_start(change) - self.done)?;
            turn = change;
        }
        Ok(())
    }

    fn frames(&mut self, mut left: i64) -> io::Result<()> {
        let mut block = [0.0_f32; 2 * BLOCK];
        self.done += left.max(0);
        while left > 0 {
            let part = &mut block[..2 * left.min(BLOCK as i64) as usize];
            self.renderer.render(part);
            left -= part.len() as i64 / 2;
            let skip = self.late.min(part.len() / 2);
            self.late -= skip;
            self.writer.write(&part[2 * skip..])?;
        }
        Ok(())
    }
}
