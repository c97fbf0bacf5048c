//! The passes through the sections of a groove, and the notes of a layer at their exact times.

use crate::rhythm::{Attack, Groove, Time};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pass {
    pub(crate) section: usize,
    /// From the start of the first pass.
    pub(crate) start: Time,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TimedNote {
    /// From the start of the first pass.
    pub(crate) start: Time,
    pub(crate) length: Time,
    pub(crate) attack: Attack,
}

/// The passes through a groove or one of its sections; `None` if a time overflows.
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

/// The notes of a layer; `None` if a time overflows.
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
