//! Units of audio: sample rates, frames, gains.

/// A sample rate, 8000 to 384000 frames per second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SampleRate(u32);

impl SampleRate {
    /// 48000 frames per second.
    pub const STUDIO: SampleRate = SampleRate(48_000);

    /// `None` outside 8000 to 384000.
    pub fn new(hertz: u32) -> Option<Self> {
        (8_000..=384_000).contains(&hertz).then_some(Self(hertz))
    }

    /// Frames per second.
    pub fn hertz(self) -> u32 {
        self.0
    }

    /// The number of frames nearest to this many seconds, at least 0; 0 for NaN.
    pub fn frames(self, seconds: f64) -> Frame {
        Frame((seconds * f64::from(self.0)).round().clamp(0.0, i64::MAX as f64) as i64)
    }
}

/// A position or length in frames: one sample of every channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Frame(pub i64);

impl Frame {
    /// The length in seconds.
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 as f64 / f64::from(rate.0)
    }
}

/// A linear gain, from 0 up.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Gain(f32);

impl Gain {
    /// Silence.
    pub const SILENT: Gain = Gain(0.0);

    /// The gain `10^(dB/20)`. NaN and -120 dB or less are silence; +24 dB is the greatest gain.
    pub fn from_db(db: f32) -> Self {
        if db > -120.0 { Self(10_f32.powf(db.min(24.0) / 20.0)) } else { Self::SILENT }
    }

    /// The linear factor.
    pub fn linear(self) -> f32 {
        self.0
    }

    /// Gains of the left and right channel for a mono sound at `pan` (-100 left to 100 right) with equal power: their squares add
    /// up to the square of this gain, -3 dB each in the middle.
    pub fn panned(self, pan: i8) -> (f32, f32) {
        let angle = (f32::from(pan.clamp(-100, 100)) + 100.0) / 200.0 * std::f32::consts::FRAC_PI_2;
        (self.0 * angle.cos(), self.0 * angle.sin().max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decibels_and_pans_follow_their_formulas() {
        assert!((Gain::from_db(-6.0206).linear() - 0.5).abs() < 1e-5);
        assert_eq!(Gain::from_db(f32::NAN), Gain::SILENT);
        assert_eq!(Gain::from_db(f32::NEG_INFINITY), Gain::SILENT);
        for pan in -100..=100 {
            let (l, r) = Gain::from_db(0.0).panned(pan);
            assert!((l * l + r * r - 1.0).abs() < 1e-6, "{pan}");
        }
        assert!(Gain::from_db(0.0).panned(100).0.abs() < 1e-6);
        assert_eq!(Gain::from_db(0.0).panned(-100).1, 0.0);
    }

    #[test]
    fn rates_are_bounded_and_seconds_round() {
        assert_eq!(SampleRate::new(0), None);
        assert_eq!(SampleRate::new(1_000_000), None);
        assert_eq!(SampleRate::STUDIO.frames(0.5), Frame(24_000));
        assert_eq!(SampleRate::STUDIO.frames(-1.0), Frame(0));
        assert_eq!(SampleRate::STUDIO.frames(f64::NAN), Frame(0));
    }
}
