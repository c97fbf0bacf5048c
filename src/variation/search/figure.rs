//! What is asked of a figure, and what is found: pulses, requests, exact mean squares.

use std::cmp::Ordering;

/// Greatest term of a period in cells: keeps every product exact.
pub(crate) const MAX_DENOMINATOR: i64 = 100_000;
/// Greatest length of a line in cells.
pub(crate) const MAX_CELLS: usize = 4096;

/// An even pulse: one pulse every `numer / denom` cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Period {
    pub(super) numer: i64,
    pub(super) denom: i64,
}

impl Period {
    /// The period as a fraction of cells; `None` unless it is 1 to [`MAX_CELLS`] cells. A denominator above [`MAX_DENOMINATOR`] is
    /// rounded to it.
    pub(crate) fn new(numer: i64, denom: i64) -> Option<Self> {
        if denom < 1 || numer < denom || numer / denom > MAX_CELLS as i64 {
            return None;
        }
        let common = num_integer::gcd(numer, denom);
        let (numer, denom) = (numer / common, denom / common);
        if denom <= MAX_DENOMINATOR {
            return Some(Self { numer, denom });
        }
        let numer = (numer as f64 / denom as f64 * MAX_DENOMINATOR as f64).round() as i64;
        Self::new(numer, MAX_DENOMINATOR)
    }

    /// The period in cells.
    pub(crate) fn cells(self) -> f64 {
        self.numer as f64 / self.denom as f64
    }

    /// The numbers of pulses nearest to a length: one, or two that are equally near.
    pub(crate) fn pulses_in(self, cells: usize) -> Vec<usize> {
        let (whole, rest) = num_integer::div_mod_floor(cells as i64 * self.denom, self.numer);
        let nearest = match (2 * rest).cmp(&self.numer) {
            Ordering::Less => vec![whole],
            Ordering::Equal => vec![whole, whole + 1],
            Ordering::Greater => vec![whole + 1],
        };
        nearest.into_iter().filter(|n| *n > 0).map(|n| n as usize).collect()
    }
}

/// A figure to be found: groups from its first attack to the first attack of its next coming.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FigureRequest {
    /// The group sizes that may stand in it, in cells, ascending.
    pub(crate) sizes: Vec<usize>,
    /// For each of its cells, whether an attack may stand there. The first always has one.
    pub(crate) may: Vec<bool>,
    /// For each of its cells, whether an attack must stand there.
    pub(crate) must: Vec<bool>,
    /// The wanted pulse.
    pub(crate) period: Period,
    /// How often the figure comes in a row.
    pub(crate) times: usize,
    /// Whether other attacks may stand between those of the pulses.
    pub(crate) between: bool,
    /// The number of attacks, if it is given.
    pub(crate) attacks: Option<usize>,
    /// Greatest distance of an attack from its pulse in cells. It is never more than half a period: an attack belongs to the pulse
    /// nearest to it.
    pub(crate) max_deviation: Option<f64>,
}

/// A mean square in cells, exact.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MeanSquare {
    pub(super) numer: i128,
    pub(super) denom: i128,
}

impl MeanSquare {
    /// The root in cells.
    pub(crate) fn rms(self) -> f64 {
        (self.numer as f64 / self.denom as f64).sqrt()
    }
}

impl Ord for MeanSquare {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.numer * other.denom).cmp(&(other.numer * self.denom))
    }
}

impl PartialOrd for MeanSquare {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for MeanSquare {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for MeanSquare {}

/// A figure that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FoundFigure {
    /// The cells of its attacks; the first is 0.
    pub(crate) attacks: Vec<usize>,
    /// The pulses in it.
    pub(crate) pulses: usize,
    pub(crate) deviation: MeanSquare,
    /// Greatest distance of an attack from its pulse, in millionths of a cell.
    pub(crate) greatest: u64,
}

impl FoundFigure {
    /// Greatest distance of an attack from its pulse in cells.
    pub(crate) fn greatest_cells(&self) -> f64 {
        self.greatest as f64 / 1e6
    }
}

/// How much work a search may do.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Budget {
    /// States of the dynamic programming.
    pub(crate) states: usize,
    /// Partial lines looked at.
    pub(crate) steps: usize,
}

impl Default for Budget {
    fn default() -> Self {
        Self { states: 12_000_000, steps: 300_000 }
    }
}

/// The answer of a search.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Figures {
    /// The nearest figures, in order. No figure that is left out is nearer than one that is listed.
    pub(crate) found: Vec<FoundFigure>,
    /// Whether the budget ran out before the wanted number was found.
    pub(crate) out_of_budget: bool,
}
