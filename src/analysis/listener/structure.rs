//! The structures the grid is heard in: even beats with bars and cuts, and cycles of unequal beats.

use super::params::Params;

/// How an even beat is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cut {
    /// Into equal parts, 1 to 4.
    Equal(usize),
    /// Long and short, the long part of so many cells.
    Long(usize),
}

/// What a structure is made of; lengths in cells.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Beats {
    /// Beats of `beat` cells, `bar` of them in a bar.
    Even { beat: usize, bar: usize, cut: Cut },
    /// Beats of two sizes in units of `unit` cells; `starts` in cells, the head at `starts[strong]`.
    Unequal { unit: usize, sizes: Vec<u8>, starts: Vec<usize>, cut: bool, strong: usize },
}

/// A structure without its phase.
#[derive(Debug, Clone, PartialEq)]
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
    /// Whether the cell so many cells after the cycle's start is a beat.
    pub(super) fn is_beat(&self, place: usize) -> bool {
        match &self.beats {
            Beats::Even { beat, .. } => place.is_multiple_of(*beat),
            Beats::Unequal { starts, .. } => starts.contains(&place),
        }
    }

    /// The density at a cell of the cycle.
    pub(super) fn weight(&self, place: usize, params: &Params) -> f64 {
        let (head, is_cut) = match &self.beats {
            Beats::Even { beat, bar, cut } => (
                *bar > 1 && place == 0,
                match cut {
                    Cut::Equal(1) => false,
                    Cut::Equal(parts) => place.is_multiple_of(beat / parts),
                    Cut::Long(long) => place % beat == *long,
                },
            ),
            Beats::Unequal { unit, starts, cut, strong, .. } => {
                (place == starts[*strong], *cut && place.is_multiple_of(*unit))
            }
        };
        match (head, self.is_beat(place), is_cut) {
            (true, ..) => params.head,
            (_, true, _) => params.beat,
            (.., true) => params.cut,
            _ => params.rest,
        }
    }

    /// Whether it counts as odd: unequal beats, or a bar of five or seven.
    pub(super) fn is_odd(&self) -> bool {
        matches!(self.beats, Beats::Unequal { .. } | Beats::Even { bar: 5.., .. })
    }

    /// The same but for bars, cuts and the strong beat: what is heard as the beat does not hang on these.
    pub(super) fn same_beat(&self, other: &Self) -> bool {
        match (&self.beats, &other.beats) {
            (Beats::Even { beat: a, .. }, Beats::Even { beat: b, .. }) => a == b,
            (Beats::Unequal { .. }, Beats::Unequal { .. }) => (self.period / other.period - 1.0).abs() < 1e-9,
            _ => false,
        }
    }
}

/// Every structure for a loop of `cells` cells of `cell` seconds.
///
/// Even: beats of n cells, bars of q beats, `m = n q` cells; cuts into s equal parts (s divides n) or long:short. Unequal: beats
/// of a and a + 1 units, every cyclic order of 2 to 5 of them that does not repeat inside. `ln m` is the prior of the phase.
pub(super) fn structures(cell: f64, cells: usize, params: &Params) -> Vec<Structure> {
    let mut all = Vec::new();
    for beat in 1..=(params.longest / cell + 1e-6) as usize {
        let period = beat as f64 * cell;
        if params.allows(period) {
            even(beat, period, cells, params, &mut all);
        }
    }
    let orders = orders();
    for unit in 1..=(params.slowest_unit / cell + 1e-6) as usize {
        if unit as f64 * cell >= params.unfelt * (1.0 - 1e-6) {
            for order in &orders {
                unequal(order, unit, cell, cells, params, &mut all);
            }
        }
    }
    all
}

fn even(beat: usize, period: f64, cells: usize, params: &Params, all: &mut Vec<Structure>) {
    for bar in [1, 2, 3, 4, 5, 7] {
        let cycle = beat * bar;
        if cycle > cells {
            continue;
        }
        let of_bar = if bar == 3 { params.three } else { 0.0 }
            + if bar > 1 { params.bar } else { 0.0 }
            + if bar > 4 { params.odd } else { 0.0 };
        let mut add = |cut, of_cut: f64| {
            let prior = params.prior(period) - (cycle as f64).ln() - of_bar - of_cut;
            all.push(Structure { beats: Beats::Even { beat, bar, cut }, cycle, period, prior });
        };
        for parts in (1..=4).filter(|s| beat.is_multiple_of(*s)) {
            add(Cut::Equal(parts), if parts == 3 { params.three } else { 0.0 });
        }
        if beat <= 8 {
            for long in beat / 2 + 1..beat {
                if (1.3..=3.5).contains(&(long as f64 / (beat - long) as f64)) {
                    add(Cut::Long(long), params.swung);
                }
            }
        }
    }
}

/// An order of sizes, and how many orders there are of as many beats.
struct Order {
    sizes: Vec<u8>,
    alike: usize,
}

fn unequal(order: &Order, unit: usize, cell: f64, cells: usize, params: &Params, all: &mut Vec<Structure>) {
    let units: usize = order.sizes.iter().map(|s| usize::from(*s)).sum();
    let shortest = order.sizes.iter().min().map_or(0, |s| usize::from(*s));
    let (cycle, beats) = (units * unit, order.sizes.len());
    let seconds = cycle as f64 * cell;
    let period = seconds / beats as f64;
    if cycle > cells
        || (shortest * unit) as f64 * cell < params.shortest * (1.0 - 1e-6)
        || period > params.longest * (1.0 + 1e-6)
        || seconds > params.longest_cycle * (1.0 + 1e-6)
    {
        return;
    }
    let mut starts = vec![0];
    for s in &order.sizes[..beats - 1] {
        starts.push(starts[starts.len() - 1] + usize::from(*s) * unit);
    }
    let prior =
        params.prior(period) - (cycle as f64).ln() - params.unequal - (beats as f64).ln() - (order.alike as f64).ln();
    for cut in [false, true] {
        for strong in 0..beats {
            let (sizes, starts) = (order.sizes.clone(), starts.clone());
            all.push(Structure { beats: Beats::Unequal { unit, sizes, starts, cut, strong }, cycle, period, prior });
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
                let least = (0..beats).map(turned).min().unwrap_or_default();
                if (1..beats).all(|i| turned(i) != sizes) && !found.contains(&least) {
                    found.push(least);
                }
            }
            let alike = found.len();
            all.extend(found.into_iter().map(|sizes| Order { sizes, alike }));
        }
    }
    all
}
