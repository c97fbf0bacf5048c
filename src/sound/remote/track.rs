//! Where the groove is heard, from what the speaker said some time ago: the two clocks compared, and marks of the loop drawn
//! on.

use std::collections::VecDeque;

/// Round trips among which the quickest is believed.
const TRIPS: usize = 32;
/// Marks among which the one that was least late is believed.
const MARKS: usize = 12;
/// A mark this far from the others, in ns, is a jump and not a delay of the sound thread.
const JUMP: f64 = 40e6;
/// How long a mark holds, in ns; after that the line is thought lost.
const HOLDS: i64 = 4_000_000_000;

/// The speaker's clock as seen by the editor's.
///
/// A round trip that takes `d` bounds the error of the clock read halfway through to `d / 2`; the quickest of the recent ones
/// is taken (the clock filter of RFC 5905, section 10, without its weights). What one direction is always slower than the
/// other cannot be seen by any such measure.
#[derive(Debug, Clone, Default)]
pub(super) struct Clocks {
    /// Round trip and difference of the clocks, in ns.
    trips: VecDeque<(u64, i64)>,
}

impl Clocks {
    /// A ping was sent at `asked`, the speaker's clock was then `theirs`, the answer came at `now`.
    pub(super) fn trip(&mut self, asked: u64, theirs: u64, now: u64) {
        let Some(took) = now.checked_sub(asked) else { return };
        if self.trips.len() == TRIPS {
            self.trips.pop_front();
        }
        let halfway = asked + took / 2;
        self.trips.push_back((took, theirs.wrapping_sub(halfway) as i64));
    }

    /// The quickest recent round trip, in ns.
    pub(super) fn round_trip(&self) -> Option<u64> {
        self.trips.iter().map(|t| t.0).min()
    }

    /// A time of the speaker's clock in the editor's.
    pub(super) fn here(&self, theirs: u64) -> Option<i64> {
        self.trips.iter().min_by_key(|t| t.0).map(|t| (theirs as i64).wrapping_sub(t.1))
    }
}

/// The loop that a mark belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Loop {
    /// Frames per second.
    pub(super) hertz: u32,
    /// Frames of one turn; 0 if it is silent for ever.
    pub(super) length: i64,
}

/// Where the loop was heard when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Heard {
    pub(super) generation: u64,
    pub(super) frame: i64,
    pub(super) loops: u64,
    /// In the speaker's clock, ns.
    pub(super) at: u64,
}

/// The recent marks of one loop.
#[derive(Debug, Clone, Default)]
pub(super) struct Track {
    marks: VecDeque<Heard>,
}

impl Track {
    /// Forgets all.
    pub(super) fn clear(&mut self) {
        self.marks.clear();
    }

    /// Takes a mark.
    pub(super) fn mark(&mut self, heard: Heard, of: Loop) {
        let late = |m: &Heard| lateness(m, &heard, of);
        if self.marks.iter().any(|m| m.generation != heard.generation || m.at > heard.at || late(m).abs() > JUMP) {
            self.marks.clear();
        }
        if self.marks.len() == MARKS {
            self.marks.pop_front();
        }
        self.marks.push_back(heard);
    }

    /// The last mark.
    pub(super) fn last(&self) -> Option<Heard> {
        self.marks.back().copied()
    }

    /// The frame of the loop heard at a time of the editor's clock (ns), and turns completed; `None` when no one knows.
    pub(super) fn at(&self, now: i64, clocks: &Clocks, of: Loop) -> Option<(i64, u64)> {
        let last = self.marks.back()?;
        // The sound thread can be late but never early.
        let best = self.marks.iter().min_by(|a, b| lateness(a, last, of).total_cmp(&lateness(b, last, of)))?;
        let (since, of_best) = (now.saturating_sub(clocks.here(last.at)?), now.saturating_sub(clocks.here(best.at)?));
        if since > HOLDS {
            return None;
        }
        let gone = (of_best as f64 * 1e-9 * f64::from(of.hertz)).round() as i64;
        let frame = best.frame.saturating_add(gone);
        if of.length <= 0 {
            return Some((frame.max(0), best.loops));
        }
        let turns = frame.div_euclid(of.length).max(-(best.loops.min(1 << 40) as i64));
        Some((frame.saturating_sub(turns.saturating_mul(of.length)).max(0), best.loops.saturating_add_signed(turns)))
    }
}

/// By how many ns the mark `a` is late against `b`, both of one loop.
fn lateness(a: &Heard, b: &Heard, of: Loop) -> f64 {
    let turns = (a.loops as f64 - b.loops as f64) * of.length as f64;
    let frames = turns + (a.frame as f64 - b.frame as f64);
    (a.at as f64 - b.at as f64) - frames * 1e9 / f64::from(of.hertz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LOOP: Loop = Loop { hertz: 48_000, length: 96_000 };

    #[test]
    fn the_quickest_trip_is_believed() {
        let mut clocks = Clocks::default();
        assert_eq!(clocks.here(5), None);
        // The speaker's clock is 1000 ahead; 80 there, 400 back.
        clocks.trip(0, 1_080, 480);
        clocks.trip(1_000, 2_040, 1_080);
        assert_eq!(clocks.round_trip(), Some(80));
        assert_eq!(clocks.here(2_040), Some(1_040));
        for k in 0..TRIPS as u64 {
            clocks.trip(10_000 + k, 11_500 + k, 10_900 + k);
        }
        assert_eq!(clocks.round_trip(), Some(900), "old trips are forgotten, since clocks drift");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn the_playhead_is_that_of_the_ear(
            offset in -1_000_000_000_i64..1_000_000_000, there in 1_u64..200_000_000, late in prop::collection::vec(0_u64..8_000_000, 20),
            look in 0_i64..300_000_000,
        ) {
            let mut clocks = Clocks::default();
            let theirs = |here: u64| (here as i64 + 2_000_000_000 + offset) as u64;
            clocks.trip(1_000, theirs(1_000 + there), 1_000 + 2 * there);
            let mut track = Track::default();
            // The first frame is heard at 1 s of the editor's clock; a mark every 33 ms, written down a little late.
            let frame_at = |ns: u64| (ns as f64 - 1e9) * 48e-6;
            let mut last = 0;
            for (k, late) in late.iter().enumerate() {
                last = 1_900_000_000 + k as u64 * 33_000_000;
                let total = frame_at(last).round() as i64;
                let (loops, frame) = ((total / LOOP.length) as u64, total % LOOP.length);
                track.mark(Heard { generation: 3, frame, loops, at: theirs(last + late) }, LOOP);
            }
            let now = last as i64 + look;
            let (frame, loops) = track.at(now, &clocks, LOOP).expect("known");
            let heard = loops as i64 * LOOP.length + frame;
            let error = heard as f64 - frame_at(now as u64);
            let least = late[late.len() - MARKS..].iter().min().expect("some");
            prop_assert!((error + *least as f64 * 48e-6).abs() <= 2.0, "{error} frames");
        }

        #[test]
        fn any_marks_are_taken(marks in prop::collection::vec((any::<u64>(), any::<i64>(), any::<u64>(), any::<u64>()), 0..20), now: i64, length: i64) {
            let mut clocks = Clocks::default();
            clocks.trip(5, 5_000, 10);
            let of = Loop { hertz: 48_000, length };
            let mut track = Track::default();
            for (generation, frame, loops, at) in marks {
                track.mark(Heard { generation: generation % 2, frame, loops, at }, of);
                if let Some((frame, _)) = track.at(now, &clocks, of) {
                    prop_assert!(frame >= 0);
                }
            }
        }
    }

    #[test]
    fn a_jump_is_followed_at_once() {
        let mut clocks = Clocks::default();
        clocks.trip(0, 0, 0);
        let mut track = Track::default();
        for k in 0..10 {
            track.mark(Heard { generation: 1, frame: k * 480, loops: 0, at: k as u64 * 10_000_000 }, LOOP);
        }
        track.mark(Heard { generation: 1, frame: 90_000, loops: 0, at: 100_000_000 }, LOOP);
        assert_eq!(track.at(100_000_000, &clocks, LOOP), Some((90_000, 0)));
        assert_eq!(track.at(100_000_000 + HOLDS + 1, &clocks, LOOP), None, "nothing was heard of it for long");
    }
}
