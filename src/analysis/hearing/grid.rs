//! Hearings whose pulses lie on the written grid: the beat, its relatives, and pulses of whole cells.

use super::{Draft, Kind};
use crate::analysis::attacks::TimedAttack;
use crate::analysis::clock::{Clock, wholes};
use crate::rhythm::{Groove, MeterKind, Time};

/// Periods of the beat's relatives, as parts of the beat.
const RELATIVES: [(u8, u8); 7] = [(1, 2), (2, 1), (3, 2), (3, 4), (2, 3), (3, 1), (4, 1)];
/// Most cells in the period of a pulse of cells.
const MOST_CELLS: usize = 96;
/// Most pulses of cells that are fitted.
const MOST_PULSES: usize = 16;
/// Least share of the attacks a pulse of cells must carry to be fitted.
const LEAST_SHARE: f64 = 0.3;

/// The written beat, its relatives, the strong beats of additive meters, and the best pulses of whole cells.
pub(super) fn drafts(groove: &Groove, clock: &Clock, attacks: &[TimedAttack], range: (f64, f64)) -> Vec<Draft> {
    let mut drafts = vec![relative(groove, clock, range, Kind::Written, (1, 1))];
    if groove.sections().iter().any(|s| s.meter.kind() == MeterKind::Additive) {
        drafts.push(heads(groove, clock, range));
    }
    drafts.extend(RELATIVES.map(|(n, d)| relative(groove, clock, range, Kind::Relative(n, d), (n, d))));
    drafts.extend(of_cells(groove, clock, attacks, range));
    drafts
}

fn draft(kind: Kind, pulses: Vec<f64>, range: (f64, f64)) -> Draft {
    let pulses: Vec<f64> = pulses.into_iter().filter(|p| within(*p, range)).collect();
    Draft { kind, stretches: stretches(&pulses), pulses, exact: true }
}

fn within(at: f64, range: (f64, f64)) -> bool {
    at >= range.0 - 1e-9 && at < range.1 - 1e-9
}

/// A stretch for every run of equal steps; the step across a change of tempo belongs to the stretch before it.
fn stretches(pulses: &[f64]) -> Vec<(usize, f64)> {
    let mut found: Vec<(usize, f64)> = Vec::new();
    for (i, pair) in pulses.windows(2).enumerate() {
        let step = pair[1] - pair[0];
        if found.last().is_none_or(|(_, last)| (step - last).abs() > 1e-6 * last) {
            found.push((i, step));
        }
    }
    found
}

/// Every `n / d` beats, counted on through the groove.
fn relative(groove: &Groove, clock: &Clock, range: (f64, f64), kind: Kind, (n, d): (u8, u8)) -> Draft {
    let mut pulses = Vec::new();
    let mut beats_before = 0.0_f64;
    let step = f64::from(n) / f64::from(d);
    for (section, pass) in clock.passes() {
        let s = &groove.sections()[section];
        let (beat, count) = (wholes(s.meter.beat()), s.beats() as f64);
        let start = clock.seconds(section, pass, Time::ZERO).unwrap_or_default();
        let per_whole = clock.seconds_per_whole(section).unwrap_or_default();
        let mut k = (beats_before / step - 1e-9).ceil();
        while k * step < beats_before + count - 1e-9 {
            pulses.push(start + (k * step - beats_before) * beat * per_whole);
            k += 1.0;
        }
        beats_before += count;
    }
    draft(kind, pulses, range)
}

fn heads(groove: &Groove, clock: &Clock, range: (f64, f64)) -> Draft {
    let mut pulses: Vec<(f64, f64)> = Vec::new();
    for (section, pass) in clock.passes() {
        let s = &groove.sections()[section];
        let additive = s.meter.kind() == MeterKind::Additive;
        let in_bar = if additive { 1 + s.meter.strong_beats().len() } else { s.meter.beats() };
        // The steps are unequal by design: their mean over the bar is the tempo.
        let mean = wholes(s.meter.bar()) * clock.seconds_per_whole(section).unwrap_or_default() / in_bar as f64;
        for bar in 0..usize::from(s.bars) {
            let of_bar: Vec<usize> =
                if additive { [vec![0], s.meter.strong_beats()].concat() } else { (0..s.meter.beats()).collect() };
            for beat in of_bar {
                let offset = s.meter.beat().repeated(bar * s.meter.beats() + beat);
                pulses.extend(offset.and_then(|o| clock.seconds(section, pass, o)).map(|at| (at, mean)));
            }
        }
    }
    pulses.retain(|(at, _)| within(*at, range));
    let mut stretches: Vec<(usize, f64)> = Vec::new();
    for (i, (_, mean)) in pulses.iter().enumerate() {
        if stretches.last().is_none_or(|(_, last)| (mean - last).abs() > 1e-6 * last) {
            stretches.push((i, *mean));
        }
    }
    Draft { kind: Kind::Heads, pulses: pulses.into_iter().map(|p| p.0).collect(), stretches, exact: true }
}

/// Pulses of whole cells (of the greatest length that measures all groups), each with the phase most attacks fall on.
fn of_cells(groove: &Groove, clock: &Clock, attacks: &[TimedAttack], range: (f64, f64)) -> Vec<Draft> {
    let Some(cell) = common_cell(groove, attacks) else { return Vec::new() };
    let at = |s: f64| clock.whole_of(s) / cell;
    let ticks: Vec<usize> = attacks.iter().map(|a| at(a.seconds).round().max(0.0) as usize).collect();
    let (Some(first), Some(last)) = (ticks.first(), ticks.last()) else { return Vec::new() };
    if attacks.len() < 2 || last == first {
        return Vec::new();
    }
    let mean = (last - first) as f64 / (ticks.len() - 1) as f64;
    let least = ((mean * 0.45).ceil() as usize).max(1);
    let most = ((mean * 4.5).floor() as usize).min(MOST_CELLS);
    let mut found: Vec<(usize, usize, usize)> = (least..=most)
        .filter_map(|n| {
            let mut counts = vec![0_usize; n];
            for t in &ticks {
                counts[t % n] += 1;
            }
            let (phase, count) = counts.into_iter().enumerate().max_by_key(|(i, c)| (*c, std::cmp::Reverse(*i)))?;
            (count as f64 >= LEAST_SHARE * ticks.len() as f64).then_some((n, phase, count))
        })
        .collect();
    // Those that carry more than chance would (one in `n`) first.
    found.sort_by_key(|(n, _, count)| std::cmp::Reverse(count * n.min(&8)));
    found.truncate(MOST_PULSES);
    let end = clock.total_wholes();
    found
        .into_iter()
        .map(|(n, phase, _)| {
            let step = n as f64 * cell;
            let count = ((end - phase as f64 * cell) / step).ceil().max(0.0) as usize;
            let pulses = (0..count).map(|k| clock.at_whole(phase as f64 * cell + k as f64 * step)).collect();
            draft(Kind::Cells, pulses, range)
        })
        .collect()
}

/// The greatest length, in whole notes, that measures every attack from the groove's start and every beat; `None` if it cannot
/// be held exactly.
fn common_cell(groove: &Groove, attacks: &[TimedAttack]) -> Option<f64> {
    let mut places: Vec<(usize, usize, usize)> = attacks.iter().map(|a| (a.section, a.layer, a.cell)).collect();
    places.sort_unstable();
    places.dedup();
    let (mut measure, mut start) = (Time::ZERO, Time::ZERO);
    let mut next = places.into_iter().peekable();
    for (i, section) in groove.sections().iter().enumerate() {
        measure = measure.common_measure(section.meter.beat())?;
        let mut starts: Option<(usize, Vec<Time>)> = None;
        let mut any = false;
        while let Some((_, layer, cell)) = next.next_if(|p| p.0 == i) {
            if starts.as_ref().is_none_or(|(l, _)| *l != layer) {
                starts = Some((layer, groove.part(layer, i).starts(groove.context(layer, i))));
            }
            let offset = *starts.as_ref()?.1.get(cell)?;
            measure = measure.common_measure(start.plus(offset)?)?;
            any = true;
        }
        // Further times through are later by whole sections.
        if any && section.times > 1 {
            measure = measure.common_measure(section.length())?;
        }
        start = start.plus(section.length().repeated(usize::from(section.times))?)?;
    }
    Some(wholes(measure))
}
