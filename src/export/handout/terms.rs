//! Explanations of the terms that occur on a page.

use super::content::Block;

const TERMS: &[(&str, &str)] = &[
    ("figure", "a line of groups that recurs"),
    ("deviation", "how far the attacks on a pulse are from it on average, early or late"),
    (
        "(re-enters each loop)",
        "the loop is not a whole number of periods of this pulse, so the pulse starts again with every pass",
    ),
    ("one pulse per attack", "a pulse with one beat per attack, at the average rate of the attacks"),
    ("changing pulse", "a pulse that keeps one tempo for a while and then changes to another"),
    ("unequal beats", "beats of two lengths in a fixed order, such as 2+2+3"),
    ("drift", "how far one pulse moves ahead of another (plus) or behind it (minus) per bar"),
];

/// The definitions of the terms that occur in the blocks, one line each.
pub(super) fn explain(blocks: &[Block<'_>]) -> Vec<String> {
    let used = TERMS.iter().filter(|(term, _)| blocks.iter().any(|b| contains(b, term)));
    used.map(|(term, definition)| format!("{term}: {definition}")).collect()
}

fn contains(block: &Block<'_>, term: &str) -> bool {
    let has = |text: &str| text.contains(term);
    match block {
        Block::Title(_)
        | Block::Heading(_)
        | Block::Preformatted(_)
        | Block::Picture(_)
        | Block::Sound(_)
        | Block::Player(_) => false,
        Block::Text(text) | Block::Small(text) => has(text),
        Block::List(lines) | Block::Steps(lines) | Block::TickBoxes(lines) => lines.iter().any(|l| has(l)),
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
            Block::List(vec!["the drift per bar".into(), "no drift".into()]),
            Block::Preformatted("figure".into()),
        ];
        let terms = explain(&blocks);
        let listed: Vec<&str> = terms.iter().filter_map(|l| l.split_once(": ")).map(|l| l.0).collect();
        assert_eq!(listed, ["deviation", "(re-enters each loop)", "drift"]);
        assert_eq!(explain(&[Block::Text("No attacks.".into())]), Vec::<String>::new());
    }
}
