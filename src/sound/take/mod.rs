//! Takes: loops with a number of passes, clicks and a count-in, played back to back.

mod cue;
mod sequence;
#[cfg(test)]
pub(super) mod tests;

pub(crate) use cue::cue_table;
pub(crate) use sequence::SequenceRenderer;

use super::builder::Builder;
use super::click::{Click, ClickLine, Moment, click_pan};
use super::clock::Seconds;
use super::schedule::{Range, Schedule, ScheduleOptions, wholes_f64};
use super::segment::Segment;
use super::track::RecordingPlay;
use super::units::SampleRate;
use super::user_samples::UserSamples;
use crate::rhythm::{ClickSound, Edit, Fraction, Groove, Section, Time};
#[cfg(test)]
pub(crate) use cue::Cue;

/// Clicks of a pulse for each bar of a count-in.
const COUNT_IN_CLICKS: u32 = 4;
/// Most bars of a count-in.
pub(crate) const MAX_COUNT_IN_BARS: u32 = 16;

/// The count-in before a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CountIn {
    Off,
    /// Bars of the written beat, in the meter and tempo of the first section.
    Bar,
    /// Four clicks for each bar, of a pulse that continues into its first pulse in the loop. If the period is less than a millisecond, or a
    /// number is not finite, it is [`CountIn::Bar`].
    Pulse {
        /// First pulse in the loop, in seconds at full speed.
        first: f64,
        /// Period there, in seconds at full speed.
        period: f64,
        /// As [`ClickLine::tone`].
        tone: u8,
        /// As [`ClickLine::side`].
        side: i8,
    },
}

impl CountIn {
    /// The pulse of the hearing with this index into a loop that begins at `start`, both in seconds at full speed; a bar if
    /// fewer than two pulses follow.
    pub(crate) fn of_pulses(pulses: &[f64], start: f64, index: u8) -> Self {
        match pulses[pulses.partition_point(|t| *t < start - 1e-9)..] {
            [first, second, ..] => {
                Self::Pulse { first: first - start, period: second - first, tone: index, side: click_pan(index) }
            }
            _ => Self::Bar,
        }
    }
}

/// One take of a sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Name in the list of cues.
    pub name: String,
    /// Note in the list of cues, or empty.
    pub note: String,
    /// Whether the layers of the groove sound, or only the clicks.
    pub layers: bool,
    pub click: Click,
    /// Gain of all clicks in dB.
    pub click_db: f32,
    /// The sound of all clicks.
    pub click_sound: ClickSound,
    /// Clicks in addition to those of the written beat.
    pub lines: Vec<ClickLine>,
    /// As [`ScheduleOptions::speed`].
    pub speed: Fraction,
    pub range: Range,
    /// Number of passes.
    pub times: u32,
    pub count_in: CountIn,
    /// How the recording sounds, which then sets the times.
    pub recording: Option<RecordingPlay>,
    /// Length of the count-in, clamped to 1 to 16.
    pub count_in_bars: u32,
    /// Passes, from 0 and ascending, in which only the [`Take::audible_prefix`] sounds.
    pub muted_passes: Vec<u32>,
}

impl Take {
    fn options(&self, rate: SampleRate, samples: UserSamples) -> ScheduleOptions {
        let Self { speed, range, click, click_db, click_sound, ref lines, recording, .. } = *self;
        ScheduleOptions { rate, speed, range, click, click_db, click_sound, lines: lines.clone(), samples, recording }
    }

    /// The loop of this take. This allocates and synthesizes: never call it on the audio thread.
    pub(crate) fn schedule(&self, groove: &Groove, rate: SampleRate, samples: &UserSamples) -> Schedule {
        let options = self.options(rate, samples.clone());
        if self.layers { Schedule::build(groove, &options) } else { Schedule::build(&mute_layers(groove), &options) }
    }

    pub(crate) fn segment(&self, groove: &Groove, rate: SampleRate, samples: &UserSamples) -> Segment {
        let segment = Segment::new(self.schedule(groove, rate, samples)).passes(u64::from(self.times));
        segment.mute_passes(&self.muted_passes, self.audible_prefix(groove))
    }

    /// End of the part that sounds in a muted pass, from the start of the first section: a bar, or in a loop of one bar its first
    /// beat.
    fn audible_prefix(&self, groove: &Groove) -> Time {
        let length = match self.range {
            Range::Whole => groove.length(),
            Range::Section(s) => groove.sections().get(s).map(Section::length),
            Range::Region { first, from, last, to } => {
                let before = groove.sections().get(first..last).unwrap_or_default();
                before.iter().try_fold(to, |sum, s| sum.plus(s.length())).and_then(|sum| sum.minus(from))
            }
        };
        let Some(section) = groove.sections().get(self.range.first_section()) else { return Time::ZERO };
        let (bar, beat) = (section.meter.bar(), section.meter.beat());
        let prefix = if length.is_none_or(|all| all > bar) { bar } else { beat };
        match self.range {
            Range::Region { from, .. } => from.plus(prefix).unwrap_or(bar),
            Range::Whole | Range::Section(_) => prefix,
        }
    }

    /// Number of passes through [`Take::count_in_schedule`].
    pub(super) fn count_in_passes(&self) -> u32 {
        match self.count_in {
            CountIn::Pulse { first, period, .. } if count_in_clicks(first, period, 1).is_some() => 1,
            _ => self.count_in_bars(),
        }
    }

    fn count_in_bars(&self) -> u32 {
        self.count_in_bars.clamp(1, MAX_COUNT_IN_BARS)
    }

    /// The loop of the count-in, whose positions count its beats from the start of the first section; `None` if there is none. It
    /// is one bar of the written beat, or all clicks of a pulse.
    pub(super) fn count_in_schedule(&self, groove: &Groove, rate: SampleRate) -> Option<Schedule> {
        let Self { speed, click_db, click_sound, .. } = *self;
        let over =
            ScheduleOptions { range: self.range, recording: self.recording, speed, ..ScheduleOptions::whole(rate) };
        let speed = over.opening_speed(groove);
        let options = ScheduleOptions { speed, click_db, click_sound, ..ScheduleOptions::whole(rate) };
        let section = self.range.first_section();
        let meter = &groove.sections().get(section)?.meter;
        match self.count_in {
            CountIn::Off => return None,
            CountIn::Pulse { first, period, tone, side } => {
                let count = COUNT_IN_CLICKS * self.count_in_bars();
                if let Some((moments, length)) = count_in_clicks(first, period, count) {
                    let lines = vec![ClickLine { moments, tone, side }];
                    // Each click counts as a beat of the section.
                    let clicks = f64::from(count) - first.rem_euclid(period) / period;
                    let positions = (section, clicks * wholes_f64(meter.beat()));
                    return Some(Builder::clicks(groove, &ScheduleOptions { lines, ..options }, length, positions));
                }
            }
            CountIn::Bar => {}
        }
        let range = Range::within(section, Time::ZERO, meter.bar());
        Some(Schedule::build(&mute_layers(groove), &ScheduleOptions { range, click: Click::Written, ..options }))
    }
}

/// The groove with all layers muted.
fn mute_layers(groove: &Groove) -> Groove {
    let mute = |g: Groove, layer| g.edited(&Edit::Mute(layer, true)).unwrap_or(g);
    (0..groove.layers().len()).fold(groove.clone(), mute)
}

/// A number of clicks before a pulse, from the start of the count-in, and the length of the count-in at full speed.
fn count_in_clicks(first: f64, period: f64, count: u32) -> Option<(Vec<Moment>, Seconds)> {
    if !first.is_finite() || !(1e-3..=3600.0).contains(&period) {
        return None;
    }
    // The first pulse may be more than a period into the loop.
    let lead = first.rem_euclid(period);
    let moments = (0..count).map(|k| Moment::Pulse(f64::from(k) * period)).collect();
    let length = Seconds::new(period)?.times(count.into()).minus(Seconds::new(lead)?);
    Some((moments, length))
}

/// Mutes passes of a ladder more and more often, counted through all takes: first the `every`th, then each one after an interval
/// shorter by one pass, down to every second pass. The first pass of a take is muted only if it is the only one. Does nothing
/// for `every` below 2.
pub(crate) fn mute_ladder_passes(takes: &mut [Take], every: u32) {
    if every < 2 {
        return;
    }
    let (mut every, mut left) = (every, every);
    for take in takes {
        take.muted_passes.clear();
        for pass in 0..take.times {
            left = left.saturating_sub(1);
            if left == 0 && (pass > 0 || take.times == 1) {
                take.muted_passes.push(pass);
                every = (every - 1).max(2);
                left = every;
            }
        }
    }
}
