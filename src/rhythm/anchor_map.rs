//! The map between the groove's own time at its written tempos and the time of its recording.

use super::groove::Groove;
use super::recording::GridPlace;
use super::time::Time;

const NANOS_PER_MINUTE: i128 = 60_000_000_000;

/// Piecewise linear between the anchors; before the first and after the last it goes on at the rate of the nearest two, with a
/// single anchor at the written tempo.
///
/// Score time is the groove's time at its written tempos, in nanoseconds from the start of the first pass through all sections.
/// Times of the recording are in nanoseconds from its first frame. Every number is computed exactly and rounded once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnchorMap {
    /// Score time and time of the recording, both rising; at least one.
    knots: Vec<(i64, i64)>,
    /// Score time of one pass through all sections.
    pass: i64,
}

impl AnchorMap {
    /// The map of the groove's recording; `None` without a recording or an anchor in the groove. Anchors at places that the groove
    /// does not have are left out.
    pub fn of(groove: &Groove) -> Option<Self> {
        let anchors = groove.recording()?.anchors();
        let pass = groove.score_time(groove.sections().len(), 0, Time::ZERO)?;
        let mut knots: Vec<(i64, i64)> = Vec::new();
        for anchor in anchors {
            let Some(score) = groove.score_time_of(anchor.place, pass) else { continue };
            let at = anchor.at.0.checked_mul(1000)?;
            if knots.last().is_none_or(|(s, t)| *s < score && *t < at) {
                knots.push((score, at));
            }
        }
        (!knots.is_empty()).then_some(Self { knots, pass })
    }

    /// Score time of one pass through all sections.
    pub fn pass_length(&self) -> i64 {
        self.pass
    }

    /// Score time and time of the recording of each anchor that is used.
    pub fn knots(&self) -> &[(i64, i64)] {
        &self.knots
    }

    /// The time of the recording at a score time.
    pub fn recording_time(&self, score: i64) -> i64 {
        let (a, b) = self.segment(|k| k.0, score);
        interpolate(score, (a.0, b.0), (a.1, b.1))
    }

    /// The score time at a time of the recording.
    pub fn score_time(&self, at: i64) -> i64 {
        let (a, b) = self.segment(|k| k.1, at);
        interpolate(at, (a.1, b.1), (a.0, b.0))
    }

    /// The two knots that rule a position.
    fn segment(&self, key: impl Fn(&(i64, i64)) -> i64, at: i64) -> ((i64, i64), (i64, i64)) {
        match self.knots[..] {
            [(s, t)] => ((s, t), (s + 1, t + 1)),
            ref knots => {
                let k = knots.partition_point(|k| key(k) <= at).clamp(1, knots.len() - 1);
                (knots[k - 1], knots[k])
            }
        }
    }
}

/// The point at `x` of the line through two points, rounded down; `from.0 < from.1`.
fn interpolate(x: i64, from: (i64, i64), to: (i64, i64)) -> i64 {
    let (run, rise) = (i128::from(from.1) - i128::from(from.0), i128::from(to.1) - i128::from(to.0));
    let value = i128::from(to.0) + ((i128::from(x) - i128::from(from.0)) * rise).div_euclid(run);
    value.clamp(i64::MIN.into(), i64::MAX.into()) as i64
}

impl Groove {
    /// Score time from the start of a pass through all sections to an offset in a pass of a section. The section behind the last
    /// one stands for the end.
    pub(crate) fn score_time(&self, section: usize, pass: usize, offset: Time) -> Option<i64> {
        let nanos = |length: Time, s: usize| -> Option<i128> {
            let per_minute = self.sections()[s].tempo.wholes_per_minute();
            let numer = i128::from(length.numer())
                .checked_mul(i128::from(per_minute.denom()))?
                .checked_mul(NANOS_PER_MINUTE)?;
            let denom = i128::from(length.denom()).checked_mul(i128::from(per_minute.numer()))?;
            Some((2 * numer + denom).div_euclid(2 * denom))
        };
        let mut sum = 0;
        for (s, before) in self.sections().iter().enumerate().take(section) {
            sum += nanos(before.length().repeated(usize::from(before.times))?, s)?;
        }
        if let Some(s) = self.sections().get(section) {
            sum += nanos(s.length().repeated(pass)?.plus(offset)?, section)?;
        }
        i64::try_from(sum).ok()
    }

    /// Score time of a place, where a pass through all sections lasts `pass_length`.
    pub(crate) fn score_time_of(&self, place: GridPlace, pass_length: i64) -> Option<i64> {
        let (section, pass, offset) = self.grid_time(place)?;
        pass_length.checked_mul(i64::from(place.pass))?.checked_add(self.score_time(section, pass, offset)?)
    }
}

#[cfg(test)]
mod tests {
    use super::super::meter::{Meter, Tempo};
    use super::super::recording::{Anchor, Micros, Recording};
    use super::super::time::Fraction;
    use super::*;
    use proptest::prelude::*;

    /// Two bars of 4/4 at 120: a beat lasts half a second.
    fn groove(anchors: &[(u32, u32, i64)]) -> Groove {
        let meter = Meter::parse("4/4").expect("a meter");
        let tempo = Tempo::new(Fraction::whole(120), meter.beat()).expect("a tempo");
        let anchor = |&(pass, bar, at)| Anchor { place: GridPlace { pass, bar, beat: Fraction::ZERO }, at: Micros(at) };
        let recording = Recording::new("haul.wav", None).with_anchors(anchors.iter().map(anchor).collect());
        let groove = Groove::blank(meter, tempo, 2).expect("a groove");
        groove.with_recording(Some(recording)).expect("anchors in order")
    }

    #[test]
    fn one_anchor_keeps_the_written_tempo() {
        let map = AnchorMap::of(&groove(&[(0, 1, 5_000_000)])).expect("an anchor");
        assert_eq!(map.pass_length(), 4_000_000_000);
        assert_eq!(map.recording_time(0), 3_000_000_000);
        assert_eq!(map.recording_time(4_000_000_000), 7_000_000_000);
        assert_eq!(map.score_time(5_500_000_000), 2_500_000_000);
    }

    #[test]
    fn between_anchors_the_map_is_linear_and_outside_it_goes_on() {
        // The first bar takes 2.2 s, the second 1.8 s.
        let map = AnchorMap::of(&groove(&[(0, 0, 1_000_000), (0, 1, 3_200_000), (1, 0, 5_000_000)])).expect("anchors");
        let at = |score| map.recording_time(score) as f64 * 1e-9;
        assert!((at(1_000_000_000) - 2.1).abs() < 1e-9);
        assert!((at(3_000_000_000) - 4.1).abs() < 1e-9);
        assert!((at(-1_000_000_000) + 0.1).abs() < 1e-9);
        assert!((at(6_000_000_000) - 6.8).abs() < 1e-9);
    }

    #[test]
    fn anchors_outside_the_groove_are_left_out() {
        let map = AnchorMap::of(&groove(&[(0, 0, 0), (0, 2, 1_000_000), (1, 0, 4_000_000)])).expect("anchors");
        assert_eq!(map.knots(), [(0, 0), (4_000_000_000, 4_000_000_000)]);
        assert_eq!(AnchorMap::of(&groove(&[(0, 9, 0)])), None);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn the_map_rises_and_its_inverse_undoes_it(
            gaps in prop::collection::vec(100_000_i64..4_000_000, 1..9),
            score in 0_i64..30_000_000_000,
        ) {
            let mut at = 0;
            let anchors: Vec<(u32, u32, i64)> = gaps.iter().enumerate().map(|(k, gap)| {
                at += gap;
                (k as u32 / 2, k as u32 % 2, at)
            }).collect();
            let map = AnchorMap::of(&groove(&anchors)).expect("anchors");
            let there = map.recording_time(score);
            // Each way rounds down by less than a nanosecond of its own time.
            prop_assert!((map.score_time(there) - score).abs() <= 41, "{score} {there}");
            prop_assert!(map.recording_time(score + 1_000_000) > there);
        }
    }
}
