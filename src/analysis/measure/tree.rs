//! The metrical tree of a bar, and the measures that use it.

use super::Ring;
use crate::rhythm::{Meter, MeterKind};

/// How a bar is divided, from the whole bar down: `[2, 2, 2]` is 4/4 down to eighths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Tree {
    cuts: Vec<u32>,
}

impl Tree {
    /// A tree of these cuts, each 2 or 3.
    #[cfg(test)]
    pub(crate) fn new(cuts: &[u32]) -> Result<Self, &'static str> {
        if cuts.iter().all(|c| matches!(c, 2 | 3)) { Ok(Self { cuts: cuts.to_vec() }) } else { Err(NO_TREE) }
    }

    /// The tree of a meter with this number of cells per beat. Beats and cells are divided by two before three, the cells of a compound
    /// meter by three before two.
    ///
    /// # Errors
    /// The meter is additive, or a number of beats or cells has another prime factor.
    pub(crate) fn of_meter(meter: &Meter, cells: usize) -> Result<Self, &'static str> {
        if meter.kind() == MeterKind::Additive {
            return Err("an additive meter has no tree of equal parts");
        }
        let mut cuts = factors(meter.beats(), [2, 3])?;
        let order = if meter.kind() == MeterKind::Compound { [3, 2] } else { [2, 3] };
        cuts.extend(factors(cells, order)?);
        Ok(Self { cuts })
    }

    /// Cells per bar.
    pub(crate) fn cells(&self) -> usize {
        self.cuts.iter().map(|c| *c as usize).product()
    }

    /// The weights of Longuet-Higgins & Lee 1984: 0 for the bar, one less at each level down.
    pub(crate) fn weights(&self) -> Vec<i32> {
        let n = self.cells();
        let mut weights = vec![None; n];
        weights[0] = Some(0);
        let mut step = n;
        for (level, cut) in self.cuts.iter().enumerate() {
            step /= *cut as usize;
            for at in (0..n).step_by(step) {
                weights[at].get_or_insert(-(level as i32) - 1);
            }
        }
        weights.into_iter().flatten().collect()
    }

    /// The dots of Lerdahl & Jackendoff 1983: levels of which a cell is a beat, the finest counted as one.
    pub(crate) fn dots(&self) -> Vec<u32> {
        let levels = self.cuts.len() as i32 + 1;
        self.weights().iter().map(|w| (w + levels) as u32).collect()
    }
}

const NO_TREE: &str = "beats and cells have prime factors other than 2 and 3";

fn factors(mut n: usize, order: [u32; 2]) -> Result<Vec<u32>, &'static str> {
    let mut found = Vec::new();
    for f in order {
        while n > 1 && n.is_multiple_of(f as usize) {
            found.push(f);
            n /= f as usize;
        }
    }
    if n == 1 { Ok(found) } else { Err(NO_TREE) }
}

/// The syncopations of Longuet-Higgins & Lee 1984: attacks followed, before the next attack, by a rest or held cell of at least
/// their own weight, with the difference of weights as their strength.
///
/// # Errors
/// The cycle is not a whole number of bars.
pub(crate) fn syncopations(ring: &Ring, tree: &Tree) -> Result<Vec<(usize, u32)>, &'static str> {
    let weights = tree.weights();
    if !ring.pulses.is_multiple_of(weights.len()) {
        return Err("the cycle is not a whole number of bars");
    }
    let weight = |at: usize| weights[at % weights.len()];
    let found = ring.attacks.iter().zip(ring.intervals()).filter_map(|(&at, gap)| {
        let heaviest = (at + 1..at + gap).map(weight).max()?;
        (heaviest >= weight(at)).then(|| (at, (heaviest - weight(at)) as u32))
    });
    Ok(found.collect())
}

/// Barlow's indispensability of every cell of a bar: 0 for the most dispensable, the greatest for the downbeat (Barlow 1987, for
/// cuts of 2 and 3).
pub(crate) fn indispensability(tree: &Tree) -> Vec<u32> {
    let cuts: Vec<usize> = tree.cuts.iter().map(|c| *c as usize).collect();
    let (z, total) = (cuts.len(), tree.cells());
    // Indispensability within a prime cut by position from 1: the first leads, then the last, then the middle.
    let within_cut = |prime: usize, n: usize| if prime == 2 { 2 - n } else { [2, 0, 1][n - 1] };
    let of_cell = |at: usize| {
        let terms = (0..z).map(|r| {
            let left: usize = cuts[..z - 1 - r].iter().product();
            let below: usize = cuts[z - r..].iter().product();
            let prime = cuts[z - 1 - r];
            left * within_cut(prime, 1 + (1 + (at + total - 1) % total / below) % prime)
        });
        terms.sum::<usize>() as u32
    };
    (0..total).map(of_cell).collect()
}
