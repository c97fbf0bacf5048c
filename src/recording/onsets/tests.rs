//! Tests of the detection as a whole: against the reference, on made-up strokes, and on damaged sound.

use super::*;
use proptest::prelude::*;
use std::cell::Cell;
use std::path::{Path, PathBuf};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/onsets").join(name)
}

/// A WAV file of 16 bits in one channel, with a header of 44 bytes.
fn wav(name: &str) -> (Vec<f32>, u32) {
    let bytes = std::fs::read(data(name)).expect("a file of the repository");
    let rate = u32::from_le_bytes(bytes[24..28].try_into().expect("four bytes"));
    let samples = bytes[44..].as_chunks::<2>().0;
    (samples.iter().map(|b| f32::from(i16::from_le_bytes(*b)) / 32_768.0).collect(), rate)
}

fn table(name: &str) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(data(name)).expect("a file of the repository");
    let row = |line: &str| line.split('\t').map(|v| v.parse().expect("a number")).collect();
    text.lines().filter(|l| !l.starts_with('#')).map(row).collect()
}

fn find(sound: &dyn Mono, rate: u32, threshold: f32) -> Vec<Onset> {
    onsets(sound, rate, threshold, &mut |_| true).expect("not cancelled")
}

/// What strikes: a low drum, a wooden block, or a burst of noise.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Stroke {
    Drum,
    Block,
    Noise,
}

const STROKES: [Stroke; 3] = [Stroke::Drum, Stroke::Block, Stroke::Noise];

/// Strokes at times in seconds with amplitudes, followed by half a second of silence; a whole number of blocks of 20 ms.
fn strokes(rate: u32, times: &[(f64, Stroke, f64)]) -> Vec<f32> {
    let end = times.iter().map(|t| t.0).fold(0.0, f64::max) + 0.8;
    let block = rate as usize / 50;
    let mut sound = vec![0.0_f64; (end * f64::from(rate)) as usize / block * block];
    let mut state = 7_u32;
    for &(time, stroke, amplitude) in times {
        let first = (time * f64::from(rate)).round() as usize;
        let length = rate as usize * 3 / 10;
        for i in 0..length {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state >> 8) / 8_388_608.0 - 1.0;
            let t = i as f64 / f64::from(rate);
            let value = match stroke {
                Stroke::Drum => (400.0 * t + 3.0 * (1.0 - (-30.0 * t).exp())).sin() * (-12.0 * t).exp(),
                Stroke::Block => (9_000.0 * t).sin() * (-120.0 * t).exp() + 0.3 * noise * (-700.0 * t).exp(),
                Stroke::Noise => noise * (-60.0 * t).exp(),
            };
            // The tail fades to zero: a cut would be a change of its own.
            sound[first + i] += amplitude * value * (1.0 - i as f64 / length as f64);
        }
    }
    sound.into_iter().map(|x| (0.3 * x) as f32).collect()
}

/// A figure of 13 cells grouped 4+4+5 from 0.3 s, by the three strokes in turn.
fn figure(rate: u32, cell: f64) -> (Vec<f32>, Vec<f64>) {
    let cells = [0, 1, 3, 4, 6, 8, 9, 11];
    let strokes_at = |(i, c): (usize, &u32)| (0.3 + cell * f64::from(*c), STROKES[i % 3], 1.0 - 0.07 * i as f64);
    let times: Vec<_> = cells.iter().enumerate().map(strokes_at).collect();
    (strokes(rate, &times), times.iter().map(|t| t.0).collect())
}

/// `candidates.tsv` does not depend on the weights of the network; `tests/onsets/reference.py` writes `confidence.tsv`.
#[test]
fn changes_and_onsets_are_those_of_the_reference() {
    let (sound, rate) = wav("reference.wav");
    let mut signal = Signal::new(&sound, rate);
    let found = changes(&mut signal, &mut Progress::new(&mut |_| true)).expect("not cancelled");
    let scored = score(&found, signal.seconds());
    let (expected, confidences) = (table("candidates.tsv"), table("confidence.tsv"));
    assert_eq!((found.len(), found.len()), (expected.len(), confidences.len()));
    let mut envelopes = Envelopes::new(signal.rate(), 2 * long_size(signal.rate()));
    for (change, row) in found.iter().zip(&expected) {
        let time = change.time;
        assert!((time - row[0]).abs() < 5e-5, "{time} {}", row[0]);
        for (i, (feature, expected)) in change.features.iter().zip(&row[1..]).enumerate() {
            assert!((feature - expected).abs() < 1e-3, "feature {i} at {time}: {feature} {expected}");
        }
        let strength = describe::strength(&mut envelopes, &mut signal, time);
        assert!((describe::attack(&mut signal, time) - row[27]).abs() < 5e-5, "{time}");
        let levels = [strength.all, strength.low, strength.mid, strength.high];
        for (level, expected) in levels.into_iter().zip(&row[28..]) {
            // Bands without sound end at another level.
            assert!((level - expected).abs() < 0.01 || *expected < -55.0, "{time}: {strength:?} {row:?}");
        }
    }
    for (scored, row) in scored.iter().zip(&confidences) {
        let is_cut = row[0] > signal.seconds() - MIN_REST;
        let expected = if is_cut { 0.0 } else { row[1] };
        assert!((scored.confidence - expected).abs() < 1e-4, "{scored:?} {row:?}");
    }
    let kept: Vec<f64> = confidences.iter().filter(|row| row[2] == 1.0).map(|row| row[0]).collect();
    let found = find(&sound, rate, DEFAULT_THRESHOLD);
    assert_eq!(found.len(), kept.len());
    assert!(found.iter().zip(&kept).all(|(onset, time)| (onset.seconds - time).abs() < 5e-5), "{found:?} {kept:?}");
}

#[test]
fn strokes_are_found_where_they_begin_at_every_rate() {
    for (rate, tolerance) in [(8_000, 0.003), (22_050, 0.002), (44_100, 0.002), (48_000, 0.002), (96_000, 0.002)] {
        let (sound, expected) = figure(rate, 0.12);
        let found = find(&sound, rate, DEFAULT_THRESHOLD);
        assert_eq!(found.len(), expected.len(), "{rate} Hz: {found:?}");
        for (onset, time) in found.iter().zip(&expected) {
            assert!((onset.seconds - time).abs() < tolerance, "{rate} Hz: {onset:?} {time}");
            assert!(onset.attack >= onset.seconds && onset.attack < time + 0.01, "{rate} Hz: {onset:?}");
        }
    }
}

#[test]
fn bands_tell_strokes_apart() {
    let times = STROKES.map(|stroke| (0.3 + 0.4 * f64::from(stroke as u8), stroke, 1.0));
    let found = find(&strokes(44_100, &times), 44_100, DEFAULT_THRESHOLD);
    let [drum, block, noise] = found[..] else { panic!("{found:?}") };
    assert!(drum.low_db > drum.mid_db + 8.0 && drum.low_db > drum.high_db + 8.0, "{drum:?}");
    assert!(block.mid_db > block.low_db + 8.0 && block.mid_db > block.high_db, "{block:?}");
    assert!(noise.high_db > noise.mid_db + 2.0 && noise.high_db > noise.low_db + 8.0, "{noise:?}");
    assert!(found.iter().all(|o| o.strength_db >= o.low_db.max(o.mid_db).max(o.high_db)));
}

#[test]
fn the_most_certain_of_near_changes_is_kept() {
    let scored = |(time, confidence)| Scored { time, confidence };
    let changes = [(0.10, 0.5), (0.13, 0.9), (0.16, 0.8), (0.19, 0.6), (0.30, 0.4), (0.32, 0.4)].map(scored);
    let times: Vec<f64> = most_certain(changes.to_vec()).iter().map(|s| s.time).collect();
    assert_eq!(times, [0.13, 0.19, 0.30]);
}

#[test]
fn of_two_strokes_nearer_than_35_ms_one_is_kept() {
    for (gap, expected) in [(0.02, 1), (0.06, 2)] {
        let times = [(0.3, Stroke::Block, 1.0), (0.3 + gap, Stroke::Block, 1.0)];
        assert_eq!(find(&strokes(44_100, &times), 44_100, DEFAULT_THRESHOLD).len(), expected, "{gap}");
    }
}

#[test]
fn sound_without_onsets_has_none() {
    let rate = 44_100;
    let sine: Vec<f32> = (0..rate * 2).map(|i| (i as f32 * 0.05).sin() * (i as f32 / 44_100.0).min(1.0)).collect();
    for sound in [vec![], vec![0.0; 88_200], vec![1e-8; 88_200], vec![f32::NAN; 88_200], vec![0.5; 2_000], sine] {
        assert_eq!(find(&sound, rate, DEFAULT_THRESHOLD), [], "{} samples", sound.len());
    }
}

#[test]
fn samples_that_are_not_finite_count_as_zero() {
    let (mut sound, _) = figure(44_100, 0.12);
    let mut damaged = sound.clone();
    for (i, bad) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY].into_iter().enumerate() {
        sound[9_000 + 7 * i] = 0.0;
        damaged[9_000 + 7 * i] = bad;
    }
    assert_eq!(find(&damaged, 44_100, DEFAULT_THRESHOLD), find(&sound, 44_100, DEFAULT_THRESHOLD));
}

#[test]
fn clipped_strokes_are_found() {
    let (sound, expected) = figure(44_100, 0.12);
    let clipped: Vec<f32> = sound.iter().map(|x| (x * 8.0).clamp(-0.5, 0.5)).collect();
    let found = find(&clipped, 44_100, DEFAULT_THRESHOLD);
    for time in &expected {
        assert!(found.iter().any(|o| (o.seconds - time).abs() < 0.003), "{time}: {found:?}");
    }
}

/// Samples of 16 bits, decoded as they are read; counts the longest piece.
struct Packed {
    samples: Vec<i16>,
    longest: Cell<usize>,
}

impl Mono for Packed {
    fn len(&self) -> usize {
        self.samples.len()
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        self.longest.set(self.longest.get().max(out.len()));
        for (out, sample) in out.iter_mut().zip(&self.samples[from..]) {
            *out = f32::from(*sample) / 32_768.0;
        }
    }
}

#[test]
fn a_sound_is_read_in_short_pieces_and_gives_the_same_each_time() {
    for rate in [44_100, 96_000] {
        let (sound, _) = figure(rate, 0.3);
        let samples: Vec<i16> = sound.iter().map(|x| (x * 32_768.0) as i16).collect();
        let whole: Vec<f32> = samples.iter().map(|s| f32::from(*s) / 32_768.0).collect();
        let packed = Packed { samples, longest: Cell::new(0) };
        let found = find(&packed, rate, 0.2);
        assert_eq!(found, find(&whole, rate, 0.2));
        assert_eq!(found, find(&packed, rate, 0.2));
        assert!(!found.is_empty() && packed.longest.get() < 70_000, "{}", packed.longest.get());
    }
}

#[test]
fn progress_rises_and_a_cancelled_detection_has_no_result() {
    let (sound, _) = figure(44_100, 0.12);
    let mut reports = Vec::new();
    let mut report = |part: f32| {
        reports.push(part);
        true
    };
    onsets(&sound, 44_100, DEFAULT_THRESHOLD, &mut report).expect("not cancelled");
    assert!(reports.is_sorted() && reports[0] == 0.0 && reports[reports.len() - 1] >= 0.95, "{reports:?}");
    for stop in 0..reports.len() {
        let mut calls = 0;
        let mut report = |_| {
            calls += 1;
            calls <= stop
        };
        assert_eq!(onsets(&sound, 44_100, DEFAULT_THRESHOLD, &mut report), None);
        assert_eq!(calls, stop + 1);
    }
    let mut found = find(&sound, 44_100, DEFAULT_THRESHOLD);
    assert!(found.iter().all(|onset| !onset.timbre.is_known()));
    assert_eq!(measure_timbres(&sound, 44_100, &mut found, &|| false), None);
    assert_eq!(measure_timbres(&sound, 44_100, &mut found, &|| true), Some(()));
    assert!(found.iter().all(|onset| onset.timbre.is_known()));
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]

    #[test]
    fn loudness_does_not_matter(cell in 0.08..0.2_f64, decibels in -60.0..20.0_f32) {
        let (sound, _) = figure(44_100, cell);
        let gain = 10.0_f32.powf(decibels / 20.0);
        let other: Vec<f32> = sound.iter().map(|x| x * gain).collect();
        let (found, other) = (find(&sound, 44_100, 0.35), find(&other, 44_100, 0.35));
        prop_assert_eq!(found.len(), other.len());
        for (a, b) in found.iter().zip(&other) {
            // One sample of the envelopes.
            prop_assert!((a.seconds - b.seconds).abs() < 2e-4, "{:?} {:?}", a, b);
            prop_assert!((a.confidence - b.confidence).abs() < 2e-3, "{:?} {:?}", a, b);
            prop_assert!((a.strength_db - b.strength_db).abs() < 0.02, "{:?} {:?}", a, b);
        }
    }

    /// By blocks of the level, which are four frames.
    #[test]
    fn silence_before_shifts_onsets_and_silence_after_changes_nothing(
        cell in 0.08..0.2_f64,
        before in 0..60_usize,
        after in 0..60_usize,
    ) {
        let (sound, _) = figure(48_000, cell);
        let mut longer = vec![0.0; before * 960];
        longer.extend(&sound);
        longer.resize(longer.len() + after * 960, 0.0);
        let shift = before as f64 * 0.02;
        let (found, other) = (find(&sound, 48_000, 0.35), find(&longer, 48_000, 0.35));
        prop_assert_eq!(found.len(), other.len());
        for (a, b) in found.iter().zip(&other) {
            prop_assert!((a.seconds + shift - b.seconds).abs() < 1e-9, "{:?} {:?}", a, b);
            prop_assert!((a.attack + shift - b.attack).abs() < 1.5 / 48_000.0, "{:?} {:?}", a, b);
            prop_assert!((a.confidence - b.confidence).abs() < 1e-6, "{:?} {:?}", a, b);
        }
    }

    #[test]
    fn a_higher_threshold_leaves_out_the_less_certain_ones(low in 0.0..0.5_f32, step in 0.0..0.5_f32) {
        let (sound, rate) = wav("reference.wav");
        let mut found = find(&sound, rate, low);
        found.retain(|o| o.confidence >= low + step);
        prop_assert_eq!(found, find(&sound, rate, low + step));
    }

    #[test]
    fn any_samples_at_any_rate_have_orderly_onsets(
        seed in any::<u32>(),
        len in 0..30_000_usize,
        rate in prop::sample::select(vec![1, 50, 107, 200, 999, 4_000, 8_000, 11_025, 44_100, 60_001, 192_000, 768_000]),
        scale in prop::sample::select(vec![1e-30_f32, 1e-6, 1.0, 1e20, f32::MAX]),
        threshold in prop::sample::select(vec![0.0, 0.35, 1.0, f32::NAN]),
    ) {
        let mut state = seed;
        let mut sample = |i: usize| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (state >> 8) as f32 / 8_388_608.0 - 1.0;
            // Bursts between silences, and now and then bits of any meaning.
            if state.is_multiple_of(997) { f32::from_bits(state) } else if i % 5_000 < 1_500 { noise * scale } else { 0.0 }
        };
        let sound: Vec<f32> = (0..len).map(&mut sample).collect();
        let mut found = find(&sound, rate, threshold);
        measure_timbres(&sound, rate, &mut found, &|| true).expect("not cancelled");
        prop_assert!(found.windows(2).all(|w| w[1].seconds - w[0].seconds > MIN_GAP - 1e-9));
        for o in &found {
            prop_assert!(o.seconds >= 0.0 && o.seconds <= len as f64 / f64::from(rate), "{:?}", o);
            prop_assert!(o.attack >= o.seconds && o.attack < o.seconds + 0.05, "{:?}", o);
            prop_assert!((0.0..=1.0).contains(&o.confidence) && o.confidence >= threshold, "{:?}", o);
            prop_assert!([o.strength_db, o.low_db, o.mid_db, o.high_db].iter().all(|l| l.is_finite()), "{:?}", o);
            let energies = o.timbre.rise.iter().chain(&o.timbre.background);
            prop_assert!(energies.copied().all(|energy| energy >= 0.0 && energy.is_finite()), "{:?}", o);
        }
    }
}
