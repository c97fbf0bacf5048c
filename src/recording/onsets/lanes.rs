//! Arithmetic that the compiler turns into vector code. The hot loops that use it are compiled a second time for the wider
//! vectors of newer processors. No operations are fused or reordered: sums have [`LANES`] partial sums on every machine.

/// Partial sums of a sum.
pub(super) const LANES: usize = 8;

/// Natural logarithm of a normal positive number, to a few ten-millionths.
#[inline(always)]
pub(super) fn ln(x: f32) -> f32 {
    // x = m 2^e with m from 2/3 to 4/3; ln m = 2 atanh((m - 1) / (m + 1)).
    let e = x.to_bits().wrapping_sub(0x3f2a_aaab) & 0xff80_0000;
    let m = f32::from_bits(x.to_bits().wrapping_sub(e));
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let atanh = s * (1.0 + q * (1.0 / 3.0) + q * q * (1.0 / 5.0 + q * (1.0 / 7.0) + q * q * (1.0 / 9.0)));
    2.0 * atanh + (e as i32) as f32 * (std::f32::consts::LN_2 / 8_388_608.0)
}

/// The sum of products of two slices of the same length, a multiple of [`LANES`].
#[inline(always)]
pub(super) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0; LANES];
    for (a, b) in a.as_chunks::<LANES>().0.iter().zip(b.as_chunks::<LANES>().0) {
        for i in 0..LANES {
            sums[i] += a[i] * b[i];
        }
    }
    total(&sums)
}

/// The sum of a slice.
#[inline(always)]
pub(super) fn sum(values: &[f32]) -> f32 {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for chunk in chunks {
        for i in 0..LANES {
            sums[i] += chunk[i];
        }
    }
    for (sum, value) in sums.iter_mut().zip(rest) {
        *sum += value;
    }
    total(&sums)
}

#[inline(always)]
fn total(s: &[f32; LANES]) -> f32 {
    ((s[0] + s[4]) + (s[2] + s[6])) + ((s[1] + s[5]) + (s[3] + s[7]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_functions_agree_with_the_standard_library() {
        for i in 0..60_000 {
            let x = 1e-9 * 1.001_f32.powi(i);
            if x < 1e12 {
                assert!((f64::from(ln(x)) - f64::from(x).ln()).abs() < 3e-6, "ln({x})");
            }
        }
        assert_eq!(ln(1.0), 0.0);
        let values: Vec<f32> = (1..=21).map(|i| i as f32).collect();
        assert_eq!(sum(&values), 231.0);
        assert_eq!(dot(&values[..16], &values[1..17]), (1..=16).map(|i| (i * (i + 1)) as f32).sum::<f32>());
    }
}
