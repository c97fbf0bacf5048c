//! The searched list of commands: which match the words typed, best first. A word matches a part of the name, a synonym, the
//! description, the heading or a key; one wrong letter, or letters left out, match last. The first synonym counts most.

use crate::terminal::{CommandSpec, Keymap, Mode, commands};
use strsim::osa_distance;

/// Words without a meaning of their own, which are ignored next to others.
const SMALL_WORDS: &[&str] = &[
    "a", "an", "and", "at", "by", "for", "from", "in", "is", "it", "me", "my", "of", "on", "the", "these", "this",
    "to", "with",
];

/// Shortest word in which a wrong letter is forgiven.
const MIN_TYPO_LENGTH: usize = 4;
/// Shortest word whose letters may be spread over a longer one.
const MIN_SPREAD_LENGTH: usize = 3;

/// Ranks of a command whose name is the text, or starts with it; those of the other matches follow.
const NAME: usize = 0;
const NAME_PREFIX: usize = 1;
const WORDS: usize = 2;

impl Keymap {
    /// The commands of the grid that match every word of `text`, best first; equals are in table order.
    pub(crate) fn search(&self, text: &str) -> Vec<&'static CommandSpec> {
        let text = text.to_lowercase();
        let all: Vec<&str> = text.split_whitespace().collect();
        let mut words: Vec<&str> = all.iter().copied().filter(|w| !SMALL_WORDS.contains(w)).collect();
        if words.is_empty() {
            words.clone_from(&all);
        }
        let name = all.join("-");
        let rank = |c: &'static CommandSpec| match c.name {
            own if own == name => Some(NAME),
            own if own.starts_with(&name) => Some(NAME_PREFIX),
            _ => {
                let keys = self.display_keys(c).to_lowercase();
                let ranks: Option<Vec<usize>> = words.iter().map(|word| word_rank(c, &keys, word)).collect();
                ranks.map(|ranks| WORDS + ranks.iter().sum::<usize>())
            }
        };
        let grid = commands::all().filter(|c| c.mode == Mode::Grid);
        let mut found: Vec<(usize, &'static CommandSpec)> = grid.filter_map(|c| Some((rank(c)?, c))).collect();
        found.sort_by_key(|(rank, _)| *rank);
        found.into_iter().map(|(_, c)| c).collect()
    }
}

/// How well a command matches one word, 0 best; `None` if it does not. `keys` are its keys in lower case.
fn word_rank(command: &'static CommandSpec, keys: &str, word: &str) -> Option<usize> {
    let name = || command.name.split('-');
    let synonyms = || command.synonyms.split(' ').filter(|w| !w.is_empty());
    let description = command.description.to_lowercase();
    let described = || {
        let words = description.split_whitespace();
        words.map(|w| w.trim_matches(|c: char| !c.is_alphanumeric())).filter(|w| !w.is_empty())
    };
    let heading = command.heading.to_lowercase();
    let others = || synonyms().chain(described());
    let is_typo = |w: &str| word.chars().count() >= MIN_TYPO_LENGTH && osa_distance(w, word) <= 1;
    let tests: [&dyn Fn() -> bool; 12] = [
        &|| command.name == word,
        &|| name().chain(synonyms().take(1)).any(|w| w == word),
        &|| synonyms().any(|w| w == word),
        &|| name().chain(synonyms().take(1)).any(|w| w.starts_with(word)),
        &|| synonyms().any(|w| w.starts_with(word)),
        &|| described().any(|w| w.starts_with(word)) || keys.split(", ").any(|k| k == word),
        &|| heading.split(' ').any(|w| w.starts_with(word)),
        &|| name().any(is_typo),
        &|| others().any(is_typo),
        &|| command.name.contains(word) || description.contains(word),
        &|| is_spread_over(word, command.name),
        &|| others().any(|w| is_spread_over(word, w)),
    ];
    tests.iter().position(|matches| matches())
}

/// Whether the letters are in the text in this order, beginning at its start or after a hyphen.
fn is_spread_over(letters: &str, text: &str) -> bool {
    let in_order = |text: &str| {
        let mut rest = text.chars();
        letters.chars().all(|letter| rest.any(|c| c == letter))
    };
    let mut starts = text.char_indices().map(|(i, _)| i).filter(|i| *i == 0 || text[..*i].ends_with('-'));
    letters.chars().count() >= MIN_SPREAD_LENGTH
        && starts.any(|at| text[at..].chars().next() == letters.chars().next() && in_order(&text[at..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<&'static str> {
        Keymap::default().search(text).iter().map(|r| r.name).collect()
    }

    /// Words that musicians search for, and the command that should answer; common practice, no source.
    const WANTED: &[(&str, &str)] = &[
        ("bpm", "tempo"),
        ("crotchet equals", "tempo"),
        ("tap tempo", "tap-tempo"),
        ("slow down", "slower"),
        ("speed trainer", "ladder"),
        ("metronome", "beat-click"),
        ("click volume", "click-up"),
        ("click on 2 and 4", "beat-click-next"),
        ("time signature", "meter"),
        ("metre", "meter"),
        ("2+2+3", "meter"),
        ("polymeter", "cycle"),
        ("count-in", "count-in"),
        ("count me in", "count-in"),
        ("triplet", "tuplet"),
        ("quintuplet", "tuplet"),
        ("semiquavers", "division"),
        ("subdivision", "division"),
        ("accent", "accent"),
        ("ghost note", "attack-ghost"),
        ("dead note", "attack-ghost"),
        ("let ring", "hold"),
        ("rest", "rest"),
        ("add drum", "add-layer"),
        ("new track", "add-layer"),
        ("instrument", "voice"),
        ("rename track", "rename-layer"),
        ("delete layer", "remove-layer"),
        ("mute", "mute"),
        ("solo", "solo"),
        ("volume", "volume-up"),
        ("mix", "gain"),
        ("loop these bars", "loop-region"),
        ("play", "play"),
        ("play from here", "play-here"),
        ("copy", "copy"),
        ("paste", "paste"),
        ("duplicate bar", "repeat"),
        ("undo", "undo"),
        ("add measure", "insert-bar"),
        ("delete bar", "delete-bars"),
        ("chorus", "add-section"),
        ("arrangement", "times"),
        ("anacrusis", "insert-bar"),
        ("shuffle", "swing"),
        ("shift by a sixteenth", "shift"),
        ("sheet music", "export"),
        ("drum part pdf", "handout"),
        ("midi", "export"),
        ("bounce", "render-wav"),
        ("handout", "handout"),
        ("save as", "save-as"),
        ("exit", "quit"),
        ("close", "quit"),
        ("colours", "manual"),
        ("tapping", "tap"),
        ("where is the one", "hearings"),
        ("wrong beat", "hearing-click"),
        ("why is it hard", "hearings"),
        ("grouping", "labels"),
    ];

    #[test]
    fn a_musicians_words_find_their_command_in_the_first_three_rows() {
        assert_eq!(WANTED.len(), 60);
        let missed: Vec<_> =
            WANTED.iter().filter(|(text, name)| !found(text).iter().take(3).any(|n| n == name)).collect();
        let list: Vec<String> =
            missed.iter().map(|(t, n)| format!("{t}: {n}, found {:?}", &found(t)[..found(t).len().min(6)])).collect();
        assert!(missed.is_empty(), "{list:#?}");
    }

    #[test]
    fn more_words_that_are_not_in_any_name() {
        for (text, name) in [
            ("transpose", "pitch-up"),
            ("insert bar", "insert-bar"),
            ("drum", "add-layer"),
            ("volume", "volume-down"),
            ("time sig", "meter"),
            ("sound card", "outputs"),
            ("latency", "tap-calibrate"),
            ("ctrl-z", "undo"),
        ] {
            assert!(found(text).iter().take(3).any(|n| *n == name), "{text}: {:?}", found(text));
        }
    }

    #[test]
    fn a_command_is_found_by_its_name_first() {
        for row in commands::all().filter(|r| r.mode == Mode::Grid) {
            assert_eq!(found(row.name)[0], row.name);
            assert_eq!(found(&row.name.replace('-', " "))[0], row.name);
        }
        // The name itself, names that begin with it, then synonyms, then the descriptions.
        assert_eq!(found("tempo")[..4], ["tempo", "tempo-up", "tempo-down", "tap-tempo"]);
        assert_eq!(found("click")[..4], ["click-down", "click-up", "click-sound", "beat-click"]);
        assert_eq!(found("").len(), commands::all().filter(|r| r.mode == Mode::Grid).count());
    }

    #[test]
    fn a_typo_and_left_out_letters_come_last_but_match() {
        for (text, name) in [
            ("metronom", "beat-click"),
            ("tepmo", "tempo"),
            ("handuot", "handout"),
            ("rnmlay", "rename-layer"),
            ("adlay", "add-layer"),
        ] {
            assert!(found(text).iter().take(3).any(|n| *n == name), "{text}: {:?}", found(text));
        }
        // Every word has to match; small words next to others do not count.
        assert!(found("tempo xylophone").is_empty());
        assert_eq!(found("the tempo")[0], "tempo");
        assert_eq!(found("in")[0], "insert-bar");
    }
}
