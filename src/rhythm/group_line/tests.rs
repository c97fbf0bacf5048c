//! Tests of lines of groups: notation, errors and the shortest form against exhaustive search.

use super::*;
use proptest::prelude::*;
use std::collections::HashMap;

fn check(text: &str, groups: &[u32]) {
    assert_eq!(expand(&parse(text).expect(text)), groups, "{text}");
}

#[test]
fn lines_are_parsed() {
    check("3+3+2+3", &[3, 3, 2, 3]);
    check("3(4+4+3)+5+2", &[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 2]);
    check("2(2(3)+1)", &[3, 3, 1, 3, 3, 1]);
    check(" 3 + 2 ", &[3, 2]);
}

#[test]
fn errors_have_a_position() {
    let rows =
        [("", 0), ("3+", 2), ("3++2", 2), ("3(2", 3), ("3)", 1), ("0", 0), ("2x", 1), ("99999999999", 0), ("3(é)", 2)];
    for (text, at) in rows {
        assert_eq!(parse(text).expect_err(text).at, at, "{text}");
    }
    assert!(parse("60000(60000(3))").is_err());
    assert!(parse(&format!("{}3{}", "2(".repeat(40), ")".repeat(40))).is_err());
}

#[test]
fn among_equally_short_forms_the_first_attack_begins_a_repeat() {
    for text in ["5(7+7+9)+7+6", "3(2+3)+2+1", "2+5(7+7+9)+7+6", "4(3+2)+3", "3(3+3+2)+3+3", "60(7+7+9)+7+6"] {
        let groups = expand(&parse(text).expect(text));
        assert_eq!(print(&compress(&groups)), text);
    }
}

#[test]
fn the_shortest_form_is_found() {
    let rows: [(&[u32], &str); 5] = [
        (&[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 2], "3(4+4+3)+5+2"),
        (&[3, 3, 2, 3], "3+3+2+3"),
        (&[3, 3, 3, 3, 3], "5(3)"),
        (&[3, 3], "3+3"),
        (&[], ""),
    ];
    for (groups, text) in rows {
        assert_eq!(print(&compress(groups)), text);
    }
}

/// The least printed length over every form of a line, by exhaustive search.
fn brute(groups: &[u32], memo: &mut HashMap<Vec<u32>, usize>) -> usize {
    if let Some(&known) = memo.get(groups) {
        return known;
    }
    let first = (1..=groups.len()).map(|head| {
        let piece = &groups[..head];
        let mut least = if head == 1 { 1 } else { usize::MAX };
        for p in 1..head {
            if head % p == 0 && piece.chunks(p).all(|c| c == &piece[..p]) {
                least = least.min((head / p).to_string().len() + 2 + brute(&piece[..p], memo));
            }
        }
        match least {
            usize::MAX => usize::MAX,
            _ if head == groups.len() => least,
            _ => least + 1 + brute(&groups[head..], memo),
        }
    });
    let least = first.collect::<Vec<_>>().into_iter().min().expect("not empty");
    memo.insert(groups.to_vec(), least);
    least
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn compressed_lines_are_as_short_as_brute_force_finds(groups in prop::collection::vec(1_u32..4, 1..13)) {
        let terms = compress(&groups);
        // Groups of one digit, so that the printed length is the counted one.
        prop_assert_eq!(print(&terms).len(), brute(&groups, &mut HashMap::new()));
    }

    #[test]
    fn compressing_printing_and_expanding_give_the_line_back(groups in prop::collection::vec(1_u32..12, 1..300), times in 1_usize..4) {
        let groups = groups.repeat(times);
        let text = print(&compress(&groups));
        prop_assert_eq!(expand(&parse(&text).expect("printed")), groups);
    }

    #[test]
    fn any_text_is_parsed_or_an_error(text in "\\PC{0,40}") {
        let _ = parse(&text);
    }
}
