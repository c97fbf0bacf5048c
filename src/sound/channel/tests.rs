//! Tests of the two ends of a feed: commands and places, and takes that follow each other live against the same sequence rendered
//! to a file. They must not know a device.

use super::*;
use crate::rhythm::{Groove, Voice};
use crate::sound::take::tests::{four, plain, samples, written};
use crate::sound::take::{Sequence, Take};
use crate::sound::tests::{full, groove, hard, rate, rendered};
use crate::sound::{Click, MIX_DB, ScheduleOptions};
use std::time::Duration;

#[test]
fn commands_reach_the_feed_and_old_schedules_come_back() {
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    let build = || Schedule::build(&full(), &ScheduleOptions::whole(SampleRate::STUDIO));
    assert_eq!(hand.playhead(Frame(0)), None);
    hand.play(build(), Frame(0));
    let map = Arc::downgrade(build().map());
    assert!(map.upgrade().is_none());
    assert!(feed.by_ref().take(96_000).filter(|x| *x != 0.0).count() > 10_000);
    let head = hand.playhead(Frame(0)).expect("plays");
    assert_eq!((head.section, head.loops), (0, 0));
    // One second at 137.3 quarters a minute is 0.572 whole notes; the clock of the test runs on meanwhile.
    assert!(head.wholes > 0.56, "{head:?}");
    // RemotePlayer more swaps than the ring holds while nobody listens: the newest wins, nothing is lost or blocked.
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
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    hand.play(Schedule::build(&full(), &ScheduleOptions::whole(SampleRate::STUDIO)), Frame(0));
    let before = Instant::now();
    feed.by_ref().take(192_000).for_each(drop);
    let wholes = |hand: &mut RenderHandle, ms: u64, ahead: i64| {
        let at = before + Duration::from_millis(200 - ms);
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
    let ask = ScheduleOptions::whole(SampleRate::STUDIO);
    let (mut hand, feed) = render_channel(ask.rate);
    hand.play(Schedule::build(&full(), &ask), Frame(0));
    let heard: Vec<f32> = feed.take(2 * 50_000).collect();
    assert!(heard == rendered(&full(), &ask, MIX_DB, 50_000, 77));
}

/// The legs of a sequence: count-ins and takes in order, the last one ending it.
fn legs(groove: &Groove, takes: &[Take], rate: SampleRate) -> VecDeque<Segment> {
    let mut legs = VecDeque::new();
    for (k, take) in takes.iter().enumerate() {
        legs.extend(take.count(groove, rate).map(|count| Segment::new(count).times(1)));
        let leg = take.leg(groove, rate);
        legs.push_back(if k + 1 == takes.len() { leg.last() } else { leg });
    }
    legs
}

fn seconds(groove: &Groove) -> f64 {
    Schedule::build(groove, &ScheduleOptions::whole(SampleRate::STUDIO)).map().length().seconds(SampleRate::STUDIO)
}

/// The sequence through the two ends, so many samples; `edit` may do something between two blocks.
fn heard(
    groove: &Groove,
    takes: &[Take],
    rate: SampleRate,
    frames: usize,
    edit: impl Fn(&mut RenderHandle, usize),
) -> Vec<f32> {
    let (mut hand, mut feed) = render_channel(rate);
    let mut legs = legs(groove, takes, rate);
    hand.start(legs.pop_front().expect("a leg"), Frame(0));
    let mut all = Vec::with_capacity(2 * frames);
    while all.len() < 2 * frames {
        while !legs.is_empty() && hand.has_room() {
            hand.queue(legs.pop_front().expect("a leg"));
        }
        edit(&mut hand, all.len() / 2);
        hand.tick();
        let left = 2 * frames - all.len();
        all.extend(feed.by_ref().take(left.min(2 * 771)));
    }
    assert!(legs.is_empty());
    all
}

fn same(live: &[f32], groove: &Groove, takes: &[Take], rate: SampleRate) {
    let file = samples(&written(groove, takes, rate).0);
    for (n, (pair, file)) in live[2 * RENDER_LATENCY..].chunks_exact(2).zip(&file).enumerate() {
        // The file has 24 bits.
        let far = (f64::from(pair[0]) - file.0).abs().max((f64::from(pair[1]) - file.1).abs());
        assert!(far < 1e-7 + 0.5 / 8_388_607.0, "frame {n}: {pair:?}, in the file {file:?}");
    }
}

#[test]
fn live_takes_are_the_samples_of_the_file() {
    for groove in hard() {
        let rate = rate(44_100);
        let takes = four(seconds(&groove));
        let frames = Sequence::new(&groove, &takes, rate).frames().0 as usize + RENDER_LATENCY;
        same(&heard(&groove, &takes, rate, frames, |_, _| {}), &groove, &takes, rate);
    }
}

#[test]
fn edits_that_change_nothing_leave_the_samples_as_they_are_while_takes_wait() {
    let groove = &hard()[3];
    let rate = rate(44_100);
    let takes = four(seconds(groove));
    let frames = Sequence::new(groove, &takes, rate).frames().0 as usize + RENDER_LATENCY;
    // Every few blocks each leg is sent anew, whether it has been played, is played or waits.
    let edit = |hand: &mut RenderHandle, at: usize| {
        if at / 771 % 7 == 3 {
            for (k, leg) in legs(groove, &takes, rate).into_iter().enumerate() {
                let id = k as u64 + 1;
                if id <= hand.id {
                    hand.replace(id, leg, Keep::Place);
                }
            }
        }
    };
    same(&heard(groove, &takes, rate, frames, edit), groove, &takes, rate);
}

/// Frames of the rising edges: something sounds after silence.
fn edges(samples: &[f32]) -> Vec<usize> {
    let loud: Vec<bool> = samples.chunks_exact(2).map(|p| p[0] != 0.0 || p[1] != 0.0).collect();
    (0..loud.len()).filter(|&n| loud[n] && loud[n.saturating_sub(2000)..n].iter().all(|l| !l)).collect()
}

/// A bar with one knock on its downbeat.
fn knock(bpm: &str) -> Groove {
    groove(&[Voice::Rim], &[("4/4", bpm, 1, None, "x...............")])
}

fn leg(bpm: &str) -> Segment {
    Segment::new(Schedule::build(&knock(bpm), &ScheduleOptions::whole(SampleRate::STUDIO)))
}

/// Where the knocks of a loop begin, from its start.
fn turns(bpm: &str, turns: u64) -> usize {
    Schedule::build(&knock(bpm), &ScheduleOptions::whole(SampleRate::STUDIO)).turn_start(turns).0 as usize
}

#[test]
fn another_take_follows_at_the_end_of_the_turn_and_replaces_what_waits() {
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    hand.start(leg("137.3").times(5), Frame(0));
    hand.queue(leg("99").times(1));
    let first = turns("137.3", 1);
    let mut all: Vec<f32> = feed.by_ref().take(2 * (first + first / 2)).collect();
    let step = hand.then(leg("151.7"));
    all.extend(feed.by_ref().take(2 * 3 * turns("151.7", 1)));
    let silence = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - silence).collect();
    let join = turns("137.3", 2);
    assert_eq!(found, [0, first, join, join + turns("151.7", 1), join + turns("151.7", 2)]);
    // What is rendered is ahead of what is heard: that far back the take before still sounds.
    let head = hand.playhead(Frame(0)).expect("plays");
    assert_eq!(head.leg, step);
    let (mut hand, mut feed) = super::render_channel(SampleRate::STUDIO);
    let one = hand.start(leg("137.3").times(2), Frame(0));
    let two = hand.queue(leg("60"));
    feed.by_ref().take(2 * (join + 12_000)).for_each(drop);
    let head = hand.playhead(Frame(48_000)).expect("plays");
    assert_eq!((head.leg, head.loops), (one, 1));
    assert!((0.5..0.9).contains(&head.wholes), "{head:?}");
    let head = hand.playhead(Frame(2_000)).expect("plays");
    assert_eq!((head.leg, head.loops), (two, 0));
    assert!(head.wholes < 0.1, "{head:?}");
}

#[test]
fn a_tempo_edit_in_a_leg_moves_the_join_and_opens_no_gap() {
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    let id = hand.start(leg("120").times(2), Frame(0));
    hand.queue(leg("100").last().times(1));
    // 96000 frames a turn. After a turn and a quarter of the next it becomes twice as fast.
    let before = 96_000 + 24_064;
    let mut all: Vec<f32> = feed.by_ref().take(2 * before).collect();
    hand.replace(id, leg("240").times(2), Keep::Place);
    all.extend(feed.by_ref().take(2 * 400_000));
    let start = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - start).collect();
    // Three quarters of the turn are left, at twice the speed; then one turn of the other, and nothing.
    assert_eq!(found, [0, 96_000, before + (96_000 - 24_064) / 2]);
    assert!(hand.has_ended() && hand.playhead(Frame(0)).is_none());
    assert!(feed.by_ref().take(9600).all(|x| x == 0.0));
}

#[test]
fn without_another_leg_the_loop_goes_on_to_the_end_of_a_turn() {
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    hand.start(leg("120").times(1), Frame(0));
    let mut all: Vec<f32> = feed.by_ref().take(2 * (2 * 96_000 + 500)).collect();
    assert!(!hand.has_ended());
    hand.queue(leg("100"));
    all.extend(feed.by_ref().take(2 * 200_000));
    let start = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - start).collect();
    assert_eq!(found, [0, 96_000, 192_000, 288_000]);
    // From there on the slower loop: its second turn lies beyond what was taken.
    assert_eq!(hand.playhead(Frame(0)).map(|h| (h.leg, h.loops)), Some((2, 0)));
}

#[test]
fn loops_of_no_length_are_left_at_once_and_never_hold_the_sound_thread() {
    let empty = |times| {
        let range = crate::sound::Range::Section(9);
        Segment::new(Schedule::build(
            &knock("120"),
            &ScheduleOptions { range, ..ScheduleOptions::whole(SampleRate::STUDIO) },
        ))
        .times(times)
    };
    let (mut hand, mut feed) = render_channel(SampleRate::STUDIO);
    hand.start(empty(3), Frame(0));
    assert!(feed.by_ref().take(1000).all(|x| x == 0.0));
    hand.queue(leg("120").times(1));
    hand.queue(empty(u64::MAX));
    hand.queue(leg("120").last().times(1));
    assert!(feed.by_ref().take(2 * 2000).any(|x| x != 0.0));
    assert!(feed.by_ref().take(2 * 96_000).all(|x| x.abs() < 1.0));
    assert!(!hand.has_ended());
    hand.then(leg("120").last().times(1));
    feed.by_ref().take(2 * 100_000).for_each(drop);
    assert!(hand.has_ended());
}

#[test]
fn more_legs_than_may_wait_are_taken_one_by_one() {
    let takes: Vec<Take> = (0..40).map(|_| Take { click: Click::Written, ..plain("a") }).collect();
    let groove = groove(&[Voice::Hat], &[("1/4", "900", 1, None, "x.x.")]);
    let frames = Sequence::new(&groove, &takes, rate(48_000)).frames().0 as usize + RENDER_LATENCY;
    same(&heard(&groove, &takes, rate(48_000), frames, |_, _| {}), &groove, &takes, rate(48_000));
}

#[test]
fn a_leg_goes_on_where_some_of_its_times_through_lie_behind_it() {
    // A bar of 96000 frames, a knock of a tenth of a second on each of its beats.
    let groove = groove(&[Voice::Rim], &[("4/4", "120", 1, None, "x...x...x...x...")]);
    let take = Take { times: 6, silences: vec![1, 3, 4], ..plain("a") };
    let played = |leg: Segment, from: i64| -> Vec<f32> {
        let (mut hand, feed) = render_channel(SampleRate::STUDIO);
        hand.start(leg, Frame(from));
        feed.take(2 * 7 * 96_000).collect()
    };
    let leg = || take.leg(&groove, SampleRate::STUDIO).last();
    let whole = played(leg(), 0);
    for behind in 0..6_u64 {
        let rest = played(leg().behind(behind), 24_000);
        let there = &whole[2 * (96_000 * behind as usize + 24_000)..];
        assert!(rest[..there.len()] == *there, "{behind} times behind it");
        assert!(rest[there.len()..].iter().all(|x| *x == 0.0), "it ends");
    }
    assert_eq!(leg().behind(9).ending(), (1, true));
    assert_eq!(leg().behind(2).silences().0, [1, 2]);
    assert_eq!(leg().behind(5).silences(), (&[][..], 0));
    assert_eq!(leg().times(u64::MAX).behind(3).ending().0, u64::MAX);
}
