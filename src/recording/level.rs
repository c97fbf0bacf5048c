//! Level and ends of a user sample, so that it matches the voices and does not click.

use crate::sound::SampleRate;

/// Greatest RMS of any 50 ms: some 3 dB below the loudest accent of a voice.
const MAX_RMS: f32 = 0.35;
const RMS_SECONDS: f64 = 0.05;
/// Most gain of a quiet sound: 20 dB. More would raise its noise.
const MAX_GAIN: f32 = 10.0;
/// Seconds of the fades if a sound begins or ends away from zero.
const FADE_IN_SECONDS: f64 = 0.0005;
const FADE_OUT_SECONDS: f64 = 0.005;
/// Magnitude that counts as zero at the ends.
const MAX_END: f32 = 0.001;

pub(super) fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0_f32, |m, x| m.max(x.abs()))
}

/// Sets the level of a sound to that of a voice's accent: its peak to 1, or less if its loudest 50 ms would be near the loudest
/// voice. Ends away from zero are faded, 0.5 ms at the start and 5 ms at the end.
pub(super) fn normalize(samples: &mut [f32], rate: SampleRate) {
    let rms = max_rms(samples, rate.frames(RMS_SECONDS).0.max(1) as usize);
    let gain = (1.0 / peak(samples)).min(MAX_RMS / rms).min(MAX_GAIN);
    if !gain.is_finite() {
        samples.fill(0.0);
        return;
    }
    for x in samples.iter_mut() {
        *x = (*x * gain).clamp(-1.0, 1.0);
    }
    let length = samples.len();
    let frames = |seconds: f64| (rate.frames(seconds).0 as usize).min(length);
    fade(samples.iter_mut().take(frames(FADE_IN_SECONDS)));
    fade(samples.iter_mut().rev().take(frames(FADE_OUT_SECONDS)));
}

/// Raises samples linearly from zero if the first one is away from it.
fn fade<'a>(samples: impl ExactSizeIterator<Item = &'a mut f32>) {
    let length = samples.len();
    let mut samples = samples.enumerate().peekable();
    if samples.peek().is_some_and(|(_, x)| x.abs() > MAX_END) {
        samples.for_each(|(k, x)| *x *= k as f32 / length as f32);
    }
}

/// The greatest RMS of any `window` samples; fewer are padded with zeros.
fn max_rms(samples: &[f32], window: usize) -> f32 {
    let square = |x: f32| f64::from(x) * f64::from(x);
    let (mut sum, mut max) = (0.0_f64, 0.0_f64);
    for (k, &x) in samples.iter().enumerate() {
        sum += square(x);
        if k >= window {
            sum -= square(samples[k - window]);
        }
        max = max.max(sum);
    }
    (max / window as f64).sqrt() as f32
}
