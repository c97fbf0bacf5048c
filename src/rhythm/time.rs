//! Exact numbers and exact musical time.

use num_integer::Integer;
use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedDiv, CheckedMul, CheckedSub};
use std::fmt;

/// An exact dimensionless number: a fraction of two 64-bit integers, always in lowest terms.
///
/// Every operation is checked: it gives `None` instead of a wrong number.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Fraction(Ratio<i64>);

/// An exact length or position in whole notes (a quarter note is 1/4).
///
/// Every operation is checked: it gives `None` instead of a wrong number.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Time(Fraction);

impl Fraction {
    pub(crate) const ZERO: Fraction = Fraction(Ratio::new_raw(0, 1));
    pub(crate) const ONE: Fraction = Fraction(Ratio::new_raw(1, 1));

    /// `numer / denom` in lowest terms; `None` if `denom` is not positive.
    pub fn new(numer: i64, denom: i64) -> Option<Self> {
        (denom > 0 && numer != i64::MIN).then(|| {
            // The remainder has the same common divisor and is mostly far smaller.
            let common = (numer % denom).gcd(&denom);
            Self(Ratio::new_raw(numer / common, denom / common))
        })
    }

    /// A whole number.
    pub fn whole(n: i32) -> Self {
        Self(Ratio::from_integer(i64::from(n)))
    }

    /// Numerator in lowest terms.
    pub fn numer(self) -> i64 {
        *self.0.numer()
    }

    /// Denominator in lowest terms, positive.
    pub fn denom(self) -> i64 {
        *self.0.denom()
    }

    pub(crate) fn plus(self, other: Self) -> Option<Self> {
        self.0.checked_add(&other.0).map(Self)
    }

    pub(crate) fn minus(self, other: Self) -> Option<Self> {
        self.0.checked_sub(&other.0).map(Self)
    }

    /// Product, or `None` on overflow.
    pub fn times(self, other: Self) -> Option<Self> {
        self.0.checked_mul(&other.0).map(Self)
    }

    pub(crate) fn over(self, other: Self) -> Option<Self> {
        if other.numer() == 0 { None } else { self.0.checked_div(&other.0).map(Self) }
    }

    pub(crate) fn floor(self) -> i64 {
        self.numer().div_euclid(self.denom())
    }

    /// The nearest whole number, halves upward.
    pub(crate) fn round(self) -> i64 {
        let (n, d) = (i128::from(self.numer()), i128::from(self.denom()));
        ((2 * n + d).div_euclid(2 * d)) as i64
    }

    /// Reads `150`, `132.5` or `400/3` exactly; `None` for anything else, and on overflow.
    pub fn parse(text: &str) -> Option<Self> {
        let (sign, text) = text.strip_prefix('-').map_or((1, text), |rest| (-1, rest));
        if let Some((n, d)) = text.split_once('/') {
            return Self::new(sign * digits(n)?, digits(d)?);
        }
        let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
        if part.len() > 9 {
            return None;
        }
        let scale = 10_i64.checked_pow(part.len() as u32)?;
        let numer = digits(whole)?.checked_mul(scale)?.checked_add(digits(part)?)?;
        Self::new(sign * numer, scale)
    }
}

/// The number that a text of digits only stands for.
pub(super) fn digits(text: &str) -> Option<i64> {
    text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

/// Prints `150`, `132.5` or, where no short decimal is exact, `400/3`; [`Fraction::parse`] reads it back.
impl fmt::Display for Fraction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (n, d) = (self.numer(), self.denom());
        if d == 1 {
            return write!(f, "{n}");
        }
        for places in 1..=6_u32 {
            let scale = 10_i64.pow(places);
            if scale % d == 0
                && let Some(scaled) = n.checked_mul(scale / d)
            {
                let sign = if scaled < 0 { "-" } else { "" };
                let (whole, part) = (scaled.abs() / scale, scaled.abs() % scale);
                return write!(f, "{sign}{whole}.{part:0width$}", width = places as usize);
            }
        }
        write!(f, "{n}/{d}")
    }
}

impl fmt::Debug for Fraction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.numer(), self.denom())
    }
}

impl Time {
    /// Zero.
    pub const ZERO: Time = Time(Fraction::ZERO);
    pub(crate) const WHOLE: Time = Time(Fraction::ONE);

    /// `numer / denom` whole notes; `None` if `denom` is not positive.
    pub fn new(numer: i64, denom: i64) -> Option<Self> {
        Fraction::new(numer, denom).map(Self)
    }

    /// The number of whole notes.
    pub fn wholes(self) -> Fraction {
        self.0
    }

    /// Numerator in lowest terms.
    pub(crate) fn numer(self) -> i64 {
        self.0.numer()
    }

    /// Denominator in lowest terms, positive.
    pub(crate) fn denom(self) -> i64 {
        self.0.denom()
    }

    /// Sum, or `None` on overflow.
    pub fn plus(self, other: Self) -> Option<Self> {
        self.0.plus(other.0).map(Self)
    }

    /// Difference, or `None` on overflow.
    pub fn minus(self, other: Self) -> Option<Self> {
        self.0.minus(other.0).map(Self)
    }

    pub(crate) fn scaled(self, factor: Fraction) -> Option<Self> {
        self.0.times(factor).map(Self)
    }

    /// This length `n` times, or `None` on overflow.
    pub fn repeated(self, n: usize) -> Option<Self> {
        let n = i64::try_from(n).ok()?;
        self.scaled(Fraction::new(n, 1)?)
    }

    /// This length over `n`; `None` for `n` = 0 or on overflow.
    pub(crate) fn divided(self, n: usize) -> Option<Self> {
        let n = i64::try_from(n).ok()?;
        self.scaled(Fraction::new(1, n)?)
    }

    pub(crate) fn ratio_to(self, other: Self) -> Option<Fraction> {
        self.0.over(other.0)
    }

    /// How many times a length fits; `None` if it is zero.
    pub(crate) fn whole_units(self, unit: Self) -> Option<i128> {
        let (n, d) = (i128::from(self.numer()), i128::from(self.denom()));
        (n * i128::from(unit.denom())).checked_div_euclid(d * i128::from(unit.numer()))
    }

    /// The greatest length of which both are whole multiples; `None` on overflow. Zero is a multiple of every length.
    pub(crate) fn common_measure(self, other: Self) -> Option<Self> {
        // Fast path: in lowest terms, `other` is a multiple of `self` exactly if both of these divide.
        if self.numer() != 0 && other.numer() % self.numer() == 0 && self.denom() % other.denom() == 0 {
            return Some(Self(Fraction(Ratio::new_raw(self.numer().checked_abs()?, self.denom()))));
        }
        let denom = i128::from(self.denom()).lcm(&i128::from(other.denom()));
        let a = i128::from(self.numer()).checked_mul(denom / i128::from(self.denom()))?;
        let b = i128::from(other.numer()).checked_mul(denom / i128::from(other.denom()))?;
        let numer = a.gcd(&b);
        let shared = numer.gcd(&denom).max(1);
        Self::new(i64::try_from(numer / shared).ok()?, i64::try_from(denom / shared).ok()?)
    }

    /// The shortest length that is a whole multiple of both; `None` if one is zero or on overflow.
    pub(crate) fn common_multiple(self, other: Self) -> Option<Self> {
        self.scaled(other.ratio_to(self.common_measure(other)?)?)
    }
}

/// Prints whole notes as a fraction: `3/16`.
impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.numer(), self.denom())
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{} whole", self.numer(), self.denom())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn decimals_are_exact() {
        assert_eq!(Fraction::parse("132.5"), Fraction::new(265, 2));
        assert_eq!(Fraction::parse("400/3"), Fraction::new(400, 3));
        for bad in ["", ".", "1.", "1/0", "x", "1e3", "1.5/2", "99999999999999999999", "--1"] {
            assert_eq!(Fraction::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn overflow_gives_none() {
        let big = Fraction::new(i64::MAX, 1).expect("valid");
        let thin = Fraction::new(1, i64::MAX).expect("valid");
        assert_eq!(big.plus(Fraction::ONE), None);
        assert_eq!(big.times(big), None);
        assert_eq!(thin.times(thin), None);
        assert_eq!(Fraction::ONE.over(Fraction::ZERO), None);
        assert_eq!(Fraction::new(1, 0), None);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn printing_and_parsing_a_fraction_is_a_round_trip(n in -1_000_000_i64..1_000_000, d in 1_i64..10_000) {
            let x = Fraction::new(n, d).expect("valid");
            prop_assert_eq!(Fraction::parse(&x.to_string()), Some(x));
        }

        #[test]
        fn results_equal_those_of_unbounded_arithmetic(a in any::<i64>(), b in 1_i64.., c in any::<i64>(), d in 1_i64.., shift in 0_u32..60) {
            // Shifted, so that both small and overflowing numbers occur.
            if let (Some(x), Some(y)) = (Fraction::new(a >> shift, (b >> shift).max(1)), Fraction::new(c >> shift, (d >> shift).max(1))) {
                let wide = |f: Fraction| num_rational::BigRational::new(f.numer().into(), f.denom().into());
                for (got, expected) in [
                    (x.plus(y), Some(wide(x) + wide(y))),
                    (x.minus(y), Some(wide(x) - wide(y))),
                    (x.times(y), Some(wide(x) * wide(y))),
                    (x.over(y), (y.numer() != 0).then(|| wide(x) / wide(y))),
                ] {
                    if let Some(got) = got {
                        prop_assert_eq!(Some(wide(got)), expected);
                    }
                }
            }
        }

        #[test]
        fn the_common_measure_divides_both(a in 1_i64..1000, b in 1_i64..200, c in 1_i64..1000, d in 1_i64..200) {
            let (x, y) = (Time::new(a, b).expect("valid"), Time::new(c, d).expect("valid"));
            let m = x.common_measure(y).expect("small");
            prop_assert_eq!(x.ratio_to(m).expect("small").denom(), 1);
            prop_assert_eq!(y.ratio_to(m).expect("small").denom(), 1);
            let whole = x.common_multiple(y).expect("small");
            prop_assert_eq!(whole.ratio_to(x).expect("small").denom(), 1);
            prop_assert_eq!(whole.ratio_to(y).expect("small").denom(), 1);
        }
    }
}
