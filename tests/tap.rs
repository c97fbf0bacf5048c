//! Simulated tappers on the shipped grooves: the report names the pulse they follow, their asynchrony, spread and slips.

use crate::support::in_package;
use proptest::prelude::*;
use teeter::analysis::tap::{FollowedPulse, MIN_TAPS, Slip, SlipKind, TapOptions, TapRate, TapReport, tap_report};
use teeter::analysis::{AnalysisOptions, Hearing, HearingKind, Report, report};
use teeter::rhythm::{Fraction, Groove};

/// Pseudorandom numbers, the same on every machine (Steele, Lea & Flood 2014, `SplitMix`).
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with this standard deviation (Box & Muller 1958).
    fn normal(&mut self, deviation: f64) -> f64 {
        let (u, v) = (1.0 - self.unit(), self.unit());
        deviation * (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

fn shipped(name: &str) -> Groove {
    teeter::store::load(&in_package(&format!("patterns/{name}.toml"))).expect(name).groove
}

/// The times of a pulse over a number of passes.
fn pulses_of(r: &Report, follows: FollowedPulse, passes: usize, length: f64) -> Vec<f64> {
    let own: Vec<f64> = match follows {
        FollowedPulse::Hearing(h, _) => r.hearings[h].pulses.clone(),
        _ => r.attacks.iter().map(|a| a.seconds).collect(),
    };
    let all: Vec<f64> = (0..passes).flat_map(|n| own.iter().map(move |t| t + n as f64 * length)).collect();
    match follows {
        FollowedPulse::Hearing(_, TapRate::Half) => all.into_iter().step_by(2).collect(),
        FollowedPulse::Hearing(_, TapRate::Double) => {
            all.windows(2).flat_map(|w| [w[0], f64::midpoint(w[0], w[1])]).collect()
        }
        FollowedPulse::Hearing(_, TapRate::Offbeat) => all.windows(2).map(|w| f64::midpoint(w[0], w[1])).collect(),
        _ => all,
    }
}

struct Setting {
    report: Report,
    ask: TapOptions,
    length: f64,
}

fn setting(name: &str, percent: i64) -> Setting {
    let groove = shipped(name);
    let speed = Fraction::new(percent, 100).expect("speed");
    let report = report(&groove, &AnalysisOptions { speed, ..AnalysisOptions::default() });
    let length = report.clock.total();
    let ask = TapOptions { speed: percent as f64 / 100.0, range: (0.0, length), offset: 0.0 };
    Setting { report, ask, length }
}

impl Setting {
    fn hearing(&self, test: impl Fn(&Hearing) -> bool) -> usize {
        self.report.hearings.iter().position(test).expect("a hearing")
    }

    fn written(&self) -> FollowedPulse {
        FollowedPulse::Hearing(self.hearing(|h| h.kind == HearingKind::Written), TapRate::Pulse)
    }

    /// `count` taps on a pulse, with a delay and a jitter in ms of real time.
    fn taps(&self, follows: FollowedPulse, count: usize, late: f64, jitter: f64, random: &mut Random) -> Vec<f64> {
        let pulses = pulses_of(&self.report, follows, 40, self.length);
        let ms = |x: f64| x / 1000.0 * self.ask.speed;
        pulses.iter().skip(3).take(count).map(|p| p + ms(late + random.normal(jitter))).collect()
    }

    fn report(&self, taps: &[f64]) -> TapReport {
        tap_report(&self.report, &self.ask, taps)
    }

    /// Whether 19 of 20 times of two pulses differ by less than 20 ms.
    fn is_same(&self, a: FollowedPulse, b: FollowedPulse) -> bool {
        if a == b {
            return true;
        }
        let (a, b) = (pulses_of(&self.report, a, 2, self.length), pulses_of(&self.report, b, 2, self.length));
        let far = a.iter().filter(|t| !b.iter().any(|u| (*t - *u).abs() < 0.02 * self.ask.speed)).count();
        a.len().abs_diff(b.len()) <= 2 && far * 20 <= a.len()
    }
}

const GROOVES: [&str; 4] = ["capstan-eleven", "half-tide-winch", "fender-knock", "casting-off"];

/// The best hearing that does not share the written beat.
fn rival(s: &Setting) -> FollowedPulse {
    FollowedPulse::Hearing(s.hearing(|h| !h.keeps_written()), TapRate::Pulse)
}

#[test]
fn a_tapper_who_continues_through_the_loop_is_one_stretch() {
    // A pulse that does not fit the loop re-enters each loop; a tapper continues.
    let s = setting("slack-water", 100);
    let loose = |h: &Hearing| h.stretches.len() == 1 && !h.closes && h.period() < 1.5;
    let hearing = s.hearing(loose);
    let (first, period) = (s.report.hearings[hearing].pulses[0], s.report.hearings[hearing].stretches[0].period);
    let mut random = Random(7);
    let taps: Vec<f64> = (0..64).map(|k| first + f64::from(k) * period - 0.01 + random.normal(8.0) / 1000.0).collect();
    let report = s.report(&taps);
    assert_eq!(report.stretches.len(), 1, "{:?}", report.stretches);
    assert_eq!(report.stretches[0].follows, FollowedPulse::Hearing(hearing, TapRate::Continued));
    let stats = report.stretches[0].stats.as_ref().expect("a pulse");
    assert!((stats.mean_ms + 10.0).abs() < 4.0 && stats.slips.is_empty(), "{stats:?}");
}

#[test]
fn a_tapper_on_the_written_beat_or_on_the_rival_pulse_is_named() {
    let mut named = 0;
    for name in GROOVES {
        let s = setting(name, 100);
        for seed in 0..40 {
            let mut random = Random(seed);
            let (jitter, late) = (10.0 + 20.0 * random.unit(), -60.0 + 120.0 * random.unit());
            for follows in [s.written(), rival(&s)] {
                let taps = s.taps(follows, 64, late, jitter, &mut random);
                let report = s.report(&taps);
                let said = format!("{name}, seed {seed}, {follows:?} late {late:.0} jitter {jitter:.0}: {report:?}");
                assert_eq!(report.stretches.len(), 1, "{said}");
                let stretch = &report.stretches[0];
                assert!(s.is_same(stretch.follows, follows), "{said}");
                let f = stretch.stats.as_ref().expect("a pulse");
                assert!((f.mean_ms - late).abs() < 4.0 * f.error_ms + 6.0, "{said}");
                assert!((f.spread_ms / jitter - 1.0).abs() < 0.5, "{said}");
                assert!(f.drift_ms.abs() < 4.0 * f.drift_error_ms + 0.2, "{said}");
                named += 1;
            }
        }
    }
    assert_eq!(named, 320);
}

#[test]
fn a_tapper_who_changes_the_pulse_is_two_stretches_with_a_position() {
    for name in &GROOVES[..3] {
        let s = setting(name, 100);
        for seed in 0..30 {
            let mut random = Random(1000 + seed);
            let (jitter, late) = (10.0 + 20.0 * random.unit(), -40.0 + 80.0 * random.unit());
            let (first, then) = if seed % 2 == 0 { (s.written(), rival(&s)) } else { (rival(&s), s.written()) };
            let mut taps = s.taps(first, 32, late, jitter, &mut random);
            let change = taps.len();
            let last = taps[change - 1];
            let rest = s.taps(then, 200, late, jitter, &mut random);
            taps.extend(rest.into_iter().filter(|t| *t > last + 0.25).take(36));
            let report = s.report(&taps);
            let said =
                format!("{name}, seed {seed}, {first:?} to {then:?}, late {late:.0} jitter {jitter:.0}: {report:?}");
            assert_eq!(report.stretches.len(), 2, "{said}");
            assert!(
                s.is_same(report.stretches[0].follows, first) && s.is_same(report.stretches[1].follows, then),
                "{said}"
            );
            // Where the pulses are close together, the exact tap is ambiguous.
            assert!(report.stretches[1].first.abs_diff(change) <= 4, "{said}");
            // The position is that of the tapped pulse.
            let begins = &report.stretches[1];
            let pulse = begins.pass as f64 * s.length + begins.at;
            assert!((pulse - taps[begins.first]).abs() < 0.16, "{said}");
        }
    }
}

#[test]
fn a_tapper_who_changes_gradually_is_two_stretches() {
    for name in &GROOVES[..3] {
        let s = setting(name, 100);
        for seed in 0..20 {
            let mut random = Random(2000 + seed);
            let jitter = 10.0 + 15.0 * random.unit();
            let (beat, pulse) = (s.written(), rival(&s));
            let mut taps = s.taps(beat, 32, -20.0, jitter, &mut random);
            let last = taps[31];
            let rest: Vec<f64> = s.taps(pulse, 200, -20.0, jitter, &mut random);
            let rest: Vec<f64> = rest.into_iter().filter(|t| *t > last + 0.3).take(36).collect();
            // Taps between the end of the beat and the new pulse.
            let gap = (rest[3] - last) / 4.0;
            taps.extend((1..4).map(|i| last + f64::from(i) * gap));
            taps.extend(&rest[3..]);
            let report = s.report(&taps);
            let said = format!("{name}, seed {seed}, jitter {jitter:.0}: {report:?}");
            assert_eq!(report.stretches.len(), 2, "{said}");
            assert!(
                s.is_same(report.stretches[0].follows, beat) && s.is_same(report.stretches[1].follows, pulse),
                "{said}"
            );
            assert!((28..=39).contains(&report.stretches[1].first), "{said}");
        }
    }
}

#[test]
fn doubles_halves_and_the_attacks_themselves_are_named() {
    for name in ["capstan-eleven", "half-tide-winch"] {
        let s = setting(name, 70);
        let (FollowedPulse::Hearing(w, _), FollowedPulse::Hearing(r, _)) = (s.written(), rival(&s)) else {
            panic!("hearings")
        };
        let ways = [
            FollowedPulse::Hearing(w, TapRate::Double),
            FollowedPulse::Hearing(r, TapRate::Offbeat),
            FollowedPulse::Hearing(w, TapRate::Offbeat),
            FollowedPulse::Hearing(r, TapRate::Double),
            FollowedPulse::Hearing(r, TapRate::Half),
            FollowedPulse::Hearing(w, TapRate::Half),
            FollowedPulse::Attacks,
        ];
        for (n, follows) in ways.into_iter().enumerate() {
            for seed in 0..10 {
                let mut random = Random(100 * n as u64 + seed);
                let taps = s.taps(follows, 60, -20.0, 12.0, &mut random);
                let report = s.report(&taps);
                let said = format!("{name}, seed {seed}, {follows:?}: {report:?}");
                assert_eq!(report.stretches.len(), 1, "{said}");
                let found = report.stretches[0].follows;
                // Half of a pulse may be another hearing, and one with a pulse on each attack and nowhere else is the attacks.
                let is_attacks = |h: usize| s.report.hearings[h].on_pulse == s.report.attacks.len();
                let same = match found {
                    FollowedPulse::Hearing(h, TapRate::Pulse) => {
                        (s.report.hearings[h].bpm(0.7) - report.stretches[0].rate).abs() < 2.0
                            || follows == FollowedPulse::Attacks && is_attacks(h) && s.report.hearings[h].silent == 0
                    }
                    other => other == follows,
                };
                assert!(same, "{said}");
            }
        }
    }
}

#[test]
fn random_taps_follow_nothing_and_few_taps_are_too_few() {
    for name in GROOVES {
        let s = setting(name, 100);
        let mut wrong = 0;
        for seed in 0..40 {
            let mut random = Random(7000 + seed);
            let mut taps = vec![random.unit()];
            for _ in 0..60 {
                taps.push(taps[taps.len() - 1] + 0.2 + 0.6 * random.unit());
            }
            let report = s.report(&taps);
            let following = report.stretches.iter().filter(|t| t.follows != FollowedPulse::None).map(|t| t.taps);
            wrong += usize::from(following.sum::<usize>() > 15);
            let few = s.report(&taps[..MIN_TAPS - 1]);
            assert!(few.has_too_few_taps() && few.stretches.is_empty());
        }
        assert!(wrong <= 2, "{name}: {wrong} of 40");
    }
}

#[test]
fn slips_have_positions() {
    let s = setting("half-tide-winch", 100);
    let mut random = Random(3);
    let mut taps = s.taps(s.written(), 60, -25.0, 8.0, &mut random);
    // The 11th tap is 120 ms late, the 31st missing, the 41st double; the beat lasts 375 ms, the loop 36 beats.
    taps[10] += 0.12;
    let missing = taps.remove(30);
    taps.insert(40, taps[39] + 0.11);
    let report = s.report(&taps);
    let f = report.stretches[0].stats.as_ref().expect("a pulse");
    let beat = |n: usize| (n as f64 * 0.375).rem_euclid(s.length);
    assert_eq!(f.slips.len(), 3, "{:?}", f.slips);
    assert!(
        matches!(f.slips[0], Slip { tap: Some(10), kind: SlipKind::Off(ms), pass: 0, .. } if (ms - 120.0).abs() < 30.0)
    );
    assert!((f.slips[0].at - beat(13)).abs() < 1e-6);
    assert!(matches!(f.slips[1], Slip { tap: None, kind: SlipKind::Missed, pass: 0, .. }));
    assert!((f.slips[1].at - beat(33)).abs() < 1e-6 && (missing.rem_euclid(s.length) - beat(33)).abs() < 0.1);
    assert!(matches!(f.slips[2], Slip { tap: Some(40), kind: SlipKind::Double, .. }), "{:?}", f.slips[2]);
    assert!((f.mean_ms + 25.0).abs() < 5.0 && f.spread_ms < 12.0);
}

#[test]
fn a_changing_tempo_is_a_drift_and_the_offset_is_subtracted() {
    let mut s = setting("ticket-bell", 100);
    let follows = s.written();
    let mut random = Random(5);
    let taps = s.taps(follows, 60, 30.0, 8.0, &mut random);
    // Each tap is 1 ms later: at 96 BPM a beat lasts 625 ms.
    let slower: Vec<f64> = taps.iter().enumerate().map(|(i, t)| t + i as f64 * 0.001).collect();
    let report = s.report(&slower);
    assert_eq!(report.stretches.len(), 1, "{report:?}");
    let f = report.stretches[0].stats.as_ref().expect("a pulse");
    assert!((f.drift_ms - 1.0).abs() < 0.2, "{f:?}");
    assert!((f.tempo_percent + 100.0 / 626.0).abs() < 0.05, "{f:?}");
    s.ask.offset = 0.030;
    let report = s.report(&taps);
    assert!(report.stretches[0].stats.as_ref().expect("a pulse").mean_ms.abs() < 5.0);
    // At half speed, a real millisecond is half as long in the groove.
    let mut slow = setting("ticket-bell", 50);
    let taps = slow.taps(slow.written(), 60, 30.0, 8.0, &mut random);
    let report = slow.report(&taps);
    assert!((report.stretches[0].stats.as_ref().expect("a pulse").mean_ms - 30.0).abs() < 5.0);
    slow.ask.offset = 0.030;
    assert!(slow.report(&taps).stretches[0].stats.as_ref().expect("a pulse").mean_ms.abs() < 5.0);
}

proptest! {
    #![proptest_config(crate::support::property_config(64))]
    #[test]
    fn any_taps_give_finite_statistics(
        taps in prop::collection::vec(prop_oneof![-5.0_f64..60.0, Just(f64::NAN), Just(f64::INFINITY), Just(0.0)], 0..80),
        name in prop::sample::select(GROOVES.to_vec()),
        range in (0.0_f64..6.0, 0.0_f64..6.0),
        speed in 20_i64..200,
    ) {
        let mut s = setting(name, speed);
        if range.0 < range.1 {
            s.ask.range = range;
        }
        let report = s.report(&taps);
        let all: usize = report.stretches.iter().map(|t| t.taps).sum();
        prop_assert!(report.has_too_few_taps() && all == 0 || all == report.taps);
        for t in &report.stretches {
            prop_assert!(t.margin >= 0.0 && t.rate > 0.0 && t.taps >= MIN_TAPS);
            let f = t.stats.clone().unwrap_or_default();
            for x in [f.mean_ms, f.error_ms, f.spread_ms, f.drift_ms, f.drift_error_ms, f.tempo_percent] {
                prop_assert!(x.is_finite());
            }
            prop_assert!(f.slips.iter().all(|s| s.at >= range.0.min(0.0) - 1e-6));
        }
    }
}
