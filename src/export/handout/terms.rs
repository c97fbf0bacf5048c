//! Explanations of the terms that occur on a page.

use super::content::Block;

/// A word as it stands on the page, how it is listed, and what it means.
const TERMS: &[(&str, &str, &str)] = &[
    ("figure", "figure", "a line of groups that recurs"),
    ("deviation", "deviation", "how far the attacks on a pulse are from it on average, early or late"),
    (
        "(re-enters each loop)",
        "(re-enters each loop)",
        "the loop is not a whole number of this pulse, which starts again with every pass",
    ),
    (
        "one pulse per attack",
        "one pulse per attack",
        "a pulse that follows the attacks, each of them one beat, at their average rate",
    ),
    ("changing pulse", "changing pulse", "a pulse that keeps one tempo for a while and then changes to another"),
    ("unequal beats", "unequal beats", "beats of two lengths in a fixed order, such as 2+2+3"),
    ("drift", "drift", "how far one pulse moves ahead of another (plus) or behind it (minus) per bar"),
    ("would meet it", "to meet the bar", "to coincide with the first beat of a bar again"),
    ("meet the bar", "to meet the bar", "to coincide with the first beat of a bar again"),
    ("meets the bar", "to meet the bar", "to coincide with the first beat of a bar again"),
];

/// The words of a page that are explained, in a line each, in the order of the table.
pub(super) fn of(blocks: &[Block<'_>]) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for (found, listed, means) in TERMS {
        let line = format!("{listed}: {means}");
        if !told.contains(&line) && blocks.iter().any(|b| holds(b, found)) {
            told.push(line);
        }
    }
    told
}

fn holds(block: &Block<'_>, word: &str) -> bool {
    let has = |text: &str| text.contains(word);
    match block {
        Block::Title(_) | Block::Heading(_) | Block::Lines(_) | Block::Picture(..) | Block::Sound(_) => false,
        Block::Text(text) | Block::Small(text) => has(text),
        Block::List(lines) | Block::Steps(lines) => lines.iter().any(|l| has(l)),
        Block::Numbered(lines) => lines.iter().any(|(a, b)| has(a) || has(b)),
        Block::Table(head, rows) => head.iter().any(|h| has(h)) || rows.iter().flatten().any(|c| has(c)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_words_of_the_page_are_explained_and_each_once() {
        let blocks = [
            Block::Table(
                vec!["", "pulse", "deviation"],
                vec![vec!["1".into(), "dotted beat (re-enters each loop)".into()]],
            ),
            Block::List(vec!["it would meet it after 3 bars".into(), "it meets the bar after 5 bars".into()]),
            Block::Lines("figure".into()),
        ];
        let told = of(&blocks);
        let listed: Vec<&str> = told.iter().filter_map(|l| l.split_once(": ")).map(|l| l.0).collect();
        assert_eq!(listed, ["deviation", "(re-enters each loop)", "to meet the bar"]);
        assert_eq!(of(&[Block::Text("No attacks.".into())]), Vec::<String>::new());
    }
}
