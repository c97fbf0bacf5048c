//! From exact musical time to exact frames, with one common denominator for a loop. It must not know layers or sounds.

use super::units::SampleRate;
use crate::rhythm::{Fraction, Tempo, Time};
use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive};

/// Largest common denominator that is kept exactly: 2^120.
const MOST: u32 = 120;
/// Least denominator of a ruler for times in seconds: 2^48.
const FINE: u32 = 48;

/// A position or length: whole frames, and a part of a frame over the denominator of its [`Timebase`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(super) struct FrameTime {
    /// Whole frames, rounded down.
    pub(super) frame: i64,
    /// The rest, at least 0 and less than the denominator.
    pub(super) part: i128,
}

impl FrameTime {
    /// The start.
    pub(super) const ZERO: FrameTime = FrameTime { frame: 0, part: 0 };

    /// Exact sum.
    pub(super) fn plus(self, other: Self, denom: i128) -> Self {
        let part = self.part + other.part;
        let carry = part >= denom;
        Self {
            frame: self.frame.saturating_add(other.frame).saturating_add(i64::from(carry)),
            part: if carry { part - denom } else { part },
        }
    }

    /// Exact difference.
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

    /// As a rounded number of frames.
    pub(super) fn approx(self, denom: i128) -> f64 {
        self.frame as f64 + self.part as f64 / denom as f64
    }
}

/// Exact frames per whole note: `60 * rate / (whole notes per minute * speed)`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FramesPerWhole(BigRational);

impl FramesPerWhole {
    /// The pace of a tempo at a playing speed (1 is full speed); a speed that is not positive counts as full speed.
    pub(super) fn new(tempo: Tempo, speed: Fraction, rate: SampleRate) -> Self {
        let minute = BigRational::from_integer(BigInt::from(60_u32) * rate.hertz());
        let speed = if speed.numer() > 0 { big(speed) } else { BigRational::one() };
        Self(minute / (big(tempo.bpm()) * big(tempo.unit().wholes()) * speed))
    }

    /// Rounded frames per whole note.
    pub(super) fn approx(&self) -> f64 {
        self.0.to_f64().unwrap_or(0.0)
    }

    /// Exact frames of a length.
    pub(super) fn frames(&self, time: Time) -> BigRational {
        &self.0 * big(time.wholes())
    }
}

fn big(x: Fraction) -> BigRational {
    BigRational::new(x.numer().into(), x.denom().into())
}

/// Measures exact times of several sections in frames over one common denominator.
///
/// The denominator is the least in which every time asked for is exact, as long as it is not more than 2^120. Beyond that
/// (many sections of unrelated fractional tempos) it is 2^120 and every section length and offset is rounded once to that
/// fixed point, an error of at most 2^-121 frame each.
#[derive(Debug, Clone)]
pub(super) struct Timebase {
    denom: i128,
    rows: Vec<Row>,
}

#[derive(Debug, Clone)]
struct Row {
    pace: FramesPerWhole,
    /// Common denominator of the section's times, in whole notes.
    cells: i64,
    /// What one part of that denominator measures in units of the ruler, where both are small.
    unit: Option<i128>,
}

impl Timebase {
    /// A ruler for sections of these paces, each with the denominators (whole notes) of the times that will be asked for.
    pub(super) fn new(sections: Vec<(FramesPerWhole, Vec<i64>)>) -> Self {
        let mut denom = BigInt::one();
        let mut units = Vec::with_capacity(sections.len());
        for (pace, denominators) in &sections {
            let cells = denominators.iter().fold(BigInt::one(), |all, &d| all.lcm(&BigInt::from(d.max(1))));
            let unit = &pace.0 / &cells;
            if denom.bits() <= u64::from(MOST) {
                denom = denom.lcm(unit.denom());
            }
            units.push((cells, unit));
        }
        let exact = denom.to_i128().filter(|&d| d <= 1 << MOST);
        let rows = sections.into_iter().zip(units).map(|((pace, _), (cells, unit))| {
            let steps = exact.and_then(|d| (unit * BigInt::from(d)).to_integer().to_i128());
            match (cells.to_i64(), steps) {
                (Some(cells), Some(unit)) => Row { pace, cells, unit: Some(unit) },
                _ => Row { pace, cells: 1, unit: None },
            }
        });
        Self { rows: rows.collect(), denom: exact.unwrap_or(1 << MOST) }
    }

    /// The same ruler with a denominator of at least 2^48, if that is not beyond 2^120: a time in seconds, which is seldom
    /// exact in the denominator of the cells, then does not come to another frame by being rounded to it first.
    pub(super) fn refined(mut self) -> Self {
        while self.denom < 1 << FINE && self.rows.iter().all(|r| r.unit.is_none_or(|u| u < 1 << 100)) {
            self.denom *= 2;
            for unit in self.rows.iter_mut().filter_map(|r| r.unit.as_mut()) {
                *unit *= 2;
            }
        }
        self
    }

    /// The common denominator, 1 to 2^120.
    pub(super) fn denom(&self) -> i128 {
        self.denom
    }

    /// The pace of a section.
    pub(super) fn pace(&self, section: usize) -> &FramesPerWhole {
        &self.rows[section].pace
    }

    /// Frames from the start of a section to `time`.
    pub(super) fn at(&self, section: usize, time: Time) -> FrameTime {
        let row = &self.rows[section];
        // Both factors of a checked product fit; every other case takes the slow way with the same result.
        let fast = row
            .unit
            .filter(|_| row.cells % time.denom() == 0)
            .and_then(|unit| (i128::from(time.numer()) * i128::from(row.cells / time.denom())).checked_mul(unit));
        match fast {
            Some(value) => self.point(value),
            None => self.nearest(&row.pace.frames(time)),
        }
    }

    /// The point nearest to any exact number of frames; exact where the denominator allows it.
    pub(super) fn nearest(&self, frames: &BigRational) -> FrameTime {
        let scaled = (frames * BigInt::from(self.denom)).round().to_integer();
        let (frame, part) = scaled.div_mod_floor(&BigInt::from(self.denom));
        let far = if frame.is_negative() { i64::MIN / 4 } else { i64::MAX / 4 };
        FrameTime { frame: frame.to_i64().unwrap_or(far), part: part.to_i128().unwrap_or(0) }
    }

    fn point(&self, value: i128) -> FrameTime {
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
    use proptest::prelude::*;

    fn pace(bpm: &str, rate: u32) -> FramesPerWhole {
        let tempo = Tempo::new(Fraction::parse(bpm).expect("valid"), Time::new(1, 4).expect("valid")).expect("valid");
        FramesPerWhole::new(tempo, Fraction::ONE, SampleRate::new(rate).expect("valid"))
    }

    fn value(p: FrameTime, denom: i128) -> BigRational {
        BigRational::from_integer(p.frame.into()) + BigRational::new(p.part.into(), denom.into())
    }

    #[test]
    fn a_quarter_at_120_is_half_a_second() {
        let ruler = Timebase::new(vec![(pace("120", 48_000), vec![4])]);
        assert_eq!(ruler.at(0, Time::new(1, 4).expect("valid")), FrameTime { frame: 24_000, part: 0 });
        assert_eq!(ruler.denom(), 1);
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
        let rows: Vec<_> = primes.iter().map(|p| (pace(&format!("{p}/64"), 44_100), vec![16])).collect();
        let ruler = Timebase::new(rows.clone());
        assert_eq!(ruler.denom(), 1 << 120);
        let bound = BigRational::new(BigInt::one(), BigInt::one() << 121);
        for (s, (pace, _)) in rows.iter().enumerate() {
            let time = Time::new(13, 16).expect("valid");
            let error = value(ruler.at(s, time), ruler.denom()) - pace.frames(time);
            assert!(error.abs() <= bound);
        }
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn points_are_exact(
            bpm in 5_000_i64..1_000_000, scale in prop::sample::select(vec![1_i64, 3, 7, 1000]), numer in 0_i64..100_000,
            denom in 1_i64..200, other in 1_i64..64, rate in prop::sample::select(vec![8_000_u32, 44_100, 48_000, 96_000]),
            passes in 0_u64..1_000_000,
        ) {
            let tempo = Fraction::new(bpm.clamp(5 * scale, 1000 * scale), scale).expect("valid");
            let pace = pace(&format!("{}/{}", tempo.numer(), tempo.denom()), rate);
            let ruler = Timebase::new(vec![(pace.clone(), vec![denom, other])]);
            let time = Time::new(numer, denom).expect("valid");
            let point = ruler.at(0, time);
            prop_assert_eq!(value(point, ruler.denom()), pace.frames(time));
            let fine = ruler.clone().refined();
            prop_assert!(fine.denom() >= 1 << 48);
            prop_assert_eq!(value(fine.at(0, time), fine.denom()), pace.frames(time));
            let many = point.times(passes, ruler.denom());
            let exact = pace.frames(time) * BigInt::from(passes);
            prop_assert_eq!(value(many, ruler.denom()), exact.clone());
            prop_assert_eq!(many.minus(point, ruler.denom()).plus(point, ruler.denom()), many);
            let half = BigRational::new(1.into(), 2.into());
            prop_assert_eq!(BigInt::from(many.rounded(ruler.denom())), (exact + half).floor().to_integer());
        }
    }
}
