//! Tests of schedule, render, file and feed against plain exact arithmetic. They must not know a device.

use super::clock::Point;
use super::*;
use crate::rhythm::{Fraction, Groove, Layer, Meter, Part, Section, Swing, Tempo, Time, Voice, picture};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::ToPrimitive;
use proptest::prelude::*;

/// Meter, tempo in quarters, times through, swing, drawing at four cells per beat.
pub(super) type Row<'a> = (&'a str, &'a str, u16, Option<&'a str>, &'a str);

fn section(k: usize, row: &Row) -> Section {
    let &(meter, bpm, times, swing, drawing) = row;
    let tempo = Tempo::new(Fraction::parse(bpm).expect("tempo"), time(1, 4)).expect("tempo");
    Section {
        name: format!("S{k}"),
        meter: Meter::parse(meter).expect("meter"),
        tempo,
        bars: drawing.matches('|').count() as u16 + 1,
        times,
        swing: swing.map(|s| Swing::parse(s).expect("swing")),
    }
}

pub(super) fn groove(voices: &[Voice], rows: &[Row]) -> Groove {
    let sections: Vec<Section> = rows.iter().enumerate().map(|(k, row)| section(k, row)).collect();
    let parts = || -> Vec<Part> {
        let parts = rows.iter().zip(&sections);
        parts.map(|(r, s)| picture::parse_bars(r.4, &s.meter, usize::from(s.bars), 4).expect("drawing")).collect()
    };
    let layers = voices.iter().enumerate().map(|(k, &v)| Layer::new(&format!("l{k}"), v, 4, parts())).collect();
    Groove::new("t", "", sections, layers).expect("groove")
}

pub(super) fn time(n: i64, d: i64) -> Time {
    Time::new(n, d).expect("time")
}

pub(super) fn rate(hertz: u32) -> SampleRate {
    SampleRate::new(hertz).expect("rate")
}

pub(super) fn big(n: i64, d: i64) -> BigRational {
    BigRational::new(n.into(), d.into())
}

/// Offsets of the attacks of layer 0 and the length of the loop in frames, added up plainly.
pub(super) fn reference(groove: &Groove, ask: &Ask) -> (Vec<BigRational>, BigRational) {
    let per_whole = |s: &Section| {
        let (bpm, unit) = (s.tempo.bpm(), s.tempo.unit());
        big(60 * i64::from(ask.rate.hertz()), 1)
            / (big(bpm.numer(), bpm.denom())
                * big(unit.numer(), unit.denom())
                * big(ask.speed.numer(), ask.speed.denom()))
    };
    let events = groove.events(0);
    let (mut offsets, mut start) = (Vec::new(), big(0, 1));
    for (s, section) in groove.sections().iter().enumerate() {
        for pass in 0..usize::from(section.times) {
            for event in events.iter().filter(|e| e.section == s && e.pass == pass) {
                offsets.push(&start + per_whole(section) * big(event.offset.numer(), event.offset.denom()));
            }
            start += per_whole(section) * big(section.length().numer(), section.length().denom());
        }
    }
    (offsets, start)
}

pub(super) fn rounded(x: &BigRational) -> i64 {
    (x + big(1, 2)).floor().to_integer().to_i64().expect("small")
}

/// Turn that is under way after an hour.
fn hour(length: &BigRational, rate: SampleRate) -> u64 {
    (big(3600 * i64::from(rate.hertz()), 1) / length).ceil().to_integer().to_u64().expect("small")
}

/// The grooves whose placement is checked: odd tempos, tuplets, several tempos, swing, polymeter.
pub(super) fn hard() -> Vec<Groove> {
    let cycle = {
        let row: Row = ("4/4", "137.3", 1, None, "................");
        let part = Part::Cycled { cells: picture::parse_cycle("x.x..").expect("cycle"), start: 0 };
        let layer = Layer::new("l", Voice::Rim, 4, vec![part]);
        Groove::new("t", "", vec![section(0, &row)], vec![layer]).expect("groove")
    };
    let one = |row: Row| groove(&[Voice::Rim], &[row]);
    vec![
        one(("4/4", "137.3", 1, None, "x..x..x.x..x..x.")),
        one(("4/4", "400/3", 1, None, "{5: xx.xx}x..x{7/2: x.xx.xx}")),
        one(("3+2+2/8", "101.7", 2, Some("2:1"), "x.xxx.x...x.xxx.x...x.xxxxxx")),
        groove(
            &[Voice::Rim],
            &[
                ("4/4", "61.37", 3, Some("7:4"), "xx..x.xxx..xx.xx"),
                ("6/8", "97.1", 2, None, "{3/2: xxx}"),
                ("5/4", "200/7", 1, None, "xx..{11: x..x.x.x.x.}{3: xxx}xx..x..."),
            ],
        ),
        cycle,
    ]
}

#[test]
fn every_attack_stands_on_the_rounded_exact_frame_also_after_an_hour() {
    for groove in hard() {
        for hertz in [44_100, 48_000, 96_000] {
            for speed in [Fraction::ONE, Fraction::new(1, 5).expect("speed"), Fraction::new(97, 100).expect("speed")] {
                let ask = Ask { speed, ..Ask::whole(rate(hertz)) };
                let schedule = Schedule::build(&groove, &ask);
                let (offsets, length) = reference(&groove, &ask);
                assert_eq!(schedule.len(), offsets.len());
                let late = hour(&length, ask.rate);
                for turn in [0, 1, 2, 1000, late, late + 1] {
                    let start = &length * BigInt::from(turn);
                    assert_eq!(schedule.turn_start(turn).0, rounded(&start));
                    for (k, offset) in offsets.iter().enumerate() {
                        let found = schedule.onset(turn, k).expect("there");
                        assert_eq!(found.0, rounded(&(&start + offset)), "{hertz} Hz, turn {turn}, attack {k}");
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
    // At this tempo a sixteenth lasts 109 ms, longer than the knock, so each stands in silence.
    let groove = groove(&[Voice::Rim], &[("4/4", "137.3", 1, None, "xxx.x.xx.xx.xxxx")]);
    for hertz in [44_100, 48_000] {
        let ask = Ask::whole(rate(hertz));
        let (offsets, length) = reference(&groove, &ask);
        for first in [0, hour(&length, ask.rate)] {
            let mut renderer = Renderer::new(ask.rate);
            renderer.play(Box::new(Schedule::build(&groove, &ask)), Frame(0));
            renderer.skip_to_turn(first);
            let origin = rounded(&(&length * BigInt::from(first)));
            let mut out = vec![0.0; 2 * (length.to_f64().expect("small") as usize * 3)];
            renderer.render(&mut out[..2 * LATENCY]);
            renderer.render(&mut out);
            let expected: Vec<i64> = (0..4)
                .flat_map(|turn| offsets.iter().map(move |o| (turn, o)))
                .map(|(turn, o)| rounded(&(&length * BigInt::from(first + turn) + o)) - origin)
                .filter(|&f| f < out.len() as i64 / 2)
                .collect();
            assert_eq!(onsets(&out), expected, "{hertz} Hz from turn {first}");
        }
    }
}

fn rendered(groove: &Groove, ask: &Ask, db: f32, frames: usize, block: usize) -> Vec<f32> {
    let mut renderer = Renderer::new(ask.rate);
    renderer.set_gain(Gain::from_db(db));
    renderer.play(Box::new(Schedule::build(groove, ask)), Frame(0));
    let mut out = vec![0.0; 2 * frames];
    for part in out.chunks_mut(2 * block) {
        renderer.render(part);
    }
    out
}

/// All voices at once over a bar.
fn full() -> Groove {
    groove(Voice::ALL, &[("4/4", "137.3", 1, Some("3:2"), "x.Xx-.ox{3: xXo}xxxx")])
}

#[test]
fn the_result_does_not_depend_on_the_block_size() {
    let ask = Ask { click: Click::Written, ..Ask::whole(SampleRate::STUDIO) };
    for db in [MASTER_DB, 20.0] {
        let whole = rendered(&full(), &ask, db, 100_000, 100_000);
        for block in [1, 7, 64, 255, 1024] {
            assert!(rendered(&full(), &ask, db, 100_000, block) == whole, "block of {block} at {db} dB");
        }
    }
}

#[test]
fn a_crowd_of_sounds_does_not_depend_on_the_block_size_either() {
    // 20 layers of open hats at 1000 beats per minute: far more than may ring at once.
    let groove = groove(&[Voice::OpenHat; 20], &[("4/4", "1000", 1, None, "xxxxxxxxxxxxxxxx")]);
    let ask = Ask::whole(SampleRate::STUDIO);
    let whole = rendered(&groove, &ask, -40.0, 30_000, 30_000);
    for block in [3, 100, 1024] {
        assert!(rendered(&groove, &ask, -40.0, 30_000, block) == whole, "block of {block}");
    }
}

#[test]
fn a_mix_is_quiet_and_never_above_the_ceiling() {
    let db = |x: f32| 20.0 * x.log10();
    let rms = |s: &[f32]| (s.iter().map(|x| x * x).sum::<f32>() / s.len() as f32).sqrt();
    let peak = |s: &[f32]| s.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    let ask = Ask::whole(SampleRate::STUDIO);
    let band = [Voice::Kick, Voice::Snare, Voice::Hat, Voice::Bass, Voice::Pluck];
    let parts = ["x.....x.x.......", "....X.......X..o", "xoxoxoxoxoxoxoxo", "x--x--x-x--x--x-", "..x..x.x..x.x..x"];
    let meter = Meter::parse("4/4").expect("meter");
    let layers = band.iter().zip(parts).map(|(&voice, drawing)| {
        Layer::new(voice.name(), voice, 4, vec![picture::parse_bars(drawing, &meter, 1, 4).expect("drawing")])
    });
    let average =
        Groove::new("t", "", vec![section(0, &("4/4", "110", 1, None, ""))], layers.collect()).expect("groove");
    let level = db(rms(&rendered(&average, &ask, MASTER_DB, 480_000, 1024)));
    assert!((-25.0..=-18.0).contains(&level), "{level} dBFS");
    for gain in [MASTER_DB, 0.0, 12.0, 24.0] {
        let loud = rendered(&full(), &ask, gain, 200_000, 1024);
        assert!(db(peak(&loud)) <= -1.499, "{} dBFS at {gain} dB", db(peak(&loud)));
    }
}

#[test]
fn an_edit_of_a_later_cell_is_heard_as_if_it_had_always_been_there() {
    let ask = Ask::whole(SampleRate::STUDIO);
    let voices = [Voice::Bass, Voice::OpenHat, Voice::Kick];
    let before = groove(&voices, &[("4/4", "137.3", 1, None, "x--xx-x.x--.....")]);
    // The triplet changes the common denominator as well.
    let after = groove(&voices, &[("4/4", "137.3", 1, None, "x--xx-x.x--.{3: xxx}")]);
    let frames = 300_000;
    let whole = rendered(&after, &ask, MASTER_DB, frames, 1024);
    for turn in [0_u64, 1] {
        let mut renderer = Renderer::new(ask.rate);
        let schedule = Schedule::build(&before, &ask);
        let at = schedule.turn_start(turn).0 as usize + 31_111;
        renderer.play(Box::new(schedule), Frame(0));
        let mut out = vec![0.0; 2 * frames];
        renderer.render(&mut out[..2 * at]);
        let frame = renderer.frame();
        assert!(renderer.swap(Box::new(Schedule::build(&after, &ask)), Keep::Place).is_some());
        assert_eq!(renderer.frame(), frame);
        assert_eq!(renderer.loops(), turn);
        renderer.render(&mut out[2 * at..]);
        // Turn 0 sounds without the edit if that comes in turn 1; what rang from there is gone a second later.
        let tail = if turn == 0 { 0 } else { 2 * (at + 48_000) };
        assert!(out[tail..] == whole[tail..], "swapped in turn {turn}");
    }
}

#[test]
fn a_new_tempo_keeps_the_place_and_what_rings() {
    let voices = [Voice::Bell];
    let rows =
        |bpm| -> [Row; 2] { [("4/4", bpm, 2, None, "x---------------"), ("3/4", "90", 1, None, "x-----------")] };
    let ask = Ask::whole(SampleRate::STUDIO);
    let (slow, fast) = (groove(&voices, &rows("77.7")), groove(&voices, &rows("133.1")));
    let mut renderer = Renderer::new(ask.rate);
    renderer.play(Box::new(Schedule::build(&slow, &ask)), Frame(0));
    let mut out = vec![0.0; 2 * 200_000];
    renderer.render(&mut out);
    let place = Schedule::build(&slow, &ask).position(renderer.frame());
    renderer.swap(Box::new(Schedule::build(&fast, &ask)), Keep::Place);
    let now = Schedule::build(&fast, &ask).position(renderer.frame());
    assert_eq!((place.section, place.pass), (now.section, now.pass));
    assert!((place.wholes - now.wholes).abs() < 1e-4, "{place:?} {now:?}");
    assert_eq!(place.pass, 1);
    assert!(!renderer.is_silent());
    let mut next = [0.0; 2 * 400];
    renderer.render(&mut next);
    let joined: Vec<f32> = out[out.len() - 800..].iter().chain(&next).copied().collect();
    let step = joined.chunks(2).collect::<Vec<_>>().windows(2).map(|w| (w[1][0] - w[0][0]).abs()).fold(0.0, f32::max);
    assert!(step < 0.02, "a jump of {step}");
    let half = Schedule::build(&slow, &ask).map().length().0 / 2;
    renderer.play(Box::new(Schedule::build(&slow, &ask)), Frame(half));
    renderer.swap(Box::new(Schedule::build(&fast, &ask)), Keep::Fraction);
    assert!((renderer.frame().0 - Schedule::build(&fast, &ask).map().length().0 / 2).abs() <= 1);
}

#[test]
fn stops_seeks_and_gain_changes_do_not_click() {
    let groove = groove(&[Voice::Bass, Voice::Bell], &[("4/4", "60", 1, None, "X---------------")]);
    let ask = Ask::whole(SampleRate::STUDIO);
    let step =
        |s: &[f32]| s.chunks(2).collect::<Vec<_>>().windows(2).map(|w| (w[1][0] - w[0][0]).abs()).fold(0.0, f32::max);
    let acts: [fn(&mut Renderer); 3] = [Renderer::stop, |r| r.seek(Frame(100_000)), |r| r.set_gain(Gain::SILENT)];
    for (k, act) in acts.into_iter().enumerate() {
        let mut renderer = Renderer::new(ask.rate);
        renderer.play(Box::new(Schedule::build(&groove, &ask)), Frame(0));
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
    let ask = Ask::whole(SampleRate::STUDIO);
    for (voice, rings) in [(Voice::Pluck, false), (Voice::Bass, false), (Voice::Bell, false), (Voice::OpenHat, true)] {
        let groove = groove(&[voice], &[("4/4", "120", 1, None, "x-..............")]);
        let out = rendered(&groove, &ask, MASTER_DB, 48_000, 512);
        // Two sixteenths at 120 are 12000 frames; damping takes 8 ms more.
        let after = &out[2 * (12_000 + 384 + LATENCY)..2 * 14_000];
        assert_eq!(after.iter().any(|x| *x != 0.0), rings, "{voice}");
        assert!(out[2 * 11_000..2 * 12_000].iter().any(|x| *x != 0.0), "{voice}");
    }
}

#[test]
fn only_heard_layers_sound_and_the_range_is_cut_out() {
    let g = groove(
        &[Voice::Rim, Voice::Wood],
        &[("4/4", "120", 2, None, "x.x.x.x.x.x.x.x."), ("3/4", "90", 1, None, "x...x...x...")],
    );
    let ask = Ask::whole(SampleRate::STUDIO);
    assert_eq!(Schedule::build(&g, &ask).len(), 2 * (16 + 3));
    let layers = |mute, solo| {
        let mut layers: Vec<Layer> = g.layers().iter().map(|l| (**l).clone()).collect();
        (layers[0].mute, layers[1].solo) = (mute, solo);
        Groove::new("t", "", g.sections().to_vec(), layers).expect("groove")
    };
    assert_eq!(Schedule::build(&layers(true, false), &ask).len(), 19);
    assert_eq!(Schedule::build(&layers(false, true), &ask).len(), 19);
    assert!(Schedule::build(&layers(true, true), &ask).len() == 19);

    let one = Schedule::build(&g, &Ask { range: Range::Section(1), click: Click::Written, ..ask.clone() });
    assert_eq!((one.len(), one.map().length()), (9, Frame(96_000)));
    let region = Range::Region { section: 0, from: time(1, 8), to: time(9, 16) };
    let part = Schedule::build(&g, &Ask { range: region, ..ask.clone() });
    assert_eq!((part.len(), part.map().length()), (8, Frame(42_000)));
    assert_eq!(part.onset(0, 0), Some(Frame(0)));
    assert_eq!(part.position(Frame(12_000)).wholes, 0.25);
    for range in [
        Range::Section(2),
        Range::Region { section: 9, from: Time::ZERO, to: Time::WHOLE },
        Range::Region { section: 0, from: time(1, 2), to: time(1, 2) },
    ] {
        let silent = Schedule::build(&g, &Ask { range, ..ask.clone() });
        assert!(silent.is_empty());
        let mut renderer = Renderer::new(ask.rate);
        renderer.play(Box::new(silent), Frame(5));
        renderer.render(&mut [0.0; 2000]);
    }
}

#[test]
fn clicks_of_hearings_sound_at_their_moments() {
    let g = groove(
        &[Voice::Rim],
        &[("4/4", "120", 1, None, "................"), ("4/4", "60", 2, None, "................")],
    );
    let at = |section, pass, offset| Moment::At { section, pass, offset };
    let lines = vec![
        ClickLine {
            moments: vec![Moment::Seconds(2.5), Moment::Seconds(f64::NAN), Moment::Seconds(1e300)],
            tone: 0,
            side: -100,
        },
        ClickLine {
            moments: vec![at(1, 1, time(1, 3)), at(1, 0, time(1, 3)), at(7, 0, Time::ZERO)],
            tone: 200,
            side: 100,
        },
    ];
    let ask = Ask { lines, ..Ask::whole(SampleRate::STUDIO) };
    let frames = |s: &Schedule| (0..s.len()).filter_map(|k| s.onset(0, k)).map(|f| f.0).collect::<Vec<_>>();
    assert_eq!(frames(&Schedule::build(&g, &ask)), [120_000, 96_000 + 64_000, 96_000 + 192_000 + 64_000]);
    let half = Ask { speed: Fraction::new(1, 2).expect("speed"), range: Range::Section(1), ..ask };
    assert_eq!(frames(&Schedule::build(&g, &half)), [48_000, 128_000]);
    let out = rendered(&g, &Ask { speed: Fraction::ONE, ..half }, MASTER_DB, 40_000, 512);
    assert!(out.chunks(2).any(|f| f[0] != 0.0) && out.chunks(2).all(|f| f[1].abs() < 1e-6), "left only");
}

#[test]
fn places_and_frames_map_to_each_other() {
    for groove in hard() {
        let schedule = Schedule::build(&groove, &Ask::whole(rate(44_100)));
        let length = schedule.map().length().0;
        for k in 0..500 {
            let frame = Frame(k * (length - 1) / 500);
            let place = schedule.position(frame);
            let back = schedule.map().frame(place).expect("in the loop");
            assert!((back.0 - frame.0).abs() <= 1, "{frame:?} {place:?} {back:?}");
        }
        assert_eq!(schedule.at_fraction(0.0).wholes, 0.0);
        assert_eq!(schedule.at_fraction(f64::NAN).section, 0);
        assert_eq!(schedule.at_fraction(1.0).section, groove.sections().len() - 1);
        assert_eq!(schedule.map().frame(Position { section: 99, pass: 0, wholes: 0.0 }), None);
    }
}

#[test]
fn a_file_has_the_header_of_the_standard_and_the_samples_of_the_renderer() {
    let ask = Ask::whole(rate(44_100));
    let mut bytes = Vec::new();
    let frames = offline(&full(), &ask, Length::Loops(2), &mut bytes).expect("written");
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
    let loops = Schedule::build(&full(), &ask).turn_start(2).0 as usize;
    let direct = rendered(&full(), &ask, MASTER_DB, loops + LATENCY, 333);
    // The limiter of the one that goes on already looks at the next downbeat.
    for k in 0..2 * (loops - LATENCY) {
        assert!((sample(k) - direct[k + 2 * LATENCY]).abs() < 1e-6, "sample {k}");
    }
    // The last sounds ring out and the file ends in silence.
    assert!((2 * loops..2 * loops + 2000).any(|k| sample(k) != 0.0));
    assert!((bytes.len() / 3 - 14 - 8..2 * frames.0 as usize).all(|k| sample(k).abs() < 1e-3));
    let mut cut = Vec::new();
    assert_eq!(offline(&full(), &ask, Length::Seconds(0.5), &mut cut).expect("written"), Frame(22_050));
    assert_eq!(&cut[cut.len() - 6..], &[0; 6]);
    let error = offline(&full(), &ask, Length::Loops(u32::MAX), &mut Vec::new()).expect_err("too long");
    assert_eq!(error.to_string(), "the sound is longer than a WAV file can hold (4 GiB)");
}

#[test]
fn unheard_sections_do_not_spoil_the_common_denominator() {
    let rows: Vec<(String, &str)> =
        (0..40).map(|k| (format!("{}.{}", 61 + k, 1009 + 2 * k), "x...x...x...x...")).collect();
    let rows: Vec<Row> = rows.iter().map(|(bpm, d)| ("4/4", bpm.as_str(), 1, None, *d)).collect();
    let g = groove(&[Voice::Rim], &rows);
    let ask = Ask::whole(rate(44_100));
    assert_eq!(Schedule::build(&g, &ask).denom(), 1 << 120);
    assert!(Schedule::build(&g, &Ask { range: Range::Section(3), ..ask.clone() }).denom() < 1 << 40);
    // Even in fixed point the rounded frames are those of the exact times.
    let (offsets, length) = reference(&g, &ask);
    let schedule = Schedule::build(&g, &ask);
    for turn in [0, 1, 500] {
        for (k, offset) in offsets.iter().enumerate() {
            let exact = rounded(&(&length * BigInt::from(turn) + offset));
            assert_eq!(schedule.onset(turn, k), Some(Frame(exact)));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn any_tempo_speed_range_and_command_is_taken(
        bpm in (5_000_i64..=1_000_000, 1_i64..=9973), unit in (1_i64..10_000, 1_i64..10_000), speed in (-5_i64..100, 1_i64..30),
        cut in (0_i64..40, 0_i64..40, 1_i64..40), seek in any::<i64>(), acts in prop::collection::vec(0_u8..6, 0..12),
    ) {
        let tempo = Fraction::new(bpm.0, 1000).and_then(|t| Tempo::new(t, time(unit.0, unit.1)).ok()).expect("tempo");
        let mut sections = vec![section(0, &("4/4", "120", 3, Some("3:1"), "x-xox-X.{5: xxxxx}x.xx"))];
        sections[0].tempo = tempo;
        let g = groove(&[Voice::Hat, Voice::Bass], &[("4/4", "120", 3, Some("3:1"), "x-xox-X.{5: xxxxx}x.xx")]);
        let g = Groove::new("t", "", sections, g.layers().iter().map(|l| (**l).clone()).collect()).expect("groove");
        let ask = |range| Ask {
            speed: Fraction::new(speed.0, speed.1).expect("fraction"), range, click: Click::Written, ..Ask::whole(rate(8_000))
        };
        let region = Range::Region { section: 0, from: time(cut.0, cut.2), to: time(cut.1, cut.2) };
        let mut renderer = Renderer::new(rate(8_000));
        let mut out = vec![0.0; 1500];
        for act in acts {
            match act {
                0 => drop(renderer.play(Box::new(Schedule::build(&g, &ask(Range::Whole))), Frame(seek))),
                1 => drop(renderer.swap(Box::new(Schedule::build(&g, &ask(region))), Keep::Place)),
                2 => drop(renderer.swap(Box::new(Schedule::build(&g, &ask(Range::Section(0)))), Keep::Fraction)),
                3 => renderer.seek(Frame(seek)),
                4 => renderer.stop(),
                _ => renderer.render(&mut out),
            }
            prop_assert!(renderer.frame().0 >= 0);
        }
        renderer.render(&mut out);
        prop_assert!(out.iter().all(|x| x.abs() <= CEILING));
    }
}

#[test]
fn points_order_as_numbers() {
    assert!(Point { frame: 1, part: 5 } < Point { frame: 2, part: 0 });
    assert!(Point { frame: -1, part: 5 } < Point::ZERO);
}

#[cfg(feature = "audio")]
mod ends {
    use super::*;

    #[test]
    fn commands_reach_the_feed_and_old_schedules_come_back() {
        let (mut hand, mut feed) = feed(SampleRate::STUDIO);
        let build = || Schedule::build(&full(), &Ask::whole(SampleRate::STUDIO));
        assert_eq!(hand.playhead(Frame(0)), None);
        hand.play(build(), Frame(0));
        let map = std::sync::Arc::downgrade(build().map());
        assert!(map.upgrade().is_none());
        assert!(feed.by_ref().take(96_000).filter(|x| *x != 0.0).count() > 10_000);
        let head = hand.playhead(Frame(0)).expect("plays");
        assert_eq!((head.section, head.loops), (0, 0));
        // One second at 137.3 quarters a minute is 0.572 whole notes; the clock of the test runs on meanwhile.
        assert!(head.wholes > 0.56, "{head:?}");
        // Far more swaps than the ring holds while nobody listens: the newest wins, nothing is lost or blocked.
        for _ in 0..500 {
            hand.swap(build(), Keep::Place);
        }
        hand.stop();
        for _ in 0..20 {
            hand.tick();
            feed.by_ref().take(2048).for_each(drop);
        }
        assert!(!hand.is_playing());
        assert_eq!(hand.playhead(Frame(0)), None);
        assert!(feed.by_ref().take(4096).all(|x| x == 0.0));
        hand.play(build(), Frame(0));
        feed.by_ref().take(256).for_each(drop);
        hand.seek(Position { section: 0, pass: 0, wholes: 0.5 });
        feed.by_ref().take(256).for_each(drop);
        assert!(hand.playhead(Frame(0)).is_some_and(|p| p.wholes >= 0.49));
        assert!(hand.playhead(Frame(40_000)).is_some_and(|p| p.wholes < 0.2));
    }

    #[test]
    fn an_instant_before_is_heard_as_much_before() {
        let (mut hand, mut feed) = feed(SampleRate::STUDIO);
        hand.play(Schedule::build(&full(), &Ask::whole(SampleRate::STUDIO)), Frame(0));
        let before = std::time::Instant::now();
        feed.by_ref().take(192_000).for_each(drop);
        let wholes = |hand: &mut Hand, ms: u64, ahead: i64| {
            let at = before + std::time::Duration::from_millis(200 - ms);
            hand.heard_at(Frame(ahead), at).expect("plays").wholes
        };
        let seconds = |wholes: f64| wholes * 240.0 / 137.3;
        let (last, first) = (wholes(&mut hand, 0, 40_000), wholes(&mut hand, 150, 40_000));
        assert!((seconds(last - first) - 0.15).abs() < 2.0 / 48_000.0, "{first} {last}");
        let ahead = wholes(&mut hand, 0, 44_800);
        assert!((seconds(last - ahead) - 0.1).abs() < 2.0 / 48_000.0, "{ahead} {last}");
    }

    #[test]
    fn the_feed_is_the_renderer_sample_by_sample() {
        let ask = Ask::whole(SampleRate::STUDIO);
        let (mut hand, feed) = feed(ask.rate);
        hand.play(Schedule::build(&full(), &ask), Frame(0));
        let heard: Vec<f32> = feed.take(2 * 50_000).collect();
        assert!(heard == rendered(&full(), &ask, MASTER_DB, 50_000, 77));
    }

    #[test]
    fn without_a_device_there_is_one_line() {
        let error = NoSound::new("first\nsecond");
        assert_eq!(error.to_string(), "no sound: first");
    }
}
