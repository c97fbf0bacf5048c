//! Tests of edits of bars, of meters and divisions with two meanings, and of lengths.

use crate::rhythm::random::grooves;
use crate::rhythm::tests::{compact, drawn, groove, region};
use crate::rhythm::{
    Attack, Cell, Edit, Groove, LengthScale, Meter, PartContext, Place, Region, Section, Time, cell_notation,
};
use proptest::prelude::*;
use proptest::sample::Index;

fn check(before: &str, edits: &[Edit], after: &str) {
    let g = groove("2/4", 4, before.matches('|').count() as u16 + 1, before);
    let g = edits.iter().fold(g, |g, edit| g.edited(edit).expect("an edit"));
    assert_eq!(drawn(&g), after, "{before} {edits:?}");
}

fn meter(text: &str) -> Meter {
    Meter::parse(text).expect("meter")
}

#[test]
fn bars_are_inserted_deleted_split_off_and_joined() {
    let bars = "x.x.{3: xxx}|o...o...|X.......";
    check(bars, &[Edit::InsertBars(0, 1, 1)], "x.x.{3: xxx}|........|o...o...|X.......");
    check(bars, &[Edit::InsertBars(0, 3, 1)], "x.x.{3: xxx}|o...o...|X.......|........");
    check(bars, &[Edit::DeleteBars(0, 0..2)], "X.......");
    let split = Edit::SplitSection(0, 1, "B".into());
    check(bars, std::slice::from_ref(&split), "x.x.{3: xxx}");
    check(bars, &[split, Edit::JoinSections(0)], bars);
    let g = groove("2/4", 4, 2, "x.......|........");
    assert!(g.edited(&Edit::DeleteBars(0, 0..2)).is_err() && g.edited(&Edit::SplitSection(0, 0, "B".into())).is_err());
    assert!(g.edited(&Edit::JoinSections(0)).is_err());
}

#[test]
fn a_cycle_stays_in_phase_across_a_split_and_a_join() {
    let cycle = Edit::Cycle { layer: 0, section: 0, cells: Some(3) };
    let g = groove("2/4", 4, 4, "x.......|........|........|........").edited(&cycle).expect("a cycle");
    let split = g.edited(&Edit::SplitSection(0, 1, "B".into())).expect("split");
    assert!(split.part(0, 1).is_cycle());
    assert_eq!(split.events(0).iter().filter(|e| e.section == 1).map(|e| e.cell).collect::<Vec<_>>()[..2], [1, 4]);
    assert_eq!(split.edited(&Edit::JoinSections(0)), Ok(g.clone()));
    // Three bars of eight cells are whole cycles, one is not.
    assert!(g.edited(&Edit::DeleteBars(0, 0..3)).expect("deleted").part(0, 0).is_cycle());
    let g = g.edited(&Edit::DeleteBars(0, 0..1)).expect("deleted");
    assert_eq!(drawn(&g), ".x..x..x|..x..x..|x..x..x.");
}

#[test]
fn a_meter_keeps_note_values_or_cells() {
    let bar = "x..x..x...x.x...";
    let g = groove("4/4", 4, 1, bar);
    let after = |edit: Edit| drawn(&g.edited(&edit).expect("a meter"));
    assert_eq!(after(Edit::MeterKeepingTimes(0, meter("7/8"))), "x..x..x...x.x.|..............");
    assert_eq!(after(Edit::MeterKeepingTimes(0, meter("3/4"))), "x..x..x...x.|x...........");
    assert_eq!(after(Edit::MeterKeepingTimes(0, meter("6/8"))), "x..x..x...x.|x...........");
    assert_eq!(after(Edit::MeterKeepingTimes(0, meter("4/4"))), bar);
    assert_eq!(after(Edit::Meter(0, meter("7/8"))), "x..x..x...x.x...............");
}

/// The cells of a layer's part, as drawn.
fn part_drawn(g: &Groove, section: usize) -> String {
    let context = g.context(0, section);
    compact(&cell_notation::print_part(g.part(0, section), context.meter, context.division))
}

#[test]
fn a_section_with_another_beat_keeps_the_cells_of_its_layer() {
    let g = groove("4/4", 4, 1, "x..x..x...x.x...").edited(&Edit::CopySection(0, "B".into())).expect("a copy");
    let g = g.edited(&Edit::MeterKeepingTimes(1, meter("7/8"))).expect("a meter");
    assert_eq!(g.layers()[0].divisions, [4, 2]);
    assert_eq!(part_drawn(&g, 0), "x..x..x...x.x...");
    assert_eq!(part_drawn(&g, 1), "x..x..x...x.x.|..............");
    assert_eq!(written(&g, 0, 0), written(&g, 0, 1));
    // In a section without attacks the bars stay, and the cells keep their length.
    let g = groove("4/4", 8, 1, &".".repeat(32)).edited(&Edit::MeterKeepingTimes(0, meter("7/8"))).expect("a meter");
    assert_eq!((g.sections()[0].bars, &g.layers()[0].divisions[..], g.cells(0, 0)), (1, &[4][..], 28));
}

#[test]
fn a_division_is_that_of_one_section_or_of_all() {
    let g = groove("2/4", 4, 1, "x.x.x...").edited(&Edit::CopySection(0, "B".into())).expect("a copy");
    let one = g.edited(&Edit::Division(0, Some(1), 2)).expect("a division");
    assert_eq!(one.layers()[0].divisions, [4, 2]);
    assert_eq!([0, 1].map(|s| part_drawn(&one, s)), ["x.x.x...", "xxx."]);
    assert_eq!(written(&one, 0, 0), written(&one, 0, 1));
    let all = one.edited(&Edit::Division(0, None, 4)).expect("a division");
    assert_eq!(all, g);
    let kept = g.edited(&Edit::DivisionKeepingCells(0, Some(0), 2)).expect("a division");
    assert_eq!([0, 1].map(|s| part_drawn(&kept, s)), ["x.x.", "x.x.x..."]);
    let refused = [Edit::Division(0, Some(2), 4), Edit::Division(1, None, 4), Edit::Division(0, Some(0), 33)];
    assert!(refused.iter().all(|edit| g.edited(edit).is_err()));
}

#[test]
fn divisions_stay_with_their_sections() {
    let g = groove("2/4", 4, 2, "x.x.x...|x.......").edited(&Edit::CopySection(0, "B".into())).expect("a copy");
    let g = g.edited(&Edit::Division(0, Some(1), 3)).expect("a division");
    let after = |edits: &[Edit]| {
        let g = edits.iter().fold(g.clone(), |g, edit| g.edited(edit).expect("an edit"));
        g.layers()[0].divisions.clone()
    };
    let new = |name: &str| Section { name: name.into(), ..g.sections()[0].clone() };
    assert_eq!(after(&[Edit::AddSection(2, new("C")), Edit::AddSection(0, new("D"))]), [4, 4, 3, 3]);
    assert_eq!(after(&[Edit::AddSection(1, new("C"))]), [4, 4, 3]);
    assert_eq!(after(&[Edit::CopySection(1, "C".into())]), [4, 3, 3]);
    assert_eq!(after(&[Edit::MoveSection(0, 1)]), [3, 4]);
    assert_eq!(after(&[Edit::RemoveSection(0)]), [3]);
    assert_eq!(after(&[Edit::SplitSection(1, 1, "C".into())]), [4, 3, 3]);
    assert_eq!(after(&[Edit::SplitSection(1, 1, "C".into()), Edit::JoinSections(1)]), [4, 3]);
}

#[test]
fn a_join_writes_beats_of_another_division_as_tuplets() {
    let g = groove("2/4", 4, 1, "x.x.x..x");
    let b = Section { name: "B".into(), bars: 2, ..g.sections()[0].clone() };
    let place = |cell| Place { layer: 0, section: 1, cell };
    let edits = [
        Edit::AddSection(1, b),
        Edit::Division(0, Some(1), 2),
        Edit::Set(place(0), Cell::ATTACK),
        Edit::Set(place(3), Cell::ATTACK),
    ];
    let g = edits.iter().fold(g, |g, edit| g.edited(edit).expect("an edit"));
    assert_eq!(part_drawn(&g, 1), "x..x|....");
    let joined = g.edited(&Edit::JoinSections(0)).expect("joined");
    assert_eq!(part_drawn(&joined, 0), "x.x.x..x|{2: x.}{2: .x}|........");
    assert_eq!(all_written(&joined), all_written(&g));
    // Rests take the division of the other section.
    let rests = g.edited(&Edit::Erase(region((0, 16), (1, 2)))).expect("erased");
    let joined = rests.edited(&Edit::JoinSections(0)).expect("joined");
    assert_eq!((part_drawn(&joined, 0), &joined.layers()[0].divisions[..]), ("....|x..x|....".into(), &[2][..]));
    // A cycle is written out, so that its cells keep their length.
    let cycle = g.edited(&Edit::Cycle { layer: 0, section: 1, cells: Some(3) }).expect("a cycle");
    let joined = cycle.edited(&Edit::JoinSections(0)).expect("joined");
    assert_eq!(part_drawn(&joined, 0), "x.x.x..x|{2: x.}{2: .x}|....{2: x.}");
    assert_eq!(all_written(&joined), all_written(&cycle));
}

#[test]
fn a_division_can_keep_cells() {
    check("x..x..x.|........", &[Edit::DivisionKeepingCells(0, None, 2)], "x..x|..x.");
    check("x..x..x.|........", &[Edit::DivisionKeepingCells(0, None, 8)], "x..x..x.........|................");
    check("x.......|{3: xxx}x...", &[Edit::DivisionKeepingCells(0, None, 8)], "x.......{6: xxxx..}|................");
}

#[test]
fn lengths_are_doubled_and_halved() {
    let stretch = |from, to, stretch| Edit::ScaleLengths(region((from, 16), (to, 16)), stretch);
    check("x-xx....", &[stretch(0, 4, LengthScale::Double)], "x---x.x.");
    check("x---x.x.", &[stretch(0, 8, LengthScale::Halve)], "x-xx....");
    check("xx...x..", &[stretch(0, 8, LengthScale::Halve)], "{8: xx...x..}....");
    check("{5: x.xx.}x...", &[stretch(0, 4, LengthScale::Double)], "{5/2: x.xx.}");
    check("{3/2: xx.}|........", &[stretch(0, 8, LengthScale::Halve)], "{3: xx.}....|........");
}

/// Attacks of a layer in a section without swing.
fn written(g: &Groove, layer: usize, section: usize) -> Vec<(Time, Attack)> {
    let context = PartContext { swing: None, ..g.context(layer, section) };
    g.part(layer, section).attacks(context).into_iter().map(|a| (a.start, a.attack)).collect()
}

fn all_written(g: &Groove) -> Vec<Vec<(Time, Attack)>> {
    let mut start = Time::ZERO;
    let mut layers = vec![Vec::new(); g.layers().len()];
    for (s, section) in g.sections().iter().enumerate() {
        for (l, layer) in layers.iter_mut().enumerate() {
            layer.extend(written(g, l, s).into_iter().map(|(t, a)| (t.plus(start).expect("times"), a)));
        }
        start = start.plus(section.length()).expect("times");
    }
    layers
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn splitting_and_joining_move_no_attack(g in grooves(), s in any::<Index>(), bar in any::<Index>()) {
        let s = s.index(g.sections().len());
        let g = g.edited(&Edit::Times(s, 1)).expect("times");
        let bars = usize::from(g.sections()[s].bars);
        let Ok(split) = g.edited(&Edit::SplitSection(s, bar.index(bars), "other".into())) else {
            prop_assert_eq!(bar.index(bars), 0);
            return Ok(());
        };
        prop_assert_eq!(all_written(&split), all_written(&g));
        let joined = split.edited(&Edit::JoinSections(s)).expect("joined");
        prop_assert_eq!(all_written(&joined), all_written(&g));
        if g.layers().iter().all(|l| !l.parts[s].is_cycle()) {
            prop_assert_eq!(joined, g);
        }
    }

    #[test]
    fn joining_moves_no_attack(g in grooves(), s in any::<Index>()) {
        if g.sections().len() < 2 {
            return Ok(());
        }
        let s = s.index(g.sections().len() - 1);
        let like = g.sections()[s].clone();
        let alike = [
            Edit::Meter(s + 1, like.meter),
            Edit::Tempo(s + 1, like.tempo),
            Edit::Swing(s + 1, like.swing),
            Edit::Times(s, 1),
            Edit::Times(s + 1, 1),
        ];
        let g = alike.iter().fold(g, |g, edit| g.edited(edit).expect("an edit"));
        let joined = g.edited(&Edit::JoinSections(s)).expect("joined");
        prop_assert_eq!(all_written(&joined), all_written(&g));
        prop_assert_eq!(joined.sections().len(), g.sections().len() - 1);
    }

    #[test]
    fn inserted_bars_are_empty_and_can_be_deleted_again(g in grooves(), s in any::<Index>(), bar in any::<Index>()) {
        let s = s.index(g.sections().len());
        let at = bar.index(usize::from(g.sections()[s].bars) + 1);
        let inserted = g.edited(&Edit::InsertBars(s, at, 2)).expect("inserted");
        let bar = |n| g.sections()[s].meter.bar().repeated(n).expect("times");
        for l in 0..g.layers().len() {
            let shift = |t: Time| if t < bar(at) { t } else { t.plus(bar(2)).expect("times") };
            let expected: Vec<_> = written(&g, l, s).into_iter().map(|(t, a)| (shift(t), a)).collect();
            prop_assert_eq!(written(&inserted, l, s), expected);
        }
        let deleted = inserted.edited(&Edit::DeleteBars(s, at..at + 2)).expect("deleted");
        prop_assert_eq!(all_written(&deleted), all_written(&g));
    }

    #[test]
    fn a_meter_that_keeps_note_values_moves_no_attack(g in grooves(), s in any::<Index>(), m in any::<Index>()) {
        let s = s.index(g.sections().len());
        let meters = ["4/4", "7/8", "6/8", "3+2+2/16", "5/4", "3/2"];
        let new = meter(meters[m.index(meters.len())]);
        let has_attacks = (0..g.layers().len()).any(|l| !written(&g, l, s).is_empty());
        let Ok(barred) = g.edited(&Edit::MeterKeepingTimes(s, new)) else { return Ok(()) };
        for l in 0..g.layers().len() {
            let length = g.sections()[s].length();
            let kept: Vec<_> = written(&barred, l, s).into_iter().filter(|(t, _)| *t < length).collect();
            prop_assert_eq!(kept, written(&g, l, s));
        }
        // A cell keeps its length where the beat is a whole number of it.
        for l in 0..g.layers().len() {
            let cell = |g: &Groove| {
                let context = g.context(l, s);
                context.meter.beat().divided(usize::from(context.division)).expect("a cell")
            };
            let cells = barred.sections()[s].meter.beat().ratio_to(cell(&g)).expect("a ratio");
            if cells.denom() == 1 && (1..=32).contains(&cells.numer()) {
                prop_assert_eq!(cell(&barred), cell(&g));
            }
            for other in (0..g.sections().len()).filter(|o| *o != s) {
                prop_assert_eq!(barred.part(l, other), g.part(l, other));
                prop_assert_eq!(barred.context(l, other).division, g.context(l, other).division);
            }
        }
        // The bars are as few as hold the section.
        let Section { meter, bars, .. } = &barred.sections()[s];
        let short = meter.bar().repeated(usize::from(*bars) - 1).expect("times");
        prop_assert!(!has_attacks || (short < g.sections()[s].length() && barred.sections()[s].length() >= g.sections()[s].length()));
    }

    #[test]
    fn halving_after_doubling_gives_the_attacks_back(g in grooves(), picks in any::<[Index; 4]>()) {
        if g.layers().is_empty() {
            return Ok(());
        }
        let (layer, section) = (picks[0].index(g.layers().len()), picks[1].index(g.sections().len()));
        let cells = g.cells(layer, section);
        let first = picks[2].index(cells);
        let at = |cell| g.written_at(Place { layer, section, cell });
        let (from, to) = (at(first), at(first + 1 + picks[3].index(cells - first)));
        let end = to.plus(to.minus(from).expect("times")).expect("times");
        let region = Region { layers: layer..layer + 1, section, from, to };
        let Ok(double) = g.edited(&Edit::ScaleLengths(region.clone(), LengthScale::Double)) else { return Ok(()) };
        let inside = |g: &Groove| {
            let within = |(t, _): &(Time, Attack)| *t >= from && *t < to;
            written(g, layer, section).into_iter().filter(within).collect::<Vec<_>>()
        };
        if end <= g.sections()[section].length() {
            // A region that cuts a tuplet may leave times that no grid of a beat contains; that is refused.
            let halved = double.edited(&Edit::ScaleLengths(Region { to: end, ..region }, LengthScale::Halve));
            let Ok(half) = halved else { return Ok(()) };
            prop_assert_eq!(inside(&half), inside(&g));
        }
    }
}
