//! Messages that say what an edit did to a groove.

use super::count;
use crate::rhythm::{Edit, Fraction, Groove, Time, bounds, print_note_value};
use std::collections::HashSet;

/// Most characters of a layer's name in a message.
const MAX_NAME: usize = 16;

/// Section and offset of a layer's attacks, each time through of a section counted once.
fn attacks(groove: &Groove, layer: usize) -> Vec<(usize, Time)> {
    groove.events(layer).iter().filter(|e| e.pass == 0).map(|e| (e.section, e.offset)).collect()
}

fn name(groove: &Groove, layer: usize) -> String {
    groove.layers()[layer].name.chars().take(MAX_NAME).collect()
}

/// `; 3 attacks lost`, of all layers; empty where none is.
pub(super) fn lost(old: &Groove, new: &Groove) -> String {
    let of = |g: &Groove, layer| attacks(g, layer).len();
    lost_words((0..old.layers().len()).map(|l| of(old, l).saturating_sub(of(new, l))).sum())
}

/// `; 3 attacks lost`, for a removed layer.
pub(super) fn lost_with(old: &Groove, layer: usize) -> String {
    lost_words(attacks(old, layer).len())
}

fn lost_words(lost: usize) -> String {
    if lost == 0 { String::new() } else { format!("; {} lost", count(lost, "attack")) }
}

/// After a new division of a layer: its cells, and how many attacks moved or were lost.
pub(super) fn divided(old: &Groove, new: &Groove, layer: usize) -> String {
    let (before, after) = (attacks(old, layer), attacks(new, layer));
    let kept: HashSet<_> = before.iter().collect();
    let moved = after.iter().filter(|a| !kept.contains(a)).count();
    let lost = before.len().saturating_sub(after.len());
    let division = usize::from(new.layers()[layer].division);
    let everywhere = if new.sections().len() > 1 { " in all sections" } else { "" };
    let change = match (moved, lost) {
        (0, 0) => "no attack moved".to_owned(),
        (0, lost) => format!("{} lost", count(lost, "attack")),
        (moved, 0) => format!("{} moved", count(moved, "attack")),
        (moved, lost) => format!("{} moved, {lost} lost", count(moved, "attack")),
    };
    // Only if all beats are equal has a cell one length.
    let cell = one_beat(new).and_then(|beat| beat.divided(division));
    let cell = cell.map(|c| format!(", cell = {c}")).unwrap_or_default();
    format!("{}: {} per beat{everywhere}{cell}; {change}", name(new, layer), count(division, "cell"))
}

/// After making or removing a cycle: its cells, and how many attacks were replaced.
pub(super) fn cycled(old: &Groove, new: &Groove, (layer, section): (usize, usize)) -> String {
    let after: HashSet<_> = attacks(new, layer).into_iter().collect();
    let replaced = attacks(old, layer).iter().filter(|a| a.0 == section && !after.contains(a)).count();
    let part = new.part(layer, section);
    let change = if part.is_cycle() {
        format!("cycle of {}", count(part.stored().len(), "cell"))
    } else {
        "cycle written out".to_owned()
    };
    let gone = if replaced == 0 { String::new() } else { format!("; {} replaced", count(replaced, "attack")) };
    format!("{}: {change}{gone}", name(new, layer))
}

/// After a new meter of a section: its beat, the cell of a layer, and how many attacks were lost.
pub(super) fn metered(old: &Groove, new: &Groove, layer: usize, section: usize) -> String {
    let meter = &new.sections()[section].meter;
    let cell = new.layers().get(layer).and_then(|l| meter.beat().divided(usize::from(l.division)));
    let cell = cell.map(|c| format!(", cell of {} = {c}", name(new, layer))).unwrap_or_default();
    format!("{meter}: beat = {}{cell}{}", print_note_value(meter.beat()), lost(old, new))
}

/// The beat of all sections, if it is the same.
fn one_beat(groove: &Groove) -> Option<Time> {
    let mut beats = groove.sections().iter().map(|s| s.meter.beat());
    let first = beats.next()?;
    beats.all(|b| b == first).then_some(first)
}

/// Keeps the cells of empty layers sixteenths after a new meter of a section, if they were and if the new beat is that of all
/// sections and a whole number of sixteenths.
pub(super) fn cells_kept(old: &Groove, mut new: Groove, section: usize) -> Groove {
    let (Some(beat), Some(sixteenth)) = (one_beat(&new), Time::new(1, 16)) else { return new };
    let before = old.sections()[section].meter.beat();
    let cells = beat.ratio_to(sixteenth).filter(|r| r.denom() == 1).map(Fraction::numer);
    let Some(cells) = cells.and_then(|n| bounds::DIVISION.check(n).ok()) else { return new };
    for (layer, l) in old.layers().iter().enumerate() {
        let empty = before.divided(usize::from(l.division)) == Some(sixteenth) && old.events(layer).is_empty();
        if empty && let Ok(kept) = new.edited(&Edit::Division(layer, cells as u16)) {
            new = kept;
        }
    }
    new
}
