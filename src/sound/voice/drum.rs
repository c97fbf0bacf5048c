//! Drums and percussion: kick, snare, tom, rim, wood, clap.

use super::HitParams;
use super::tools::{Filter, Noise, Sine, decay, finish, generate};

/// A bass drum: a sine falling to 46 Hz, with a soft beater.
pub(super) fn kick(rate: f64, hit: HitParams) -> Vec<f32> {
    let (mut body, mut noise, mut beater) = (Sine::new(rate, 0.0), Noise::new(1), Filter::low_pass(rate, 2600.0, 0.7));
    let sound = generate(rate, 0.6, |t| {
        let hertz = 46.0 + (60.0 + 90.0 * hit.bright) * decay(t, 0.022);
        let click = 0.5 * hit.bright * beater.next(noise.next()) * decay(t, 0.0025);
        body.next(hertz) * decay(t, 0.11) + click
    });
    finish(rate, sound, 900.0 + 4000.0 * hit.bright, 0.9 * hit.level)
}

/// A snare drum: two short tones under rattling noise.
pub(super) fn snare(rate: f64, hit: HitParams) -> Vec<f32> {
    let (mut low, mut high, mut noise) = (Sine::new(rate, 0.1), Sine::new(rate, 0.2), Noise::new(2));
    let (mut floor, mut wires) = (Filter::high_pass(rate, 900.0, 0.7), Filter::band_pass(rate, 4200.0, 0.5));
    let sound = generate(rate, 0.4, |t| {
        let bend = 1.0 + 0.25 * decay(t, 0.012);
        let skin = 0.5 * low.next(186.0 * bend) * decay(t, 0.05) + 0.3 * high.next(331.0 * bend) * decay(t, 0.03);
        let hiss = noise.next();
        let rattle = 0.5 * floor.next(hiss) + 0.8 * wires.next(hiss);
        skin + (0.35 + 0.5 * hit.bright) * rattle * decay(t, 0.045 + 0.025 * hit.bright)
    });
    finish(rate, sound, 3500.0 + 12_000.0 * hit.bright, 0.75 * hit.level)
}

/// A tom: a falling tone that ends on its pitch and decays as in [`decay`].
pub(super) fn tom(rate: f64, hit: HitParams, hertz: f64, seconds: f64) -> Vec<f32> {
    let (mut body, mut over, mut noise) = (Sine::new(rate, 0.02), Sine::new(rate, 0.1), Noise::new(3));
    let mut stick = Filter::band_pass(rate, 1800.0, 0.6);
    let sound = generate(rate, 1.2, |t| {
        let bend = 1.0 + 0.35 * hit.bright * decay(t, 0.025);
        let click = 0.4 * hit.bright * stick.next(noise.next()) * decay(t, 0.006);
        body.next(hertz * bend) * decay(t, seconds) + 0.25 * over.next(hertz * 1.59 * bend) * decay(t, 0.05) + click
    });
    finish(rate, sound, 1200.0 + 6000.0 * hit.bright, 0.8 * hit.level)
}

/// A rim click: a short hard knock.
pub(super) fn rim(rate: f64, hit: HitParams) -> Vec<f32> {
    let (mut low, mut high, mut noise) = (Sine::new(rate, 0.25), Sine::new(rate, 0.25), Noise::new(4));
    let mut edge = Filter::high_pass(rate, 2500.0, 0.7);
    let sound = generate(rate, 0.08, |t| {
        let knock = 0.5 * low.next(512.0) * decay(t, 0.006) + 0.8 * high.next(1730.0) * decay(t, 0.008);
        knock + 0.5 * hit.bright * edge.next(noise.next()) * decay(t, 0.002)
    });
    finish(rate, sound, 2500.0 + 10_000.0 * hit.bright, 0.6 * hit.level)
}

/// A wood block: a short hollow knock of two tones.
pub(super) fn wood(rate: f64, hit: HitParams) -> Vec<f32> {
    let (mut low, mut high, mut noise) = (Sine::new(rate, 0.2), Sine::new(rate, 0.1), Noise::new(5));
    let mut stick = Filter::band_pass(rate, 3000.0, 0.8);
    let sound = generate(rate, 0.2, |t| {
        let hollow = low.next(830.0) * decay(t, 0.022) + 0.45 * high.next(2108.0) * decay(t, 0.009);
        hollow + 0.5 * hit.bright * stick.next(noise.next()) * decay(t, 0.0015)
    });
    finish(rate, sound, 1800.0 + 8000.0 * hit.bright, 0.6 * hit.level)
}

/// A clap: three short bursts of noise and a longer one, 9 to 11 ms apart.
pub(super) fn clap(rate: f64, hit: HitParams) -> Vec<f32> {
    let mut noise = Noise::new(6);
    let (mut palm, mut floor) = (Filter::band_pass(rate, 1350.0, 0.9), Filter::high_pass(rate, 500.0, 0.7));
    let sound = generate(rate, 0.35, |t| {
        let burst = |at: f64, seconds: f64, gain: f64| if t >= at { gain * decay(t - at, seconds) } else { 0.0 };
        let level = burst(0.0, 0.0035, 1.0)
            + burst(0.0095, 0.0035, 0.85)
            + burst(0.0205, 0.0035, 0.9)
            + burst(0.0300, 0.05, 0.8);
        let hiss = noise.next();
        (palm.next(hiss) + 0.15 * hit.bright * floor.next(hiss)) * level
    });
    finish(rate, sound, 2500.0 + 9000.0 * hit.bright, 0.65 * hit.level)
}
