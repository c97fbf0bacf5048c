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

/// A struck bell: hum, prime, tierce, quint and nominal as bell founders name and tune them (T. Rossing, Science of Percussion
/// Instruments, 2000, ch. 11), and three partials above: each its frequency relative to the prime, its level, and its decay time
/// in seconds, as in [`decay`].
const PARTIALS: [(f64, f64, f64); 8] = [
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
    let seconds = 2.5;
    let mut sound = vec![0.0; (rate * seconds) as usize];
    for (k, (ratio, level, seconds)) in PARTIALS.into_iter().enumerate() {
        let hertz = hertz * ratio;
        if hertz > 0.45 * rate {
            continue;
        }
        let level = level * (0.4 + 0.6 * hit.bright).powi(k as i32);
        // A complex rotation per frame is a decaying sine, far cheaper than a sine and an exponential.
        let shrink = (-1.0 / (seconds * rate)).exp();
        let (sin, cos) = (TAU * hertz / rate).sin_cos();
        let (mut re, mut im) = (level, 0.0);
        for x in &mut sound {
            *x += re;
            (re, im) = ((re * cos - im * sin) * shrink, (re * sin + im * cos) * shrink);
        }
    }
    let mut noise = Noise::new(9);
    for (n, x) in sound.iter_mut().enumerate().take((0.02 * rate) as usize) {
        *x += 0.4 * hit.bright * noise.next() * decay(n as f64 / rate, 0.003);
    }
    finish(rate, sound, 2500.0 + 14_000.0 * hit.bright, 0.5 * hit.level)
}
