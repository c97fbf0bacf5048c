//! One way to read a recording: a clock, the strokes on it from beginning to end, and how probable that is.

use std::f64::consts::TAU;

use super::context::Context;
use super::evidence::band_evidence;
use crate::recording::fit::clock::{Clock, FitOptions, FitPoint, SMOOTHNESS, TEMPO_FREEDOM, fit_clock};
use crate::recording::fit::matching::match_one_to_one;
use crate::recording::fit::onset::median;
use crate::recording::fit::track::GATE;

/// Probability that a stroke is played and detected, and onsets that are none as a fraction of all (ours, no source).
const DETECTION: f64 = 0.85;
const SPURIOUS: f64 = 0.2;
/// Bounds of the standard deviation of a stroke, and its least for matching, in seconds (ours, no source).
const SIGMA: (f64, f64) = (0.006, 0.035);
const MIN_MATCH_SIGMA: f64 = 0.008;
/// Standard deviation of the logarithm of the rate about the expected one (ours, no source).
const HINT_SIGMA: f64 = 0.35;
/// What a bend of the clock of no size would earn, in nats: smaller ones are free (ours, no source).
const FREE_BEND: f64 = 0.6;
/// Weight of an anchor the user has moved, in strokes (ours, no source).
const PIN_WEIGHT: f64 = 25.0;
/// Points and hits that make a clock.
const MIN_POINTS: usize = 6;
/// Knots of the clock before and after the points.
const MARGIN_KNOTS: f64 = 2.0;
/// Onsets so near before the first knot and after the last belong to the clock, in seconds (ours, no source).
const BEFORE: f64 = 0.06;
const AFTER: f64 = 0.03;

/// An onset and the score time it was played for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    pub(super) onset: usize,
    pub(super) score: f64,
}

/// A stroke that should sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stroke {
    pub(super) event: usize,
    /// Unrolled score time.
    pub(super) score: f64,
}

/// A stroke that sounds and should (a hit), only sounds (extra) or only should (missing).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Item {
    pub(super) seconds: f64,
    /// Log odds against other music of the same density.
    pub(super) odds: f64,
    pub(super) onset: Option<usize>,
    pub(super) stroke: Option<Stroke>,
}

impl Item {
    pub(super) fn hit(&self) -> Option<(usize, Stroke)> {
        self.onset.zip(self.stroke)
    }
}

/// A clock with its strokes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    pub(super) clock: Clock,
    pub(super) rate: f64,
    /// From the beginning of the performance to its end.
    pub(super) items: Vec<Item>,
    pub(super) sigma: f64,
    /// Log odds of times, strengths and rate together.
    pub(super) total: f64,
}

impl Reading {
    pub(super) fn from(&self) -> f64 {
        self.items.first().map_or(0.0, |i| i.seconds)
    }

    pub(super) fn to(&self) -> f64 {
        self.items.last().map_or(0.0, |i| i.seconds)
    }

    pub(super) fn points(&self) -> Vec<Point> {
        let hits = self.items.iter().filter_map(Item::hit);
        hits.map(|(onset, stroke)| Point { onset, score: stroke.score }).collect()
    }

    /// Seconds both readings cover; negative if there is a gap between them.
    pub(super) fn overlap(&self, other: &Self) -> f64 {
        self.to().min(other.to()) - self.from().max(other.from())
    }

    /// Whether both read the same seconds as the same place of the loop.
    pub(super) fn is_same(&self, other: &Self, context: &Context) -> bool {
        if self.overlap(other) < 0.0 {
            return false;
        }
        let middle = f64::midpoint(self.from().max(other.from()), self.to().min(other.to()));
        let shift = self.clock.score(middle) - other.clock.score(middle);
        (self.rate / other.rate - 1.0).abs() < 0.03 && context.events.modulo_period(shift).abs() < 0.05
    }
}

/// Fits a clock to points, matches all onsets with all strokes on it, takes the best run of them, and that for some rounds.
pub(super) fn refit(context: &Context, mut points: Vec<Point>, mut sigma: f64, rounds: usize) -> Option<Reading> {
    let mut found = None;
    for _ in 0..rounds {
        if points.len() < MIN_POINTS {
            return None;
        }
        let (clock, fitted) = clock_of(context, &points, sigma)?;
        sigma = fitted.clamp(SIGMA.0, SIGMA.1);
        let items = run_of(context, items(context, &clock, sigma.max(MIN_MATCH_SIGMA)))?;
        let before = std::mem::take(&mut points);
        let mut reading = Reading { rate: clock.rate(), clock, total: items.1, items: items.0, sigma };
        points = reading.points();
        reading.total += band_evidence(context, &reading.items);
        reading.total -= 0.5 * ((reading.rate / context.hint).ln() / HINT_SIGMA).powi(2);
        found = Some(reading);
        if points == before {
            break;
        }
    }
    found
}

fn clock_of(context: &Context, points: &[Point], sigma: f64) -> Option<(Clock, f64)> {
    let events = &context.events;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for p in points {
        low = low.min(p.score);
        high = high.max(p.score);
    }
    let origin = (((low - events.origin) / events.beat).floor() - MARGIN_KNOTS) * events.beat + events.origin;
    let intervals = ((high - origin) / events.beat).ceil() + MARGIN_KNOTS;
    let stroke = |p: &Point| FitPoint { position: p.score, seconds: context.seconds[p.onset], weight: 1.0 };
    let pin = context.pins.iter().map(|p| FitPoint { position: p.score, seconds: p.seconds, weight: PIN_WEIGHT });
    let points: Vec<FitPoint> = points.iter().map(stroke).chain(pin).collect();
    let options = FitOptions { sigma, ..FitOptions::default() };
    let (clock, fit) = fit_clock(&points, origin, events.beat, intervals.max(2.0) as usize, options)?;
    Some((clock, fit.sigma))
}

/// Everything that sounds or should on a clock, in order of time, with its log odds.
fn items(context: &Context, clock: &Clock, sigma: f64) -> Vec<Item> {
    let strokes: Vec<Stroke> =
        context.events.between(clock.origin, clock.end()).map(|(event, score)| Stroke { event, score }).collect();
    let expected: Vec<f64> = strokes.iter().map(|s| clock.seconds(s.score)).collect();
    let (start, end) = (clock.knots[0], clock.knots[clock.knots.len() - 1]);
    let first = context.seconds.partition_point(|t| *t < start - BEFORE);
    let last = context.seconds.partition_point(|t| *t <= end + AFTER).max(first);
    let onsets = &context.seconds[first..last];
    let density = (onsets.len() as f64 / (end - start).max(1e-9)).max(1e-9);
    let hit = DETECTION.ln() - (sigma * TAU.sqrt() * density).ln();
    let mut items = Vec::with_capacity(strokes.len() + onsets.len());
    let mut is_extra = vec![true; onsets.len()];
    for ((stroke, seconds), owner) in
        strokes.iter().zip(&expected).zip(match_one_to_one(&expected, onsets, GATE * sigma))
    {
        let item = match owner {
            Some(o) => {
                is_extra[o] = false;
                let odds = hit - 0.5 * ((onsets[o] - seconds) / sigma).powi(2);
                Item { seconds: onsets[o], odds, onset: Some(first + o), stroke: Some(*stroke) }
            }
            None => Item { seconds: *seconds, odds: (1.0 - DETECTION).ln(), onset: None, stroke: Some(*stroke) },
        };
        items.push(item);
    }
    for (o, seconds) in onsets.iter().enumerate().filter(|(o, _)| is_extra[*o]) {
        items.push(Item { seconds: *seconds, odds: SPURIOUS.ln(), onset: Some(first + o), stroke: None });
    }
    items.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
    add_waiting_and_bends(&mut items, clock, density);
    items
}

/// Adds to every item the log odds of hearing nothing since the one before, and the cost of the clock's bends since then.
fn add_waiting_and_bends(items: &mut [Item], clock: &Clock, density: f64) {
    let spans: Vec<f64> = clock.knots.windows(2).map(|k| k[1] - k[0]).collect();
    let scale = SMOOTHNESS * median(&spans).unwrap_or(1.0).max(1e-6);
    let cost = |k: &[f64]| {
        let bend = (k[0] - 2.0 * k[1] + k[2]) / scale;
        0.5 * (TEMPO_FREEDOM + 1.0) * (bend * bend / TEMPO_FREEDOM).ln_1p() - FREE_BEND
    };
    let mut before = items.first().map_or(0.0, |i| i.seconds);
    let mut knot = 0;
    for item in items {
        let mut bends = 0.0;
        while knot < clock.knots.len() && clock.knots[knot] < item.seconds {
            if knot > 0 && knot + 1 < clock.knots.len() {
                bends += cost(&clock.knots[knot - 1..knot + 2]);
            }
            knot += 1;
        }
        item.odds += (1.0 - SPURIOUS) * density * (item.seconds - before) - bends.max(0.0);
        before = item.seconds;
    }
}

/// The run of items with the largest sum, with a bonus for where it begins, or what the user has said; and the sum.
fn run_of(context: &Context, mut items: Vec<Item>) -> Option<(Vec<Item>, f64)> {
    let bonus = |item: &Item| item.hit().map_or(0.0, |(_, stroke)| context.events.bonus[stroke.event]);
    let (from, to) = context.range;
    if let Some(to) = to {
        items.retain(|i| i.seconds <= to);
    }
    if let Some(from) = from {
        items.retain(|i| i.seconds >= from);
    }
    let gain = |item: &Item| match (&context.profile, item.hit()) {
        (Some(profile), Some((onset, stroke))) => {
            profile.gain(context.logs[onset], context.events.classes[stroke.event])
        }
        _ => 0.0,
    };
    let (mut best, mut first, mut last) = (f64::NEG_INFINITY, 0, 0);
    let (mut sum, mut start) = (0.0, 0);
    for (i, item) in items.iter().enumerate() {
        let bonus = bonus(item);
        if i == 0 || (sum <= bonus && from.is_none()) {
            (sum, start) = (bonus, i);
        }
        sum += item.odds + gain(item);
        if sum > best || (to.is_some() && i + 1 == items.len()) {
            (best, first, last) = (sum, start, i);
        }
    }
    if best <= 0.0 && from.is_none() && to.is_none() || items.is_empty() {
        return None;
    }
    let run = items[first..=last].to_vec();
    let odds = run.iter().map(|i| i.odds).sum::<f64>() + run.first().map_or(0.0, bonus);
    Some((run, odds))
}
