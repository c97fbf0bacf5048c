//! The speaker's clock as seen by the editor, from pings and their answers.

use std::collections::VecDeque;

/// Round trips among which the quickest counts.
const MAX_TRIPS: usize = 32;

/// The difference of the two clocks.
///
/// A round trip that takes `d` bounds the error of the clock read halfway through to `d / 2`; the quickest of the recent ones
/// is used (the clock filter of RFC 5905, section 10, without its weights). No such measurement can see that one direction is
/// always slower than the other.
#[derive(Debug, Clone, Default)]
pub(super) struct ClockDifference {
    /// Round trip, and what the speaker's clock is ahead, in ns.
    trips: VecDeque<(u64, i64)>,
}

impl ClockDifference {
    /// A ping was sent at `asked`, the speaker's clock was then `theirs`, the answer came at `now`.
    pub(super) fn add(&mut self, asked: u64, theirs: u64, now: u64) {
        let Some(took) = now.checked_sub(asked) else { return };
        if self.trips.len() == MAX_TRIPS {
            self.trips.pop_front();
        }
        let halfway = asked + took / 2;
        self.trips.push_back((took, theirs.wrapping_sub(halfway) as i64));
    }

    /// The quickest recent round trip, in ns; 0 before the first one.
    pub(super) fn round_trip(&self) -> u64 {
        self.trips.iter().map(|t| t.0).min().unwrap_or(0)
    }

    /// A time of the editor's clock in the speaker's; `None` before the first round trip.
    pub(super) fn to_speaker(&self, ours: u64) -> Option<u64> {
        self.trips.iter().min_by_key(|t| t.0).map(|t| ours.saturating_add_signed(t.1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quickest_trip_counts() {
        let mut clock = ClockDifference::default();
        assert_eq!((clock.to_speaker(5), clock.round_trip()), (None, 0));
        // The speaker's clock is 1000 ahead; 80 there, 400 back.
        clock.add(0, 1_080, 480);
        clock.add(1_000, 2_040, 1_080);
        assert_eq!((clock.round_trip(), clock.to_speaker(1_040)), (80, Some(2_040)));
        // An answer from before its question does not count.
        clock.add(9, 0, 8);
        for k in 0..MAX_TRIPS as u64 {
            clock.add(10_000 + k, 11_500 + k, 10_900 + k);
        }
        assert_eq!(clock.round_trip(), 900, "old trips are dropped, since clocks drift");
        // A clock far behind gives no time before its start.
        let mut clock = ClockDifference::default();
        clock.add(5_000, 0, 5_000);
        assert_eq!(clock.to_speaker(4_000), Some(0));
    }
}
