//! From a key to its row: the table's own keys, changed by the user's. It must not read files or their text.

use crate::config::{Binding, ConfigError, Part, Severity, Word};
use crate::rhythm::expected;
use crate::terminal::commands::{CommandSpec, Group, Mode, rows};
use crate::terminal::input::key::Key;
use std::collections::HashMap;

/// The keys in force.
#[derive(Debug, Clone)]
pub struct Keymap {
    by_key: HashMap<(Mode, Key), &'static CommandSpec>,
    changed: HashMap<&'static str, Vec<Key>>,
    /// Keys that a command lost to another of the user's: the key, who has it now, who had it.
    taken: Vec<(Key, &'static CommandSpec, &'static CommandSpec)>,
}

impl Default for Keymap {
    fn default() -> Self {
        let mut map = Self { by_key: HashMap::new(), changed: HashMap::new(), taken: Vec::new() };
        for row in rows() {
            for key in row.keys {
                map.by_key.insert((row.mode, *key), row);
            }
        }
        map
    }
}

impl Keymap {
    /// The default keys changed by `[keys]` of the config file, and the mistakes in it, which are left out. A command has only the
    /// keys it is given; a key given to one command is taken from every other of the same mode.
    pub fn with_bindings(bindings: &[Binding]) -> (Self, Vec<ConfigError>) {
        let mut map = Self::default();
        let mut errors = Vec::new();
        let mut given: HashMap<(Mode, Key), &str> = HashMap::new();
        for Binding { command, keys } in bindings {
            let mut error = |word: &Word, message| {
                let (part, severity, position) = (Part::Keys, Severity::Error, Some(word.position));
                errors.push(ConfigError { part, severity, position, message });
            };
            let Some(row) = rows().find(|r| r.name == command.text) else {
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
                match given.get(&(row.mode, parsed)) {
                    Some(other) if *other != row.name => {
                        error(key, format!("'{}' is already given to the command '{other}'", key.text));
                    }
                    _ => {
                        given.insert((row.mode, parsed), row.name);
                        valid.push(parsed);
                    }
                }
            }
            if valid.is_empty() && !keys.is_empty() {
                continue;
            }
            map.by_key.retain(|_, r| r.name != row.name);
            map.changed.insert(row.name, valid);
        }
        for (slot, name) in given {
            if let Some(row) = rows().find(|r| r.name == name)
                && let Some(old) = map.by_key.insert(slot, row)
                && old.name != name
            {
                let keys = map.changed.entry(old.name).or_insert_with(|| old.keys.to_vec());
                keys.retain(|k| *k != slot.1);
                map.taken.push((slot.1, row, old));
            }
        }
        map.taken.sort_by_key(|(key, row, _)| (row.name, key.to_string()));
        (map, errors)
    }

    /// What the user's keys took from other commands, in words; `None` if they took nothing.
    pub fn taken(&self) -> Option<String> {
        let one = |(key, row, old): &(Key, &'static CommandSpec, &'static CommandSpec)| {
            let left = self.shown(old);
            let left = if left.is_empty() { "no key".to_owned() } else { left };
            format!("{} is now {}; {} has {left}", key.shown(), row.name, old.name)
        };
        let all: Vec<String> = self.taken.iter().map(one).collect();
        (!all.is_empty()).then(|| all.join(". "))
    }

    /// The row of a key.
    pub fn row(&self, mode: Mode, key: Key) -> Option<&'static CommandSpec> {
        self.by_key.get(&(mode, key)).copied()
    }

    /// The keys of a row, the first one first.
    pub fn keys(&self, row: &'static CommandSpec) -> &[Key] {
        self.changed.get(row.name).map_or(row.keys, Vec::as_slice)
    }

    /// The keys of a row as the screen and the README show them: `Ctrl-S`, `1 to 9, 0`.
    pub fn shown(&self, row: &'static CommandSpec) -> String {
        shown(self.keys(row))
    }

    /// The commands of the grid whose words, name, heading or keys hold every word of `text`: first the one of that name, then
    /// those whose name begins with it, then those whose name holds it, then the others, each in the order of the table.
    pub fn search(&self, text: &str) -> Vec<&'static CommandSpec> {
        let text = text.to_lowercase();
        let words: Vec<&str> = text.split_whitespace().collect();
        let holds = |row: &&'static CommandSpec| {
            let all =
                format!("{} {} {} {}", row.name, row.description, row.group.words(), self.shown(row)).to_lowercase();
            words.iter().all(|w| all.contains(w))
        };
        let name = words.join("-");
        let rank = |row: &&'static CommandSpec| match row.name.find(&name) {
            Some(0) if row.name.len() == name.len() => 0,
            Some(0) => 1,
            Some(_) => 2,
            None => 3,
        };
        let mut found: Vec<&'static CommandSpec> = rows().filter(|r| r.mode == Mode::Grid).filter(holds).collect();
        found.sort_by_key(rank);
        found
    }

    /// The first key of the command of this name, as shown; empty if it has none.
    pub fn first(&self, name: &str) -> String {
        let row = rows().find(|r| r.name == name);
        row.and_then(|r| self.keys(r).first().map(|k| k.shown())).unwrap_or_default()
    }
}

fn shown(keys: &[Key]) -> String {
    let names: Vec<String> = keys.iter().map(|k| k.shown()).collect();
    if names.len() > 4 {
        // The digits: a row of keys that are one after the other.
        return format!("{} to {}, {}", names[0], names[names.len() - 2], names[names.len() - 1]);
    }
    names.join(", ")
}

/// The README's table of keys, in Markdown.
pub fn key_table() -> String {
    let line = |row: &CommandSpec| {
        let keys: Vec<String> = if row.keys.len() > 4 {
            vec![format!("`{}`", shown(row.keys))]
        } else {
            row.keys.iter().map(|k| format!("`{}`", k.shown())).collect()
        };
        format!("| {} | {} | {} |\n", keys.join(" "), row.name, row.description)
    };
    let part = |group: &Group| {
        let lines: String = rows().filter(|r| r.group == *group).map(line).collect();
        format!("**{}**\n\n| keys | command | what it does |\n| --- | --- | --- |\n{lines}\n", group.words())
    };
    Group::ALL.iter().map(part).collect()
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
        for row in rows() {
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
    fn all_mistakes_are_listed_and_the_other_keys_work() {
        let text = "[keys]\nplay = \"hyper-x\"\n\nnope = \"x\"\nsave = \"f9\"\nundo = [\"f9\", \"f8\"]\n";
        let (map, errors) = Keymap::with_bindings(&Config::parse(text).keys);
        let lines: Vec<String> = errors.iter().map(ToString::to_string).collect();
        assert_eq!(
            lines,
            [
                "line 2, column 8: expected a key like ctrl-k, shift-left, page-up, f5 or x, found 'hyper-x'",
                "line 4, column 1: expected a command listed in the help, found 'nope'",
                "line 6, column 9: 'f9' is already given to the command 'save'",
            ]
        );
        assert_eq!((map.first("save"), map.first("undo")), ("F9".into(), "F8".into()));
        assert_eq!(map.first("play"), Keymap::default().first("play"));
    }

    #[test]
    fn no_key_stands_twice_in_a_mode() {
        let mut seen = HashSet::new();
        for row in rows() {
            for key in row.keys {
                assert!(seen.insert((row.mode, *key)), "{} of {}", key, row.name);
            }
        }
    }

    #[test]
    fn every_row_has_a_name_of_its_own_and_words_that_fit() {
        let mut names = HashSet::new();
        let mut words = HashSet::new();
        for row in rows() {
            assert!(names.insert(row.name), "{}", row.name);
            assert!(words.insert((row.mode, row.description)), "{}", row.description);
            assert!(
                !row.description.is_empty() && row.description.chars().count() <= MAX_DESCRIPTION,
                "{}",
                row.description
            );
            assert!(row.name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{}", row.name);
            assert!(shown(row.keys).chars().count() <= 22, "{}", shown(row.keys));
            assert!(Group::ALL.contains(&row.group));
        }
    }

    #[test]
    fn every_command_is_reachable() {
        let map = Keymap::default();
        for row in rows() {
            // By its keys, or on the grid by its words in the searched list.
            assert!(row.mode == Mode::Grid || !row.keys.is_empty(), "{}", row.name);
            for key in row.keys {
                assert_eq!(map.row(row.mode, *key).map(|r| r.name), Some(row.name));
            }
        }
    }

    #[test]
    fn characters_that_must_be_typed_have_no_command_while_typing() {
        for row in rows().filter(|r| r.mode == Mode::Typing) {
            for key in row.keys {
                let plain = matches!(key.code, ratatui::crossterm::event::KeyCode::Char(_)) && key.mods.is_empty();
                assert!(!plain, "{}", row.name);
            }
        }
    }

    #[test]
    fn a_command_is_found_by_its_name_first() {
        let map = Keymap::default();
        let found = |text: &str| map.search(text).iter().map(|r| r.name).collect::<Vec<_>>();
        for row in rows().filter(|r| r.mode == Mode::Grid) {
            assert_eq!(found(row.name)[0], row.name);
            assert_eq!(found(&row.name.replace('-', " "))[0], row.name);
        }
        // The name itself, names that begin with it, then what only speaks of it.
        assert_eq!(found("tempo")[..4], ["tempo", "tempo-up", "tempo-down", "slower"]);
        assert_eq!(found("click")[..4], ["click-down", "click-up", "beat-click", "hearing-click"]);
    }

    #[test]
    fn the_readmes_table_has_every_row() {
        let table = key_table();
        for row in rows() {
            assert!(table.contains(&format!("| {} | {} |", row.name, row.description)), "{}", row.name);
        }
    }
}
