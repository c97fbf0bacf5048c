//! The hierarchy of a bar's parts, and the windows of its beams.

use super::value::{NoteValue, difference};
use crate::rhythm::{Meter, MeterKind, Time};

/// A part of a bar and its division.
#[derive(Debug, Clone)]
pub(super) struct Node {
    /// In times of the bar.
    pub(super) start: Time,
    pub(super) end: Time,
    pub(super) crossing: Crossing,
    /// `None` divides it into two, recursively without end.
    parts: Option<Vec<Node>>,
}

/// How notes may cross the borders of a node's parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Crossing {
    /// As in a node that is divided into two.
    Free,
    /// A note consists of whole parts, or lies within one.
    WholeParts,
    /// A note lies within one part: each of the unequal terms of an additive meter has a head.
    Never,
}

impl Node {
    /// The whole bar of a meter.
    pub(super) fn bar(meter: &Meter) -> Self {
        let unit = Time::new(1, i64::from(meter.lower())).expect("the lower number is at least 1");
        let groups = terms(meter);
        match meter.kind() {
            MeterKind::Simple if meter.lower() < 8 => group(Time::ZERO, unit, groups.len()),
            MeterKind::Compound if groups.len() == 4 => {
                let end = unit.repeated(12).expect("bounded");
                let two = |from: usize| {
                    node_of_groups(unit.repeated(from).expect("bounded"), unit, &[3, 3], Crossing::WholeParts)
                };
                Self { start: Time::ZERO, end, crossing: Crossing::WholeParts, parts: Some(vec![two(0), two(6)]) }
            }
            MeterKind::Additive => node_of_groups(Time::ZERO, unit, &groups, Crossing::Never),
            _ => node_of_groups(Time::ZERO, unit, &groups, Crossing::WholeParts),
        }
    }

    /// A node that is divided into two.
    fn halves(start: Time, end: Time) -> Self {
        Self { start, end, crossing: Crossing::Free, parts: None }
    }

    pub(super) fn length(&self) -> Time {
        difference(self.end, self.start)
    }

    pub(super) fn parts(&self) -> Vec<Node> {
        self.parts.clone().unwrap_or_else(|| {
            let half = self.length().divided(2).expect("bounded");
            let middle = self.start.plus(half).expect("bounded");
            vec![Self::halves(self.start, middle), Self::halves(middle, self.end)]
        })
    }

    /// The length of its parts if there are more than two, equal and shorter than a quarter: rests join them by twos and fours.
    pub(super) fn small_parts(&self) -> Option<Time> {
        let parts = self.parts.as_ref().filter(|p| self.crossing == Crossing::Free && p.len() > 2)?;
        Some(parts[0].length()).filter(|l| *l < NoteValue::QUARTER.length())
    }
}

/// Consecutive units, in halves if their number is a power of two.
fn group(start: Time, unit: Time, count: usize) -> Node {
    let at = |n: usize| start.plus(unit.repeated(n).expect("bounded")).expect("bounded");
    let units = || (0..count).map(|n| Node::halves(at(n), at(n + 1))).collect();
    Node { parts: (!count.is_power_of_two()).then(units), ..Node::halves(start, at(count)) }
}

fn node_of_groups(start: Time, unit: Time, groups: &[usize], crossing: Crossing) -> Node {
    if let [only] = *groups {
        return group(start, unit, only);
    }
    let mut end = start;
    let mut next = |count: &usize| {
        let part = group(end, unit, *count);
        end = part.end;
        part
    };
    let parts = Some(groups.iter().map(&mut next).collect());
    Node { start, end, crossing, parts }
}

/// The lower units in each group of a bar: the terms of an additive meter, the beats of a compound one; if the beats of a simple meter
/// are shorter than a quarter, quarters, with the remainder in the last one (`13/16` is 4+4+5, `7/8` is 2+2+3).
fn terms(meter: &Meter) -> Vec<usize> {
    let upper: usize = meter.terms().iter().map(|t| usize::from(*t)).sum();
    match meter.kind() {
        MeterKind::Additive => meter.terms().iter().map(|t| usize::from(*t)).collect(),
        MeterKind::Compound => vec![3; upper / 3],
        MeterKind::Simple if meter.lower() < 8 => vec![1; upper],
        MeterKind::Simple => {
            let each = usize::from(meter.lower() / 4);
            let (whole, left) = (upper / each, upper % each);
            if whole == 0 {
                return vec![upper];
            }
            let mut groups = vec![each; whole];
            if left * 2 > each {
                groups.push(left);
            } else if let Some(last) = groups.last_mut() {
                *last += left;
            }
            groups
        }
    }
}

/// The times where beams break: the starts of the windows, and the end of the bar.
pub(super) fn windows(meter: &Meter) -> Vec<Time> {
    let unit = Time::new(1, i64::from(meter.lower())).expect("the lower number is at least 1");
    let (quarter, half) = (NoteValue::QUARTER.length(), NoteValue { halvings: 1, dotted: false }.length());
    let (mut at, mut starts) = (Time::ZERO, Vec::new());
    for count in terms(meter) {
        let length = unit.repeated(count).expect("bounded");
        let end = at.plus(length).expect("bounded");
        let step = if length > half || unit >= quarter { quarter } else { length };
        while at < end {
            starts.push(at);
            at = at.plus(step).expect("bounded").min(end);
        }
    }
    starts.push(at);
    starts
}
