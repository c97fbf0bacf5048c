//! A groove written out: every pass through its sections, and the notes of a layer at their exact times.

use crate::rhythm::{Attack, Groove, Time};

/// One pass through a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pass {
    /// The section, from 0.
    pub(crate) section: usize,
    /// Start from the start of the groove, or of its only section.
    pub(crate) start: Time,
}

/// A note at its exact time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TimedNote {
    /// Onset from the start of the first bar.
    pub start: Time,
    /// How long it sounds.
    pub length: Time,
    /// Its accent and pitch.
    pub attack: Attack,
}

/// Every pass through a groove or one of its sections; `None` if a start cannot be held exactly.
pub(crate) fn passes(groove: &Groove, only: Option<usize>) -> Option<Vec<Pass>> {
    let mut start = Time::ZERO;
    let mut all = Vec::new();
    for (section, s) in groove.sections().iter().enumerate().filter(|(i, _)| only.is_none_or(|o| o == *i)) {
        for _ in 0..s.times {
            all.push(Pass { section, start });
            start = start.plus(s.length())?;
        }
    }
    Some(all)
}

/// The notes of a layer through these passes; `None` if a time cannot be held exactly.
pub(crate) fn timed_notes(groove: &Groove, layer: usize, passes: &[Pass]) -> Option<Vec<TimedNote>> {
    let mut all = Vec::new();
    for pass in passes {
        for s in groove.part(layer, pass.section).attacks(groove.context(layer, pass.section)) {
            let (start, length) = (pass.start.plus(s.start)?, s.end.minus(s.start)?);
            all.push(TimedNote { start, length, attack: s.attack });
        }
    }
    Some(all)
}
