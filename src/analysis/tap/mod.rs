//! Taps along with the loop: which hearing they follow, how early or late they fall, how steadily, and where they slip. It
//! must not know keys, devices or clocks.
//!
//! Which pulse is followed is found by `follow`: the cheapest way to cut the taps into stretches, each of which follows one
//! pulse or none. What is said of a stretch is computed by `figures`.

mod figures;
mod follow;
mod pulses;

pub use figures::{Figures, Offset, Slip, What, calibrate, median};

use super::report::Report;
use pulses::of_report;

/// Fewest taps of which something is said (ours, no source: a stretch costs as much as about seven taps can save).
pub const FEWEST: usize = 8;
/// Most taps that are looked at; of more the last ones count.
pub const MOST: usize = 2000;

/// What is asked of some taps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TapAsk {
    /// Playing speed, as a part of the written tempos, above 0.
    pub speed: f64,
    /// Start and end of the loop in seconds from the groove's start, at full speed.
    pub range: (f64, f64),
    /// What is taken off every tap, in seconds as they pass: the machine's delay and the player's habit. With 0 they are taken
    /// for unknown, and a pulse may be tapped twice as early or late.
    pub offset: f64,
}

/// How a pulse is tapped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Rate {
    /// A tap on each pulse.
    Each,
    /// Two taps a pulse.
    Double,
    /// A tap on every second pulse.
    Half,
    /// A tap in the middle between pulses.
    Between,
    /// A tap on each pulse, going on through the loop's return where the hearing begins anew.
    On,
}

/// What a stretch of taps follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Follows {
    /// A hearing, as an index into the report, and how it is tapped.
    Hearing(usize, Rate),
    /// The attacks themselves, one tap each.
    Attacks,
    /// No pulse that is known.
    Nothing,
}

/// Taps that follow one pulse.
#[derive(Debug, Clone, PartialEq)]
pub struct TapStretch {
    /// First tap, from 0.
    pub first: usize,
    /// Number of taps.
    pub taps: usize,
    /// Where in the groove it begins, in seconds from the groove's start at full speed.
    pub at: f64,
    /// Turn of the loop in which it begins, from 0.
    pub turn: u64,
    /// What it follows.
    pub follows: Follows,
    /// What fits next best.
    pub second: Option<Follows>,
    /// By how much it fits better than that, in natural units of information, 0 or more: odds of `exp(margin)` to one.
    pub margin: f64,
    /// How fast was tapped, in taps per minute as they passed, by least squares over all taps; one that is missing or double leaves it
    /// as it is.
    pub rate: f64,
    /// Asynchronies, spread, drift, slips; `None` where no pulse is followed.
    pub figures: Option<Figures>,
}

/// What is said of some taps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TapReport {
    /// Taps looked at.
    pub taps: usize,
    /// Taps before them that were too many to look at.
    pub left: usize,
    /// The stretches, in order; none of fewer than [`FEWEST`] taps.
    pub stretches: Vec<TapStretch>,
}

impl TapReport {
    /// Whether there are too few taps to say anything.
    pub fn is_too_short(&self) -> bool {
        self.taps < FEWEST
    }

    /// The stretch of most taps, the first of those.
    pub fn longest(&self) -> Option<&TapStretch> {
        self.stretches.iter().fold(None, |best: Option<&TapStretch>, s| match best {
            Some(b) if b.taps >= s.taps => best,
            _ => Some(s),
        })
    }
}

/// What can be said of taps, given in seconds at full speed from the loop's start, turn after turn counted on, as they were
/// heard. Taps that are no numbers are left out, the others put in order.
pub fn tap_report(report: &Report, ask: &TapAsk, taps: &[f64]) -> TapReport {
    let length = (ask.range.1 - ask.range.0) / ask.speed;
    let mut times: Vec<f64> = taps.iter().filter(|t| t.is_finite()).map(|t| t / ask.speed - ask.offset).collect();
    times.sort_by(f64::total_cmp);
    let left = times.len().saturating_sub(MOST);
    times.drain(..left);
    let mut told = TapReport { taps: times.len(), left, stretches: Vec::new() };
    if told.is_too_short() || !(length.is_finite() && length > 0.0) {
        return told;
    }
    let known = of_report(report, ask);
    for part in follow::stretches(&known, &times, ask.offset != 0.0) {
        let own = &times[part.from..part.to];
        let pulses = part.pulses.map(|p| &known[p]);
        // Where a pulse is followed, its place is meant: a tap a little early would stand in the cell before.
        let begins = pulses.map_or(own[0], |p| p.at(p.nearest(own[0] - part.shifts[0])));
        let turn = (begins / length + 1e-9).floor();
        told.stretches.push(TapStretch {
            first: left + part.from,
            taps: own.len(),
            at: ask.range.0 + (begins - turn * length).max(0.0) * ask.speed,
            turn: turn.max(0.0) as u64,
            follows: pulses.map_or(Follows::Nothing, |p| p.follows),
            second: part.second,
            margin: part.margin,
            rate: 60.0 / figures::step(own),
            figures: pulses.map(|p| figures::of_stretch(p, own, &part.shifts, ask, left + part.from)),
        });
    }
    told
}
