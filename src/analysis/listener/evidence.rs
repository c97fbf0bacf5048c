//! From attacks to evidence: weights, events, tempo spans, and the shortest loop.

use super::input::{Input, TimedSection, VoicedAttack};
use super::params::{Params, ROUNDING};
use crate::analysis::attacks::MIN_UNJOINED_ATTACKS;
use crate::rhythm::{Accent, Voice};

/// Two attacks closer than this are one event, in seconds at full speed: positions are exact before they become seconds.
const TIME_TOLERANCE: f64 = 1e-6;
/// Steps per second that times are rounded to at the playing speed: what sounds the same is then the same number, however it is
/// written, and hearings that are equally likely come in the same order.
const STEPS_PER_SECOND: f64 = (1_u64 << 33) as f64;
/// A layer's short interval times this is the longest one that is no gap (ours, no source).
const MAX_NO_GAP_RATIO: f64 = 1.4;

/// What sounds at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Event {
    /// Seconds from the start of the span, at the playing speed.
    pub(super) time: f64,
    /// The weights of its attacks added up.
    pub(super) weight: f64,
}

/// A run of sections of one tempo, heard by itself and round again.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TempoSpan {
    /// Start and end in the loop, in seconds at full speed.
    pub(super) range: (f64, f64),
    /// Length of the loop it is heard as, in seconds at the playing speed.
    pub(super) length: f64,
    pub(super) events: Vec<Event>,
    /// Where its sections start, in seconds at the playing speed.
    pub(super) cuts: Vec<f64>,
}

/// The spans of what is asked about.
pub(super) fn spans(input: &Input) -> Vec<TempoSpan> {
    let events = events(input);
    let mut spans = Vec::new();
    for run in input.sections.chunk_by(same_tempo) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        let mut range = (first.start, last.end);
        let of_range: Vec<(f64, f64)> = events
            .iter()
            .filter(|e| e.0 >= range.0 - TIME_TOLERANCE && e.0 < range.1 - TIME_TOLERANCE)
            .map(|e| (e.0 - range.0, e.1))
            .collect();
        let mut length = range.1 - range.0;
        if run.len() == input.sections.len() {
            length = shortest_loop(&of_range, length, run);
            range.1 = range.0 + length;
        }
        let played = |seconds: f64| (seconds / input.speed * STEPS_PER_SECOND).round() / STEPS_PER_SECOND;
        spans.push(TempoSpan {
            range,
            length: played(length),
            cuts: run.iter().map(|s| s.start - range.0).filter(|c| *c < length - TIME_TOLERANCE).map(played).collect(),
            events: of_range
                .iter()
                .filter(|e| e.0 < length - TIME_TOLERANCE)
                .map(|e| Event { time: played(e.0), weight: e.1 })
                .collect(),
        });
    }
    spans
}

fn same_tempo(a: &TimedSection, b: &TimedSection) -> bool {
    (a.whole / b.whole - 1.0).abs() < 1e-9
}

/// The shortest whole number of bars after which the loop is the same again: a written-out repeat is a repeat. Of bars with one
/// attack each two are a loop.
fn shortest_loop(events: &[(f64, f64)], length: f64, sections: &[TimedSection]) -> f64 {
    let bar = sections[0].meter.bar;
    if sections.iter().any(|s| (s.meter.bar / bar - 1.0).abs() > 1e-9) {
        return length;
    }
    let bars = (length / bar).round() as usize;
    if bars == 0 || (length / bar - bars as f64).abs() > ROUNDING {
        return length;
    }
    let n = events.len();
    for d in (1..bars).filter(|d| bars.is_multiple_of(*d) && (n * d).is_multiple_of(bars)) {
        let count = n * d / bars;
        let shift = length * d as f64 / bars as f64;
        let same = |(a, b): (&(f64, f64), &(f64, f64))| (b.0 - a.0 - shift).abs() < 2e-6 && (a.1 - b.1).abs() < 1e-6;
        if count > 0 && events.iter().zip(&events[count..]).all(same) {
            return if count > 1 { shift } else { 2.0 * shift };
        }
    }
    length
}

/// The events of the whole loop as time at full speed and weight.
fn events(input: &Input) -> Vec<(f64, f64)> {
    let layers = input.attacks.iter().map(|a| a.layer + 1).max().unwrap_or(0);
    let (mut all, mut joined) = (Vec::new(), 0);
    for layer in 0..layers {
        let mut of_layer: Vec<VoicedAttack> = input.attacks.iter().filter(|a| a.layer == layer).copied().collect();
        of_layer.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
        all.extend(of_layer.iter().map(|a| a.seconds).zip(weights(&of_layer, input.length(), &input.params)));
        // Layers that sound together would otherwise need memory for each of them.
        if all.len() > 2 * joined + MIN_UNJOINED_ATTACKS {
            join(&mut all);
            joined = all.len();
        }
    }
    join(&mut all);
    all
}

/// Puts events in order of time, and adds the weights of those at one time.
fn join(events: &mut Vec<(f64, f64)>) {
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    events.dedup_by(|next, kept| {
        let together = next.0 - kept.0 < TIME_TOLERANCE;
        if together {
            kept.1 += next.1;
        }
        together
    });
}

/// The weights of the attacks of one layer: class x voice x grouping. Accented by grouping are an attack before a gap, and the
/// first of a run of three or more (Povel & Okkerman 1981; of a run of two the second).
fn weights(attacks: &[VoicedAttack], loop_length: f64, params: &Params) -> Vec<f64> {
    let n = attacks.len();
    let base = |a: &VoicedAttack| accent_weight(a.accent, params) * voice_weight(a.voice, params);
    if n < 2 {
        return attacks.iter().map(base).collect();
    }
    let after: Vec<f64> = (0..n)
        .map(|i| if i + 1 < n { attacks[i + 1].seconds } else { attacks[0].seconds + loop_length } - attacks[i].seconds)
        .collect();
    let mut sorted = after.clone();
    sorted.sort_by(f64::total_cmp);
    // The 10th percentile as an order statistic: written-out repeats do not move it.
    // A hair more, so that seven cells against five are no gap however they are rounded.
    let short = sorted[n.div_ceil(10) - 1] * MAX_NO_GAP_RATIO * (1.0 + ROUNDING);
    let gap = |i: usize| after[i % n] > short;
    (0..n)
        .map(|i| {
            let opens_run = gap(i + n - 1) && !gap(i) && !gap(i + 1);
            base(&attacks[i]) * if gap(i) || opens_run { 1.0 + params.grouping_weight } else { 1.0 }
        })
        .collect()
}

fn accent_weight(accent: Accent, params: &Params) -> f64 {
    match accent {
        Accent::Accent => params.accent_weight,
        // Halfway between the neighbours, as ratios.
        Accent::Strong => params.accent_weight.sqrt(),
        Accent::Plain => 1.0,
        Accent::Soft => params.ghost_weight.sqrt(),
        Accent::Ghost => params.ghost_weight,
    }
}

/// Low voices carry the timing (Hove et al. 2014, from memory; the sizes are ours).
fn voice_weight(voice: Voice, params: &Params) -> f64 {
    match voice {
        Voice::Kick | Voice::Bass => params.low_voice_weight,
        Voice::Hat | Voice::Ride | Voice::Shaker => params.high_voice_weight,
        _ => 1.0,
    }
}
