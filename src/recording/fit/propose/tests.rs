//! Proposals for performances made from patterns.

use super::*;
use proptest::prelude::*;

/// A generator of uniform numbers from 0 to 1 (Knuth, *The Art of Computer Programming* 2, 3.3.4: MMIX constants).
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with standard deviation 1, as the sum of twelve uniform numbers.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

const KICK: [f64; 3] = [1.0, 0.2, 0.1];
const SNARE: [f64; 3] = [0.3, 0.9, 0.7];
const HAT: [f64; 3] = [0.02, 0.15, 1.0];
const PLUCK: [f64; 3] = [0.3, 0.8, 0.3];

/// Layers as bands and cells, `x` an attack, repeated to about so many seconds.
fn played(layers: &[([f64; 3], &str)], cell: f64, duration: f64, jitter: f64, seed: u64) -> Vec<Onset> {
    let mut random = Random(seed);
    let mut onsets = Vec::new();
    for index in 0..(duration / cell) as usize {
        let mut bands = [0.0; 3];
        for (layer, text) in layers {
            if text.as_bytes()[index % text.len()] == b'x' {
                bands.iter_mut().zip(layer).for_each(|(sum, band)| *sum += band);
            }
        }
        let strength: f64 = bands.iter().sum();
        if strength > 0.0 {
            let seconds = 0.5 + index as f64 * cell + jitter * random.normal();
            onsets.push(Onset { seconds, strength, low: bands[0], mid: bands[1], high: bands[2], ..Onset::default() });
        }
    }
    onsets
}

const PLAIN: [([f64; 3], &str); 3] = [(KICK, "x...x..x"), (SNARE, "..x...x."), (HAT, "x")];

#[test]
fn thirteen_fast_cells_alone_are_heard_at_the_mean_of_their_groups() {
    for seed in 1..9 {
        // Sixteenths at 150: groups of 4, 4 and 5 make 13 cells.
        let onsets = played(&[(PLUCK, "x...x...x....")], 0.1, 40.0, 0.004, seed);
        let proposals = propose(&onsets, Excerpt::Beginning);
        let first = &proposals.list[0];
        assert!((138.3..138.6).contains(&first.rate), "{} with seed {seed}", first.rate);
        assert_eq!(first.meter, Meter::Additive { groups: vec![4, 4, 5], cells: 1 });
        assert!(proposals.remarks.iter().any(|r| matches!(r, Remark::MeanOfGroups { .. })), "{:?}", proposals.remarks);
    }
}

#[test]
fn fours_and_fives_are_told_from_beats_under_fainter_strokes() {
    // Groups of four and five in no order, and the ends of the notes two cells after every other attack.
    let groups = [4, 5, 5, 4, 4, 4, 5, 4, 5, 5, 5, 4, 5, 4, 4, 5, 5, 4, 5, 5, 4, 4, 5, 4, 4, 5, 5, 5, 4, 4, 4, 5];
    let line: String = groups.map(|cells| ["x", &".".repeat(cells - 1)].concat()).concat();
    let rests = |(i, cells): (usize, &usize)| ["..", ["x", "."][i % 2], &".".repeat(cells - 3)].concat();
    let faint: String = groups.iter().enumerate().map(rests).collect();
    let onsets = played(&[(PLUCK, &line), (PLUCK.map(|band| 0.3 * band), &faint)], 0.0915, 40.0, 0.008, 5);
    let remarks = propose(&onsets, Excerpt::Beginning).remarks;
    let rate = remarks.iter().find_map(|remark| match remark {
        Remark::MeanOfGroups { rate } => Some(*rate),
        _ => None,
    });
    assert!(rate.is_some_and(|rate| (rate / (60.0 / 4.5 / 0.0915) - 1.0).abs() < 0.02), "{remarks:?}");
}

#[test]
fn a_plain_pattern_gives_its_beat_bar_and_downbeat() {
    let onsets = played(&PLAIN, 0.3, 30.0, 0.008, 3);
    let proposals = propose(&onsets, Excerpt::Beginning);
    let first = &proposals.list[0];
    assert!((first.rate - 100.0).abs() < 0.3, "{}", first.rate);
    assert_eq!(first.meter, Meter::Even { beats: 4, cells: 2 });
    for (bar, downbeat) in first.downbeats().enumerate() {
        assert!((downbeat - 0.5 - 2.4 * bar as f64).abs() < 0.02, "bar {bar} at {downbeat}");
    }
    assert_eq!(proposals.remarks, []);
}

#[test]
fn seven_cells_of_two_and_three_come_out_as_groups() {
    let onsets = played(&[(KICK, "x......"), (SNARE, "..x.x.."), (HAT, "x")], 0.2, 30.0, 0.006, 5);
    let proposals = propose(&onsets, Excerpt::Beginning);
    let first = &proposals.list[0];
    assert_eq!(first.meter, Meter::Additive { groups: vec![2, 2, 3], cells: 1 });
    assert!((first.rate - 60.0 / (0.2 * 7.0 / 3.0)).abs() < 0.3, "{}", first.rate);
    assert_eq!(first.downbeat, 0);
    let units = first.units();
    assert!(units.windows(2).all(|pair| (pair[1] - pair[0] - 0.2).abs() < 0.01), "{units:?}");
}

#[test]
fn without_a_pulse_it_says_so() {
    for onsets in [Vec::new(), played(&PLAIN, 0.3, 1.0, 0.0, 1)] {
        let proposals = propose(&onsets, Excerpt::Beginning);
        assert_eq!(proposals, Proposals { list: Vec::new(), remarks: vec![Remark::NoPulse] });
    }
}

#[test]
fn equal_and_faulty_onsets_do_no_harm() {
    let same = vec![Onset { seconds: 1.0, strength: 1.0, low: 1.0, mid: 1.0, high: 1.0, ..Onset::default() }; 40];
    propose(&same, Excerpt::Beginning);
    let silent: Vec<Onset> = (0..60).map(|i| Onset { seconds: f64::from(i) * 0.4, ..Onset::default() }).collect();
    propose(&silent, Excerpt::Middle);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]

    /// Scaling the strengths or moving the recording in time changes neither rates nor meters.
    #[test]
    fn loudness_and_start_do_not_matter(seed in 1..u64::MAX, gain in 0.01..50.0_f64, delay in 0.0..100.0_f64) {
        let onsets = played(&PLAIN, 0.27, 20.0, 0.008, seed);
        let moved: Vec<Onset> = onsets
            .iter()
            .map(|o| Onset {
                seconds: o.seconds + delay,
                strength: o.strength * gain,
                low: o.low * gain,
                mid: o.mid * gain,
                high: o.high * gain,
                ..*o
            })
            .collect();
        let (a, b) = (propose(&onsets, Excerpt::Beginning), propose(&moved, Excerpt::Beginning));
        let (a, b) = (&a.list[0], &b.list[0]);
        prop_assert_eq!(&a.meter, &b.meter);
        prop_assert!((a.rate - b.rate).abs() < 0.05, "{} and {}", a.rate, b.rate);
        prop_assert!((a.beats[0] + delay - b.beats[0]).abs() < 0.003);
    }

    /// Shares are a distribution over a list in which nothing comes twice, and beats ascend within the recording.
    #[test]
    fn the_list_is_sound(cell in 0.08..0.5_f64, jitter in 0.0..0.02_f64, seed in 1..u64::MAX, pattern in "[x.]{3,16}") {
        let onsets = played(&[(SNARE, &pattern), (HAT, "x.")], cell, 25.0, jitter, seed);
        let proposals = propose(&onsets, Excerpt::Beginning);
        prop_assert!(proposals.list.len() <= 6);
        prop_assume!(!proposals.list.is_empty());
        // No tempo takes the head of the list with its double and half, unless no other is likely.
        let is_of_first = |p: &Proposal| {
            let ratio = p.rate / proposals.list[0].rate;
            [0.5, 1.0, 2.0].iter().any(|family| (ratio / family - 1.0).abs() < 0.02)
        };
        let head = proposals.list.iter().take(3).filter(|p| is_of_first(p)).count();
        let is_unlikely = |p: &Proposal| p.share < 0.05 * proposals.list[0].share;
        let rates: Vec<(f64, f64)> = proposals.list.iter().map(|p| (p.rate, p.share)).collect();
        prop_assert!(head < 3 || proposals.list.iter().all(|p| is_of_first(p) || is_unlikely(p)), "{rates:?}");
        let sum: f64 = proposals.list.iter().map(|p| p.share).sum();
        prop_assert!((sum - 1.0).abs() < 1e-9);
        for p in &proposals.list {
            prop_assert!(p.beats.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", p.beats);
            prop_assert!(p.downbeat < p.meter.bar());
            prop_assert!(p.beats[0] > onsets[0].seconds - 0.2 && p.beats.last() < Some(&26.0));
            prop_assert!(p.share <= proposals.list[0].share);
        }
    }
}
