//! Lines of groups such as `3(4+4+3)+5+2`: read, printed, expanded, compressed. It must not know layers or time.

use std::fmt;

/// Most groups a line may have after its repeats are written out.
pub const MOST_GROUPS: usize = 65_536;
/// Lines up to this many groups are compressed to a form proved shortest; longer ones piece by piece.
pub const PROVED: usize = 96;

/// A line of groups in a form with repeats.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Term {
    /// One group of so many cells.
    Group(u32),
    /// A line that comes so many times.
    Repeat(u32, Vec<Term>),
}

/// What is wrong with the text of a line, and where (byte offset from 0).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineError {
    /// Byte offset in the text.
    pub at: usize,
    /// What was found.
    pub found: String,
    /// What is allowed there.
    pub allowed: &'static str,
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found {}, allowed is {}", self.found, self.allowed)
    }
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl Reader<'_> {
    fn peek(&mut self) -> Option<char> {
        while self.text[self.at..].starts_with([' ', '\t', '\n', '\r']) {
            self.at += 1;
        }
        self.text[self.at..].chars().next()
    }

    fn error<T>(&mut self, allowed: &'static str) -> Result<T, LineError> {
        let found = self.peek().map_or("the end".to_owned(), |c| format!("'{}'", c.escape_default()));
        Err(LineError { at: self.at, found, allowed })
    }

    fn number(&mut self) -> Result<u32, LineError> {
        let allowed = "a number of cells from 1 to 65536";
        self.peek();
        let digits = self.text[self.at..].bytes().take_while(u8::is_ascii_digit).count();
        let text = &self.text[self.at..self.at + digits];
        match text.parse::<u32>() {
            Ok(n) if (1..=MOST_GROUPS as u32).contains(&n) => {
                self.at += digits;
                Ok(n)
            }
            _ if digits > 0 => Err(LineError { at: self.at, found: text.to_owned(), allowed }),
            _ => self.error(allowed),
        }
    }

    fn line(&mut self, depth: usize) -> Result<Vec<Term>, LineError> {
        let mut terms = Vec::new();
        loop {
            let n = self.number()?;
            if self.peek() == Some('(') {
                if depth == 16 {
                    return self.error("at most 16 brackets within each other");
                }
                self.at += 1;
                let inner = self.line(depth + 1)?;
                if self.peek() != Some(')') {
                    return self.error("'+', '(' or ')'");
                }
                self.at += 1;
                terms.push(Term::Repeat(n, inner));
            } else {
                terms.push(Term::Group(n));
            }
            if self.peek() != Some('+') {
                return Ok(terms);
            }
            self.at += 1;
        }
    }
}

/// Reads a line such as `3(4+4+3)+5+2`; spaces are free.
///
/// # Errors
/// [`LineError`] with the place, for anything but groups joined by `+` and repeats with brackets, and for lines of more
/// than [`MOST_GROUPS`] groups.
pub fn parse(text: &str) -> Result<Vec<Term>, LineError> {
    let mut reader = Reader { text, at: 0 };
    let terms = reader.line(0)?;
    if reader.peek().is_some() {
        return reader.error("'+', '(' or the end");
    }
    if count(&terms).is_none_or(|n| n > MOST_GROUPS) {
        return Err(LineError {
            at: 0,
            found: "a longer line".into(),
            allowed: "at most 65536 groups, repeats written out",
        });
    }
    Ok(terms)
}

fn count(terms: &[Term]) -> Option<usize> {
    terms.iter().try_fold(0_usize, |sum, t| match t {
        Term::Group(_) => sum.checked_add(1),
        Term::Repeat(n, inner) => sum.checked_add(count(inner)?.checked_mul(*n as usize)?),
    })
}

/// Writes the repeats out.
pub fn expand(terms: &[Term]) -> Vec<u32> {
    let mut groups = Vec::new();
    for term in terms {
        match term {
            Term::Group(n) => groups.push(*n),
            Term::Repeat(n, inner) => {
                let once = expand(inner);
                (0..*n).for_each(|_| groups.extend_from_slice(&once));
            }
        }
    }
    groups
}

/// Prints a line in the form [`parse`] reads.
pub fn print(terms: &[Term]) -> String {
    let words: Vec<String> = terms
        .iter()
        .map(|t| match t {
            Term::Group(n) => n.to_string(),
            Term::Repeat(n, inner) => format!("{n}({})", print(inner)),
        })
        .collect();
    words.join("+")
}

/// Printed length of a line, a group counting as one character whatever its size.
pub fn length(terms: &[Term]) -> usize {
    let inner: usize = terms
        .iter()
        .map(|t| match t {
            Term::Group(_) => 1,
            Term::Repeat(n, inner) => digits(*n) + 2 + length(inner),
        })
        .sum();
    inner + terms.len().saturating_sub(1)
}

/// The form with the fewest printed characters, a group counting as one whatever its size (so that the form does not hang on
/// the unit); of equally short ones, the one that repeats earliest.
///
/// Exact up to [`PROVED`] groups (interval dynamic programming over splits and periods). A longer line is first cut at its
/// shortest period, then into pieces of that many groups, so its form is short but not proved shortest.
pub fn compress(groups: &[u32]) -> Vec<Term> {
    if groups.len() <= PROVED {
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

/// The repeat at the start of a long line that saves most, if one does: its length and its times.
fn leading_repeat(groups: &[u32]) -> Option<(usize, usize)> {
    let width = |g: &[u32]| 2 * g.len();
    (1..=PROVED.min(groups.len() / 2))
        .filter_map(|length| {
            let times = groups.chunks_exact(length).take_while(|c| *c == &groups[..length]).count();
            let saved = (width(&groups[..length]) * (times - 1)).checked_sub(digits(times as u32) + 2)?;
            (saved > 0).then_some((saved, length, times))
        })
        .max_by_key(|&(saved, length, _)| (saved, std::cmp::Reverse(length)))
        .map(|(_, length, times)| (length, times))
}

/// The shortest period of a line: the least `p` with `groups[i] == groups[i + p]` throughout (prefix function of
/// Knuth, Morris and Pratt 1977).
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

fn digits(n: u32) -> usize {
    n.checked_ilog10().unwrap_or(0) as usize + 1
}

#[derive(Clone, Copy)]
enum Choice {
    One,
    Split(usize),
    Period(usize),
}

fn shortest(groups: &[u32]) -> Vec<Term> {
    let n = groups.len();
    if n == 0 {
        return Vec::new();
    }
    // same[i][j]: how many groups from i on equal those from j on.
    let mut same = vec![vec![0_usize; n + 1]; n + 1];
    for i in (0..n).rev() {
        for j in (i + 1..n).rev() {
            same[i][j] = if groups[i] == groups[j] { same[i + 1][j + 1] + 1 } else { 0 };
        }
    }
    let mut best = vec![vec![(0_usize, Choice::One); n + 1]; n];
    for length in 1..=n {
        for i in 0..=n - length {
            let j = i + length;
            let mut choice = (1, Choice::One);
            if length > 1 {
                choice = (usize::MAX, Choice::One);
                for p in (1..=length / 2).filter(|p| length.is_multiple_of(*p) && same[i][i + p] >= length - p) {
                    let cost = digits((length / p) as u32) + 2 + best[i][i + p].0;
                    if cost < choice.0 {
                        choice = (cost, Choice::Period(p));
                    }
                }
                for (k, tail) in best.iter().enumerate().take(j).skip(i + 1) {
                    let cost = best[i][k].0 + 1 + tail[j].0;
                    if cost < choice.0 {
                        choice = (cost, Choice::Split(k));
                    }
                }
            }
            best[i][j] = choice;
        }
    }
    build(groups, &best, 0, n)
}

fn build(groups: &[u32], best: &[Vec<(usize, Choice)>], i: usize, j: usize) -> Vec<Term> {
    match best[i][j].1 {
        Choice::One => vec![Term::Group(groups[i])],
        Choice::Period(p) => vec![Term::Repeat(((j - i) / p) as u32, build(groups, best, i, i + p))],
        Choice::Split(k) => {
            let mut terms = build(groups, best, i, k);
            terms.extend(build(groups, best, k, j));
            terms
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::HashMap;

    fn check(text: &str, groups: &[u32]) {
        assert_eq!(expand(&parse(text).expect(text)), groups, "{text}");
    }

    #[test]
    fn lines_are_read_as_they_are_said() {
        check("3+3+2+3", &[3, 3, 2, 3]);
        check("3(4+4+3)+5+2", &[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 2]);
        check("2(2(3)+1)", &[3, 3, 1, 3, 3, 1]);
        check(" 3 + 2 ", &[3, 2]);
    }

    #[test]
    fn refusals_say_where() {
        let rows = [
            ("", 0),
            ("3+", 2),
            ("3++2", 2),
            ("3(2", 3),
            ("3)", 1),
            ("0", 0),
            ("2x", 1),
            ("99999999999", 0),
            ("3(é)", 2),
        ];
        for (text, at) in rows {
            assert_eq!(parse(text).expect_err(text).at, at, "{text}");
        }
        assert!(parse("60000(60000(3))").is_err());
        assert!(parse(&format!("{}3{}", "2(".repeat(40), ")".repeat(40))).is_err());
    }

    #[test]
    fn the_shortest_form_is_found() {
        let rows: [(&[u32], &str); 5] = [
            (&[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 2], "3(4+4+3)+5+2"),
            (&[3, 3, 2, 3], "3+3+2+3"),
            (&[3, 3, 3, 3, 3], "5(3)"),
            (&[3, 3], "3+3"),
            (&[], ""),
        ];
        for (groups, text) in rows {
            assert_eq!(print(&compress(groups)), text);
        }
    }

    /// Every way to print a line, tried one by one: the slow reference of the fast form.
    fn brute(groups: &[u32], memo: &mut HashMap<Vec<u32>, usize>) -> usize {
        if let Some(&known) = memo.get(groups) {
            return known;
        }
        let first = (1..=groups.len()).map(|head| {
            let piece = &groups[..head];
            let mut least = if head == 1 { 1 } else { usize::MAX };
            for p in 1..head {
                if head % p == 0 && piece.chunks(p).all(|c| c == &piece[..p]) {
                    least = least.min((head / p).to_string().len() + 2 + brute(&piece[..p], memo));
                }
            }
            match least {
                usize::MAX => usize::MAX,
                _ if head == groups.len() => least,
                _ => least + 1 + brute(&groups[head..], memo),
            }
        });
        let least = first.collect::<Vec<_>>().into_iter().min().expect("not empty");
        memo.insert(groups.to_vec(), least);
        least
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn compressed_lines_are_as_short_as_brute_force_finds(groups in prop::collection::vec(1_u32..4, 1..13)) {
            let terms = compress(&groups);
            // Groups of one digit, so that the printed length is the counted one.
            prop_assert_eq!(print(&terms).len(), brute(&groups, &mut HashMap::new()));
        }

        #[test]
        fn compressing_printing_and_expanding_give_the_line_back(groups in prop::collection::vec(1_u32..12, 1..300), times in 1_usize..4) {
            let groups = groups.repeat(times);
            let text = print(&compress(&groups));
            prop_assert_eq!(expand(&parse(&text).expect("printed")), groups);
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,40}") {
            let _ = parse(&text);
        }
    }
}
