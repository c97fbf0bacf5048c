//! Sums that the compiler turns into vector code. The hot loops that use it are compiled a second time for the wider
//! vectors of newer processors. No operations are fused or reordered: there are [`LANES`] partial sums on every machine.

/// Partial sums of a sum.
pub(super) const LANES: usize = 8;

/// The sums of products of two slices of the same length, a multiple of [`LANES`]: of those with an even index, and of the others.
#[inline(always)]
pub(super) fn dot(a: &[f32], b: &[f32]) -> [f32; 2] {
    let mut sums = [0.0; LANES];
    for (a, b) in a.as_chunks::<LANES>().0.iter().zip(b.as_chunks::<LANES>().0) {
        for i in 0..LANES {
            sums[i] += a[i] * b[i];
        }
    }
    totals(&sums)
}

/// The sums of the values with an even index, and of the others.
#[inline(always)]
pub(super) fn sum(values: &[f32]) -> [f32; 2] {
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
    totals(&sums)
}

#[inline(always)]
fn totals(s: &[f32; LANES]) -> [f32; 2] {
    [(s[0] + s[4]) + (s[2] + s[6]), (s[1] + s[5]) + (s[3] + s[7])]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_those_of_plain_loops() {
        let values: Vec<f32> = (1..=21).map(|i| i as f32).collect();
        assert_eq!(sum(&values), [121.0, 110.0]);
        let product = |i: i32| (i * (i + 1)) as f32;
        let [even, odd] = [1, 2].map(|first| (first..=16).step_by(2).map(product).sum::<f32>());
        assert_eq!(dot(&values[..16], &values[1..17]), [even, odd]);
    }
}
