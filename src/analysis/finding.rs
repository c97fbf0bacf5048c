//! Why a groove is hard: findings, each with its figure, threshold, source and place.

use super::attacks::TimedAttack;
use super::clock::{Clock, wholes};
use super::groups::{Figure, Groups, groups_through};
use super::hearing::{Hearing, Kind};
use super::landing::Depth;
use super::limits::{self, Limits};
use super::reason::Reason;
use super::report::{LayerReport, Need};
use super::stream::{Pair, Source, Stream};
use crate::rhythm::{Groove, MeterKind, Place};
use std::ops::Range;

/// One reason why a groove is hard.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The reason with its figure.
    pub reason: Reason,
    /// The figure from which on it counts, in the figure's unit.
    pub threshold: f64,
    /// Where the threshold comes from.
    pub source: &'static str,
    /// Where in the groove it first holds.
    pub place: Option<Place>,
    /// How heavy it is, 0 to 1: findings are ordered by it.
    pub weight: f64,
}

const OURS: &str = "ours, no source";
/// Share of attacks off the beat and its half from which on landings are weak.
const WEAK: f64 = 0.4;
/// Share of beats without a sound from which on they are missed.
const SILENT: f64 = 0.25;
/// Cells per beat beyond what players count with syllables (common practice, no source).
const COUNTED: u16 = 4;
/// The same for the beat of a compound meter (common practice, no source).
const COUNTED_COMPOUND: u16 = 6;
/// Longest over shortest group up to which groups pass for one length while cells are not felt: the two-interval ratio under
/// which unequal intervals are drawn together.
const EVEN: f64 = 1.5;
/// How little cells must be felt for unequal groups of them to be taken for equal, 0 to 1 (ours, no source): at the limit of 100 ms,
/// those under 115 ms.
const UNFELT: f64 = 0.5;
/// Score of another hearing over that of the counted ones from which on it is a rival.
const LEAD: f64 = 1.1;
/// Groups from which on missing order is noticed.
const ORDER: usize = 12;
/// Length of the shortest form over that of the plain line from which on a line has no order.
const DISORDER: f64 = 0.7;
/// Share of the groups that the rarer of two sizes must have for the groups to pass for one length.
const MIXED: f64 = 0.2;

/// What the findings are drawn from.
pub(super) struct Material<'a> {
    pub(super) groove: &'a Groove,
    pub(super) layers: &'a [LayerReport],
    pub(super) focus: &'a [usize],
    pub(super) attacks: &'a [TimedAttack],
    pub(super) cell_ms: Option<f64>,
    pub(super) needs: &'a [Need],
    pub(super) everything: &'a [TimedAttack],
    pub(super) clock: &'a Clock,
    pub(super) hearings: &'a [Hearing],
    pub(super) streams: &'a [Stream],
    pub(super) pairs: &'a [Pair],
    pub(super) speed: f64,
    pub(super) limits: Limits,
}

/// The findings, heaviest first. An easy groove has none.
pub(super) fn findings(m: &Material<'_>) -> Vec<Finding> {
    let mut found: Vec<Finding> = Vec::new();
    if m.attacks.len() < 3 {
        return found;
    }
    // How little the cells are felt: 1 at the limit, 0 from the easy cell on.
    let unfelt = m.cell_ms.map_or(0.0, |ms| 1.0 - m.limits.feel(ms));
    found.extend(rival(m));
    found.extend(cells(m));
    found.extend(beat_changes(m));
    found.extend(landings(m));
    found.extend(groups(m, unfelt));
    found.extend(layers(m));
    found.extend(cycles(m));
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found
}

fn place_of(attack: &TimedAttack) -> Place {
    Place { layer: attack.layer, section: attack.section, cell: attack.cell }
}

fn rival(m: &Material<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    let Some(first) = m.hearings.first().filter(|h| !h.kind.is_counted()) else { return found };
    let own = m.hearings.iter().filter(|h| h.kind.is_counted()).map(|h| h.score).fold(0.0, f64::max);
    let written = m.hearings.iter().find(|h| h.kind == Kind::Written).map(|h| h.tempos(m.speed)).unwrap_or_default();
    let lead = first.score / own.max(0.1);
    if lead < LEAD {
        return found;
    }
    let bpm = first.tempos(m.speed);
    found.push(Finding {
        reason: Reason::Rival { hearing: 0, bpm, written, lead },
        threshold: LEAD,
        source: "ours, no source: score over score",
        place: m.attacks.get(first.stretches[0].first).map(place_of),
        weight: (0.6 + 0.4 * (lead - 1.0).min(1.0)).min(1.0),
    });
    if first.stretches.len() > 1 && first.kind == Kind::Changing {
        found.push(Finding {
            reason: Reason::Changes(first.stretches.len()),
            threshold: 2.0,
            source: OURS,
            place: m.attacks.get(first.stretches[1].first).map(place_of),
            weight: 0.55,
        });
    }
    found
}

fn cells(m: &Material<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    // Cells at the limit, however few attacks need them.
    let ms = |n: &Need| n.cell * 1000.0 / m.speed;
    let fast = |n: &&Need| m.limits.feel(ms(n)) == 0.0;
    let all: usize = m.needs.iter().map(|n| n.attacks).sum();
    let few: usize = m.needs.iter().filter(fast).map(|n| n.attacks).sum();
    if let Some(shortest) = m.needs.iter().filter(fast).min_by(|a, b| a.cell.total_cmp(&b.cell)) {
        let share = few as f64 / all.max(1) as f64;
        found.push(Finding {
            reason: Reason::CellTooFast { ms: ms(shortest), share },
            threshold: m.limits.cell_ms,
            source: limits::FASTEST_CELL.source,
            place: m.needs.iter().find(fast).map(|n| n.place),
            // A fifth of the attacks make it the groove's own cell.
            weight: if share >= 0.2 { 0.9 } else { 0.3 + 2.0 * share },
        });
    }
    // The cells the focus layers really use: a division of eight with attacks on its halves only is a division of four.
    let compound = m.groove.sections().iter().any(|s| s.meter.kind() == MeterKind::Compound);
    let counted = if compound { COUNTED_COMPOUND } else { COUNTED };
    let rows = || m.focus.iter().filter_map(|l| m.layers.get(*l)).flat_map(|l| l.landings.rows.iter());
    let deep = |d: Depth| matches!(d, Depth::Part(n) if n > counted);
    let deepest = rows()
        .filter(|r| deep(r.depth))
        .filter_map(|r| if let Depth::Part(n) = r.depth { Some(n) } else { None })
        .max();
    if let Some(n) = deepest {
        let (of_deep, of_all) =
            rows().fold((0, 0), |(d, a), r| (d + if deep(r.depth) { r.count } else { 0 }, a + r.count));
        let share = of_deep as f64 / of_all.max(1) as f64;
        let at = m.attacks.iter().find(|a| depth_of(m.groove, a).is_some_and(deep));
        found.push(Finding {
            reason: Reason::CellsPerBeat { cells: n, share },
            threshold: f64::from(counted),
            source: "common practice, no source: syllables reach to quarters of the beat",
            place: at.map(place_of),
            weight: 0.2 + 0.4 * share.min(1.0),
        });
    }
    found
}

fn depth_of(groove: &Groove, attack: &TimedAttack) -> Option<Depth> {
    let context = groove.context(attack.layer, attack.section);
    groove
        .part(attack.layer, attack.section)
        .spot(attack.cell, context)
        .map(|spot| super::landing::depth(spot, context))
}

fn landings(m: &Material<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut all = super::landing::Landings::default();
    m.focus.iter().filter_map(|l| m.layers.get(*l)).for_each(|l| all.merge(&l.landings));
    let weak = |d: Depth| matches!(d, Depth::Part(n) if n != 2);
    // Thirds in a compound meter are the plain cut of its beat.
    let compound = m.groove.sections().iter().all(|s| s.meter.kind() == MeterKind::Compound);
    let share = all.share(|d| weak(d) && !(compound && d == Depth::Part(3)));
    if share >= WEAK {
        let at = m.attacks.iter().find(|a| depth_of(m.groove, a).is_some_and(weak));
        found.push(Finding {
            reason: Reason::WeakLandings(share),
            threshold: WEAK,
            source: OURS,
            place: at.map(place_of),
            weight: 0.3 + 0.5 * (share - WEAK),
        });
    }
    // A beat shorter than any pulse (the units of an additive meter) is not missed, but a strong one is.
    let felt = |kind| m.hearings.iter().find(|h| h.kind == kind && h.parts.tempo > 0.0);
    if let Some(counted) = felt(Kind::Written).or_else(|| felt(Kind::Heads)) {
        let share = counted.unsounded as f64 / counted.pulses.len().max(1) as f64;
        if share >= SILENT {
            found.push(Finding {
                reason: Reason::SilentBeats { share, strong: counted.kind == Kind::Heads },
                threshold: SILENT,
                source: OURS,
                place: silent_place(m, counted),
                weight: 0.3 + 0.4 * share,
            });
        }
    }
    found
}

/// The first beat on which nothing sounds, as a cell of the focus layer.
fn silent_place(m: &Material<'_>, counted: &Hearing) -> Option<Place> {
    let layer = *m.focus.first()?;
    let near = |p: f64| {
        let next = m.everything.partition_point(|a| a.seconds < p - 0.01);
        m.everything.get(next).is_some_and(|a| a.seconds < p + 0.01)
    };
    let pulse = counted.pulses.iter().copied().find(|p| !near(*p))?;
    let moment = m.clock.moment(pulse)?;
    let context = m.groove.context(layer, moment.section);
    let beat = (moment.wholes / wholes(context.meter.beat())).round() as usize;
    let cell = m.groove.part(layer, moment.section).cell_at(context.meter.beat().repeated(beat)?, context);
    Some(Place { layer, section: moment.section, cell })
}

/// Changes of the written beat between sections that can be told.
fn beat_changes(m: &Material<'_>) -> Option<Finding> {
    let written = m.hearings.iter().find(|h| h.kind == Kind::Written)?;
    let tempos = written.tempos(m.speed);
    let second = written.stretches.iter().filter(|s| s.attacks > 0).nth(1)?;
    (tempos.len() > 1).then(|| Finding {
        reason: Reason::BeatChanges(tempos),
        threshold: limits::TEMPO_CHANGE.value,
        source: limits::TEMPO_CHANGE.source,
        place: m.attacks.get(second.first).map(place_of),
        weight: 0.4,
    })
}

fn groups(m: &Material<'_>, unfelt: f64) -> Vec<Finding> {
    let mut found = Vec::new();
    let Some(&layer) = m.focus.first() else { return found };
    for run in runs(m.groove) {
        let of_run = if run.len() == 1 {
            m.layers[layer].sections[run.start].groups.clone()
        } else {
            groups_through(m.groove, layer, run.clone())
        };
        let Some(g) = of_run else { continue };
        let place = m.attacks.iter().find(|a| run.contains(&a.section)).map(place_of);
        // The last group may be cut by the end.
        let inner = if g.line.len() > 4 { &g.line[..g.line.len() - 1] } else { &g.line[..] };
        if let (Some(&least), Some(&most)) = (inner.iter().min(), inner.iter().max()) {
            let ratio = f64::from(most) / f64::from(least);
            let rarer = inner.iter().filter(|g| **g == most).count().min(inner.iter().filter(|g| **g == least).count());
            let mixed = rarer as f64 >= MIXED * inner.len() as f64;
            if least < most && ratio <= EVEN && mixed && unfelt >= UNFELT {
                found.push(Finding {
                    reason: Reason::NearlyEven(ratio),
                    threshold: EVEN,
                    source: "Repp, London & Keller 2005, Music Perception 23(1), abstract",
                    place,
                    weight: 0.3 + 0.25 * unfelt,
                });
            }
            let mut sizes = inner.to_vec();
            sizes.sort_unstable();
            sizes.dedup();
            if inner.len() >= ORDER && (2..=3).contains(&sizes.len()) && !has_order(&g) {
                let reason = Reason::NoPeriod(inner.len());
                found.push(Finding { reason, threshold: ORDER as f64, source: OURS, place, weight: 0.45 });
            }
        }
        // Of the figures that do not fit the bar, the one that fills most of the time.
        let all: u32 = g.line.iter().sum();
        let against =
            g.figures.iter().filter(|f| f.meets_after_bars > 1 && f.meets_after_figures > 1 && 2 * f.covers >= all);
        if let Some(f) = against.max_by_key(|f| f.covers) {
            found.push(Finding {
                reason: Reason::AgainstTheBar {
                    units: f.units,
                    bars: f.meets_after_bars,
                    figures: f.meets_after_figures,
                    times: f.times,
                },
                threshold: 1.0,
                source: "the least common multiple of figure and bar",
                place: head_of(m, layer, &run, &g, f).or(place),
                weight: 0.4,
            });
        }
    }
    found
}

/// Where a figure of the groups through some sections first begins.
fn head_of(m: &Material<'_>, layer: usize, run: &Range<usize>, g: &Groups, f: &Figure) -> Option<Place> {
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
fn cycles(m: &Material<'_>) -> Vec<Finding> {
    let of = |layer: usize, section: usize| {
        let (part, context) = (m.groove.part(layer, section), m.groove.context(layer, section));
        let first = part.stored().iter().position(|c| c.attack().is_some()).filter(|_| part.is_cycle())?;
        let cells = part.stored().len();
        let (round, bar) =
            (context.meter.beat().divided(usize::from(context.division))?.repeated(cells)?, context.meter.bar());
        let meet = round.common_multiple(bar)?;
        let (bars, rounds) = (meet.ratio_to(bar)?.floor(), meet.ratio_to(round)?.floor());
        let times = context.length().ratio_to(round)?.floor();
        (bars > 1 && rounds > 1 && times > 0).then(|| Finding {
            reason: Reason::CycleAgainstTheBar {
                layer: m.groove.layers()[layer].name.clone(),
                cells,
                bars: bars as u64,
                breaks_off: times < rounds,
            },
            threshold: 1.0,
            source: "the least common multiple of cycle and bar",
            place: Some(Place { layer, section, cell: first }),
            weight: 0.3,
        })
    };
    let others = (0..m.groove.layers().len()).filter(|l| m.groove.is_audible(*l) && !m.focus.contains(l));
    others.filter_map(|l| (0..m.groove.sections().len()).find_map(|s| of(l, s))).collect()
}

/// Neighbouring sections that read on as one: of one meter, each once through.
fn runs(groove: &Groove) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (i, s) in groove.sections().iter().enumerate() {
        match runs.last_mut() {
            Some(run)
                if s.times == 1
                    && groove.sections()[run.start].times == 1
                    && groove.sections()[run.start].meter == s.meter =>
            {
                run.end = i + 1;
            }
            _ => runs.push(i..i + 1),
        }
    }
    runs
}

/// Whether the line has a form much shorter than itself.
fn has_order(groups: &Groups) -> bool {
    let plain = 2 * groups.line.len() - 1;
    (groups.length as f64) < DISORDER * plain as f64
}

fn layers(m: &Material<'_>) -> Vec<Finding> {
    let layer = |i: usize| match m.streams.get(i).map(|s| &s.source) {
        Some(Source::Layer(l)) => Some(*l),
        _ => None,
    };
    m.pairs
        .iter()
        .filter_map(|p| {
            let (a, b) = (layer(p.a)?, layer(p.b)?);
            let ratio = p.exact?;
            (ratio.0 > 1 && ratio.1 > 1).then_some(Finding {
                reason: Reason::Unrelated { a, b, ratio },
                threshold: 1.0,
                source: "neither rate is a whole multiple of the other",
                place: Some(Place { layer: b, section: 0, cell: 0 }),
                weight: 0.35,
            })
        })
        .collect()
}
