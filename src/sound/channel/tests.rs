//! Tests of the render channel: commands and positions, and queued takes against the same sequence rendered to a file.

use super::*;
use crate::rhythm::{Groove, Voice};
use crate::sound::take::tests::{four, plain, samples, written};
use crate::sound::take::{SequenceRenderer, Take};
use crate::sound::tests::{full, groove, hard, rate, rendered};
use crate::sound::{Click, MIX_DB, RENDER_LATENCY, Schedule, ScheduleOptions, UserSamples};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

#[test]
fn commands_reach_the_source_and_old_schedules_are_returned() {
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    let build = || Schedule::build(&full(), &ScheduleOptions::whole(SampleRate::STUDIO));
    assert_eq!(handle.playhead(Frame(0), Instant::now()), None);
    handle.start(Segment::new(build()), Frame(0));
    let map = Arc::downgrade(&build().map);
    assert!(map.upgrade().is_none());
    assert!(source.by_ref().take(96_000).filter(|x| *x != 0.0).count() > 10_000);
    let head = handle.playhead(Frame(0), Instant::now()).expect("plays");
    assert_eq!((head.position.section, head.loop_pass), (0, 0));
    // One second at 137.3 quarters a minute is 0.572 whole notes; the clock of the test runs on meanwhile.
    assert!(head.position.wholes > 0.56, "{head:?}");
    // Far more replacements than the ring holds while no block is rendered: the newest wins, nothing is lost or blocked.
    for _ in 0..500 {
        handle.replace(1, Segment::new(build()));
    }
    handle.stop();
    for _ in 0..20 {
        handle.tick();
        source.by_ref().take(2048).for_each(drop);
    }
    assert!(!handle.playing);
    assert_eq!(handle.playhead(Frame(0), Instant::now()), None);
    assert!(source.by_ref().take(4096).all(|x| x == 0.0));
    handle.start(Segment::new(build()), Frame(48_000));
    source.by_ref().take(256).for_each(drop);
    assert!(handle.playhead(Frame(0), Instant::now()).is_some_and(|p| p.position.wholes >= 0.49));
    assert!(handle.playhead(Frame(40_000), Instant::now()).is_some_and(|p| p.position.wholes < 0.2));
}

#[test]
fn the_playhead_at_an_earlier_instant_is_as_much_earlier() {
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    handle.start(Segment::new(Schedule::build(&full(), &ScheduleOptions::whole(SampleRate::STUDIO))), Frame(0));
    let before = Instant::now();
    source.by_ref().take(192_000).for_each(drop);
    let wholes = |handle: &mut RenderHandle, ms: u64, ahead: i64| {
        let at = before + Duration::from_millis(200 - ms);
        handle.playhead(Frame(ahead), at).expect("plays").position.wholes
    };
    let seconds = |wholes: f64| wholes * 240.0 / 137.3;
    let (last, first) = (wholes(&mut handle, 0, 40_000), wholes(&mut handle, 150, 40_000));
    assert!((seconds(last - first) - 0.15).abs() < 2.0 / 48_000.0, "{first} {last}");
    let ahead = wholes(&mut handle, 0, 44_800);
    assert!((seconds(last - ahead) - 0.1).abs() < 2.0 / 48_000.0, "{ahead} {last}");
}

#[test]
fn the_source_gives_the_samples_of_the_renderer() {
    let options = ScheduleOptions::whole(SampleRate::STUDIO);
    let (mut handle, source) = render_channel(options.rate);
    handle.start(Segment::new(Schedule::build(&full(), &options)), Frame(0));
    let live: Vec<f32> = source.take(2 * 50_000).collect();
    assert!(live == rendered(&full(), &options, MIX_DB, 50_000, 77));
}

/// The segments of a sequence: count-ins and takes in order, the last one ending it.
fn segments(groove: &Groove, takes: &[Take], rate: SampleRate) -> VecDeque<Segment> {
    let mut segments = VecDeque::new();
    for (k, take) in takes.iter().enumerate() {
        segments.extend(take.count_in_schedule(groove, rate).map(|count| Segment::new(count).passes(1)));
        let segment = take.segment(groove, rate, &UserSamples::default());
        segments.push_back(if k + 1 == takes.len() { segment.stop_at_end() } else { segment });
    }
    segments
}

fn seconds(groove: &Groove) -> f64 {
    Schedule::build(groove, &ScheduleOptions::whole(SampleRate::STUDIO))
        .map
        .rounded_length()
        .seconds(SampleRate::STUDIO)
}

/// Plays a sequence through the channel; `edit` is called between two blocks.
fn play_live(
    groove: &Groove,
    takes: &[Take],
    rate: SampleRate,
    frames: usize,
    edit: impl Fn(&mut RenderHandle, usize),
) -> Vec<f32> {
    let (mut handle, mut source) = render_channel(rate);
    let mut segments = segments(groove, takes, rate);
    handle.start(segments.pop_front().expect("a segment"), Frame(0));
    let mut all = Vec::with_capacity(2 * frames);
    while all.len() < 2 * frames {
        while !segments.is_empty() && handle.has_room() {
            handle.queue(segments.pop_front().expect("a segment"));
        }
        edit(&mut handle, all.len() / 2);
        handle.tick();
        let left = 2 * frames - all.len();
        all.extend(source.by_ref().take(left.min(2 * 771)));
    }
    assert!(segments.is_empty());
    all
}

fn same(live: &[f32], groove: &Groove, takes: &[Take], rate: SampleRate) {
    let file = samples(&written(groove, takes, rate).0);
    for (n, (pair, file)) in live[2 * RENDER_LATENCY..].chunks_exact(2).zip(&file).enumerate() {
        // The file has 24 bits.
        let difference = (f64::from(pair[0]) - file.0).abs().max((f64::from(pair[1]) - file.1).abs());
        assert!(difference < 1e-7 + 0.5 / 8_388_607.0, "frame {n}: {pair:?}, in the file {file:?}");
    }
}

#[test]
fn live_takes_are_the_samples_of_the_file() {
    for groove in hard() {
        let rate = rate(44_100);
        let takes = four(seconds(&groove));
        let frames =
            SequenceRenderer::new(&groove, &takes, rate, UserSamples::default()).total.0 as usize + RENDER_LATENCY;
        same(&play_live(&groove, &takes, rate, frames, |_, _| {}), &groove, &takes, rate);
    }
}

#[test]
fn edits_that_change_nothing_leave_the_samples_as_they_are_while_takes_wait() {
    let groove = &hard()[3];
    let rate = rate(44_100);
    let takes = four(seconds(groove));
    let frames = SequenceRenderer::new(groove, &takes, rate, UserSamples::default()).total.0 as usize + RENDER_LATENCY;
    // Every few blocks each segment is sent again, whether it has ended, plays or is queued.
    let edit = |handle: &mut RenderHandle, at: usize| {
        if at / 771 % 7 == 3 {
            for (k, segment) in segments(groove, &takes, rate).into_iter().enumerate() {
                let id = k as u64 + 1;
                if id <= handle.id {
                    handle.replace(id, segment);
                }
            }
        }
    };
    same(&play_live(groove, &takes, rate, frames, edit), groove, &takes, rate);
}

/// Frames at which something sounds after silence.
fn edges(samples: &[f32]) -> Vec<usize> {
    let loud: Vec<bool> = samples.chunks_exact(2).map(|p| p[0] != 0.0 || p[1] != 0.0).collect();
    (0..loud.len()).filter(|&n| loud[n] && loud[n.saturating_sub(2000)..n].iter().all(|l| !l)).collect()
}

/// A bar with one attack on its downbeat.
fn downbeat(bpm: &str) -> Groove {
    groove(&[Voice::Rim], &[("4/4", bpm, 1, None, "x...............")])
}

fn segment(bpm: &str) -> Segment {
    Segment::new(Schedule::build(&downbeat(bpm), &ScheduleOptions::whole(SampleRate::STUDIO)))
}

/// The frame at which a pass begins.
fn passes(bpm: &str, passes: u64) -> usize {
    Schedule::build(&downbeat(bpm), &ScheduleOptions::whole(SampleRate::STUDIO)).map.pass_start(passes).0 as usize
}

#[test]
fn a_switch_happens_at_the_end_of_the_pass_and_replaces_the_queue() {
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    handle.start(segment("137.3").passes(5), Frame(0));
    handle.queue(segment("99").passes(1));
    let first = passes("137.3", 1);
    let mut all: Vec<f32> = source.by_ref().take(2 * (first + first / 2)).collect();
    let step = handle.switch_to(segment("151.7"));
    all.extend(source.by_ref().take(2 * 3 * passes("151.7", 1)));
    let silence = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - silence).collect();
    let join = passes("137.3", 2);
    assert_eq!(found, [0, first, join, join + passes("151.7", 1), join + passes("151.7", 2)]);
    // What is rendered is ahead of what is heard, which may still be the previous take.
    let head = handle.playhead(Frame(0), Instant::now()).expect("plays");
    assert_eq!(head.segment, step);
    let (mut handle, mut source) = super::render_channel(SampleRate::STUDIO);
    let one = handle.start(segment("137.3").passes(2), Frame(0));
    let two = handle.queue(segment("60"));
    source.by_ref().take(2 * (join + 12_000)).for_each(drop);
    let head = handle.playhead(Frame(48_000), Instant::now()).expect("plays");
    assert_eq!((head.segment, head.loop_pass), (one, 1));
    assert!((0.5..0.9).contains(&head.position.wholes), "{head:?}");
    let head = handle.playhead(Frame(2_000), Instant::now()).expect("plays");
    assert_eq!((head.segment, head.loop_pass), (two, 0));
    assert!(head.position.wholes < 0.1, "{head:?}");
}

#[test]
fn a_tempo_edit_in_a_segment_moves_the_join_and_opens_no_gap() {
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    let id = handle.start(segment("120").passes(2), Frame(0));
    handle.queue(segment("100").stop_at_end().passes(1));
    // 96000 frames a pass. After a pass and a quarter of the next it becomes twice as fast.
    let before = 96_000 + 24_064;
    let mut all: Vec<f32> = source.by_ref().take(2 * before).collect();
    handle.replace(id, segment("240").passes(2));
    all.extend(source.by_ref().take(2 * 400_000));
    let start = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - start).collect();
    // Three quarters of the pass are left, at twice the speed; then one pass of the other, and nothing.
    assert_eq!(found, [0, 96_000, before + (96_000 - 24_064) / 2]);
    assert!(handle.has_ended() && handle.playhead(Frame(0), Instant::now()).is_none());
    assert!(source.by_ref().take(9600).all(|x| x == 0.0));
}

#[test]
fn without_another_segment_the_loop_continues_to_the_end_of_a_pass() {
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    handle.start(segment("120").passes(1), Frame(0));
    let mut all: Vec<f32> = source.by_ref().take(2 * (2 * 96_000 + 500)).collect();
    assert!(!handle.has_ended());
    handle.queue(segment("100"));
    all.extend(source.by_ref().take(2 * 200_000));
    let start = edges(&all)[0];
    let found: Vec<usize> = edges(&all).iter().map(|e| e - start).collect();
    assert_eq!(found, [0, 96_000, 192_000, 288_000]);
    // Then the slower loop, whose second pass begins after the last sample.
    assert_eq!(handle.playhead(Frame(0), Instant::now()).map(|h| (h.segment, h.loop_pass)), Some((2, 0)));
}

#[test]
fn loops_without_length_end_at_once_and_never_block_the_audio_thread() {
    let empty = |passes| {
        let range = crate::sound::Range::Section(9);
        let options = ScheduleOptions { range, ..ScheduleOptions::whole(SampleRate::STUDIO) };
        Segment::new(Schedule::build(&downbeat("120"), &options)).passes(passes)
    };
    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    handle.start(empty(3), Frame(0));
    assert!(source.by_ref().take(1000).all(|x| x == 0.0));
    handle.queue(segment("120").passes(1));
    handle.queue(empty(u64::MAX));
    handle.queue(segment("120").stop_at_end().passes(1));
    assert!(source.by_ref().take(2 * 2000).any(|x| x != 0.0));
    assert!(source.by_ref().take(2 * 96_000).all(|x| x.abs() < 1.0));
    assert!(!handle.has_ended());
    handle.switch_to(segment("120").stop_at_end().passes(1));
    source.by_ref().take(2 * 100_000).for_each(drop);
    assert!(handle.has_ended());
}

#[test]
fn more_segments_than_the_queue_holds_are_accepted_one_by_one() {
    let takes: Vec<Take> = (0..40).map(|_| Take { click: Click::Written, ..plain("a") }).collect();
    let groove = groove(&[Voice::Hat], &[("1/4", "900", 1, None, "x.x.")]);
    let frames =
        SequenceRenderer::new(&groove, &takes, rate(48_000), UserSamples::default()).total.0 as usize + RENDER_LATENCY;
    same(&play_live(&groove, &takes, rate(48_000), frames, |_, _| {}), &groove, &takes, rate(48_000));
}

#[test]
fn a_segment_continues_after_skipped_passes() {
    // A bar of 96000 frames, an attack of a tenth of a second on each beat.
    let groove = groove(&[Voice::Rim], &[("4/4", "120", 1, None, "x...x...x...x...")]);
    let take = Take { times: 6, muted_passes: vec![1, 3, 4], ..plain("a") };
    let played = |segment: Segment, from: i64| -> Vec<f32> {
        let (mut handle, source) = render_channel(SampleRate::STUDIO);
        handle.start(segment, Frame(from));
        source.take(2 * 7 * 96_000).collect()
    };
    let segment = || take.segment(&groove, SampleRate::STUDIO, &UserSamples::default()).stop_at_end();
    let whole = played(segment(), 0);
    for skipped in 0..6_u64 {
        let rest = played(segment().skip_passes(skipped), 24_000);
        let expected = &whole[2 * (96_000 * skipped as usize + 24_000)..];
        assert!(rest[..expected.len()] == *expected, "{skipped} passes skipped");
        assert!(rest[expected.len()..].iter().all(|x| *x == 0.0), "it ends");
    }
    let rest = segment().skip_passes(9);
    assert_eq!((rest.passes, rest.stops_at_end), (1, true));
    let muted = |passes| segment().skip_passes(passes).schedule.expect("a loop").muted_passes;
    assert_eq!((muted(2), muted(5)), (vec![1, 2], Vec::new()));
    assert_eq!(segment().passes(u64::MAX).skip_passes(3).passes, u64::MAX);
}
