//! Escapes characters of names, paths and file contents that would control the terminal.

use crate::rhythm::is_hidden;
use std::borrow::Cow;

/// Escapes hidden characters of a line as Rust does: `\u{1b}`, `\n`.
pub(crate) fn visible(text: &str) -> Cow<'_, str> {
    escaped(text, is_hidden, |c| c.escape_default().to_string())
}

/// Escapes hidden characters but line breaks and tabs.
pub(crate) fn visible_lines(text: &str) -> Cow<'_, str> {
    escaped(text, |c| is_hidden(c) && !matches!(c, '\n' | '\t'), |c| c.escape_default().to_string())
}

/// Escapes hidden characters in a JSON document, where they occur in strings only.
pub(crate) fn visible_json(text: &str) -> Cow<'_, str> {
    let units = |c: char| {
        let units: Vec<String> = c.encode_utf16(&mut [0; 2]).iter().map(|u| format!("\\u{u:04x}")).collect();
        units.concat()
    };
    escaped(text, |c| is_hidden(c) && c != '\n', units)
}

fn escaped(text: &str, is_escaped: impl Fn(char) -> bool, escape: impl Fn(char) -> String) -> Cow<'_, str> {
    if !text.contains(&is_escaped) {
        return Cow::Borrowed(text);
    }
    let shown = |c: char| if is_escaped(c) { escape(c) } else { c.to_string() };
    Cow::Owned(text.chars().map(shown).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_acts_on_a_terminal_is_escaped() {
        let rows = [
            ("riff", "riff"),
            ("fl\u{fc}t \u{2693} \u{65e5}", "fl\u{fc}t \u{2693} \u{65e5}"),
            ("\u{1b}[31mred\u{7}", "\\u{1b}[31mred\\u{7}"),
            ("\u{9b}2J\u{7f}", "\\u{9b}2J\\u{7f}"),
            ("a\u{202e}b\u{2066}c\u{200f}", "a\\u{202e}b\\u{2066}c\\u{200f}"),
            ("one\u{2028}two\u{2029}", "one\\u{2028}two\\u{2029}"),
            ("a\nb\tc\r", "a\\nb\\tc\\r"),
        ];
        for (text, expected) in rows {
            assert_eq!(visible(text), expected);
        }
        assert_eq!(visible_lines("a\nb\tc\r\u{1b}"), "a\nb\tc\\r\\u{1b}");
        assert_eq!(visible_json("[\"\u{9b}\u{e0041}\"]\n"), "[\"\\u009b\\udb40\\udc41\"]\n");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn nothing_hidden_is_left(text in any::<String>()) {
            prop_assert!(!visible(&text).contains(is_hidden));
            prop_assert!(!visible_lines(&text).contains(|c| is_hidden(c) && !matches!(c, '\n' | '\t')));
        }
    }
}
