//! The structures the grid is heard in: even beats with bars and cuts, and cycles of unequal beats.

use super::hypothesis::PulseKind;
use super::params::{Params, ROUNDING};
use std::sync::LazyLock;

/// How an even beat is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cut {
    /// Into equal parts, 1 to 4.
    Equal(usize),
    /// Long and short, the long part of this many cells.
    Long(usize),
}

/// What a structure is made of; lengths in cells.
#[derive(Debug, Clone, Copy)]
pub(super) enum Beats {
    /// Beats of `beat` cells, `bar` of them in a bar.
    Even { beat: usize, bar: usize, cut: Cut },
    /// Beats of two sizes in units of `unit` cells, the head at the beat `strong`.
    Unequal { unit: usize, order: &'static Order, cut: bool, strong: usize },
}

/// A cyclic order of beats of a and a + 1 units that does not repeat inside.
#[derive(Debug)]
pub(super) struct Order {
    sizes: Vec<u8>,
    /// Where the beats start, in units.
    starts: Vec<usize>,
    units: usize,
    /// How many orders there are of as many beats.
    alike: usize,
}

/// A structure without its phase.
#[derive(Debug, Clone, Copy)]
pub(super) struct Structure {
    pub(super) beats: Beats,
    /// Length of its cycle in cells.
    pub(super) cycle: usize,
    /// Mean beat in seconds.
    pub(super) period: f64,
    /// Log prior of its period, its phase and its complexity.
    pub(super) prior: f64,
}

impl Structure {
    pub(super) fn kind(&self) -> PulseKind {
        if matches!(self.beats, Beats::Even { .. }) { PulseKind::Even } else { PulseKind::Unequal }
    }

    /// Whether the cell this many cells after the cycle's start is a beat.
    pub(super) fn is_beat(&self, place: usize) -> bool {
        match self.beats {
            Beats::Even { beat, .. } => place.is_multiple_of(beat),
            Beats::Unequal { unit, order, .. } => place.is_multiple_of(unit) && order.starts.contains(&(place / unit)),
        }
    }

    /// Where the beats of a cycle start.
    pub(super) fn starts(&self) -> impl Iterator<Item = usize> + use<> {
        let (unit, order, even) = match self.beats {
            Beats::Even { beat, bar, .. } => (beat, &[][..], bar),
            Beats::Unequal { unit, order, .. } => (unit, &order.starts[..], 0),
        };
        (0..even).chain(order.iter().copied()).map(move |s| s * unit)
    }

    /// Sizes of unequal beats in units, from the first beat at a cell or after it.
    pub(super) fn sizes(&self, phase: usize, from: usize) -> Vec<u8> {
        let Beats::Unequal { unit, order, .. } = &self.beats else { return Vec::new() };
        let place = (from + self.cycle - phase % self.cycle) % self.cycle;
        let first = order.starts.iter().position(|s| s * unit >= place).unwrap_or(0);
        [&order.sizes[first..], &order.sizes[..first]].concat()
    }

    /// Cell of the head above the beat, if there is one.
    pub(super) fn head(&self) -> Option<usize> {
        match self.beats {
            Beats::Even { bar, .. } => (bar > 1).then_some(0),
            Beats::Unequal { unit, order, strong, .. } => Some(order.starts[strong] * unit),
        }
    }

    /// Where the cuts are: every given number of cells, from a cell on.
    pub(super) fn cuts(&self) -> Option<(usize, usize)> {
        match self.beats {
            Beats::Even { cut: Cut::Equal(1), .. } | Beats::Unequal { cut: false, .. } => None,
            Beats::Even { beat, cut: Cut::Equal(parts), .. } => Some((beat / parts, 0)),
            Beats::Even { beat, cut: Cut::Long(long), .. } => Some((beat, long)),
            Beats::Unequal { unit, .. } => Some((unit, 0)),
        }
    }

    /// The density at a cell of the cycle.
    pub(super) fn weight(&self, place: usize, params: &Params) -> f64 {
        if self.head() == Some(place) {
            params.head_weight
        } else if self.is_beat(place) {
            params.beat_weight
        } else if self.cuts().is_some_and(|(length, from)| place % length == from) {
            params.cut_weight
        } else {
            params.rest_weight
        }
    }

    /// The mean density over a whole cycle.
    pub(super) fn mean(&self, params: &Params) -> f64 {
        let beats = match self.beats {
            Beats::Even { bar, .. } => bar,
            Beats::Unequal { order, .. } => order.starts.len(),
        };
        // Equal cuts fall on the beats too.
        let cuts = self.cuts().map_or(0, |(length, from)| self.cycle / length - if from == 0 { beats } else { 0 });
        let heads = usize::from(self.head().is_some());
        let of = |count: usize, weight: f64| count as f64 * weight;
        (of(heads, params.head_weight)
            + of(beats - heads, params.beat_weight)
            + of(cuts, params.cut_weight)
            + of(self.cycle - beats - cuts, params.rest_weight))
            / self.cycle as f64
    }

    /// Whether it counts as odd: unequal beats, or a bar of five or seven.
    pub(super) fn is_odd(&self) -> bool {
        matches!(self.beats, Beats::Unequal { .. } | Beats::Even { bar: 5.., .. })
    }

    /// Whether another structure has the same cycle and beats: the sums on these are the same.
    pub(super) fn shares_beats(&self, other: &Self) -> bool {
        let same = match (&self.beats, &other.beats) {
            (Beats::Even { beat: a, .. }, Beats::Even { beat: b, .. }) => a == b,
            (Beats::Unequal { order: a, .. }, Beats::Unequal { order: b, .. }) => std::ptr::eq(*a, *b),
            _ => false,
        };
        same && self.cycle == other.cycle
    }

    /// Whether another structure differs only in bars, cuts and the strong beat: these do not change what is heard as the beat.
    pub(super) fn has_beat_of(&self, other: &Self) -> bool {
        match (&self.beats, &other.beats) {
            (Beats::Even { beat: a, .. }, Beats::Even { beat: b, .. }) => a == b,
            _ => self.shares_beats(other),
        }
    }

    /// Phases in cells at which its beats differ.
    pub(super) fn beat_length(&self) -> usize {
        if let Beats::Even { beat, .. } = self.beats { beat } else { self.cycle }
    }

    /// The same for structures with the same kind and mean beat: the mean beat in sixtieths of a cell, a whole number for up to
    /// five beats.
    pub(super) fn tempo_key(&self) -> (bool, usize) {
        match self.beats {
            Beats::Even { beat, .. } => (false, beat),
            Beats::Unequal { order, .. } => (true, self.cycle * 60 / order.starts.len()),
        }
    }
}

/// Every structure for a loop of `cells` cells of `cell` seconds.
///
/// Even: beats of n cells, bars of q beats, `m = n q` cells; cuts into s equal parts (s divides n) or long:short. Unequal: beats
/// of a and a + 1 units, every cyclic order of 2 to 5 of them that does not repeat inside. `ln m` is the prior of the phase.
pub(super) fn structures(cell: f64, cells: usize, params: &Params) -> Vec<Structure> {
    static ORDERS: LazyLock<Vec<Order>> = LazyLock::new(orders);
    let mut all = Vec::new();
    for beat in 1..=(params.longest_beat / cell + ROUNDING) as usize {
        if params.allows(beat as f64 * cell) {
            even(beat, cell, cells, params, &mut all);
        }
    }
    for unit in 1..=(params.slowest_unit / cell + ROUNDING) as usize {
        if unit as f64 * cell >= params.unfelt_cell * (1.0 - ROUNDING) {
            for order in ORDERS.iter() {
                unequal(order, unit, cell, cells, params, &mut all);
            }
        }
    }
    all
}

fn even(beat: usize, cell: f64, cells: usize, params: &Params, all: &mut Vec<Structure>) {
    let period = beat as f64 * cell;
    for bar in [1, 2, 3, 4, 5, 7].into_iter().filter(|bar| beat * bar <= cells) {
        let cycle = beat * bar;
        let of_bar = if bar == 3 { params.three_cost } else { 0.0 }
            + if bar > 1 { params.bar_cost } else { 0.0 }
            + if bar > 4 { params.odd_bar_cost } else { 0.0 };
        let mut add = |cut, of_cut: f64| {
            let prior = params.prior(period) - (cycle as f64).ln() - of_bar - of_cut;
            all.push(Structure { beats: Beats::Even { beat, bar, cut }, cycle, period, prior });
        };
        for parts in (1..=4).filter(|s| beat.is_multiple_of(*s)) {
            add(Cut::Equal(parts), if parts == 3 { params.three_cost } else { 0.0 });
        }
        if beat <= 8 {
            for long in beat / 2 + 1..beat {
                if (1.3..=3.5).contains(&(long as f64 / (beat - long) as f64)) {
                    add(Cut::Long(long), params.swung_cut_cost);
                }
            }
        }
    }
}

fn unequal(order: &'static Order, unit: usize, cell: f64, cells: usize, params: &Params, all: &mut Vec<Structure>) {
    let (cycle, beats) = (order.units * unit, order.sizes.len());
    let shortest = usize::from(order.sizes.iter().copied().min().unwrap_or(0)) * unit;
    let seconds = cycle as f64 * cell;
    let period = seconds / beats as f64;
    if cycle > cells
        || shortest as f64 * cell < params.shortest_beat * (1.0 - ROUNDING)
        || period > params.longest_beat * (1.0 + ROUNDING)
        || seconds > params.longest_cycle * (1.0 + ROUNDING)
    {
        return;
    }
    let prior = params.prior(period)
        - (cycle as f64).ln()
        - params.unequal_beats_cost
        - (beats as f64).ln()
        - (order.alike as f64).ln();
    for cut in [false, true] {
        for strong in 0..beats {
            all.push(Structure { beats: Beats::Unequal { unit, order, cut, strong }, cycle, period, prior });
        }
    }
}

/// Every cyclic order of two to five beats of a and a + 1 units, a from 2 to 5, that does not repeat inside.
fn orders() -> Vec<Order> {
    let mut all = Vec::new();
    for small in 2..=5_u8 {
        for beats in 2..=5_usize {
            let mut found: Vec<Vec<u8>> = Vec::new();
            for mask in 1..(1_u32 << beats) - 1 {
                let sizes: Vec<u8> = (0..beats).map(|i| small + (mask >> i & 1) as u8).collect();
                let turned = |i: usize| [&sizes[i..], &sizes[..i]].concat();
                let smallest = (0..beats).map(turned).min().unwrap_or_default();
                if (1..beats).all(|i| turned(i) != sizes) && !found.contains(&smallest) {
                    found.push(smallest);
                }
            }
            let alike = found.len();
            all.extend(found.into_iter().map(|sizes| {
                let starts = (0..beats).map(|i| sizes[..i].iter().map(|s| usize::from(*s)).sum()).collect();
                let units = sizes.iter().map(|s| usize::from(*s)).sum();
                Order { sizes, starts, units, alike }
            }));
        }
    }
    all
}
