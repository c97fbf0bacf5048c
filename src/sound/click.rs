//! The clicks of a loop: of the written beat, and further lines of clicks such as those of hearings.

use super::builder::{Builder, SectionSpan};
use super::clock::{FrameTime, Seconds};
use super::position::Piece;
use super::schedule::Note;
use super::units::Gain;
use super::voice::{SynthKey, Tone};
use crate::rhythm::{Accent, MeterKind};
use serde::{Deserialize, Serialize};

/// Level of the clicks between beats, relative to a ghost: -3 dB.
const DIVISION_LEVEL: f32 = 0.708;
/// Distance from the start of the loop, as a power of two of a frame, below which a computed pulse counts as at the start.
const EPSILON_FRAME_BITS: u32 = 20;
/// Pan positions of the clicks of hearings, by index; the written beat clicks in the middle.
const CLICK_PANS: [i8; 4] = [60, -60, 90, -90];
/// Most clicks per beat or pulse.
const MAX_PARTS: u8 = 16;

/// The click of the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Click {
    /// No click.
    Off,
    /// Every beat, the downbeat at a higher pitch; in an additive meter the beats that are not strong are quieter.
    Written,
    /// Only the downbeats and the strong beats: the heads of an additive meter, or the middle of a bar whose number of beats is a
    /// multiple of four. A hearing clicks every pulse.
    Strong,
    /// Halfway between the beats instead of on them; the first one of a bar at a higher pitch.
    OffBeat,
    /// Every beat, and quieter clicks that divide it into this many parts, 1 to 16.
    Divided(u8),
}

impl Click {
    pub(super) fn parts(self) -> usize {
        match self {
            Click::Off | Click::Written | Click::Strong => 1,
            Click::OffBeat => 2,
            Click::Divided(n) => usize::from(n.clamp(1, MAX_PARTS)),
        }
    }
}

/// The pan position of the clicks of a hearing, by its index.
pub(crate) fn click_pan(index: u8) -> i8 {
    CLICK_PANS[usize::from(index) % CLICK_PANS.len()]
}

/// Clicks in addition to those of the written beat.
#[derive(Debug, Clone, PartialEq)]
pub struct ClickLine {
    /// When they sound, in any order; moments outside the range are ignored.
    pub moments: Vec<Moment>,
    /// Pitch, from 0, modulo [`super::CLICK_TONES`].
    pub tone: u8,
    /// Pan, from left (-100) to right (100).
    pub side: i8,
}

/// When a click sounds, in seconds at full speed from the start of the groove with all passes; it is rounded to the fixed point
/// of the schedule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moment {
    /// On a pulse.
    Pulse(f64),
    /// Between two pulses, which is quieter.
    Division(f64),
}

impl ClickLine {
    /// The clicks of a pulse with period `length` in seconds at full speed: `pulses` in ascending order, clicked as `click` says
    /// for the beat. The interval from the last pulse to the first of the next pass belongs to both.
    pub fn of_pulse(pulses: &[f64], length: f64, click: Click, tone: u8, side: i8) -> Self {
        let parts = click.parts();
        let mut moments = Vec::new();
        for (k, &pulse) in pulses.iter().enumerate() {
            let next = pulses.get(k + 1).copied().unwrap_or(pulses[0] + length);
            let between = |j: usize| {
                let at = pulse + (next - pulse) * j as f64 / parts as f64;
                // A part beyond the end wraps to the start of the loop.
                if at < length { at } else { at - length }
            };
            match click {
                Click::Off => {}
                Click::OffBeat => moments.push(Moment::Pulse(between(1))),
                Click::Written | Click::Strong | Click::Divided(_) => {
                    moments.push(Moment::Pulse(pulse));
                    moments.extend((1..parts).map(|j| Moment::Division(between(j))));
                }
            }
        }
        Self { moments, tone, side }
    }
}

impl Builder<'_> {
    pub(super) fn add_beats(&mut self, pieces: &[Piece]) {
        let click = self.options.click;
        if click == Click::Off {
            return;
        }
        let parts = click.parts();
        let (left, right) = Gain::from_db(self.options.click_db).panned(0);
        let groove = self.groove;
        for r in 0..self.spans.len() {
            let &SectionSpan { section: s, from, to, .. } = &self.spans[r];
            let section = &groove.sections()[s];
            let meter = &section.meter;
            let strong = meter.strong_beats();
            let part = meter.beat().divided(parts).expect("beats are bounded");
            for k in 0..section.beats() * parts {
                let offset = part.repeated(k).expect("beats are bounded");
                let (beat, within) = (k / parts % meter.beats(), k % parts);
                if offset < from || offset >= to || (click == Click::OffBeat && within == 0) {
                    continue;
                }
                if click == Click::Strong && beat > 0 && !strong.contains(&beat) {
                    continue;
                }
                let (accent, level) = match beat {
                    _ if within > 0 && click != Click::OffBeat => (Accent::Ghost, DIVISION_LEVEL),
                    0 => (Accent::Accent, 1.0),
                    b if meter.kind() == MeterKind::Additive && !strong.contains(&b) => (Accent::Ghost, 1.0),
                    _ => (Accent::Plain, 1.0),
                };
                let sound = self.synthesized(SynthKey {
                    rate: self.options.rate,
                    tone: Tone::Beat(self.options.click_sound),
                    accent,
                });
                let at = self.time_in(&self.spans[r], offset);
                let (left, right) = (left * level, right * level);
                let note = Note { at, sound, hold: u32::MAX, left, right, is_for_next_pass: false };
                self.add_to_passes(s, note, pieces);
            }
        }
    }

    pub(super) fn add_lines(&mut self, length: FrameTime) {
        let options = self.options;
        let denom = self.timebase.denom;
        let speed = options.bounded_speed();
        for line in &options.lines {
            let (left, right) = Gain::from_db(options.click_db).panned(line.side);
            for moment in &line.moments {
                let (Moment::Pulse(seconds) | Moment::Division(seconds)) = *moment;
                let Some(seconds) = Seconds::new(seconds) else { continue };
                let mut at = self.timebase.of_seconds(seconds.minus(self.range_start), speed, options.rate);
                // Rounding may have put a pulse at the start just before it.
                if at.frame == -1 && denom - at.part <= denom >> EPSILON_FRAME_BITS {
                    at = FrameTime::ZERO;
                }
                if (FrameTime::ZERO..length).contains(&at) {
                    let accent = if matches!(moment, Moment::Division(_)) { Accent::Ghost } else { Accent::Plain };
                    let tone = Tone::Line(options.click_sound, line.tone % super::CLICK_TONES);
                    let sound = self.synthesized(SynthKey { rate: options.rate, tone, accent });
                    self.notes.push(Note { at, sound, hold: u32::MAX, left, right, is_for_next_pass: false });
                }
            }
        }
    }
}
