//! Reads the published tables in tests/tables.

use std::collections::HashMap;

/// The values of a row by the names in the first line.
pub(crate) type Row = HashMap<String, String>;

/// Reads a table; fields may be quoted (RFC 4180).
pub(crate) fn table(text: &str) -> Vec<Row> {
    let mut rows = text.lines().map(fields);
    let names = rows.next().expect("a first line");
    rows.map(|r| names.iter().cloned().zip(r).collect()).collect()
}

fn fields(line: &str) -> Vec<String> {
    let (mut found, mut quoted) = (vec![String::new()], false);
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                found.last_mut().expect("one").push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => found.push(String::new()),
            c => found.last_mut().expect("one").push(c),
        }
    }
    found
}

pub(crate) fn numbers<T: std::str::FromStr>(text: &str) -> Vec<T> {
    text.split_whitespace().map(|n| n.parse().ok().expect("a number")).collect()
}
