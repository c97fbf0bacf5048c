//! What the parts of the model hand to each other: one way to take the beat, before it is told.

/// The kind of a pulse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Kind {
    /// Equal beats.
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
    pub(super) kind: Kind,
    /// Mean beat.
    pub(super) period: f64,
    /// Sizes of unequal beats in units, from its first pulse on.
    pub(super) sizes: Vec<u8>,
    /// Its pulses.
    pub(super) pulses: Vec<f64>,
}

/// A way to take the beat.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    pub(super) kind: Kind,
    pub(super) probability: f64,
    /// Mean beat, in seconds at the playing speed.
    pub(super) period: f64,
    /// Whether its pulses are the attacks they follow, so that its pieces are cut from them.
    pub(super) follows: bool,
    /// Whether its pulses are all the attacks and nothing else but halves and thirds between them.
    pub(super) is_attacks: bool,
    /// Whether it comes from the grid.
    pub(super) on_grid: bool,
    pub(super) pieces: Vec<Piece>,
}

impl Candidate {
    /// A hearing of one pulse for the whole loop.
    pub(super) fn steady(
        kind: Kind,
        probability: f64,
        period: f64,
        length: f64,
        sizes: Vec<u8>,
        pulses: Vec<f64>,
    ) -> Self {
        Self {
            kind,
            probability,
            period,
            follows: kind == Kind::Average,
            is_attacks: false,
            on_grid: false,
            pieces: vec![Piece { start: 0.0, end: length, kind, period, sizes, pulses }],
        }
    }

    /// All its pulses in order.
    pub(super) fn pulses(&self) -> impl Iterator<Item = f64> + '_ {
        self.pieces.iter().flat_map(|p| p.pulses.iter().copied())
    }
}

/// Probabilities from log scores; all 0 if there is none.
pub(super) fn normalised(log_scores: impl Iterator<Item = f64> + Clone) -> Vec<f64> {
    let best = log_scores.clone().fold(f64::NEG_INFINITY, f64::max);
    let mut p: Vec<f64> = log_scores.map(|l| (l - best).exp()).collect();
    let sum: f64 = p.iter().sum();
    for x in &mut p {
        *x /= sum;
    }
    p
}
