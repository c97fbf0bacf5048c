//! Tests of the rendered samples: block by block, edited, stopped, loud, written to a file.

use super::*;
use crate::sound::clock::FrameTime;
use crate::sound::position::PositionMap;
use proptest::prelude::*;

#[test]
fn the_result_does_not_depend_on_the_block_size() {
    let options = ScheduleOptions { click: Click::Written, ..ScheduleOptions::whole(SampleRate::STUDIO) };
    for db in [MIX_DB, 20.0] {
        let whole = rendered(&full(), &options, db, 100_000, 100_000);
        for block in [1, 7, 64, 255, 1024] {
            assert!(rendered(&full(), &options, db, 100_000, block) == whole, "block of {block} at {db} dB");
        }
    }
}

#[test]
fn a_crowd_of_sounds_does_not_depend_on_the_block_size_either() {
    // 20 layers of open hats at 1000 beats per minute: far more than may ring at once.
    let groove = groove(&[Voice::OpenHat; 20], &[("4/4", "1000", 1, None, "xxxxxxxxxxxxxxxx")]);
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let whole = rendered(&groove, &options, -40.0, 30_000, 30_000);
    for block in [3, 100, 1024] {
        assert!(rendered(&groove, &options, -40.0, 30_000, block) == whole, "block of {block}");
    }
}

#[test]
fn a_mix_is_quiet_and_never_above_the_ceiling() {
    let db = |x: f32| 20.0 * x.log10();
    let rms = |s: &[f32]| (s.iter().map(|x| x * x).sum::<f32>() / s.len() as f32).sqrt();
    let peak = |s: &[f32]| s.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let band = [Voice::Kick, Voice::Snare, Voice::Hat, Voice::Bass, Voice::Pluck];
    let parts = ["x.....x.x.......", "....X.......X..o", "xoxoxoxoxoxoxoxo", "x--x--x-x--x--x-", "..x..x.x..x.x..x"];
    let meter = Meter::parse("4/4").expect("meter");
    let layers = band.iter().zip(parts).map(|(&voice, drawing)| {
        Layer::new(voice.name(), voice, 4, vec![cell_notation::parse_bars(drawing, &meter, 1, 4).expect("drawing")])
    });
    let average =
        Groove::new("t", "", vec![section(0, &("4/4", "110", 1, None, ""))], layers.collect()).expect("groove");
    let level = db(rms(&rendered(&average, &options, MIX_DB, 480_000, 1024)));
    assert!((-25.0..=-18.0).contains(&level), "{level} dBFS");
    for gain in [MIX_DB, 0.0, 12.0, 24.0] {
        let loud = rendered(&full(), &options, gain, 200_000, 1024);
        assert!(db(peak(&loud)) <= -1.499, "{} dBFS at {gain} dB", db(peak(&loud)));
    }
}

#[test]
fn an_edit_of_a_later_cell_is_heard_as_if_it_had_always_been_there() {
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let voices = [Voice::Bass, Voice::OpenHat, Voice::Kick];
    let before = groove(&voices, &[("4/4", "137.3", 1, None, "x--xx-x.x--.....")]);
    // The triplet changes the common denominator as well.
    let after = groove(&voices, &[("4/4", "137.3", 1, None, "x--xx-x.x--.{3: xxx}")]);
    let frames = 300_000;
    let whole = rendered(&after, &options, MIX_DB, frames, 1024);
    for pass in [0_u64, 1] {
        let mut renderer = Renderer::new(options.rate);
        let schedule = Schedule::build(&before, &options);
        let at = schedule.map.pass_start(pass).0 as usize + 31_111;
        renderer.play(Box::new(schedule), Frame(0));
        let mut out = vec![0.0; 2 * frames];
        renderer.render(&mut out[..2 * at]);
        let frame = renderer.frame();
        assert!(renderer.swap(Box::new(Schedule::build(&after, &options))).is_some());
        assert_eq!(renderer.frame(), frame);
        assert_eq!(renderer.passes(), pass);
        renderer.render(&mut out[2 * at..]);
        // An edit in pass 1 leaves pass 0 as it was; a second later nothing of it rings.
        let tail = if pass == 0 { 0 } else { 2 * (at + 48_000) };
        assert!(out[tail..] == whole[tail..], "swapped in pass {pass}");
    }
}

#[test]
fn a_new_tempo_keeps_the_place_and_what_rings() {
    let voices = [Voice::Bell];
    let rows =
        |bpm| -> [Row; 2] { [("4/4", bpm, 2, None, "x---------------"), ("3/4", "90", 1, None, "x-----------")] };
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let (slow, fast) = (groove(&voices, &rows("77.7")), groove(&voices, &rows("133.1")));
    let mut renderer = Renderer::new(options.rate);
    renderer.play(Box::new(Schedule::build(&slow, &options)), Frame(0));
    let mut out = vec![0.0; 2 * 200_000];
    renderer.render(&mut out);
    let before = Schedule::build(&slow, &options).map.position(renderer.frame());
    renderer.swap(Box::new(Schedule::build(&fast, &options)));
    let after = Schedule::build(&fast, &options).map.position(renderer.frame());
    assert_eq!((before.section, before.pass), (after.section, after.pass));
    assert!((before.wholes - after.wholes).abs() < 1e-4, "{before:?} {after:?}");
    assert_eq!(before.pass, 1);
    assert!(!renderer.is_silent());
    let mut next = [0.0; 2 * 400];
    renderer.render(&mut next);
    let joined: Vec<f32> = out[out.len() - 800..].iter().chain(&next).copied().collect();
    let step = joined.chunks(2).collect::<Vec<_>>().windows(2).map(|w| (w[1][0] - w[0][0]).abs()).fold(0.0, f32::max);
    assert!(step < 0.02, "a jump of {step}");
}

#[test]
fn an_attack_near_a_change_of_tempo_sounds_once() {
    let groove = groove(&[Voice::Rim], &[("4/4", "137.3", 1, None, "....x...........")]);
    let build = |speed: (i64, i64)| {
        let speed = Fraction::new(speed.0, speed.1).expect("speed");
        Box::new(Schedule::build(&groove, &ScheduleOptions { speed, ..ScheduleOptions::whole(SampleRate::STUDIO) }))
    };
    let energy = |out: &[f32]| out.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>();
    // Where the attack lies between two frames differs from pass to pass.
    for pass in 0..12 {
        for (from, to) in [((1, 1), (2, 1)), ((1, 1), (19, 10)), ((1, 5), (2, 1)), ((2, 1), (1, 1)), ((13, 10), (1, 5))]
        {
            let mut once = 0.0;
            for frames in [60, 0, 1, 2, 3, 4, 5, 8, 11] {
                {
                    let mut renderer = Renderer::new(SampleRate::STUDIO);
                    let schedule = build(from);
                    let attack = schedule.onset(pass, 0).expect("an attack").0;
                    renderer.play(schedule, Frame(0));
                    renderer.skip_to_pass(pass);
                    let until = 2 * (attack + frames - renderer.now) as usize;
                    let mut out = vec![0.0; until + 2 * 6_000];
                    let (before, after) = out.split_at_mut(until);
                    renderer.render(before);
                    renderer.swap(build(to));
                    renderer.render(after);
                    let all = energy(&out);
                    once = if frames == 60 { all } else { once };
                    assert!(
                        (0.7..1.4).contains(&(all / once)),
                        "{from:?} to {to:?}, pass {pass}, {frames} frames after: {} times",
                        all / once
                    );
                }
            }
        }
    }
}

#[test]
fn a_loop_shorter_than_a_frame_is_not_counted_through() {
    let length = FrameTime { frame: 0, part: 1 };
    let map = PositionMap { pieces: Vec::new(), length, denom: 1 << 16 };
    let mut renderer = Renderer::new(SampleRate::STUDIO);
    renderer.play(Box::new(Schedule::from_parts(Vec::new(), Vec::new(), map, SampleRate::STUDIO)), Frame(0));
    renderer.render(&mut [0.0; 128]);
    assert_eq!(renderer.passes(), 0);
}

#[test]
fn stops_and_gain_changes_do_not_click() {
    let groove = groove(&[Voice::Bass, Voice::Bell], &[("4/4", "60", 1, None, "X---------------")]);
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let step =
        |s: &[f32]| s.chunks(2).collect::<Vec<_>>().windows(2).map(|w| (w[1][0] - w[0][0]).abs()).fold(0.0, f32::max);
    let acts: [fn(&mut Renderer); 2] = [Renderer::stop, |r| r.set_gain(Gain::SILENT)];
    for (k, act) in acts.into_iter().enumerate() {
        let mut renderer = Renderer::new(options.rate);
        renderer.play(Box::new(Schedule::build(&groove, &options)), Frame(0));
        let mut out = vec![0.0; 2 * 48_000];
        renderer.render(&mut out[..2 * 24_000]);
        act(&mut renderer);
        renderer.render(&mut out[2 * 24_000..]);
        let (before, after) = (step(&out[2 * 20_000..2 * 24_000]), step(&out[2 * 23_990..2 * 26_000]));
        assert!(after < 1.5 * before, "act {k}: {after} after {before}");
        assert!(out[2 * 26_000..].iter().all(|x| *x == 0.0), "act {k}");
        assert!(out[2 * 23_000..2 * 24_000].iter().any(|x| x.abs() > 0.01));
    }
}

#[test]
fn held_sounds_are_damped_when_their_attack_ends() {
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    for (voice, rings) in [(Voice::Pluck, false), (Voice::Bass, false), (Voice::Bell, false), (Voice::OpenHat, true)] {
        let groove = groove(&[voice], &[("4/4", "120", 1, None, "x-..............")]);
        let out = rendered(&groove, &options, MIX_DB, 48_000, 512);
        // Two sixteenths at 120 are 12000 frames; damping takes 8 ms more.
        let after = &out[2 * (12_000 + 384 + RENDER_LATENCY)..2 * 14_000];
        assert_eq!(after.iter().any(|x| *x != 0.0), rings, "{voice}");
        assert!(out[2 * 11_000..2 * 12_000].iter().any(|x| *x != 0.0), "{voice}");
    }
}

#[test]
fn a_file_has_the_header_of_the_standard_and_the_samples_of_the_renderer() {
    let options = ScheduleOptions::whole(rate(44_100));
    let mut bytes = Vec::new();
    let frames = wav(&full(), &options, Length::Passes(2), &mut bytes).expect("written");
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().expect("4 bytes"));
    let short = |at: usize| u16::from_le_bytes(bytes[at..at + 2].try_into().expect("2 bytes"));
    assert_eq!((&bytes[..4], &bytes[8..16], &bytes[36..40]), (&b"RIFF"[..], &b"WAVEfmt "[..], &b"data"[..]));
    assert_eq!((word(4), word(40)), (bytes.len() as u32 - 8, bytes.len() as u32 - 44));
    assert_eq!((word(16), short(20), short(22), word(24)), (16, 1, 2, 44_100));
    assert_eq!((word(28), short(32), short(34)), (44_100 * 6, 6, 24));
    assert_eq!(bytes.len() as i64, 44 + 6 * frames.0);
    let sample = |k: usize| {
        let b = &bytes[44 + 3 * k..47 + 3 * k];
        (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 / 8_388_607.0
    };
    let loops = Schedule::build(&full(), &options).map.pass_start(2).0 as usize;
    let direct = rendered(&full(), &options, MIX_DB, loops + RENDER_LATENCY, 333);
    // The limiter of the one that goes on already looks at the next downbeat.
    for k in 0..2 * (loops - RENDER_LATENCY) {
        assert!((sample(k) - direct[k + 2 * RENDER_LATENCY]).abs() < 1e-6, "sample {k}");
    }
    // The last sounds ring out and the file ends in silence.
    assert!((2 * loops..2 * loops + 2000).any(|k| sample(k) != 0.0));
    assert!((bytes.len() / 3 - 14 - 8..2 * frames.0 as usize).all(|k| sample(k).abs() < 1e-3));
    let mut cut = Vec::new();
    assert_eq!(wav(&full(), &options, Length::Seconds(0.5), &mut cut).expect("written"), Frame(22_050));
    assert_eq!(&cut[cut.len() - 6..], &[0; 6]);
    let error = wav(&full(), &options, Length::Passes(u32::MAX), &mut Vec::new()).expect_err("too long");
    assert_eq!(error.to_string(), "the sound is longer than a WAV file can hold (4 GiB)");
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(48))]
    #[test]
    fn any_tempo_speed_range_and_command_is_taken(
        bpm in (5_000_i64..=1_000_000, 1_i64..=9973), unit in (1_i64..10_000, 1_i64..10_000), speed in (-5_i64..100, 1_i64..30),
        cut in (0_i64..40, 0_i64..40, 1_i64..40), seek in any::<i64>(), acts in prop::collection::vec(0_u8..5, 0..12),
    ) {
        let tempo = Fraction::new(bpm.0, 1000).and_then(|t| Tempo::new(t, time(unit.0, unit.1)).ok()).expect("tempo");
        let mut sections = vec![section(0, &("4/4", "120", 3, Some("3:1"), "x-xox-X.{5: xxxxx}x.xx"))];
        sections[0].tempo = tempo;
        let g = groove(&[Voice::Hat, Voice::Bass], &[("4/4", "120", 3, Some("3:1"), "x-xox-X.{5: xxxxx}x.xx")]);
        let g = Groove::new("t", "", sections, g.layers().iter().map(|l| (**l).clone()).collect()).expect("groove");
        let options = |range| ScheduleOptions {
            speed: Fraction::new(speed.0, speed.1).expect("fraction"), range, click: Click::Written, ..ScheduleOptions::whole(rate(8_000))
        };
        let region = Range::within(0, time(cut.0, cut.2), time(cut.1, cut.2));
        let mut renderer = Renderer::new(rate(8_000));
        let mut out = vec![0.0; 1500];
        for act in acts {
            match act {
                0 => drop(renderer.play(Box::new(Schedule::build(&g, &options(Range::Whole))), Frame(seek))),
                1 => drop(renderer.swap(Box::new(Schedule::build(&g, &options(region))))),
                2 => drop(renderer.swap(Box::new(Schedule::build(&g, &options(Range::Section(0)))))),
                3 => renderer.stop(),
                _ => renderer.render(&mut out),
            }
            prop_assert!(renderer.frame().0 >= 0);
        }
        renderer.render(&mut out);
        prop_assert!(out.iter().all(|x| x.abs() <= LIMITER_CEILING));
    }
}
