//! Metal percussion and shaker.

use super::HitParams;
use super::tools::{Filter, Noise, Sine, decay, finish, generate};
use std::f64::consts::TAU;

/// Ratios of the six tones of a hat: square roots, so that no two have a simple ratio.
const PLATE_RATIOS: [f64; 6] = [1.0, 1.3416, 1.5811, 1.9365, 2.2361, 2.7386];

fn hiss(rate: f64, hit: HitParams, seconds: f64, envelope: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut noise = Noise::new(7);
    let mut plates = PLATE_RATIOS.map(|ratio| (Sine::new(rate, 0.25), 1630.0 * ratio));
    let (mut first, mut second) = (Filter::high_pass(rate, 6500.0, 0.7), Filter::high_pass(rate, 6500.0, 0.7));
    generate(rate, seconds, |t| {
        let ring: f64 = plates.iter_mut().map(|(sine, hertz)| sine.next(*hertz).signum()).sum::<f64>() / 6.0;
        let raw = ring + (0.4 + 0.4 * hit.bright) * noise.next();
        second.next(first.next(raw)) * envelope(t)
    })
}

/// A closed hat: a very short metallic hiss.
pub(super) fn hat(rate: f64, hit: HitParams) -> Vec<f32> {
    let sound = hiss(rate, hit, 0.2, |t| decay(t, 0.012 + 0.012 * hit.bright));
    finish(rate, sound, 6000.0 + 12_000.0 * hit.bright, 0.4 * hit.level)
}

/// An open hat: the same hiss, longer.
pub(super) fn open_hat(rate: f64, hit: HitParams) -> Vec<f32> {
    let sound = hiss(rate, hit, 1.2, |t| 0.6 * decay(t, 0.03) + 0.5 * decay(t, 0.16));
    finish(rate, sound, 6000.0 + 12_000.0 * hit.bright, 0.4 * hit.level)
}

/// A shaker: a soft grain of noise that swells for 12 ms.
pub(super) fn shaker(rate: f64, hit: HitParams) -> Vec<f32> {
    let mut noise = Noise::new(8);
    let (mut grain, mut floor) = (Filter::band_pass(rate, 6200.0, 0.8), Filter::high_pass(rate, 3000.0, 0.7));
    let sound = generate(rate, 0.2, |t| {
        let swell = (0.15 + t / 0.012).min(1.0);
        floor.next(grain.next(noise.next())) * swell * decay((t - 0.012).max(0.0), 0.022)
    });
    finish(rate, sound, 5000.0 + 9000.0 * hit.bright, 0.35 * hit.level)
}

/// A tone of a struck piece of metal: its frequency, its level, and its decay time in seconds, as in [`decay`].
type Partial = (f64, f64, f64);

/// The sum of some partials; each begins `turns` later in its cycle than the one before.
fn ring(rate: f64, seconds: f64, partials: impl IntoIterator<Item = Partial>, turns: f64) -> Vec<f64> {
    let mut sound = vec![0.0; (rate * seconds) as usize];
    for (k, (hertz, level, seconds)) in partials.into_iter().enumerate() {
        if hertz > 0.45 * rate {
            continue;
        }
        // A complex rotation per frame is a decaying sine, far cheaper than a sine and an exponential.
        let shrink = (-1.0 / (seconds * rate)).exp();
        let (sin, cos) = (TAU * hertz / rate).sin_cos();
        let (im, re) = (TAU * turns * k as f64).sin_cos();
        let (mut re, mut im) = (level * re, level * im);
        for x in &mut sound {
            *x += re;
            (re, im) = ((re * cos - im * sin) * shrink, (re * sin + im * cos) * shrink);
        }
    }
    sound
}

/// Number of partials of a cymbal.
const PLATE_PARTIALS: usize = 24;
/// Turns from one partial of a cymbal or cowbell to the next: the golden ratio, so that no few of them begin together.
const SPREAD: f64 = 0.618_034;

/// The partials of a cymbal from `low` to `high` hertz, in unequal steps; higher ones decay faster, from `seconds` to a third of
/// it. The loudest are near `centre`.
fn plate(low: f64, high: f64, centre: f64, seconds: f64) -> impl Iterator<Item = Partial> {
    (0..PLATE_PARTIALS).map(move |k| {
        let step = (k as f64 + 0.7 * (SPREAD * (k * k) as f64).fract()) / PLATE_PARTIALS as f64;
        let hertz = low * (high / low).powf(step);
        let octaves = (hertz / centre).log2();
        (hertz, (-0.3 * octaves * octaves).exp(), seconds * (1.0 - 0.67 * step))
    })
}

/// A ride cymbal: the ping of a stick over a quiet hiss.
pub(super) fn ride(rate: f64, hit: HitParams) -> Vec<f32> {
    let mut sound = ring(rate, 2.0, plate(430.0, 9800.0, 3900.0, 0.36), SPREAD);
    let (mut noise, mut floor) = (Noise::new(10), Filter::high_pass(rate, 5200.0, 0.7));
    for (n, x) in sound.iter_mut().enumerate() {
        let t = n as f64 / rate;
        let stick = 3.0 * hit.bright * decay(t, 0.003);
        *x += floor.next(noise.next()) * (stick + 0.8 * decay(t, 0.22));
    }
    finish(rate, sound, 3500.0 + 10_000.0 * hit.bright, 0.34 * hit.level)
}

/// A crash cymbal: a broad splash of noise over a ringing plate.
pub(super) fn crash(rate: f64, hit: HitParams) -> Vec<f32> {
    let mut sound = ring(rate, 3.0, plate(310.0, 8600.0, 2400.0, 0.62), SPREAD);
    let (mut noise, mut floor) = (Noise::new(11), Filter::high_pass(rate, 1500.0, 0.6));
    for (n, x) in sound.iter_mut().enumerate() {
        let t = n as f64 / rate;
        *x = 0.5 * *x + floor.next(noise.next()) * (1.8 * decay(t, 0.07) + 1.6 * decay(t, 0.42));
    }
    finish(rate, sound, 3000.0 + 11_000.0 * hit.bright, 0.5 * hit.level)
}

/// The tones of a cowbell: two loud ones, less than a fifth apart, and some above.
const COWBELL: [Partial; 7] = [
    (587.0, 1.0, 0.075),
    (862.0, 0.9, 0.065),
    (1433.0, 0.3, 0.045),
    (2017.0, 0.4, 0.03),
    (2689.0, 0.3, 0.025),
    (3571.0, 0.25, 0.018),
    (4903.0, 0.15, 0.012),
];

/// A cowbell: a short clank.
pub(super) fn cowbell(rate: f64, hit: HitParams) -> Vec<f32> {
    let partials = COWBELL.into_iter().enumerate();
    let brightened = partials.map(|(k, (hertz, level, seconds))| (hertz, level * bright_level(k, hit), seconds));
    let mut sound = ring(rate, 0.7, brightened, SPREAD);
    add_strike(rate, hit, &mut sound, 12);
    finish(rate, sound, 2500.0 + 11_000.0 * hit.bright, 0.45 * hit.level)
}

/// Factor of the level of the `k`th partial: a soft hit excites the upper ones less.
fn bright_level(k: usize, hit: HitParams) -> f64 {
    (0.4 + 0.6 * hit.bright).powi(k as i32)
}

/// The noise of a stick on metal.
fn add_strike(rate: f64, hit: HitParams, sound: &mut [f64], seed: u64) {
    let mut noise = Noise::new(seed);
    for (n, x) in sound.iter_mut().enumerate().take((0.02 * rate) as usize) {
        *x += 0.4 * hit.bright * noise.next() * decay(n as f64 / rate, 0.003);
    }
}

/// A struck bell: hum, prime, tierce, quint and nominal as bell founders name and tune them (T. Rossing, Science of Percussion
/// Instruments, 2000, ch. 11), and three partials above, with frequencies relative to the prime.
const BELL: [Partial; 8] = [
    (0.5, 0.35, 1.6),
    (1.0, 1.0, 0.9),
    (1.183, 0.55, 0.7),
    (1.506, 0.3, 0.5),
    (2.0, 0.6, 0.45),
    (2.514, 0.25, 0.25),
    (2.662, 0.2, 0.2),
    (3.011, 0.3, 0.15),
];

/// A bell whose prime is at `hertz`.
pub(super) fn bell(rate: f64, hit: HitParams, hertz: f64) -> Vec<f32> {
    let partials = BELL.into_iter().enumerate();
    let tuned = partials.map(|(k, (ratio, level, seconds))| (hertz * ratio, level * bright_level(k, hit), seconds));
    let mut sound = ring(rate, 2.5, tuned, 0.0);
    add_strike(rate, hit, &mut sound, 9);
    finish(rate, sound, 2500.0 + 14_000.0 * hit.bright, 0.5 * hit.level)
}
