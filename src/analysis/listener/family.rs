//! Which pulses keep the written beat: the only part of the model that looks at the written meter, after everything is heard.

use super::grid_posterior::Cycle;
use super::hypothesis::{Piece, PulseKind, Pulses};
use super::input::{TimedSection, WrittenMeter};
use super::params::ROUNDING;

/// How far a pulse may lie from the written beat, as a part of its period.
const PHASE_TOLERANCE: f64 = 0.08;
/// How far the period may be from a whole number of beats, as a share.
const PERIOD_TOLERANCE: f64 = 0.02;
/// Share of the pulses that must lie on the written ones.
const MIN_SHARE: f64 = 0.85;

/// How a hearing keeps the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Member {
    /// A pulse of `every` beats, `from` beats after the bar line: the beat itself is every 1.
    Beats {
        /// Beats in a pulse.
        every: usize,
        /// Beats from a bar line to the first pulse in a bar.
        from: usize,
    },
    /// So many pulses in a beat.
    Parts(u8),
    /// The heads of an additive meter.
    Heads,
    Bars,
}

/// A written section in seconds from the start of the span at the playing speed.
#[derive(Debug, Clone)]
pub(super) struct Written {
    from: f64,
    to: f64,
    pub(super) meter: WrittenMeter,
    /// Bars, heads of an additive meter and beats, from one bar before the section to one bar after it.
    bars: Vec<f64>,
    heads: Vec<f64>,
    beats: Vec<f64>,
}

impl WrittenMeter {
    fn beats_in_bar(&self) -> usize {
        (self.bar / self.beat).round().max(1.0) as usize
    }

    /// How many beats a pulse of some period takes, if it may take that many.
    fn beats_per_pulse(&self, period: f64) -> Option<usize> {
        let ratio = period / self.beat;
        let every = ratio.round() as usize;
        let allowed = match every {
            0 => false,
            1 => true,
            _ => self.heads.is_empty() && (every == 2 || self.beats_in_bar().is_multiple_of(every)),
        };
        (allowed && (ratio / every as f64 - 1.0).abs() < PERIOD_TOLERANCE).then_some(every)
    }

    fn is_part(&self, period: f64) -> bool {
        (period / self.beat * f64::from(self.parts) - 1.0).abs() < PERIOD_TOLERANCE
    }
}

/// Whether a period is one that a member of the family has: a pulse of that period that is none stands on another phase.
pub(crate) fn is_familiar(period: f64, meter: &WrittenMeter) -> bool {
    let is_double = (period / meter.beat / 2.0 - 1.0).abs() < PERIOD_TOLERANCE;
    meter.is_part(period) || is_double || meter.beats_per_pulse(period).is_some()
}

impl Written {
    pub(super) fn seconds(&self) -> f64 {
        self.to - self.from
    }

    /// What a span from one time of the loop to another holds of a section.
    pub(super) fn new(section: &TimedSection, range: (f64, f64), speed: f64) -> Self {
        let (from, to) = (section.start.max(range.0), section.end.min(range.1));
        let (from, to) = ((from - range.0) / speed, (to - range.0) / speed);
        let meter = WrittenMeter {
            origin: (section.meter.origin - range.0) / speed,
            bar: section.meter.bar / speed,
            beat: section.meter.beat / speed,
            parts: section.meter.parts,
            heads: section.meter.heads.iter().map(|h| h / speed).collect(),
        };
        let beats: Vec<f64> = (0..meter.beats_in_bar()).map(|b| b as f64 * meter.beat).collect();
        let first = ((from - meter.origin) / meter.bar).floor() as i64 - 1;
        let last = ((to - meter.origin) / meter.bar).ceil() as i64 + 1;
        let marks = |places: &[f64]| -> Vec<f64> {
            let bars = (first..=last).map(|b| meter.origin + b as f64 * meter.bar);
            bars.flat_map(|bar| places.iter().map(move |p| bar + p)).collect()
        };
        let (bars, heads, beats) = (marks(&[0.0]), marks(&meter.heads), marks(&beats));
        Self { from, to, meter, bars, heads, beats }
    }

    /// How a piece keeps the written beat from one time to another.
    fn member(&self, piece: &Piece, period: f64, (from, to): (f64, f64)) -> Option<Member> {
        let near = PHASE_TOLERANCE * period;
        let additive = !self.meter.heads.is_empty() && may_coincide(piece, period, from, to, &self.heads, &self.bars);
        let may_divide = piece.kind != PulseKind::Unequal
            && (self.meter.beats_per_pulse(period).is_some() || self.meter.is_part(period));
        if !additive && !may_divide {
            return None;
        }
        let times = piece.pulses.times();
        let mine = between(&times, from - near, to - near);
        let (&first, &last) = (mine.first()?, mine.last()?);
        let with = |before: Option<f64>, after: f64| -> Vec<f64> {
            before.into_iter().chain(mine.iter().copied()).chain([after]).collect()
        };
        if additive {
            let all = with(None, to);
            let both_ways = |marks: &[f64]| {
                let inside = between(marks, from - near, to - near);
                !inside.is_empty()
                    && share_near(mine, marks, near) >= MIN_SHARE
                    && share_near(inside, &all, near) >= MIN_SHARE
            };
            if both_ways(&self.heads) {
                return Some(Member::Heads);
            }
            if both_ways(&self.bars) {
                return Some(Member::Bars);
            }
        }
        if !may_divide {
            return None;
        }
        if let Some(every) = self.meter.beats_per_pulse(period) {
            let beat = ((first - self.meter.origin) / self.meter.beat).round() as i64;
            let member = Member::Beats { every, from: beat.rem_euclid(every as i64) as usize };
            return (share_near(mine, &self.beats, near) >= MIN_SHARE).then_some(member);
        }
        // A pulse before the first and after the last stands for those the window cuts off.
        let all = with(Some(first - period), last + period);
        let inside = between(&self.beats, from - 1e-9, to - 1e-9);
        (inside.len() > 1 && share_near(inside, &all, near) >= MIN_SHARE).then_some(Member::Parts(self.meter.parts))
    }
}

/// Whether a pulse may lie on the heads or bars: on a grid, its rate tells when it cannot.
fn may_coincide(piece: &Piece, period: f64, from: f64, to: f64, heads: &[f64], bars: &[f64]) -> bool {
    let pulses = (to - from) / period;
    matches!(piece.pulses, Pulses::Times(_))
        || [heads, bars].iter().any(|marks| {
            let marks = between(marks, from, to).len() as f64;
            pulses <= 3.0 * marks + 6.0 && marks <= 3.0 * pulses + 6.0
        })
}

/// Share of its time in which a piece keeps the written beat, and how it does where it does for the longest time.
pub(super) fn share(piece: &Piece, period: f64, sections: &[Written]) -> (f64, Option<Member>) {
    let (mut kept, mut all) = (0.0, 0.0);
    let mut longest: Option<(f64, Member)> = None;
    for section in sections {
        let (from, to) = (piece.start.max(section.from), piece.end.min(section.to));
        if to - from <= 1e-9 {
            continue;
        }
        all += to - from;
        if let Some(member) = section.member(piece, period, (from, to)) {
            kept += to - from;
            if longest.is_none_or(|l| l.0 < to - from) {
                longest = Some((to - from, member));
            }
        }
    }
    (if all > 0.0 { kept / all } else { 0.0 }, longest.map(|l| l.1))
}

/// The times from one on and before another; in order.
fn between(times: &[f64], from: f64, to: f64) -> &[f64] {
    let start = times.partition_point(|t| *t < from);
    &times[start..times.partition_point(|t| *t < to).max(start)]
}

/// Share of the times `a` within `near` of one of `b`, both in order.
fn share_near(a: &[f64], b: &[f64], near: f64) -> f64 {
    let mut next = 0;
    let close = a.iter().filter(|&&t| {
        while next < b.len() && b[next] < t - near {
            next += 1;
        }
        b.get(next).is_some_and(|x| *x <= t + near)
    });
    close.count() as f64 / a.len().max(1) as f64
}

/// The probability of cycles of half, one or two written bars on the bar lines of a span of so many seconds.
pub(super) fn on_bars(cycles: &[Cycle], sections: &[Written], length: f64) -> f64 {
    let (mut bars, mut lengths): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
    for s in sections {
        let lines = between(&s.bars, s.from - 1e-9, s.to - 1e-9);
        lengths.resize(lengths.len() + lines.len(), s.meter.bar);
        bars.extend(lines);
    }
    lengths.sort_by(f64::total_cmp);
    let Some(&bar) = lengths.get(lengths.len() / 2) else { return 0.0 };
    let mut lines = bars.clone();
    lines.push(length);
    let is_on = |c: &&Cycle| {
        let ratio = c.length / bar;
        if ![0.5, 1.0, 2.0].iter().any(|z| (ratio / z - 1.0).abs() < PERIOD_TOLERANCE) {
            return false;
        }
        let start = c.head.rem_euclid(c.length);
        let count = ((length - start) / c.length - ROUNDING).ceil().max(0.0) as usize;
        let mut heads: Vec<f64> = (0..count).map(|k| start + k as f64 * c.length).collect();
        let near = 0.06 * c.length;
        let of_heads = if ratio > 0.8 { share_near(&heads, &lines, near) } else { 0.0 };
        heads.push(length);
        let of_bars = if ratio < 1.5 { share_near(&bars, &heads, near) } else { 0.0 };
        of_bars.max(of_heads) > MIN_SHARE
    };
    cycles.iter().filter(is_on).map(|c| c.probability).sum()
}
