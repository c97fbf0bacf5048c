//! A key with its modifiers, and its name in text.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use std::fmt;

/// A key with its modifiers. Shift is part of a printed character, so only keys without one have it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Key {
    pub code: KeyCode,
    /// Ctrl, Alt and, for keys without a character, Shift.
    pub mods: KeyModifiers,
}

#[cfg(test)]
pub(crate) const fn ch(c: char) -> Key {
    Key { code: KeyCode::Char(c), mods: KeyModifiers::NONE }
}

#[cfg(test)]
pub(crate) const fn ctrl(c: char) -> Key {
    Key { code: KeyCode::Char(c), mods: KeyModifiers::CONTROL }
}

#[cfg(test)]
pub(crate) const fn key(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::NONE }
}

#[cfg(test)]
pub(crate) const fn shift(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::SHIFT }
}

#[cfg(test)]
pub(crate) const fn ctrl_key(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::CONTROL }
}

#[cfg(test)]
pub(crate) const fn ctrl_shift(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::CONTROL.union(KeyModifiers::SHIFT) }
}

/// Names in the config file and on the screen. Shift-Tab is a key of its own in terminals.
const NAMES: &[(&str, &str, KeyCode)] = &[
    ("left", "Left", KeyCode::Left),
    ("right", "Right", KeyCode::Right),
    ("up", "Up", KeyCode::Up),
    ("down", "Down", KeyCode::Down),
    ("home", "Home", KeyCode::Home),
    ("end", "End", KeyCode::End),
    ("page-up", "PgUp", KeyCode::PageUp),
    ("page-down", "PgDn", KeyCode::PageDown),
    ("tab", "Tab", KeyCode::Tab),
    ("back-tab", "Shift-Tab", KeyCode::BackTab),
    ("enter", "Enter", KeyCode::Enter),
    ("esc", "Esc", KeyCode::Esc),
    ("backspace", "Backspace", KeyCode::Backspace),
    ("delete", "Delete", KeyCode::Delete),
    ("insert", "Insert", KeyCode::Insert),
    ("space", "Space", KeyCode::Char(' ')),
];

const MODS: &[(&str, &str, KeyModifiers)] = &[
    ("ctrl-", "Ctrl-", KeyModifiers::CONTROL),
    ("alt-", "Alt-", KeyModifiers::ALT),
    ("shift-", "Shift-", KeyModifiers::SHIFT),
];

impl Key {
    /// The key that a terminal reports.
    pub(crate) fn of(event: &KeyEvent) -> Self {
        let mods = event.modifiers & (KeyModifiers::CONTROL | KeyModifiers::ALT | KeyModifiers::SHIFT);
        Self::normalized(event.code, mods)
    }

    /// Terminals differ in whether they report Shift with a letter or with Shift-Tab.
    fn normalized(code: KeyCode, mut mods: KeyModifiers) -> Self {
        let code = match code {
            KeyCode::Char(c) if mods.contains(KeyModifiers::CONTROL) => KeyCode::Char(c.to_ascii_lowercase()),
            KeyCode::Tab if mods.contains(KeyModifiers::SHIFT) => KeyCode::BackTab,
            code => code,
        };
        if matches!(code, KeyCode::Char(_) | KeyCode::BackTab) {
            mods -= KeyModifiers::SHIFT;
        }
        Self { code, mods }
    }

    /// Parses `ctrl-k`, `shift-left`, `page-up`, `f5`, `x`, `?`, and the names of [`Key::display_name`]. Modifiers, names, and
    /// letters with Ctrl ignore case; a letter alone does not.
    pub(crate) fn parse(text: &str) -> Option<Self> {
        let (mut rest, mut mods) = (text, KeyModifiers::NONE);
        let starts_with = |rest: &str, name: &str| {
            rest.len() > name.len() && rest.get(..name.len()).is_some_and(|s| s.eq_ignore_ascii_case(name))
        };
        while let Some((name, _, modifier)) = MODS.iter().find(|(name, ..)| starts_with(rest, name)) {
            if mods.contains(*modifier) {
                return None;
            }
            mods |= *modifier;
            rest = &rest[name.len()..];
        }
        let mut names = NAMES.iter().flat_map(|(name, shown, code)| [(name, code), (shown, code)]);
        let named = names.find(|(name, _)| name.eq_ignore_ascii_case(rest)).map(|(_, code)| *code);
        let function = || rest.strip_prefix(['f', 'F'])?.parse().ok().filter(|n| (1..=12).contains(n)).map(KeyCode::F);
        let character = || {
            let only = rest.chars().next().filter(|c| c.len_utf8() == rest.len());
            only.filter(|c| !c.is_control() && !c.is_whitespace()).map(KeyCode::Char)
        };
        let code = named.or_else(function).or_else(character)?;
        let shifted_character = matches!(code, KeyCode::Char(_)) && mods.contains(KeyModifiers::SHIFT);
        (!shifted_character).then(|| Self::normalized(code, mods))
    }
}

/// The name in the config file.
impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (name, ..) in MODS.iter().filter(|(.., modifier)| self.mods.contains(*modifier)) {
            f.write_str(name)?;
        }
        match (NAMES.iter().find(|(.., code)| *code == self.code), self.code) {
            (Some((name, ..)), _) => f.write_str(name),
            (None, KeyCode::F(n)) => write!(f, "f{n}"),
            (None, KeyCode::Char(c)) => write!(f, "{c}"),
            (None, _) => f.write_str("?"),
        }
    }
}

impl Key {
    /// The name on screen and in the README: `Ctrl-K`, `Shift-Left`, `PgUp`, `x`.
    pub(crate) fn display_name(self) -> String {
        let mods = MODS.iter().filter(|(.., modifier)| self.mods.contains(*modifier));
        let mods: String = mods.map(|(_, shown, _)| *shown).collect();
        match (NAMES.iter().find(|(.., code)| *code == self.code), self.code) {
            (Some((_, shown, _)), _) => mods + shown,
            (None, KeyCode::F(n)) => format!("{mods}F{n}"),
            (None, KeyCode::Char(c)) if self.mods.contains(KeyModifiers::CONTROL) => {
                format!("{mods}{}", c.to_ascii_uppercase())
            }
            (None, KeyCode::Char(c)) => format!("{mods}{c}"),
            (None, _) => mods + "?",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names() {
        let rows = [
            ("ctrl-k", ctrl('k'), "Ctrl-K"),
            ("shift-left", shift(KeyCode::Left), "Shift-Left"),
            ("page-up", key(KeyCode::PageUp), "PgUp"),
            ("f5", key(KeyCode::F(5)), "F5"),
            ("f", ch('f'), "f"),
            ("-", ch('-'), "-"),
            ("X", ch('X'), "X"),
            ("space", ch(' '), "Space"),
            ("ctrl-shift-end", ctrl_shift(KeyCode::End), "Ctrl-Shift-End"),
        ];
        for (text, key, shown) in rows {
            assert_eq!(Key::parse(text), Some(key), "{text}");
            assert_eq!(key.to_string(), text);
            assert_eq!(key.display_name(), shown);
        }
        let shown = [
            ("PgUp", key(KeyCode::PageUp)),
            ("Ctrl-PgDn", ctrl_key(KeyCode::PageDown)),
            ("Ctrl-K", ctrl('k')),
            ("CTRL-k", ctrl('k')),
            ("Shift-Tab", key(KeyCode::BackTab)),
            ("shift-back-tab", key(KeyCode::BackTab)),
            ("ENTER", key(KeyCode::Enter)),
            ("F5", key(KeyCode::F(5))),
            ("F", ch('F')),
            ("Alt-X", Key { code: KeyCode::Char('X'), mods: KeyModifiers::ALT }),
        ];
        for (text, key) in shown {
            assert_eq!(Key::parse(text), Some(key), "{text}");
        }
        for bad in
            ["", "ctrl-", "shift-a", "Shift-A", "ctrl-shift-K", "pg-up", "f13", "F0", "xx", " ", "ctrl-ctrl-a", "\u{7}"]
        {
            assert_eq!(Key::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn shift_is_part_of_a_character() {
        let press = |code, mods| Key::of(&KeyEvent::new(code, mods));
        assert_eq!(press(KeyCode::Char('X'), KeyModifiers::SHIFT), ch('X'));
        assert_eq!(press(KeyCode::Char('K'), KeyModifiers::SHIFT | KeyModifiers::CONTROL), ctrl('k'));
        assert_eq!(press(KeyCode::BackTab, KeyModifiers::SHIFT), key(KeyCode::BackTab));
        assert_eq!(press(KeyCode::Tab, KeyModifiers::SHIFT), key(KeyCode::BackTab));
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn any_text_is_a_key_that_prints_itself_or_none(text in "\\PC{0,12}") {
            if let Some(key) = Key::parse(&text) {
                prop_assert_eq!(Key::parse(&key.to_string()), Some(key));
                prop_assert_eq!(Key::parse(&key.display_name()), Some(key));
            }
        }
    }
}
