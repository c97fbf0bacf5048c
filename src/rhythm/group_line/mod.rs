//! Lines of groups such as `3(4+4+3)+5+2`: parse, print, expand and compress.

mod compress;
#[cfg(test)]
mod tests;

pub(crate) use compress::length;
pub use compress::{compress, period};

use super::text::NotationError;

/// Groups of a line, repeats written out.
const MAX_GROUPS: usize = 65_536;
/// Nesting of repeats.
const MAX_DEPTH: usize = 16;

/// A term of a line of groups.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Term {
    /// A group of this many cells.
    Group(u32),
    /// A line, repeated this many times.
    Repeat(u32, Vec<Term>),
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

    fn error<T>(&mut self, wanted: &str) -> Result<T, NotationError> {
        let found = self.peek().map_or("the end".to_owned(), |c| format!("'{}'", c.escape_default()));
        Err(NotationError::new(self.at, wanted, found))
    }

    fn number(&mut self) -> Result<u32, NotationError> {
        let wanted = "a number of cells from 1 to 65536";
        self.peek();
        let digits = self.text[self.at..].bytes().take_while(u8::is_ascii_digit).count();
        let text = &self.text[self.at..self.at + digits];
        match text.parse::<u32>() {
            Ok(n) if (1..=MAX_GROUPS as u32).contains(&n) => {
                self.at += digits;
                Ok(n)
            }
            _ if digits > 0 => Err(NotationError::new(self.at, wanted, text)),
            _ => self.error(wanted),
        }
    }

    fn line(&mut self, depth: usize) -> Result<Vec<Term>, NotationError> {
        let mut terms = Vec::new();
        loop {
            let n = self.number()?;
            if self.peek() == Some('(') {
                if depth == MAX_DEPTH {
                    return self.error("at most 16 nested brackets");
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

/// Parses a line such as `3(4+4+3)+5+2`; spaces are ignored.
///
/// # Errors
/// Any other form, and a line of more than 65,536 groups.
pub(crate) fn parse(text: &str) -> Result<Vec<Term>, NotationError> {
    let mut reader = Reader { text, at: 0 };
    let terms = reader.line(0)?;
    if reader.peek().is_some() {
        return reader.error("'+', '(' or the end");
    }
    if count(&terms).is_none_or(|n| n > MAX_GROUPS) {
        return Err(NotationError::new(0, "at most 65536 groups, repeats written out", "a longer line"));
    }
    Ok(terms)
}

fn count(terms: &[Term]) -> Option<usize> {
    terms.iter().try_fold(0_usize, |sum, t| match t {
        Term::Group(_) => sum.checked_add(1),
        Term::Repeat(n, inner) => sum.checked_add(count(inner)?.checked_mul(*n as usize)?),
    })
}

/// The groups of a line, repeats written out.
pub(crate) fn expand(terms: &[Term]) -> Vec<u32> {
    let mut groups = Vec::new();
    for term in terms {
        match term {
            Term::Group(n) => groups.push(*n),
            Term::Repeat(n, inner) => {
                groups.extend(expand(inner).repeat(*n as usize));
            }
        }
    }
    groups
}

/// Prints a line; [`parse`] reads it back.
pub fn print(terms: &[Term]) -> String {
    let terms = terms.iter().map(|t| match t {
        Term::Group(n) => n.to_string(),
        Term::Repeat(n, inner) => format!("{n}({})", print(inner)),
    });
    terms.collect::<Vec<_>>().join("+")
}
