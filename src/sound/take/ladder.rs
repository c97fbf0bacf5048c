//! A ladder: one loop at rising speeds, with silences that come more often. It must not know hearings, files or devices.

use super::Take;
use crate::rhythm::Fraction;

/// Most steps of a ladder.
pub const STEPS: usize = 200;

/// The speeds of a ladder in rising order: `from`, then each `step` faster, the last one `to` also where the steps do not
/// meet it. `None` if `step` is not positive, `to` lies below `from`, or there would be more than [`STEPS`].
pub fn speeds(from: Fraction, to: Fraction, step: Fraction) -> Option<Vec<Fraction>> {
    if step.numer() <= 0 || to < from {
        return None;
    }
    let mut speeds = vec![from];
    while let Some(&last) = speeds.last().filter(|s| **s < to) {
        if speeds.len() == STEPS {
            return None;
        }
        speeds.push(last.plus(step)?.min(to));
    }
    Some(speeds)
}

/// Lets times through fall silent, counted through all takes: first the `every`th, and after each one the next comes one
/// time through sooner, down to every second one. The first of several times through a take always sounds. Nothing for `every` below 2.
pub fn silence(takes: &mut [Take], every: u32) {
    if every < 2 {
        return;
    }
    let (mut every, mut left) = (every, every);
    for take in takes {
        take.silences.clear();
        for turn in 0..take.times {
            left = left.saturating_sub(1);
            // A new step is heard first.
            if left == 0 && (turn > 0 || take.times == 1) {
                take.silences.push(turn);
                every = (every - 1).max(2);
                left = every;
            }
        }
    }
}
