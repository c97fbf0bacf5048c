//! Tests of the playback thread with a device whose buffers the test fills.

use super::super::{ResumePoint, Sequence, SequenceTake};
use super::*;
use crate::rhythm::{Anchor, Attack, Edit, Fraction, GridPlace, Meter, Micros, Place, Recording, Tempo, Time};
use crate::sound::{Click, FakeDevice, FrameSource, FrameStream, Listening, Range, RecordingPlay, RecordingTone};
use std::sync::mpsc;

/// An attack on every eighth of a bar of 4/4 at 240.
fn playing(layers: bool) -> LoopSpec {
    let tempo = Tempo::new(Fraction::whole(240), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
    for k in 0..8 {
        let at = Place { layer: 0, section: 0, cell: 2 * k };
        groove = groove.edited(&Edit::Enter { at, cells: 2, attack: Attack::default() }).expect("an attack");
    }
    let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
    LoopSpec {
        groove: Arc::new(groove),
        speed,
        range,
        layers,
        beat,
        click_db: 0.0,
        click_sound: crate::rhythm::ClickSound::default(),
        hearings: Vec::new(),
        recording: None,
    }
}

/// A thread whose events the test receives.
fn thread() -> (PlaybackThread, mpsc::Receiver<PlaybackEvent>) {
    let (sender, events) = mpsc::channel();
    let load: SampleLoader = Box::new(|_, _| (UserSamples::default(), Vec::new()));
    let send = move |event| drop(sender.send(event));
    (PlaybackThread::new(Samples { load, events: Arc::new(send), tracks: Arc::default() }), events)
}

fn ladder(takes: usize) -> PlayRequest {
    let take = || SequenceTake { spec: playing(true), times: Some(1), count_in: false };
    PlayRequest::Sequence(Sequence { number: 1, takes: (0..takes).map(|_| take()).collect(), at: 0, silence: None })
}

/// Lets the device take frames while the thread runs; returns the greatest magnitude.
fn advance(thread: &mut PlaybackThread, output: &mut Player, device: &FakeDevice, frames: usize) -> f32 {
    let mut peak = 0.0_f32;
    for _ in 0..frames / 1024 {
        peak = peak.max(device.pull(1024).0);
        thread.advance(Orders::default(), output);
    }
    peak
}

#[test]
fn a_loop_that_replaced_takes_follows_every_later_edit() {
    let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
    let device = FakeDevice::new(48_000);
    let mut output = device.player().expect("a device");
    let (mut thread, _events) = thread();
    thread.handle(PlaybackRequest::Play(ladder(9), None), &mut output);
    assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "in the second take");
    thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
    assert!(advance(&mut thread, &mut output, &device, 200_000) > 0.01, "the loop");
    thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(false))), &mut output);
    advance(&mut thread, &mut output, &device, 48_000);
    assert_eq!(advance(&mut thread, &mut output, &device, 96_000), 0.0, "no layer sounds");
    thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
    assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "it sounds again");
}

#[test]
fn playback_continues_at_its_place_in_another_player() {
    let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
    let position = Position { section: 0, pass: 0, wholes: 0.5 };
    let sequence = |count_in| {
        let take = SequenceTake { spec: playing(true), times: Some(4), count_in };
        PlayRequest::Sequence(Sequence { number: 7, takes: vec![take.clone(), take], at: 1, silence: None })
    };
    for request in [PlayRequest::Loop(playing(true)), sequence(false), sequence(true)] {
        let device = FakeDevice::new(48_000);
        let mut output = device.player().expect("a device");
        let (mut thread, events) = thread();
        let is_sequence = matches!(request, PlayRequest::Sequence(_));
        thread.handle(PlaybackRequest::Play(request, Some(ResumePoint { position, passes: 2 })), &mut output);
        advance(&mut thread, &mut output, &device, 8 * 1024);
        let events: Vec<PlaybackEvent> = events.try_iter().collect();
        let heard = events.iter().filter_map(|e| if let PlaybackEvent::Tick(Some(p)) = e { Some(p) } else { None });
        let first = heard.copied().next().expect("a position");
        // A whole note lasts a second at 240 quarters per minute. The device has 20 ms of silence before it, and took at most
        // 8 buffers.
        assert!((0.45..0.7).contains(&first.wholes), "{first:?}");
        let take = events.iter().find_map(|e| if let PlaybackEvent::Take(t) = e { Some(*t) } else { None });
        assert_eq!(take.map(|t| (t.take, t.is_count_in, t.pass)), is_sequence.then_some((1, false, 2)));
    }
}

#[test]
fn a_loop_follows_its_count_in_from_its_position_and_with_every_edit() {
    let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
    // Whether the count-in is heard, and the position, at each report.
    let heard = |events: &mpsc::Receiver<PlaybackEvent>| -> Vec<(bool, f64)> {
        let of = |event| match event {
            PlaybackEvent::CountIn(position) => Some((true, position.wholes)),
            PlaybackEvent::Tick(Some(position)) => Some((false, position.wholes)),
            _ => None,
        };
        events.try_iter().filter_map(of).collect()
    };
    let middle = Position { section: 0, pass: 0, wholes: 0.5 };
    for from in [None, Some(middle)] {
        let device = FakeDevice::new(48_000);
        let mut output = device.player().expect("a device");
        let (mut thread, events) = thread();
        let start = from.map(|position| ResumePoint { position, passes: 0 });
        // The layers are silent during the count-in: at first in the loop too.
        let request = PlayRequest::CountedLoop(playing(false));
        thread.handle(PlaybackRequest::Play(request, start), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 20 * 1024) > 0.01, "clicks");
        let counted = heard(&events);
        assert!(counted.len() > 10 && counted.iter().all(|(counts, _)| *counts), "{counted:?}");
        thread.report_taps(&[Instant::now()], &mut output);
        assert!(!events.try_iter().any(|e| matches!(e, PlaybackEvent::Tapped(_))), "no tap before the loop");
        thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
        // A bar lasts 48000 frames.
        assert!(advance(&mut thread, &mut output, &device, 40 * 1024) > 0.01, "the edited loop");
        let all = heard(&events);
        let first = all.iter().find(|(counts, _)| !counts).expect("the loop");
        let expected = from.map_or(0.0, |position| position.wholes);
        assert!((expected..expected + 0.1).contains(&first.1), "{from:?} {first:?}");
        assert!(all.iter().skip_while(|(counts, _)| *counts).all(|(counts, _)| !counts), "{all:?}");
        thread.report_taps(&[Instant::now()], &mut output);
        assert!(events.try_iter().any(|e| matches!(e, PlaybackEvent::Tapped(_))));
    }
}

#[test]
fn an_edit_before_the_player_starts_keeps_the_count_in() {
    let requests = Requests::new();
    requests.send(PlaybackRequest::Play(PlayRequest::CountedLoop(playing(true)), None));
    requests.send(PlaybackRequest::Change(PlayRequest::Loop(playing(false))));
    let waiting = requests.take().expect("orders").request;
    assert_eq!(waiting, Some(PlaybackRequest::Play(PlayRequest::CountedLoop(playing(false)), None)));
}

#[test]
fn gaps_are_counted_from_the_last_start_while_something_plays() {
    let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
    let device = FakeDevice::new(48_000);
    let mut output = device.player().expect("a device");
    let (mut thread, events) = thread();
    let mut run = |thread: &mut PlaybackThread, request: Option<PlaybackRequest>, stalls: usize| {
        if let Some(request) = request {
            thread.handle(request, &mut output);
        }
        for _ in 0..stalls {
            advance(thread, &mut output, &device, 4096);
            device.stall(Duration::from_millis(100));
        }
        advance(thread, &mut output, &device, 4096);
        let gaps = |e| if let PlaybackEvent::Gaps(n) = e { Some(n) } else { None };
        events.try_iter().filter_map(gaps).collect::<Vec<u64>>()
    };
    let play = || Some(PlaybackRequest::Play(PlayRequest::Loop(playing(true)), None));
    assert!(run(&mut thread, play(), 0).is_empty());
    assert_eq!(run(&mut thread, None, 3), [1, 2, 3]);
    assert_eq!(run(&mut thread, Some(PlaybackRequest::Change(PlayRequest::Loop(playing(true)))), 1), [4]);
    assert!(run(&mut thread, Some(PlaybackRequest::Stop), 2).is_empty(), "nothing plays");
    assert_eq!(run(&mut thread, play(), 1), [1]);
}

#[test]
fn a_loop_that_replaced_takes_keeps_the_segment_that_is_heard() {
    let mut playback = LoopPlayback::new(playing(true), vec![3, 4, 5, 6]);
    playback.on_heard(9);
    assert_eq!(playback.segments, [3, 4, 5, 6]);
    playback.on_heard(4);
    assert_eq!(playback.segments, [4, 5, 6], "a later segment may not be heard yet");
    playback.since = Instant::now().checked_sub(SETTLE_TIME * 2).expect("an instant");
    playback.on_heard(5);
    assert_eq!(playback.segments, [5]);
}

/// A recording that is the same on both sides and at all times, and louder if it is transposed.
#[derive(Debug)]
struct Steady;

struct SteadyStream(f32);

impl FrameSource for Steady {
    fn id(&self) -> u64 {
        1
    }

    fn open(&self, listening: &Listening) -> Box<dyn FrameStream> {
        Box::new(SteadyStream(if listening.tone.semitones == 0 { 0.25 } else { 0.5 }))
    }
}

impl FrameStream for SteadyStream {
    fn read(&mut self, _: i64, out: &mut [f32]) {
        out.fill(self.0);
    }
}

#[test]
fn another_tone_of_a_recording_is_heard_at_once_and_without_a_gap() {
    let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
    let device = FakeDevice::new(48_000);
    let mut output = device.player().expect("a device");
    let (mut thread, _events) = thread();
    thread.samples.load = Box::new(|_, _| {
        let mut samples = UserSamples::default();
        samples.set_recording(Some(Arc::new(Steady)));
        (samples, Vec::new())
    });
    let spec = |semitones| {
        let mut spec = playing(false);
        let anchor = Anchor { place: GridPlace::default(), at: Micros(0) };
        let recording = Recording::new("winch.wav", None).with_anchors(vec![anchor]);
        let groove = Groove::clone(&spec.groove).with_recording(Some(recording)).expect("an anchor");
        spec.groove = Arc::new(groove);
        let tone = RecordingTone { semitones, ..RecordingTone::default() };
        spec.recording = Some(RecordingPlay { pass: 0, db: 0.0, pan: 0, tone, is_silent: false });
        PlayRequest::Loop(spec)
    };
    thread.handle(PlaybackRequest::Play(spec(0), None), &mut output);
    // Not at the seam of the loop, which is a second long.
    assert!(advance(&mut thread, &mut output, &device, 10 * 1024) > 0.19);
    thread.handle(PlaybackRequest::Change(spec(12)), &mut output);
    let mut heard_after = None;
    for block in 0..150 {
        let peak = device.pull(64).0;
        assert!(peak > 0.19, "a gap after {} frames", 64 * block);
        if peak > 0.39 {
            heard_after.get_or_insert(64 * block);
        }
        if block % 12 == 0 {
            thread.advance(Orders::default(), &mut output);
        }
    }
    assert!(heard_after.is_some_and(|frames| frames < 9600), "{heard_after:?}");
}
