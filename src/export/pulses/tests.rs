//! Pulses in scores against the seconds they come from.

use super::*;
use crate::analysis::{AnalysisOptions, HearingKind, report};
use crate::notation::tests::groove;
use crate::rhythm::tests::grooves;
use crate::rhythm::{Edit, Groove, Swing};
use proptest::prelude::*;

fn straight(g: Groove) -> Groove {
    (0..g.sections().len()).fold(g, |g, s| g.edited(&Edit::Swing(s, None)).expect("an edit"))
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(150))]

    #[test]
    fn marks_are_the_pulses_and_what_is_not_marked_is_told(g in grooves()) {
        let g = straight(g);
        let report = report(&g, &AnalysisOptions::default());
        for index in 0..report.hearings.len() {
            let piece = ExportInput { groove: &g, report: &report, hearings: vec![index, index], section: None };
            let (marks, told) = (marked_hearings(&piece), skipped_hearings(&piece));
            prop_assert_eq!(marks.len() + told.len(), 1);
            let Some(mark) = marks.first() else {
                let number = format!("skipped hearing {} (", index + 1);
                prop_assert!(told[0].starts_with(&number) && told[0].contains("cannot be notated exactly: "), "{}", told[0]);
                // The beat is always written.
                prop_assert!(report.hearings[index].kind != HearingKind::Written);
                continue;
            };
            let mut heard = Vec::new();
            for (section, pass) in report.clock.passes() {
                heard.extend(mark.pulses[section].iter().filter_map(|at| report.clock.seconds(section, pass, *at)));
            }
            let pulses = &report.hearings[index].pulses;
            prop_assert_eq!(heard.len(), pulses.len());
            prop_assert!(heard.iter().zip(pulses).all(|(a, b)| (a - b).abs() < 1e-4), "{:?} {:?}", heard, pulses);
        }
    }
}

#[test]
fn a_swung_cell_is_marked_where_it_is_written() {
    let g = groove("4/4", 4, "x--x--x--x--x---");
    let g = g.edited(&Edit::Swing(0, Swing::parse("2:1"))).expect("an edit");
    let report = report(&g, &AnalysisOptions::default());
    let index = report.hearings.iter().position(|h| h.kind == HearingKind::Written).expect("the beat");
    let piece = ExportInput { groove: &g, report: &report, hearings: vec![index], section: None };
    // Swung 2:1, the second sixteenth sounds at two thirds of the eighth.
    assert_eq!(written_position(&grid(&piece, 0), 1.0 / 12.0), Time::new(1, 16));
    assert_eq!(written_position(&grid(&piece, 0), 1.0 / 16.0), None);
    let beats = |n: i64| (0..n).filter_map(|b| Time::new(b, 4)).collect::<Vec<_>>();
    assert_eq!(marked_hearings(&piece)[0].pulses, vec![beats(4)]);
    assert_eq!(marked_hearings(&piece)[0].pulses_between(0, beats(2)[1], beats(4)[3]), &beats(3)[1..]);
}
