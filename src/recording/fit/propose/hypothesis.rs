//! A reading of the cells as beats and bars, and the sum that all readings are compared by.

use super::Excerpt;
use super::cells::{Cells, fold};

/// Seconds of evidence a listener weighs: a long recording does not make every preference irrelevant.
const EVIDENCE_SECONDS: f64 = 8.0;
/// Cost of a beat without an onset, in nats. Silence against a beat speaks against it (Povel and Essens 1985).
const SILENT_BEAT: f64 = 0.7;
/// Preferred beat in seconds and its width as a logarithm (van Noorden and Moelants 1999 give 0.50 to 0.55 s).
const PREFERRED_BEAT: (f64, f64) = (0.52, 0.42);
/// Weight of a good repetition of the cycle.
pub(super) const REPETITION: f64 = 5.0;
/// Weight of energy in the low band on the head of a cycle.
pub(super) const LOW_HEAD: f64 = 1.6;
/// Weight of a recording that begins on a beat and on the head of a cycle.
const BEGINNING: f64 = 2.0;

/// Strength expected on a beat, on a cut of the beat, and elsewhere.
pub(super) const BEAT: f64 = 2.2;
pub(super) const CUT: f64 = 1.4;
pub(super) const REST: f64 = 0.55;

/// Shortest and longest beat, in seconds (London 2004, Fraisse 1982; narrowed to what is counted as a beat).
pub(super) const BEATS: (f64, f64) = (0.24, 1.35);

/// How the cells are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Reading {
    /// Beats of `cells` cells each, `bar` of them in a bar, the bar's head being beat `downbeat` after the phase.
    Even { cells: usize, bar: usize, downbeat: usize },
    /// Beats of unequal length: groups of `unit` cells.
    Additive { unit: usize, groups: &'static [u8] },
    /// The mean distance of attacks, in cells, where no even beat carries them.
    Average { cells: f64 },
}

/// A reading with its place and score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hypothesis {
    /// Log odds, comparable within a recording.
    pub(super) score: f64,
    /// Cell of a first beat.
    pub(super) phase: f64,
    pub(super) reading: Reading,
}

/// Preference for a beat's length, in nats.
pub(super) fn preference(seconds: f64) -> f64 {
    -0.5 * ((seconds / PREFERRED_BEAT.0).ln() / PREFERRED_BEAT.1).powi(2)
}

/// What it is worth that the first onset falls on a beat and on the head of a cycle, in nats.
pub(super) fn beginning(excerpt: Excerpt) -> f64 {
    match excerpt {
        Excerpt::Beginning => BEGINNING,
        Excerpt::Middle => 0.0,
    }
}

/// The cells folded to one cycle, to be compared with expected strengths.
pub(super) struct Cycle {
    weight: Vec<f64>,
    silent: Vec<f64>,
    scale: f64,
}

impl Cycle {
    /// Folds the cells to a cycle of so many.
    pub(super) fn new(cells: &Cells, length: usize) -> Self {
        let silent: Vec<f64> = cells.silent.iter().map(|&silent| f64::from(u8::from(silent))).collect();
        Self {
            weight: fold(&cells.weight, length),
            silent: fold(&silent, length),
            scale: EVIDENCE_SECONDS / cells.duration(),
        }
    }

    /// Log likelihood per phase of strokes distributed as `expected`, with beats at the positions `beats` of the cycle.
    pub(super) fn likelihoods(&self, expected: &[f64], beats: &[usize]) -> Vec<f64> {
        let length = self.weight.len();
        let mean = expected.iter().sum::<f64>() / length as f64;
        let logs: Vec<f64> = expected.iter().map(|e| (e / mean).ln()).collect();
        (0..length)
            .map(|phase| {
                let (tail, head) = self.weight.split_at(phase);
                let fit: f64 = head.iter().chain(tail).zip(&logs).map(|(w, log)| w * log).sum();
                let silence: f64 = beats.iter().map(|beat| self.silent[(phase + beat) % length]).sum();
                (fit - SILENT_BEAT * silence) * self.scale
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_preferred_beat_costs_nothing_and_half_and_double_the_same() {
        assert_eq!(preference(PREFERRED_BEAT.0), 0.0);
        assert!((preference(2.0 * PREFERRED_BEAT.0) - preference(0.5 * PREFERRED_BEAT.0)).abs() < 1e-12);
        assert!(preference(1.0) < preference(0.6));
    }
}
