//! Variants are valid grooves, each once, and what they say is true.

use super::operation::{FAMILIES, PERMUTE};
use super::{Aim, Effect, RotationOf, Subject, variants};
use crate::analysis::AnalysisOptions;
use crate::rhythm::tests::grooves;
use crate::rhythm::{Attack, Cell, Edit, Groove, Place, group_line};
use proptest::prelude::*;
use std::collections::HashSet;

fn families() -> Vec<&'static str> {
    FAMILIES.into_iter().chain([PERMUTE]).collect()
}

/// A groove of one layer with these groups.
fn line(bars: u16, groups: &str) -> Groove {
    let groups = group_line::expand(&group_line::parse(groups).expect("a line"));
    let mut groove = Groove::in_four(150, bars);
    let mut cell = 0;
    for group in groups {
        let at = Place { layer: 0, section: 0, cell };
        groove = groove.edited(&Edit::Enter { at, cells: group as usize, attack: Attack::default() }).expect("room");
        cell += group as usize;
    }
    groove
}

fn texts(groove: &Groove, subject: &Subject, families: &[&str]) -> Vec<(String, String)> {
    let all = variants(groove, subject, families, 10_000);
    let text = |groups: &[u32]| group_line::print(&group_line::compress(groups));
    all.found.iter().map(|v| (v.made[0].to_string(), format!("{}:{}", v.lead, text(&v.groups)))).collect()
}

#[test]
fn the_operations_do_what_their_sentences_say() {
    let groove = line(1, "3+3+2+4+4");
    let subject = Subject::layer(&groove, 0, 0).expect("a layer");
    let of = |family: &str| texts(&groove, &subject, &[family]);
    let lines = |family: &str| of(family).into_iter().map(|t| t.1).collect::<Vec<_>>();
    assert_eq!(lines("rotate"), ["0:3+2+4+4+3", "0:2+4+4+3+3", "0:4+4+3+3+2", "0:4+3+3+2+4"]);
    assert_eq!(lines("retrograde"), ["0:4+4+2+3+3"]);
    assert_eq!(lines("join"), ["0:6+2+4+4", "0:3+5+4+4", "0:3+3+6+4", "0:3+3+2+8"]);
    assert_eq!(lines("double"), ["0:6+6+4"]);
    assert!(lines("halve").is_empty(), "three cells have no half");
    assert_eq!(lines("complement").len(), 1);
    assert_eq!(lines("displace").len(), 15);
    assert_eq!(of("displace")[0], ("moved later by 1 cell".to_owned(), "1:3+3+2+4+3".to_owned()));
    assert!(of("split").contains(&("the 3rd group split after 1 cell".to_owned(), "0:3+3+1+1+4+4".to_owned())));
    assert!(of("exchange").iter().any(|t| t.0 == "groups of 3 become 4, groups of 4 become 3" && t.1 == "0:4+4+2+3+3"));
    // 5!/(2! 2!) orders, but the original one.
    assert_eq!(lines(PERMUTE).len(), 29);
    assert_eq!(lines("accents").len(), 0, "no accents to move");
}

#[test]
fn nothing_sounds_before_the_first_attack_of_a_row_that_was_moved() {
    let groove = line(1, "3+3+2+4+4");
    let subject = Subject::layer(&groove, 0, 0).expect("a layer");
    let held = groove.part(0, 0).stored().contains(&Cell::Hold);
    assert!(held, "the groups sound to their end");
    for v in variants(&groove, &subject, &["displace"], 100).found {
        let stored = v.groove.part(0, 0).stored();
        let first = stored.iter().position(|c| c.attack().is_some()).expect("an attack");
        assert!(!stored[..first].contains(&Cell::Hold), "{:?}", v.made);
    }
    // The few operations come before the many pairs of groups, so that a limit leaves them in.
    let all = variants(&groove, &subject, &families(), 10_000).found;
    let last = |family: &str| all.iter().rposition(|v| v.made[0].family() == family);
    assert!(last("fill") < last("swap").max(last("exchange")));
}

#[test]
fn stretches_are_refused_where_the_cells_do_not_allow_them() {
    let groove = line(1, "4+4+2+2+4");
    let subject = Subject::layer(&groove, 0, 0).expect("a layer");
    let lines: Vec<String> = texts(&groove, &subject, &["stretch"]).into_iter().map(|t| t.1).collect();
    assert_eq!(lines, ["0:6+6+3+1"], "3:2 fits, 4:3 does not");
    assert_eq!(texts(&groove, &subject, &["halve"])[0].1, "0:2(2+2+1+1+2)");
}

#[test]
fn a_figure_changes_wherever_it_is_played() {
    let groove = line(4, "5(4+4+3)+9");
    let subject = Subject::figure(&groove, 0, 0).expect("a figure");
    assert_eq!((subject.starts.len(), subject.cells), (5, 11));
    let turned = &variants(&groove, &subject, &["rotate"], 10).found[0];
    let report = crate::analysis::groups::groups(&turned.groove, 0, 0).expect("groups");
    assert_eq!(report.text, "5(4+3+4)+9");
    assert_eq!(turned.rotation_of, Some(RotationOf::Original));
}

#[test]
fn the_aims_sort_by_what_they_name() {
    let groove = line(4, "5(4+4+3)+9");
    let subject = Subject::figure(&groove, 0, 0).expect("a figure");
    let options = AnalysisOptions::default();
    let all = variants(&groove, &subject, &families(), 500);
    let best = |aim: Aim| {
        let by = |i: &usize| aim.rank(&all.found[*i].groove, all.found[*i].distance, &options);
        let i = (0..all.found.len()).min_by(|a, b| by(a).total_cmp(&by(b))).expect("a variant");
        Effect::new(&all.found[i].groove, &options, Aim::Hearing(164.0))
    };
    assert!(best(Aim::Easier).written > best(Aim::Harder).written);
    assert!(best(Aim::OnBeat).on_beat > best(Aim::OffBeat).on_beat);
    let aimed = best(Aim::Hearing(164.0)).aimed;
    assert!([Aim::Near, Aim::Easier, Aim::OnBeat].into_iter().all(|aim| best(aim).aimed <= aimed));
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(120))]

    #[test]
    fn every_variant_is_a_valid_groove_and_comes_once(g in grooves(), layer in 0_usize..4, section in 0_usize..3, from in 0_usize..20, cells in 1_usize..24) {
        let (layers, sections) = (g.layers().len(), g.sections().len());
        prop_assume!(layers > 0);
        let (layer, section) = (layer % layers, section % sections);
        let subjects = [
            Subject::layer(&g, layer, section),
            Subject::figure(&g, layer, section),
            Subject::cells(&g, layer, section, from..from + cells),
        ];
        for subject in subjects.into_iter().flatten() {
            let all = variants(&g, &subject, &families(), 60);
            let mut seen = HashSet::new();
            for v in &all.found {
                let parts = |g: &Groove| g.layers().iter().map(|l| Groove::new(g.title(), g.note(), g.sections().to_vec(), vec![(**l).clone()])).collect::<Vec<_>>();
                prop_assert!(parts(&v.groove).iter().all(Result::is_ok), "{:?}", v.made);
                prop_assert!(v.groove != g && seen.insert(v.groove.clone()), "{:?}", v.made);
                // Only the subject's cells differ.
                let inside = |c: usize| subject.starts.iter().any(|s| (*s..s + subject.cells).contains(&c));
                let (old, new) = (g.part(layer, section), v.groove.part(layer, section));
                let is_cycle = old.is_cycle();
                prop_assert!(is_cycle || old.stored().iter().zip(new.stored()).enumerate().all(|(i, (a, b))| a == b || inside(i) || *a == Cell::Hold || *b == Cell::Hold));
                // The original's cells put back are the original.
                let at = Place { layer, section, cell: 0 };
                let row: Vec<Cell> = if is_cycle {
                    (0..old.stored().len()).map(|c| old.cell(c)).collect()
                } else {
                    old.stored().to_vec()
                };
                prop_assert_eq!(&v.groove.edited(&Edit::Cells(at, row)).expect("the same cells"), &g);
            }
        }
    }
}
