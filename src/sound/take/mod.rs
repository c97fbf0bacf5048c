//! Takes: loops with a number of passes and clicks, played back to back.

mod cue;
pub(crate) mod ladder;
mod sequence;
#[cfg(test)]
pub(super) mod tests;

pub(crate) use cue::table;
pub(crate) use sequence::Sequence;

use super::click::{Click, ClickLine, Moment};
use super::clock::Seconds;
use super::schedule::{Range, Schedule, ScheduleOptions};
use super::segment::Segment;
use super::units::SampleRate;
use super::user_samples::UserSamples;
use crate::rhythm::{Edit, Fraction, Groove, Section, Time};
#[cfg(test)]
pub(crate) use cue::Cue;

/// Clicks of a pulse in a count-in.
const COUNT_IN_CLICKS: u32 = 4;

/// The count-in before a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CountIn {
    /// None.
    Off,
    /// One bar of the written beat, in the meter and tempo of the first section.
    Bar,
    /// Four clicks of a pulse that continues into its first pulse in the loop. If the period is a millisecond or less, or a number
    /// is not finite, it is [`CountIn::Bar`].
    Pulse {
        /// First pulse in the loop, in seconds at full speed.
        first: f64,
        /// Period there, in seconds at full speed.
        period: f64,
        /// Pitch, as [`ClickLine::tone`].
        tone: u8,
        /// Pan, as [`ClickLine::side`].
        side: i8,
    },
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
    /// The click of the written beat.
    pub click: Click,
    /// Gain of all clicks in dB.
    pub click_db: f32,
    /// Further clicks.
    pub lines: Vec<ClickLine>,
    /// Playing speed, as in [`ScheduleOptions::speed`].
    pub speed: Fraction,
    /// What loops, as in [`ScheduleOptions::range`].
    pub range: Range,
    /// Number of passes.
    pub times: u32,
    /// The count-in before a take.
    pub count_in: CountIn,
    /// Passes, from 0 and ascending, in which only the [`Take::audible_prefix`] sounds.
    pub muted_passes: Vec<u32>,
}

impl Take {
    /// The loop of this take. This allocates and synthesizes: never call it on the audio thread.
    pub fn schedule(&self, groove: &Groove, rate: SampleRate) -> Schedule {
        self.schedule_with(groove, rate, &UserSamples::none())
    }

    /// The same with the user's own samples.
    pub fn schedule_with(&self, groove: &Groove, rate: SampleRate, own: &UserSamples) -> Schedule {
        let (speed, click, lines) = (self.speed, self.click, self.lines.clone());
        let ask = ScheduleOptions { rate, speed, range: self.range, click, click_db: self.click_db, lines };
        if self.layers { Schedule::build_with(groove, &ask, own) } else { Schedule::build(&bare(groove), &ask) }
    }

    /// The loop with its passes and muted passes.
    pub fn segment(&self, groove: &Groove, rate: SampleRate) -> Segment {
        self.segment_with(groove, rate, &UserSamples::none())
    }

    /// The same with the user's own samples.
    pub fn segment_with(&self, groove: &Groove, rate: SampleRate, own: &UserSamples) -> Segment {
        let segment = Segment::new(self.schedule_with(groove, rate, own)).times(u64::from(self.times));
        segment.mute_passes(&self.muted_passes, self.audible_prefix(groove))
    }

    /// End of the part that sounds in a muted pass, from the start of the first section: a bar, or in a loop of one bar its first
    /// beat.
    pub fn audible_prefix(&self, groove: &Groove) -> Time {
        let (section, from, length) = match self.range {
            Range::Whole => (0, Time::ZERO, groove.length()),
            Range::Section(s) => (s, Time::ZERO, groove.sections().get(s).map(Section::length)),
            Range::Region { section, from, to } => (section, from, to.minus(from)),
        };
        let Some(section) = groove.sections().get(section) else { return Time::ZERO };
        let (bar, beat) = (section.meter.bar(), section.meter.beat());
        from.plus(if length.is_none_or(|all| all > bar) { bar } else { beat }).unwrap_or(bar)
    }

    /// The count-in of this take, `None` if there is none.
    pub fn count(&self, groove: &Groove, rate: SampleRate) -> Option<Schedule> {
        let ask = ScheduleOptions { speed: self.speed, click_db: self.click_db, ..ScheduleOptions::whole(rate) };
        match self.count_in {
            CountIn::Off => return None,
            CountIn::Pulse { first, period, tone, side } => {
                if let Some((moments, length)) = count_in_clicks(first, period) {
                    let lines = vec![ClickLine { moments, tone, side }];
                    return Some(Schedule::clicks(groove, &ScheduleOptions { lines, ..ask }, length));
                }
            }
            CountIn::Bar => {}
        }
        let section = match self.range {
            Range::Whole => 0,
            Range::Section(section) | Range::Region { section, .. } => section,
        };
        let bar = groove.sections().get(section)?.meter.bar();
        let range = Range::Region { section, from: Time::ZERO, to: bar };
        Some(Schedule::build(&bare(groove), &ScheduleOptions { range, click: Click::Written, ..ask }))
    }
}

/// The groove with all layers muted.
pub(crate) fn bare(groove: &Groove) -> Groove {
    let mute = |g: Groove, layer| g.edited(&Edit::Mute(layer, true)).unwrap_or(g);
    (0..groove.layers().len()).fold(groove.clone(), mute)
}

/// The clicks before a pulse, from the start of the count-in, and the length of the count-in at full speed.
fn count_in_clicks(first: f64, period: f64) -> Option<(Vec<Moment>, Seconds)> {
    if !first.is_finite() || !(1e-3..=3600.0).contains(&period) {
        return None;
    }
    // The first pulse may be more than a period into the loop.
    let lead = first.rem_euclid(period);
    let moments = (0..COUNT_IN_CLICKS).map(|k| Moment::Seconds(f64::from(k) * period)).collect();
    let length = Seconds::new(period)?.times(COUNT_IN_CLICKS.into()).minus(Seconds::new(lead)?);
    Some((moments, length))
}
