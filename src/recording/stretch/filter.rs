//! Second-order filters.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// A biquad in transposed direct form II, in double precision because low edges at high sample rates need it.
///
/// The coefficients are those of Robert Bristow-Johnson's "Cookbook formulae for audio equalizer biquad filter coefficients".
#[derive(Debug, Clone)]
pub(super) struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Biquad {
    /// A Butterworth low-pass filter.
    pub(super) fn low_pass(hertz: f64, rate: f64) -> Self {
        let (cos, alpha) = Self::angles(hertz, rate);
        let half = f64::midpoint(1.0, -cos);
        Self::normalized([half, 1.0 - cos, half], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// A Butterworth high-pass filter.
    pub(super) fn high_pass(hertz: f64, rate: f64) -> Self {
        let (cos, alpha) = Self::angles(hertz, rate);
        let half = f64::midpoint(1.0, cos);
        Self::normalized([half, -(1.0 + cos), half], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    fn angles(hertz: f64, rate: f64) -> (f64, f64) {
        let omega = TAU * hertz.clamp(1.0, 0.49 * rate) / rate;
        (omega.cos(), omega.sin() / (2.0 * FRAC_1_SQRT_2))
    }

    fn normalized(b: [f64; 3], a: [f64; 3]) -> Self {
        Self { b: b.map(|x| x / a[0]), a: [a[1] / a[0], a[2] / a[0]], state: [0.0; 2] }
    }

    /// Filters one sample.
    pub(super) fn next(&mut self, x: f32) -> f32 {
        let x = f64::from(x);
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y as f32
    }
}
