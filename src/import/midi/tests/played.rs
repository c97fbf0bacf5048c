//! Tests of quantizing played onsets.

use super::{file, import_with_tolerance, sounding, with_end};
use crate::import::Imported;
use crate::rhythm::{Fraction, Part, Time};
use proptest::prelude::*;

/// A file of 480 ticks per quarter at 120 with these onsets of one key, each so many ticks long.
fn played(channel: u8, key: u8, onsets: &[u64], length: u64) -> Vec<u8> {
    let mut events: Vec<(u64, [u8; 3])> = Vec::new();
    for at in onsets {
        events.push((*at, [0x90 | channel, key, 80]));
        events.push((at + length, [0x80 | channel, key, 64]));
    }
    events.sort_by_key(|e| (e.0, e.1[0] & 0x10));
    let (mut track, mut now) = (Vec::new(), 0);
    for (at, event) in events {
        let step = at - now;
        let sevens = [step >> 14, step >> 7, step].map(|s| (s & 127) as u8);
        track.extend([sevens[0] | 128, sevens[1] | 128, sevens[2]]);
        track.extend(event);
        now = at;
    }
    file(0, [1, 224], &[&with_end(&track)])
}

fn import_played(bytes: &[u8], tolerance: i32) -> Imported {
    import_with_tolerance(bytes, Fraction::whole(tolerance)).unwrap_or_else(|e| panic!("{e}"))
}

/// Onsets of every layer in 480ths of a quarter.
fn ticks(imported: &Imported) -> Vec<Vec<i64>> {
    let tick = |t: Time| t.ratio_to(Time::new(1, 1920).expect("a tick")).expect("bounded").floor();
    sounding(&imported.groove).iter().map(|l| l.iter().map(|n| tick(n.start)).collect()).collect()
}

/// Every number of cells that a span of the first layer has, with the beats it lasts.
fn grids(imported: &Imported) -> Vec<(u16, u16)> {
    let layer = &imported.groove.layers()[0];
    let mut all: Vec<(u16, u16)> = Vec::new();
    for part in &layer.parts {
        if let Part::Barred { spans, .. } = &**part {
            all.extend(spans.iter().map(|s| (s.beats, s.cells)));
        }
    }
    all.sort_unstable();
    all.dedup();
    all
}

/// Numbers from -1 to 1 that look random, always the same.
fn noise(mut seed: u32) -> impl Iterator<Item = f64> {
    std::iter::repeat_with(move || {
        // Numerical Recipes' generator; its upper bits are the better ones.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / f64::from(1_u32 << 23) - 1.0
    })
}

#[test]
fn a_note_early_on_a_beat_makes_no_second_layer() {
    for (channel, key) in [(9, 38), (0, 60)] {
        for second in [470, 476, 479, 480, 484] {
            for length in [30, 50, 100] {
                let imported = import_played(&played(channel, key, &[0, second, 600, 720, 840], length), 15);
                assert_eq!(ticks(&imported), [[0, 480, 600, 720, 840]], "{channel} {second} {length}");
            }
        }
    }
    // The same at the end of a bar, and with the usual tolerance.
    for (channel, key) in [(9, 38), (0, 60)] {
        let imported = import_played(&played(channel, key, &[0, 476, 600, 1440, 1917, 2040], 50), super::TOLERANCE_MS);
        assert_eq!(ticks(&imported), [[0, 480, 600, 1440, 1920, 2040]], "{channel}");
    }
}

#[test]
fn a_note_early_on_the_line_after_the_last_bar_is_kept() {
    let imported = import_played(&played(9, 38, &[0, 480, 960, 1440, 1917], 50), 5);
    assert_eq!(ticks(&imported), [[0, 480, 960, 1440, 1920]], "{:?}", imported.warnings);
    assert_eq!(imported.groove.sections()[0].bars, 2);
}

#[test]
fn sixteenths_played_by_hand_stay_sixteenths_whatever_the_tolerance() {
    for seed in 0..12 {
        // Normal enough: the mean of six even ones, its spread brought to 10 ms.
        let mut random = noise(seed);
        let mut off = || random.by_ref().take(6).sum::<f64>() * 10.0 * 0.707;
        let meant: Vec<i64> = (0..64).map(|i| 960 + i * 120).collect();
        let onsets: Vec<u64> = meant.iter().map(|t| (*t as f64 + off() * 0.96).round() as u64).collect();
        for (channel, key) in [(9, 42), (0, 60)] {
            for tolerance in [5, 10, 20, 30, 40, 60, 100] {
                let imported = import_played(&played(channel, key, &onsets, 60), tolerance);
                assert_eq!(ticks(&imported), std::slice::from_ref(&meant), "seed {seed}, tolerance {tolerance}");
                assert_eq!(grids(&imported), [(1, 4)], "seed {seed}, tolerance {tolerance}");
            }
        }
    }
}

#[test]
fn what_lies_beyond_the_tolerance_is_counted_and_the_tolerance_that_reaches_it_is_told() {
    let onsets: Vec<u64> = (0..32).map(|i| i * 120 + if i == 5 { 11 } else { i % 3 }).collect();
    let bytes = played(9, 42, &onsets, 60);
    let words = |tolerance| import_played(&bytes, tolerance).warnings;
    assert_eq!(
        words(5).last().map(String::as_str),
        Some(
            "tolerance: 1 onset outside the tolerance of 5 ms; the farthest is 11.46 ms from its cell: try a tolerance of 12 ms"
        )
    );
    assert!(words(12).iter().all(|w| !w.starts_with("tolerance")), "{:?}", words(12));
    // How long a drum is held says nothing.
    assert!(words(5).iter().all(|w| !w.contains("rounded to whole cells")), "{:?}", words(5));
}

#[test]
fn tuplets_played_by_hand_are_found() {
    for (beats, cells) in [(1_u64, 5_u64), (1, 7), (2, 5), (4, 13)] {
        let mut random = noise(7);
        let meant: Vec<u64> = (0..8 / beats * cells).map(|c| 960 + c * 480 * beats / cells).collect();
        let by_hand = |t: &u64| (*t as f64 + 4.0 * 0.96 * random.next().expect("no end")).round() as u64;
        let imported = import_played(&played(0, 60, &meant.iter().map(by_hand).collect::<Vec<_>>(), 20), 5);
        let meant: Vec<i64> = meant.into_iter().map(|t| t as i64).collect();
        assert_eq!(ticks(&imported), [meant], "{cells} in {beats}: {:?}", grids(&imported));
    }
}

/// The events before the notes of a file with this meter.
fn metered(upper: u8, power: u8, onsets: &[u64]) -> Vec<u8> {
    let bytes = played(0, 60, onsets, 20);
    let meter = [0, 0xff, 0x58, 4, upper, power, 24, 8];
    let at = 14 + 8;
    file(0, [1, 224], &[&[&meter[..], &bytes[at..]].concat()])
}

/// Cells per quarter bound the grid: the beat of 6/4 is a dotted half, with 24 thirty-seconds.
#[test]
fn long_beats_keep_their_thirty_seconds() {
    for (upper, power, cell, division) in [(6, 2, 60, 24), (6, 3, 60, 12), (3, 1, 60, 16), (6, 2, 40, 36)] {
        let quarters = (u64::from(upper) * 4) >> power;
        let meant: Vec<u64> = (0..2 * quarters * 480 / cell).map(|i| i * cell).collect();
        let imported = import_played(&metered(upper, power, &meant), 5);
        let expected: Vec<i64> = meant.iter().map(|t| *t as i64).collect();
        assert_eq!(ticks(&imported), [expected], "{upper}/2^{power}");
        assert_eq!(grids(&imported), [(1, division)], "{upper}/2^{power}");
        // The same played by hand.
        let mut random = noise(3);
        let by_hand = |t: &u64| (*t as f64 + 960.0 + 4.0 * random.next().expect("no end")).round() as u64;
        let imported = import_played(&metered(upper, power, &meant.iter().map(by_hand).collect::<Vec<_>>()), 5);
        let expected: Vec<i64> = meant.iter().map(|t| *t as i64 + 960).collect();
        assert_eq!(ticks(&imported), [expected], "{upper}/2^{power} by hand");
    }
}

#[test]
fn exact_bars_stay_exact_in_a_track_that_is_played() {
    // Quintuplets, sevens in two beats and thirty-seconds that no simple grid within 20 ms has, then two bars by hand.
    let exact = (0..20).map(|i| i * 96).chain((0..14).map(|i| 1920 + (i * 960 + 3) / 7));
    let exact: Vec<u64> = exact.chain((0..32).map(|i| 3840 + i * 60)).collect();
    let mut random = noise(5);
    let by_hand =
        (1..32).map(|i| (5760.0 + f64::from(i) * 120.0 + 9.0 * random.next().expect("no end")).round() as u64);
    let onsets: Vec<u64> = exact.iter().copied().chain(by_hand).collect();
    for tolerance in [5, 20, 60] {
        let layers = ticks(&import_played(&played(0, 60, &onsets, 20), tolerance));
        let expected: Vec<i64> = exact.iter().map(|t| *t as i64).collect();
        assert_eq!(layers.len(), 1, "tolerance {tolerance}");
        let off = layers[0].iter().zip(&expected).map(|(a, b)| (a - b).abs()).max();
        // A seventh of two beats is 137 1/7 ticks, which the file rounds.
        assert!(off <= Some(1), "tolerance {tolerance}: {off:?}");
        let meant: Vec<i64> = (1..32).map(|i| 5760 + i * 120).collect();
        assert_eq!(layers[0][exact.len()..], meant, "tolerance {tolerance}");
    }
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(300))]

    /// What cannot stay where it is refuses the file.
    #[test]
    fn a_tolerance_of_0_moves_no_onset(
        step in prop::sample::select(vec![1_u64, 2, 5, 10, 30, 40, 96]), rows in prop::collection::vec(0_u64..400, 1..40), drum in any::<bool>(), length in 1_u64..90,
    ) {
        let onsets: Vec<u64> = rows.iter().map(|r| r * step).collect::<std::collections::BTreeSet<_>>().into_iter().collect();
        let bytes = played(if drum { 9 } else { 0 }, 42, &onsets, length);
        match import_with_tolerance(&bytes, Fraction::ZERO) {
            Ok(imported) => {
                let mut all = ticks(&imported).concat();
                all.sort_unstable();
                prop_assert_eq!(all, onsets.iter().map(|t| *t as i64).collect::<Vec<_>>());
                prop_assert!(imported.warnings.iter().all(|w| !w.contains("moved")), "{:?}", imported.warnings);
            }
            Err(error) => {
                prop_assert!(error.message.contains("exactly; try a tolerance of 5 ms"), "{}", error);
                // A groove has up to 64 cells in a beat.
                prop_assert!(step < 10, "{}", error);
                prop_assert!(import_with_tolerance(&bytes, Fraction::whole(5)).is_ok());
            }
        }
    }

    /// One note after the other, each up to a third of a cell early or late.
    #[test]
    fn a_line_stays_one_layer_with_all_its_attacks(
        cells in 1_u64..=4, rows in prop::collection::vec((any::<bool>(), -1.0_f64..1.0), 8..64), drum in any::<bool>(), length in 1_u64..40,
    ) {
        let cell = 480 / cells;
        // In ticks; the greatest tolerance is 100 ms.
        let most = (cell as f64 / 3.0).min(95.0);
        let place = |(i, r): (usize, &(bool, f64))| {
            let late = (r.1 * most).trunc() as i64;
            r.0.then(|| (960 + i as i64 * cell as i64 + late) as u64)
        };
        let onsets: Vec<u64> = rows.iter().enumerate().filter_map(place).collect();
        prop_assume!(!onsets.is_empty());
        let tolerance = (most / 0.96).ceil() as i32;
        let imported = import_played(&played(if drum { 9 } else { 0 }, 42, &onsets, length), tolerance);
        let layers = ticks(&imported);
        prop_assert_eq!(layers.len(), 1, "{:?} {:?}", &onsets, imported.warnings);
        prop_assert_eq!(layers[0].len(), onsets.len());
        for (got, meant) in layers[0].iter().zip(&onsets) {
            prop_assert!((*got as f64 - *meant as f64).abs() <= f64::from(tolerance) * 0.96 + 1.0, "{} {}", got, meant);
        }
    }
}
