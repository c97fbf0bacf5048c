//! Alignments as a whole, of performances made from a groove.

use proptest::prelude::*;

use super::{Adjustment, AlignError, Alignment, Pin, Remark, ScoreAttack, ScoreLayer, ScoreLoop, adjust, adopt, align};
use crate::recording::fit::onset::Onset;

/// Rows of cells: `X` accented, `x` plain, `o` ghost.
fn rows(rows: &[(&str, [f64; 3])], cells_per_bar: usize) -> ScoreLoop {
    const CELL: f64 = 0.14;
    let cells = rows[0].0.len();
    let layer = |(text, bands): &(&str, [f64; 3])| {
        let weight = |c| match c {
            'X' => Some(1.0),
            'x' => Some(0.6),
            'o' => Some(0.25),
            _ => None,
        };
        let attack = |(i, c)| weight(c).map(|weight| ScoreAttack { seconds: i as f64 * CELL, weight });
        ScoreLayer { attacks: text.chars().enumerate().filter_map(attack).collect(), bands: Some(*bands) }
    };
    let every = |n: usize| (0..cells).step_by(n).map(|i| i as f64 * CELL).collect::<Vec<_>>();
    ScoreLoop {
        layers: rows.iter().map(layer).collect(),
        length: cells as f64 * CELL,
        bars: every(cells_per_bar),
        beats: every(4),
    }
}

const LOW: [f64; 3] = [1.0, 0.2, 0.1];
const MID: [f64; 3] = [0.3, 0.9, 0.7];
const HIGH: [f64; 3] = [0.02, 0.15, 1.0];

/// Two bars that differ in one stroke.
fn mooring() -> ScoreLoop {
    rows(
        &[
            ("X.....x.X...x...X.....x...x.x...", LOW),
            ("....X.......X.......X.......X..x", MID),
            ("x.o.x.o.x.o.x.o.x.o.x.o.x.o.x.o.", HIGH),
        ],
        16,
    )
}

/// Normal numbers that are the same for the same seed (Box and Muller 1958, from a linear congruential generator).
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// How a groove is played.
struct Performance {
    /// Seconds of the first stroke and seconds per score second.
    start: f64,
    rate: f64,
    /// Score time of the first stroke, and how much of it is played.
    from: f64,
    length: f64,
    jitter: f64,
    missing: f64,
}

impl Performance {
    fn seconds(&self, score: f64) -> f64 {
        self.start + (score - self.from) * self.rate
    }

    fn onsets(&self, score: &ScoreLoop, seed: u64) -> Vec<Onset> {
        let mut noise = Noise(seed);
        let mut strokes: Vec<Onset> = Vec::new();
        let passes = ((self.from + self.length) / score.length).ceil() as usize;
        for layer in &score.layers {
            let bands = layer.bands.unwrap_or(MID);
            for pass in 0..passes {
                for a in &layer.attacks {
                    let at = a.seconds + pass as f64 * score.length;
                    let is_played = at > self.from - 1e-9 && at < self.from + self.length - 1e-9;
                    if !is_played || noise.uniform() < self.missing {
                        continue;
                    }
                    let strength = a.weight * (0.15 * noise.normal()).exp();
                    let [low, mid, high] = bands.map(|b| b * strength);
                    let seconds = self.seconds(at) + self.jitter * noise.normal();
                    strokes.push(Onset { seconds, strength, low, mid, high, ..Onset::default() });
                }
            }
        }
        merged(strokes)
    }
}

/// Strokes nearer than 25 ms are one onset.
fn merged(mut strokes: Vec<Onset>) -> Vec<Onset> {
    strokes.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
    let groups = strokes.chunk_by(|a, b| b.seconds - a.seconds < 0.025);
    let sum = |g: &[Onset], of: fn(&Onset) -> f64| g.iter().map(of).sum::<f64>();
    groups
        .map(|g| {
            let strength = sum(g, |o| o.strength);
            Onset {
                seconds: sum(g, |o| o.seconds * o.strength) / strength,
                strength,
                low: sum(g, |o| o.low),
                mid: sum(g, |o| o.mid),
                high: sum(g, |o| o.high),
                ..Onset::default()
            }
        })
        .collect()
}

fn plain(from: f64, length: f64) -> Performance {
    Performance { start: 1.7, rate: 1.0, from, length, jitter: 0.005, missing: 0.05 }
}

fn assert_anchors(found: &Alignment, score: &ScoreLoop, played: &Performance, within: f64) {
    assert!(!found.anchors.is_empty());
    for a in &found.anchors {
        let expected = played.seconds(a.pass as f64 * score.length + score.bars[a.bar]);
        assert!((a.seconds - expected).abs() < within, "{a:?}: expected {expected}");
    }
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]

    #[test]
    fn anchors_of_an_even_performance_are_within_eight_milliseconds(seed: u64, rate in 0.75..1.33f64, start in 0.0..20.0f64) {
        let score = mooring();
        let played = Performance { start, rate, ..plain(0.0, 6.0 * score.length) };
        let found = align(&score, &played.onsets(&score, seed), 1.0).expect("enough onsets");
        assert_anchors(&found, &score, &played, 0.008);
        prop_assert_eq!(found.anchors[0].bar, 0);
        prop_assert!((found.rate / rate - 1.0).abs() < 0.002);
        prop_assert!(!found.is_ambiguous(), "{:?}", found.remarks);
    }

    #[test]
    fn a_hint_of_half_or_double_tempo_gives_the_same_anchors(seed: u64) {
        let score = mooring();
        let played = plain(0.0, 6.0 * score.length);
        let onsets = played.onsets(&score, seed);
        let anchors = |hint| align(&score, &onsets, hint).expect("enough onsets").anchors;
        prop_assert_eq!(anchors(1.0), anchors(2.0));
        prop_assert_eq!(anchors(1.0), anchors(0.5));
    }

    #[test]
    fn every_onset_and_stroke_is_told_once(seed: u64, missing in 0.0..0.3f64) {
        let score = mooring();
        let played = Performance { missing, jitter: 0.012, ..plain(0.0, 4.0 * score.length) };
        let onsets = played.onsets(&score, seed);
        let found = align(&score, &onsets, 1.0).expect("enough onsets");
        let inside = onsets.iter().filter(|o| (found.range.0..=found.range.1).contains(&o.seconds)).count();
        prop_assert_eq!(found.hits.len() + found.extra.len(), inside);
        let mut heard: Vec<usize> = found.hits.iter().map(|h| h.onset).chain(found.extra.iter().copied()).collect();
        heard.sort_unstable();
        heard.dedup();
        prop_assert_eq!(heard.len(), inside);
        for h in &found.hits {
            prop_assert!((onsets[h.onset].seconds - found.clock.seconds(h.score) - h.deviation).abs() < 1e-9);
        }
    }
}

#[test]
fn a_performance_from_the_second_bar_is_told_so() {
    let score = mooring();
    let played = plain(score.bars[1], 5.5 * score.length);
    let found = align(&score, &played.onsets(&score, 11), 1.0).expect("enough onsets");
    assert_eq!((found.anchors[0].bar, found.anchors[0].pass), (1, 0));
    assert_anchors(&found, &score, &played, 0.008);
}

#[test]
fn a_groove_of_equal_halves_reports_its_copies_and_counts_from_the_first() {
    let half = "X..x..x.x.o.x...";
    let score = rows(&[(&half.repeat(2), MID)], 16);
    let played = plain(score.bars[1], 6.0 * score.length);
    let found = align(&score, &played.onsets(&score, 3), 1.0).expect("enough onsets");
    assert!(matches!(found.remarks[0], Remark::Copies { count: 2, period } if (period - 2.24).abs() < 1e-9));
    assert_eq!((found.anchors[0].bar, found.anchors[0].pass), (0, 0));
    assert!(!found.is_ambiguous(), "{:?}", found.remarks);
}

#[test]
fn a_first_stroke_after_the_bar_line_extrapolates_the_anchor() {
    let score = rows(&[("..X.x...X..xx...", MID), ("....x.x.....o.x.", HIGH)], 16);
    let played = plain(0.0, 8.0 * score.length);
    let found = align(&score, &played.onsets(&score, 5), 1.0).expect("enough onsets");
    assert!(found.anchors[0].is_extrapolated);
    assert!(found.remarks.contains(&Remark::FirstAnchorExtrapolated));
    assert_anchors(&found, &score, &played, 0.01);
}

#[test]
fn an_alternative_can_be_adopted_and_given_back() {
    let score = mooring();
    let played = plain(0.0, 5.0 * score.length);
    let onsets = played.onsets(&score, 7);
    let found = align(&score, &onsets, 1.0).expect("enough onsets");
    let shifted = found.alternatives.iter().position(|a| (a.ratio - 1.0).abs() < 0.01).expect("a shift");
    let other = adopt(&score, &onsets, &found, shifted).expect("an alternative");
    let shift = found.alternatives[shifted].shift;
    let off = |s: f64| s - (s / score.length).round() * score.length;
    let middle = f64::midpoint(found.range.0, found.range.1);
    assert!(off(other.clock.score(middle) - found.clock.score(middle) - shift).abs() < 0.05);
    assert!(other.gap < 0.0 && other.is_ambiguous());
    let back = other.alternatives.iter().position(|a| a.gap < 0.0).expect("the best one");
    let again = adopt(&score, &onsets, &other, back).expect("an alternative");
    assert_eq!(again.anchors.len(), found.anchors.len());
    assert_anchors(&again, &score, &played, 0.008);
    assert_eq!(adopt(&score, &onsets, &found, 99), Err(AlignError::NotFound));
}

#[test]
fn a_moved_anchor_draws_the_clock_and_a_moved_end_ends_it() {
    let score = mooring();
    let played = plain(0.0, 6.0 * score.length);
    let onsets = played.onsets(&score, 9);
    let found = align(&score, &onsets, 1.0).expect("enough onsets");
    let anchor = found.anchors[4];
    let pins = vec![Pin { score: anchor.score, seconds: anchor.seconds + 0.02 }];
    let (from, to) = (Some(found.anchors[2].seconds - 0.05), Some(found.anchors[8].seconds - 0.05));
    let moved = adjust(&score, &onsets, &found, &Adjustment { pins, from, to }).expect("enough strokes");
    // The first time through was cut off: counting begins with the second.
    let by = moved.clock.seconds(anchor.score - score.length) - anchor.seconds;
    assert!(by > 0.008 && by < 0.021, "{by}");
    assert!(moved.range.0 >= from.expect("set") && moved.range.1 <= to.expect("set"));
    assert_eq!(moved.anchors[0].bar, 0);
}

#[test]
fn too_little_is_refused_with_numbers() {
    let score = mooring();
    let onset = |i: u32| Onset { seconds: f64::from(i), strength: 1.0, ..Onset::default() };
    let few: Vec<Onset> = (0..5).map(onset).collect();
    assert_eq!(align(&score, &few, 1.0), Err(AlignError::TooFewOnsets { found: 5, expected: 6 }));
    let many: Vec<Onset> = (0..50).map(onset).collect();
    let empty = ScoreLoop { length: 2.0, ..ScoreLoop::default() };
    assert_eq!(align(&empty, &many, 1.0), Err(AlignError::TooFewEvents { found: 0, expected: 2 }));
    assert_eq!(
        align(&empty, &many, 1.0).map_err(|e| e.to_string()),
        Err("expected a groove with at least 2 strokes, found 0".to_owned())
    );
}

#[test]
fn few_strokes_and_other_music_are_said() {
    let score = mooring();
    let mut noise = Noise(21);
    let strokes: Vec<Onset> = (0..60)
        .map(|_| {
            let seconds = 30.0 * noise.uniform();
            Onset {
                seconds,
                strength: 1.0,
                low: noise.uniform(),
                mid: noise.uniform(),
                high: noise.uniform(),
                ..Onset::default()
            }
        })
        .collect();
    if let Ok(found) = align(&score, &merged(strokes), 1.0) {
        assert!(found.is_ambiguous(), "{:?}", found.remarks);
        assert!(found.confidence < 0.9);
    }
}

#[test]
fn layers_that_could_change_places_are_told_apart_by_their_sounds() {
    let score = rows(&[("x.......x.......", LOW), ("....x.......x...", MID)], 16);
    let played = plain(0.0, 8.0 * score.length);
    let found = align(&score, &played.onsets(&score, 13), 1.0).expect("enough onsets");
    assert_anchors(&found, &score, &played, 0.008);
    assert!(found.gap > 12.0, "{}", found.gap);
}

#[test]
fn of_other_sounds_on_the_same_pulse_before_the_groove_less_than_two_passes_are_taken_for_it() {
    let score = mooring();
    let played = Performance { start: 9.0, ..plain(0.0, 6.0 * score.length) };
    let mut onsets: Vec<Onset> = (1..=28)
        .map(|i| {
            let seconds = 9.0 - f64::from(i) * 0.28;
            Onset { seconds, strength: 0.6, low: 0.1, mid: 0.6, high: 0.05, ..Onset::default() }
        })
        .collect();
    onsets.reverse();
    onsets.extend(played.onsets(&score, 17));
    let found = align(&score, &onsets, 1.0).expect("enough onsets");
    // Pulse and density agree, so that a pass with half of its strokes may look like the groove; the two there are must not.
    assert!(found.anchors[0].seconds > 9.0 - score.length - 0.3, "{:?}", found.anchors[0]);
    assert_eq!(found.anchors[0].bar, 0);
}
