//! Mutes passes of a ladder, more and more often.

use super::Take;

/// Mutes passes, counted through all takes: first the `every`th, then each one after an interval shorter by one pass, down to
/// every second pass. The first pass of a take is muted only if it is the only one. Does nothing for `every` below 2.
pub(crate) fn silence(takes: &mut [Take], every: u32) {
    if every < 2 {
        return;
    }
    let (mut every, mut left) = (every, every);
    for take in takes {
        take.muted_passes.clear();
        for pass in 0..take.times {
            left = left.saturating_sub(1);
            // A new step is heard first.
            if left == 0 && (pass > 0 || take.times == 1) {
                take.muted_passes.push(pass);
                every = (every - 1).max(2);
                left = every;
            }
        }
    }
}
