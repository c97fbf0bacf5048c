//! Typed values of a TOML table, with errors at their positions.

use super::error::{ParseError, Problem};
use crate::rhythm::bounds::Bound;
use std::ops::Range;
use toml_edit::{Array, Item, Key, Table, Value};

/// A table; `text` is the source of its spans, if known.
#[derive(Clone, Copy)]
pub(super) struct Fields<'a> {
    pub(super) table: &'a Table,
    pub(super) text: Option<&'a str>,
}

/// A string value with its span in the source.
#[derive(Clone)]
pub(super) struct SpannedStr<'a> {
    pub(super) text: &'a str,
    span: Option<Range<usize>>,
    source: Option<&'a str>,
}

impl<'a> Fields<'a> {
    /// An error at the start of the table.
    pub(super) fn error(self, problem: Problem) -> ParseError {
        ParseError { at: Some(self.table.span().map_or(0, |s| s.start)), problem }
    }

    /// An error at the value of a key.
    pub(super) fn error_at(self, key: &str, problem: Problem) -> ParseError {
        match self.table.get(key).and_then(start_of) {
            Some(at) => ParseError { at: Some(at), problem },
            None => self.error(problem),
        }
    }

    /// An error at a key.
    pub(super) fn error_at_key(self, key: &str, problem: Problem) -> ParseError {
        match self.table.key(key).and_then(Key::span) {
            Some(span) => ParseError { at: Some(span.start), problem },
            None => self.error_at(key, problem),
        }
    }

    pub(super) fn reject_unknown(self, known: &'static [&'static str]) -> Result<(), ParseError> {
        match self.table.iter().find(|(key, _)| !known.contains(key)) {
            Some((key, _)) => Err(self.error_at_key(key, Problem::UnknownKey(key.to_owned(), known))),
            None => Ok(()),
        }
    }

    pub(super) fn has(self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The value of a key, if it is there, as `read` reads it.
    fn typed<T>(
        self,
        key: &'static str,
        wanted: &'static str,
        read: impl FnOnce(&'a Item) -> Option<T>,
    ) -> Result<Option<T>, ParseError> {
        let Some(item) = self.table.get(key) else { return Ok(None) };
        let error = || self.error_at(key, Problem::WrongType(key, type_name(item), wanted));
        read(item).map(Some).ok_or_else(error)
    }

    pub(super) fn string(self, key: &'static str) -> Result<Option<SpannedStr<'a>>, ParseError> {
        self.typed(key, "a string", |item| {
            Some(SpannedStr { text: item.as_str()?, span: item.span(), source: self.text })
        })
    }

    pub(super) fn required_string(
        self,
        key: &'static str,
        example: &'static str,
    ) -> Result<SpannedStr<'a>, ParseError> {
        self.string(key)?.ok_or_else(|| self.error(Problem::MissingKey(key, example)))
    }

    /// An integer within its bounds.
    pub(super) fn number(self, key: &'static str, bound: &'static Bound) -> Result<Option<i64>, ParseError> {
        let number = self.integer(key)?.map(|n| bound.check(n)).transpose();
        number.map_err(|e| self.error_at(key, Problem::Bound(e)))
    }

    pub(super) fn integer(self, key: &'static str) -> Result<Option<i64>, ParseError> {
        self.typed(key, "a whole number", Item::as_integer)
    }

    /// A boolean; false if the key is missing.
    pub(super) fn flag(self, key: &'static str) -> Result<bool, ParseError> {
        self.typed(key, "true or false", Item::as_bool).map(Option::unwrap_or_default)
    }

    /// A number or a string as it is written, without `+` and `_`.
    pub(super) fn decimal(self, key: &'static str, wanted: &'static str) -> Result<Option<String>, ParseError> {
        let Some(item) = self.table.get(key) else { return Ok(None) };
        let wrong_type = |found| Err(self.error_at(key, Problem::WrongType(key, found, wanted)));
        match item.as_value() {
            Some(Value::Integer(n)) => Ok(Some(n.value().to_string())),
            // The source text, since the parsed number is rounded.
            Some(Value::Float(x)) => {
                let source = self.text.and_then(|t| t.get(x.span()?)).unwrap_or_default();
                Ok(Some(source.trim_start_matches('+').replace('_', "")))
            }
            Some(Value::String(s)) => Ok(Some(s.value().clone())),
            Some(Value::Boolean(_)) => wrong_type("true or false"),
            Some(_) => wrong_type("no number"),
            None => wrong_type("a table"),
        }
    }

    /// The table `[key]`.
    pub(super) fn table_of(self, key: &'static str) -> Result<Option<Fields<'a>>, ParseError> {
        let table = self.typed(key, "a table", Item::as_table)?;
        Ok(table.map(|table| Fields { table, text: self.text }))
    }

    /// The values of an array.
    pub(super) fn array(self, key: &'static str, wanted: &'static str) -> Result<Option<&'a Array>, ParseError> {
        self.typed(key, wanted, Item::as_array)
    }

    /// An error at a value of an array.
    pub(super) fn error_at_value(self, value: &Value, problem: Problem) -> ParseError {
        ParseError { at: value.span().map(|s| s.start), ..self.error(problem) }
    }

    /// The tables of `[[key]]`.
    pub(super) fn tables(self, key: &'static str, wanted: &'static str) -> Result<Vec<Fields<'a>>, ParseError> {
        let tables = self.typed(key, wanted, Item::as_array_of_tables)?.into_iter().flatten();
        Ok(tables.map(|table| Fields { table, text: self.text }).collect())
    }
}

impl SpannedStr<'_> {
    /// An error at a byte of the string, or at its start if it has escapes.
    pub(super) fn error(&self, at: usize, problem: Problem) -> ParseError {
        let at = self.span.clone().zip(self.source).map(|(span, source)| self.offset(source, &span, at));
        ParseError { at, problem }
    }

    /// An error at the opening quote.
    pub(super) fn error_at_start(&self, problem: Problem) -> ParseError {
        ParseError { at: self.span.as_ref().map(|s| s.start), problem }
    }

    fn offset(&self, source: &str, span: &Range<usize>, at: usize) -> usize {
        let raw = &source[span.clone()];
        let quotes = if raw.starts_with("\"\"\"") || raw.starts_with("'''") { 3 } else { 1 };
        let mut open = quotes;
        if quotes == 3 {
            // A line break right after the opening quotes is not part of the string.
            open += if raw[3..].starts_with("\r\n") { 2 } else { usize::from(raw[3..].starts_with('\n')) };
        }
        let inner = raw.get(open..raw.len().saturating_sub(quotes)).unwrap_or_default();
        if inner == self.text { span.start + open + at } else { span.start }
    }
}

fn start_of(item: &Item) -> Option<usize> {
    match item {
        Item::ArrayOfTables(tables) => tables.get(0).and_then(Table::span).map(|s| s.start),
        _ => item.span().map(|s| s.start),
    }
}

fn type_name(item: &Item) -> &'static str {
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
