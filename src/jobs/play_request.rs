//! What the editor asks to be played: a loop, or takes that follow each other.

use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take, ladder};
use crate::sound::{Click, ClickLine, Range};
use std::sync::Arc;

/// Passes of a step without an end for which silences are planned.
const PLANNED_PASSES: u32 = 256;

/// Pan positions of the hearings' clicks, by index; the written beat clicks in the middle.
pub(crate) const SIDES: [i8; 4] = [60, -60, 90, -90];

#[derive(Debug, Clone, PartialEq)]
pub enum PlayRequest {
    /// Repeats until stopped.
    Loop(LoopRequest),
    Sequence(SequenceRequest),
}

#[derive(Debug, Clone, PartialEq)]
pub struct LoopRequest {
    pub groove: Arc<Groove>,
    /// Playing speed; 1 is as written.
    pub speed: Fraction,
    pub range: Range,
    /// Whether the layers sound; otherwise only the clicks do.
    pub layers: bool,
    /// Click of the written beat.
    pub beat: Click,
    /// Gain of the clicks in dB.
    pub click_db: f32,
    pub lines: Vec<ClickedPulses>,
}

/// The pulses of a hearing that is clicked.
#[derive(Debug, Clone, PartialEq)]
pub struct ClickedPulses {
    /// In seconds at full speed from the groove's start, all passes counted, ascending.
    pub seconds: Arc<Vec<f64>>,
    /// Length of the whole groove in seconds at full speed.
    pub length: f64,
    pub click: Click,
    /// Selects the pitch and the side.
    pub index: u8,
    /// Start of the loop in the groove, in seconds at full speed.
    pub loop_start: f64,
}

impl ClickedPulses {
    fn side(&self) -> i8 {
        SIDES[usize::from(self.index) % SIDES.len()]
    }
}

impl LoopRequest {
    /// The loop as a take of one pass.
    pub fn take(&self) -> Take {
        let line = |l: &ClickedPulses| ClickLine::of_pulse(&l.seconds, l.length, l.click, l.index, l.side());
        Take {
            name: String::new(),
            note: String::new(),
            layers: self.layers,
            click: self.beat,
            click_db: self.click_db,
            lines: self.lines.iter().map(line).collect(),
            speed: self.speed,
            range: self.range,
            times: 1,
            count_in: CountIn::Off,
            muted_passes: Vec::new(),
        }
    }

    /// A bar of the written beat, or the pulse of the first hearing where the beat is not clicked.
    pub fn count_in(&self) -> CountIn {
        let Some(line) = self.lines.first().filter(|_| self.beat == Click::Off) else { return CountIn::Bar };
        let from = line.seconds.partition_point(|t| *t < line.loop_start - 1e-9);
        match line.seconds[from..] {
            [first, second, ..] => {
                let (first, period) = (first - line.loop_start, second - first);
                CountIn::Pulse { first, period, tone: line.index, side: line.side() }
            }
            _ => CountIn::Bar,
        }
    }
}

/// Takes that follow each other.
#[derive(Debug, Clone, PartialEq)]
pub struct SequenceRequest {
    /// Identifies the sequence among those played before.
    pub number: u32,
    pub takes: Vec<SequenceTake>,
    /// Index of the first take to play.
    pub at: usize,
    /// One in so many passes is silent after its opening, at first; `None` for none.
    pub silence: Option<u32>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct SequenceTake {
    pub playing: LoopRequest,
    /// Number of passes; `None` repeats until the user moves on.
    pub times: Option<u32>,
    pub count_in: bool,
}

impl SequenceRequest {
    /// The takes with their count-ins and silences.
    pub(crate) fn takes(&self) -> Vec<Take> {
        let take = |t: &SequenceTake| Take {
            times: t.times.unwrap_or(PLANNED_PASSES),
            count_in: if t.count_in { t.playing.count_in() } else { CountIn::Off },
            ..t.playing.take()
        };
        let mut takes: Vec<Take> = self.takes.iter().map(take).collect();
        if let Some(every) = self.silence {
            ladder::silence(&mut takes, every);
        }
        takes
    }
}

#[cfg(test)]
mod tests;
