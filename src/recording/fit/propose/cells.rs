//! The onsets counted into the cells of one clock: weights, bands, silence, and how well the cells repeat.

use crate::recording::fit::onset::{Onset, clipped_strengths};

/// Longest cycle whose repetition is measured, in seconds.
const LONGEST_CYCLE: f64 = 6.0;
/// Contrast of the repetition, best against median, that counts in full.
const FULL_CONTRAST: f64 = 0.25;
/// Weight of a stroke without and with energy in the low band only: low voices carry the beat (Hove et al. 2014). The sizes
/// are ours.
const LOW_WEIGHT: (f64, f64) = (0.75, 0.9);
/// Strokes fainter than this share of the median strength carry no pulse of their own.
const FAINT: f64 = 0.45;
/// Cells shorter than the first are not felt, from the second on they are felt in full, in seconds (London 2004).
const FELT: (f64, f64) = (0.100, 0.130);

/// An onset on a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placed {
    /// Index of the onset.
    pub(super) onset: usize,
    /// The cell, counted from the first cell of the clock with an onset.
    pub(super) cell: usize,
}

/// The content of every cell from the first onset to the last.
#[derive(Debug, Clone)]
pub(super) struct Cells {
    /// Seconds per cell.
    pub(super) length: f64,
    /// Weight per cell, one per onset on average.
    pub(super) weight: Vec<f64>,
    /// Strength in the low and the middle band per cell, as a share of all cells.
    pub(super) low: Vec<f64>,
    pub(super) mid: Vec<f64>,
    /// Whether a cell holds no onset.
    pub(super) silent: Vec<bool>,
    /// The first cell that holds an onset.
    pub(super) first: usize,
    /// Cells with an onset that is not faint, in order.
    pub(super) plain: Vec<usize>,
    /// How much better than the median a cycle of so many cells repeats; at most 1. Its length bounds every cycle.
    pub(super) repetition: Vec<f64>,
    /// How far the best repetition stands out, from 0 to 1.
    pub(super) contrast: f64,
    /// Whether the cells are felt as such: from 0, not at all, to 1.
    pub(super) felt: f64,
}

impl Cells {
    /// Counts onsets into cells. `None` without an onset on a cell.
    pub(super) fn new(onsets: &[Onset], placed: &[Placed], length: f64) -> Option<Self> {
        let count = placed.iter().map(|p| p.cell).max()? + 1;
        let strengths = clipped_strengths(onsets, 0.25, 2.5);
        let mut bands = [vec![0.0; count], vec![0.0; count], vec![0.0; count]];
        let (mut weight, mut silent) = (vec![0.0; count], vec![true; count]);
        let mut plain = Vec::new();
        for &Placed { onset, cell } in placed {
            let shares = shares(&onsets[onset]);
            for (band, share) in bands.iter_mut().zip(shares) {
                band[cell] += strengths[onset] * share;
            }
            weight[cell] += strengths[onset].powf(0.7) * (LOW_WEIGHT.0 + LOW_WEIGHT.1 * shares[0]);
            silent[cell] = false;
            if strengths[onset] > FAINT {
                plain.push(cell);
            }
        }
        plain.sort_unstable();
        plain.dedup();
        let scale = placed.len() as f64 / weight.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        for w in &mut weight {
            *w *= scale;
        }
        let longest = (count / 2).min((LONGEST_CYCLE / length) as usize);
        let (repetition, contrast) = repetition(&bands, longest);
        let [low, mid, _] = bands.map(as_shares);
        let first = placed.iter().map(|p| p.cell).min()?;
        let felt = ((length - FELT.0) / (FELT.1 - FELT.0)).clamp(0.0, 1.0);
        Some(Self { length, weight, low, mid, silent, first, plain, repetition, contrast, felt })
    }

    /// Number of cells.
    pub(super) fn len(&self) -> usize {
        self.weight.len()
    }

    /// Longest cycle in cells that a hypothesis may have.
    pub(super) fn longest_cycle(&self) -> usize {
        self.repetition.len().saturating_sub(1)
    }

    /// Length of all cells in seconds.
    pub(super) fn duration(&self) -> f64 {
        self.len() as f64 * self.length
    }

    /// Share of `pulses` that fall on a cell with an onset.
    pub(super) fn sounding(&self, pulses: impl Iterator<Item = usize>) -> f64 {
        let (mut all, mut sounding) = (0_usize, 0_usize);
        for silent in pulses.filter_map(|cell| self.silent.get(cell)) {
            all += 1;
            sounding += usize::from(!silent);
        }
        sounding as f64 / all.max(1) as f64
    }
}

/// The bands' shares of an onset's strength.
fn shares(onset: &Onset) -> [f64; 3] {
    let sum: f64 = onset.bands().iter().sum();
    onset.bands().map(|band| band / sum.max(1e-9))
}

/// Values divided by their sum.
fn as_shares(mut values: Vec<f64>) -> Vec<f64> {
    let sum = values.iter().sum::<f64>() + 1e-9;
    for value in &mut values {
        *value /= sum;
    }
    values
}

/// Sums of values that lie a cycle apart.
pub(super) fn fold(values: &[f64], cycle: usize) -> Vec<f64> {
    let mut folded = vec![0.0; cycle];
    for row in values.chunks(cycle) {
        folded.iter_mut().zip(row).for_each(|(sum, value)| *sum += value);
    }
    folded
}

/// Autocorrelation of the bands per cycle length, on a scale where 0 is the median and 1 the best cycle if it stands out.
fn repetition(bands: &[Vec<f64>; 3], longest: usize) -> (Vec<f64>, f64) {
    let mut correlation = vec![0.0; longest + 1];
    for band in bands {
        // With the whole mean taken away two strokes would count no more than two silences, with none of it silence nothing.
        let half_mean = 0.5 * band.iter().sum::<f64>() / band.len() as f64;
        let centred: Vec<f64> = band.iter().map(|v| v - half_mean).collect();
        for (lag, sum) in correlation.iter_mut().enumerate() {
            let product: f64 = centred.iter().zip(&centred[lag..]).map(|(a, b)| a * b).sum();
            *sum += product / (centred.len() - lag) as f64;
        }
    }
    let at_zero = correlation[0];
    let mut flat = vec![0.0; longest + 1];
    if longest < 3 || at_zero <= 0.0 {
        return (flat, 0.0);
    }
    for r in &mut correlation {
        *r /= at_zero;
    }
    let median = crate::recording::fit::onset::median(&correlation[1..]).unwrap_or(0.0);
    let best = correlation[2..].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if best <= median {
        return (flat, 0.0);
    }
    let contrast = ((best - median) / FULL_CONTRAST).min(1.0);
    for (scaled, r) in flat.iter_mut().zip(&correlation) {
        *scaled = ((r - median) / (best - median)).clamp(-0.5, 1.0) * contrast;
    }
    (flat, contrast)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cycle_of_seven_repeats_best_after_seven_cells() {
        let figure = [1.0, 0.0, 0.6, 0.0, 1.0, 0.3, 0.0];
        let onsets: Vec<Onset> = (0..70)
            .filter(|i| figure[i % 7] > 0.0)
            .map(|i| Onset {
                seconds: i as f64 * 0.15,
                strength: figure[i % 7],
                low: figure[i % 7],
                mid: 0.1,
                high: 0.1,
                ..Onset::default()
            })
            .collect();
        let placed: Vec<Placed> = onsets
            .iter()
            .enumerate()
            .map(|(onset, o)| Placed { onset, cell: (o.seconds / 0.15).round() as usize })
            .collect();
        let cells = Cells::new(&onsets, &placed, 0.15).expect("onsets on cells");
        let best = (2..=cells.longest_cycle()).max_by(|&a, &b| cells.repetition[a].total_cmp(&cells.repetition[b]));
        assert!(best.is_some_and(|best| best % 7 == 0), "{best:?}");
        assert!((cells.weight.iter().sum::<f64>() - placed.len() as f64).abs() < 1e-9);
        assert_eq!(cells.felt, 1.0);
    }

    #[test]
    fn folding_adds_up_what_lies_a_cycle_apart() {
        assert_eq!(fold(&[1.0, 2.0, 3.0, 4.0, 5.0], 3), vec![5.0, 7.0, 3.0]);
    }
}
