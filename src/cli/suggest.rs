//! Suggests a command for one that is not recognized.

use super::args::Args;
use super::input;
use std::ffi::OsString;
use std::path::Path;
use strsim::osa_distance;

/// The error for a first argument that is no command, with more arguments after it: clap would read it as a file to edit.
pub(super) fn unrecognized_command(args: &[OsString]) -> Option<String> {
    let first = args.get(1)?.to_str()?;
    let is_known = first.starts_with('-') || first == "help" || command_names().iter().any(|n| n == first);
    let is_edit = args[2..].iter().filter_map(|a| a.to_str()).any(|a| a.starts_with("--speaker"));
    (args.len() > 2 && !is_known && !is_edit).then(|| {
        let names = command_names().join(", ");
        format!("unrecognized command '{first}'{}; expected a FILE or one of: {names}", hint(first))
    })
}

/// The error for a file to edit that is missing and is not named as a groove: it may be a mistyped command.
pub(super) fn missing_file(path: &Path) -> Option<String> {
    let is_missing = matches!(path.try_exists(), Ok(false)) && !path.is_symlink();
    (is_missing && !input::has_extension(path, &["toml"])).then(|| {
        let hint = path.to_str().map(hint).unwrap_or_default();
        format!("no such command or file: '{}'{hint} (a new groove's file name must end in .toml)", path.display())
    })
}

fn hint(word: &str) -> String {
    suggest(word).map(|name| format!(" (did you mean '{name}'?)")).unwrap_or_default()
}

fn command_names() -> Vec<String> {
    let command = <Args as clap::CommandFactory>::command();
    command.get_subcommands().map(|c| c.get_name().to_owned()).collect()
}

/// The command closest to a word, if it begins with the word or differs from it in at most a third of its letters.
fn suggest(word: &str) -> Option<String> {
    let word = word.to_lowercase();
    let length = word.chars().count();
    let distance = |name: &String| match osa_distance(&word, name) {
        n if 3 * n <= length.max(3) => Some(n),
        n if length > 2 && name.starts_with(&word) => Some(n),
        _ => None,
    };
    command_names().into_iter().filter_map(|name| Some((distance(&name)?, name))).min().map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_the_published_ones() {
        for (a, b, n) in
            [("", "", 0), ("", "tap", 3), ("explian", "explain", 1), ("ca", "abc", 3), ("kitten", "sitting", 3)]
        {
            assert_eq!((osa_distance(a, b), osa_distance(b, a)), (n, n), "{a} {b}");
        }
    }

    #[test]
    fn a_mistyped_command_is_suggested_and_another_word_is_not() {
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
            assert_eq!(suggest(word).as_deref(), name, "{word}");
        }
    }
}
