//! How likely a listener hears a wanted pulse.

use crate::analysis::limits;
use crate::analysis::listener::{Listening, PulseKind};

/// A pulse that is wanted for a part of the loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Wanted {
    pub(crate) bpm: f64,
    /// Start and end as shares of the loop.
    pub(crate) from: f64,
    pub(crate) to: f64,
}

impl Wanted {
    /// A pulse that is wanted from start to end.
    pub(crate) fn throughout(bpm: f64) -> Self {
        Self { bpm, from: 0.0, to: 1.0 }
    }
}

/// Probability that the wanted pulses are heard: of every hearing, the share of the time in which it has a pulse whose tempo cannot be
/// told from the wanted one (limit `TEMPO_CHANGE`). Unequal beats are no such pulse, whatever their mean tempo is.
pub(crate) fn probability_of(heard: &Listening, wanted: &[Wanted]) -> f64 {
    let share = |h: &crate::analysis::listener::ModelHearing| -> f64 {
        let in_stretch = |s: &crate::analysis::listener::ModelStretch| -> f64 {
            if s.kind == PulseKind::Unequal {
                return 0.0;
            }
            let is_near = |w: &&Wanted| (s.bpm / w.bpm - 1.0).abs() * 100.0 < limits::TEMPO_CHANGE.value;
            let (start, end) = (s.start / heard.length, s.end / heard.length);
            wanted.iter().filter(is_near).map(|w| (end.min(w.to) - start.max(w.from)).max(0.0)).sum()
        };
        h.stretches.iter().map(in_stretch).sum::<f64>().min(1.0)
    };
    heard.hearings.iter().map(|h| h.probability * share(h)).sum::<f64>().clamp(0.0, 1.0) + 0.0
}
