//! Tests of legs that follow each other, and of the user's own sounds, as they sound far.

use super::*;
use crate::rhythm::{Edit, Fraction};
use crate::sound::take::{CountIn, Take};
use crate::sound::{Click, Range, UserSample, UserSamples};

/// The samples from the first one that sounds.
fn sounding(samples: &[f32]) -> &[f32] {
    &samples[samples.iter().position(|x| *x != 0.0).expect("it sounds")..]
}

/// What sounds here when these legs follow each other.
fn here(legs: Vec<Segment>, frames: usize) -> Vec<f32> {
    let (mut handle, mut feed) = render_channel(SampleRate::STUDIO);
    for (k, leg) in legs.into_iter().enumerate() {
        if k == 0 {
            handle.start(leg, Frame(0))
        } else {
            handle.queue(leg)
        };
    }
    feed.by_ref().take(2 * frames).collect()
}

/// A take of the riff, so many times through.
fn take(times: u32, silences: &[u32], speed: Fraction) -> Take {
    Take {
        name: String::new(),
        note: String::new(),
        layers: true,
        click: Click::Written,
        click_db: 0.0,
        lines: Vec::new(),
        speed,
        range: Range::Whole,
        times,
        count_in: CountIn::Bar,
        muted_passes: silences.to_vec(),
    }
}

#[test]
fn a_sequence_with_a_count_in_and_a_hushed_turn_sounds_far_as_here() {
    let groove = riff("X..x{5: xoxxx}x..x..x.");
    let (first, second) = (take(3, &[1], Fraction::whole(2)), take(1, &[], Fraction::new(9, 5).expect("speed")));
    let legs = || {
        let count = first.count_in_schedule(&groove, SampleRate::STUDIO).expect("a count-in");
        vec![
            Segment::new(count).passes(1),
            first.segment(&groove, SampleRate::STUDIO, &UserSamples::default()),
            second.segment(&groove, SampleRate::STUDIO, &UserSamples::default()).stop_at_end(),
        ]
    };
    let stage = Stage::open();
    let mut far = stage.editor();
    let mut ids = Vec::new();
    for leg in legs() {
        ids.push(if ids.is_empty() { far.start(leg, None) } else { far.queue(leg) });
    }
    // A count-in, three times through, one time through, as the playhead tells them.
    let mut told: Vec<(u64, u64)> = Vec::new();
    wait("the end", || {
        assert_eq!(far.tick(), None);
        if let Some(head) = far.playhead().map(|h| (h.segment, h.loop_pass))
            && told.last() != Some(&head)
        {
            told.push(head);
        }
        far.has_ended()
    });
    assert_eq!(told, [(ids[0], 0), (ids[1], 0), (ids[1], 1), (ids[1], 2), (ids[2], 0)]);
    let there = stage.tape.samples.lock().expect("tape").clone();
    let here = here(legs(), there.len() / 2);
    let (here, there) = (sounding(&here), sounding(&there));
    let n = here.len().min(there.len());
    // Two bars of 240/137.3 s at most double speed, then three and one.
    assert!(n > 2 * 48_000 * 4, "{n} samples to compare");
    assert!(here[..n] == there[..n], "they differ");
    // The hushed turn makes a difference.
    let loud = self::here(
        vec![
            Segment::new(first.count_in_schedule(&groove, SampleRate::STUDIO).expect("a count-in")).passes(1),
            take(3, &[], Fraction::whole(2)).segment(&groove, SampleRate::STUDIO, &UserSamples::default()),
        ],
        n / 2,
    );
    assert!(sounding(&loud)[..n / 2] != here[..n / 2]);
}

#[test]
fn a_leg_that_comes_in_between_follows_at_the_end_of_the_time_through() {
    let stage = Stage::open();
    let mut far = stage.editor();
    let groove = riff("x...x...x...x...");
    let leg =
        |times| take(times, &[], Fraction::whole(2)).segment(&groove, SampleRate::STUDIO, &UserSamples::default());
    let first = far.start(leg(50), None);
    let waits = far.queue(leg(50));
    wait("the first", || far.playhead().is_some_and(|h| h.segment == first));
    let then = far.switch_to(leg(2));
    let mut seen = Vec::new();
    wait("the one in between", || {
        let head = far.playhead().map_or(0, |h| h.segment);
        seen.push(head);
        head == then
    });
    assert!(!seen.contains(&waits));
    // An edit of what is played keeps its number.
    far.replace(then, leg(2).stop_at_end());
    wait("the end", || far.has_ended());
}

#[test]
fn so_many_legs_wait_and_no_more() {
    let stage = Stage::open();
    let mut far = stage.editor();
    let groove = riff("x...x...x...x...");
    let leg = || take(1, &[], Fraction::whole(2)).segment(&groove, SampleRate::STUDIO, &UserSamples::default());
    far.start(leg(), None);
    let mut sent = 1;
    while far.has_room() {
        far.queue(leg());
        sent += 1;
    }
    assert_eq!(sent, crate::sound::MAX_QUEUED);
    wait("room", || far.has_room());
    assert_eq!(far.tick(), None, "none was refused");
}

#[test]
fn a_leg_that_comes_in_between_needs_no_room() {
    let stage = Stage::open();
    let mut far = stage.editor();
    let groove = riff("x...x...x...x...");
    let leg =
        |times| take(times, &[], Fraction::whole(2)).segment(&groove, SampleRate::STUDIO, &UserSamples::default());
    let first = far.start(leg(50), None);
    wait("the first", || far.playhead().is_some_and(|h| h.segment == first));
    let mut waits = 0;
    while far.has_room() {
        far.queue(leg(50));
        waits += 1;
    }
    assert_eq!(waits, crate::sound::MAX_QUEUED);
    // Another one in its place, and one more after that where there is room again.
    far.switch_to(leg(1));
    let then = far.switch_to(leg(1));
    wait("the one in between", || {
        assert_eq!(far.tick(), None);
        far.playhead().is_some_and(|h| h.segment == then)
    });
    wait("room", || far.has_room());
    let last = far.queue(leg(1).stop_at_end());
    wait("the end", || {
        assert_eq!(far.tick(), None);
        far.has_ended()
    });
    assert_eq!(far.playhead().map(|h| h.segment), Some(last));
}

/// A groove's schedule whose first layer sounds an own sound, another one for each seed.
fn own(seed: u32) -> Schedule {
    let sample = |k: u32| (f64::from(k * (7 + seed)) * 0.01).sin() as f32 * (-f64::from(k) / 9e3).exp() as f32;
    let sound = UserSample::new((0..40_000).map(sample).collect(), SampleRate::STUDIO);
    let groove = riff("x...x...x...x...").edited(&Edit::SoundFile(0, Some("a.wav".into()))).expect("a sound");
    let mut sounds = UserSamples::default();
    sounds.insert("a.wav", sound);
    Schedule::build(&groove, &ScheduleOptions { samples: sounds, ..ScheduleOptions::whole(SampleRate::STUDIO) })
}

#[test]
fn what_is_lacking_is_sent_anew_from_the_leg_and_place_that_were_heard() {
    let stage = Stage::open();
    let mut far = stage.editor();
    far.start(Segment::new(own(1)).passes(1), None);
    let second = far.queue(Segment::new(own(1)));
    wait("the second leg", || {
        far.playhead().is_some_and(|h| h.segment == second && h.loop_pass == 0 && h.position.wholes > 0.3)
    });
    far.believe(&own(2));
    far.replace(second, Segment::new(own(2)));
    let mut happened = None;
    wait("what it lacks", || {
        happened = far.tick();
        happened.is_some()
    });
    let Some(OutputEvent::ResendAll(place)) = happened else { panic!("{happened:?}") };
    assert_eq!(place.segment, second);
    assert!(place.position.wholes > 0.3 || place.loop_pass > 0, "{place:?}");
}

#[test]
fn own_sounds_are_sent_once_and_again_where_they_are_lacking() {
    let build = own;
    let stage = Stage::open();
    let mut far = stage.editor();
    far.start(Segment::new(build(1)), None);
    wait("two seconds of sound", || stage.tape.length() > 2 * 48_000 * 2);
    assert_eq!(far.tick(), None);
    let there = stage.tape.samples.lock().expect("tape").clone();
    let here = here(vec![Segment::new(build(1))], there.len() / 2);
    let (here, there) = (sounding(&here), sounding(&there));
    let n = here.len().min(there.len());
    assert!(n > 48_000, "{n} samples to compare");
    assert!(here[..n] == there[..n], "they differ");
    // The speaker says what it lacks, and what is sent anew sounds.
    far.believe(&build(2));
    far.start(Segment::new(build(2)), Some(Position { section: 0, pass: 0, wholes: 0.25 }));
    let mut happened = None;
    wait("what it lacks", || {
        happened = far.tick();
        happened.is_some()
    });
    assert_eq!(
        happened,
        Some(OutputEvent::ResendAll(Playhead {
            position: Position { section: 0, pass: 0, wholes: 0.25 },
            loop_pass: 0,
            segment: 2
        }))
    );
    far.start(Segment::new(build(2)), Some(Position { section: 0, pass: 0, wholes: 0.25 }));
    wait("the playhead", || far.tick().is_none() && far.playhead().is_some());
    let bad = ToSpeaker::Sound { hash: 1, hertz: 48_000, total: 1, at: 0, samples: &[0; 4] };
    drop(far);
    let mut rude = Rude::join(&stage);
    rude.says(&bad);
    assert!(rude.refused().contains("hash"));
}
