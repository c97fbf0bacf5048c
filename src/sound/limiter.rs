//! The peak limiter at the end of the mix.

use std::collections::VecDeque;
use std::f64::consts::PI;

/// Ceiling of every output sample: -1.5 dBFS.
pub(super) const LIMITER_CEILING: f32 = 0.841_395_1;
/// Ceiling of the curve between samples, at the interpolated points: -1.8 dBTP. Four points per frame miss up to 0.7 dB of the
/// highest tones (ITU-R BS.1770-5, annex 2), so that finer meters still show less than -1 dBTP.
const INTERPOLATED_CEILING: f32 = 0.812_830_5;
/// Delay of the limiter in frames.
pub(super) const DELAY: usize = 64;

/// A gain of one in fixed point. Integers make the sums exact, so that a signal below the ceiling is unchanged bit for bit and
/// the result does not depend on block sizes.
const ONE: u32 = 1 << 30;
/// The gain recovers by 1/2^12 of the difference per frame: 63% in 85 ms at 48 kHz.
const RECOVERY_SHIFT: u32 = 12;

/// Samples from which a value between two samples is interpolated.
const TAPS: usize = 16;
/// Frames after which the peak of a frame is known.
const PEAK_DELAY: usize = TAPS / 2;
/// If no sample of the taps is above this, nothing between them can reach the ceiling.
const CALM_LEVEL: f32 = 0.38;
/// Frames over which gains are held and averaged.
const WINDOW: usize = DELAY + 1 - PEAK_DELAY;
const RING: usize = DELAY + 1;

/// A look-ahead limiter for both channels together.
///
/// The gain each frame needs is `min(1, ceiling / peak)`, where the peak includes the frame's samples and the curve up to the
/// next frame, oversampled fourfold (as in ITU-R BS.1770-5, annex 2). The least gain over the look-ahead is held, recovers
/// slowly, and is averaged over the look-ahead. Every average holds only gains small enough for the frame it is applied to, so no
/// sample exceeds [`LIMITER_CEILING`].
#[derive(Debug)]
pub(super) struct Limiter {
    delayed: [(f32, f32); RING],
    at: usize,
    /// The last samples of each channel, each written twice so that the last [`TAPS`] are contiguous.
    recent: [[f32; 2 * TAPS]; 2],
    recent_at: usize,
    /// Frames since a sample was above [`CALM_LEVEL`].
    calm: usize,
    taps: [[f32; TAPS]; 3],
    /// Held gains of the last frames, and their sum.
    held: [u32; WINDOW],
    held_at: usize,
    sum: u64,
    /// The least gains ahead, as (gain, frame) ascending in both, at most [`WINDOW`].
    minima: VecDeque<(u32, u64)>,
    frame: u64,
    hold: u32,
    /// Frames since a gain below one was needed or held.
    idle: usize,
}

/// Sum of the held gains if all are one.
const FULL_SUM: u64 = ONE as u64 * WINDOW as u64;

impl Limiter {
    pub(super) fn new() -> Self {
        Self {
            delayed: [(0.0, 0.0); RING],
            at: 0,
            recent: [[0.0; 2 * TAPS]; 2],
            recent_at: 0,
            calm: TAPS,
            taps: [1, 2, 3].map(quarter),
            held: [ONE; WINDOW],
            held_at: 0,
            sum: FULL_SUM,
            minima: VecDeque::with_capacity(WINDOW),
            frame: 0,
            hold: ONE,
            idle: WINDOW,
        }
    }

    /// Takes one frame and returns the one [`DELAY`] frames before it, limited.
    pub(super) fn next(&mut self, left: f32, right: f32) -> (f32, f32) {
        self.delayed[self.at] = (left, right);
        self.at = if self.at + 1 == RING { 0 } else { self.at + 1 };
        let out = self.delayed[self.at];
        for (row, sample) in self.recent.iter_mut().zip([left, right]) {
            row[self.recent_at] = sample;
            row[self.recent_at + TAPS] = sample;
        }
        self.recent_at = if self.recent_at + 1 == TAPS { 0 } else { self.recent_at + 1 };
        self.calm = if left.abs().max(right.abs()) > CALM_LEVEL { 0 } else { self.calm + 1 };
        self.frame += 1;
        if self.calm >= TAPS && self.idle >= WINDOW {
            // Every gain in the look-ahead is one.
            return out;
        }
        self.update_gain();
        if self.sum == FULL_SUM {
            return out;
        }
        let gain = (self.sum as f64 / FULL_SUM as f64) as f32;
        let limited = |sample: f32| (sample * gain).clamp(-LIMITER_CEILING, LIMITER_CEILING);
        (limited(out.0), limited(out.1))
    }

    /// The gain needed by the frame [`PEAK_DELAY`] frames ago and the curve from there to the next.
    fn needed_gain(&self) -> u32 {
        if self.calm >= TAPS {
            return ONE;
        }
        let (mut over, window) = (0.0_f32, self.recent_at..self.recent_at + TAPS);
        for row in &self.recent {
            let row = &row[window.clone()];
            over = over.max(row[PEAK_DELAY - 1].abs() / LIMITER_CEILING);
            for taps in &self.taps {
                let interpolated: f32 = row.iter().zip(taps).map(|(x, h)| x * h).sum();
                over = over.max(interpolated.abs() / INTERPOLATED_CEILING);
            }
        }
        if over > 1.0 { (f64::from(ONE) / f64::from(over)) as u32 } else { ONE }
    }

    fn update_gain(&mut self) {
        let need = self.needed_gain();
        while self.minima.back().is_some_and(|(gain, _)| *gain >= need) {
            self.minima.pop_back();
        }
        if self.minima.front().is_some_and(|(_, frame)| frame + WINDOW as u64 <= self.frame) {
            self.minima.pop_front();
        }
        self.minima.push_back((need, self.frame));
        let least = self.minima[0].0;
        let recovered = self.hold + ((ONE - self.hold) >> RECOVERY_SHIFT).max(1).min(ONE - self.hold);
        self.hold = least.min(recovered);
        self.sum = self.sum - u64::from(self.held[self.held_at]) + u64::from(self.hold);
        self.held[self.held_at] = self.hold;
        self.held_at = (self.held_at + 1) % WINDOW;
        self.idle = if need == ONE && self.hold == ONE { self.idle + 1 } else { 0 };
        if self.idle >= WINDOW {
            self.minima.clear();
        }
    }
}

/// Weights of [`TAPS`] consecutive samples for the value `quarters` quarters after the first of the middle pair: a sinc under a
/// raised cosine, normalized for a constant signal.
fn quarter(quarters: usize) -> [f32; TAPS] {
    let mut taps = [0.0; TAPS];
    for (k, tap) in taps.iter_mut().enumerate() {
        let x = k as f64 - (PEAK_DELAY - 1) as f64 - quarters as f64 / 4.0;
        *tap = (PI * x).sin() / (PI * x) * (0.5 + 0.5 * (PI * x / (PEAK_DELAY as f64 + 0.5)).cos());
    }
    let sum: f64 = taps.iter().sum();
    taps.map(|t| (t / sum) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run(input: &[(f32, f32)]) -> Vec<(f32, f32)> {
        let mut limiter = Limiter::new();
        let mut out: Vec<_> = input.iter().map(|&(l, r)| limiter.next(l, r)).collect();
        out.extend((0..DELAY).map(|_| limiter.next(0.0, 0.0)));
        out.split_off(DELAY)
    }

    #[test]
    fn what_stays_below_the_ceiling_is_not_touched() {
        let input: Vec<_> = (0..5000).map(|n| ((n as f32 * 0.1).sin() * 0.81, (n as f32 * 0.07).sin() * 0.8)).collect();
        // The last frames are left out: the sudden end makes a curve that swings higher than the samples.
        assert!(run(&input)[..4900] == input[..4900]);
    }

    /// Greatest value of the curve through the samples, by a long windowed sinc at eight points per frame.
    fn true_peak(samples: &[f32]) -> f64 {
        let reach = 32_i64;
        let mut peak = 0.0_f64;
        for n in reach..samples.len() as i64 - reach {
            if samples[n as usize].abs().max(samples[n as usize + 1].abs()) < 0.4 {
                continue;
            }
            for eighth in 0..8 {
                let t = f64::from(eighth) / 8.0;
                let sum: f64 = (1 - reach..=reach)
                    .map(|k| {
                        let x = k as f64 - t;
                        let sinc = if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) };
                        f64::from(samples[(n + k) as usize])
                            * sinc
                            * (PI * x / (2.0 * reach as f64 + 1.0)).cos().powi(2)
                    })
                    .sum();
                peak = peak.max(sum.abs());
            }
        }
        peak
    }

    #[test]
    fn the_curve_between_the_samples_stays_below_minus_one_decibel() {
        // A tone at a quarter of the rate, sampled beside its peaks, and bursts of bright noise.
        let tone: Vec<_> = (0..2000).map(|n| ((f64::from(n) * PI / 2.0 + PI / 4.0).sin() as f32 * 1.15, 0.0)).collect();
        let mut x = 1_u64;
        let noise: Vec<_> = (0..6000)
            .map(|n| {
                x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let level = 3.0 * (-f64::from(n % 2000) / 600.0).exp() as f32;
                (((x >> 40) as f32 / (1_u32 << 23) as f32 - 1.0) * level, 0.0)
            })
            .collect();
        for (name, input) in [("tone", tone), ("noise", noise)] {
            let out: Vec<f32> = run(&input).into_iter().map(|f| f.0).collect();
            let dry: Vec<f32> = input.iter().map(|f| f.0).collect();
            assert!(true_peak(&dry) > 1.1);
            let found = 20.0 * true_peak(&out).log10();
            assert!(found <= -1.0, "{name}: {found} dBTP");
            assert!(found > -3.0, "{name}: {found} dBTP is more than needed");
        }
    }

    #[test]
    fn after_a_peak_the_signal_is_untouched_again() {
        let mut input = vec![(0.25, -0.25); 400_000];
        input[1000] = (4.0, 0.0);
        let out = run(&input);
        assert!((LIMITER_CEILING - out[1000].0).abs() < 0.01, "{:?}", out[1000]);
        assert!(out[..1000 - DELAY] == input[..1000 - DELAY]);
        assert_eq!(out.last(), input.last());
        // 63% of the way back after 2^12 frames.
        let share = (out[1000 + 4096 + 64].0 / 0.25 - LIMITER_CEILING / 4.0) / (1.0 - LIMITER_CEILING / 4.0);
        assert!((0.6..0.68).contains(&share), "{share}");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn no_sample_leaves_above_the_ceiling(parts in prop::collection::vec((0_usize..200, 0.0_f32..20.0, any::<u64>()), 1..20)) {
            let mut input = Vec::new();
            for (length, level, seed) in parts {
                let mut x = seed | 1;
                for _ in 0..length {
                    x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    let y = ((x >> 40) as f32 / (1_u32 << 23) as f32 - 1.0) * level;
                    input.push((y, -y * 0.5));
                }
            }
            // The gain alone keeps the ceiling; the last clamp only takes the rounding of one multiplication.
            for (out, dry) in run(&input).into_iter().zip(&input) {
                prop_assert!(out.0.abs() <= LIMITER_CEILING && out.1.abs() <= LIMITER_CEILING);
                prop_assert!(out.0.abs() <= dry.0.abs() && out.0 * dry.0 >= 0.0);
            }
        }
    }
}
