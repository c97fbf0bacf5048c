//! The notes of a loop at their exact frames, and the options to build them from a groove.

use super::builder::Builder;
use super::click::{Click, ClickLine};
use super::clock::{FrameTime, Seconds};
use super::position::{Position, PositionMap};
use super::units::{Frame, SampleRate};
use super::user_samples::UserSamples;
use super::voice::SampleSource;
use crate::rhythm::{Fraction, Groove, Time};
use std::sync::Arc;

/// Slowest playing speed: a fifth of full speed.
pub(crate) const MIN_SPEED: (i64, i64) = (1, 5);
/// Fastest playing speed: twice full speed.
pub(crate) const MAX_SPEED: (i64, i64) = (2, 1);
/// A speed with a larger denominator is rounded to this one.
const SPEED_PARTS: i64 = 1_000_000;

/// What to play of a groove, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct ScheduleOptions {
    /// Frames per second.
    pub rate: SampleRate,
    /// Playing speed, 1 for full speed; clamped to [`MIN_SPEED`]..=[`MAX_SPEED`].
    pub speed: Fraction,
    /// The part of the groove that loops.
    pub range: Range,
    /// The click of the written beat.
    pub click: Click,
    /// Gain of all clicks in dB.
    pub click_db: f32,
    /// Further clicks, such as those of hearings.
    pub lines: Vec<ClickLine>,
}

/// The part of the groove that loops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Range {
    /// The whole groove with all passes of its sections.
    Whole,
    /// One pass through a section.
    Section(usize),
    /// A part of one pass through a section.
    Region {
        /// The section.
        section: usize,
        /// Start from the section's start, inclusive.
        from: Time,
        /// End from the section's start, exclusive.
        to: Time,
    },
}

impl ScheduleOptions {
    /// The whole groove at full speed without clicks.
    pub fn whole(rate: SampleRate) -> Self {
        Self { rate, speed: Fraction::ONE, range: Range::Whole, click: Click::Off, click_db: 0.0, lines: Vec::new() }
    }

    pub(super) fn bounded_speed(&self) -> Fraction {
        let bound = |(n, d)| Fraction::new(n, d).unwrap_or(Fraction::ONE);
        let speed = self.speed.clamp(bound(MIN_SPEED), bound(MAX_SPEED));
        if speed.denom() <= SPEED_PARTS {
            return speed;
        }
        let parts = speed.numer() as f64 / speed.denom() as f64 * SPEED_PARTS as f64;
        Fraction::new(parts.round() as i64, SPEED_PARTS).unwrap_or(Fraction::ONE)
    }
}

/// One sound of the loop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Note {
    /// Start in the loop.
    pub(super) at: FrameTime,
    /// Index of its samples.
    pub(super) sound: u32,
    /// Frames after which it is damped; `u32::MAX` if it is not.
    pub(super) hold: u32,
    /// Gains of the two channels.
    pub(super) left: f32,
    pub(super) right: f32,
}

/// A loop ready to be rendered, with every note at its exact offset.
///
/// The `k`th note of pass `n` begins at frame `round(n * length + offset[k])`, halves upward, where `length` and `offset[k]`
/// are exact fractions of a frame over one common denominator of at most 2^120 (see `clock::Timebase` for what exceeds it).
#[derive(Debug)]
pub struct Schedule {
    pub(super) notes: Vec<Note>,
    pub(super) sounds: Vec<Arc<[f32]>>,
    /// Where the samples come from.
    pub(super) origins: Vec<SampleSource>,
    map: Arc<PositionMap>,
    rate: SampleRate,
}

impl Schedule {
    /// Builds the loop of a groove. Muted layers are left out. A range outside the groove, or a loop shorter than 32 frames, gives
    /// a silent loop. This allocates and synthesizes: never call it on the audio thread.
    pub fn build(groove: &Groove, ask: &ScheduleOptions) -> Schedule {
        Self::build_with(groove, ask, &UserSamples::none())
    }

    /// The same with the user's own samples, by the names that layers give.
    pub fn build_with(groove: &Groove, ask: &ScheduleOptions, own: &UserSamples) -> Schedule {
        Builder::new(groove, ask, own).build()
    }

    /// Builds a loop of this length at full speed in which only the click lines sound.
    pub(super) fn clicks(groove: &Groove, ask: &ScheduleOptions, length: Seconds) -> Schedule {
        Builder::clicks(groove, ask, length)
    }

    /// A loop from notes in order, each with the index of its samples.
    pub(super) fn of_parts(
        notes: Vec<Note>,
        sounds: Vec<(SampleSource, Arc<[f32]>)>,
        map: PositionMap,
        rate: SampleRate,
    ) -> Schedule {
        let (origins, sounds) = sounds.into_iter().unzip();
        Schedule { notes, sounds, origins, map: Arc::new(map), rate }
    }

    /// The same loop with only its first `n` notes.
    #[cfg_attr(not(feature = "audio"), allow(dead_code))]
    pub(super) fn first(&self, n: usize) -> Schedule {
        Schedule {
            notes: self.notes[..n.min(self.notes.len())].to_vec(),
            sounds: self.sounds.clone(),
            origins: self.origins.clone(),
            map: Arc::clone(&self.map),
            rate: self.rate,
        }
    }

    /// The same loop with only what begins before `until` in its first pass through its first section.
    pub(super) fn opening_only(&self, until: Time) -> Schedule {
        let piece = self.map.pieces.first();
        let end = piece.map_or(0.0, |p| (approx(until) - p.from).clamp(0.0, p.to - p.from) * p.pace);
        // Half a frame earlier, so that rounding moves no note across the limit.
        let kept = self.notes.iter().filter(|n| n.at.approx(self.map.denom) < end - 0.5);
        Schedule {
            notes: kept.copied().collect(),
            sounds: self.sounds.clone(),
            origins: self.origins.clone(),
            map: Arc::clone(&self.map),
            rate: self.rate,
        }
    }

    /// Frames per second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Number of notes in one pass.
    pub fn len(&self) -> usize {
        self.notes.len()
    }

    /// Whether the loop is silent.
    pub fn is_empty(&self) -> bool {
        self.notes.is_empty()
    }

    /// The positions in the groove of the loop's frames.
    pub fn map(&self) -> &Arc<PositionMap> {
        &self.map
    }

    /// The position at a frame of the loop.
    pub fn position(&self, frame: Frame) -> Position {
        self.map.position(frame)
    }

    /// The rounded frame at which the `k`th note of pass `pass` begins, from the start of pass 0.
    pub fn onset(&self, pass: u64, k: usize) -> Option<Frame> {
        let denom = self.denom();
        let note = self.notes.get(k)?;
        Some(Frame(self.length().times(pass, denom).plus(note.at, denom).rounded(denom)))
    }

    /// The rounded frame at which pass `pass` begins.
    pub fn pass_start(&self, pass: u64) -> Frame {
        self.map.pass_start(pass)
    }

    /// Frames that the last notes ring beyond the end of a pass.
    pub fn tail(&self) -> Frame {
        let ends = self.notes.iter().map(|n| {
            let full = self.sounds[n.sound as usize].len() as i64;
            n.at.frame + 1 + full.min(i64::from(n.hold).saturating_add(i64::from(super::render::release(self.rate))))
        });
        Frame((ends.max().unwrap_or(0) - self.length().frame).max(0))
    }

    pub(super) fn length(&self) -> FrameTime {
        self.map.length
    }

    pub(super) fn denom(&self) -> i128 {
        self.map.denom
    }
}

pub(super) fn approx(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}
