//! Exact conversion of musical time to frames, with one common denominator for a loop.

use super::units::SampleRate;
use crate::rhythm::{Fraction, Tempo, Time};
use num_integer::Integer;
use num_rational::Ratio;
use num_traits::{CheckedMul, ToPrimitive};

/// Largest common denominator, as a power of two.
const MAX_DENOM_BITS: u32 = 120;
/// Least denominator of a refined timebase, as a power of two.
const REFINED_BITS: u32 = 48;
const SECOND_BITS: u32 = 64;
const MAX_SECONDS: f64 = (1_u64 << 31) as f64;

/// A position or length: whole frames, and a part of a frame over the denominator of its [`Timebase`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(super) struct FrameTime {
    /// Rounded down.
    pub(super) frame: i64,
    /// The rest, at least 0 and less than the denominator.
    pub(super) part: i128,
}

impl FrameTime {
    pub(super) const ZERO: FrameTime = FrameTime { frame: 0, part: 0 };

    pub(super) fn plus(self, other: Self, denom: i128) -> Self {
        let part = self.part + other.part;
        let carry = part >= denom;
        Self {
            frame: self.frame.saturating_add(other.frame).saturating_add(i64::from(carry)),
            part: if carry { part - denom } else { part },
        }
    }

    pub(super) fn minus(self, other: Self, denom: i128) -> Self {
        let part = self.part - other.part;
        let borrow = part < 0;
        Self {
            frame: self.frame.saturating_sub(other.frame).saturating_sub(i64::from(borrow)),
            part: if borrow { part + denom } else { part },
        }
    }

    /// This length `n` times, exactly, by doubling.
    pub(super) fn times(self, mut n: u64, denom: i128) -> Self {
        let (mut sum, mut power) = (Self::ZERO, self);
        while n > 0 {
            if n & 1 == 1 {
                sum = sum.plus(power, denom);
            }
            power = power.plus(power, denom);
            n >>= 1;
        }
        sum
    }

    /// The nearest whole frame, halves upward.
    pub(super) fn rounded(self, denom: i128) -> i64 {
        self.frame + i64::from(2 * self.part >= denom)
    }

    pub(super) fn to_f64(self, denom: i128) -> f64 {
        self.frame as f64 + self.part as f64 / denom as f64
    }
}

/// A time in seconds as a fixed-point number with 64 fractional bits.
///
/// Every `f64` from half a millisecond up is exact in it; a section's length is rounded to it once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seconds(i128);

impl Seconds {
    pub(super) const ZERO: Seconds = Seconds(0);

    /// `None` for what is not finite or longer than 68 years.
    pub(super) fn new(seconds: f64) -> Option<Self> {
        let scaled = (seconds * (1_u128 << SECOND_BITS) as f64).round();
        (seconds.abs() < MAX_SECONDS).then_some(Self(scaled as i128))
    }

    /// How long `time` lasts at full speed.
    pub(super) fn of(time: Time, tempo: Tempo) -> Self {
        let seconds = product(per_whole(tempo, Fraction::ONE, 60), ratio(time.wholes()));
        let (whole, rest) = seconds.numer().div_mod_floor(seconds.denom());
        Self((whole << SECOND_BITS) + rescaled(rest, *seconds.denom(), 1 << SECOND_BITS))
    }

    pub(super) fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    pub(super) fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    pub(super) fn times(self, n: i64) -> Self {
        Self(self.0.saturating_mul(i128::from(n)))
    }
}

/// Exact frames per whole note, `60 * rate / (whole notes per minute * speed)`. A speed that is not positive counts as 1.
pub(super) fn frames_per_whole(tempo: Tempo, speed: Fraction, rate: SampleRate) -> Ratio<i128> {
    per_whole(tempo, speed, 60 * i128::from(rate.hertz()))
}

fn ratio(x: Fraction) -> Ratio<i128> {
    Ratio::new_raw(x.numer().into(), x.denom().into())
}

/// Units per whole note, of which there are `per_minute` in a minute.
fn per_whole(tempo: Tempo, speed: Fraction, per_minute: i128) -> Ratio<i128> {
    let speed = if speed.numer() > 0 { speed } else { Fraction::ONE };
    let slow = [tempo.bpm(), tempo.unit().wholes(), speed];
    slow.into_iter().fold(Ratio::from_integer(per_minute), |all, x| product(all, ratio(x).recip()))
}

/// The product, or its `f64` approximation if its terms need more than 120 bits, which no tempo in a file does.
fn product(a: Ratio<i128>, b: Ratio<i128>) -> Ratio<i128> {
    a.checked_mul(&b).filter(|p| *p.denom() >> MAX_DENOM_BITS == 0).unwrap_or_else(|| {
        let approx = a.to_f64().unwrap_or(0.0) * b.to_f64().unwrap_or(0.0);
        Ratio::new((approx * (1_u64 << 32) as f64) as i128, 1 << 32)
    })
}

/// `part / divisor * denom`, rounded, for `0 <= part < divisor` and both divisors up to 2^120. The product may need 240 bits,
/// so it is divided bit by bit if it is not exact.
fn rescaled(part: i128, divisor: i128, denom: i128) -> i128 {
    if denom % divisor == 0 {
        return part * (denom / divisor);
    }
    let (mut quotient, mut rest) = (0, 0);
    for bit in (0..i128::BITS - denom.leading_zeros()).rev() {
        (quotient, rest) = (2 * quotient, 2 * rest + if denom >> bit & 1 == 1 { part } else { 0 });
        while rest >= divisor {
            (quotient, rest) = (quotient + 1, rest - divisor);
        }
    }
    quotient + i128::from(2 * rest >= divisor)
}

/// Measures exact times of several sections in frames over one common denominator.
///
/// The denominator is the least in which every time asked for is exact, as long as it is not more than 2^120. Beyond that
/// (many sections of unrelated fractional tempos) it is 2^120 and every section length and offset is rounded once to that
/// fixed point, an error of at most 2^-121 frame each.
#[derive(Debug, Clone)]
pub(super) struct Timebase {
    /// 1 to 2^120.
    pub(super) denom: i128,
    sections: Vec<SectionScale>,
}

#[derive(Debug, Clone)]
struct SectionScale {
    per_whole: Ratio<i128>,
    /// Common denominator of the section's times, in whole notes.
    cells: i64,
    /// One part of that denominator in units of the timebase, if both are small.
    unit: Option<i128>,
}

fn lcm(a: i128, b: i128) -> Option<i128> {
    (a / a.gcd(&b)).checked_mul(b).filter(|&all| all <= 1 << MAX_DENOM_BITS)
}

impl Timebase {
    /// A timebase for sections with these frames per whole note, each with the denominators of its times in whole notes.
    pub(super) fn new(sections: Vec<(Ratio<i128>, Vec<i64>)>) -> Self {
        // The cells per whole note of a section, and one cell in frames.
        let cell = |(per_whole, denoms): &(Ratio<i128>, Vec<i64>)| {
            let cells = denoms.iter().try_fold(1, |all, &d| lcm(all, d.max(1).into()))?.to_i64()?;
            Some((cells, per_whole.checked_mul(&Ratio::new_raw(1, cells.into()))?))
        };
        let exact = || {
            let cells = sections.iter().map(cell).collect::<Option<Vec<(i64, Ratio<i128>)>>>()?;
            let denom = cells.iter().try_fold(1, |all, (_, frames)| lcm(all, *frames.denom()))?;
            Some((denom, cells))
        };
        let (denom, cells) = exact().unwrap_or((1 << MAX_DENOM_BITS, Vec::new()));
        let scales = sections.into_iter().enumerate().map(|(s, (per_whole, _))| match cells.get(s) {
            Some((cells, frames)) => {
                SectionScale { per_whole, cells: *cells, unit: (denom / frames.denom()).checked_mul(*frames.numer()) }
            }
            None => SectionScale { per_whole, cells: 1, unit: None },
        });
        Self { sections: scales.collect(), denom }
    }

    /// The same timebase with a denominator of at least 2^48, unless that exceeds 2^120: a time in seconds is seldom exact in
    /// the denominator of the cells, and rounding it to a coarse one could move it to another frame.
    pub(super) fn refined(mut self) -> Self {
        while self.denom < 1 << REFINED_BITS && self.sections.iter().all(|r| r.unit.is_none_or(|u| u < 1 << 100)) {
            self.denom *= 2;
            for unit in self.sections.iter_mut().filter_map(|r| r.unit.as_mut()) {
                *unit *= 2;
            }
        }
        self
    }

    /// Frames per whole note in a section, rounded.
    pub(super) fn frames_per_whole(&self, section: usize) -> f64 {
        self.sections[section].per_whole.to_f64().unwrap_or(0.0)
    }

    /// Frames from the start of a section to `time`.
    pub(super) fn frame_time(&self, section: usize, time: Time) -> FrameTime {
        let scale = &self.sections[section];
        // Both factors of a checked product fit; every other case takes the slow way with the same result.
        let fast = scale
            .unit
            .filter(|_| scale.cells % time.denom() == 0)
            .and_then(|unit| (i128::from(time.numer()) * i128::from(scale.cells / time.denom())).checked_mul(unit));
        if let Some(value) = fast {
            return self.of_units(value);
        }
        let frames = product(scale.per_whole, ratio(time.wholes()));
        let (whole, rest) = frames.numer().div_mod_floor(frames.denom());
        self.nearest(whole, rest, *frames.denom())
    }

    /// Frames of a time at `speed`, rounded once to this timebase. The terms of the speed are below 2^24.
    pub(super) fn of_seconds(&self, time: Seconds, speed: Fraction, rate: SampleRate) -> FrameTime {
        let per_second = i128::from(rate.hertz()) * i128::from(speed.denom());
        let divisor = i128::from(speed.numer()) << SECOND_BITS;
        let (whole, rest) = time.0.div_mod_floor(&divisor);
        let (frames, rest) = (rest * per_second).div_mod_floor(&divisor);
        self.nearest(whole * per_second + frames, rest, divisor)
    }

    /// The time nearest to `whole + rest / divisor` frames.
    fn nearest(&self, whole: i128, rest: i128, divisor: i128) -> FrameTime {
        let part = rescaled(rest, divisor, self.denom);
        let limit = i128::from(i64::MAX / 4);
        let whole = (whole + i128::from(part == self.denom)).clamp(-limit, limit);
        FrameTime { frame: whole as i64, part: if part == self.denom { 0 } else { part } }
    }

    fn of_units(&self, value: i128) -> FrameTime {
        // A division of 64-bit numbers is many times faster, and nearly every groove gets by with it.
        if let (Ok(v), Ok(d)) = (i64::try_from(value), i64::try_from(self.denom)) {
            return FrameTime { frame: v.div_euclid(d), part: i128::from(v.rem_euclid(d)) };
        }
        let (frame, part) = value.div_mod_floor(&self.denom);
        FrameTime { frame: i64::try_from(frame).unwrap_or(i64::MAX / 4), part }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_bigint::BigInt;
    use num_rational::BigRational;
    use num_traits::{FromPrimitive, One, Signed};
    use proptest::prelude::*;

    fn per_whole(bpm: &str, rate: u32) -> Ratio<i128> {
        let tempo = Tempo::new(Fraction::parse(bpm).expect("valid"), Time::new(1, 4).expect("valid")).expect("valid");
        frames_per_whole(tempo, Fraction::ONE, SampleRate::new(rate).expect("valid"))
    }

    fn big(x: Ratio<i128>) -> BigRational {
        BigRational::new((*x.numer()).into(), (*x.denom()).into())
    }

    fn value(p: FrameTime, denom: i128) -> BigRational {
        BigRational::from_integer(p.frame.into()) + BigRational::new(p.part.into(), denom.into())
    }

    /// `60 * rate * time / (bpm / 4 * speed)` in arbitrary precision.
    fn exact_frames(bpm: Fraction, speed: Fraction, rate: u32, time: Time) -> BigRational {
        let ratio = |n: i64, d: i64| BigRational::new(n.into(), d.into());
        ratio(240 * i64::from(rate), 1) * ratio(time.numer(), time.denom())
            / (ratio(bpm.numer(), bpm.denom()) * ratio(speed.numer(), speed.denom()))
    }

    #[test]
    fn a_quarter_at_120_is_half_a_second() {
        let timebase = Timebase::new(vec![(per_whole("120", 48_000), vec![4])]);
        assert_eq!(timebase.frame_time(0, Time::new(1, 4).expect("valid")), FrameTime { frame: 24_000, part: 0 });
        assert_eq!(timebase.denom, 1);
    }

    #[test]
    fn halves_round_upward() {
        assert_eq!(FrameTime { frame: 3, part: 1 }.rounded(2), 4);
        assert_eq!(FrameTime { frame: -4, part: 1 }.rounded(2), -3);
        assert_eq!(FrameTime { frame: 3, part: 1 }.rounded(3), 3);
        assert_eq!(FrameTime { frame: 3, part: 2 }.rounded(3), 4);
    }

    #[test]
    fn too_many_unrelated_tempos_fall_back_to_a_fine_fixed_point() {
        let primes = [7919_i64, 7907, 7901, 7883, 7879, 7877, 7873, 7867, 7853, 7841, 7829, 7823];
        let rows: Vec<_> = primes.iter().map(|p| (per_whole(&format!("{p}/64"), 44_100), vec![16])).collect();
        let timebase = Timebase::new(rows.clone());
        assert_eq!(timebase.denom, 1 << 120);
        let bound = BigRational::new(BigInt::one(), BigInt::one() << 121);
        for (s, (per_whole, _)) in rows.iter().enumerate() {
            let time = Time::new(13, 16).expect("valid");
            let error =
                value(timebase.frame_time(s, time), timebase.denom) - big(product(*per_whole, ratio(time.wholes())));
            assert!(error.abs() <= bound);
        }
    }

    #[test]
    fn a_tempo_beyond_the_exact_range_is_rounded_and_not_lost() {
        let bpm = Fraction::new(i64::MAX, i64::MAX / 100 - 1).expect("valid");
        let time = Time::new(i64::MAX / 3, i64::MAX / 7 - 4).expect("valid");
        let tempo = Tempo::new(bpm, Time::new(1, 4).expect("valid")).expect("valid");
        let rate = SampleRate::new(384_000).expect("valid");
        let speed = Fraction::new(999_983, 999_979).expect("valid");
        let timebase = Timebase::new(vec![(frames_per_whole(tempo, speed, rate), vec![i64::MAX, i64::MAX - 1])]);
        let error = value(timebase.frame_time(0, time), timebase.denom) - exact_frames(bpm, speed, 384_000, time);
        assert!(error.abs() < BigRational::new(1.into(), 1000.into()), "{error}");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn frame_times_are_exact(
            bpm in 5_000_i64..1_000_000, scale in prop::sample::select(vec![1_i64, 3, 7, 1000]), numer in 0_i64..100_000,
            denom in 1_i64..200, other in 1_i64..64, rate in prop::sample::select(vec![8_000_u32, 44_100, 48_000, 96_000]),
            passes in 0_u64..1_000_000,
        ) {
            let bpm = Fraction::new(bpm.clamp(5 * scale, 1000 * scale), scale).expect("valid");
            let per_whole = per_whole(&format!("{}/{}", bpm.numer(), bpm.denom()), rate);
            let timebase = Timebase::new(vec![(per_whole, vec![denom, other])]);
            let time = Time::new(numer, denom).expect("valid");
            let exact = exact_frames(bpm, Fraction::ONE, rate, time);
            let at = timebase.frame_time(0, time);
            prop_assert_eq!(value(at, timebase.denom), exact.clone());
            let fine = timebase.clone().refined();
            prop_assert!(fine.denom >= 1 << 48);
            prop_assert_eq!(value(fine.frame_time(0, time), fine.denom), exact.clone());
            let many = at.times(passes, timebase.denom);
            let exact = exact * BigInt::from(passes);
            prop_assert_eq!(value(many, timebase.denom), exact.clone());
            prop_assert_eq!(many.minus(at, timebase.denom).plus(at, timebase.denom), many);
            let half = BigRational::new(1.into(), 2.into());
            prop_assert_eq!(BigInt::from(many.rounded(timebase.denom)), (exact + half).floor().to_integer());
        }

        #[test]
        fn seconds_are_rounded_once(
            seconds in -1e4_f64..1e6, numer in 200_000_i64..2_000_000, denom in 999_983_i64..1_000_000, primes in 0_usize..12,
        ) {
            let rows = ["7919/64", "7907/64", "7901/64", "7883/64", "7879/64", "7877/64", "7873/64", "7867/64", "7853/64", "997/9", "991/7"];
            let rows = rows[..primes.min(11)].iter().map(|bpm| (per_whole(bpm, 44_100), vec![16])).collect();
            let timebase = Timebase::new(rows).refined();
            let speed = Fraction::new(numer, denom).expect("valid");
            let rate = SampleRate::new(384_000).expect("valid");
            let found = timebase.of_seconds(Seconds::new(seconds).expect("finite"), speed, rate);
            let exact = BigRational::from_f64(seconds).expect("finite") * BigInt::from(384_000)
                / BigRational::new(numer.into(), denom.into());
            let unit = BigRational::new(BigInt::one(), BigInt::from(2 * timebase.denom));
            // A time below half a millisecond is rounded to 2^-64 second first.
            let rounding = BigRational::new(BigInt::from(2_000_000), BigInt::one() << 64);
            prop_assert!((value(found, timebase.denom) - exact).abs() <= unit + rounding);
            prop_assert!(found.part < timebase.denom);
        }

        #[test]
        fn rescaling_is_exact_to_a_half(part in 0_i128..1 << 120, divisor in 1_i128..1 << 120, denom in 1_i128..=1 << 120) {
            let part = part % divisor;
            let exact = BigRational::new(BigInt::from(part) * denom, divisor.into());
            prop_assert_eq!(BigInt::from(rescaled(part, divisor, denom)), (exact + BigRational::new(1.into(), 2.into())).floor().to_integer());
        }
    }
}
