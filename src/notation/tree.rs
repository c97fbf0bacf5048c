//! The hierarchy of a bar's parts, and the windows of its beams.

use super::value::{Value, difference};
use crate::rhythm::{Meter, MeterKind, Time};

/// A part of a bar and its division.
#[derive(Debug, Clone)]
pub(super) struct Node {
    /// In times of the bar.
    pub(super) from: Time,
    pub(super) to: Time,
    division: Division,
}

#[derive(Debug, Clone)]
enum Division {
    /// Into two, recursively without end.
    Halves,
    Parts {
        parts: Vec<Node>,
        crossing: Crossing,
    },
}

/// How notes may cross the borders of a node's parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Crossing {
    /// As in a node of halves.
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
                let half = unit.repeated(6).expect("bounded");
                let end = unit.repeated(12).expect("bounded");
                let two = |at: Time| node_of_groups(at, unit, &[3, 3], Crossing::WholeParts);
                let parts = vec![two(Time::ZERO), two(half)];
                Self { from: Time::ZERO, to: end, division: Division::Parts { parts, crossing: Crossing::WholeParts } }
            }
            MeterKind::Additive => node_of_groups(Time::ZERO, unit, &groups, Crossing::Never),
            _ => node_of_groups(Time::ZERO, unit, &groups, Crossing::WholeParts),
        }
    }

    pub(super) fn length(&self) -> Time {
        difference(self.to, self.from)
    }

    pub(super) fn crossing(&self) -> Crossing {
        match self.division {
            Division::Parts { crossing, .. } => crossing,
            Division::Halves => Crossing::Free,
        }
    }

    pub(super) fn parts(&self) -> Vec<Node> {
        match &self.division {
            Division::Parts { parts, .. } => parts.clone(),
            Division::Halves => {
                let half = self.length().divided(2).expect("bounded");
                let middle = self.from.plus(half).expect("bounded");
                let part = |from, to| Node { from, to, division: Division::Halves };
                vec![part(self.from, middle), part(middle, self.to)]
            }
        }
    }

    /// The length of its parts if there are more than two, equal and shorter than a quarter: rests join them by twos and fours.
    pub(super) fn small_parts(&self) -> Option<Time> {
        match &self.division {
            Division::Parts { parts, crossing: Crossing::Free } if parts.len() > 2 => {
                Some(parts[0].length()).filter(|l| *l < Value::QUARTER.length())
            }
            _ => None,
        }
    }
}

/// Consecutive units, in halves if their number is a power of two.
fn group(from: Time, unit: Time, count: usize) -> Node {
    let at = |n: usize| from.plus(unit.repeated(n).expect("bounded")).expect("bounded");
    let division = if count.is_power_of_two() {
        Division::Halves
    } else {
        let parts = (0..count).map(|n| Node { from: at(n), to: at(n + 1), division: Division::Halves });
        Division::Parts { parts: parts.collect(), crossing: Crossing::Free }
    };
    Node { from, to: at(count), division }
}

fn node_of_groups(from: Time, unit: Time, groups: &[usize], crossing: Crossing) -> Node {
    let (mut at, mut parts) = (from, Vec::new());
    for &count in groups {
        let part = group(at, unit, count);
        at = part.to;
        parts.push(part);
    }
    match parts.pop() {
        Some(only) if parts.is_empty() => only,
        last => {
            parts.extend(last);
            Node { from, to: at, division: Division::Parts { parts, crossing } }
        }
    }
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
    let (quarter, half) = (Value::QUARTER.length(), Value { halvings: 1, dotted: false }.length());
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
