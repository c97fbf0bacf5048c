//! Tests of takes, cues and ladders against plain exact sums.

mod chunks;
mod sums;

use super::*;
use crate::rhythm::Voice;
use crate::sound::LIMITER_CEILING;
use crate::sound::UserSamples;
use crate::sound::tests::{big, groove, hard, rate, rounded, time};
use crate::sound::units::Frame;
use chunks::{inner, riff};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{FromPrimitive, One, ToPrimitive, Zero};
use proptest::prelude::*;
use sums::{length, reference};

pub(in crate::sound) use chunks::samples;

pub(in crate::sound) fn plain(name: &str) -> Take {
    Take {
        name: name.into(),
        note: String::new(),
        layers: true,
        click: Click::Off,
        click_db: 0.0,
        click_sound: ClickSound::default(),
        lines: Vec::new(),
        speed: Fraction::ONE,
        range: Range::Whole,
        times: 1,
        count_in: CountIn::Off,
        recording: None,
        count_in_bars: 1,
        muted_passes: Vec::new(),
    }
}

/// A line that changes its pulse in the middle of the loop, none of its times a fraction of a cell.
fn changing(seconds: f64, tone: u8, side: i8) -> (Vec<f64>, ClickLine) {
    let mut pulses = vec![0.071_3];
    while let Some(&last) = pulses.last().filter(|t| **t < seconds) {
        pulses.push(last + if last < seconds / 2.0 { 0.369_7 } else { 0.5 / std::f64::consts::SQRT_2 });
    }
    pulses.retain(|t| *t < seconds);
    (pulses.clone(), ClickLine::of_pulse(&pulses, seconds, Click::Written, tone, side))
}

/// Four takes with all features, of a groove that lasts so many seconds.
pub(in crate::sound) fn four(seconds: f64) -> Vec<Take> {
    let (pulses, line) = changing(seconds, 0, 60);
    let halves = ClickLine::of_pulse(&pulses, seconds, Click::OffBeat, 1, -60);
    let slow = Fraction::new(97, 130).expect("speed");
    let count_in = CountIn::Pulse { first: pulses[0], period: pulses[1] - pulses[0], tone: 0, side: 60 };
    vec![
        Take { times: 2, count_in: CountIn::Bar, note: "as written".into(), ..plain("groove") },
        Take { times: 3, count_in, lines: vec![line.clone()], speed: slow, ..plain("hearing") },
        Take { layers: false, click: Click::Divided(3), lines: vec![line], times: 2, ..plain("pulses") },
        Take { click: Click::OffBeat, lines: vec![halves], times: 3, muted_passes: vec![1], ..plain("silence") },
    ]
}

pub(in crate::sound) fn written(groove: &Groove, takes: &[Take], rate: SampleRate) -> (Vec<u8>, Vec<Cue>) {
    let sequence = SequenceRenderer::new(groove, takes, rate, UserSamples::default());
    let mut bytes = Vec::new();
    assert_eq!(sequence.write(&mut bytes, &mut |_, _| Ok(())).expect("written"), sequence.total);
    (bytes, sequence.cues.clone())
}

#[test]
fn every_attack_and_click_stands_at_its_rounded_exact_frame_after_the_cue() {
    for groove in hard() {
        for hertz in [44_100, 48_000] {
            let takes = four(length(&groove).to_f64().expect("small"));
            let (expected, frames) = reference(&groove, &takes, rate(hertz));
            let (bytes, cues) = written(&groove, &takes, rate(hertz));
            assert_eq!(cues.iter().map(|c| c.frame.0).collect::<Vec<_>>(), frames);
            let names: Vec<&str> = cues.iter().map(|c| c.name.as_str()).collect();
            assert_eq!(names, ["count-in: groove", "groove", "count-in: hearing", "hearing", "pulses", "silence"]);
            let found = samples(&bytes);
            assert!(found.len() >= expected.len() && found.len() <= expected.len() + 2, "{} frames", found.len());
            for (n, (f, e)) in found.iter().zip(&expected).enumerate() {
                let difference = (f.0 - e.0).abs().max((f.1 - e.1).abs());
                assert!(difference < 1e-6, "{hertz} Hz, frame {n}: {f:?}, expected {e:?}");
            }
        }
    }
}

#[test]
fn joins_do_not_click_and_the_limiter_holds() {
    // Bells and strings ring over every join; the loop ends in the middle of their sound.
    let voices = [Voice::Bell, Voice::Bass, Voice::Pluck, Voice::OpenHat];
    let long = groove(&voices[..3], &[("2/4", "151.7", 1, None, "X-------")]);
    let slow = Fraction::new(1, 2).expect("speed");
    let takes = [
        Take { times: 2, ..plain("a") },
        Take { layers: false, ..plain("b") },
        Take { speed: slow, muted_passes: vec![0, 2], times: 3, ..plain("c") },
    ];
    let (bytes, cues) = written(&long, &takes, rate(48_000));
    let found = samples(&bytes);
    let step = |r: std::ops::Range<usize>| {
        let pairs = found[r].windows(2);
        pairs.map(|w| (w[1].0 - w[0].0).abs().max((w[1].1 - w[0].1).abs())).fold(0.0, f64::max)
    };
    // A take without layers after the groove: only what rings sounds, as smoothly as before.
    let join = cues[1].frame.0 as usize;
    assert!(found[join..join + 100].iter().any(|s| s.0.abs() > 0.01), "something rings");
    assert!(step(join - 5..join + 2000) < 1.5 * step(join - 2000..join - 5));
    // The end: everything has rung out.
    assert!(found[found.len() - 1].0.abs() < 1e-3);

    let crowd = groove(Voice::ALL, &[("4/4", "137.3", 1, Some("3:2"), "x.Xx-.ox{3: xXo}xxxx")]);
    let crowd = (0..crowd.layers().len()).fold(crowd, |g, l| g.edited(&Edit::Gain(l, 12)).expect("a gain"));
    let click = Click::Divided(4);
    let takes = [Take { click, times: 2, ..plain("a") }, Take { click, speed: slow, ..plain("b") }];
    let loud = samples(&written(&crowd, &takes, rate(48_000)).0);
    let peak = loud.iter().map(|s| s.0.abs().max(s.1.abs())).fold(0.0, f64::max);
    assert!(peak <= f64::from(LIMITER_CEILING) + 1e-6 && peak > 0.7, "{peak}");
}

#[test]
fn the_table_and_the_chunks_agree() {
    let groove = &hard()[3];
    let mut takes = four(length(groove).to_f64().expect("small"));
    takes[2].name = "tab\tin a name".into();
    let (bytes, cues) = written(groove, &takes, rate(44_100));
    let chunks = riff(&bytes);
    let kinds: Vec<&str> = chunks.iter().map(|c| c.0.as_str()).collect();
    assert_eq!(kinds, ["fmt ", "data", "cue ", "LIST"]);
    let word = |b: &[u8], at: usize| u32::from_le_bytes(b[at..at + 4].try_into().expect("four"));
    let points = &chunks[2].1;
    assert_eq!((word(points, 0) as usize, points.len()), (cues.len(), 4 + 24 * cues.len()));
    assert_eq!(&chunks[3].1[..4], b"adtl");
    let mut texts = std::collections::HashMap::new();
    for (kind, bytes) in inner(&chunks[3].1[4..]) {
        assert_eq!(bytes.last(), Some(&0), "texts end with a zero");
        texts.insert((kind, word(&bytes, 0)), String::from_utf8(bytes[4..bytes.len() - 1].to_vec()).expect("text"));
    }
    let table = cue_table(&cues, rate(44_100));
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("frame\tseconds\tname\tnote"));
    assert_eq!(lines.clone().count(), cues.len());
    for (k, line) in lines.enumerate() {
        let columns: Vec<&str> = line.split('\t').collect();
        let point = &points[4 + 24 * k..28 + 24 * k];
        let id = word(point, 0);
        assert_eq!((&point[8..12], word(point, 12), word(point, 16)), (&b"data"[..], 0, 0));
        assert_eq!((word(point, 4), word(point, 20)), (word(point, 20), columns[0].parse().expect("a frame")));
        let seconds: f64 = columns[1].parse().expect("seconds");
        assert!((seconds - cues[k].frame.seconds(rate(44_100))).abs() < 1e-9);
        assert_eq!(texts.get(&("labl".into(), id)).map(String::as_str), Some(columns[2]));
        assert_eq!(texts.get(&("note".into(), id)).map_or("", String::as_str), columns[3]);
    }
    // Without cues there are no chunks.
    let empty = written(groove, &[], rate(44_100));
    assert_eq!((riff(&empty.0).len(), empty.1.len()), (2, 0));
}

#[test]
fn an_attack_that_the_rounding_moves_onto_the_join_is_not_lost() {
    let groove = &hard()[0];
    let length = length(groove);
    let seconds = length.to_f64().expect("small") - 1e-7;
    let lines = vec![ClickLine { moments: vec![Moment::Pulse(seconds)], tone: 0, side: 0 }];
    let takes = [Take { layers: false, lines, ..plain("late") }, Take { layers: false, ..plain("after") }];
    let (bytes, cues) = written(groove, &takes, rate(48_000));
    let join = cues[1].frame.0;
    let onset = rounded(&(BigRational::from_f64(seconds).expect("finite") * big(48_000, 1)));
    assert_eq!(onset, join);
    let first = samples(&bytes).iter().position(|s| s.0 != 0.0).expect("a click");
    assert!((join..join + 2).contains(&(first as i64)), "{first} {join}");
}

#[test]
fn lines_are_cut_into_parts_between_their_pulses() {
    let pulses = [0.5, 1.5, 2.0];
    let line = |click| ClickLine::of_pulse(&pulses, 3.0, click, 0, 0).moments;
    let [a, b, c] = pulses.map(Moment::Pulse);
    assert_eq!(line(Click::Written), [a, b, c]);
    assert_eq!(line(Click::OffBeat), [1.0, 1.75, 2.75].map(Moment::Pulse));
    let half = [1.0, 1.75, 2.75].map(Moment::Division);
    assert_eq!(line(Click::Divided(2)), [a, half[0], b, half[1], c, half[2]]);
    // Three quarters of the way from 2.0 to the return at 3.5 lies in the next pass.
    assert_eq!(line(Click::Divided(4)).last(), Some(&Moment::Division(0.125)));
    assert!(line(Click::Off).is_empty() && ClickLine::of_pulse(&[], 3.0, Click::Divided(9), 0, 0).moments.is_empty());
}

#[test]
fn a_count_in_leads_into_the_first_pulse() {
    let groove = &hard()[0];
    for (first, period) in [(0.0, 0.5), (0.2, 0.7), (2.3, 0.4)] {
        let take = Take { count_in: CountIn::Pulse { first, period, tone: 0, side: 0 }, ..plain("t") };
        let count = take.count_in_schedule(groove, rate(48_000)).expect("a count-in");
        let frames: Vec<i64> = (0..count.len()).filter_map(|k| count.onset(0, k)).map(|f| f.0).collect();
        let spaced: Vec<i64> = (0..4).map(|k| (f64::from(k) * period * 48_000.0).round() as i64).collect();
        assert_eq!(frames, spaced);
        // From the first counted pulse to the first of the loop there are whole periods.
        let whole = (count.map.rounded_length().seconds(rate(48_000)) + first) / period;
        assert!((whole - whole.round()).abs() < 1e-3, "{whole}");
    }
    // What is no pulse counts a bar of the beat.
    for (first, period) in [(0.0, 0.0), (f64::NAN, 1.0), (0.0, f64::INFINITY), (0.0, -1.0)] {
        let odd = Take { count_in: CountIn::Pulse { first, period, tone: 0, side: 0 }, ..plain("t") };
        assert_eq!(odd.count_in_schedule(groove, rate(48_000)).map(|s| s.len()), Some(4));
    }
    assert!(plain("t").count_in_schedule(groove, rate(48_000)).is_none());
}

#[test]
fn a_count_in_of_several_bars_clicks_on_every_beat_up_to_the_groove() {
    // A beat lasts 60 / 151.7 s, no whole number of frames; a bar has seven.
    let groove = groove(&[Voice::Wood], &[("7/4", "151.7", 1, None, &format!("x{}", ".".repeat(27)))]);
    let take = Take { count_in: CountIn::Bar, count_in_bars: 3, ..plain("groove") };
    let (bytes, cues) = written(&groove, &[take], rate(44_100));
    let frame = |beat: i64| rounded(&(big(44_100 * 60 * 10, 1517) * BigInt::from(beat)));
    let starts: Vec<(i64, &str)> = cues.iter().map(|c| (c.frame.0, c.name.as_str())).collect();
    assert_eq!(starts, [(0, "count-in: groove"), (frame(21), "groove")]);
    let found = samples(&bytes);
    let is_silent = |frame: i64| found[frame as usize].0.abs() + found[frame as usize].1.abs() < 1e-4;
    // Every click has died away before the next one, which sounds from its frame on.
    for beat in 0..22 {
        let (before, at) = (frame(beat) - 1, frame(beat));
        assert!(before < 0 || is_silent(before), "before beat {beat}");
        assert!((at..at + 20).any(|f| !is_silent(f)), "beat {beat}");
    }
    // Four pulses of a hearing stand for a bar.
    let (first, period) = (0.2, 0.7);
    let pulse = CountIn::Pulse { first, period, tone: 0, side: 0 };
    let take = Take { count_in: pulse, count_in_bars: 2, ..plain("groove") };
    let (_, cues) = written(&groove, &[take], rate(44_100));
    assert_eq!(cues[1].frame.0, ((8.0 * period - first) * 44_100.0_f64).round() as i64);
}

#[test]
fn the_silences_of_a_ladder_draw_together() {
    let mut takes = vec![Take { times: 6, ..plain("a") }, Take { times: 8, ..plain("b") }];
    mute_ladder_passes(&mut takes, 4);
    // Counted from 1 through both: the 4th; the 7th begins a take and gives way to the 8th; then the 10th, 12th, 14th.
    assert_eq!((takes[0].muted_passes.as_slice(), takes[1].muted_passes.as_slice()), (&[3][..], &[1, 3, 5, 7][..]));
    mute_ladder_passes(&mut takes, 0);
    assert_eq!(takes[0].muted_passes, [3]);
    assert_eq!(plain("a").audible_prefix(&hard()[0]), time(1, 4), "of one bar the first beat");
    assert_eq!(plain("a").audible_prefix(&hard()[3]), time(1, 1), "else the first bar");
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]
    #[test]
    fn any_take_is_rendered_to_the_length_it_announces(
        pulses in prop::collection::vec(prop::num::f64::ANY, 0..6), length in prop::num::f64::ANY, times in 0_u32..4,
        parts in any::<u8>(), speed in (-3_i64..30, 1_i64..9), silences in prop::collection::vec(0_u32..5, 0..3),
        count in 0_usize..3, layers in any::<bool>(), first in prop::num::f64::ANY, period in prop::num::f64::ANY,
    ) {
        let line = ClickLine::of_pulse(&pulses, length, Click::Divided(parts), 1, 30);
        let count_in = [CountIn::Off, CountIn::Bar, CountIn::Pulse { first, period, tone: 9, side: 101 }][count];
        let take = Take {
            layers, click: Click::Divided(parts), lines: vec![line], times, count_in, muted_passes: silences,
            speed: Fraction::new(speed.0, speed.1).expect("fraction"), ..plain("any")
        };
        let groove = groove(&[Voice::Hat], &[("4/4", "600", 1, None, "x.x.{5: xxxxx}x.xx....")]);
        let takes = [take.clone(), take];
        let sequence = SequenceRenderer::new(&groove, &takes, rate(8_000), UserSamples::default());
        prop_assume!(sequence.total < Frame(2_000_000));
        let mut bytes = Vec::new();
        sequence.write(&mut bytes, &mut |_, _| Ok(())).expect("written");
        let found = samples(&bytes);
        prop_assert_eq!(found.len() as i64, sequence.total.0);
        prop_assert!(found.iter().all(|s| s.0.abs() <= f64::from(LIMITER_CEILING) + 1e-6));
    }
}

#[test]
fn the_exact_sums_of_the_reference_are_themselves_right() {
    let winch = groove(&[Voice::Rim], &[("4/4", "120", 2, None, "x...............")]);
    assert_eq!(length(&winch), BigRational::one() * BigInt::from(4));
}
