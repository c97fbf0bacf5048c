//! The shortest form of a line of groups.

use super::Term;

/// Length of a line up to which the shortest form is found exactly.
const MAX_EXACT: usize = 96;

/// The shortest form of a line in printed characters, each group counted as one so that the form does not depend on the unit;
/// among equally short forms the one whose first repeat begins earliest.
///
/// Exact up to 96 groups (interval dynamic programming over splits and periods). A longer line is compressed by its shortest
/// period, or else repeat by repeat, and its form may not be the shortest.
pub fn compress(groups: &[u32]) -> Vec<Term> {
    if groups.len() <= MAX_EXACT {
        return shortest(groups);
    }
    let period = period(groups);
    let whole = groups.len() / period;
    let mut terms = Vec::new();
    if whole > 1 {
        terms.push(Term::Repeat(whole as u32, compress(&groups[..period])));
        if !groups.len().is_multiple_of(period) {
            terms.extend(compress(&groups[whole * period..]));
        }
    } else {
        let mut rest = groups;
        while !rest.is_empty() {
            if let Some((length, times)) = leading_repeat(rest) {
                terms.push(Term::Repeat(times as u32, shortest(&rest[..length])));
                rest = &rest[length * times..];
            } else {
                terms.push(Term::Group(rest[0]));
                rest = &rest[1..];
            }
        }
    }
    terms
}

/// The repeat at the start of a line that saves the most characters: length and times.
fn leading_repeat(groups: &[u32]) -> Option<(usize, usize)> {
    (1..=MAX_EXACT.min(groups.len() / 2))
        // Most often the first group does not come again there.
        .filter(|length| groups[*length] == groups[0])
        .filter_map(|length| {
            let times = groups.iter().zip(&groups[length..]).take_while(|(a, b)| a == b).count() / length + 1;
            if times == 1 {
                return None;
            }
            // Each group saved takes a digit and a plus sign.
            let saved = (2 * length * (times - 1)).checked_sub(digits(times as u32) + 2)?;
            (saved > 0).then_some((saved, length, times))
        })
        .max_by_key(|&(saved, length, _)| (saved, std::cmp::Reverse(length)))
        .map(|(_, length, times)| (length, times))
}

/// The shortest period of a line: the least `p` with `groups[i] == groups[i + p]` for all `i` (prefix function of Knuth, Morris &
/// Pratt 1977).
pub fn period(groups: &[u32]) -> usize {
    let mut border = vec![0_usize; groups.len()];
    for i in 1..groups.len() {
        let mut k = border[i - 1];
        while k > 0 && groups[i] != groups[k] {
            k = border[k - 1];
        }
        border[i] = if groups[i] == groups[k] { k + 1 } else { 0 };
    }
    groups.len() - border.last().copied().unwrap_or(0)
}

/// Printed length of a line, each group counted as one character.
pub(crate) fn length(terms: &[Term]) -> usize {
    let inner: usize = terms
        .iter()
        .map(|t| match t {
            Term::Group(_) => 1,
            Term::Repeat(n, inner) => digits(*n) + 2 + length(inner),
        })
        .sum();
    inner + terms.len().saturating_sub(1)
}

fn digits(n: u32) -> usize {
    n.checked_ilog10().unwrap_or(0) as usize + 1
}

#[derive(Clone, Copy)]
enum Choice {
    One,
    Split(usize),
    Period(usize),
}

/// The best form of a part of a line.
#[derive(Clone, Copy)]
struct Form {
    /// Printed length, each group counted as one character.
    length: usize,
    /// Groups before the first repeat: among equally short forms the fewest, so that a figure begins with the line's first attack.
    lead: usize,
    choice: Choice,
}

impl Form {
    fn is_better_than(&self, other: &Self) -> bool {
        (self.length, self.lead) < (other.length, other.lead)
    }
}

fn shortest(groups: &[u32]) -> Vec<Term> {
    let n = groups.len();
    if n == 0 {
        return Vec::new();
    }
    // same[i][j]: number of groups from i that equal those from j.
    let mut same = vec![vec![0_usize; n + 1]; n + 1];
    for i in (0..n).rev() {
        for j in (i + 1..n).rev() {
            same[i][j] = if groups[i] == groups[j] { same[i + 1][j + 1] + 1 } else { 0 };
        }
    }
    let one = Form { length: 1, lead: 1, choice: Choice::One };
    let mut best = vec![vec![one; n + 1]; n];
    for length in 2..=n {
        for i in 0..=n - length {
            let j = i + length;
            let mut found = Form { length: usize::MAX, ..one };
            for p in (1..=length / 2).filter(|p| length.is_multiple_of(*p) && same[i][i + p] >= length - p) {
                let printed = digits((length / p) as u32) + 2 + best[i][i + p].length;
                let form = Form { length: printed, lead: 0, choice: Choice::Period(p) };
                if form.is_better_than(&found) {
                    found = form;
                }
            }
            for (k, tail) in best.iter().enumerate().take(j).skip(i + 1) {
                let (head, tail) = (best[i][k], tail[j]);
                let lead = if head.lead < k - i { head.lead } else { k - i + tail.lead };
                let form = Form { length: head.length + 1 + tail.length, lead, choice: Choice::Split(k) };
                if form.is_better_than(&found) {
                    found = form;
                }
            }
            best[i][j] = found;
        }
    }
    build(groups, &best, 0, n)
}

fn build(groups: &[u32], best: &[Vec<Form>], i: usize, j: usize) -> Vec<Term> {
    match best[i][j].choice {
        Choice::One => vec![Term::Group(groups[i])],
        Choice::Period(p) => vec![Term::Repeat(((j - i) / p) as u32, build(groups, best, i, i + p))],
        Choice::Split(k) => {
            let mut terms = build(groups, best, i, k);
            terms.extend(build(groups, best, k, j));
            terms
        }
    }
}
