//! Tests that schedule and samples put every sound on its exact frame, against plain exact arithmetic.

use super::*;
use crate::sound::clock::FrameTime;
use num_bigint::BigInt;

/// The pass that plays after an hour.
fn hour(length: &BigRational, rate: SampleRate) -> u64 {
    (big(3600 * i64::from(rate.hertz()), 1) / length).ceil().to_integer().to_u64().expect("small")
}

#[test]
fn every_attack_stands_on_the_rounded_exact_frame_also_after_an_hour() {
    for groove in hard() {
        for hertz in [44_100, 48_000, 96_000] {
            for speed in [Fraction::ONE, Fraction::new(1, 5).expect("speed"), Fraction::new(97, 100).expect("speed")] {
                let options = ScheduleOptions { speed, ..ScheduleOptions::whole(rate(hertz)) };
                let schedule = Schedule::build(&groove, &options);
                let (offsets, length) = reference(&groove, &options);
                assert_eq!(schedule.len(), offsets.len());
                let late = hour(&length, options.rate);
                for pass in [0, 1, 2, 1000, late, late + 1] {
                    let start = &length * BigInt::from(pass);
                    assert_eq!(schedule.map.pass_start(pass).0, rounded(&start));
                    for (k, offset) in offsets.iter().enumerate() {
                        let found = schedule.onset(pass, k).expect("there");
                        assert_eq!(found.0, rounded(&(&start + offset)), "{hertz} Hz, pass {pass}, attack {k}");
                    }
                }
            }
        }
    }
}

/// Frames at which a sound begins after silence.
fn onsets(stereo: &[f32]) -> Vec<i64> {
    let loud: Vec<bool> = stereo.chunks(2).map(|f| f[0] != 0.0).collect();
    (0..loud.len()).filter(|&n| loud[n] && (n == 0 || !loud[n - 1])).map(|n| n as i64).collect()
}

#[test]
fn the_samples_begin_where_the_schedule_says_also_after_an_hour() {
    // At this tempo a sixteenth lasts 109 ms, longer than the sound, so each begins in silence.
    let groove = groove(&[Voice::Rim], &[("4/4", "137.3", 1, None, "xxx.x.xx.xx.xxxx")]);
    for hertz in [44_100, 48_000] {
        let options = ScheduleOptions::whole(rate(hertz));
        let (offsets, length) = reference(&groove, &options);
        for first in [0, hour(&length, options.rate)] {
            let mut renderer = Renderer::new(options.rate);
            renderer.play(Box::new(Schedule::build(&groove, &options)), Frame(0));
            renderer.skip_to_pass(first);
            let origin = rounded(&(&length * BigInt::from(first)));
            let mut out = vec![0.0; 2 * (length.to_f64().expect("small") as usize * 3)];
            renderer.render(&mut out[..2 * RENDER_LATENCY]);
            renderer.render(&mut out);
            let expected: Vec<i64> = (0..4)
                .flat_map(|pass| offsets.iter().map(move |o| (pass, o)))
                .map(|(pass, o)| rounded(&(&length * BigInt::from(first + pass) + o)) - origin)
                .filter(|&f| f < out.len() as i64 / 2)
                .collect();
            assert_eq!(onsets(&out), expected, "{hertz} Hz from pass {first}");
        }
    }
}

#[test]
fn only_heard_layers_sound_and_the_range_is_cut_out() {
    let g = groove(
        &[Voice::Rim, Voice::Wood],
        &[("4/4", "120", 2, None, "x.x.x.x.x.x.x.x."), ("3/4", "90", 1, None, "x...x...x...")],
    );
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    assert_eq!(Schedule::build(&g, &options).len(), 2 * (16 + 3));
    let layers = |mute, solo| {
        let mut layers: Vec<Layer> = g.layers().iter().map(|l| (**l).clone()).collect();
        (layers[0].mute, layers[1].solo) = (mute, solo);
        Groove::new("t", "", g.sections().to_vec(), layers).expect("groove")
    };
    assert_eq!(Schedule::build(&layers(true, false), &options).len(), 19);
    assert_eq!(Schedule::build(&layers(false, true), &options).len(), 19);
    assert!(Schedule::build(&layers(true, true), &options).len() == 19);

    let one =
        Schedule::build(&g, &ScheduleOptions { range: Range::Section(1), click: Click::Written, ..options.clone() });
    assert_eq!((one.len(), one.map.rounded_length()), (9, Frame(96_000)));
    let region = Range::within(0, time(1, 8), time(9, 16));
    let part = Schedule::build(&g, &ScheduleOptions { range: region, ..options.clone() });
    assert_eq!((part.len(), part.map.rounded_length()), (8, Frame(42_000)));
    assert_eq!(part.onset(0, 0), Some(Frame(0)));
    assert_eq!(part.map.position(Frame(12_000)).wholes, 0.25);
    for range in [
        Range::Section(2),
        Range::within(9, Time::ZERO, Time::WHOLE),
        Range::within(0, time(1, 2), time(1, 2)),
        Range::Region { first: 1, from: Time::ZERO, last: 0, to: Time::WHOLE },
        Range::Region { first: 0, from: Time::ZERO, last: 2, to: Time::WHOLE },
    ] {
        let silent = Schedule::build(&g, &ScheduleOptions { range, ..options.clone() });
        assert!(silent.is_empty());
        let mut renderer = Renderer::new(options.rate);
        renderer.play(Box::new(silent), Frame(5));
        renderer.render(&mut [0.0; 2000]);
    }
}

#[test]
fn a_region_over_several_sections_is_one_stretch_of_the_groove() {
    // At 120 a quarter is 24,000 frames; the three sections are played 3, 2 and 4 times.
    let g = groove(
        &[Voice::Rim],
        &[
            ("4/4", "120", 3, None, "x...x...x...x..."),
            ("2/4", "60", 2, None, "x......."),
            ("4/4", "120", 4, None, "..x...x...x...x."),
        ],
    );
    let range = Range::Region { first: 0, from: time(3, 4), last: 2, to: time(1, 4) };
    // Two pulses of the whole groove: on the last quarter of the third pass, and before the region.
    let start = 3.0 * 2.0 - 0.5;
    let moments = vec![Moment::Pulse(start), Moment::Pulse(start - 0.1), Moment::Pulse(start + 0.5 + 4.0)];
    let lines = vec![ClickLine { moments, tone: 0, side: 0 }];
    let schedule = Schedule::build(&g, &ScheduleOptions { range, lines, ..ScheduleOptions::whole(SampleRate::STUDIO) });
    let frames: Vec<i64> = (0..schedule.len()).filter_map(|k| schedule.onset(0, k)).map(|f| f.0).collect();
    // A quarter, two passes of two slow quarters, and half a quarter before the last attack.
    assert_eq!(frames, [0, 0, 24_000, 24_000 + 96_000, 24_000 + 192_000, 24_000 + 192_000 + 12_000]);
    assert_eq!(schedule.map.rounded_length(), Frame(24_000 + 192_000 + 24_000));
    let position = |frame| {
        let p = schedule.map.position(Frame(frame));
        (p.section, p.pass, p.wholes)
    };
    assert_eq!(position(0), (0, 2, 0.75));
    assert_eq!(position(24_000 + 96_000), (1, 1, 0.0));
    assert_eq!(position(24_000 + 192_000 + 12_000), (2, 0, 0.125));
}

#[test]
fn clicks_of_hearings_sound_at_their_moments() {
    let g = groove(
        &[Voice::Rim],
        &[("4/4", "120", 1, None, "................"), ("4/4", "60", 2, None, "................")],
    );
    let lines = vec![
        ClickLine {
            moments: vec![Moment::Pulse(2.5), Moment::Pulse(f64::NAN), Moment::Pulse(1e300)],
            tone: 0,
            side: -100,
        },
        ClickLine {
            // A third of a whole note into both passes of the second section, and after the end.
            moments: [6.0 + 4.0 / 3.0, 2.0 + 4.0 / 3.0, 10.0].map(Moment::Pulse).to_vec(),
            tone: 200,
            side: 100,
        },
    ];
    let options = ScheduleOptions { lines, ..ScheduleOptions::whole(SampleRate::STUDIO) };
    let frames = |s: &Schedule| (0..s.len()).filter_map(|k| s.onset(0, k)).map(|f| f.0).collect::<Vec<_>>();
    assert_eq!(frames(&Schedule::build(&g, &options)), [120_000, 96_000 + 64_000, 96_000 + 192_000 + 64_000]);
    let half = ScheduleOptions { speed: Fraction::new(1, 2).expect("speed"), range: Range::Section(1), ..options };
    assert_eq!(frames(&Schedule::build(&g, &half)), [48_000, 128_000]);
    let out = rendered(&g, &ScheduleOptions { speed: Fraction::ONE, ..half }, MIX_DB, 40_000, 512);
    assert!(out.chunks(2).any(|f| f[0] != 0.0) && out.chunks(2).all(|f| f[1].abs() < 1e-6), "left only");
}

#[test]
fn the_click_gain_scales_the_clicks_and_nothing_else() {
    let g = groove(&[Voice::Rim], &[("4/4", "120", 1, None, "..x...x...x...x.")]);
    let line = ClickLine { moments: vec![Moment::Pulse(0.1)], tone: 0, side: 50 };
    let options = |click_db| ScheduleOptions {
        click: Click::Written,
        click_db,
        lines: vec![line.clone()],
        ..ScheduleOptions::whole(SampleRate::STUDIO)
    };
    let (plain, quiet) = (Schedule::build(&g, &options(0.0)), Schedule::build(&g, &options(-20.0)));
    for (a, b) in plain.notes.iter().zip(&quiet.notes) {
        // The attacks stand on the off-beats, 0.25 s after a beat.
        let expected = if a.at.frame % 24_000 == 12_000 { 1.0 } else { 0.1 };
        assert!((b.left / a.left - expected).abs() < 1e-6 && (b.right / a.right - expected).abs() < 1e-6);
    }
    assert_eq!(plain.len(), 4 + 4 + 1);
}

#[test]
fn strong_clicks_are_on_the_heads_of_an_additive_meter() {
    let rests = ".".repeat(28);
    let rows = [("2+2+3/8", "240", 28), ("4/4", "60", 16), ("3/4", "60", 12)];
    let rows: Vec<Row> = rows.iter().map(|(meter, bpm, cells)| (*meter, *bpm, 1, None, &rests[..*cells])).collect();
    let options = ScheduleOptions { click: Click::Strong, ..ScheduleOptions::whole(SampleRate::STUDIO) };
    let schedule = Schedule::build(&groove(&[Voice::Rim], &rows), &options);
    let frames: Vec<i64> = (0..schedule.len()).filter_map(|k| schedule.onset(0, k)).map(|f| f.0).collect();
    // An eighth lasts 6000 frames, then a quarter 48000.
    assert_eq!(frames, [0, 12_000, 24_000, 42_000, 138_000, 234_000]);
}

#[test]
fn positions_and_frames_map_to_each_other() {
    for groove in hard() {
        let schedule = Schedule::build(&groove, &ScheduleOptions::whole(rate(44_100)));
        let length = schedule.map.rounded_length().0;
        for k in 0..500 {
            let frame = Frame(k * (length - 1) / 500);
            let position = schedule.map.position(frame);
            let back = schedule.map.frame(position).expect("in the loop");
            assert!((back.0 - frame.0).abs() <= 1, "{frame:?} {position:?} {back:?}");
        }
        assert_eq!(schedule.map.frame(Position { section: 99, pass: 0, wholes: 0.0 }), None);
    }
}

#[test]
fn unheard_sections_do_not_spoil_the_common_denominator() {
    let rows: Vec<(String, &str)> =
        (0..40).map(|k| (format!("{}.{}", 61 + k, 1009 + 2 * k), "x...x...x...x...")).collect();
    let rows: Vec<Row> = rows.iter().map(|(bpm, d)| ("4/4", bpm.as_str(), 1, None, *d)).collect();
    let g = groove(&[Voice::Rim], &rows);
    let options = ScheduleOptions::whole(rate(44_100));
    assert_eq!(Schedule::build(&g, &options).map.denom, 1 << 120);
    assert!(Schedule::build(&g, &ScheduleOptions { range: Range::Section(3), ..options.clone() }).map.denom < 1 << 40);
    // Even in fixed point the rounded frames are those of the exact times.
    let (offsets, length) = reference(&g, &options);
    let schedule = Schedule::build(&g, &options);
    for pass in [0, 1, 500] {
        for (k, offset) in offsets.iter().enumerate() {
            let exact = rounded(&(&length * BigInt::from(pass) + offset));
            assert_eq!(schedule.onset(pass, k), Some(Frame(exact)));
        }
    }
}

#[test]
fn frame_times_order_as_numbers() {
    assert!(FrameTime { frame: 1, part: 5 } < FrameTime { frame: 2, part: 0 });
    assert!(FrameTime { frame: -1, part: 5 } < FrameTime::ZERO);
}
