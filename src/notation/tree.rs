//! The parts of a bar, down to halves of halves, and the windows of its beams.

use crate::rhythm::{Meter, MeterKind, Time};

/// A stretch of a bar and how it is divided.
#[derive(Debug, Clone)]
pub(super) struct Node {
    /// Its start in the bar.
    pub(super) from: Time,
    /// Its end.
    pub(super) to: Time,
    shape: Shape,
}

#[derive(Debug, Clone)]
enum Shape {
    /// Into two, and so on for ever.
    Halves,
    /// Into parts.
    Parts { parts: Vec<Node>, seen: Seen },
}

/// How far parts must be seen, whatever crosses them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seen {
    /// As halves are.
    Freely,
    /// A note holds whole parts, or lies within one.
    Whole,
    /// A note lies within one: each of the unequal terms of an additive meter has its head.
    Each,
}

fn quarter() -> Time {
    Time::new(1, 4).expect("a quarter")
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
                let two = |at: Time| parted(at, unit, &[3, 3], Seen::Whole);
                let parts = vec![two(Time::ZERO), two(half)];
                Self { from: Time::ZERO, to: end, shape: Shape::Parts { parts, seen: Seen::Whole } }
            }
            MeterKind::Additive => parted(Time::ZERO, unit, &groups, Seen::Each),
            _ => parted(Time::ZERO, unit, &groups, Seen::Whole),
        }
    }

    /// Its length.
    pub(super) fn length(&self) -> Time {
        self.to.minus(self.from).expect("bounded")
    }

    /// How far its parts must be seen.
    pub(super) fn seen(&self) -> Seen {
        match self.shape {
            Shape::Parts { seen, .. } => seen,
            Shape::Halves => Seen::Freely,
        }
    }

    /// Its parts.
    pub(super) fn parts(&self) -> Vec<Node> {
        match &self.shape {
            Shape::Parts { parts, .. } => parts.clone(),
            Shape::Halves => {
                let half = self.length().divided(2).expect("bounded");
                let middle = self.from.plus(half).expect("bounded");
                let part = |from, to| Node { from, to, shape: Shape::Halves };
                vec![part(self.from, middle), part(middle, self.to)]
            }
        }
    }

    /// The size of its equal parts, if it has more than two that are shorter than a quarter: rests in it join by twos and fours.
    pub(super) fn small_parts(&self) -> Option<Time> {
        match &self.shape {
            Shape::Parts { parts, seen: Seen::Freely } if parts.len() > 2 => {
                Some(parts[0].length()).filter(|l| *l < quarter())
            }
            _ => None,
        }
    }
}

/// Units one after the other: halves where their number allows it.
fn group(from: Time, unit: Time, count: usize) -> Node {
    let at = |n: usize| from.plus(unit.repeated(n).expect("bounded")).expect("bounded");
    let shape = if count.is_power_of_two() {
        Shape::Halves
    } else {
        let parts = (0..count).map(|n| Node { from: at(n), to: at(n + 1), shape: Shape::Halves });
        Shape::Parts { parts: parts.collect(), seen: Seen::Freely }
    };
    Node { from, to: at(count), shape }
}

fn parted(from: Time, unit: Time, groups: &[usize], seen: Seen) -> Node {
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
            Node { from, to: at, shape: Shape::Parts { parts, seen } }
        }
    }
}

/// The lower units of each group of a bar: the meter's terms, the beats of a compound meter; of a simple meter with beats shorter than
/// a quarter, quarters, the last one taking what a quarter does not hold (`13/16` is 4+4+5, `7/8` 2+2+3).
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

/// Where beams must break: starts of the windows, and last the bar's end.
pub(super) fn windows(meter: &Meter) -> Vec<Time> {
    let unit = Time::new(1, i64::from(meter.lower())).expect("the lower number is at least 1");
    let longest = Time::new(1, 2).expect("a half");
    let (mut at, mut starts) = (Time::ZERO, Vec::new());
    for count in terms(meter) {
        let length = unit.repeated(count).expect("bounded");
        let end = at.plus(length).expect("bounded");
        let step = if length > longest || unit >= quarter() { quarter() } else { length };
        while at < end {
            starts.push(at);
            at = at.plus(step).expect("bounded").min(end);
        }
    }
    starts.push(at);
    starts
}
