//! Building blocks of the voices: seeded noise, filters, decays.

use std::f64::consts::{PI, TAU};

/// White noise, uniform from -1 to 1, reproducible from a seed (xorshift64*, Vigna 2016).
pub(super) struct Noise(u64);

impl Noise {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub(super) fn next(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11;
        bits as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// A second-order filter in direct form 1 (R. Bristow-Johnson, Audio EQ Cookbook, W3C note 2021).
pub(super) struct Filter {
    b: [f64; 3],
    a: [f64; 2],
    x: [f64; 2],
    y: [f64; 2],
}

impl Filter {
    fn new(rate: f64, hertz: f64, q: f64, numerator: impl Fn(f64, f64) -> [f64; 3]) -> Self {
        let w = TAU * hertz.min(0.45 * rate) / rate;
        let (sin, cos) = w.sin_cos();
        let alpha = sin / (2.0 * q);
        let a0 = 1.0 + alpha;
        let b = numerator(cos, alpha).map(|b| b / a0);
        Self { b, a: [-2.0 * cos / a0, (1.0 - alpha) / a0], x: [0.0; 2], y: [0.0; 2] }
    }

    pub(super) fn high_pass(rate: f64, hertz: f64, q: f64) -> Self {
        Self::new(rate, hertz, q, |cos, _| [f64::midpoint(1.0, cos), -(1.0 + cos), f64::midpoint(1.0, cos)])
    }

    pub(super) fn low_pass(rate: f64, hertz: f64, q: f64) -> Self {
        Self::new(rate, hertz, q, |cos, _| [(1.0 - cos) / 2.0, 1.0 - cos, (1.0 - cos) / 2.0])
    }

    /// 0 dB at `hertz`.
    pub(super) fn band_pass(rate: f64, hertz: f64, q: f64) -> Self {
        Self::new(rate, hertz, q, |_, alpha| [alpha, 0.0, -alpha])
    }

    pub(super) fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.b[1] * self.x[0] + self.b[2] * self.x[1]
            - self.a[0] * self.y[0]
            - self.a[1] * self.y[1];
        self.x = [x, self.x[0]];
        self.y = [y, self.y[0]];
        y
    }
}

/// `exp(-t / seconds)`: falls by 60 dB in 6.9 times `seconds`.
pub(super) fn decay(t: f64, seconds: f64) -> f64 {
    (-t / seconds).exp()
}

/// A sound of `seconds` from a function of the time in seconds, called once per frame in order.
pub(super) fn generate(rate: f64, seconds: f64, mut f: impl FnMut(f64) -> f64) -> Vec<f64> {
    (0..(rate * seconds) as usize).map(|n| f(n as f64 / rate)).collect()
}

/// A sine whose frequency may change from frame to frame.
pub(super) struct Sine {
    phase: f64,
    step: f64,
}

impl Sine {
    /// A sine that begins at `phase` in cycles, 0 to 1.
    pub(super) fn new(rate: f64, phase: f64) -> Self {
        Self { phase, step: 1.0 / rate }
    }

    pub(super) fn next(&mut self, hertz: f64) -> f64 {
        let y = (TAU * self.phase).sin();
        self.phase = (self.phase + hertz * self.step).fract();
        y
    }
}

/// Low-passes a sound at `cutoff` hertz (first order), sets its peak to `peak`, cuts its end where it has fallen by 80 dB and fades
/// it over 3 ms.
pub(super) fn finish(rate: f64, mut sound: Vec<f64>, cutoff: f64, peak: f64) -> Vec<f32> {
    if cutoff < 0.4 * rate {
        let feedback = (-TAU * cutoff / rate).exp();
        let mut y = 0.0;
        for x in &mut sound {
            y = *x + feedback * (y - *x);
            *x = y;
        }
    }
    let magnitude = sound.iter().fold(1e-9_f64, |m, x| m.max(x.abs()));
    let last = sound.iter().rposition(|x| x.abs() > 1e-4 * magnitude).unwrap_or(0);
    sound.truncate(last + 1);
    let fade = ((0.003 * rate) as usize).min(sound.len());
    let first = sound.len() - fade;
    for (k, x) in sound[first..].iter_mut().enumerate() {
        *x *= f64::midpoint(1.0, (PI * (k + 1) as f64 / fade as f64).cos());
    }
    sound.into_iter().map(|x| (x / magnitude * peak) as f32).collect()
}

/// The frequency, lowered by octaves until it is below a sixth of the sample rate.
pub(super) fn playable(mut hertz: f64, rate: f64) -> f64 {
    while hertz > rate / 6.0 {
        hertz /= 2.0;
    }
    hertz
}
