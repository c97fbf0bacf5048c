//! What the parts of the model hand to each other: one way to take the beat, before it is told.

use super::best_path::argmax;
use super::cell::CellGrid;
use std::borrow::Cow;
use std::rc::Rc;

/// The kind of a pulse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum PulseKind {
    Even,
    /// Beats of two sizes, the longer one unit longer.
    Unequal,
    /// One beat per attack, or nearly: the beats follow the attacks and differ.
    Average,
    /// A pulse that changes from stretch to stretch.
    Changing,
}

/// A part of a hearing over which it keeps one pulse; times in seconds from the start of the span at the playing speed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub(super) start: f64,
    pub(super) end: f64,
    pub(super) kind: PulseKind,
    pub(super) period: f64,
    /// Sizes of unequal beats in units, from its first pulse on.
    pub(super) sizes: Vec<u8>,
    pub(super) pulses: Pulses,
}

/// When pulses come, in order.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Pulses {
    /// Shared by the hearings that have the same pulses.
    Times(Rc<Vec<f64>>),
    /// On some cells of every cycle of a grid, up to a number of cells.
    Cells { cell: CellGrid, starts: Vec<usize>, cycle: usize, cells: usize },
}

impl Pulses {
    pub(super) fn times(&self) -> Cow<'_, [f64]> {
        match self {
            Self::Times(times) => Cow::Borrowed(&times[..]),
            Self::Cells { cell, starts, cycle, cells } => {
                let all = (0..*cells).step_by(*cycle).flat_map(|from| starts.iter().map(move |i| from + i));
                Cow::Owned(all.take_while(|i| i < cells).map(|i| cell.origin + i as f64 * cell.length).collect())
            }
        }
    }

    pub(super) fn at(times: Vec<f64>) -> Self {
        Self::Times(Rc::new(times))
    }

    pub(super) fn first(&self) -> Option<f64> {
        match self {
            Self::Times(times) => times.first().copied(),
            Self::Cells { cell, starts, .. } => starts.first().map(|i| cell.origin + *i as f64 * cell.length),
        }
    }

    pub(super) fn count(&self) -> usize {
        match self {
            Self::Times(times) => times.len(),
            Self::Cells { starts, cycle, cells, .. } => {
                cells / cycle * starts.len() + starts.iter().filter(|s| **s < cells % cycle).count()
            }
        }
    }
}

impl Piece {
    /// Its mean beat; of the only piece of a hearing the hearing's.
    pub(super) fn tempo(&self, of: &Candidate) -> f64 {
        if of.pieces.len() > 1 { self.period } else { of.period }
    }
}

/// A way to take the beat.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    pub(super) kind: PulseKind,
    pub(super) probability: f64,
    /// Mean beat, in seconds at the playing speed.
    pub(super) period: f64,
    pub(super) origin: PulseOrigin,
    pub(super) pieces: Vec<Piece>,
}

/// Where the pulses of a candidate come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PulseOrigin {
    Grid,
    /// An even stream that was fitted to the attacks.
    EvenStream,
    /// They are attacks that were followed, so that its pieces are cut from them.
    FollowedAttacks,
    /// They are all the attacks, and nothing else but halves and thirds between them.
    AllAttacks,
}

impl Candidate {
    /// A hearing of one pulse for the whole loop.
    pub(super) fn steady(
        kind: PulseKind,
        origin: PulseOrigin,
        probability: f64,
        period: f64,
        length: f64,
        sizes: Vec<u8>,
        pulses: Pulses,
    ) -> Self {
        Self {
            kind,
            probability,
            period,
            origin,
            pieces: vec![Piece { start: 0.0, end: length, kind, period, sizes, pulses }],
        }
    }

    /// A pulse that changes from piece to piece.
    pub(super) fn changing(origin: PulseOrigin, pieces: Vec<Piece>) -> Self {
        let longest = argmax(&pieces.iter().map(|p| p.end - p.start).collect::<Vec<_>>());
        Self {
            kind: PulseKind::Changing,
            probability: 0.0,
            period: pieces.get(longest).map_or(0.0, |p| p.period),
            origin,
            pieces,
        }
    }

    pub(super) fn times(&self) -> Cow<'_, [f64]> {
        match &self.pieces[..] {
            [piece] => piece.pulses.times(),
            pieces => pieces.iter().flat_map(|p| p.pulses.times().into_owned()).collect(),
        }
    }

    pub(super) fn first(&self) -> Option<f64> {
        self.pieces.iter().find_map(|p| p.pulses.first())
    }

    /// Whether another hearing shares its pulses.
    pub(super) fn shares_pulses(&self, other: &Self) -> bool {
        match (&self.pieces[..], &other.pieces[..]) {
            ([Piece { pulses: Pulses::Times(a), .. }], [Piece { pulses: Pulses::Times(b), .. }]) => Rc::ptr_eq(a, b),
            _ => false,
        }
    }

    /// The number of its pulses.
    pub(super) fn count(&self) -> usize {
        self.pieces.iter().map(|p| p.pulses.count()).sum()
    }
}

/// Log scores farther below the best than this count as probability 0.
const MAX_DISTANCE: f64 = 45.0;

/// Probabilities from log scores.
pub(super) fn normalised(log_scores: impl Iterator<Item = f64> + Clone) -> Vec<f64> {
    let best = log_scores.clone().fold(f64::NEG_INFINITY, f64::max);
    let mut p: Vec<f64> = log_scores.map(|l| if l < best - MAX_DISTANCE { 0.0 } else { (l - best).exp() }).collect();
    let sum: f64 = p.iter().sum();
    for x in &mut p {
        *x /= sum;
    }
    p
}

pub(super) fn sum_of_logs(logs: &[f64]) -> f64 {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    best + logs.iter().map(|l| (l - best).exp()).sum::<f64>().ln()
}
