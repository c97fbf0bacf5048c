//! The level and the ends of a user's sound, so that it matches the voices and does not click.

use crate::sound::SampleRate;

/// Greatest RMS of any 50 ms: some 3 dB below the loudest accent of a voice.
const LOUDEST: f32 = 0.35;
const WINDOW: f64 = 0.05;
/// Most gain of a quiet sound: 20 dB. More would raise its noise.
const RAISED: f32 = 10.0;
/// Seconds of the fades where a sound begins or ends away from zero.
const OPENING: f64 = 0.0005;
const ENDING: f64 = 0.005;
/// Magnitude that counts as zero at the ends.
const NEAR: f32 = 0.001;

/// Sets the level of a sound to that of a voice's accent: its peak to 1, or less if its loudest 50 ms would be near the loudest
/// voice. Ends away from zero are faded, 0.5 ms at the start and 5 ms at the end.
pub(super) fn set(samples: &mut [f32], rate: SampleRate) {
    let peak = samples.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    let loud = loudest(samples, rate.frames(WINDOW).0.max(1) as usize);
    let gain = (1.0 / peak).min(LOUDEST / loud).min(RAISED);
    if !gain.is_finite() {
        samples.fill(0.0);
        return;
    }
    for x in samples.iter_mut() {
        *x = (*x * gain).clamp(-1.0, 1.0);
    }
    let frames = |seconds: f64| (rate.frames(seconds).0 as usize).min(samples.len());
    let (opening, ending) = (frames(OPENING), frames(ENDING));
    if samples.first().is_some_and(|x| x.abs() > NEAR) {
        for (k, x) in samples[..opening].iter_mut().enumerate() {
            *x *= k as f32 / opening as f32;
        }
    }
    if samples.last().is_some_and(|x| x.abs() > NEAR) {
        for (k, x) in samples.iter_mut().rev().take(ending).enumerate() {
            *x *= k as f32 / ending as f32;
        }
    }
}

/// The greatest RMS of any `window` samples; fewer are padded with zeros.
fn loudest(samples: &[f32], window: usize) -> f32 {
    let square = |x: f32| f64::from(x) * f64::from(x);
    let (mut sum, mut most) = (0.0_f64, 0.0_f64);
    for (k, &x) in samples.iter().enumerate() {
        sum += square(x);
        if k >= window {
            sum -= square(samples[k - window]);
        }
        most = most.max(sum);
    }
    (most / window as f64).sqrt() as f32
}
