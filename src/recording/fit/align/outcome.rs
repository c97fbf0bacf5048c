//! From a reading to an alignment: anchors, deviations, and how sure they are.

use super::ScoreLoop;
use super::alignment::{Alignment, Alternative, Anchor, BarRate, Hit, MissingStroke, Remark};
use super::context::Context;
use super::reading::{Item, Reading};
use super::search::Found;
use super::split::Split;

/// Another reading nearer than this in nats, or than this fraction of the total, is told (ours, no source).
const MIN_GAP: f64 = 12.0;
const MIN_GAP_SHARE: f64 = 0.12;
/// Alternatives told at most, and the share of the performance they cover at least (ours, no source).
const MAX_ALTERNATIVES: usize = 5;
const MIN_OVERLAP: f64 = 0.4;
/// A standard deviation of more than this fraction of the shortest distance of strokes leaves shifts by it open (ours, no source).
const DENSE: f64 = 0.2;
/// Fewer hits than this are told, and a lower share of hits (ours, no source).
const FEW_HITS: usize = 20;
const WEAK: f64 = 0.70;
/// A share of hits from which on the confidence rests on the gap alone (ours, no source).
const FULL_SHARE: f64 = 0.75;
/// Anchors go on for so many beats after the last stroke.
const BEATS_AFTER: f64 = 2.0;
const HAIR: f64 = 1e-6;

/// What a search found, in the words of the groove.
pub(super) fn alignment(context: &Context, score: &ScoreLoop, found: Found) -> Alignment {
    let Found { mut best, mut others, cuts } = found;
    let from_pass_0 = first_pass_shift(context, &best);
    shift(&mut best, from_pass_0);
    for other in &mut others {
        let passes = (first_pass_shift(context, other) / context.events.length).round();
        shift(other, passes * context.events.length);
    }
    let alternatives = alternatives(context, &best, others);
    let gap = alternatives.first().map_or(best.total, |a| a.gap.min(best.total));
    let anchors = anchors(score, &best);
    let rates = anchors
        .windows(2)
        .map(|a| BarRate {
            bar: a[0].bar,
            pass: a[0].pass,
            rate: (a[1].seconds - a[0].seconds) / (a[1].score - a[0].score),
        })
        .collect();
    let mut hits = Vec::new();
    let mut missing = Vec::new();
    let mut extra = Vec::new();
    for Item { seconds, onset, stroke, .. } in best.items.iter().copied() {
        match (onset, stroke) {
            (Some(onset), Some(s)) => {
                let deviation = seconds - best.clock.seconds(s.score);
                hits.push(Hit { onset, event: s.event, score: s.score, deviation });
            }
            (None, Some(s)) => missing.push(MissingStroke { event: s.event, score: s.score, seconds }),
            (Some(onset), None) => extra.push(onset),
            (None, None) => {}
        }
    }
    let share = 2.0 * hits.len() as f64 / (2 * hits.len() + missing.len() + extra.len()).max(1) as f64;
    let mut alignment = Alignment {
        events: context.events.list.clone(),
        clock: best.clock.clone(),
        anchors,
        rates,
        hits,
        missing,
        extra,
        range: (best.from(), best.to()),
        rate: best.rate,
        sigma: best.sigma,
        share,
        total: best.total,
        gap,
        confidence: (share / FULL_SHARE).min(1.0) * (1.0 - (-gap.max(0.0) / MIN_GAP).exp()),
        alternatives,
        remarks: Vec::new(),
        hint: context.hint,
        reading: best,
    };
    alignment.remarks = remarks(context, &alignment, &cuts);
    alignment
}

/// Score time to subtract so that the first stroke lies in the first copy of the first pass.
fn first_pass_shift(context: &Context, reading: &Reading) -> f64 {
    let first = reading.items.iter().find_map(|i| i.stroke).map_or(0.0, |s| s.score);
    ((first + HAIR) / context.events.period).floor() * context.events.period
}

fn shift(reading: &mut Reading, by: f64) {
    reading.clock.origin -= by;
    for stroke in reading.items.iter_mut().filter_map(|i| i.stroke.as_mut()) {
        stroke.score -= by;
    }
}

fn alternatives(context: &Context, best: &Reading, others: Vec<Reading>) -> Vec<Alternative> {
    let length = context.events.length;
    let middle = f64::midpoint(best.from(), best.to());
    let mut list: Vec<Alternative> = others
        .into_iter()
        .filter(|r| r.overlap(best) > MIN_OVERLAP * (best.to() - best.from()) && !r.is_same(best, context))
        .map(|reading| {
            let ahead = reading.clock.score(middle) - best.clock.score(middle);
            Alternative {
                gap: best.total - reading.total,
                ratio: reading.rate / best.rate,
                shift: ahead - (ahead / length).round() * length,
                reading,
            }
        })
        .collect();
    list.sort_by(|a, b| a.gap.total_cmp(&b.gap));
    list.truncate(MAX_ALTERNATIVES);
    list
}

fn anchors(score: &ScoreLoop, reading: &Reading) -> Vec<Anchor> {
    let strokes = || reading.items.iter().filter_map(|i| i.stroke);
    let (Some(first), Some(last)) = (strokes().next(), strokes().next_back()) else {
        return Vec::new();
    };
    let (first, last) = (first.score, last.score);
    let mut anchors = Vec::new();
    let end = last + BEATS_AFTER * reading.clock.step;
    for pass in 0..=(end / score.length).max(0.0) as usize {
        let start = pass as f64 * score.length;
        for (bar, at) in score.bars.iter().enumerate() {
            let next = score.bars.get(bar + 1).copied().unwrap_or(score.length);
            if first < start + next - HAIR && start + at <= end {
                let at = start + at;
                let seconds = reading.clock.seconds(at);
                let is_extrapolated = at < first - HAIR || at > last + HAIR;
                anchors.push(Anchor { bar, pass, score: at, seconds, is_extrapolated });
            }
        }
    }
    anchors
}

fn remarks(context: &Context, alignment: &Alignment, cuts: &[Split]) -> Vec<Remark> {
    let events = &context.events;
    let mut remarks = Vec::new();
    if events.copies() > 1 {
        remarks.push(Remark::Copies { count: events.copies(), period: events.period });
    }
    let least = MIN_GAP.max(MIN_GAP_SHARE * alignment.total);
    for (alternative, _) in alignment.alternatives.iter().enumerate().filter(|(_, a)| a.gap < least) {
        remarks.push(Remark::OtherReading { alternative });
    }
    if alignment.total < least {
        remarks.push(Remark::LittleEvidence { total: alignment.total });
    }
    let shortest = events.shortest * alignment.rate;
    if alignment.sigma > DENSE * shortest {
        remarks.push(Remark::Dense { shortest });
    }
    if alignment.hits.len() < FEW_HITS {
        remarks.push(Remark::Sparse { hits: alignment.hits.len() });
    }
    if alignment.share < WEAK {
        remarks.push(Remark::Weak { share: alignment.share });
    }
    for cut in cuts {
        remarks.push(if cut.share_before < cut.share_after {
            Remark::BeginningCut { seconds: cut.seconds, share: cut.share_before }
        } else {
            Remark::EndCut { seconds: cut.seconds, share: cut.share_after }
        });
    }
    if alignment.anchors.first().is_some_and(|a| a.is_extrapolated) {
        remarks.push(Remark::FirstAnchorExtrapolated);
    }
    remarks
}
