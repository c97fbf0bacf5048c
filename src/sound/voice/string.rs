//! Plucked strings.

use super::HitParams;
use super::tools::{Noise, finish};
use std::f64::consts::TAU;

struct Body {
    /// Seconds in which the fundamental falls by 60 dB.
    decay: f64,
    /// Weight of the older sample in the loop's two-sample average, 0 (bright) to 0.5 (dull).
    dull: f64,
    /// Where it is plucked, as a share of its length.
    pluck: f64,
    /// Cutoff of the pluck's lowpass in hertz at full brightness.
    cutoff: f64,
}

/// A plucked low string.
pub(super) fn bass(rate: f64, hit: HitParams, hertz: f64) -> Vec<f32> {
    let body = Body { decay: 2.6, dull: 0.45, pluck: 0.21, cutoff: 450.0 };
    finish(rate, string(rate, hit, hertz, &body), 300.0 + 1500.0 * hit.bright, 0.7 * hit.level)
}

/// A plucked string.
pub(super) fn pluck(rate: f64, hit: HitParams, hertz: f64) -> Vec<f32> {
    let body = Body { decay: 1.8, dull: 0.22, pluck: 0.13, cutoff: 3500.0 };
    finish(rate, string(rate, hit, hertz, &body), 1200.0 + 6000.0 * hit.bright, 0.6 * hit.level)
}

/// A string as a delay that feeds back through a lowpass (K. Karplus and A. Strong, 1983), tuned by an allpass and with a
/// chosen decay and pluck point (D. Jaffe and J. Smith, 1983). The loop's delay is exactly one period at the fundamental:
/// delay + lowpass + allpass = rate / hertz.
fn string(rate: f64, hit: HitParams, hertz: f64, body: &Body) -> Vec<f64> {
    let w = TAU * hertz / rate;
    let period = rate / hertz;
    let (re, im) = (1.0 - body.dull + body.dull * w.cos(), body.dull * w.sin());
    let lowpass_delay = im.atan2(re) / w;
    let lowpass_gain = re.hypot(im);
    let mut delay = (period - lowpass_delay).floor();
    let mut fraction = period - lowpass_delay - delay;
    if fraction < 0.1 {
        // An allpass is well behaved for delays from 0.1 to 1.1 frames.
        delay -= 1.0;
        fraction += 1.0;
    }
    let allpass = ((1.0 - fraction) * w / 2.0).sin() / ((1.0 + fraction) * w / 2.0).sin();
    let loss = (10_f64.powf(-3.0 / (body.decay * hertz)) / lowpass_gain).min(0.9999);

    let delay = (delay as usize).max(1);
    let mut line = excitation(rate, hit, body, delay);
    let (mut previous, mut x1, mut y1) = (0.0, 0.0, 0.0);
    let mut out = Vec::with_capacity((body.decay * rate) as usize);
    for n in 0..(body.decay * rate) as usize {
        let at = n % delay;
        let sample = line[at];
        let low = loss * ((1.0 - body.dull) * sample + body.dull * previous);
        previous = sample;
        let y = allpass * (low - y1) + x1;
        (x1, y1) = (low, y);
        line[at] = y;
        out.push(sample);
    }
    out
}

/// One period of noise, softened, combed by the pluck point and freed of its mean.
fn excitation(rate: f64, hit: HitParams, body: &Body, length: usize) -> Vec<f64> {
    let mut noise = Noise::new(10);
    let feedback = (-TAU * body.cutoff * (0.3 + 0.7 * hit.bright) / rate).exp();
    let mut y = 0.0;
    let raw: Vec<f64> = (0..2 * length)
        .map(|_| {
            let x = noise.next();
            y = x + feedback * (y - x);
            y
        })
        .skip(length)
        .collect();
    let comb = ((length as f64 * body.pluck) as usize).max(1);
    let combed: Vec<f64> = (0..length).map(|n| raw[n] - 0.9 * raw[(n + length - comb % length) % length]).collect();
    let mean = combed.iter().sum::<f64>() / length as f64;
    combed.into_iter().map(|x| x - mean).collect()
}
