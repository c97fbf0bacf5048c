//! Tests of user samples in schedules and in rendered sound, and of the accent depth.

use crate::rhythm::{Groove, Layer, Voice};
use crate::sound::tests::{groove, rate, wav};
use crate::sound::*;

const RATE: SampleRate = SampleRate::STUDIO;

/// A steady low tone that rises within its first milliseconds and would ring for so many seconds.
fn tone(seconds: f64) -> UserSample {
    let wave = |k: usize| (0.3 * (k as f64 / 480.0).min(1.0) * (k as f64 * 0.02).sin()) as f32;
    UserSample::new((0..RATE.frames(seconds).0 as usize).map(wave).collect(), RATE)
}

fn with_sound(groove: &Groove, name: &str, depth: Option<u8>) -> Groove {
    let layers = groove.layers().iter().map(|l| Layer { sound: Some(name.into()), depth, ..(**l).clone() });
    Groove::new("t", "", groove.sections().to_vec(), layers.collect()).expect("groove")
}

fn sounds(name: &str, sound: UserSample) -> UserSamples {
    let mut samples = UserSamples::default();
    samples.insert(name, sound);
    samples
}

/// The whole groove with these samples.
fn with(samples: &UserSamples) -> ScheduleOptions {
    ScheduleOptions { samples: samples.clone(), ..ScheduleOptions::whole(RATE) }
}

fn step(stereo: &[f32]) -> f32 {
    stereo.windows(3).map(|w| (w[2] - w[0]).abs()).fold(0.0, f32::max)
}

#[test]
fn a_layer_plays_its_sample_if_it_is_available() {
    let plain = groove(&[Voice::Rim], &[("4/4", "120", 1, None, "x...X...o...x...")]);
    let g = with_sound(&plain, "low.wav", None);
    let options = ScheduleOptions::whole(RATE);
    let sound = tone(0.1);
    let samples = sounds("low.wav", sound.clone());
    let schedule = Schedule::build(&g, &with(&samples));
    assert_eq!(schedule.sounds.len(), 1);
    assert_eq!(schedule.sounds[0][..], sound.samples[..]);
    // The levels of the voices' accents, 0, -4.4 and -14 dB, panned to the middle.
    let levels: Vec<f32> = schedule.notes.iter().map(|n| n.left * 2_f32.sqrt()).collect();
    for (found, wanted) in levels.iter().zip([0.6, 1.0, 0.2, 0.6]) {
        assert!((found - wanted).abs() < 1e-5, "{levels:?}");
    }
    // Missing, of another rate, or empty: the voice.
    let voice = Schedule::build(&plain, &options);
    let empty = UserSample::new(Vec::new(), RATE);
    let slow = UserSample::new(vec![0.5; 100], rate(44_100));
    for samples in
        [UserSamples::default(), sounds("other.wav", tone(0.1)), sounds("low.wav", empty), sounds("low.wav", slow)]
    {
        let schedule = Schedule::build(&g, &with(&samples));
        assert_eq!(schedule.sounds, voice.sounds);
        assert!(schedule.notes.iter().zip(&voice.notes).all(|(a, b)| (a.left, a.hold) == (b.left, b.hold)));
    }
    // Files have it too.
    let mut bytes = Vec::new();
    wav(&g, &with(&samples), Length::Passes(1), &mut bytes).expect("written");
    let mut other = Vec::new();
    wav(&plain, &ScheduleOptions::whole(RATE), Length::Passes(1), &mut other).expect("written");
    assert_ne!(bytes, other);
}

#[test]
fn the_accent_depth_sets_accents_and_ghosts_apart() {
    let decibels = |depth, sampled: bool, voice: Voice| {
        let g = with_sound(&groove(&[voice], &[("4/4", "120", 1, None, "x...X...o...S.s.")]), "a", depth);
        let samples = if sampled { sounds("a", tone(0.05)) } else { UserSamples::default() };
        let schedule = Schedule::build(&g, &with(&samples));
        let peaks: Vec<f32> = schedule
            .notes
            .iter()
            .map(|n| n.left * schedule.sounds[n.sound as usize].iter().fold(0.0_f32, |m, x| m.max(x.abs())))
            .collect();
        let db = |a: f32, b: f32| 20.0 * (a / b).log10();
        // Strong and soft are half as far from plain.
        assert!((db(peaks[3], peaks[0]) - db(peaks[1], peaks[0]) / 2.0).abs() < 0.5, "{voice} {depth:?}");
        assert!((db(peaks[0], peaks[4]) - db(peaks[0], peaks[2]) / 2.0).abs() < 0.5, "{voice} {depth:?}");
        (db(peaks[1], peaks[0]), db(peaks[0], peaks[2]))
    };
    for sampled in [true, false] {
        for voice in Voice::ALL {
            for depth in [0, 6, 18] {
                let (up, down) = decibels(Some(depth), sampled, *voice);
                // The peak of a synthesized sound is that of its level within half a decibel.
                assert!((up - f32::from(depth)).abs() < 0.5, "{voice} {depth}: {up}");
                assert!((down - f32::from(depth)).abs() < 0.5, "{voice} {depth}: {down}");
            }
            let (up, down) = decibels(None, sampled, *voice);
            assert!((up - 4.44).abs() < 0.5 && (down - 9.54).abs() < 0.5, "{voice}: {up} {down}");
        }
    }
}

#[test]
fn samples_that_are_not_finite_become_zero() {
    let sample = UserSample::new(vec![f32::NAN, 0.5, f32::INFINITY, -7.0], RATE);
    assert_eq!(sample.samples[..], [0.0, 0.5, 0.0, -1.0]);
    assert_ne!(sample.hash, tone(0.1).hash);
    assert_eq!(UserSample::new(vec![0.0, 0.5, 0.0, -1.0], RATE).source(), sample.source());
}

/// A change of a renderer with its name, and whether silence follows.
type Act<'a> = (&'a str, &'a dyn Fn(&mut Renderer), bool);

#[test]
fn stops_swaps_and_seeks_within_a_long_sound_do_not_click() {
    let plain = groove(&[Voice::Rim], &[("4/4", "60", 1, None, "x...............")]);
    let g = with_sound(&plain, "low.wav", None);
    let samples = sounds("low.wav", tone(3.0));
    let rest = groove(&[Voice::Rim], &[("4/4", "60", 1, None, "................")]);
    let swap = |r: &mut Renderer, g: &Groove| {
        drop(r.swap(Box::new(Schedule::build(g, &ScheduleOptions::whole(RATE)))));
    };
    let acts: [Act<'_>; 3] = [
        ("stop", &|r| r.stop(), true),
        ("the sample removed", &|r| swap(r, &plain), false),
        ("the attack removed", &|r| swap(r, &rest), false),
    ];
    for (name, act, silent) in acts {
        let mut renderer = Renderer::new(RATE);
        renderer.play(Box::new(Schedule::build(&g, &with(&samples))), Frame(0));
        let mut out = vec![0.0; 2 * 96_000];
        renderer.render(&mut out[..2 * 48_000]);
        act(&mut renderer);
        renderer.render(&mut out[2 * 48_000..]);
        let before = step(&out[2 * 40_000..2 * 48_000]);
        let after = step(&out[2 * 47_990..2 * 52_000]);
        assert!(before > 0.001 && after < 1.5 * before, "{name}: {after} after {before}");
        // What rings at a swap continues, and is silent after a stop.
        assert_eq!(out[2 * 60_000..].iter().all(|x| *x == 0.0), silent, "{name}");
    }
}

#[test]
fn a_crowd_of_long_sounds_is_thinned_without_a_click_and_the_same_for_every_block() {
    // At 300 a sixteenth lasts 50 ms: 400 sounds of 20 s would ring at once.
    let g = with_sound(&groove(&[Voice::Rim], &[("4/4", "300", 1, None, "xxxxxxxxxxxxxxxx")]), "low.wav", None);
    let soft = |k: usize| (0.004 * (k as f64 / 480.0).min(1.0) * (k as f64 * 0.02).sin()) as f32;
    let samples = sounds("low.wav", UserSample::new((0..960_000).map(soft).collect(), RATE));
    let rendered = |block: usize| {
        let mut renderer = Renderer::new(RATE);
        renderer.play(Box::new(Schedule::build(&g, &with(&samples))), Frame(0));
        let mut out = vec![0.0; 2 * 48_000 * 14];
        out.chunks_mut(2 * block).for_each(|b| renderer.render(b));
        out
    };
    let whole = rendered(512);
    assert!(whole == rendered(77), "blocks differ");
    let early = step(&whole[2 * 48_000 * 9..2 * 48_000 * 11]);
    let late = step(&whole[2 * 48_000 * 12..]);
    assert!(late < 1.5 * early, "{late} after {early}");
    assert!(whole.iter().all(|x| x.abs() <= LIMITER_CEILING));
}

#[test]
fn a_sample_is_held_as_the_voice_of_its_layer() {
    let held = |voice| {
        let g = with_sound(&groove(&[voice], &[("4/4", "120", 1, None, "x-..............")]), "a", None);
        Schedule::build(&g, &with(&sounds("a", tone(1.0)))).notes[0].hold
    };
    assert_eq!(held(Voice::Pluck), 12_000);
    assert_eq!(held(Voice::Rim), u32::MAX);
}

#[test]
fn some_voice_is_louder_than_any_user_sample() {
    // The recording module limits a user sample to 0.35 RMS over 50 ms.
    let loudest = |voice| {
        let g = groove(&[voice], &[("4/4", "120", 1, None, "X---------------")]);
        let schedule = Schedule::build(&g, &ScheduleOptions::whole(RATE));
        let squares: Vec<f64> = schedule.sounds[0].iter().map(|x| f64::from(*x).powi(2)).collect();
        let runs = squares.windows(2400.min(squares.len()));
        (runs.map(|w| w.iter().sum::<f64>()).fold(0.0, f64::max) / 2400.0).sqrt()
    };
    let most = Voice::ALL.iter().map(|v| loudest(*v)).fold(0.0, f64::max);
    assert!((0.45..0.52).contains(&most), "{most}");
}
