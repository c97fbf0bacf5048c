//! Tests of stretching with signals built here.

use super::*;
use std::f64::consts::TAU;

const RATE: u32 = 48_000;

#[derive(Clone)]
struct Memory {
    samples: Vec<f32>,
    channels: usize,
}

impl Frames for Memory {
    fn rate(&self) -> u32 {
        RATE
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn len(&self) -> u64 {
        (self.samples.len() / self.channels) as u64
    }

    fn read(&self, start: u64, into: &mut [f32]) -> io::Result<()> {
        let from = start as usize * self.channels;
        into.copy_from_slice(&self.samples[from..from + into.len()]);
        Ok(())
    }
}

/// Strokes that decay, at the given frames, each of another level on the right.
fn strokes(length: usize, places: &[usize]) -> Memory {
    let mut samples = vec![0.0; 2 * length];
    for &place in places {
        for k in 0..7200.min(length - place) {
            let t = k as f64 / f64::from(RATE);
            let x = (0.6 * (-25.0 * t).exp() * (TAU * 700.0 * t).cos()) as f32;
            samples[2 * (place + k)] += x;
            samples[2 * (place + k) + 1] += 0.5 * x;
        }
    }
    Memory { samples, channels: 2 }
}

fn sine(hertz: f64, seconds: f64) -> Memory {
    let frames = (seconds * f64::from(RATE)) as usize;
    let samples = (0..frames).map(|k| (0.5 * (TAU * hertz * k as f64 / f64::from(RATE)).sin()) as f32).collect();
    Memory { samples, channels: 1 }
}

fn all(source: &Memory, region: Range<u64>, settings: &Settings) -> Vec<f32> {
    let mut stretch = Stretch::new(Arc::new(source.clone()), region, settings, &[]).expect("valid settings");
    let (mut output, mut block) = (Vec::new(), vec![0.0; 700 * stretch.channels()]);
    loop {
        let count = stretch.read(&mut block).expect("a readable source");
        if count == 0 {
            assert_eq!(output.len() as u64, stretch.frames() * stretch.channels() as u64);
            return output;
        }
        output.extend_from_slice(&block[..count * stretch.channels()]);
    }
}

fn with(speed: f64) -> Settings {
    Settings { speed, ..Settings::default() }
}

/// The frame in `range` from which on the 2 ms are loudest against the 2 ms before.
fn attack(left: &[f32], range: Range<usize>) -> usize {
    let energy = |of: &[f32]| of.iter().map(|x| x * x).sum::<f32>() + 1e-4;
    let ratio = |k: &usize| energy(&left[*k..*k + 96]) / energy(&left[*k - 96..*k]);
    range.max_by(|a, b| ratio(a).total_cmp(&ratio(b))).expect("a range")
}

/// The frequency by the phase of the sine between two places.
fn frequency(samples: &[f32]) -> f64 {
    let crossings: Vec<f64> = (samples.len() / 8..samples.len() * 7 / 8)
        .filter(|&k| samples[k - 1] < 0.0 && samples[k] >= 0.0)
        .map(|k| k as f64 - f64::from(samples[k] / (samples[k] - samples[k - 1])))
        .collect();
    let (first, last) = (crossings[0], crossings[crossings.len() - 1]);
    (crossings.len() - 1) as f64 * f64::from(RATE) / (last - first)
}

#[test]
fn attacks_are_in_their_places_at_every_speed() {
    let places = [4800, 19_000, 26_113, 40_001, 47_000, 61_777];
    let source = strokes(72_000, &places);
    for speed in [0.2, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0] {
        let output = all(&source, 0..72_000, &with(speed));
        assert_eq!(output.len() / 2, (72_000.0 / speed).round() as usize, "{speed}");
        let left: Vec<f32> = output.iter().step_by(2).copied().collect();
        for place in places {
            let ideal = (place as f64 / speed).round() as usize;
            let found = attack(&left, ideal - 1500..ideal + 1500);
            assert!(found.abs_diff(ideal) <= 24, "{speed}: expected {ideal}, found {found}");
        }
    }
}

#[test]
fn channels_keep_their_relation() {
    let output = all(&strokes(48_000, &[4800, 20_000, 31_000]), 0..48_000, &with(0.5));
    for frame in output.chunks_exact(2) {
        assert!((0.5 * frame[0] - frame[1]).abs() < 1e-4, "{frame:?}");
    }
}

#[test]
fn a_region_begins_and_ends_where_it_says() {
    let source = strokes(72_000, &[4800, 19_000, 40_001]);
    let output = all(&source, 19_000..40_001, &with(0.5));
    assert_eq!(output.len() / 2, 42_002);
    assert_eq!(output[0], source.samples[2 * 19_000]);
    let last = &output[output.len() - 2000..];
    assert!(last.iter().all(|x| x.abs() < 0.01), "the attack after the region must not be heard");
}

#[test]
fn pitch_is_kept_and_transposed_exactly() {
    let source = sine(440.0, 3.0);
    for speed in [0.25, 0.5, 0.75, 1.5] {
        for semitones in [0.0, 12.0, -12.0, 3.0, 24.0, -24.0] {
            let output = all(&source, 0..144_000, &Settings { speed, semitones, ..Settings::default() });
            assert_eq!(output.len(), (144_000.0 / speed).round() as usize);
            let wanted = 440.0 * (semitones / 12.0).exp2();
            let cents = 1200.0 * (frequency(&output) / wanted).log2();
            assert!(cents.abs() < 2.0, "{speed} {semitones}: {cents}");
        }
    }
}

#[test]
fn transposition_leaves_attacks_in_their_places() {
    let places = [9600, 24_000, 38_400];
    let source = strokes(57_600, &places);
    for semitones in [-24.0, -12.0, -5.0, 7.0, 12.0, 24.0] {
        let output = all(&source, 0..57_600, &Settings { speed: 0.5, semitones, ..Settings::default() });
        let left: Vec<f32> = output.iter().step_by(2).copied().collect();
        for place in places {
            let found = attack(&left, 2 * place - 1500..2 * place + 1500);
            assert!(found.abs_diff(2 * place) <= 48, "{semitones}: expected {}, found {found}", 2 * place);
        }
    }
}

#[test]
fn at_full_speed_every_sample_is_that_of_the_source() {
    let source = strokes(48_000, &[4800, 20_000, 31_000]);
    assert_eq!(all(&source, 300..48_000, &with(1.0)), source.samples[600..]);
}

#[test]
fn another_rate_changes_neither_pitch_nor_places() {
    let settings = |speed| Settings { speed, rate: Some(44_100), ..Settings::default() };
    for speed in [0.5, 1.0] {
        let output = all(&sine(440.0, 3.0), 0..144_000, &settings(speed));
        assert_eq!(output.len(), (132_300.0 / speed) as usize);
        let cents = 1200.0 * (frequency(&output) * 44_100.0 / f64::from(RATE) / 440.0).log2();
        assert!(cents.abs() < 2.0, "{speed}: {cents}");
        let output = all(&strokes(57_600, &[24_000]), 0..57_600, &settings(speed));
        let left: Vec<f32> = output.iter().step_by(2).copied().collect();
        let ideal = (22_050.0 / speed) as usize;
        let found = attack(&left, ideal - 1500..ideal + 1500);
        assert!(found.abs_diff(ideal) <= 24, "{speed}: expected {ideal}, found {found}");
    }
}

#[test]
fn voices_select_channels() {
    let source = strokes(24_000, &[4800]);
    let peak = |voice| {
        let output = all(&source, 0..24_000, &Settings { voice, ..Settings::default() });
        assert_eq!(output.len(), 24_000);
        output.iter().fold(0.0_f32, |m, x| m.max(x.abs()))
    };
    for (voice, wanted) in [(Voice::Left, 0.6), (Voice::Right, 0.3), (Voice::Middle, 0.45), (Voice::Side, 0.15)] {
        assert!((peak(voice) - wanted).abs() < 0.01, "{voice:?}: {}", peak(voice));
    }
}

#[test]
fn a_band_removes_what_lies_outside() {
    let rms = |samples: &[f32]| (samples.iter().map(|x| x * x).sum::<f32>() / samples.len() as f32).sqrt();
    let level = |hertz, band| {
        let source = sine(hertz, 1.0);
        let output = all(&source, 0..48_000, &Settings { band: Some(band), ..Settings::default() });
        rms(&output[9600..]) / rms(&source.samples)
    };
    let band = Band { low: 400.0, high: 1600.0 };
    assert!(level(800.0, band) > 0.9);
    // Second-order slopes: 24 dB at a quarter or four times an edge.
    assert!(level(100.0, band) < 0.08);
    assert!(level(6400.0, band) < 0.08);
}

#[test]
fn settings_out_of_range_are_refused() {
    let source = sine(440.0, 0.1);
    let error = |region, settings: Settings| match Stretch::new(Arc::new(source.clone()), region, &settings, &[]) {
        Ok(_) => "accepted".to_owned(),
        Err(error) => error.to_string(),
    };
    assert_eq!(error(0..4800, with(0.1)), "expected a speed from 20 to 200 %, found 10 %");
    assert_eq!(error(0..4800, with(f64::NAN)), "expected a speed from 20 to 200 %, found NaN %");
    assert_eq!(error(5..5, with(1.0)), "expected a region within 4800 frames, found 5 to 5");
    assert_eq!(error(0..4801, with(1.0)), "expected a region within 4800 frames, found 0 to 4801");
}
