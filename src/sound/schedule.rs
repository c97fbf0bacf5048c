//! The notes of a loop at their exact frames, and the options to build them from a groove.

use super::builder::Builder;
use super::click::{Click, ClickLine};
use super::clock::FrameTime;
use super::playback::serde_exact;
use super::position::PositionMap;
use super::recording_clock::RecordingClock;
use super::track::{Listening, RecordingPlay, Track};
use super::units::{Frame, SampleRate};
use super::user_samples::UserSamples;
use crate::rhythm::{AnchorMap, ClickSound, Fraction, Groove, Time};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Slowest playing speed: a fifth of full speed.
const MIN_SPEED: (i64, i64) = (1, 5);
/// Fastest playing speed: twice full speed.
const MAX_SPEED: (i64, i64) = (2, 1);
/// A speed with a larger denominator is rounded to this one.
const MAX_SPEED_DENOM: i64 = 1_000_000;

/// What to play of a groove, and how.
#[derive(Debug, Clone)]
pub struct ScheduleOptions {
    /// The sample rate.
    pub rate: SampleRate,
    /// Playing speed, 1 for full speed; clamped to a range from 1/5 to 2.
    pub speed: Fraction,
    /// The part of the groove that loops.
    pub range: Range,
    /// The click of the written beat.
    pub click: Click,
    /// Gain of all clicks in dB.
    pub click_db: f32,
    /// The sound of all clicks.
    pub click_sound: ClickSound,
    /// Further clicks, such as those of hearings.
    pub lines: Vec<ClickLine>,
    /// The user's own samples, by the names that layers use, and the recording.
    pub samples: UserSamples,
    /// How the recording sounds, which then sets the times; `None` plays the groove at its written tempos.
    pub recording: Option<RecordingPlay>,
}

/// The part of the groove that loops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Range {
    /// The whole groove with all passes of its sections.
    Whole,
    /// One pass through a section.
    Section(usize),
    /// One stretch of the groove as it is played: from a time in the last pass through the first section to a time in the first
    /// pass through the last section, with all passes of the sections between. Within one section, a part of its first pass.
    Region {
        /// The first section.
        first: usize,
        /// Start from the first section's start, inclusive.
        #[serde(with = "serde_exact::time")]
        from: Time,
        /// The last section.
        last: usize,
        /// End from the last section's start, exclusive.
        #[serde(with = "serde_exact::time")]
        to: Time,
    },
}

impl Range {
    /// A part of the first pass through a section.
    pub fn within(section: usize, from: Time, to: Time) -> Self {
        Self::Region { first: section, from, last: section, to }
    }

    pub(super) fn first_section(self) -> usize {
        match self {
            Range::Whole => 0,
            Range::Section(section) | Range::Region { first: section, .. } => section,
        }
    }
}

impl ScheduleOptions {
    /// The whole groove at full speed without clicks.
    pub fn whole(rate: SampleRate) -> Self {
        Self {
            rate,
            speed: Fraction::ONE,
            range: Range::Whole,
            click: Click::Off,
            click_db: 0.0,
            click_sound: ClickSound::default(),
            lines: Vec::new(),
            samples: UserSamples::default(),
            recording: None,
        }
    }

    pub(super) fn bounded_speed(&self) -> Fraction {
        let bound = |(n, d)| Fraction::new(n, d).unwrap_or(Fraction::ONE);
        let speed = self.speed.clamp(bound(MIN_SPEED), bound(MAX_SPEED));
        if speed.denom() <= MAX_SPEED_DENOM {
            return speed;
        }
        let numer = speed.numer() as f64 / speed.denom() as f64 * MAX_SPEED_DENOM as f64;
        Fraction::new(numer.round() as i64, MAX_SPEED_DENOM).unwrap_or(Fraction::ONE)
    }

    /// The clock of the range over the recording; `None` without a recording that is heard or without anchors.
    fn recording_clock(&self, groove: &Groove) -> Option<RecordingClock> {
        let play = self.recording?;
        let anchors = AnchorMap::of(groove)?;
        let sections = groove.sections();
        let (section, pass, from) = match self.range {
            Range::Whole => (0, 0, Time::ZERO),
            Range::Section(section) => (section, 0, Time::ZERO),
            Range::Region { first, from, last, .. } => {
                let last_pass = usize::from(sections.get(first)?.times).saturating_sub(1);
                (first, if first == last { 0 } else { last_pass }, from)
            }
        };
        let before = anchors.pass_length().checked_mul(i64::from(play.pass))?;
        let start = before.checked_add(groove.score_time(section, pass, from)?)?;
        Some(RecordingClock { anchors, start, speed: self.bounded_speed(), rate: self.rate })
    }

    /// The speed, compared with the written tempo, of the first bar of the range over the recording.
    pub(super) fn opening_speed(&self, groove: &Groove) -> Fraction {
        let speed = || {
            let clock = self.recording_clock(groove)?;
            let bar = groove.sections().get(self.range.first_section())?.meter.bar();
            let written = groove.score_time(self.range.first_section(), 0, bar)?
                - groove.score_time(self.range.first_section(), 0, Time::ZERO)?;
            let played = clock.anchors.recording_time(clock.start + written) - clock.recording_start();
            // Microseconds keep the terms of the product small.
            self.speed.times(Fraction::new(written / 1000, played / 1000)?)
        };
        speed().unwrap_or(self.speed)
    }
}

/// One sound of the loop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Note {
    /// Start in the loop.
    pub(super) at: FrameTime,
    /// Index of its samples in the schedule.
    pub(super) sound: u32,
    /// Frames after which it is damped; `u32::MAX` if it is not.
    pub(super) hold: u32,
    pub(super) left: f32,
    pub(super) right: f32,
    /// Whether it is the grace stroke of a flam at the start of the next pass.
    pub(super) is_for_next_pass: bool,
}

/// A loop ready to be rendered, with every note at its exact offset.
///
/// The `k`th note of pass `n` begins at frame `round(n * length + offset[k])`, halves upward, where `length` and `offset[k]`
/// are exact fractions of a frame over one common denominator of at most 2^120 (see `clock::Timebase` for what exceeds it).
#[derive(Debug)]
pub struct Schedule {
    pub(super) notes: Vec<Note>,
    pub(super) sounds: Vec<Arc<[f32]>>,
    pub(super) map: Arc<PositionMap>,
    pub(super) rate: SampleRate,
    /// Passes, from 0 and ascending, in which only the first `opening_notes` notes sound.
    pub(super) muted_passes: Vec<u32>,
    pub(super) opening_notes: usize,
    /// Frames of the opening of a muted pass.
    pub(super) opening_frames: i64,
    /// The recording under the loop.
    pub(super) track: Option<Arc<Track>>,
    /// The pass that no other follows, if there is one.
    pub(super) last_pass: Option<u64>,
}

impl Schedule {
    /// Builds the loop of a groove. Muted layers are left out. A range outside the groove, or a loop shorter than 32 frames, is
    /// a silent loop. This allocates and synthesizes: never call it on the audio thread.
    pub fn build(groove: &Groove, options: &ScheduleOptions) -> Schedule {
        let (Some(play), Some(clock)) = (options.recording, options.recording_clock(groove)) else {
            return Builder::new(groove, options).build();
        };
        let written = ScheduleOptions { speed: Fraction::ONE, recording: None, ..options.clone() };
        let mut schedule = clock.apply(Builder::new(groove, &written).build());
        let listening =
            Listening { from: clock.recording_start(), speed: clock.speed, rate: options.rate, tone: play.tone };
        if !play.is_silent {
            schedule.track = options.samples.track(listening, schedule.map.rounded_length(), play);
        }
        schedule
    }

    /// A loop from notes in order of time, each with the index of its samples.
    pub(super) fn from_parts(
        notes: Vec<Note>,
        sounds: Vec<Arc<[f32]>>,
        map: PositionMap,
        rate: SampleRate,
    ) -> Schedule {
        Schedule {
            notes,
            sounds,
            map: Arc::new(map),
            rate,
            muted_passes: Vec::new(),
            opening_notes: 0,
            opening_frames: 0,
            track: None,
            last_pass: None,
        }
    }

    /// Number of notes that begin before `until` in the first pass through the first section.
    pub(super) fn notes_before(&self, until: Time) -> usize {
        let end = self.first_frame_at(until);
        // Half a frame earlier, so that rounding moves no note across the limit.
        self.notes.partition_point(|n| n.at.to_f64(self.map.denom) < end - 0.5)
    }

    /// The unrounded frame of a time in the first pass through the first section.
    pub(super) fn first_frame_at(&self, time: Time) -> f64 {
        self.map.frame_in_first_pass(wholes_f64(time))
    }

    /// Frames of its recording that sound in a pass.
    pub(super) fn track_frames_in_pass(&self, pass: u64) -> i64 {
        if self.is_muted(pass) { self.opening_frames } else { i64::MAX }
    }

    fn is_muted(&self, pass: u64) -> bool {
        u32::try_from(pass).is_ok_and(|pass| self.muted_passes.binary_search(&pass).is_ok())
    }

    /// The notes that sound in a pass.
    pub(super) fn notes_in_pass(&self, pass: u64) -> &[Note] {
        if self.is_muted(pass) { &self.notes[..self.opening_notes] } else { &self.notes }
    }

    /// Whether a note sounds in a pass if the notes of the pass do.
    pub(super) fn sounds_in_pass(&self, note: &Note, pass: u64) -> bool {
        !note.is_for_next_pass || self.last_pass != Some(pass)
    }

    /// Number of notes in one pass.
    pub fn len(&self) -> usize {
        self.notes.len()
    }

    /// Whether the loop is silent.
    pub fn is_empty(&self) -> bool {
        self.notes.is_empty()
    }

    /// The rounded frame at which the `k`th note of pass `pass` begins, from the start of pass 0.
    #[cfg(test)]
    pub(crate) fn onset(&self, pass: u64, k: usize) -> Option<Frame> {
        let denom = self.map.denom;
        let note = self.notes.get(k)?;
        Some(Frame(self.map.length.times(pass, denom).plus(note.at, denom).rounded(denom)))
    }

    /// The frame at which the last sound of this many passes ends, from the start of the first one.
    pub(super) fn end(&self, passes: u32) -> Frame {
        let tail = if passes == 0 { 0 } else { self.tail().0 };
        Frame(self.map.pass_start(u64::from(passes)).0.saturating_add(tail))
    }

    /// Frames that the last notes ring beyond the end of a pass.
    fn tail(&self) -> Frame {
        let ends = self.notes.iter().filter(|n| !n.is_for_next_pass).map(|n| {
            let full = self.sounds[n.sound as usize].len() as i64;
            n.at.frame + 1 + full.min(i64::from(n.hold).saturating_add(i64::from(super::render::release(self.rate))))
        });
        Frame((ends.max().unwrap_or(0) - self.map.length.frame).max(0))
    }
}

pub(super) fn wholes_f64(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}
