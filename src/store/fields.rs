//! The keys of one TOML table: typed values, or a fault at the place of the value.

use super::error::{ParseError, Problem};
use crate::rhythm::bounds::Bound;
use std::ops::Range;
use toml_edit::{ArrayOfTables, Item, Table, Value};

/// A table with the text it stands in; without the text the places are not known.
#[derive(Clone, Copy)]
pub(super) struct Fields<'a> {
    pub(super) table: &'a Table,
    pub(super) text: Option<&'a str>,
}

/// A string with its place.
#[derive(Clone)]
pub(super) struct Words<'a> {
    pub(super) text: &'a str,
    span: Option<Range<usize>>,
    source: Option<&'a str>,
}

impl<'a> Fields<'a> {
    /// A fault at the table's own place.
    pub(super) fn fault<T>(self, problem: Problem) -> Result<T, ParseError> {
        Err(ParseError { at: Some(self.table.span().map_or(0, |s| s.start)), problem })
    }

    /// A fault at a key's value.
    pub(super) fn fault_at<T>(self, key: &str, problem: Problem) -> Result<T, ParseError> {
        let at = self.table.get(key).and_then(place);
        if at.is_some() { Err(ParseError { at, problem }) } else { self.fault(problem) }
    }

    /// A fault at a key itself.
    pub(super) fn fault_at_key<T>(self, key: &str, problem: Problem) -> Result<T, ParseError> {
        let at = self.table.get_key_value(key).and_then(|(k, item)| k.span().map(|s| s.start).or_else(|| place(item)));
        if at.is_some() { Err(ParseError { at, problem }) } else { self.fault(problem) }
    }

    /// Refuses keys that are not in the list.
    pub(super) fn known(self, keys: &'static [&'static str]) -> Result<(), ParseError> {
        match self.table.iter().find(|(key, _)| !keys.contains(key)) {
            Some((key, _)) => self.fault_at_key(key, Problem::UnknownKey(key.to_owned(), keys)),
            None => Ok(()),
        }
    }

    pub(super) fn has(self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    fn wrong<T>(self, key: &str, item: &Item, allowed: &'static str) -> Result<T, ParseError> {
        self.fault_at(key, Problem::WrongType(key.to_owned(), type_words(item), allowed))
    }

    pub(super) fn value(self, key: &str) -> Option<&'a Value> {
        self.table.get(key).and_then(Item::as_value)
    }

    /// A string, if the key is there.
    pub(super) fn string(self, key: &'static str) -> Result<Option<Words<'a>>, ParseError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(item) => match item.as_str() {
                Some(text) => Ok(Some(Words { text, span: item.span(), source: self.text })),
                None => self.wrong(key, item, "a string"),
            },
        }
    }

    /// A string that must be there.
    pub(super) fn needed(self, key: &'static str, example: &'static str) -> Result<Words<'a>, ParseError> {
        self.string(key)?.map_or_else(|| self.fault(Problem::MissingKey(key, example)), Ok)
    }

    /// A whole number within its bound, if the key is there.
    pub(super) fn number(self, key: &'static str, bound: &'static Bound) -> Result<Option<i64>, ParseError> {
        match self.integer(key)? {
            None => Ok(None),
            Some(n) => bound.check(n).map(Some).or_else(|e| self.fault_at(key, Problem::Bound(e))),
        }
    }

    /// A whole number, if the key is there.
    pub(super) fn integer(self, key: &'static str) -> Result<Option<i64>, ParseError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(item) => item.as_integer().map(Some).map_or_else(|| self.wrong(key, item, "a whole number"), Ok),
        }
    }

    /// True or false; false if the key is not there.
    pub(super) fn flag(self, key: &'static str) -> Result<bool, ParseError> {
        match self.table.get(key) {
            None => Ok(false),
            Some(item) => item.as_bool().map_or_else(|| self.wrong(key, item, "true or false"), Ok),
        }
    }

    /// The tables under `[[key]]`; none if the key is not there.
    pub(super) fn tables(self, key: &'static str, allowed: &'static str) -> Result<Vec<Fields<'a>>, ParseError> {
        match self.table.get(key) {
            None => Ok(Vec::new()),
            Some(item) => match item.as_array_of_tables() {
                Some(tables) => {
                    Ok(ArrayOfTables::iter(tables).map(|table| Fields { table, text: self.text }).collect())
                }
                None => self.wrong(key, item, allowed),
            },
        }
    }
}

impl Words<'_> {
    /// A fault so many bytes into the string. Where the text has escapes the string's start is the place.
    pub(super) fn fault<T>(&self, at: usize, problem: Problem) -> Result<T, ParseError> {
        let at = self.span.clone().zip(self.source).map(|(span, source)| self.offset(source, &span, at));
        Err(ParseError { at, problem })
    }

    /// A fault at the string's start, its quotes included.
    pub(super) fn fault_whole<T>(&self, problem: Problem) -> Result<T, ParseError> {
        Err(ParseError { at: self.span.as_ref().map(|s| s.start), problem })
    }

    fn offset(&self, source: &str, span: &Range<usize>, at: usize) -> usize {
        let raw = &source[span.clone()];
        let quotes = if raw.starts_with("\"\"\"") || raw.starts_with("'''") { 3 } else { 1 };
        let mut open = quotes;
        if quotes == 3 {
            // The line break right after the opening quotes is not part of the string.
            open += if raw[3..].starts_with("\r\n") { 2 } else { usize::from(raw[3..].starts_with('\n')) };
        }
        let inner = raw.get(open..raw.len().saturating_sub(quotes)).unwrap_or_default();
        // The parser keeps line ends as they are, so only escapes make a difference.
        if inner == self.text { span.start + open + at } else { span.start }
    }
}

fn place(item: &Item) -> Option<usize> {
    match item {
        Item::ArrayOfTables(tables) => tables.get(0).and_then(Table::span).map(|s| s.start),
        _ => item.span().map(|s| s.start),
    }
}

fn type_words(item: &Item) -> &'static str {
    match item.type_name() {
        "string" => "a string",
        "integer" => "a whole number",
        "float" => "a decimal number",
        "boolean" => "true or false",
        "datetime" => "a date or time",
        "array" => "an array",
        "array of tables" => "several tables",
        _ => "a table",
    }
}
