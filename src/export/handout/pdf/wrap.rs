//! Lines of text that fit a width.

use crate::export::picture::font;

/// The lines of a text in a size, broken between words, and within words that are wider than a line.
pub(super) fn wrap(text: &str, size: f32, room: f32) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()) {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if font::width(&joined, size) <= room {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            line.push(c);
            if font::width(&line, size) > room && line.chars().nth(1).is_some() {
                line.pop();
                lines.push(std::mem::replace(&mut line, c.to_string()));
            }
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_and_keep_every_word() {
        let text = "the rope runs out on the fourth turn of the winch and comes back";
        let lines = wrap(text, 10.0, 120.0);
        assert!(lines.len() > 2 && lines.iter().all(|l| font::width(l, 10.0) <= 120.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
        let word = "w".repeat(40);
        let lines = wrap(&word, 10.0, 50.0);
        assert!(lines.len() > 4 && lines.iter().all(|l| font::width(l, 10.0) <= 50.0), "{lines:?}");
        assert_eq!(lines.concat(), word);
        assert_eq!(wrap("a\n\tb", 10.0, 120.0), ["a b"]);
        assert_eq!(wrap("", 10.0, 120.0), [""]);
        // A room narrower than a character still ends.
        assert_eq!(wrap("abc", 10.0, 1.0), ["a", "b", "c"]);
    }
}
