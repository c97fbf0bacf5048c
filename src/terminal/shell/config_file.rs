//! Reading the user's config file. It must not know what stands in it.

use super::super::{Config, ConfigError};
use crate::store::reason;
use std::fmt;
use std::io::ErrorKind;
use std::path::PathBuf;

/// A config file that is there and could not be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigRefused {
    /// The file.
    pub path: PathBuf,
    /// Line and column, where it is a matter of its text.
    pub place: Option<(usize, usize)>,
    /// What is wrong, or the system's reason.
    pub words: String,
}

impl ConfigRefused {
    /// What is wrong and where in the file, as a sentence for the screen.
    pub fn told(&self) -> String {
        let place = self.place.map(|(line, column)| format!("line {line}, column {column}: "));
        format!("{}{}", place.unwrap_or_default(), self.words)
    }
}

impl fmt::Display for ConfigRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.place {
            Some((line, column)) => write!(f, "{}:{line}:{column}: {}", self.path.display(), self.words),
            None => write!(f, "{}: {}", self.path.display(), self.words),
        }
    }
}

impl std::error::Error for ConfigRefused {}

/// What the user has set in `teeter/config.toml` under `XDG_CONFIG_HOME` or `~/.config`; the program's own where there is no such file.
///
/// # Errors
/// [`ConfigRefused`] for a file that is there and cannot be read or is wrong.
pub fn config() -> Result<Config, ConfigRefused> {
    let absolute = |name| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let folder = absolute("XDG_CONFIG_HOME").or_else(|| absolute("HOME").map(|h| h.join(".config")));
    let Some(path) = folder.map(|f| f.join("teeter").join("config.toml")) else {
        return Ok(Config::default());
    };
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Config::default()),
        Err(error) => return Err(unreadable(path, &error)),
    };
    let refused = |e: ConfigError| ConfigRefused { path, place: Some((e.line, e.column)), words: e.words };
    Config::parse(&text).map_err(refused)
}

fn unreadable(path: PathBuf, error: &std::io::Error) -> ConfigRefused {
    let words = match error.kind() {
        ErrorKind::InvalidData => "found bytes that are no text, allowed is UTF-8 text".to_owned(),
        _ => format!("found a file that cannot be read ({}), allowed is a file you may read", reason(error)),
    };
    ConfigRefused { path, place: None, words }
}
