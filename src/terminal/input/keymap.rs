//! The keys of the commands: the defaults, changed by the user's. It must not read files or their text.

use crate::config::{Binding, ConfigError, ConfigPart, Severity, Word};
use crate::rhythm::expected;
use crate::terminal::{CommandSpec, Key, Mode, commands};
use std::collections::HashMap;

/// The keys of every command.
#[derive(Debug, Clone)]
pub struct Keymap {
    by_key: HashMap<(Mode, Key), &'static CommandSpec>,
    /// The keys of each command, by its name.
    keys: HashMap<&'static str, Vec<Key>>,
    /// Keys that the user gave to another command.
    reassigned: Vec<Reassigned>,
}

#[derive(Debug, Clone)]
struct Reassigned {
    key: Key,
    from: &'static CommandSpec,
    to: &'static CommandSpec,
}

impl Default for Keymap {
    fn default() -> Self {
        let keys: HashMap<_, _> = commands::all().map(|c| (c.name, c.default_keys())).collect();
        let by_key = commands::all().flat_map(|c| keys[c.name].iter().map(move |key| ((c.mode, *key), c))).collect();
        Self { by_key, keys, reassigned: Vec::new() }
    }
}

impl Keymap {
    /// The default keys changed by the bindings of the config file, and the errors in these, which are ignored. The keys bound to a
    /// command replace its own, and are removed from the other commands of the same mode.
    pub fn with_bindings(bindings: &[Binding]) -> (Self, Vec<ConfigError>) {
        let mut map = Self::default();
        let mut errors = Vec::new();
        let mut given: HashMap<(Mode, Key), &str> = HashMap::new();
        for Binding { command, keys } in bindings {
            let mut error = |word: &Word, message| {
                let (part, severity, position) = (ConfigPart::Keys, Severity::Error, Some(word.position));
                errors.push(ConfigError { part, severity, position, message });
            };
            let Some(spec) = commands::find(&command.text) else {
                let found = format!("'{}'", command.text.escape_debug());
                error(command, expected("a command listed in the help", found));
                continue;
            };
            let mut valid = Vec::new();
            for key in keys {
                let Some(parsed) = Key::parse(&key.text) else {
                    let found = format!("'{}'", key.text.escape_debug());
                    error(key, expected("a key like ctrl-k, shift-left, page-up, f5 or x", found));
                    continue;
                };
                match given.get(&(spec.mode, parsed)) {
                    Some(other) if *other != spec.name => {
                        error(key, format!("'{}' is already bound to the command '{other}'", key.text));
                    }
                    _ => {
                        given.insert((spec.mode, parsed), spec.name);
                        valid.push(parsed);
                    }
                }
            }
            if valid.is_empty() && !keys.is_empty() {
                continue;
            }
            map.by_key.retain(|_, c| c.name != spec.name);
            map.keys.insert(spec.name, valid);
        }
        for (slot, name) in given {
            if let Some(spec) = commands::find(name)
                && let Some(old) = map.by_key.insert(slot, spec)
                && old.name != name
            {
                map.keys.entry(old.name).and_modify(|keys| keys.retain(|k| *k != slot.1));
                map.reassigned.push(Reassigned { key: slot.1, from: old, to: spec });
            }
        }
        map.reassigned.sort_by_key(|r| (r.to.name, r.key.to_string()));
        (map, errors)
    }

    /// Describes the keys that the user gave to another command; `None` if there are none.
    pub(crate) fn reassigned_keys(&self) -> Option<String> {
        let one = |r: &Reassigned| {
            let left = self.display_keys(r.from);
            let left = if left.is_empty() { "no key".to_owned() } else { left };
            format!("{} is now bound to {}; {} has {left}", r.key.display_name(), r.to.name, r.from.name)
        };
        let all: Vec<String> = self.reassigned.iter().map(one).collect();
        (!all.is_empty()).then(|| all.join(". "))
    }

    pub(crate) fn command(&self, mode: Mode, key: Key) -> Option<&'static CommandSpec> {
        self.by_key.get(&(mode, key)).copied()
    }

    /// The keys of a command as the screen and the README show them: `Ctrl-S`, `1 to 9, 0`.
    pub(crate) fn display_keys(&self, command: &'static CommandSpec) -> String {
        display_keys(&self.keys[command.name])
    }

    /// The commands of the grid whose description, name, heading or keys contain every word of `text`: first the one with that
    /// name, then those whose name starts with it, then those whose name contains it, then the others, each in table order.
    pub(crate) fn search(&self, text: &str) -> Vec<&'static CommandSpec> {
        let text = text.to_lowercase();
        let words: Vec<&str> = text.split_whitespace().collect();
        let matches = |c: &&'static CommandSpec| {
            let all = format!("{} {} {} {}", c.name, c.description, c.heading, self.display_keys(c));
            let all = all.to_lowercase();
            words.iter().all(|w| all.contains(w))
        };
        let name = words.join("-");
        let rank = |c: &&'static CommandSpec| match c.name.find(&name) {
            Some(0) if c.name.len() == name.len() => 0,
            Some(0) => 1,
            Some(_) => 2,
            None => 3,
        };
        let mut found: Vec<&'static CommandSpec> =
            commands::all().filter(|c| c.mode == Mode::Grid).filter(matches).collect();
        found.sort_by_key(rank);
        found
    }

    /// The first key of a command, as shown; empty if it has none.
    pub fn first(&self, name: &str) -> String {
        self.keys.get(name).and_then(|keys| keys.first()).map(|k| k.display_name()).unwrap_or_default()
    }
}

fn display_keys(keys: &[Key]) -> String {
    let names: Vec<String> = keys.iter().map(|k| k.display_name()).collect();
    match &names[..] {
        // The digits.
        [first, .., last_but_one, last] if names.len() > 4 => format!("{first} to {last_but_one}, {last}"),
        _ => names.join(", "),
    }
}

/// The README's table of keys, in Markdown.
pub fn key_table() -> String {
    let line = |c: &CommandSpec| {
        let keys = c.default_keys();
        let keys: Vec<String> = if keys.len() > 4 {
            vec![format!("`{}`", display_keys(&keys))]
        } else {
            keys.iter().map(|k| format!("`{}`", k.display_name())).collect()
        };
        format!("| {} | {} | {} |\n", keys.join(" "), c.name, c.description)
    };
    let part = |group: &[CommandSpec]| {
        let lines: String = group.iter().map(line).collect();
        format!("**{}**\n\n| keys | command | what it does |\n| --- | --- | --- |\n{lines}\n", group[0].heading)
    };
    commands::groups().map(part).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::terminal::commands::MAX_DESCRIPTION;
    use crate::terminal::input::key::{ch, ctrl};
    use std::collections::HashSet;

    fn keymap(text: &str) -> Keymap {
        let (keymap, errors) = Keymap::with_bindings(&Config::parse(text).keys);
        assert_eq!(errors, [], "{text}");
        keymap
    }

    #[test]
    fn the_users_keys_come_before_ours() {
        let map = keymap("[keys]\n\"accent\" = [\"ctrl-k\", \"x\"]\nplay = \"f12\"\nquit = []\n");
        let name = |key: &str| map.command(Mode::Grid, Key::parse(key).expect("key")).map(|r| r.name);
        assert_eq!(name("ctrl-k"), Some("accent"));
        assert_eq!(name("x"), Some("accent"));
        assert_eq!(name("a"), None);
        assert_eq!(name("f12"), Some("play"));
        assert_eq!(name("enter"), None);
        assert_eq!(name("ctrl-q"), None);
        assert_eq!(map.first("accent"), "Ctrl-K");
        // The attack had x only, and no longer has it.
        assert_eq!(map.first("attack"), "");
        assert_eq!(map.command(Mode::Grid, ch('X')).map(|r| r.name), Some("attack-accent"));
        assert_eq!(keymap("").command(Mode::Grid, ctrl('s')).map(|r| r.name), Some("save"));
    }

    #[test]
    fn keys_are_read_as_the_screen_shows_them() {
        for row in commands::all() {
            assert_eq!(row.default_keys().len(), row.keys.split_whitespace().count(), "{}", row.keys);
            for key in row.default_keys() {
                assert_eq!(Key::parse(&key.display_name()), Some(key), "{}", key.display_name());
            }
        }
        let map = keymap("[keys]\nplay = [\"PgUp\", \"Ctrl-K\", \"Shift-Tab\"]\n");
        for key in ["page-up", "ctrl-k", "back-tab"] {
            assert_eq!(map.command(Mode::Grid, Key::parse(key).expect("key")).map(|r| r.name), Some("play"), "{key}");
        }
    }

    #[test]
    fn a_key_taken_from_another_command_is_told() {
        let reassigned = |text| keymap(text).reassigned_keys();
        assert_eq!(reassigned(""), None);
        assert_eq!(reassigned("[keys]\nplay = \"f12\""), None);
        assert_eq!(
            reassigned("[keys]\nplay = \"k\"").as_deref(),
            Some("k is now bound to play; beat-click has no key")
        );
        assert_eq!(reassigned("[keys]\nplay = \"k\"\nbeat-click = \"f12\""), None);
        assert_eq!(
            reassigned("[keys]\nplay = [\"k\", \"f1\"]").as_deref(),
            Some("F1 is now bound to play; help has ?. k is now bound to play; beat-click has no key")
        );
    }

    #[test]
    fn all_mistakes_are_listed_and_the_other_keys_work() {
        let text = "[keys]\nplay = \"hyper-x\"\n\nnope = \"x\"\nsave = \"f9\"\nundo = [\"f9\", \"f8\"]\n";
        let (map, errors) = Keymap::with_bindings(&Config::parse(text).keys);
        let lines: Vec<String> = errors.iter().map(ToString::to_string).collect();
        assert_eq!(
            lines,
            [
                "line 2, column 8: expected a key like ctrl-k, shift-left, page-up, f5 or x, found 'hyper-x'",
                "line 4, column 1: expected a command listed in the help, found 'nope'",
                "line 6, column 9: 'f9' is already bound to the command 'save'",
            ]
        );
        assert_eq!((map.first("save"), map.first("undo")), ("F9".into(), "F8".into()));
        assert_eq!(map.first("play"), Keymap::default().first("play"));
    }

    #[test]
    fn no_key_stands_twice_in_a_mode() {
        let mut seen = HashSet::new();
        for row in commands::all() {
            for key in row.default_keys() {
                assert!(seen.insert((row.mode, key)), "{} of {}", key, row.name);
            }
        }
    }

    #[test]
    fn every_row_has_a_name_of_its_own_and_words_that_fit() {
        let mut names = HashSet::new();
        let mut words = HashSet::new();
        for row in commands::all() {
            assert!(names.insert(row.name), "{}", row.name);
            assert!(words.insert((row.mode, row.description)), "{}", row.description);
            assert!(
                !row.description.is_empty() && row.description.chars().count() <= MAX_DESCRIPTION,
                "{}",
                row.description
            );
            assert!(row.name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{}", row.name);
            assert!(display_keys(&row.default_keys()).chars().count() <= 22, "{}", row.keys);
        }
        // Each heading stands in the help once.
        let headings: Vec<&str> = commands::groups().map(|g| g[0].heading).collect();
        assert_eq!(headings.iter().collect::<HashSet<_>>().len(), headings.len());
    }

    #[test]
    fn every_command_is_reachable() {
        let map = Keymap::default();
        for row in commands::all() {
            // By its keys, or on the grid by its words in the searched list.
            assert!(row.mode == Mode::Grid || !row.keys.is_empty(), "{}", row.name);
            for key in row.default_keys() {
                assert_eq!(map.command(row.mode, key).map(|r| r.name), Some(row.name));
            }
        }
    }

    #[test]
    fn characters_that_must_be_typed_have_no_command_while_typing() {
        for row in commands::all().filter(|r| r.mode == Mode::Typing) {
            for key in row.default_keys() {
                let plain = matches!(key.code, ratatui::crossterm::event::KeyCode::Char(_)) && key.mods.is_empty();
                assert!(!plain, "{}", row.name);
            }
        }
    }

    #[test]
    fn a_command_is_found_by_its_name_first() {
        let map = Keymap::default();
        let found = |text: &str| map.search(text).iter().map(|r| r.name).collect::<Vec<_>>();
        for row in commands::all().filter(|r| r.mode == Mode::Grid) {
            assert_eq!(found(row.name)[0], row.name);
            assert_eq!(found(&row.name.replace('-', " "))[0], row.name);
        }
        // The name itself, names that begin with it, then what only speaks of it.
        assert_eq!(found("tempo")[..4], ["tempo", "tempo-up", "tempo-down", "tap-tempo"]);
        assert_eq!(found("click")[..4], ["click-down", "click-up", "click-sound", "beat-click"]);
    }

    #[test]
    fn the_readmes_table_has_every_row() {
        let table = key_table();
        for row in commands::all() {
            assert!(table.contains(&format!("| {} | {} |", row.name, row.description)), "{}", row.name);
        }
    }
}
