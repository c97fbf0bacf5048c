//! Symmetric systems of linear equations with two diagonals beside the main one.

/// A symmetric positive definite matrix whose entries more than two places off the diagonal are zero.
///
/// Solved by `L D L'` without pivoting (Golub and Van Loan, *Matrix Computations*, banded Cholesky), in time and memory
/// proportional to its size.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Banded {
    /// Per row: the diagonal and the two entries right of it.
    rows: Vec<[f64; 3]>,
}

impl Banded {
    /// A matrix of zeros with so many rows.
    pub fn new(size: usize) -> Self {
        Self { rows: vec![[0.0; 3]; size] }
    }

    /// Sets every entry to zero.
    pub fn clear(&mut self) {
        self.rows.fill([0.0; 3]);
    }

    /// Adds to the entry at `row` and `column`, and so to its mirror image.
    ///
    /// # Panics
    /// If the entry is outside the matrix or more than two places off the diagonal.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        let (row, column) = (row.min(column), row.max(column));
        assert!(column < self.rows.len(), "expected a column below {}, found {column}", self.rows.len());
        self.rows[row][column - row] += value;
    }

    /// Adds `weight v v'` for a vector that is zero but for `entries` from `row` on.
    pub fn add_outer<const N: usize>(&mut self, row: usize, entries: [f64; N], weight: f64) {
        for (i, a) in entries.iter().enumerate() {
            for (j, b) in entries.iter().enumerate().skip(i) {
                self.rows[row + i][j - i] += weight * a * b;
            }
        }
    }

    /// Replaces `right` by the solution and the matrix by its factors. `false` if the matrix is not positive definite; both are
    /// then of no use.
    pub fn solve(&mut self, right: &mut [f64]) -> bool {
        let size = self.rows.len().min(right.len());
        for i in 0..size {
            let [d, first, second] = self.rows[i];
            // Also refuses a NaN.
            if d.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
                return false;
            }
            let (l1, l2) = (first / d, second / d);
            if i + 1 < size {
                self.rows[i + 1][0] -= l1 * first;
                self.rows[i + 1][1] -= l1 * second;
                right[i + 1] -= l1 * right[i];
            }
            if i + 2 < size {
                self.rows[i + 2][0] -= l2 * second;
                right[i + 2] -= l2 * right[i];
            }
            self.rows[i] = [d, l1, l2];
        }
        for i in (0..size).rev() {
            let [d, l1, l2] = self.rows[i];
            let mut x = right[i] / d;
            if i + 1 < size {
                x -= l1 * right[i + 1];
            }
            if i + 2 < size {
                x -= l2 * right[i + 2];
            }
            right[i] = x;
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        /// Sums of outer products and a small diagonal are positive definite; the product with a known vector gives it back.
        #[test]
        fn the_solution_is_the_vector_the_right_side_was_made_of(
            entries in proptest::collection::vec((-2.0..2.0f64, -2.0..2.0f64, -2.0..2.0f64, -5.0..5.0f64), 1..40)
        ) {
            let size = entries.len();
            let mut banded = Banded::new(size);
            let mut full = vec![vec![0.0; size]; size];
            for (i, row) in full.iter_mut().enumerate() {
                banded.add(i, i, 0.5);
                row[i] += 0.5;
            }
            for i in 0..size.saturating_sub(2) {
                let v = [entries[i].0, entries[i].1, entries[i].2];
                banded.add_outer(i, v, 1.5);
                for (a, x) in v.iter().enumerate() {
                    for (b, y) in v.iter().enumerate() {
                        full[i + a][i + b] += 1.5 * x * y;
                    }
                }
            }
            let known: Vec<f64> = entries.iter().map(|e| e.3).collect();
            let mut right: Vec<f64> = full.iter().map(|row| row.iter().zip(&known).map(|(a, b)| a * b).sum()).collect();
            prop_assert!(banded.solve(&mut right));
            for (x, k) in right.iter().zip(&known) {
                prop_assert!((x - k).abs() < 1e-8, "expected {k}, found {x}");
            }
        }
    }

    #[test]
    fn an_indefinite_matrix_is_refused() {
        let mut banded = Banded::new(2);
        banded.add(0, 0, 1.0);
        banded.add(0, 1, 2.0);
        banded.add(1, 1, 1.0);
        assert!(!banded.solve(&mut [1.0, 1.0]));
        assert!(!Banded::new(1).solve(&mut [1.0]));
    }
}
