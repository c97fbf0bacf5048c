//! From seeds to the best reading and the others that fit.

use super::context::Context;
use super::evidence::Profile;
use super::reading::{Point, Reading, refit};
use super::reread::other_readings;
use super::seeds::{Seed, seeds};
use super::split::{Split, split};
use crate::recording::fit::track::{Direction, TrackOptions, TrackStart, track};

/// Seeds that are followed (ours, no source).
const FOLLOWED: usize = 14;
/// Seeds on a clock already followed within this ratio and score seconds are not followed (ours, no source).
const SAME_RATE: f64 = 0.05;
const SAME_PLACE: f64 = 0.05;
/// Probability from which on a tracked onset makes a point (ours, no source).
const MIN_SHARE: f64 = 0.3;
/// A seed with fewer hits than this fraction of the most so far is given up (ours, no source).
const MIN_HIT_SHARE: f64 = 0.4;
/// What a longer run may cost in nats (ours, no source).
const MAX_LOSS: f64 = 1.0;
/// Strokes trimmed off at an end from which on it is told.
const MIN_CUT_ITEMS: usize = 8;
const HAIR: f64 = 1e-6;
/// Beginnings and ends cut off at most.
const MAX_CUTS: usize = 2;

/// The best reading, the others from the best on, and what was cut off.
pub(super) struct Found {
    pub(super) best: Reading,
    pub(super) others: Vec<Reading>,
    pub(super) cuts: Vec<Split>,
}

/// Searches the whole recording; `None` if no seed leads to a run of strokes.
pub(super) fn search(context: &mut Context) -> Option<Found> {
    let mut readings = followed(context);
    for _ in 0..2 {
        if !add_other_readings(context, &mut readings) {
            break;
        }
    }
    let others = readings.split_off(1.min(readings.len()));
    let best = extended(context, readings.pop()?);
    let (best, mut cuts) = cut(context, best);
    let best = trimmed(context, best, &mut cuts);
    // Once beginning and end are known, all ways to read the same strokes are compared on these alone.
    context.range = (Some(best.from() - HAIR), Some(best.to() + HAIR));
    let mut readings = vec![best];
    let is_new = add_other_readings(context, &mut readings);
    context.range = (None, None);
    let cuts = if is_new { Vec::new() } else { cuts };
    for other in others {
        if !readings.iter().any(|r| r.is_same(&other, context)) {
            readings.push(other);
        }
    }
    let others = readings.split_off(1);
    Some(Found { best: readings.pop()?, others, cuts })
}

/// Adds the other ways to read the first reading and puts all in order, the best first; whether that is another one now.
fn add_other_readings(context: &Context, readings: &mut Vec<Reading>) -> bool {
    let Some(best) = readings.first().cloned() else {
        return false;
    };
    for reading in other_readings(context, &best) {
        if !readings.iter().any(|r| r.is_same(&reading, context)) {
            readings.push(reading);
        }
    }
    readings.sort_by(|a, b| b.total.total_cmp(&a.total));
    readings.first() != Some(&best)
}

/// Cuts off beginnings and ends that are other music.
fn cut(context: &Context, mut best: Reading) -> (Reading, Vec<Split>) {
    let mut cuts = Vec::new();
    while cuts.len() < MAX_CUTS
        && let Some(cut) = split(&best.items)
    {
        let kept = |p: &Point| (context.seconds[p.onset] >= cut.seconds) == (cut.share_before < cut.share_after);
        let points = best.points().into_iter().filter(kept).collect();
        let Some(shorter) = refit(context, points, best.sigma, 2) else {
            break;
        };
        best = shorter;
        cuts.push(cut);
    }
    (best, cuts)
}

/// The reading without strokes at its beginning and end that do not look like the others, and up to the next that do.
fn trimmed(context: &mut Context, reading: Reading, cuts: &mut Vec<Split>) -> Reading {
    context.profile = Some(Profile::new(context, &reading.items));
    let found = refit(context, reading.points(), reading.sigma, 2);
    context.profile = None;
    let Some(found) = found.filter(|f| f.items.len() * 2 > reading.items.len()) else {
        return reading;
    };
    let share = |from: f64, to: f64| {
        let outside = || reading.items.iter().filter(|i| i.seconds >= from && i.seconds < to);
        let hits = outside().filter(|i| i.hit().is_some()).count();
        (outside().count() >= MIN_CUT_ITEMS).then(|| hits as f64 / outside().count() as f64)
    };
    if let Some(share_before) = share(f64::NEG_INFINITY, found.from()) {
        cuts.push(Split { seconds: found.from(), share_before, share_after: 1.0 });
    }
    if let Some(share_after) = share(found.to() + HAIR, f64::INFINITY) {
        cuts.push(Split { seconds: found.to(), share_before: 1.0, share_after });
    }
    found
}

/// Readings that seeds lead to, best first, each once.
fn followed(context: &Context) -> Vec<Reading> {
    let events = &context.events;
    let mut found: Vec<Reading> = Vec::new();
    let (mut tried, mut most) = (0, 0);
    for seed in seeds(events, context.onsets) {
        if tried == FOLLOWED {
            break;
        }
        let is_known = |r: &Reading| {
            (r.from()..=r.to()).contains(&seed.seconds)
                && (r.rate / seed.rate - 1.0).abs() < SAME_RATE
                && events.modulo_period(r.clock.score(seed.seconds) - seed.score).abs() < SAME_PLACE
        };
        if found.iter().any(is_known) {
            continue;
        }
        tried += 1;
        let points = follow(context, seed);
        most = most.max(points.len());
        if (points.len() as f64) < MIN_HIT_SHARE * most as f64 {
            continue;
        }
        found.extend(refit(context, points, TrackOptions::new(events.beat).sigma, 2));
    }
    found.sort_by(|a, b| b.total.total_cmp(&a.total));
    let mut once: Vec<Reading> = Vec::new();
    for reading in found {
        if !once.iter().any(|r| r.is_same(&reading, context)) {
            once.push(reading);
        }
    }
    once
}

fn follow(context: &Context, seed: Seed) -> Vec<Point> {
    let start = TrackStart { seconds: seed.seconds, score: seed.score, rate: seed.rate };
    let options = TrackOptions::new(context.events.beat);
    let mut points = tracked(context, start, Direction::Backward, options);
    points.reverse();
    points.extend(tracked(context, start, Direction::Forward, options));
    points
}

fn tracked(context: &Context, start: TrackStart, direction: Direction, options: TrackOptions) -> Vec<Point> {
    track(&context.seconds, start, direction, |s| context.events.nearest(s), options)
        .into_iter()
        .filter(|t| t.share > MIN_SHARE)
        .map(|t| Point { onset: t.onset, score: t.score })
        .collect()
}

/// The reading followed once more from its two ends: the performance may be longer.
pub(super) fn extended(context: &Context, reading: Reading) -> Reading {
    let points = reading.points();
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return reading;
    };
    let options = TrackOptions { sigma: reading.sigma, ..TrackOptions::new(context.events.beat) };
    let beat = context.events.beat;
    let end = last.score;
    // A hair outside, so that the outer strokes themselves are not taken again.
    let outside = |p: &Point, rate: f64, by: f64| TrackStart {
        seconds: context.seconds[p.onset] + by,
        score: p.score + by / rate,
        rate,
    };
    let start_rate = reading.clock.rate_between(first.score, first.score + 2.0 * beat);
    let end_rate = reading.clock.rate_between(end - 2.0 * beat, end);
    let mut all = tracked(context, outside(first, start_rate, -1e-4), Direction::Backward, options);
    all.reverse();
    all.extend(&points);
    all.extend(tracked(context, outside(last, end_rate, 1e-4), Direction::Forward, options));
    match refit(context, all, reading.sigma, 3) {
        Some(longer) if longer.total >= reading.total - MAX_LOSS => longer,
        _ => reading,
    }
}
