//! Takes: stretches of a sequence that is heard back to back, each a loop so many times through with its clicks. It must
//! not know where a line of clicks comes from, files or devices.

mod cue;
pub mod ladder;
mod sequence;
#[cfg(test)]
mod tests;

pub use cue::{Cue, table};
pub use sequence::Sequence;

use super::click::{Click, ClickLine, Moment};
use super::schedule::{Ask, Range, Schedule};
use super::units::SampleRate;
use crate::rhythm::{Edit, Fraction, Groove, Time};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::FromPrimitive;

/// Pulses of a line that are counted in.
const COUNTED: u32 = 4;

/// What is counted in before a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountIn {
    /// Nothing.
    Off,
    /// One bar of the written beat, in the meter and tempo of the first section.
    Bar,
    /// Four pulses of the take's line of this index, at the distance of its first two, so that the next would fall on its
    /// first pulse. Without two pulses in seconds it is [`CountIn::Bar`].
    Line(usize),
}

/// One take of a sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// What it is called in the list of cues.
    pub name: String,
    /// What else is said of it there; may be empty.
    pub note: String,
    /// Whether the layers of the groove sound; otherwise the clicks are alone.
    pub layers: bool,
    /// The click of the written beat.
    pub click: Click,
    /// Further clicks.
    pub lines: Vec<ClickLine>,
    /// Playing speed, as in [`Ask::speed`].
    pub speed: Fraction,
    /// Times through the whole groove.
    pub times: u32,
    /// What is counted in before it.
    pub count_in: CountIn,
    /// Times through, from 0, of which only the [`opening`] sounds, in rising order.
    pub silences: Vec<u32>,
}

impl Take {
    /// The loop of this take. It allocates and synthesises: never call it on the audio thread.
    pub fn schedule(&self, groove: &Groove, rate: SampleRate) -> Schedule {
        let (speed, click, lines) = (self.speed, self.click, self.lines.clone());
        let ask = Ask { rate, speed, range: Range::Whole, click, lines };
        if self.layers { Schedule::build(groove, &ask) } else { Schedule::build(&bare(groove), &ask) }
    }

    /// The count-in of this take, to be played once; `None` if there is none.
    pub fn count(&self, groove: &Groove, rate: SampleRate) -> Option<Schedule> {
        let ask = Ask { speed: self.speed, ..Ask::whole(rate) };
        match self.count_in {
            CountIn::Off => return None,
            CountIn::Line(k) => {
                let line = self.lines.get(k);
                if let Some((moments, length)) = line.and_then(counted) {
                    let line = ClickLine { moments, ..line?.clone() };
                    return Some(Schedule::clicks(groove, &Ask { lines: vec![line], ..ask }, &length));
                }
            }
            CountIn::Bar => {}
        }
        let bar = groove.sections().first()?.meter.bar();
        let range = Range::Region { section: 0, from: Time::ZERO, to: bar };
        Some(Schedule::build(&bare(groove), &Ask { range, click: Click::Written, ..ask }))
    }
}

/// The part of a loop that still sounds when the rest of it is silent: a bar, or of a loop of one bar its first beat.
pub fn opening(groove: &Groove) -> Time {
    let Some(first) = groove.sections().first() else { return Time::ZERO };
    let bar = first.meter.bar();
    if groove.length().is_none_or(|all| all > bar) { bar } else { first.meter.beat() }
}

/// The groove with no layer heard.
fn bare(groove: &Groove) -> Groove {
    let mute = |g: Groove, layer| g.edited(&Edit::Mute(layer, true)).unwrap_or(g);
    (0..groove.layers().len()).fold(groove.clone(), mute)
}

/// When the pulses before a line sound, from the start of its count-in, and how long that lasts, in seconds at full speed.
fn counted(line: &ClickLine) -> Option<(Vec<Moment>, BigRational)> {
    let seconds = line.moments.iter().filter_map(|m| match m {
        Moment::Seconds(t) => Some(*t),
        Moment::At { .. } | Moment::Between(_) => None,
    });
    let mut seconds: Vec<f64> = seconds.filter(|t| t.is_finite() && *t >= 0.0).collect();
    seconds.sort_by(f64::total_cmp);
    let (first, period) = (*seconds.first()?, seconds.get(1)? - seconds[0]);
    if period <= 1e-3 {
        return None;
    }
    // The loop may begin with more than a period before its first pulse.
    let lead = first.rem_euclid(period);
    let moments = (0..COUNTED).map(|k| Moment::Seconds(f64::from(k) * period)).collect();
    let length = BigRational::from_f64(period)? * BigInt::from(COUNTED) - BigRational::from_f64(lead)?;
    Some((moments, length))
}
