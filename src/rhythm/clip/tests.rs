//! Tests of copied cells: exact times, tuplets, rotation.

use crate::rhythm::random::grooves;
use crate::rhythm::tests::{drawn, groove};
use crate::rhythm::{
    Attack, Cell, Edit, EditError, Fraction, Groove, Part, PartContext, Place, Region, SoundedAttack, Time,
};
use proptest::prelude::*;
use proptest::sample::Index;

/// Cells of the first layer, from one to before another.
fn region(g: &Groove, from: usize, to: usize) -> Region {
    let at = |cell| g.written_at(Place { cell, ..Place::default() });
    Region { layers: 0..1, section: 0, from: at(from), to: at(to) }
}

fn moved(drawing: &str, (from, to): (usize, usize), edit: impl Fn(Region) -> Edit) -> Result<String, EditError> {
    let g = groove("2/4", 4, drawing.matches('|').count() as u16 + 1, drawing);
    g.edited(&edit(region(&g, from, to))).map(|g| drawn(&g))
}

#[test]
fn tuplets_move_as_a_whole() {
    let quintuplet = "x...{5: x.xx.}|..x.....";
    let rotate = |by| move |r| Edit::Rotate(r, by);
    let ok = |text: &str| Ok(text.to_owned());
    assert_eq!(moved(quintuplet, (0, 17), rotate(4)), ok("....x...|{5: x.xx.}..x."));
    assert_eq!(moved(quintuplet, (0, 17), rotate(-4)), ok("{5: x.xx.}..x.|....x..."));
    assert_eq!(moved(quintuplet, (4, 9), rotate(1)), ok("x...{5: .x.xx}|..x....."));
    assert_eq!(moved(quintuplet, (0, 17), |r| Edit::Shift(r, 8)), ok("........|x...{5: x.xx.}"));
    assert_eq!(moved(quintuplet, (0, 17), |r| Edit::Shift(r, -4)), ok("{5: x.xx.}..x.|........"));
    assert_eq!(moved(quintuplet, (0, 9), |r| Edit::Repeat(r, 5)), ok("x...{5: x.xx.}|x...{5: x.xx.}"));
    let refused = |edit, words| assert_eq!(moved(quintuplet, (0, 17), edit), Err(EditError::Impossible(words)));
    refused(rotate(1), "a tuplet would not fill whole beats there");
    refused(rotate(10), "a tuplet would be cut");
    let cut = moved(quintuplet, (0, 6), rotate(1));
    assert_eq!(cut, Err(EditError::Impossible("the selection cuts a tuplet")));
    let across = moved("{3/2: xxx}|........", (0, 11), rotate(4));
    assert_eq!(across, Err(EditError::Impossible("a tuplet would cross a bar line there")));
}

#[test]
fn a_cut_sound_ends_with_the_pasted_cells_and_a_tied_one_goes_on() {
    let at = |cell| Place { cell, ..Place::default() };
    let pasted = |drawing: &str, (from, to), cell| {
        let g = groove("2/4", 4, 1, drawing);
        let clip = g.clip(&region(&g, from, to)).expect("a region");
        drawn(&g.edited(&Edit::Paste(at(cell), clip)).expect("pasted"))
    };
    assert_eq!(pasted("x-..x---", (0, 3), 4), "x-..x-..");
    assert_eq!(pasted("x---x---", (0, 2), 4), "x---x---");
    assert_eq!(pasted("x---....", (0, 2), 0), "x---....");
}

/// Attacks of a part without swing.
fn attacks(g: &Groove, layer: usize, section: usize) -> Vec<SoundedAttack> {
    g.part(layer, section).attacks(PartContext { swing: None, ..g.context(layer, section) })
}

fn times(attacks: impl IntoIterator<Item = SoundedAttack>) -> Vec<(Time, Attack)> {
    attacks.into_iter().map(|a| (a.start, a.attack)).collect()
}

/// A layer, a section and a range of its cells; `None` in a groove without layers.
fn pick(g: &Groove, picks: [Index; 4]) -> Option<(Place, Region)> {
    let layer = picks[0].index(g.layers().len().checked_sub(1)? + 1);
    let section = picks[1].index(g.sections().len());
    let cells = g.cells(layer, section);
    let first = picks[2].index(cells);
    let place = Place { layer, section, cell: first };
    let to = g.written_at(Place { cell: first + 1 + picks[3].index(cells - first), ..place });
    Some((place, Region { layers: layer..layer + 1, section, from: g.written_at(place), to }))
}

fn with_cycles(g: &Groove) -> bool {
    g.layers().iter().any(|l| l.parts.iter().any(|p| p.is_cycle()))
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(512))]

    #[test]
    fn paste_after_copy_at_the_same_place_changes_nothing(g in grooves(), picks in any::<[Index; 4]>(), more in 0_usize..3) {
        let Some((at, region)) = pick(&g, picks) else { return Ok(()) };
        let layers = at.layer..(at.layer + 1 + more).min(g.layers().len());
        let clip = g.clip(&Region { layers, ..region }).expect("a region");
        match g.edited(&Edit::Paste(at, clip)) {
            Ok(pasted) => prop_assert_eq!(pasted, g),
            Err(error) => prop_assert!(error == EditError::PasteIntoCycle && with_cycles(&g), "{}", error),
        }
    }

    #[test]
    fn pasted_attacks_have_the_shifted_times_of_the_copied_ones(
        g in grooves(),
        from in any::<[Index; 4]>(),
        to in any::<[Index; 4]>(),
    ) {
        let (Some((source, region)), Some((at, _))) = (pick(&g, from), pick(&g, to)) else { return Ok(()) };
        let clip = g.clip(&region).expect("a region");
        let Ok(pasted) = g.edited(&Edit::Paste(at, clip)) else { return Ok(()) };
        let shift = g.written_at(at).minus(region.from).expect("times");
        let end = region.to.plus(shift).expect("times").min(g.sections()[at.section].length());
        let inside = |t: &Time| *t >= g.written_at(at) && *t < end;
        let copied = attacks(&g, source.layer, source.section).into_iter();
        let copied = copied.filter(|a| a.start >= region.from && a.start < region.to);
        let expected: Vec<_> = times(copied)
            .into_iter()
            .map(|(start, attack)| (start.plus(shift).expect("times"), attack))
            .filter(|(start, _)| inside(start))
            .collect();
        let all = times(attacks(&pasted, at.layer, at.section));
        let (new, kept): (Vec<_>, Vec<_>) = all.into_iter().partition(|(start, _)| inside(start));
        prop_assert_eq!(new, expected);
        // What is around them stays where it was.
        let before = times(attacks(&g, at.layer, at.section)).into_iter().filter(|(start, _)| !inside(start));
        prop_assert_eq!(kept, before.collect::<Vec<_>>());
    }

    #[test]
    fn rotating_there_and_back_changes_nothing(g in grooves(), picks in any::<[Index; 4]>(), by in -40_i32..40) {
        let Some((at, region)) = pick(&g, picks) else { return Ok(()) };
        let whole = Region { from: Time::ZERO, to: g.sections()[at.section].length(), ..region.clone() };
        for (region, is_whole) in [(whole, true), (region, false)] {
            let Ok(there) = g.edited(&Edit::Rotate(region.clone(), by)) else { continue };
            let back = there.edited(&Edit::Rotate(region, -by)).expect("the way back is free");
            // A sound that is held from the section before cannot move with the cells.
            if is_whole && g.cell(Place { cell: 0, ..at }) != Cell::Hold {
                prop_assert_eq!(&back, &g);
            }
            // At the edges of a selection a held sound may be cut, but no attack moves.
            let spans = |g: &Groove| match g.part(at.layer, at.section) {
                Part::Barred { spans, .. } => spans.clone(),
                Part::Cycled { .. } => Vec::new(),
            };
            prop_assert_eq!(times(attacks(&back, at.layer, at.section)), times(attacks(&g, at.layer, at.section)));
            prop_assert_eq!(spans(&back), spans(&g));
        }
    }

    #[test]
    fn rotated_attacks_move_by_one_time(g in grooves(), picks in any::<[Index; 4]>(), by in 1_i32..20) {
        let Some((at, _)) = pick(&g, picks) else { return Ok(()) };
        let (part, length) = (g.part(at.layer, at.section), g.sections()[at.section].length());
        let region = Region { layers: at.layer..at.layer + 1, section: at.section, from: Time::ZERO, to: length };
        let Ok(rotated) = g.edited(&Edit::Rotate(region, by)) else { return Ok(()) };
        let before = attacks(&g, at.layer, at.section);
        let (Some(first), false) = (before.first(), part.is_cycle()) else { return Ok(()) };
        let after = times(attacks(&rotated, at.layer, at.section));
        // Some attack has the place of the first one; its distance is that of all others.
        let wrapped = |time: Time| {
            let turns = Fraction::new(time.ratio_to(length).expect("times").floor(), 1).expect("whole");
            time.minus(length.scaled(turns).expect("times")).expect("times")
        };
        let fits = after.iter().any(|(start, _)| {
            let shift = start.minus(first.start).expect("times");
            let mut moved: Vec<_> =
                times(before.clone()).into_iter().map(|(t, a)| (wrapped(t.plus(shift).expect("times")), a)).collect();
            moved.sort_by_key(|(t, _)| *t);
            moved == after
        });
        prop_assert!(fits);
    }
}
