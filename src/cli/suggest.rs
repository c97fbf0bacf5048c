//! A first word that is neither a command nor a file, and the command it is near to. It must not know what commands do.

use super::args::Args;
use super::input;
use std::ffi::OsString;
use std::path::Path;

/// What is wrong if the first word is no command but has more words after it: the parser would take it for a file.
pub(super) fn more_words(words: &[OsString]) -> Option<String> {
    let first = words.get(1)?.to_str()?;
    let known = first.starts_with('-') || first == "help" || names().iter().any(|n| n == first);
    let edits = words[2..].iter().filter_map(|w| w.to_str()).any(|w| w.starts_with("--speaker"));
    (words.len() > 2 && !known && !edits).then(|| {
        let near = near(first).map(|n| format!(" ('{n}' is near)")).unwrap_or_default();
        format!(
            "found '{first}' and more words after it, allowed is one file to edit, or one of the commands {}{near}",
            names().join(", ")
        )
    })
}

/// What is wrong with a file to edit that is not there: only a name that ends as a groove's does begins a new one, so that a
/// mistyped command does not.
pub(super) fn no_file(path: &Path) -> Option<String> {
    let missing = matches!(path.try_exists(), Ok(false)) && !path.is_symlink();
    if !missing || input::has_ending(path, &["toml"]) {
        return None;
    }
    let shown = path.display();
    let near = path.to_str().and_then(near).map(|n| format!("; the command '{n}' is near")).unwrap_or_default();
    Some(format!("there is no command and no file '{shown}'{near}; the name of a new groove ends in .toml"))
}

fn names() -> Vec<String> {
    let command = <Args as clap::CommandFactory>::command();
    command.get_subcommands().map(|c| c.get_name().to_owned()).collect()
}

/// The command that a word is nearest to, if it begins with the word or differs from it in a third of its letters at most.
fn near(word: &str) -> Option<String> {
    let word = word.to_lowercase();
    let least = word.chars().count();
    let close = |name: &String| match steps(&word, name) {
        n if 3 * n <= least.max(3) => Some(n),
        n if least > 2 && name.starts_with(&word) => Some(n),
        _ => None,
    };
    names().into_iter().filter_map(|name| Some((close(&name)?, name))).min().map(|(_, name)| name)
}

/// Letters put in, left out, changed or swapped with their neighbour from one word to the other (the restricted edit distance of
/// Damerau 1964).
fn steps(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let changed = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = changed.min(rows[i - 1][j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_those_of_the_published_distance() {
        for (a, b, n) in
            [("", "", 0), ("", "tap", 3), ("explian", "explain", 1), ("ca", "abc", 3), ("kitten", "sitting", 3)]
        {
            assert_eq!((steps(a, b), steps(b, a)), (n, n), "{a} {b}");
        }
    }

    #[test]
    fn a_slip_is_near_and_another_word_is_not() {
        let rows = [
            ("explian", Some("explain")),
            ("Render", Some("render")),
            ("rend", Some("render")),
            ("tpa", Some("tap")),
            ("takse", Some("takes")),
            ("exprot", Some("export")),
            ("riff", None),
            ("t", None),
            ("", None),
        ];
        for (word, name) in rows {
            assert_eq!(near(word).as_deref(), name, "{word}");
        }
    }
}
