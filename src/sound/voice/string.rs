//! Plucked strings.

use super::HitParams;
use super::tools::{Noise, finish};
use std::f64::consts::TAU;

/// Parameters of a string.
struct Body {
    /// Seconds in which the fundamental falls by 60 dB.
    ring: f64,
    /// Weight of the older sample in the loop's two-sample average, 0 (bright) to 0.5 (dull).
    dull: f64,
    /// Where it is plucked, as a share of its length.
    pluck: f64,
    /// Lowpass of the pluck in hertz at full brightness.
    soft: f64,
}

/// A plucked low string.
pub(super) fn bass(rate: f64, touch: HitParams, hertz: f64) -> Vec<f32> {
    let body = Body { ring: 2.6, dull: 0.45, pluck: 0.21, soft: 450.0 };
    finish(rate, string(rate, touch, hertz, &body), 300.0 + 1500.0 * touch.bright, 0.7 * touch.level)
}

/// A plucked string.
pub(super) fn pluck(rate: f64, touch: HitParams, hertz: f64) -> Vec<f32> {
    let body = Body { ring: 1.8, dull: 0.22, pluck: 0.13, soft: 3500.0 };
    finish(rate, string(rate, touch, hertz, &body), 1200.0 + 6000.0 * touch.bright, 0.6 * touch.level)
}

/// A string as a delay that feeds back through a lowpass (K. Karplus and A. Strong, 1983), tuned by an allpass and with a
/// chosen decay and pluck point (D. Jaffe and J. Smith, 1983). The loop's delay is exactly one period at the fundamental:
/// whole delay + lowpass + allpass = rate / hertz.
fn string(rate: f64, touch: HitParams, hertz: f64, body: &Body) -> Vec<f64> {
    let w = TAU * hertz / rate;
    let period = rate / hertz;
    let (re, im) = (1.0 - body.dull + body.dull * w.cos(), body.dull * w.sin());
    let lowpass_delay = im.atan2(re) / w;
    let lowpass_gain = re.hypot(im);
    let mut whole = (period - lowpass_delay).floor();
    let mut rest = period - lowpass_delay - whole;
    if rest < 0.1 {
        // An allpass is well behaved for delays from 0.1 to 1.1 frames.
        whole -= 1.0;
        rest += 1.0;
    }
    let allpass = ((1.0 - rest) * w / 2.0).sin() / ((1.0 + rest) * w / 2.0).sin();
    let loss = (10_f64.powf(-3.0 / (body.ring * hertz)) / lowpass_gain).min(0.9999);

    let whole = (whole as usize).max(1);
    let mut line = excite(rate, touch, body, whole);
    let (mut before, mut x1, mut y1) = (0.0, 0.0, 0.0);
    let mut out = Vec::with_capacity((body.ring * rate) as usize);
    for n in 0..(body.ring * rate) as usize {
        let at = n % whole;
        let now = line[at];
        let low = loss * ((1.0 - body.dull) * now + body.dull * before);
        before = now;
        let y = allpass * (low - y1) + x1;
        (x1, y1) = (low, y);
        line[at] = y;
        out.push(now);
    }
    out
}

/// One period of noise, softened, combed by the pluck point and freed of its mean.
fn excite(rate: f64, touch: HitParams, body: &Body, length: usize) -> Vec<f64> {
    let mut noise = Noise::new(10);
    let keep = (-TAU * body.soft * (0.3 + 0.7 * touch.bright) / rate).exp();
    let mut y = 0.0;
    let raw: Vec<f64> = (0..2 * length)
        .map(|_| {
            let x = noise.next();
            y = x + keep * (y - x);
            y
        })
        .skip(length)
        .collect();
    let comb = ((length as f64 * body.pluck) as usize).max(1);
    let combed: Vec<f64> = (0..length).map(|n| raw[n] - 0.9 * raw[(n + length - comb % length) % length]).collect();
    let mean = combed.iter().sum::<f64>() / length as f64;
    combed.into_iter().map(|x| x - mean).collect()
}
