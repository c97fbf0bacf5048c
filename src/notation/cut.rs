//! Divides notes and rests into note values, tied, that show the parts of the bar.

use super::tree::{Crossing, Node};
use super::value::{NoteValue, difference};
use crate::rhythm::Time;

/// A start in the bar, and a value.
pub(super) type Piece = (Time, NoteValue);

/// The tied pieces of a note.
pub(super) fn note(node: &Node, from: Time, to: Time, pieces: &mut Vec<Piece>) {
    if from >= to {
        return;
    }
    let parts = node.parts();
    if let Some(value) = readable_value(node, &parts, from, to) {
        pieces.push((from, value));
        return;
    }
    if let Some(part) = parts.iter().find(|p| p.start <= from && to <= p.end) {
        return note(part, from, to, pieces);
    }
    let edges = || parts.iter().map(|p| p.end).filter(|e| from < *e && *e < to);
    let on_edge = parts.iter().any(|p| p.start == from);
    let longest = edges().rfind(|e| on_edge && readable_value(node, &parts, from, *e).is_some());
    let Some(edge) = longest.or_else(|| edges().next()) else { return };
    note(node, from, edge, pieces);
    note(node, edge, to, pieces);
}

/// The value of a note in a node, if it does not hide the node's parts.
fn readable_value(node: &Node, parts: &[Node], from: Time, to: Time) -> Option<NoteValue> {
    let value = || NoteValue::from_length(to.minus(from)?);
    if node.crossing == Crossing::Never {
        return None;
    }
    if (from, to) == (node.start, node.end) {
        return value();
    }
    let is_edge = |t: Time| t == node.end || parts.iter().any(|p| p.start == t);
    let crosses = parts.iter().any(|p| from < p.start && p.start < to);
    if !(crosses || is_edge(from) && is_edge(to)) {
        return None;
    }
    if node.crossing == Crossing::WholeParts {
        return if is_edge(from) && is_edge(to) { value() } else { None };
    }
    if is_edge(from) || is_edge(to) {
        return value();
    }
    // A note as long as a part, from the middle of one to that of the next: eighth, quarter, eighth.
    let part = parts.iter().find(|p| p.start < from && from < p.end)?;
    let middle = part.start.plus(part.length().divided(2)?)?;
    let value = if middle == from { value() } else { None };
    value.filter(|v| !v.dotted && v.length() == part.length())
}

pub(super) fn rest(node: &Node, from: Time, to: Time, pieces: &mut Vec<Piece>) {
    if from >= to {
        return;
    }
    let length = difference(to, from);
    if (from, to) == (node.start, node.end)
        && let Some(value) = NoteValue::from_length(length)
    {
        pieces.push((from, value));
        return;
    }
    let parts = node.parts();
    // A rest may cross the middle of a quarter: sixteenth, eighth rest, sixteenth.
    if let [a, b] = &parts[..]
        && node.length() <= Time::new(1, 4).expect("a quarter")
        && a.length() == length
        && difference(from, node.start) == difference(node.end, to)
        && b.length() == length
        && let Some(value) = NoteValue::undotted(length)
    {
        pieces.push((from, value));
        return;
    }
    let mut at = from;
    while at < to {
        let Some(part) = parts.iter().find(|p| p.start <= at && at < p.end) else { return };
        let end = part.end.min(to);
        let run = node.small_parts().filter(|_| at == part.start && end == part.end).and_then(|unit| {
            // The longest power of two of the units that may begin here.
            let index = at.minus(node.start)?.ratio_to(unit)?.floor();
            let left = to.minus(at)?.ratio_to(unit)?.floor();
            let size = (0..4).map(|p| 1_i64 << p).filter(|s| *s <= left && index % s == 0).max()?;
            let end = at.plus(unit.repeated(size as usize)?)?;
            Some((end, NoteValue::from_length(end.minus(at)?)?))
        });
        if let Some((end, value)) = run {
            pieces.push((at, value));
            at = end;
        } else {
            rest(part, at, end, pieces);
            at = end;
        }
    }
}
