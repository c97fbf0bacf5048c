//! The peak limiter at the end of the mix. It must not know what was mixed.

/// Ceiling of every output sample: -1.5 dBFS.
pub const CEILING: f32 = 0.841_395_1;
/// Frames by which the limiter delays what goes through it.
pub(super) const DELAY: usize = 64;

/// A gain of one in the limiter's whole-number gains. Whole numbers make the sums exact, so that a signal below the
/// ceiling leaves bit for bit as it came, and the result does not depend on block sizes.
const ONE: u32 = 1 << 30;
/// The gain recovers by 1/2^12 of what is missing per frame: by 63% in 85 ms at 48 kHz.
const RECOVERY: u32 = 12;
const WINDOW: usize = DELAY + 1;

/// A look-ahead limiter for both channels together.
///
/// The gain each frame needs is `min(1, ceiling / peak)`. The least of it over the look-ahead is held, recovers slowly, and
/// is averaged over the look-ahead; every average holds only gains that are small enough for the frame it is applied to,
/// so no sample leaves above [`CEILING`].
#[derive(Debug)]
pub(super) struct Limiter {
    delayed: [(f32, f32); WINDOW],
    /// Gains held over the last frames, and their sum.
    held: [u32; WINDOW],
    sum: u64,
    at: usize,
    /// Least gains still ahead, as (gain, frame) in rising order of both: a queue in a ring.
    queue: [(u32, u64); WINDOW],
    head: usize,
    length: usize,
    frame: u64,
    hold: u32,
    /// Frames since a gain below one was needed or held.
    idle: usize,
}

impl Limiter {
    pub(super) fn new() -> Self {
        Self {
            delayed: [(0.0, 0.0); WINDOW],
            held: [ONE; WINDOW],
            sum: ONE as u64 * WINDOW as u64,
            at: 0,
            queue: [(ONE, 0); WINDOW],
            head: 0,
            length: 0,
            frame: 0,
            hold: ONE,
            idle: WINDOW,
        }
    }

    /// Takes one frame and gives the one [`DELAY`] frames before it, limited.
    pub(super) fn next(&mut self, left: f32, right: f32) -> (f32, f32) {
        let peak = left.abs().max(right.abs());
        self.delayed[self.at] = (left, right);
        let after = if self.at + 1 == WINDOW { 0 } else { self.at + 1 };
        let out = self.delayed[after];
        if peak <= CEILING && self.idle >= WINDOW {
            // Nothing to do for as long as the look-ahead reaches: every gain held is one.
            self.at = after;
            self.frame += 1;
            return out;
        }
        self.limit(peak);
        self.at = after;
        self.frame += 1;
        let gain = (self.sum as f64 / (ONE as u64 * WINDOW as u64) as f64) as f32;
        if self.sum == ONE as u64 * WINDOW as u64 {
            return out;
        }
        ((out.0 * gain).clamp(-CEILING, CEILING), (out.1 * gain).clamp(-CEILING, CEILING))
    }

    fn limit(&mut self, peak: f32) {
        let need = if peak > CEILING { (f64::from(CEILING) / f64::from(peak) * f64::from(ONE)) as u32 } else { ONE };
        while self.length > 0 && self.queue[(self.head + self.length - 1) % WINDOW].0 >= need {
            self.length -= 1;
        }
        if self.length > 0 && self.queue[self.head].1 + WINDOW as u64 <= self.frame {
            self.head = (self.head + 1) % WINDOW;
            self.length -= 1;
        }
        self.queue[(self.head + self.length) % WINDOW] = (need, self.frame);
        self.length += 1;
        let least = self.queue[self.head].0;
        let recovered = self.hold + ((ONE - self.hold) >> RECOVERY).max(1).min(ONE - self.hold);
        self.hold = least.min(recovered);
        self.sum = self.sum - u64::from(self.held[self.at]) + u64::from(self.hold);
        self.held[self.at] = self.hold;
        self.idle = if need == ONE && self.hold == ONE { self.idle + 1 } else { 0 };
        if self.idle >= WINDOW {
            self.length = 0;
        }
    }
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
        let input: Vec<_> = (0..5000).map(|n| ((n as f32 * 0.1).sin() * 0.84, (n as f32 * 0.07).cos() * 0.8)).collect();
        assert_eq!(run(&input), input);
    }

    #[test]
    fn after_a_peak_the_signal_is_untouched_again() {
        let mut input = vec![(0.25, -0.25); 400_000];
        input[1000] = (4.0, 0.0);
        let out = run(&input);
        assert!((out[1000].0 - CEILING).abs() < 1e-3, "{:?}", out[1000]);
        assert_eq!(out[..1000 - DELAY], input[..1000 - DELAY]);
        assert_eq!(out.last(), input.last());
        // 63% of the way back after 2^12 frames.
        let share = (out[1000 + 4096 + 64].0 / 0.25 - CEILING / 4.0) / (1.0 - CEILING / 4.0);
        assert!((0.6..0.68).contains(&share), "{share}");
    }

    proptest! {
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
                prop_assert!(out.0.abs() <= CEILING && out.1.abs() <= CEILING);
                prop_assert!(out.0.abs() <= dry.0.abs() && out.0 * dry.0 >= 0.0);
            }
        }
    }
}
