//! What must not change the report: other ways to write what sounds the same.

use super::*;
use crate::rhythm::{Cell, Edit, Fraction, Groove, Layer, Part, Place, Section, Tempo};
use proptest::prelude::*;
use std::sync::Arc;

/// What a report says of its hearings. Where a pulse stands at the loop's very seam, rounding decides which of its unequal beats is
/// named first.
fn heard(r: &Report) -> Vec<(String, f64, f64)> {
    let name = |kind: HearingKind| match kind {
        HearingKind::Unequal { mut sizes, unit } => {
            sizes.sort_unstable();
            HearingKind::Unequal { sizes, unit }.to_string()
        }
        kind => kind.to_string(),
    };
    r.hearings.iter().map(|h| (name(h.kind), h.bpm(r.speed), h.probability)).collect()
}

pub(super) fn same(a: &Report, b: &Report) -> Result<(), TestCaseError> {
    let near = |u: f64, v: f64| (u - v).abs() <= 1e-6 * (1.0 + u.abs());
    let (x, y) = (heard(a), heard(b));
    prop_assert_eq!(x.len(), y.len(), "{:?}\n{:?}", &x, &y);
    for p in &x {
        let is_same = |q: &(String, f64, f64)| p.0 == q.0 && near(p.1, q.1) && near(p.2, q.2);
        prop_assert!(y.iter().any(is_same), "{:?}\n{:?}", &x, &y);
    }
    let written = |r: &Report| r.answer.map_or(0.0, |a| a.written);
    prop_assert!(near(written(a), written(b)));
    Ok(())
}

/// One section cut into two of the same meter and tempo.
pub(super) fn split(g: &Groove, bars: u16) -> Groove {
    let s = &g.sections()[0];
    let sections =
        vec![Section { bars, ..s.clone() }, Section { name: "second".into(), bars: s.bars - bars, ..s.clone() }];
    let layers = g.layers().iter().enumerate().map(|(l, layer)| {
        let spots = layer.parts[0].spots(g.context(l, 0));
        let cut = spots.iter().position(|p| p.beat == usize::from(bars) * s.meter.beats()).expect("a bar line");
        let Part::Barred { spans, cells } = &*layer.parts[0] else { unreachable!("made as bars") };
        let at = spots[cut].first;
        let halves = vec![
            Part::Barred { spans: spans[..cut].to_vec(), cells: cells[..at].to_vec() },
            Part::Barred { spans: spans[cut..].to_vec(), cells: cells[at..].to_vec() },
        ];
        let divisions = layer.divisions.repeat(2);
        Layer { parts: halves.into_iter().map(Arc::new).collect(), divisions, ..(**layer).clone() }
    });
    Groove::new("t", "", sections, layers.collect()).expect("groove")
}

pub(super) fn single() -> impl Strategy<Value = Groove> {
    (crate::analysis::tests::strings(), 40_i32..220)
        .prop_map(|(groups, bpm)| crate::analysis::tests::typed_groups(bpm, &groups))
}

fn times(g: &Groove, times: u16) -> Groove {
    let section = Section { times, ..g.sections()[0].clone() };
    Groove::new("t", "", vec![section], g.layers().iter().map(|l| (**l).clone()).collect()).expect("groove")
}

/// The section written out twice.
fn twice(g: &Groove) -> Groove {
    let s = &g.sections()[0];
    let section = Section { bars: s.bars * 2, ..s.clone() };
    let layers = g.layers().iter().map(|layer| {
        let Part::Barred { spans, cells } = &*layer.parts[0] else { unreachable!("made as bars") };
        let part = Part::Barred { spans: spans.repeat(2), cells: cells.repeat(2) };
        Layer { parts: vec![Arc::new(part)], ..(**layer).clone() }
    });
    Groove::new("t", "", vec![section], layers.collect()).expect("groove")
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(2000))]

    #[test]
    fn the_report_is_that_of_the_sound_not_of_the_writing(g in single(), bars in 1_u16..9, passes in 2_u16..5, pick in any::<prop::sample::Index>()) {
        let plain = report(&g, &AnalysisOptions::default());
        // One attack makes no pulse; the same written out twice makes one.
        prop_assume!(plain.attacks.len() > 1);
        let finer = report(&g.edited(&Edit::Division(0, None, 8)).expect("bounded"), &AnalysisOptions::default());
        same(&plain, &finer)?;

        same(&plain, &report(&times(&g, passes), &AnalysisOptions::default()))?;
        same(&plain, &report(&twice(&g), &AnalysisOptions::default()))?;
        let cell = pick.index(g.cells(0, 0));
        let place = Place { layer: 0, section: 0, cell };
        if g.cell(place).attack().is_none() {
            let held = report(&g.edited(&Edit::Set(place, Cell::Hold)).expect("a cell"), &AnalysisOptions::default());
            same(&plain, &held)?;

        }
        if bars < g.sections()[0].bars {
            // The cut may move a change of the pulse, but not where the attacks land.
            let cut = report(&split(&g, bars), &AnalysisOptions::default());
            prop_assert_eq!(&plain.layers[0].landings, &cut.layers[0].landings);
            prop_assert_eq!(plain.attacks.len(), cut.attacks.len());
        }
        // Muting is for the ear.
        same(&plain, &report(&g.edited(&Edit::Mute(0, true)).expect("mute"), &AnalysisOptions::default()))?;
    }

    #[test]
    fn playing_at_a_speed_is_the_same_as_writing_that_tempo(g in single(), numer in 4_i64..12) {
        let factor = Fraction::new(numer, 8).expect("fraction");
        let tempo = g.sections()[0].tempo;
        let faster = Tempo::new(tempo.bpm().times(factor).expect("small"), tempo.unit()).expect("bound");
        let other = g.edited(&Edit::Tempo(0, faster)).expect("tempo");
        let played = report(&g, &AnalysisOptions { speed: factor, ..AnalysisOptions::default() });
        let written = report(&other, &AnalysisOptions::default());
        same(&played, &written)?;
    }
}
