//! Followed pulses and rates by their formulas, one event at a time in double precision, against the vector code.

use super::super::best_path::Windows;
use super::super::evidence::Event;
use super::super::follow::Start;
use super::super::off_grid::OffGrid;
use super::invariance::Random;
use super::*;

/// How an attack halfway between two pulses, and a pulse halfway between two attacks, are decided.
const TIE: f64 = 1e-3;

/// Log posterior of a followed pulse summed over bars, by the formula of the module doc of `followed`.
fn slow_pulse(events: &[Event], length: f64, start: Start, parts: usize, k: &Params) -> f64 {
    let (p, sigma, s) = (f64::from(start.period), f64::from(start.sigma), parts as f64);
    let (mut phase, mut index) = (f64::from(start.phase), 0.0);
    let mut seen: Vec<(f64, f64, f64)> = Vec::new();
    for round in 0..3 {
        seen.clear();
        let before = index;
        for e in events {
            let t = e.time + f64::from(round) * length;
            let z = ((t - phase) / p - TIE).round_ties_even();
            phase += z * p;
            index += z;
            let error = t - phase;
            let g = (-0.5 * (error / sigma).powi(2)).exp();
            phase += k.correction * error * g;
            seen.push((error, index, g));
        }
        if round == 2 {
            index -= before;
        }
    }
    let pulses = index;
    let bells: Vec<f64> = seen.iter().map(|x| x.2).collect();
    for i in 1..seen.len() {
        if parts == 1 && seen[i].1 == seen[i - 1].1 {
            seen[if bells[i] * (1.0 + TIE) >= bells[i - 1] { i - 1 } else { i }].2 = 0.0;
        }
    }
    let rest = if parts == 1 { k.stray_weight } else { k.rest_weight };
    let b = (sigma * std::f64::consts::TAU.sqrt()).min(p / s);
    let mut hit: Vec<i64> = seen.iter().filter(|x| x.2 > 0.5).map(|x| x.1 as i64).collect();
    hit.dedup();
    let felt = if parts == 1 { 0.0 } else { k.feel(p / s).max(1e-3).ln() };
    let scale = k.present_length / length;
    let mut sum = 0.0;
    for q in 1..=4_usize {
        for o in 0..q {
            let of_bars = if q > 1 { 1.0 } else { 0.0 };
            let cuts = if parts == 1 { 0.0 } else { (s - 1.0) * (k.cut_weight - rest) };
            let mean =
                rest + (k.beat_weight - rest + cuts + of_bars * (k.head_weight - k.beat_weight) / q as f64) * b / p;
            let mut log = if (pulses as usize).is_multiple_of(q) { 0.0 } else { -k.change_cost };
            for (e, &(error, index, g)) in events.iter().zip(&seen) {
                let cut = (error / p * s).round_ties_even();
                let h =
                    if parts == 1 || cut == 0.0 { 0.0 } else { (-0.5 * ((error - cut / s * p) / sigma).powi(2)).exp() };
                let on_head = q > 1 && (index as i64).rem_euclid(q as i64) == o as i64;
                let head = if on_head { (k.head_weight - k.beat_weight) * g } else { 0.0 };
                log += e.weight * ((rest + (k.beat_weight - rest) * g + (k.cut_weight - rest) * h + head) / mean).ln();
            }
            log -= k.silent_beat_cost * (pulses - hit.len() as f64).max(0.0);
            let three = if q == 3 { k.three_cost } else { 0.0 } + if parts == 3 { k.three_cost } else { 0.0 };
            let prior = k.prior(length / pulses) - (q as f64 * p / b).ln() - three - of_bars * k.bar_cost;
            sum += (log * scale + prior + k.first_beat_bonus * seen[0].2 + felt).exp();
        }
    }
    sum.ln()
}

/// Log posterior of one attack per pulse, by the formula of the module doc of `renewal`.
fn slow_rate(events: &[Event], length: f64, p: f64, k: &Params) -> f64 {
    let normal = |x: f64, s: f64| (-0.5 * (x / s).powi(2)).exp() / s / std::f64::consts::TAU.sqrt();
    let mean = length / events.len() as f64;
    let mut log = 0.0;
    for (i, e) in events.iter().enumerate() {
        let d = events.get(i + 1).map_or(events[0].time + length, |n| n.time) - e.time;
        let base = (-k.evenness_bonus * d / mean).exp() / mean;
        let s = k.interval_spread * p;
        let one = (1.0 - k.skipped_share) * normal(d - p, s) + k.skipped_share * normal(d - 2.0 * p, 1.414 * s);
        log += e.weight * (((1.0 - k.stray_share) * one + k.stray_share * base) / base).ln();
    }
    let phase = (1.0 / k.interval_spread / std::f64::consts::TAU.sqrt()).ln();
    log * k.present_length / length + k.prior(p) + k.first_beat_bonus - phase + 0.2_f64.ln()
}

#[test]
fn followed_pulses_and_rates_are_their_formulas() {
    let mut random = Random(9_182_736_455_463);
    let params = Params::default();
    let (mut pulses, mut rates, mut off) = (0, 0, Vec::new());
    for _ in 0..150 {
        // Free time: on a grid an event halfway between two pulses may go to either by a rounding error.
        let mut time = 0.0;
        let events: Vec<Event> = (0..2 + random.below(38))
            .map(|_| {
                time += 0.08 + 0.7 * random.below(10_000) as f64 / 10_000.0;
                Event { time: time - 0.08, weight: 0.4 + random.below(20) as f64 / 10.0 }
            })
            .collect();
        let length = time + 0.2;
        let fast = OffGrid::new(&events, length, &[], &params);
        for f in &fast.followed {
            let slow = slow_pulse(&events, length, f.start, f.parts, &params);
            pulses += 1;
            if (f.log - slow).abs() > 1e-3 {
                off.push((f.start, f.parts, f.log, slow));
            }
        }
        for r in &fast.rates {
            let slow = slow_rate(&events, length, r.centre, &params);
            assert!((r.log - slow).abs() < 1e-3, "{} {} {slow}", r.centre, r.log);
            rates += 1;
        }
    }
    assert!(pulses > 5000 && rates > 15_000, "{pulses} {rates}");
    // An event halfway between two pulses, and a pulse whose bell is half, may go to either in single precision.
    assert!(off.len() * 1000 <= pulses, "{} of {pulses}: {off:?}", off.len());
}

#[test]
fn shares_of_windows_add_up_to_the_whole() {
    let events: Vec<Event> =
        (0..80).map(|i| Event { time: f64::from(i) * 0.31 + f64::from(i % 7) * 0.013, weight: 1.0 }).collect();
    let (length, params) = (25.0, Params::default());
    let windows = Windows::new(&events, length, &[], &params);
    assert_eq!(windows.count(), 7);
    let fast = OffGrid::new(&events, length, &[], &params);
    let of_pulses = fast.followed.iter().map(|f| &f.shares);
    for shares in of_pulses.chain(fast.rates.iter().map(|r| &r.shares)) {
        assert!((shares[0] - shares[1..].iter().sum::<f64>()).abs() < 1e-6, "{shares:?}");
    }
}
