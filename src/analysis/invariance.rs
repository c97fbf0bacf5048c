//! What must not change the report: other ways to write what sounds the same.

use super::*;
use crate::rhythm::{Cell, Edit, Fraction, Groove, Layer, Part, Place, Section, Tempo};
use proptest::prelude::*;
use std::sync::Arc;

/// The ten best hearings that have a score; the others are kept for speeds relative to the written tempo.
fn ten(r: &Report) -> impl Iterator<Item = &Hearing> {
    let leads = |i: usize| !r.hearings[..i].iter().any(|h| super::hearing::alike(h, &r.hearings[i]));
    let leaders = (0..r.hearings.len()).filter(move |i| leads(*i)).map(|i| &r.hearings[i]);
    leaders.filter(|h| h.score > 0.5).take(10)
}

/// What a report says of them.
fn heard(r: &Report) -> Vec<(String, f64, f64, f64, usize, usize)> {
    let best = ten(r);
    best.map(|h| (h.kind.to_string(), h.bpm(1.0), h.score, h.wobble_ms, h.pulses.len(), h.stretches.len())).collect()
}

fn close(a: &Report, b: &Report, scale: f64) -> Result<(), TestCaseError> {
    let (x, y) = (heard(a), heard(b));
    prop_assert_eq!(x.len(), y.len(), "{:?}\n{:?}", &x, &y);
    for (p, q) in x.iter().zip(&y) {
        let same = |u: f64, v: f64| (u - v).abs() <= 1e-6 * (1.0 + u.abs());
        prop_assert!(p.0 == q.0 && same(p.1 * scale, q.1) && (p.4, p.5) == (q.4, q.5), "{:?}\n{:?}", &x, &y);
        prop_assert!(
            scale != 1.0 || (same(p.2, q.2) && same(p.3, q.3)),
            "{:?}\n{:?}\n{:?}\n{:?}",
            &x,
            &y,
            a.hearings.iter().map(|h| (h.parts, &h.between, h.on_pulse, h.unsounded)).collect::<Vec<_>>(),
            b.hearings.iter().map(|h| (h.parts, &h.between, h.on_pulse, h.unsounded)).collect::<Vec<_>>()
        );
    }
    let reasons = |r: &Report| r.findings.iter().map(|f| std::mem::discriminant(&f.reason)).collect::<Vec<_>>();
    prop_assert!(scale != 1.0 || reasons(a) == reasons(b), "{:?}\n{:?}", a.findings, b.findings);
    Ok(())
}

/// One section cut into two of the same meter and tempo.
fn split(g: &Groove, bars: u16) -> Groove {
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
        Layer { parts: halves.into_iter().map(Arc::new).collect(), ..(**layer).clone() }
    });
    Groove::new("t", "", sections, layers.collect()).expect("groove")
}

fn single() -> impl Strategy<Value = Groove> {
    (crate::analysis::tests::strings(), 60_i32..220)
        .prop_map(|(groups, bpm)| crate::analysis::tests::typed_groups(bpm, &groups))
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(2000))]

    #[test]
    fn the_report_is_that_of_the_sound_not_of_the_writing(g in single(), bars in 1_u16..9, pick in any::<prop::sample::Index>()) {
        let plain = report(&g, &AnalysisOptions::default());
        let finer = g.edited(&Edit::Division(0, 8)).expect("bounded");
        close(&plain, &report(&finer, &AnalysisOptions::default()), 1.0)?;
        let cell = pick.index(g.cells(0, 0));
        let place = Place { layer: 0, section: 0, cell };
        if g.cell(place).attack().is_none() {
            let held = g.edited(&Edit::Set(place, Cell::Hold)).expect("a cell");
            close(&plain, &report(&held, &AnalysisOptions::default()), 1.0)?;
        }
        if bars < g.sections()[0].bars {
            let cut = report(&split(&g, bars), &AnalysisOptions::default());
            prop_assert_eq!(heard(&plain).len(), heard(&cut).len());
            close(&plain, &cut, 1.0)?;
        }
    }

    #[test]
    fn which_is_first_at_a_speed_is_told_alike_at_every_speed(g in single(), asked in 20_i64..=200) {
        let pulses = |r: &Report, hearing: usize| r.hearings[hearing].pulses.clone();
        let turns = |r: &Report| r.turns.iter().map(|t| (t.percent, pulses(r, t.hearing))).collect::<Vec<_>>();
        let plain = report(&g, &AnalysisOptions::default());
        let there = report(&g, &AnalysisOptions { speed: Fraction::new(asked, 100).expect("speed"), ..AnalysisOptions::default() });
        prop_assert_eq!(turns(&plain), turns(&there));
        // The list at a speed begins with the one that is said to be first there.
        let said = plain.turns.iter().rev().find(|t| i64::from(t.percent) <= asked).map(|t| pulses(&plain, t.hearing));
        let first = there.hearings.first().map(|h| h.pulses.clone());
        prop_assert_eq!(said, first);
    }

    #[test]
    fn tempos_scale_exactly_with_the_tempo(g in single(), numer in 4_i64..12) {
        let factor = Fraction::new(numer, 8).expect("fraction");
        let tempo = g.sections()[0].tempo;
        let other = g.edited(&Edit::Tempo(0, Tempo::new(tempo.bpm().times(factor).expect("small"), tempo.unit()).expect("bound"))).expect("tempo");
        let (a, b) = (report(&g, &AnalysisOptions::default()), report(&other, &AnalysisOptions::default()));
        let scale = numer as f64 / 8.0;
        // The order depends on the speed, so the same pulses are looked for at any rank. The written beat is always among them.
        let mut matched = 0;
        for h in &a.hearings {
            if let Some(same) = b.hearings.iter().find(|o| o.kind == h.kind && o.pulses.len() == h.pulses.len() && (o.pulses[0] * scale - h.pulses[0]).abs() < 1e-6 && (o.bpm(1.0) / h.bpm(1.0) / scale - 1.0).abs() < 1e-6) {
                // On cells it hangs on whether those are felt at the tempo.
                prop_assert!(h.on_cells() || (same.wobble - h.wobble).abs() < 1e-9);
                matched += 1;
            }
        }
        prop_assert!(matched > 0, "{:?}\n{:?}", heard(&a), heard(&b));
        // Playing at that speed is the same as writing that tempo.
        let played = report(&g, &AnalysisOptions { speed: factor, ..AnalysisOptions::default() });
        prop_assert_eq!(ten(&played).count(), ten(&b).count());
        for (p, q) in ten(&played).zip(ten(&b)) {
            prop_assert_eq!(p.kind, q.kind);
            prop_assert!((p.bpm(scale) / q.bpm(1.0) - 1.0).abs() < 1e-6 && (p.score - q.score).abs() < 1e-6, "{:?}\n{:?}", p.kind, q.kind);
        }
    }
}
