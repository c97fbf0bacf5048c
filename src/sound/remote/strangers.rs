//! Who comes to a speaker and is no editor, told of rarely: not of each of a thousand.

use super::said::Said;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Time in which no more than one visitor of a kind is told of.
const QUIET: Duration = Duration::from_secs(10);

/// Those of one kind, with a version of the line or without one, that came since one was told of.
#[derive(Debug)]
struct Kind {
    told: Instant,
    more: u32,
    version: Option<u16>,
}

/// Kinds of visitors told of lately, the one told of longest ago first.
#[derive(Debug, Default)]
pub(super) struct Strangers(VecDeque<Kind>);

impl Strangers {
    /// One has come; gives what is to be told at once.
    pub(super) fn came(&mut self, version: Option<u16>, now: Instant) -> Option<Said> {
        if let Some(kind) = self.0.iter_mut().find(|k| k.version.is_some() == version.is_some()) {
            (kind.more, kind.version) = (kind.more + 1, version);
            return None;
        }
        self.0.push_back(Kind { told: now, more: 0, version });
        Some(Said::Strangers(1, version))
    }

    /// What is to be told by now of those who came after one that was told of.
    pub(super) fn look(&mut self, now: Instant) -> Option<Said> {
        self.0.front().filter(|k| now.saturating_duration_since(k.told) > QUIET)?;
        let Kind { more, version, .. } = self.0.pop_front()?;
        if more == 0 {
            return None;
        }
        self.0.push_back(Kind { told: now, more: 0, version });
        Some(Said::Strangers(more, version))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_thousand_two_are_told_of() {
        let mut strangers = Strangers::default();
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let mut told = Vec::new();
        for k in 0..1000 {
            told.extend(strangers.came(None, at(k)));
            told.extend(strangers.look(at(k)));
        }
        assert_eq!(told, [Said::Strangers(1, None)]);
        // Those of another kind are told of beside them.
        assert_eq!(strangers.came(Some(7), at(5000)), Some(Said::Strangers(1, Some(7))));
        assert_eq!(strangers.came(Some(9), at(6000)), None);
        assert_eq!(strangers.look(at(10_001)), Some(Said::Strangers(999, None)));
        assert_eq!(strangers.look(at(15_001)), Some(Said::Strangers(1, Some(9))));
        assert_eq!(strangers.look(at(20_000)), None);
        // After a quiet time nobody is owed a word, and the next one is told of at once.
        assert_eq!((strangers.look(at(40_000)), strangers.look(at(40_000))), (None, None));
        assert_eq!(strangers.came(None, at(40_001)), Some(Said::Strangers(1, None)));
    }
}
