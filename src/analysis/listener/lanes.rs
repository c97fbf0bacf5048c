//! Exponential, logarithm and rounding for several hypotheses side by side: plain arithmetic that the compiler turns into vector code,
//! the same on every machine. The hot loops that use it are compiled a second time for the wider vectors of newer processors; no
//! operations are fused or reordered.

/// Hypotheses side by side.
pub(super) const LANES: usize = 16;
/// A number for each of them.
pub(super) type Lanes = [f32; LANES];

/// 1.5 x 2^23: adding and subtracting it rounds to a whole number, halves to even.
const ROUND: f32 = 12_582_912.0;

/// The nearest whole number, of numbers below four million.
#[inline(always)]
pub(super) fn round(x: f32) -> f32 {
    (x + ROUND) - ROUND
}

/// The last bits of a whole number from 0 to below four million.
#[inline(always)]
pub(super) fn low_bits(x: f32) -> u32 {
    (x + ROUND).to_bits() & 0x3f_ffff
}

/// `e^x` for `x` up to 80, to a few millionths; below -87 the value at -87.
#[inline(always)]
pub(super) fn exp(x: f32) -> f32 {
    let y = x.max(-87.0) * std::f32::consts::LOG2_E;
    let shifted = y + ROUND;
    let f = (y - (shifted - ROUND)) * std::f32::consts::LN_2;
    // Taylor series on half a power of two; the first term left out is below 2e-7.
    let (square, cubic) = (f * f, 1.0 / 2.0 + f * (1.0 / 6.0));
    let rest = 1.0 / 24.0 + f * (1.0 / 120.0) + square * (1.0 / 720.0);
    let p = 1.0 + f + square * (cubic + square * rest);
    p * f32::from_bits((shifted.to_bits() << 23).wrapping_add(0x3f80_0000))
}

/// Natural logarithm of a normal positive number, to a few ten-millionths.
#[inline(always)]
pub(crate) fn ln(x: f32) -> f32 {
    // x = m 2^e with m from 2/3 to 4/3; ln m = 2 atanh((m - 1) / (m + 1)).
    let e = x.to_bits().wrapping_sub(0x3f2a_aaab) & 0xff80_0000;
    let m = f32::from_bits(x.to_bits().wrapping_sub(e));
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let atanh = s * (1.0 + q * (1.0 / 3.0) + q * q * (1.0 / 5.0 + q * (1.0 / 7.0) + q * q * (1.0 / 9.0)));
    2.0 * atanh + (e as i32) as f32 * (std::f32::consts::LN_2 / 8_388_608.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_functions_agree_with_the_standard_library() {
        for i in 0..20_000 {
            let x = i as f32 * 0.001;
            let (near, exact) = (exp(-x), f64::from(-x).exp());
            assert!((f64::from(near) / exact - 1.0).abs() < 4e-6, "exp(-{x}) {near} {exact}");
            let y = 1e-9 * 1.0025_f32.powi(i);
            if y < 1e12 {
                assert!((f64::from(ln(y)) - f64::from(y).ln()).abs() < 3e-6, "ln({y})");
            }
            assert_eq!(round(x * 7.0), (x * 7.0).round_ties_even());
            assert_eq!(low_bits(i as f32), i as u32);
        }
        assert_eq!(ln(1.0), 0.0);
        assert!(exp(-1e9) < 1e-37 && exp(0.0) == 1.0);
    }
}
