//! Facts on what carries the beat, and on what is heard instead of it.

use super::super::attacks::TimedAttack;
use super::super::clock::wholes;
use super::super::hearing::{Hearing, HearingKind, Stretch, unit_text};
use super::super::landing::Depth;
use super::super::limits;
use super::super::stream::{exact, is_even, nearest};
use super::structure::depth_of;
use super::{
    Fact, FindingContext, MAX_STRUCK_SHARE, MIN_MORE_ON_PULSE, MIN_PROBABILITY, MIN_SILENT_SHARE, MIN_WEAK_SHARE,
    Reason, place_of,
};
use crate::analysis::reason::tempo_row;
use crate::rhythm::{MeterKind, Place};

/// Greatest term of a cross-rhythm that is named.
const MAX_TERM: u8 = 8;

/// Greatest term of the exact ratio of two streams that is named.
const MAX_EXACT_TERM: u32 = 16;

/// Two beats, one of the layers asked about and one of all.
pub(super) fn two_streams(m: &FindingContext<'_>) -> Option<Fact> {
    let (t, speed) = (m.two_streams.as_ref()?, m.report.speed);
    let (a, b) = (t.followed, t.all);
    let text = |h: &Hearing| match h.kind {
        HearingKind::Written => format!("the written beat ({} BPM)", tempo_row(&h.tempos(speed))),
        HearingKind::Unequal { .. } => format!("{} at {:.1} BPM", h.kind, h.bpm(speed)),
        _ => format!("{} BPM", tempo_row(&h.tempos(speed))),
    };
    // Means of unequal beats or of changing tempos are in no ratio that can be played.
    let is_even = |h: &Hearing| {
        let is_uneven = matches!(h.kind, HearingKind::Unequal { .. }) || h.kind == HearingKind::Written && !is_even(h);
        !is_uneven && h.tempos(speed).len() == 1
    };
    let ratio = (is_even(a) && is_even(b)).then(|| a.bpm(speed) / b.bpm(speed));
    let exact = ratio.and_then(exact).filter(|r| r.0.max(r.1) <= MAX_EXACT_TERM);
    let reason = Reason::TwoStreams {
        followed: text(a),
        all: text(b),
        ratio: exact.or_else(|| nearest(ratio?, 8)),
        is_exact: exact.is_some(),
        meets_after: t.meets_after,
    };
    Some(Fact { reason, place: None, weight: t.difference.abs().min(1.0) })
}

pub(super) fn facts(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = landings(m);
    found.extend(downbeats(m));
    found.extend(silence(m));
    let likely = m.report.hearings.iter().filter(|h| h.probability >= MIN_PROBABILITY && !h.keeps_written());
    found.extend(likely.filter_map(|h| hearing_fact(m, h)));
    found
}

/// The reason that a likely hearing gives, if its kind gives one.
fn hearing_fact(m: &FindingContext<'_>, h: &Hearing) -> Option<Fact> {
    let first = h.stretches.first().and_then(|s| m.report.attacks.get(s.first)).map(place_of);
    let (reason, place) = match h.kind {
        HearingKind::Unequal { sizes, unit: value } => {
            let sizes: Vec<u8> = sizes.into_iter().filter(|s| *s > 0).collect();
            let (long, short) = (*sizes.iter().max()?, *sizes.iter().min()?);
            let units: f64 = sizes.iter().map(|s| f64::from(*s)).sum();
            let unit = h.stretches.first()?.period * sizes.len() as f64 / units * 1000.0 / m.report.speed;
            let text: Vec<String> = sizes.iter().map(u8::to_string).collect();
            let limp_ms = f64::from(long - short) * unit;
            (Reason::UnequalBeats { sizes: text.join("+") + &unit_text(value), limp_ms }, first)
        }
        HearingKind::Displaced { .. } => (Reason::Displacement(h.kind), first),
        HearingKind::Against { pulses, beats, .. } if pulses > 1 && beats > 1 && pulses.max(beats) <= MAX_TERM => {
            (Reason::CrossRhythm { pulses, beats }, first)
        }
        HearingKind::Changing => {
            let tempos = Some(h.tempos(m.report.speed)).filter(|tempos| tempos.len() > 1)?;
            let before = h.stretches.first()?.period;
            let is_change = |s: &&Stretch| (s.period / before - 1.0).abs() * 100.0 >= limits::TEMPO_CHANGE.value;
            let place = h.stretches.iter().find(is_change).and_then(|s| m.report.attacks.get(s.first)).map(place_of);
            (Reason::Changes(tempos), place)
        }
        HearingKind::Average => {
            let share = |h: &Hearing| h.on_pulse as f64 / m.report.attacks.len().max(1) as f64;
            let (pulse, written) = (share(h), share(m.written()?));
            (pulse - written >= MIN_MORE_ON_PULSE).then_some((Reason::MoreOnPulse { pulse, written }, None))?
        }
        _ => return None,
    };
    Some(Fact { reason, place, weight: 0.3 + 0.6 * h.probability })
}

fn landings(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = Vec::new();
    let Some(written) = m.written() else { return found };
    let silent = written.unsounded as f64 / written.pulses.len().max(1) as f64;
    let (mut weak_ones, mut all) = (0, 0);
    // Thirds are the normal subdivision of the beat in a compound meter, as halves are in others.
    let is_compound = |section: usize| m.groove.sections()[section].meter.kind() == MeterKind::Compound;
    let weak = |section, d: Depth| matches!(d, Depth::Part(n) if n != 2 && !(n == 3 && is_compound(section)));
    let mut has_compound = false;
    for part in m.report.focus.iter().filter_map(|l| m.report.layers.get(*l)).flat_map(|l| &l.sections) {
        has_compound |= is_compound(part.section);
        let weak = part.landings.rows.iter().filter(|r| weak(part.section, r.depth));
        weak_ones += weak.map(|r| r.count).sum::<usize>();
        all += part.landings.total;
    }
    let share = weak_ones as f64 / all.max(1) as f64;
    // While every beat sounds, nobody misses the attacks on it.
    if share >= MIN_WEAK_SHARE && written.unsounded > 0 {
        let is_weak = |a: &&TimedAttack| depth_of(m.groove, a).is_some_and(|d| weak(a.section, d));
        let at = m.report.attacks.iter().find(is_weak);
        found.push(Fact {
            reason: Reason::WeakLandings { share, has_compound },
            place: at.map(place_of),
            weight: 0.3 + 0.5 * (share - MIN_WEAK_SHARE),
        });
    }
    if silent >= MIN_SILENT_SHARE {
        let place = silent_place(m, written);
        found.push(Fact { reason: Reason::SilentBeats(silent), place, weight: 0.3 + 0.4 * silent });
    }
    found
}

/// Downbeats on which the layers asked about seldom have an attack.
fn downbeats(m: &FindingContext<'_>) -> Option<Fact> {
    let mut bars: Vec<f64> = Vec::new();
    for (section, pass) in m.report.clock.passes() {
        let s = &m.groove.sections()[section];
        let line = |bar: usize| m.report.clock.seconds_after(section, pass, s.meter.bar(), bar);
        bars.extend((0..usize::from(s.bars)).filter_map(line));
    }
    bars.retain(|b| *b >= m.range.0 - 1e-9 && *b < m.range.1 - 1e-9);
    let is_struck = |bar: &&f64| {
        let next = m.report.attacks.partition_point(|a| a.seconds < **bar - 1e-6);
        m.report.attacks.get(next).is_some_and(|a| a.seconds < **bar + 1e-6)
    };
    let silent = bars.iter().find(|b| !is_struck(b)).copied();
    let (struck, bars) = (bars.iter().filter(is_struck).count(), bars.len());
    let share = struck as f64 / bars.max(1) as f64;
    (bars > 0 && share <= MAX_STRUCK_SHARE).then(|| Fact {
        reason: Reason::DownbeatSilent { struck, bars },
        place: silent.and_then(|bar| beat_place(m, bar)),
        weight: 0.45 - share,
    })
}

/// The longest time without an attack of any layer, round the loop.
fn silence(m: &FindingContext<'_>) -> Option<Fact> {
    let inside = |t: &&TimedAttack| t.seconds >= m.range.0 - 1e-9 && t.seconds < m.range.1 - 1e-9;
    let all: Vec<&TimedAttack> = m.everything.iter().filter(inside).collect();
    let (first, last) = (all.first()?, all.last()?);
    let returning = (first.seconds + m.range.1 - m.range.0 - last.seconds, *last);
    let gaps = all.windows(2).map(|w| (w[1].seconds - w[0].seconds, w[0]));
    let (seconds, before) = gaps.chain([returning]).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let seconds = seconds / m.report.speed;
    let fact = Fact { reason: Reason::LongSilence(seconds), place: Some(place_of(before)), weight: 0.4 };
    (seconds * 1000.0 >= limits::SLOWEST_BEAT.low).then_some(fact)
}

/// The first beat on which nothing sounds, as a cell of the focus layer.
fn silent_place(m: &FindingContext<'_>, counted: &Hearing) -> Option<Place> {
    let sounds = |p: f64| {
        let next = m.everything.partition_point(|a| a.seconds < p - 0.01);
        m.everything.get(next).is_some_and(|a| a.seconds < p + 0.01)
    };
    beat_place(m, counted.pulses.iter().copied().find(|p| !sounds(*p))?)
}

/// The beat nearest to a time in seconds at full speed, as a cell of the focus layer.
fn beat_place(m: &FindingContext<'_>, seconds: f64) -> Option<Place> {
    let layer = *m.report.focus.first()?;
    let moment = m.report.clock.moment(seconds)?;
    let context = m.groove.context(layer, moment.section);
    let beat = (moment.wholes / wholes(context.meter.beat())).round() as usize;
    let cell = m.groove.part(layer, moment.section).cell_at(context.meter.beat().repeated(beat)?, context);
    Some(Place { layer, section: moment.section, cell })
}
