//! The silences of a ladder, which come more often. It must not know speeds, hearings, files or devices.

use super::Take;

/// Lets times through fall silent, counted through all takes: first the `every`th, and after each one the next comes one
/// time through sooner, down to every second one. The first of several times through a take always sounds. Nothing for `every` below 2.
pub fn silence(takes: &mut [Take], every: u32) {
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
