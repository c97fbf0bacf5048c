//! What the editor asks to be played: a loop, or takes that follow each other.

use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take, mute_ladder_passes};
use crate::sound::{Click, ClickLine, Range};
use std::sync::Arc;

/// Passes for which the silences of a step that goes on for ever are planned.
const PLANNED_PASSES: u32 = 256;

/// What is played.
#[derive(Debug, Clone, PartialEq)]
pub enum PlayRequest {
    /// A loop without an end.
    Loop(LoopSpec),
    /// One take after the other.
    Sequence(Sequence),
}

/// A loop.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopSpec {
    /// The groove.
    pub groove: Arc<Groove>,
    /// Playback speed; 1 is as written.
    pub speed: Fraction,
    /// What is looped.
    pub range: Range,
    /// Whether the layers sound; otherwise the clicks are alone.
    pub layers: bool,
    /// How the written beat is clicked.
    pub beat: Click,
    /// Gain of the clicks in dB.
    pub click_db: f32,
    /// The hearings that are clicked.
    pub hearings: Vec<HearingClicks>,
}

/// Sides of the hearings' clicks, by their index: the written beat clicks in the middle.
pub(crate) const SIDES: [i8; 4] = [60, -60, 90, -90];

/// The pulses of a hearing that is clicked.
#[derive(Debug, Clone, PartialEq)]
pub struct HearingClicks {
    /// In seconds at full speed from the groove's start, every pass counted, in rising order.
    pub seconds: Arc<Vec<f64>>,
    /// Length of the whole groove in seconds at full speed.
    pub length: f64,
    /// How they are clicked.
    pub click: Click,
    /// What sets it apart from others: its pitch and its side.
    pub index: u8,
    /// Start of the loop in the groove, in seconds at full speed.
    pub lead: f64,
}

impl HearingClicks {
    fn side(&self) -> i8 {
        SIDES[usize::from(self.index) % SIDES.len()]
    }
}

impl LoopSpec {
    /// The loop as a take of one pass.
    pub fn take(&self) -> Take {
        let line = |l: &HearingClicks| ClickLine::of_pulse(&l.seconds, l.length, l.click, l.index, l.side());
        Take {
            name: String::new(),
            note: String::new(),
            layers: self.layers,
            click: self.beat,
            click_db: self.click_db,
            lines: self.hearings.iter().map(line).collect(),
            speed: self.speed,
            range: self.range,
            times: 1,
            count_in: CountIn::Off,
            muted_passes: Vec::new(),
        }
    }

    /// The count-in: a bar of the written beat, or the pulse of the first hearing where that alone is clicked.
    pub fn count_in(&self) -> CountIn {
        let Some(line) = self.hearings.first().filter(|_| self.beat == Click::Off) else { return CountIn::Bar };
        let first = line.seconds.partition_point(|t| *t < line.lead - 1e-9);
        match line.seconds[first..] {
            [first, second, ..] => {
                CountIn::Pulse { first: first - line.lead, period: second - first, tone: line.index, side: line.side() }
            }
            _ => CountIn::Bar,
        }
    }
}

/// Takes that follow each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Sequence {
    /// Identifies it among the sequences played before.
    pub number: u32,
    /// All of them, in order.
    pub takes: Vec<SequenceTake>,
    /// The first one to play.
    pub at: usize,
    /// One in so many passes is silent after its opening, at first; `None` for none.
    pub silence: Option<u32>,
}

/// One take of a sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct SequenceTake {
    /// What is looped.
    pub spec: LoopSpec,
    /// Number of passes; `None` until the user goes on.
    pub times: Option<u32>,
    /// Whether it is counted in.
    pub count_in: bool,
}

impl Sequence {
    /// The takes with their count-ins and silences.
    pub(crate) fn takes(&self) -> Vec<Take> {
        let take = |t: &SequenceTake| Take {
            times: t.times.unwrap_or(PLANNED_PASSES),
            count_in: if t.count_in { t.spec.count_in() } else { CountIn::Off },
            ..t.spec.take()
        };
        let mut takes: Vec<Take> = self.takes.iter().map(take).collect();
        if let Some(every) = self.silence {
            mute_ladder_passes(&mut takes, every);
        }
        takes
    }
}

#[cfg(test)]
mod tests;
