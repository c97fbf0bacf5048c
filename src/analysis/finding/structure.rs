//! Facts on how the groove is built: cells, groups, figures, cycles, meters, accents.

use super::super::clock::wholes;
use super::super::groups::{Figure, Groups, groups_through};
use super::super::landing::{self, Depth};
use super::super::listener::distinct_tempos;
use super::super::stream::{StreamPair, StreamSource};
use super::{
    Fact, FindingContext, MAX_COUNTED_CELLS, MAX_EVEN_RATIO, MIN_OFF_BEAT_SHARE, MIN_ORDERED_GROUPS, Need, Reason,
    place_of,
};
use crate::analysis::attacks::TimedAttack;
use crate::rhythm::{Accent, Fraction, Groove, MeterKind, Place, Section};
use std::ops::Range;

/// How little cells must be felt for groups to pass for one length, 0 to 1: at the limit of 100 ms, cells under 115 ms (ours, no
/// source).
const MIN_UNFELT: f64 = 0.5;
/// Share of the groups that the rarer of two sizes must have for the groups to pass for one length (ours, no source).
const MIN_MIXED_SHARE: f64 = 0.2;
/// Length of the shortest form over that of the plain line from which on a line has no order (ours, no source).
const MIN_DISORDER: f64 = 0.7;
/// A phrase that merely comes twice is no figure (ours, no source).
const MIN_FIGURE_TIMES: u32 = 3;
/// Accents needed before their places count (ours, no source).
const MIN_ACCENTS: usize = 3;

pub(super) fn facts(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = cells(m);
    found.extend(meters(m));
    found.extend(beat_changes(m));
    found.extend(groups(m));
    found.extend(accents(m));
    found.extend(layers(m));
    found.extend(cycles(m));
    found
}

fn cells(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = Vec::new();
    // Cells at the limit, however few attacks need them.
    let ms = |n: &Need| n.cell * 1000.0 / m.report.speed;
    let fast = |n: &&Need| m.limits.feel(ms(n)) == 0.0;
    let all: usize = m.needs.iter().map(|n| n.attacks).sum();
    let few: usize = m.needs.iter().filter(fast).map(|n| n.attacks).sum();
    if let Some(shortest) = m.needs.iter().filter(fast).min_by(|a, b| a.cell.total_cmp(&b.cell)) {
        let share = few as f64 / all.max(1) as f64;
        found.push(Fact {
            reason: Reason::CellTooFast { ms: ms(shortest), share },
            place: m.needs.iter().find(fast).map(|n| n.place),
            // A fifth of the attacks make it the groove's own cell.
            weight: if share >= 0.2 { 0.9 } else { 0.3 + 2.0 * share },
        });
    }
    // The cells the layers really use: a division of eight with attacks on its halves only is a division of four.
    let deep = |d: Depth| if let Depth::Part(n) = d { Some(n).filter(|n| *n > MAX_COUNTED_CELLS) } else { None };
    let rows = || m.report.focus.iter().filter_map(|l| m.report.layers.get(*l)).flat_map(|l| l.landings.rows.iter());
    if let Some(cells) = rows().filter_map(|r| deep(r.depth)).max() {
        let of_all: usize = rows().map(|r| r.count).sum();
        let of_deep: usize = rows().filter(|r| deep(r.depth).is_some()).map(|r| r.count).sum();
        let share = of_deep as f64 / of_all.max(1) as f64;
        let at = m.report.attacks.iter().find(|a| depth_of(m.groove, a).and_then(deep).is_some());
        let weight = 0.2 + 0.4 * share.min(1.0);
        found.push(Fact { reason: Reason::CellsPerBeat { cells, share }, place: at.map(place_of), weight });
    }
    found
}

pub(super) fn depth_of(groove: &Groove, attack: &TimedAttack) -> Option<Depth> {
    let context = groove.context(attack.layer, attack.section);
    groove.part(attack.layer, attack.section).spot(attack.cell, context).map(|spot| landing::depth(spot, context))
}

/// Bars of an odd number of beats, and meters that change.
fn meters(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = Vec::new();
    let layer = m.report.focus.first().copied().unwrap_or(0);
    let start = |section: usize| Some(Place { layer, section, cell: 0 });
    let sections = m.groove.sections();
    let odd = |s: &Section| {
        let beats = s.meter.beats();
        s.meter.kind() != MeterKind::Additive && beats > 3 && beats % 2 == 1
    };
    if let Some(section) = sections.iter().position(odd) {
        let reason = Reason::OddBar(sections[section].meter.beats());
        found.push(Fact { reason, place: start(section), weight: 0.35 });
    }
    let mut meters: Vec<String> = sections.iter().map(|s| s.meter.to_string()).collect();
    let second = meters.iter().position(|x| *x != meters[0]);
    meters.sort_unstable();
    meters.dedup();
    if let Some(second) = second {
        found.push(Fact { reason: Reason::MeterChange(meters.len()), place: start(second), weight: 0.4 });
    }
    found
}

/// A change of tempo, or of the counted unit between simple and compound meters. A pickup, or a bar of eighths among bars of
/// quarters at one note tempo, is none.
fn beat_changes(m: &FindingContext<'_>) -> Option<Fact> {
    let sections = m.groove.sections();
    let compound = |s: &Section| s.meter.kind() == MeterKind::Compound;
    let per_minute = |s: &Section| s.tempo.wholes_per_minute();
    let second = sections
        .windows(2)
        .position(|w| per_minute(&w[0]) != per_minute(&w[1]) || compound(&w[0]) != compound(&w[1]))?;
    let beat = |s: &Section| {
        60.0 * wholes(s.tempo.unit()) * f64::from(per_minute(s).denom() as u32) / per_minute(s).numer() as f64
    };
    let tempos = distinct_tempos(sections.iter().map(beat), m.report.speed);
    let place = m.report.attacks.iter().find(|a| a.section > second).map(place_of);
    (tempos.len() > 1).then_some(Fact { reason: Reason::BeatChanges(tempos), place, weight: 0.4 })
}

fn groups(m: &FindingContext<'_>) -> Vec<Fact> {
    let mut found = Vec::new();
    let Some(&layer) = m.report.focus.first() else { return found };
    let unfelt = m.report.cell_ms.map_or(0.0, |ms| 1.0 - m.limits.feel(ms));
    for run in runs(m.groove) {
        let of_run = if run.len() == 1 {
            m.report.layers[layer].sections[run.start].groups.clone()
        } else {
            groups_through(m.groove, layer, run.clone())
        };
        let Some(g) = of_run else { continue };
        let place = m.report.attacks.iter().find(|a| run.contains(&a.section)).map(place_of);
        // The last group may be cut by the end.
        let inner = if g.line.len() > 4 { &g.line[..g.line.len() - 1] } else { &g.line[..] };
        if let (Some(&short), Some(&long)) = (inner.iter().min(), inner.iter().max()) {
            let ratio = f64::from(long) / f64::from(short);
            let count = |size: u32| inner.iter().filter(|g| **g == size).count();
            let mixed = count(long).min(count(short)) as f64 >= MIN_MIXED_SHARE * inner.len() as f64;
            let neighbors = inner.windows(2).position(|w| w[0] != w[1]);
            if let Some(k) = neighbors.filter(|_| ratio <= MAX_EVEN_RATIO && mixed && unfelt >= MIN_UNFELT) {
                let (long, short) = (inner[k].max(inner[k + 1]), inner[k].min(inner[k + 1]));
                let is_played_once = m.groove.sections()[run.clone()].iter().all(|s| s.times == 1);
                let of_layer = m.report.attacks.iter().filter(|a| a.layer == layer && run.contains(&a.section));
                let place = of_layer.filter(|_| is_played_once || run.len() == 1).nth(k).map(place_of).or(place);
                let unit = wholes(g.unit) * m.report.clock.seconds_per_whole(run.start).unwrap_or_default() * 1000.0
                    / m.report.speed;
                let reason = Reason::NearlyEven { long, short, difference_ms: f64::from(long - short) * unit };
                found.push(Fact { reason, place, weight: 0.3 + 0.25 * unfelt });
            }
            let mut sizes = inner.to_vec();
            sizes.sort_unstable();
            sizes.dedup();
            if inner.len() >= MIN_ORDERED_GROUPS && (2..=3).contains(&sizes.len()) && !has_order(&g) {
                found.push(Fact { reason: Reason::NoPeriod(g.line.len()), place, weight: 0.45 });
            }
        }
        // Of the figures that do not fit the bar, the one that fills most of the time.
        let all: u32 = g.line.iter().sum();
        let against = g.figures.iter().filter(|f| {
            f.times >= MIN_FIGURE_TIMES && f.meets_after_bars > 1 && f.meets_after_figures > 1 && 2 * f.covers >= all
        });
        if let Some(f) = against.max_by_key(|f| f.covers) {
            let (units, times, bars, figures) = (f.units, f.times, f.meets_after_bars, f.meets_after_figures);
            let place = figure_place(m, layer, &run, &g, f).or(place);
            found.push(Fact { reason: Reason::AgainstTheBar { units, bars, figures, times }, place, weight: 0.4 });
            found.extend(accents_against(m, layer, &run, f.units));
        }
    }
    found
}

/// Accents at even distances that are no part and no multiple of the figure; for cells of one length only.
fn accents_against(m: &FindingContext<'_>, layer: usize, run: &Range<usize>, figure: u32) -> Option<Fact> {
    let section = run.start;
    let context = m.groove.context(layer, section);
    let part = m.groove.part(layer, section);
    let unit = context.meter.beat().divided(usize::from(context.division))?;
    let places: Option<Vec<i64>> = part
        .attacks(context)
        .iter()
        .filter(|a| part.cell(a.cell).attack().is_some_and(|a| a.accent == Accent::Accent))
        .map(|a| a.start.ratio_to(unit).filter(|r| r.denom() == 1).map(Fraction::numer))
        .collect();
    let places = places.filter(|p| p.len() >= MIN_ACCENTS)?;
    let step = places[1] - places[0];
    let even = places.windows(2).all(|w| w[1] - w[0] == step);
    let accents = u32::try_from(step).ok()?;
    let place = m.report.attacks.iter().find(|a| a.section == section && a.accent == Accent::Accent).map(place_of);
    let fact = Fact { reason: Reason::AccentsAgainstFigure { accents, figure }, place, weight: 0.3 };
    (even && accents > 0 && !accents.is_multiple_of(figure) && !figure.is_multiple_of(accents)).then_some(fact)
}

/// Accents that are not on a beat.
fn accents(m: &FindingContext<'_>) -> Option<Fact> {
    let accented = || m.report.attacks.iter().filter(|a| a.accent == Accent::Accent);
    let off = |a: &&TimedAttack| depth_of(m.groove, a).is_some_and(|d| !d.on_beat());
    let (count, of_off) = (accented().count(), accented().filter(off).count());
    let share = of_off as f64 / count.max(1) as f64;
    let some_plain = count < m.report.attacks.len();
    (count >= MIN_ACCENTS && some_plain && share >= MIN_OFF_BEAT_SHARE).then(|| Fact {
        reason: Reason::AccentsOffBeat(share),
        place: accented().find(off).map(place_of),
        weight: 0.2 + 0.3 * share,
    })
}

/// Where a figure of the groups through some sections first begins.
fn figure_place(m: &FindingContext<'_>, layer: usize, run: &Range<usize>, g: &Groups, f: &Figure) -> Option<Place> {
    let mut at = g.unit.repeated(*f.heads.first()? as usize)?;
    for section in run.clone() {
        let context = m.groove.context(layer, section);
        if at < context.length() {
            let part = m.groove.part(layer, section);
            // With swing an attack stands later than its cell is written.
            let cell = part.attacks(context).into_iter().find(|s| s.start == at).map(|s| s.cell);
            return Some(Place { layer, section, cell: cell.unwrap_or_else(|| part.cell_at(at, context)) });
        }
        at = at.minus(context.length())?;
    }
    None
}

/// Cycles of the other layers that do not come out even with the bar, one for each layer: those of the focus are figures of its groups.
fn cycles(m: &FindingContext<'_>) -> Vec<Fact> {
    let fact = |layer: usize, section: usize| {
        let (part, context) = (m.groove.part(layer, section), m.groove.context(layer, section));
        let first = part.stored().iter().position(|c| c.attack().is_some()).filter(|_| part.is_cycle())?;
        let cells = part.stored().len();
        let (round, bar) =
            (context.meter.beat().divided(usize::from(context.division))?.repeated(cells)?, context.meter.bar());
        let meet = round.common_multiple(bar)?;
        let (bars, rounds) = (meet.ratio_to(bar)?.floor(), meet.ratio_to(round)?.floor());
        let times = context.length().ratio_to(round)?.floor();
        let place = Some(Place { layer, section, cell: first });
        let (layer, bars, breaks_off) = (m.groove.layers()[layer].name.clone(), bars as u64, times < rounds);
        let reason = Reason::CycleAgainstTheBar { layer, cells, bars, breaks_off };
        (bars > 1 && rounds > 1 && times > 0).then_some(Fact { reason, place, weight: 0.3 })
    };
    let others = (0..m.groove.layers().len()).filter(|l| !m.report.focus.contains(l));
    others.filter_map(|l| (0..m.groove.sections().len()).find_map(|s| fact(l, s))).collect()
}

/// Neighbouring sections that read on as one: of one meter, each once through.
fn runs(groove: &Groove) -> Vec<Range<usize>> {
    let read_on = |a: &Section, b: &Section| a.times == 1 && b.times == 1 && a.meter == b.meter;
    let mut end = 0;
    let runs = groove.sections().chunk_by(read_on).map(|run| {
        end += run.len();
        end - run.len()..end
    });
    runs.collect()
}

/// Whether the line has a form much shorter than itself.
fn has_order(groups: &Groups) -> bool {
    let plain = 2 * groups.line.len() - 1;
    (groups.length as f64) < MIN_DISORDER * plain as f64
}

fn layers(m: &FindingContext<'_>) -> Vec<Fact> {
    let layer = |i: usize| match m.report.streams.get(i).map(|s| &s.source) {
        Some(StreamSource::Layer(l)) => Some(*l),
        _ => None,
    };
    let unrelated = |p: &StreamPair| {
        let (a, b, ratio) = (layer(p.a)?, layer(p.b)?, p.exact?);
        let place = Some(Place { layer: b, section: 0, cell: 0 });
        (ratio.0 > 1 && ratio.1 > 1).then_some(Fact { reason: Reason::Unrelated { a, b, ratio }, place, weight: 0.35 })
    };
    m.report.pairs.iter().filter_map(unrelated).collect()
}
