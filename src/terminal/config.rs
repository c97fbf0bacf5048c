//! The user's config file, from its text to keys and limits. It must not know where the file lies, nor read it.

use super::input::keymap::{Keymap, UserKeys};
use crate::analysis::Limits;
use serde_spanned::Spanned;
use std::fmt;

/// What the user has set.
#[derive(Debug, Clone, Default)]
pub struct Config {
    /// The keys in force.
    pub keymap: Keymap,
    /// The limits of the user's ear.
    pub limits: Limits,
    /// What is taken off every tap, in ms, -1000 to 1000; `None` leaves it to what was measured.
    pub tap_offset_ms: Option<f64>,
    /// The output device that sounds; the default one otherwise.
    pub output: Option<String>,
}

/// What is wrong with the config file, with line and column from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigError {
    /// Line.
    pub line: usize,
    /// Column in characters.
    pub column: usize,
    /// What was found and what is allowed.
    pub words: String,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}", self.line, self.column, self.words)
    }
}

impl std::error::Error for ConfigError {}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    keys: UserKeys,
    #[serde(default)]
    hearing: HearingTable,
    #[serde(default)]
    tap: TapTable,
    #[serde(default)]
    sound: SoundTable,
}

#[derive(Default, serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct SoundTable {
    /// The id, the name or a part of the name of an output device.
    output: Option<Spanned<String>>,
}

#[derive(Default, serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct HearingTable {
    /// In ms.
    cell_limit: Option<Spanned<f64>>,
}

#[derive(Default, serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct TapTable {
    /// In ms.
    offset_ms: Option<Spanned<f64>>,
}

impl Config {
    /// Reads the text: `[keys]` with `command = "key"` or `command = ["key", ...]`, `[hearing]` with `cell-limit` in ms, 20 to 1000,
    /// `[sound]` with `output`, the id or the name of an output device or a part of the name.
    ///
    /// # Errors
    /// [`ConfigError`] for text that is not TOML, an unknown table, key or command, a wrong type, something that is no key, a key given
    /// twice, and a number out of its range.
    pub fn parse(text: &str) -> Result<Self, ConfigError> {
        let file: File =
            toml::from_str(text).map_err(|e| error(text, e.span().map_or(0, |s| s.start), plain(e.message())))?;
        let keymap = Keymap::with_user(&file.keys).map_err(|(at, words)| error(text, at, words))?;
        let limits = match file.hearing.cell_limit {
            None => Limits::default(),
            Some(ms) => Limits::with_cell(*ms.get_ref()).ok_or_else(|| {
                let words = format!("found the cell limit {}, allowed is a number from 20 to 1000 (ms)", ms.get_ref());
                error(text, ms.span().start, words)
            })?,
        };
        let tap_offset_ms = match file.tap.offset_ms {
            None => None,
            Some(ms) if (-1000.0..=1000.0).contains(ms.get_ref()) => Some(*ms.get_ref()),
            Some(ms) => {
                let words = format!("found the offset {}, allowed is a number from -1000 to 1000 (ms)", ms.get_ref());
                return Err(error(text, ms.span().start, words));
            }
        };
        let output = file.sound.output.map(|name| match name.get_ref().trim() {
            "" => {
                Err(error(text, name.span().start, "found no name, allowed is an output's name or a part of it".into()))
            }
            name => Ok(name.to_owned()),
        });
        Ok(Self { keymap, limits, tap_offset_ms, output: output.transpose()? })
    }
}

/// The words of the reader of TOML in ours: what was found and what is allowed.
fn plain(words: &str) -> String {
    let words = words.replace('\n', ", ");
    let listed = |known: &str| known.replace("one of ", "").replace('`', "'").replace("' or '", "', '");
    if let Some((name, known)) = words.strip_prefix("unknown field `").and_then(|w| w.split_once("`, expected ")) {
        let known = listed(known);
        return format!("found '{name}', allowed {} {known}", if known.contains(", ") { "are" } else { "is" });
    }
    if let Some((found, wanted)) = words.strip_prefix("invalid type: ").and_then(|w| w.split_once(", expected ")) {
        let found = found.strip_prefix("string ").map_or_else(|| found.to_owned(), |text| format!("the text {text}"));
        let found = found.replace("floating point", "the number").replace("integer", "the number").replace('`', "");
        let allowed = match wanted {
            "f64" => "a number",
            "a string" => "a text in quotes",
            _ => "a table, as [keys]",
        };
        return format!("found {found}, allowed is {allowed}");
    }
    if words.starts_with("data did not match any variant") {
        return "found no key, allowed is a key in quotes, or several as [\"a\", \"ctrl-k\"]".to_owned();
    }
    match words.split_once(", expected ") {
        Some((found, wanted)) => {
            format!("found text that is not TOML ({found}), allowed is {}", wanted.replace('`', "'"))
        }
        None => format!("found text that is not TOML ({words}), allowed is TOML"),
    }
}

fn error(text: &str, at: usize, words: String) -> ConfigError {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    ConfigError { line, column, words }
}

#[cfg(test)]
mod tests {
    use super::super::commands::Mode;
    use super::super::input::key::{Key, ch, ctrl};
    use super::*;
    use proptest::prelude::*;

    fn keymap(text: &str) -> Keymap {
        Config::parse(text).expect("a config").keymap
    }

    #[test]
    fn the_cell_limit_is_the_users() {
        let limit = |text| Config::parse(text).expect("a config").limits.cell_ms;
        assert_eq!(limit(""), Limits::default().cell_ms);
        assert_eq!(limit("[hearing]\n"), Limits::default().cell_ms);
        assert_eq!(limit("[hearing]\ncell-limit = 90"), 90.0);
        assert_eq!(limit("hearing.cell-limit = 82.5\n[keys]\nplay = \"f12\""), 82.5);
    }

    #[test]
    fn the_tap_offset_is_the_users() {
        let offset = |text| Config::parse(text).expect("a config").tap_offset_ms;
        assert_eq!(offset(""), None);
        assert_eq!(offset("[tap]\n"), None);
        assert_eq!(offset("[tap]\noffset-ms = -23.5"), Some(-23.5));
        assert_eq!(offset("tap.offset-ms = 40"), Some(40.0));
    }

    #[test]
    fn the_output_is_the_users() {
        let output = |text| Config::parse(text).expect("a config").output;
        assert_eq!(output(""), None);
        assert_eq!(output("[sound]\noutput = \"Headset\""), Some("Headset".into()));
    }

    #[test]
    fn the_users_keys_come_before_ours() {
        let map = keymap("[keys]\n\"accent\" = [\"ctrl-k\", \"x\"]\nplay = \"f12\"\nquit = []\n");
        let name = |key: &str| map.row(Mode::Grid, Key::parse(key).expect("key")).map(|r| r.name);
        assert_eq!(name("ctrl-k"), Some("accent"));
        assert_eq!(name("x"), Some("accent"));
        assert_eq!(name("a"), None);
        assert_eq!(name("f12"), Some("play"));
        assert_eq!(name("enter"), None);
        assert_eq!(name("ctrl-q"), None);
        assert_eq!(map.first("accent"), "Ctrl-K");
        // The attack had x only, and no longer has it.
        assert_eq!(map.first("attack"), "");
        assert_eq!(map.row(Mode::Grid, ch('X')).map(|r| r.name), Some("attack-accent"));
        assert_eq!(keymap("").row(Mode::Grid, ctrl('s')).map(|r| r.name), Some("save"));
    }

    #[test]
    fn keys_are_read_as_the_screen_shows_them() {
        for row in super::super::commands::rows() {
            for key in row.keys {
                assert_eq!(Key::parse(&key.shown()), Some(*key), "{}", key.shown());
            }
        }
        let map = keymap("[keys]\nplay = [\"PgUp\", \"Ctrl-K\", \"Shift-Tab\"]\n");
        for key in ["page-up", "ctrl-k", "back-tab"] {
            assert_eq!(map.row(Mode::Grid, Key::parse(key).expect("key")).map(|r| r.name), Some("play"), "{key}");
        }
    }

    #[test]
    fn a_key_taken_from_another_command_is_told() {
        let told = |text| keymap(text).taken();
        assert_eq!(told(""), None);
        assert_eq!(told("[keys]\nplay = \"f12\""), None);
        assert_eq!(told("[keys]\nplay = \"k\"").as_deref(), Some("k is now play; beat-click has no key"));
        assert_eq!(told("[keys]\nplay = \"k\"\nbeat-click = \"f12\""), None);
        assert_eq!(
            told("[keys]\nplay = [\"k\", \"f1\"]").as_deref(),
            Some("F1 is now play; help has ?. k is now play; beat-click has no key")
        );
    }

    #[test]
    fn refusals_say_where() {
        let rows = [
            (
                "[keys]\nplay = \"hyper-x\"",
                "line 2, column 8: found 'hyper-x', which is no key, allowed are forms like ctrl-k",
            ),
            (
                "[keys]\n\nnope = \"x\"",
                "line 3, column 1: found 'nope', which is no command, allowed are the commands that the help lists",
            ),
            (
                "[keys]\nplay = \"x\"\nsave = \"x\"",
                "line 3, column 8: found 'x', which is given to 'play' too, allowed is a key of its own",
            ),
            ("[keys]\nplay = 3", "line 2, column 8: found no key, allowed is a key in quotes, or several"),
            ("[colours]\n", "line 1, column 2: found 'colours', allowed are 'keys', 'hearing', 'tap', 'sound'"),
            ("[keys\n", "line 1, column 6: found text that is not TOML ("),
            (
                "[hearing]\ncell-limit = 19.5",
                "line 2, column 14: found the cell limit 19.5, allowed is a number from 20 to 1000 (ms)",
            ),
            ("[hearing]\ncell-limit = nan", "line 2, column 14: found the cell limit NaN"),
            ("[keys]\nplay = \"f12\"\n[hearing]\ncell-limit = 1001", "line 4, column 14: found the cell limit 1001"),
            ("[hearing]\ncell-limit = \"90\"", "line 2, column 14: found the text \"90\", allowed is a number"),
            ("[hearing]\ncell = 90", "line 2, column 1: found 'cell', allowed is 'cell-limit'"),
            (
                "[tap]\noffset-ms = 1001",
                "line 2, column 13: found the offset 1001, allowed is a number from -1000 to 1000",
            ),
            ("[tap]\noffset = 10", "line 2, column 1: "),
            ("[sound]\noutput = \" \"", "line 2, column 10: found no name"),
            ("[sound]\noutput = 3", "line 2, column 10: found the number 3, allowed is a text in quotes"),
            ("[sound]\ndevice = \"x\"", "line 2, column 1: "),
            ("hearing = 3", "line 1, column 11: found the number 3, allowed is a table, as [keys]"),
        ];
        for (text, words) in rows {
            let found = Config::parse(text).expect_err(text).to_string();
            assert!(found.starts_with(words), "{text:?}: {found}");
            assert!(!found.contains("f64") && !found.contains('`') && !found.contains("expected"), "{found}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "(\\[keys\\]|\\[hearing\\]|cell-limit = |play = |\"x\"|[0-9.]{1,4}|\n|\\PC){0,12}") {
            let _ = Config::parse(&text);
        }
    }
}
