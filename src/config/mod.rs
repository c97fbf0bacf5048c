//! The user's config file: each part is read on its own, so that a mistake in one leaves the others working. It must not
//! know what keys, commands or limits mean.

mod read;
#[cfg(test)]
mod tests;

use crate::rhythm::expected;
use std::env;
use std::fmt;
use std::fs;
use std::io::ErrorKind;
use std::path::PathBuf;

/// The settings of the user; `None` where the file does not set one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Config {
    /// The file, if one was read.
    pub path: Option<PathBuf>,
    /// `[keys]`: commands and their keys, not yet interpreted.
    pub keys: Vec<Binding>,
    /// `[hearing] cell-limit`: the shortest cell felt as a subdivision, in ms.
    pub cell_limit_ms: Option<f64>,
    /// `[hearing] listen-cold`: no section starts from the pulse heard before.
    pub listen_cold: Option<bool>,
    /// `[tap] offset-ms`: subtracted from every tap.
    pub tap_offset_ms: Option<f64>,
    /// `[sound] output`: the id, the name or a part of the name of an output device.
    pub output: Option<String>,
    /// `[sound] volume-db`: the master volume.
    pub volume_db: Option<f64>,
    /// `[sound] click-db`: the volume of the clicks.
    pub click_db: Option<f64>,
    /// `[screen] theme`: the background that the colours are for.
    pub theme: Option<ThemeChoice>,
    /// The mistakes in the file, in its order.
    pub errors: Vec<ConfigError>,
}

/// Which colours the editor uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThemeChoice {
    /// Those for the background of the terminal, which is asked for.
    Auto,
    /// Those for a dark background.
    Dark,
    /// Those for a light one.
    Light,
}

/// A line of `[keys]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Binding {
    /// The name of the command.
    pub command: Word,
    /// Its keys; none removes the default ones.
    pub keys: Vec<Word>,
}

/// A string of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// The string.
    pub text: String,
    /// Where it begins.
    pub position: TextPosition,
}

/// A position in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct TextPosition {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

/// A part of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConfigPart {
    /// The file as a whole: it cannot be read, is not TOML, or has an unknown table.
    File,
    /// `[keys]`.
    Keys,
    /// `[hearing]`.
    Hearing,
    /// `[tap]`.
    Tap,
    /// `[sound]`.
    Sound,
    /// `[screen]`.
    Screen,
}

/// Whether a mistake stops a command that uses its part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// It does not: an unknown table or key is ignored.
    Warning,
    /// It does: a setting is invalid.
    Error,
}

/// A mistake in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigError {
    /// The part it is in; the others are valid.
    pub part: ConfigPart,
    /// Whether it stops a command.
    pub severity: Severity,
    /// Where it is; `None` if the file cannot be read.
    pub position: Option<TextPosition>,
    /// What is wrong.
    pub message: String,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(TextPosition { line, column }) = self.position {
            write!(f, "line {line}, column {column}: ")?;
        }
        f.write_str(&self.message)
    }
}

impl Config {
    /// Reads `teeter/config.toml` under `XDG_CONFIG_HOME` or `~/.config`. Nothing is set if there is no such file.
    pub fn load() -> Self {
        let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
        let folder = absolute("XDG_CONFIG_HOME").or_else(|| absolute("HOME").map(|h| h.join(".config")));
        let Some(path) = folder.map(|f| f.join("teeter").join("config.toml")) else { return Self::default() };
        let config = match fs::read_to_string(&path) {
            Ok(text) => Self::parse(&text),
            Err(error) if error.kind() == ErrorKind::NotFound => return Self::default(),
            Err(error) => {
                let message = match error.kind() {
                    ErrorKind::InvalidData => expected("UTF-8 text", "invalid UTF-8"),
                    kind => format!("cannot read the file: {kind}"),
                };
                let error = ConfigError { part: ConfigPart::File, severity: Severity::Error, position: None, message };
                Self { errors: vec![error], ..Self::default() }
            }
        };
        Self { path: Some(path), ..config }
    }

    /// The mistakes of one severity in a part and in the file as a whole: `PATH:LINE:COLUMN: MESSAGE`.
    pub fn mistakes(&self, part: ConfigPart, severity: Severity) -> Vec<String> {
        let path = self.path.as_ref().map_or_else(|| "config.toml".to_owned(), |p| p.display().to_string());
        let line = |e: &ConfigError| match e.position {
            Some(TextPosition { line, column }) => format!("{path}:{line}:{column}: {}", e.message),
            None => format!("{path}: {}", e.message),
        };
        let is_relevant = |e: &&ConfigError| e.severity == severity && (e.part == ConfigPart::File || e.part == part);
        self.errors.iter().filter(is_relevant).map(line).collect()
    }
}
