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

pub(crate) const fn ch(c: char) -> Key {
    Key { code: KeyCode::Char(c), mods: KeyModifiers::NONE }
}

pub(crate) const fn ctrl(c: char) -> Key {
    Key { code: KeyCode::Char(c), mods: KeyModifiers::CONTROL }
}

pub(crate) const fn key(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::NONE }
}

pub(crate) const fn shift(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::SHIFT }
}

pub(crate) const fn ctrl_key(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::CONTROL }
}

pub(crate) const fn ctrl_shift(code: KeyCode) -> Key {
    Key { code, mods: KeyModifiers::CONTROL.union(KeyModifiers::SHIFT) }
}

const NAMES: &[(&str, KeyCode)] = &[
    ("left", KeyCode::Left),
    ("right", KeyCode::Right),
    ("up", KeyCode::Up),
    ("down", KeyCode::Down),
    ("home", KeyCode::Home),
    ("end", KeyCode::End),
    ("page-up", KeyCode::PageUp),
    ("page-down", KeyCode::PageDown),
    ("tab", KeyCode::Tab),
    ("back-tab", KeyCode::BackTab),
    ("enter", KeyCode::Enter),
    ("esc", KeyCode::Esc),
    ("backspace", KeyCode::Backspace),
    ("delete", KeyCode::Delete),
    ("insert", KeyCode::Insert),
    ("space", KeyCode::Char(' ')),
];

/// Short names, as shown on screen.
const SHORT_NAMES: &[(&str, KeyCode)] = &[("pgup", KeyCode::PageUp), ("pgdn", KeyCode::PageDown)];

const MODS: &[(&str, KeyModifiers)] =
    &[("ctrl-", KeyModifiers::CONTROL), ("alt-", KeyModifiers::ALT), ("shift-", KeyModifiers::SHIFT)];

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
        while let Some((name, modifier)) = MODS.iter().find(|(name, _)| starts_with(rest, name)) {
            if mods.contains(*modifier) {
                return None;
            }
            mods |= *modifier;
            rest = &rest[name.len()..];
        }
        let named = NAMES.iter().chain(SHORT_NAMES).find(|(name, _)| name.eq_ignore_ascii_case(rest));
        let code = match named {
            Some((_, code)) => *code,
            None => match rest.strip_prefix(['f', 'F']).map(str::parse::<u8>) {
                Some(Ok(n)) if (1..=12).contains(&n) => KeyCode::F(n),
                _ => {
                    let mut chars = rest.chars();
                    match (chars.next(), chars.next()) {
                        (Some(c), None) if !c.is_control() && !c.is_whitespace() => KeyCode::Char(c),
                        _ => return None,
                    }
                }
            },
        };
        let shifted_character = matches!(code, KeyCode::Char(_)) && mods.contains(KeyModifiers::SHIFT);
        (!shifted_character).then(|| Self::normalized(code, mods))
    }
}

/// The name in the config file.
impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (name, modifier) in MODS {
            if self.mods.contains(*modifier) {
                f.write_str(name)?;
            }
        }
        match (NAMES.iter().find(|(_, code)| *code == self.code), self.code) {
            (Some((name, _)), _) => f.write_str(name),
            (None, KeyCode::F(n)) => write!(f, "f{n}"),
            (None, KeyCode::Char(c)) => write!(f, "{c}"),
            (None, _) => f.write_str("?"),
        }
    }
}

impl Key {
    /// The name on screen and in the README: `Ctrl-K`, `Shift-Left`, `PgUp`, `x`.
    pub(crate) fn display_name(self) -> String {
        let name = match self.code {
            KeyCode::PageUp => "PgUp".to_owned(),
            KeyCode::PageDown => "PgDn".to_owned(),
            KeyCode::BackTab => "Shift-Tab".to_owned(),
            KeyCode::Char(' ') => "Space".to_owned(),
            KeyCode::Char(c) if self.mods.contains(KeyModifiers::CONTROL) => c.to_ascii_uppercase().to_string(),
            KeyCode::Char(c) => c.to_string(),
            _ => {
                let plain = Self { mods: KeyModifiers::NONE, ..self }.to_string();
                let mut chars = plain.chars();
                chars.next().map_or_else(String::new, |c| c.to_ascii_uppercase().to_string() + chars.as_str())
            }
        };
        let mods: String = MODS
            .iter()
            .filter(|(_, m)| self.mods.contains(*m))
            .map(|(name, _)| name[..1].to_ascii_uppercase() + &name[1..])
            .collect();
        mods + &name
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
