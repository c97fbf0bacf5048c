//! Reading the user's config file. It must not know what stands in it.

use super::super::Config;
use std::io::ErrorKind;
use std::path::PathBuf;

/// What the user has set in `teeter/config.toml` under `XDG_CONFIG_HOME` or `~/.config`; the program's own where there is no such file.
///
/// # Errors
/// The file's name with line, column and words, or the system's reason, for a file that is there and cannot be read or is wrong.
pub fn config() -> Result<Config, String> {
    let absolute = |name| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let folder = absolute("XDG_CONFIG_HOME").or_else(|| absolute("HOME").map(|h| h.join(".config")));
    let Some(path) = folder.map(|f| f.join("teeter").join("config.toml")) else {
        return Ok(Config::default());
    };
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Config::default()),
        Err(error) => return Err(format!("{}: {error}", path.display())),
    };
    Config::parse(&text).map_err(|error| format!("{}: {error}", path.display()))
}
