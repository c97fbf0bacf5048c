//! Parses the config file and collects its mistakes.

use super::{Binding, Config, ConfigError, ConfigPart, Severity, TextPosition, ThemeChoice, Word};
use crate::rhythm::expected;
use std::ops::{Range, RangeInclusive};
use toml_edit::{Document, Item, Key, Value};

/// The tables and their keys; those of `[keys]` are commands.
const TABLES: [(&str, ConfigPart, &[&str]); 5] = [
    ("keys", ConfigPart::Keys, &[]),
    ("hearing", ConfigPart::Hearing, &["cell-limit", "listen-cold"]),
    ("tap", ConfigPart::Tap, &["offset-ms"]),
    ("sound", ConfigPart::Sound, &["output", "volume-db", "click-db"]),
    ("screen", ConfigPart::Screen, &["theme"]),
];

struct Reader<'a> {
    text: &'a str,
    errors: Vec<ConfigError>,
}

impl Config {
    /// Parses the text of the file. Settings with a mistake are left out and listed in `errors`.
    pub fn parse(text: &str) -> Self {
        let mut config = Self::default();
        let mut reader = Reader { text, errors: Vec::new() };
        match Document::parse(text) {
            Ok(document) => reader.read(&document, &mut config),
            Err(error) => {
                let span = error.span().or(Some(text.len()..text.len()));
                let message = format!("invalid TOML: {}", error.message().replace('\n', ", "));
                reader.add(ConfigPart::File, Severity::Error, span, message);
            }
        }
        reader.errors.sort_by_key(|e| e.position);
        Self { errors: reader.errors, ..config }
    }
}

impl Reader<'_> {
    fn read(&mut self, document: &Document<&str>, config: &mut Config) {
        let root = document.as_table();
        for (key, item) in root.iter().filter_map(|(name, _)| root.get_key_value(name)) {
            let Some((name, part, known)) = TABLES.iter().find(|t| t.0 == key.get()) else {
                self.report_unknown(ConfigPart::File, "table", key, item, &TABLES.map(|t| t.0));
                continue;
            };
            let Some(table) = item.as_table_like() else {
                self.report_expected(*part, item, &format!("a table [{name}]"));
                continue;
            };
            for (key, item) in table.iter().filter_map(|(name, _)| table.get_key_value(name)) {
                match (part, key.get()) {
                    (ConfigPart::Keys, _) => config.keys.extend(self.binding(key, item)),
                    (_, "cell-limit") => config.cell_limit_ms = self.number(*part, key, item, 20..=1000),
                    (_, "listen-cold") => {
                        config.listen_cold = item.as_bool();
                        if config.listen_cold.is_none() {
                            self.report_expected(*part, item, "true or false for 'listen-cold'");
                        }
                    }
                    (_, "offset-ms") => config.tap_offset_ms = self.number(*part, key, item, -1000..=1000),
                    (_, "output") => config.output = self.output(item),
                    (_, "volume-db") => config.volume_db = self.number(*part, key, item, -40..=0),
                    (_, "click-db") => config.click_db = self.number(*part, key, item, -40..=6),
                    (_, "theme") => config.theme = self.theme(item),
                    _ => self.report_unknown(*part, "key", key, item, known),
                }
            }
        }
    }

    fn position(&self, span: Option<Range<usize>>) -> TextPosition {
        let before = self.text.get(..span.map_or(0, |s| s.start)).unwrap_or(self.text);
        let line = before.matches('\n').count() + 1;
        TextPosition { line, column: before.rsplit('\n').next().unwrap_or_default().chars().count() + 1 }
    }

    fn add(&mut self, part: ConfigPart, severity: Severity, span: Option<Range<usize>>, message: String) {
        let position = Some(self.position(span));
        self.errors.push(ConfigError { part, severity, position, message });
    }

    fn report_unknown(&mut self, part: ConfigPart, kind: &str, key: &Key, item: &Item, known: &[&str]) {
        let span = key.span().or_else(|| item.span());
        let message = format!("unknown {kind} '{}'; expected one of: {}", key.get().escape_debug(), known.join(", "));
        self.add(part, Severity::Warning, span, message);
    }

    fn report_expected(&mut self, part: ConfigPart, item: &Item, wanted: &str) {
        let found = item.as_value().map_or("a table".to_owned(), |v| v.to_string().trim().to_owned());
        self.add(part, Severity::Error, item.span(), expected(wanted, found));
    }

    fn number(&mut self, part: ConfigPart, key: &Key, item: &Item, range: RangeInclusive<i32>) -> Option<f64> {
        let number = item.as_float().or_else(|| item.as_integer().map(|n| n as f64));
        let (least, most) = (f64::from(*range.start()), f64::from(*range.end()));
        let valid = number.filter(|n| (least..=most).contains(n));
        if valid.is_none() {
            self.report_expected(part, item, &format!("a number from {least} to {most} for '{}'", key.get()));
        }
        valid
    }

    fn output(&mut self, item: &Item) -> Option<String> {
        let name = item.as_str().map(str::trim).filter(|name| !name.is_empty());
        if name.is_none() {
            self.report_expected(ConfigPart::Sound, item, "the name of an output or a part of it, in quotes");
        }
        name.map(str::to_owned)
    }

    fn theme(&mut self, item: &Item) -> Option<ThemeChoice> {
        let theme = match item.as_str() {
            Some("auto") => Some(ThemeChoice::Auto),
            Some("dark") => Some(ThemeChoice::Dark),
            Some("light") => Some(ThemeChoice::Light),
            _ => None,
        };
        if theme.is_none() {
            self.report_expected(ConfigPart::Screen, item, "\"auto\", \"dark\" or \"light\" for 'theme'");
        }
        theme
    }

    fn binding(&mut self, command: &Key, item: &Item) -> Option<Binding> {
        let values: Option<Vec<&Value>> = match item.as_value()? {
            one @ Value::String(_) => Some(vec![one]),
            Value::Array(several) => several.iter().map(|v| v.is_str().then_some(v)).collect(),
            _ => None,
        };
        let Some(values) = values else {
            self.report_expected(ConfigPart::Keys, item, "a key in quotes, or several like [\"a\", \"ctrl-k\"]");
            return None;
        };
        let word = |text: &str, span| Word { text: text.to_owned(), position: self.position(span) };
        let keys = values.into_iter().map(|v| word(v.as_str().unwrap_or_default(), v.span())).collect();
        Some(Binding { command: word(command.get(), command.span()), keys })
    }
}
