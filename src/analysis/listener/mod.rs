//! A listener model: which pulse is taken as the beat, with which probability, at a playing speed.
//!
//! The attacks become events with weights ([`evidence`]) and, where there is one, a grid of cells ([`cell`]). As far as the cells are
//! slow enough to be felt, beats are looked for on the grid ([`grid_posterior`]); as far as they are not, among pulses that follow the
//! attacks ([`pulse_posterior`], [`renewal`]). Ways to take the beat with the same pulses are one hearing ([`merge`]), hearings that follow
//! attacks are cut where their tempo changes ([`stretches`]), and the written meter sorts them ([`family`]).

mod attractors;
mod best_path;
mod cell;
mod evidence;
mod family;
mod fold;
mod follow;
mod gains;
mod grid_changes;
mod grid_posterior;
mod hypothesis;
mod input;
mod lanes;
mod listening;
mod merge;
mod off_grid;
mod params;
mod periods;
mod pulse_posterior;
mod renewal;
mod speeds;
mod stretches;
mod structure;
#[cfg(test)]
mod tests;

use super::answer::HardnessPart;
use super::limits;
pub(crate) use family::{Member, is_familiar};
pub(crate) use gains::{Cause, Gain, gains};
pub(crate) use hypothesis::PulseKind;
use input::Carried;
pub(crate) use input::{Context, Input, TimedSection};
pub(crate) use lanes::ln;
use listening::main_kind;
pub(crate) use listening::{
    ABOUT_AS_LIKELY, Listening, MIN_DIFFERENCE, ModelHearing, ModelStretch, distinct_tempos, stream_difference,
};
pub(crate) use speeds::{LeadChange, Leader, SpeedChart, chart};

use cell::CellGrid;
use evidence::TempoSpan;
use family::Written;
use grid_posterior::Cycle;
use hypothesis::{Candidate, Piece, PulseOrigin};
#[cfg(test)]
pub(crate) use input::{VoicedAttack, WrittenMeter};
pub(crate) use params::Params;
use params::ROUNDING;

/// Hearings of each tempo span that go into a hearing of the whole, and how many of these are kept.
const MAX_PER_SPAN: usize = 3;
const MAX_SEQUENCES: usize = 12;
/// Hearings of less are left out.
const MIN_PROBABILITY: f64 = 1e-4;
/// Hearings of less are not cut into stretches.
const MIN_CUT_PROBABILITY: f64 = 1e-3;
/// How far a carried pulse may be off and still go on: in period and in phase, as parts of the period.
const CARRIED_PERIOD_TOLERANCE: f64 = 0.08;
const CARRIED_PHASE_TOLERANCE: f64 = 0.12;

/// A span that was heard.
struct HeardSpan {
    span: TempoSpan,
    candidates: Vec<Candidate>,
    cell: Option<f64>,
    feel: f64,
    odd: f64,
    cycles: Vec<Cycle>,
}

/// Which pulse is taken as the beat. `None` if there is nothing to hear a pulse from: no attack, or one, or a loop too short for
/// any beat.
pub(crate) fn listen(input: &Input) -> Option<Listening> {
    if !(input.speed.is_finite() && input.speed > 0.0 && input.length().is_finite()) {
        return None;
    }
    let mut context = match &input.context {
        Context::After(Some(before)) => {
            listen(&Input { speed: input.speed, ..(**before).clone() }).map(|heard| heard.carried()).unwrap_or_default()
        }
        _ => Vec::new(),
    };
    let mut parts: Vec<(f64, Listening)> = Vec::new();
    for span in evidence::spans(input) {
        if let Some(heard) = hear(span, &context, input) {
            let part = answer(&heard, input);
            if input.context != Context::Cold {
                context = part.carried();
            }
            parts.push((heard.span.length, part));
        }
    }
    if parts.len() < 2 {
        return parts.pop().map(|p| p.1);
    }
    Some(sequence(&parts))
}

/// [`listen`] for several inputs side by side, in their order.
pub(crate) fn listen_to_each(inputs: &[Input]) -> Vec<Option<Listening>> {
    speeds::in_parallel(inputs, listen)
}

/// Hears one span.
fn hear(span: TempoSpan, context: &[Carried], input: &Input) -> Option<HeardSpan> {
    let params = &input.params;
    if span.events.len() < 2 || span.length <= 0.0 {
        return None;
    }
    let found = cell::cell(&span.events, span.length, params);
    let feel = found.map_or(0.0, |c| params.feel(c.length));
    let weighted = |c: Candidate, factor: f64| Candidate { probability: c.probability * factor, ..c };
    let mut all = Vec::new();
    let mut grid = grid_posterior::GridPosterior::default();
    if let Some(cell) = found.filter(|_| feel > 0.0) {
        let mut halved = cell.length;
        while halved > params.longest_cell * (1.0 + ROUNDING) {
            halved /= 2.0;
        }
        let cell = CellGrid::through(halved, cell.origin);
        grid = grid_posterior::hear(&span.events, span.length, cell, &span.cuts, params);
        all.extend(std::mem::take(&mut grid.candidates).into_iter().map(|c| weighted(c, feel)));
    }
    if feel < 1.0 {
        let candidates = off_grid::hear(&span.events, span.length, &span.cuts, params);
        all.extend(candidates.into_iter().map(|c| weighted(c, 1.0 - feel)));
    }
    all.retain(|c| c.probability >= MIN_PROBABILITY / 10.0);
    let mut candidates = merge::merged(all, span.length);
    carry(&mut candidates, context, &span, input);
    let sum: f64 = candidates.iter().map(|c| c.probability).sum();
    if candidates.is_empty() || sum <= 0.0 {
        return None;
    }
    for c in &mut candidates {
        c.probability /= sum;
        let follows = matches!(c.origin, PulseOrigin::FollowedAttacks | PulseOrigin::AllAttacks);
        if follows && c.probability >= MIN_CUT_PROBABILITY {
            stretches::cut(c, span.length);
        }
    }
    Some(HeardSpan { span, candidates, cell: found.map(|c| c.length), feel, odd: grid.odd, cycles: grid.cycles })
}

/// Weighs hearings by what the listener brings along: to go on costs nothing, anything else is a change of pulse.
fn carry(candidates: &mut [Candidate], context: &[Carried], span: &TempoSpan, input: &Input) {
    if context.is_empty() {
        return;
    }
    let change = (-input.params.change_cost).exp();
    for c in candidates.iter_mut() {
        let goes_on = |k: &&Carried| {
            let (period, next) = (k.period / input.speed, k.next / input.speed);
            let times = c.times();
            let distance = |p: f64| (p - next).abs();
            // The loop's return comes with its first pulse.
            let returned = times.first().map_or(f64::INFINITY, |p| distance(p + span.length));
            (period / c.period - 1.0).abs() <= CARRIED_PERIOD_TOLERANCE
                && times.iter().map(|p| distance(*p)).fold(returned, f64::min) <= CARRIED_PHASE_TOLERANCE * c.period
        };
        let kept: f64 = context.iter().filter(goes_on).map(|k| k.probability).sum();
        c.probability *= kept + (1.0 - kept).max(0.0) * change;
    }
    candidates.sort_by(|a, b| b.probability.total_cmp(&a.probability));
}

/// The answer for one span, at full speed and held against the written meter.
fn answer(heard: &HeardSpan, input: &Input) -> Listening {
    let (from, to) = heard.span.range;
    let overlaps = |s: &&TimedSection| s.start < to - 1e-9 && s.end > from + 1e-9;
    let written = |s: &TimedSection| Written::new(s, (from, to), input.speed);
    let sections: Vec<Written> = input.sections.iter().filter(overlaps).map(written).collect();
    // A pickup does not say what the beat is.
    let longest = sections.iter().reduce(|a, b| if b.seconds() > a.seconds() * (1.0 + 1e-9) { b } else { a });
    let mut listening = Listening {
        cell: heard.cell,
        feel: heard.feel,
        odd: heard.odd,
        bar: family::on_bars(&heard.cycles, &sections, heard.span.length).clamp(0.0, 1.0),
        spans: 1,
        length: to - from,
        ..Listening::default()
    };
    for c in &heard.candidates {
        let shares: Vec<(f64, Option<Member>)> =
            c.pieces.iter().map(|p| family::share(p, p.tempo(c), &sections)).collect();
        let kept: f64 = c.pieces.iter().zip(&shares).map(|(p, share)| (p.end - p.start) * share.0).sum();
        let written_share = (kept / c.pieces.iter().map(|p| p.end - p.start).sum::<f64>()).clamp(0.0, 1.0);
        listening.written += c.probability * written_share;
        let has_familiar_period = |s: &Written| s.meter.heads.is_empty() && is_familiar(c.period, &s.meter);
        let part = match main_kind(c.kind, &c.pieces.iter().map(|p| (p.kind, p.tempo(c)))) {
            PulseKind::Unequal => HardnessPart::Unequal,
            PulseKind::Average => HardnessPart::Average,
            PulseKind::Changing => HardnessPart::Changing,
            PulseKind::Even if longest.is_some_and(has_familiar_period) => HardnessPart::Displaced,
            PulseKind::Even => HardnessPart::OtherRate,
        };
        listening.hardness_parts.add(part, c.probability * (1.0 - written_share));
        if c.probability >= MIN_PROBABILITY {
            listening.hearings.push(hearing(c, &shares, written_share, (from, to), (input.speed, &input.params)));
        }
    }
    listening.written = listening.written.clamp(0.0, 1.0);
    merge_averages(&mut listening.hearings);
    listening.temper();
    listening
}

/// Part of the period by which a pulse may be off the end of a span by rounding (ours, no source).
const SEAM_TOLERANCE: f64 = 1e-3;

/// Adds average pulses whose tempos cannot be told apart to the likeliest of them.
fn merge_averages(hearings: &mut Vec<ModelHearing>) {
    let is_average = |h: &ModelHearing| h.kind == PulseKind::Average && h.stretches.len() == 1 && !h.keeps_written();
    let mut kept: Vec<ModelHearing> = Vec::with_capacity(hearings.len());
    for h in hearings.drain(..) {
        let is_same = |k: &&mut ModelHearing| (k.bpm / h.bpm - 1.0).abs() * 100.0 < limits::TEMPO_CHANGE.value;
        match kept.iter_mut().filter(|k| is_average(k) && is_average(&h)).find(is_same) {
            Some(k) => k.probability += h.probability,
            None => kept.push(h),
        }
    }
    kept.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    *hearings = kept;
}

/// A candidate at full speed; `shares` tell of each piece how much of its time it keeps the written beat, and how.
fn hearing(
    c: &Candidate,
    shares: &[(f64, Option<Member>)],
    written_share: f64,
    (from, to): (f64, f64),
    (speed, params): (f64, &Params),
) -> ModelHearing {
    let mut member: Option<(f64, Member)> = None;
    let times = c.times();
    let stretch = |(p, &(share, how)): (&Piece, &(f64, Option<Member>))| {
        let time = (p.end - p.start) * share;
        if let Some(how) = how.filter(|_| member.is_none_or(|m| m.0 < time)) {
            member = Some((time, how));
        }
        // A single pulse lasts until the next; at a seam one more or less may leave the range of a beat.
        let until_next = p.pulses.first().filter(|_| c.pieces.len() > 1 && p.pulses.count() == 1).map(|t| {
            let next =
                times.iter().copied().find(|next| *next > t).or(times.first().map(|next| next + (to - from) / speed));
            next.map_or(p.period, |next| next - t)
        });
        let period = until_next.unwrap_or_else(|| p.tempo(c)).clamp(params.shortest_beat, params.longest_beat);
        ModelStretch {
            start: from + p.start * speed,
            end: from + p.end * speed,
            kind: p.kind,
            period: period * speed,
            bpm: 60.0 / period,
            sizes: p.sizes.clone(),
        }
    };
    // A pulse just before the end of the span is its first one, rounded.
    let rounding = SEAM_TOLERANCE * c.period * speed;
    let at = |t: &f64| Some(from + t * speed).filter(|at| to - at > rounding).unwrap_or(from);
    let mut pulses: Vec<f64> = times.iter().map(at).collect();
    pulses.sort_by(f64::total_cmp);
    pulses.dedup_by(|a, b| *a - *b < rounding);
    ModelHearing {
        kind: c.kind,
        probability: c.probability,
        shown: None,
        period: c.period * speed,
        bpm: 60.0 / c.period,
        pulses,
        stretches: c.pieces.iter().zip(shares).map(stretch).collect(),
        written_share,
        member: member.map(|m| m.1),
    }
}

/// A groove of several tempos: its hearings are sequences of the best of each span; everything else is the mean over time.
fn sequence(parts: &[(f64, Listening)]) -> Listening {
    let all: f64 = parts.iter().map(|p| p.0).sum();
    let mut whole = Listening { spans: parts.len(), ..Listening::default() };
    let mut hearings: Vec<ModelHearing> = Vec::new();
    for (i, (time, part)) in parts.iter().enumerate() {
        let share = time / all;
        whole.written += part.written * share;
        whole.odd += part.odd * share;
        whole.bar += part.bar * share;
        for p in HardnessPart::ALL {
            whole.hardness_parts.add(p, part.hardness_parts.get(p) * share);
        }
        whole.length += part.length;
        let best = part.hearings.iter().take(MAX_PER_SPAN);
        hearings = if i == 0 {
            best.cloned().collect()
        } else {
            hearings.iter().flat_map(|a| best.clone().map(move |b| followed_by(a, b))).collect()
        };
        hearings.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        hearings.truncate(MAX_SEQUENCES);
    }
    let longest = parts.iter().fold(&parts[0], |best, p| if p.0 > best.0 { p } else { best });
    (whole.cell, whole.feel) = (longest.1.cell, longest.1.feel);
    whole.hearings = hearings;
    whole.temper();
    whole
}

fn followed_by(a: &ModelHearing, b: &ModelHearing) -> ModelHearing {
    let time = |h: &ModelHearing| h.stretches.iter().map(|s| s.end - s.start).sum::<f64>();
    let (of_a, of_b) = (time(a), time(b));
    let longest = |h: &ModelHearing| h.stretches.iter().map(|s| s.end - s.start).fold(0.0, f64::max);
    let main = if longest(b) > longest(a) { b } else { a };
    ModelHearing {
        // A change of the written tempo is no change of the pulse.
        kind: if a.kind == b.kind { a.kind } else { PulseKind::Changing },
        probability: a.probability * b.probability,
        shown: None,
        period: main.period,
        bpm: main.bpm,
        pulses: [&a.pulses[..], &b.pulses].concat(),
        stretches: [&a.stretches[..], &b.stretches].concat(),
        written_share: (a.written_share * of_a + b.written_share * of_b) / (of_a + of_b),
        member: if a.written_share * of_a >= b.written_share * of_b { a.member } else { b.member },
    }
}
