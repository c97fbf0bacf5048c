//! The keys of the commands: the defaults, changed by the user's. It must not read files or their text.

use crate::config::{Binding, ConfigError, ConfigPart, Severity, Word};
use crate::rhythm::expected;
use crate::terminal::commands::{self, KeySequence, Menu};
use crate::terminal::{Action, CommandSpec, Key, Mode};
use std::collections::HashMap;

/// The keys of every command.
#[derive(Debug, Clone)]
pub struct Keymap {
    by_key: HashMap<(Mode, Key), &'static CommandSpec>,
    /// The keys of each command, by its name; without old keys.
    keys: HashMap<&'static str, Vec<KeySequence>>,
    /// Keys that the user gave to another command.
    reassigned: Vec<Reassigned>,
}

#[derive(Debug, Clone)]
struct Reassigned {
    keys: KeySequence,
    from: &'static CommandSpec,
    to: &'static CommandSpec,
}

impl Default for Keymap {
    fn default() -> Self {
        let keys: HashMap<_, _> = commands::all().map(|c| (c.name, c.default_keys())).collect();
        let own = commands::all().flat_map(|c| keys[c.name].iter().map(move |key| (c.slot(*key), c)));
        // An old key that now has another command loses to it.
        let by_key = commands::old_keys().map(|(key, c)| ((c.mode, key), c)).chain(own).collect();
        Self { by_key, keys, reassigned: Vec::new() }
    }
}

impl Keymap {
    /// The default keys changed by the bindings of the config file, and the errors in these, which are ignored. The keys bound to a
    /// command replace its own, and are removed from the other commands of the same mode.
    pub fn with_bindings(bindings: &[Binding]) -> (Self, Vec<ConfigError>) {
        let mut map = Self::default();
        let mut errors = Vec::new();
        let mut given: HashMap<(Mode, Key), (&str, KeySequence)> = HashMap::new();
        let opens_menu = |b: &&Binding| commands::find(&b.command.text).is_some_and(opens_menu);
        // Sequences start with the keys that the menus have in the end.
        let (menus, others): (Vec<&Binding>, Vec<&Binding>) = bindings.iter().partition(opens_menu);
        for Binding { command, keys } in menus.into_iter().chain(others) {
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
                let parsed = match map.parse(spec, &key.text) {
                    Ok(parsed) => parsed,
                    Err(message) => {
                        error(key, message);
                        continue;
                    }
                };
                match given.get(&spec.slot(parsed)) {
                    Some((other, _)) if *other != spec.name => {
                        error(key, format!("'{}' is already bound to the command '{other}'", key.text));
                    }
                    _ => {
                        given.insert(spec.slot(parsed), (spec.name, parsed));
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
        for (slot, (name, keys)) in given {
            if let Some(spec) = commands::find(name)
                && let Some(old) = map.by_key.insert(slot, spec)
                && old.name != name
            {
                map.keys.entry(old.name).and_modify(|left| left.retain(|k| *k != keys));
                map.reassigned.push(Reassigned { keys, from: old, to: spec });
            }
        }
        map.reassigned.sort_by_key(|r| (r.to.name, r.keys.key.to_string()));
        errors.sort_by_key(|e| e.position);
        (map, errors)
    }

    /// Parses a key of the config file, or a sequence for a command of the grid.
    fn parse(&self, spec: &CommandSpec, text: &str) -> Result<KeySequence, String> {
        let found = || format!("'{}'", text.escape_debug());
        let names: Vec<&str> = text.split_whitespace().collect();
        let keys: Option<Vec<Key>> = names.iter().map(|name| Key::parse(name)).collect();
        match keys.as_deref() {
            Some([key]) => Ok(KeySequence { menu: None, key: *key }),
            Some([first, key]) if spec.mode == Mode::Grid && !opens_menu(spec) => {
                let mut menus = commands::menus();
                let opens = |name| self.keys[name].iter().any(|k| k.menu.is_none() && k.key == *first);
                let menu = menus.find(|(_, opener)| opens(opener.name)).map(|(menu, _)| menu);
                let wanted = || format!("a sequence that starts with the key of a menu ({})", self.menu_keys());
                menu.map(|menu| KeySequence { menu: Some(menu), key: *key }).ok_or_else(|| expected(wanted(), found()))
            }
            _ => Err(expected("a key like ctrl-k, shift-left, page-up, f5 or x, or a sequence like 'L m'", found())),
        }
    }

    /// Describes the keys that the user gave to another command; `None` if there are none.
    pub(crate) fn reassigned_keys(&self) -> Option<String> {
        let one = |r: &Reassigned| {
            let left = self.display_keys(r.from);
            let left = if left.is_empty() { "no key".to_owned() } else { left };
            let keys = self.display(r.keys).unwrap_or_default();
            format!("{keys} is now bound to {}; {} has {left}", r.to.name, r.from.name)
        };
        let all: Vec<String> = self.reassigned.iter().map(one).collect();
        (!all.is_empty()).then(|| all.join(". "))
    }

    pub(crate) fn command(&self, mode: Mode, key: Key) -> Option<&'static CommandSpec> {
        let any_menu = || if matches!(mode, Mode::Menu(_)) { self.by_key.get(&(Mode::AnyMenu, key)) } else { None };
        self.by_key.get(&(mode, key)).or_else(any_menu).copied()
    }

    /// A key or a sequence as the screen shows it; `None` if its menu has no key.
    fn display(&self, keys: KeySequence) -> Option<String> {
        let Some(menu) = keys.menu else { return Some(keys.key.display_name()) };
        let opener = self.first(commands::opener(menu)?.name);
        (!opener.is_empty()).then(|| format!("{opener} {}", keys.key.display_name()))
    }

    /// The keys of a command as the screen and the README show them: `Ctrl-S`, `m, L m`, `1 to 9, 0`.
    pub(crate) fn display_keys(&self, command: &'static CommandSpec) -> String {
        let names: Vec<String> = self.keys[command.name].iter().filter_map(|k| self.display(*k)).collect();
        match &names[..] {
            // The digits.
            [first, .., last_but_one, last] if names.len() > 4 => format!("{first} to {last_but_one}, {last}"),
            _ => names.join(", "),
        }
    }

    /// The keys that open the menus: `L S B`.
    pub(crate) fn menu_keys(&self) -> String {
        let keys: Vec<String> = commands::menus().map(|(_, c)| self.first(c.name)).filter(|k| !k.is_empty()).collect();
        keys.join(" ")
    }

    /// The commands of a menu with their keys there, in the order of the table.
    pub(crate) fn menu_commands(&self, menu: Menu) -> Vec<(String, &'static CommandSpec)> {
        let in_menu = |c: &&'static CommandSpec| {
            let names = self.keys[c.name].iter().filter(|k| k.menu == Some(menu)).map(|k| k.key.display_name());
            names.collect::<Vec<_>>().join(", ")
        };
        commands::all().map(|c| (in_menu(&c), c)).filter(|(keys, _)| !keys.is_empty()).collect()
    }

    /// The first key of a command, as shown; empty if it has none.
    pub fn first(&self, name: &str) -> String {
        let keys = self.keys.get(name).map_or(&[][..], Vec::as_slice);
        keys.iter().find_map(|k| self.display(*k)).unwrap_or_default()
    }
}

fn opens_menu(command: &CommandSpec) -> bool {
    matches!(command.action, Action::OpenMenu(_))
}

/// The manual's table of keys, in Markdown.
pub fn key_table() -> String {
    let keymap = Keymap::default();
    let line = |c: &'static CommandSpec| {
        let keys = &keymap.keys[c.name];
        let keys: Vec<String> = if keys.len() > 4 {
            vec![format!("`{}`", keymap.display_keys(c))]
        } else {
            keys.iter().filter_map(|k| keymap.display(*k)).map(|k| format!("`{k}`")).collect()
        };
        format!("| {} | {} | {} |\n", keys.join(" "), c.name, c.description)
    };
    let part = |group: &'static [CommandSpec]| {
        let lines: String = group.iter().map(line).collect();
        format!("**{}**\n\n| keys | command | what it does |\n| --- | --- | --- |\n{lines}\n", group[0].heading)
    };
    commands::groups().map(part).collect()
}

/// The manual's table of keys that commands had before there were menus, in Markdown.
pub fn old_key_table() -> String {
    let keymap = Keymap::default();
    let line = |(key, c): (Key, &'static CommandSpec)| {
        let menu = keymap.by_key.get(&(c.mode, key)).is_some_and(|now| now.name != c.name);
        let works = if menu { "no, opens a menu" } else { "yes" };
        let new: Vec<String> = keymap.keys[c.name].iter().filter_map(|k| keymap.display(*k)).collect();
        format!("| `{}` | {} | `{}` | {works} |\n", key.display_name(), c.name, new.join("` `"))
    };
    let lines: String = commands::old_keys().map(line).collect();
    format!("| old key | command | new keys | old key still works |\n| --- | --- | --- | --- |\n{lines}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::terminal::commands::MAX_DESCRIPTION;
    use crate::terminal::input::key::{ch, ctrl, key};
    use ratatui::crossterm::event::KeyCode;
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
            let sequences = row.default_keys().iter().filter(|k| k.menu.is_some()).count();
            assert_eq!(row.default_keys().len() + sequences, row.keys.split_whitespace().count(), "{}", row.keys);
            for KeySequence { key, .. } in row.default_keys() {
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
        let text = "[keys]\nplay = \"hyper-x\"\n\nnope = \"x\"\nsave = \"f9\"\nundo = [\"f9\", \"f8\"]\nmute = \"x m\"\n\
                    layer-menu = \"L m\"\n";
        let (map, errors) = Keymap::with_bindings(&Config::parse(text).keys);
        let lines: Vec<String> = errors.iter().map(ToString::to_string).collect();
        assert_eq!(
            lines,
            [
                "line 2, column 8: expected a key like ctrl-k, shift-left, page-up, f5 or x, or a sequence like 'L m', found 'hyper-x'",
                "line 4, column 1: expected a command listed in the help, found 'nope'",
                "line 6, column 9: 'f9' is already bound to the command 'save'",
                "line 7, column 8: expected a sequence that starts with the key of a menu (L S B E C V P R G F W), found 'x m'",
                "line 8, column 14: expected a key like ctrl-k, shift-left, page-up, f5 or x, or a sequence like 'L m', \
                 found 'L m'",
            ]
        );
        assert_eq!(map.first("mute"), "m");
        assert_eq!((map.first("save"), map.first("undo")), ("F9".into(), "F8".into()));
        assert_eq!(map.first("play"), Keymap::default().first("play"));
    }

    #[test]
    fn no_key_stands_twice_in_a_mode() {
        let mut seen = HashSet::new();
        for row in commands::all() {
            for keys in row.default_keys() {
                assert!(seen.insert(row.slot(keys)), "{:?} of {}", keys, row.name);
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
            assert!(Keymap::default().display_keys(row).chars().count() <= 22, "{}", row.keys);
            assert!(crate::manual::chapter(row.chapter).is_some(), "{}: {}", row.name, row.chapter);
            assert_eq!(row.synonyms, row.synonyms.to_lowercase(), "{}", row.name);
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
            for (mode, key) in row.default_keys().into_iter().map(|keys| row.slot(keys)) {
                assert_eq!(map.command(mode, key).map(|r| r.name), Some(row.name));
            }
        }
    }

    #[test]
    fn characters_that_must_be_typed_have_no_command_while_typing() {
        for row in commands::all().filter(|r| r.mode == Mode::Typing) {
            for KeySequence { key, .. } in row.default_keys() {
                let plain = matches!(key.code, KeyCode::Char(_)) && key.mods.is_empty();
                assert!(!plain, "{}", row.name);
            }
        }
    }

    /// Whether common layouts need `AltGr` for a character: German, French and Spanish keyboards.
    fn needs_alt_gr(key: Key) -> bool {
        matches!(key.code, KeyCode::Char('[' | ']' | '{' | '}' | '@' | '#' | '~' | '|' | '\\' | '`' | '^'))
    }

    #[test]
    fn no_command_needs_a_character_that_needs_alt_gr() {
        for row in commands::all().filter(|r| !r.keys.is_empty()) {
            assert!(row.default_keys().iter().any(|k| !needs_alt_gr(k.key)), "{}", row.name);
        }
    }

    #[test]
    fn every_command_of_the_grid_has_a_key_or_is_in_a_menu() {
        for row in commands::all().filter(|r| r.mode == Mode::Grid) {
            assert!(!row.default_keys().is_empty(), "{}", row.name);
        }
        for (menu, opener) in commands::menus() {
            let commands = Keymap::default().menu_commands(menu);
            // More do not fit the smallest window in one column.
            assert!((8..=15).contains(&commands.len()), "{}: {}", opener.name, commands.len());
            assert_eq!(commands::opener(menu).map(|c| c.name), Some(opener.name));
        }
    }

    #[test]
    fn old_keys_work_unless_they_open_a_menu_now() {
        let map = Keymap::default();
        let mut seen = HashSet::new();
        for (key, command) in commands::old_keys() {
            assert!(seen.insert(key), "{key}");
            let now = map.command(Mode::Grid, key).expect("a command");
            assert!(now.name == command.name || opens_menu(now), "{key}: {}", now.name);
            assert!(!command.default_keys().iter().any(|k| k.menu.is_none() && k.key == key), "{key} is no old key");
            assert!(old_key_table().contains(&format!("| `{}` | {} | ", key.display_name(), command.name)), "{key}");
        }
        assert_eq!(seen.len(), old_key_table().lines().count() - 2, "every row names a command and a key");
        assert!(old_key_table().contains("| `E` | ladder | `P p` | no, opens a menu |\n"));
        assert!(old_key_table().contains("| `M` | meter | `B m` | yes |\n"));
        // A key of the user's takes an old key away, too.
        let map = keymap("[keys]\nplay = \"M\"\n");
        assert_eq!(map.command(Mode::Grid, ch('M')).map(|r| r.name), Some("play"));
        assert_eq!(map.reassigned_keys().as_deref(), Some("M is now bound to play; meter has B m"));
    }

    #[test]
    fn sequences_follow_the_key_of_their_menu() {
        let name = |map: &Keymap, menu, c| map.command(Mode::Menu(menu), ch(c)).map(|r| r.name);
        let map = keymap("[keys]\nmute = \"O m\"\nlayer-menu = [\"O\", \"f12\"]\nsolo = [\"f11\", \"f12 1\"]\n");
        assert_eq!(map.first("mute"), "O m");
        assert_eq!(map.display_keys(commands::find("solo").expect("solo")), "F11, O 1");
        assert_eq!(map.first("rename-layer"), "O r");
        assert_eq!((name(&map, Menu::Layer, 'm'), name(&map, Menu::Layer, '1')), (Some("mute"), Some("solo")));
        assert_eq!((name(&map, Menu::Layer, 's'), map.command(Mode::Grid, ch('m')).map(|r| r.name)), (None, None));
        assert_eq!(map.command(Mode::Grid, ch('L')).map(|r| r.name), None);
        assert_eq!(map.command(Mode::Menu(Menu::Layer), key(KeyCode::Esc)).map(|r| r.name), Some("menu-close"));
        // A menu without a key is in the searched list only, and so are its sequences.
        let map = keymap("[keys]\nlayer-menu = []\n");
        assert_eq!((map.first("rename-layer"), map.first("mute")), (String::new(), "m".into()));
        // A sequence that another command had.
        let map = keymap("[keys]\nplay = \"L s\"\n");
        assert_eq!(map.reassigned_keys().as_deref(), Some("L s is now bound to play; solo has no key"));
    }

    #[test]
    fn the_readmes_table_has_every_row() {
        let table = key_table();
        for row in commands::all() {
            assert!(table.contains(&format!("| {} | {} |", row.name, row.description)), "{}", row.name);
        }
    }
}
