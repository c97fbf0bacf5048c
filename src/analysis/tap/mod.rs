//! Tapping along with the loop: which hearing the taps follow, their asynchrony, their spread and their slips.
//!
//! `follow` finds the pulse: the lowest-cost segmentation of the taps into stretches, each following one pulse or none.
//! `statistics` describes a stretch.

mod follow;
mod pulses;
mod statistics;

pub(crate) use statistics::{Offset, TapStats, calibrate, median};
pub use statistics::{Slip, SlipKind};

use super::report::Report;
use pulses::of_report;

/// Fewest taps that are analysed (ours, no source: a stretch costs as much as about seven taps can save).
pub const MIN_TAPS: usize = 8;
/// Most taps that are analysed; earlier ones are dropped.
pub(crate) const MAX_TAPS: usize = 2000;

/// How a list of taps is analysed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TapOptions {
    /// Playing speed as a fraction of the written tempos, above 0.
    pub speed: f64,
    /// Start and end of the loop in seconds from the groove's start, at full speed.
    pub range: (f64, f64),
    /// Subtracted from every tap, in seconds of real time: the latency and the player's habitual asynchrony. 0 means
    /// unknown, which doubles the accepted asynchrony.
    pub offset: f64,
}

/// How often a pulse is tapped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TapRate {
    /// A tap on each pulse.
    Pulse,
    /// Two taps a pulse.
    Double,
    /// A tap on every second pulse.
    Half,
    /// A tap midway between pulses.
    Offbeat,
    /// A tap on each pulse, continued over the end of the loop where the hearing itself re-enters.
    Continued,
}

/// The pulse that a stretch of taps follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FollowedPulse {
    /// A hearing, as an index into the report, and how it is tapped.
    Hearing(usize, TapRate),
    /// The attacks themselves, one tap each.
    Attacks,
    /// None of the known pulses.
    None,
}

/// Taps that follow one pulse.
#[derive(Debug, Clone, PartialEq)]
pub struct TapStretch {
    /// First tap, from 0.
    pub first: usize,
    /// Number of taps.
    pub taps: usize,
    /// Its start, in seconds from the groove's start at full speed.
    pub at: f64,
    /// Pass of the loop in which it begins, from 0.
    pub pass: u64,
    /// The pulse it follows.
    pub follows: FollowedPulse,
    /// The second-best pulse.
    pub runner_up: Option<FollowedPulse>,
    /// Log odds (nats) against the second-best pulse, 0 or more.
    pub margin: f64,
    /// Taps per minute of real time, by least squares over all taps; missing and double taps do not change it.
    pub rate: f64,
    /// Asynchrony, spread, drift and slips; `None` if no pulse is followed.
    pub stats: Option<TapStats>,
}

/// The analysis of a list of taps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TapReport {
    /// Number of taps analysed.
    pub taps: usize,
    /// Number of earlier taps that were dropped.
    pub dropped: usize,
    /// The stretches in order, each of at least [`MIN_TAPS`] taps.
    pub stretches: Vec<TapStretch>,
}

impl TapReport {
    /// Whether there are fewer than [`MIN_TAPS`] taps.
    pub fn has_too_few_taps(&self) -> bool {
        self.taps < MIN_TAPS
    }
}

/// Analyses taps given in seconds at full speed from the loop's start, counted on over all passes. Taps that are not finite are
/// dropped; the others are sorted.
pub fn tap_report(report: &Report, options: &TapOptions, taps: &[f64]) -> TapReport {
    let length = (options.range.1 - options.range.0) / options.speed;
    let mut times: Vec<f64> =
        taps.iter().filter(|t| t.is_finite()).map(|t| t / options.speed - options.offset).collect();
    times.sort_by(f64::total_cmp);
    let dropped = times.len().saturating_sub(MAX_TAPS);
    times.drain(..dropped);
    let mut result = TapReport { taps: times.len(), dropped, stretches: Vec::new() };
    if result.has_too_few_taps() || !(length.is_finite() && length > 0.0) {
        return result;
    }
    let known = of_report(report, options);
    for part in follow::stretches(&known, &times, options) {
        let own = &times[part.from..part.to];
        let pulses = part.pulses.map(|p| &known[p]);
        // Use the pulse's position, not the tap's: an early tap would fall in the cell before.
        let begins = pulses.map_or(own[0], |p| p.at(p.nearest(own[0] - part.shifts[0])));
        let pass = (begins / length + 1e-9).floor();
        result.stretches.push(TapStretch {
            first: dropped + part.from,
            taps: own.len(),
            at: options.range.0 + (begins - pass * length).max(0.0) * options.speed,
            pass: pass.max(0.0) as u64,
            follows: pulses.map_or(FollowedPulse::None, |p| p.follows),
            runner_up: part.runner_up,
            margin: part.margin,
            rate: 60.0 / statistics::step(own),
            stats: pulses.map(|p| statistics::tap_stats(p, own, &part.shifts, options, dropped + part.from)),
        });
    }
    result
}
