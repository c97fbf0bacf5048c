//! Whatever groove, scope and speed: a report comes, and every figure in it is a number within its range.

use super::*;
use crate::rhythm::{Edit, Fraction, Region, Time, tests::grooves};
use proptest::prelude::*;

/// Checks every figure of a report.
fn sound(r: &Report) -> Result<(), TestCaseError> {
    let share = |x: f64| (0.0..=1.0 + 1e-9).contains(&x);
    prop_assert!(r.cell_ms.is_none_or(|ms| ms.is_finite() && ms > 0.0));
    let all = r.all.iter().flat_map(|all| &all.hearings);
    for h in r.hearings.iter().chain(all) {
        prop_assert!(share(h.probability) && h.shown.is_none_or(share) && share(h.share()), "{:?}", h);
        let bpm = h.bpm(r.speed);
        // The written beat is listed at any tempo; what is heard as a beat is none of those that nobody can keep.
        let range = if h.kind == HearingKind::Written { 0.0..f64::INFINITY } else { 29.99..300.01 };
        prop_assert!(range.contains(&bpm), "{:?} {} {:?}", h.kind, bpm, h.stretches);
        prop_assert!(h.deviation <= limits::PULSE_TOLERANCE.value / 100.0 + 1e-6 && h.deviation_ms.is_finite());
        prop_assert!(h.pulses.windows(2).all(|w| w[0] < w[1]), "{:?}: pulses in order", h.kind);
        prop_assert!(h.stretches.iter().all(|s| s.bpm.is_finite() && s.attack_rate.is_finite()));
        prop_assert!(h.silent <= h.pulses.len() && h.unsounded <= h.pulses.len());
        prop_assert!(h.on_pulse <= h.pulses.len(), "{:?}: at most one attack on each pulse", h.kind);
    }
    for h in &r.hearings {
        let counted = h.on_pulse + h.off_pulse + h.between.iter().map(|b| b.1).sum::<usize>();
        prop_assert_eq!(counted, r.attacks.len(), "{:?}: every attack is counted once", h.kind);
        prop_assert_eq!(h.stretches.iter().map(|s| s.attacks).sum::<usize>(), r.attacks.len());
        prop_assert!(h.stretches.iter().all(|s| s.first <= r.attacks.len()));
    }
    if let Some(answer) = &r.answer {
        prop_assert!(share(answer.written) && share(answer.shown_written), "{:?}", answer);
        let parts: f64 = HardnessPart::ALL.iter().map(|p| answer.hardness_parts.get(*p)).sum();
        prop_assert!((parts - answer.hardness()).abs() < 1e-6, "the parts add up: {:?}", answer);
        prop_assert!((-1e-9..=3.0 + 1e-9).contains(&answer.meter_load()), "{:?}", answer);
    }
    prop_assert_eq!(r.answer.is_some(), !r.hearings.is_empty());
    prop_assert!(r.findings.iter().all(|f| share(f.weight)));
    prop_assert!(r.pairs.iter().all(|p| p.ratio.is_finite() && p.drift_ms.is_finite() && p.error_percent.is_finite()));
    for (_, measures) in &r.measures {
        prop_assert!(measures.iter().all(|m| m.value.is_ok_and(f64::is_finite) || m.value.is_err()), "{:?}", measures);
    }
    Ok(())
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(400))]

    #[test]
    fn any_groove_is_reported_soundly(g in grooves(), layers in prop::collection::vec(0_usize..4, 0..3), percent in 20_i64..201) {
        let speed = Fraction::new(percent, 100).expect("a speed");
        let r = report(&g, &AnalysisOptions { scope: Scope { layers, region: None }, speed, ..AnalysisOptions::default() });
        sound(&r)?;
        let all: usize = r.layers.iter().map(|l| l.landings.total).sum();
        let events: usize = (0..g.layers().len()).map(|l| g.events(l).len()).sum();
        prop_assert_eq!(all, events, "every attack lands once");
    }

    #[test]
    fn any_region_and_cycle_is_reported_soundly(g in grooves(), from in 0_i64..12, length in 1_i64..24, cycle in 1_usize..9) {
        let time = |n| Time::new(n, 16).expect("a time");
        let region = Region { layers: 0..g.layers().len(), section: g.sections().len() - 1, from: time(from), to: time(from + length) };
        sound(&report(&g, &AnalysisOptions { scope: Scope { layers: Vec::new(), region: Some(region) }, ..AnalysisOptions::default() }))?;
        if let Ok(cycled) = g.edited(&Edit::Cycle { layer: 0, section: 0, cells: Some(cycle) }) {
            sound(&report(&cycled, &AnalysisOptions::default()))?;
        }
    }
}
