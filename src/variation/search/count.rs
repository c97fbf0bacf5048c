//! How many lines of groups there are: compositions, and necklaces where rotations count as one.

/// Number of lines of groups that fill `may.len()` cells, with attacks only where they may stand, and where they must. `attacks` is
/// their number, if it is given. `None` above the range of `u128`.
///
/// With every place free, these are the compositions of the length into the sizes.
pub(crate) fn lines(sizes: &[usize], may: &[bool], must: &[bool], attacks: Option<usize>) -> Option<u128> {
    let cells = may.len();
    let kept = attacks.map_or(1, |n| n + 1);
    // ways[a][n]: lines that have an attack at `a` and `n` attacks before it; without a given number all of them stand in `ways[a][0]`.
    let mut ways = vec![vec![0_u128; kept]; cells + 1];
    ways[0][0] = 1;
    for a in 0..cells {
        for n in 0..kept {
            let here = ways[a][n];
            let after = if attacks.is_some() { n + 1 } else { n };
            if here == 0 || after >= kept {
                continue;
            }
            for size in sizes {
                let b = a + size;
                if b > cells || must[a + 1..b].iter().any(|m| *m) {
                    break;
                }
                if b == cells || may[b] {
                    ways[b][after] = ways[b][after].checked_add(here)?;
                }
            }
        }
    }
    if cells == 0 { Some(1) } else { ways[cells].last().copied() }
}

/// Number of necklaces: lines of groups that fill `cells` as a loop, rotations counted once (Burnside's lemma). `None` above the
/// range of `u128`, and without cells.
pub(crate) fn necklaces(sizes: &[usize], cells: usize, attacks: Option<usize>) -> Option<u128> {
    let mut sum = 0_u128;
    for period in (1..=cells).filter(|d| cells.is_multiple_of(*d)) {
        let turns = cells / period;
        // A loop that repeats after `period` cells has a whole number of attacks in each.
        let within = match attacks {
            Some(n) if n.is_multiple_of(turns) => Some(n / turns),
            Some(_) => continue,
            None => None,
        };
        sum = sum.checked_add(totient(turns).checked_mul(loops(sizes, period, within)?)?)?;
    }
    sum.checked_div(cells as u128)
}

/// Ways to place attacks on a loop of `cells` numbered cells with these groups between them.
fn loops(sizes: &[usize], cells: usize, attacks: Option<usize>) -> Option<u128> {
    let mut sum = 0_u128;
    // The group that covers the first cell has one of its cells there.
    for size in sizes.iter().take_while(|s| **s <= cells) {
        let free = vec![true; cells - size];
        let left = cells - size;
        let others = match attacks {
            None => lines(sizes, &free, &vec![false; left], None)?,
            Some(1) => u128::from(left == 0),
            Some(attacks) if attacks > 1 && left > 0 => lines(sizes, &free, &vec![false; left], Some(attacks - 1))?,
            Some(_) => 0,
        };
        sum = sum.checked_add((*size as u128).checked_mul(others)?)?;
    }
    Some(sum)
}

/// Euler's totient.
fn totient(n: usize) -> u128 {
    (1..=n).filter(|k| num_integer::gcd(*k, n) == 1).count() as u128
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compositions(sizes: &[usize], cells: usize) -> u128 {
        lines(sizes, &vec![true; cells], &vec![false; cells], None).expect("small")
    }

    /// The terms of a row of the table, from its first index on.
    fn row(name: &str) -> impl Iterator<Item = (usize, u128)> {
        let table = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/tables/combinatorics.csv"));
        let line = table.lines().find(|l| l.starts_with(&format!("{name},"))).expect(name);
        // A name may have commas within quotes.
        let mut is_quoted = false;
        let mut columns = line.split(|c: char| {
            is_quoted ^= c == '"';
            c == ',' && !is_quoted
        });
        let _ = columns.by_ref().take(2).count();
        let first: usize = columns.next().and_then(|n| n.parse().ok()).expect("an index");
        let terms: Vec<u128> =
            columns.next().expect("terms").split(' ').map(|t| t.parse().expect("a number")).collect();
        (first..).zip(terms)
    }

    #[test]
    fn compositions_are_counted_as_published() {
        for (n, expected) in row("A182097") {
            assert_eq!(compositions(&[2, 3], n), expected, "twos and threes over {n}");
        }
        for (n, expected) in row("A245332") {
            let alone = if n == 0 { 1 } else { compositions(&[2], n) + compositions(&[3], n) };
            assert_eq!(compositions(&[2, 3], n) - alone, expected, "both twos and threes over {n}");
        }
        for (n, expected) in row("A017817") {
            assert_eq!(compositions(&[3, 4], n), expected, "threes and fours over {n}");
        }
        for (n, expected) in row("A000930") {
            assert_eq!(compositions(&[1, 3], n), expected, "ones and threes over {n}");
        }
        // a(n) = a(n-2) + a(n-3); from the fourth term on the compositions into twos and threes.
        for (n, expected) in row("A000931").skip(3) {
            assert_eq!(compositions(&[2, 3], n - 3), expected);
        }
    }

    #[test]
    fn necklaces_are_counted_as_published() {
        let any: Vec<usize> = (1..=24).collect();
        for (n, expected) in row("A000031").skip(1) {
            // The necklace without an attack has no groups.
            assert_eq!(necklaces(&any, n, None).map(|c| c + 1), Some(expected), "all necklaces of {n}");
        }
        for (n, expected) in row("A093305") {
            assert_eq!(necklaces(&[1, 2, 3], n, None), Some(expected), "{n}");
        }
        for (n, expected) in row("A000358") {
            assert_eq!(necklaces(&[1, 2], n, None), Some(expected), "{n}");
        }
        for (name, n) in [("A047996_row8", 8), ("A047996_row12", 12), ("A047996_row16", 16)] {
            for (k, expected) in row(name).skip(1) {
                assert_eq!(necklaces(&any, n, Some(k)), Some(expected), "{k} attacks on {n} cells");
            }
        }
    }

    /// Bracelets, where a line and its retrograde are one too, by listing them.
    #[test]
    fn bracelets_are_as_many_as_published() {
        let bracelets = |n: usize, attacks: Option<usize>| {
            let mut seen = std::collections::HashSet::new();
            for bits in 0_u32..1 << n {
                if attacks.is_some_and(|k| bits.count_ones() as usize != k) {
                    continue;
                }
                let on: Vec<u32> = (0..n).map(|i| bits >> i & 1).collect();
                let back: Vec<u32> = on.iter().rev().copied().collect();
                seen.insert(crate::analysis::groups::necklace(&on).min(crate::analysis::groups::necklace(&back)));
            }
            seen.len() as u128
        };
        for (n, expected) in row("A000029").skip(1).take(15) {
            assert_eq!(bracelets(n, None), expected, "{n}");
        }
        for (k, expected) in row("A052307_row12") {
            assert_eq!(bracelets(12, Some(k)), expected, "{k} of 12");
        }
        for (k, expected) in row("A073020_row8") {
            assert_eq!(bracelets(16, Some(k)), expected, "{k} of 16");
        }
    }

    #[test]
    fn places_and_numbers_are_kept() {
        // 3+3+2 in every order, with an attack on the fourth cell: 3+3+2 and 3+2+3.
        let mut must = vec![false; 8];
        must[3] = true;
        assert_eq!(lines(&[2, 3], &[true; 8], &must, Some(3)), Some(2));
        let mut may = vec![true; 8];
        may[3] = false;
        assert_eq!(lines(&[2, 3], &may, &[false; 8], Some(3)), Some(1));
        // The coefficients of (x^3 + x^4)^18: 18 groups of threes and fours over 64 cells are 18 over 10.
        assert_eq!(lines(&[3, 4], &[true; 64], &[false; 64], Some(18)), Some(43_758));
    }
}
