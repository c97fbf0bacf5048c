//! What is asked to be played: a loop, or takes that follow each other.

use super::serde_exact;
use crate::rhythm::{ClickSound, Fraction, Groove};
use crate::sound::click::click_pan;
#[cfg(feature = "audio")]
use crate::sound::position::Position;
use crate::sound::take::{CountIn, Take, mute_ladder_passes};
use crate::sound::{Click, ClickLine, Range, RecordingPlay};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Passes of a step without an end for which silences are planned.
const PLANNED_PASSES: u32 = 256;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum PlayRequest {
    /// Repeats until stopped.
    Loop(LoopSpec),
    /// The same after a count-in. To change it, or to continue it elsewhere, the loop alone is requested.
    CountedLoop(LoopSpec),
    Sequence(Sequence),
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoopSpec {
    /// A message has its text once instead; see [`super::PlaybackRequest::set_groove`].
    #[serde(skip, default = "blank")]
    pub groove: Arc<Groove>,
    /// Playback speed; 1 is as written.
    #[serde(with = "serde_exact::fraction")]
    pub speed: Fraction,
    pub range: Range,
    /// Whether the layers sound; otherwise only the clicks do.
    pub layers: bool,
    /// Click of the written beat.
    pub beat: Click,
    /// Gain of the clicks in dB.
    pub click_db: f32,
    /// Sound of the clicks.
    #[serde(with = "serde_exact::click_sound")]
    pub click_sound: ClickSound,
    pub hearings: Vec<HearingClicks>,
    /// How the groove's recording sounds, which then sets the times.
    pub recording: Option<RecordingPlay>,
}

/// The pulses of a hearing that is clicked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HearingClicks {
    /// In seconds at full speed from the groove's start, all passes counted, ascending.
    pub seconds: Arc<Vec<f64>>,
    /// Length of the whole groove in seconds at full speed.
    pub length: f64,
    pub click: Click,
    /// Selects the pitch and the side.
    pub index: u8,
    /// Start of the loop in the groove, in seconds at full speed.
    pub lead: f64,
}

impl LoopSpec {
    /// The loop as a take of one pass.
    pub fn take(&self) -> Take {
        let line = |l: &HearingClicks| ClickLine::of_pulse(&l.seconds, l.length, l.click, l.index, click_pan(l.index));
        Take {
            name: String::new(),
            note: String::new(),
            layers: self.layers,
            click: self.beat,
            click_db: self.click_db,
            click_sound: self.click_sound,
            lines: self.hearings.iter().map(line).collect(),
            speed: self.speed,
            range: self.range,
            times: 1,
            count_in: CountIn::Off,
            recording: self.recording,
            count_in_bars: 1,
            muted_passes: Vec::new(),
        }
    }

    /// A bar of the written beat, or the pulse of the first hearing if the beat is not clicked.
    pub fn count_in(&self) -> CountIn {
        let Some(line) = self.hearings.first().filter(|_| self.beat == Click::Off) else { return CountIn::Bar };
        CountIn::of_pulses(&line.seconds, line.lead, line.index)
    }
}

impl LoopSpec {
    /// The count-in before the loop, or before a bar that begins at a position in it.
    #[cfg(feature = "audio")]
    pub(super) fn counted_take(&self, from: Option<Position>) -> Take {
        match from {
            None => Take { count_in: self.count_in(), ..self.take() },
            Some(Position { section, .. }) => {
                Take { count_in: CountIn::Bar, range: Range::Section(section), ..self.take() }
            }
        }
    }
}

fn blank() -> Arc<Groove> {
    Arc::new(Groove::in_four(120, 1))
}

/// Takes that follow each other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sequence {
    /// Identifies the sequence among those played before.
    pub number: u32,
    pub takes: Vec<SequenceTake>,
    /// Index of the first take to play.
    pub at: usize,
    /// Passes up to the first one that is silent after its opening; later ones follow at shorter intervals (see
    /// [`mute_ladder_passes`]). `None` for none.
    pub silence: Option<u32>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SequenceTake {
    pub spec: LoopSpec,
    /// Number of passes; `None` repeats until the user moves on.
    pub times: Option<u32>,
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
