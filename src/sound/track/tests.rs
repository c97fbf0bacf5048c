//! Tests of tracks against a recording whose samples tell their frame.

use super::*;
use crate::rhythm::{Anchor, GridPlace, Groove, Meter, Micros, Recording, Tempo, Time};
use crate::sound::take::tests::plain;
use crate::sound::take::{SequenceRenderer, Take};
use crate::sound::{Click, Schedule, ScheduleOptions, UserSamples};
use std::sync::atomic::AtomicUsize;

/// A recording whose left samples count the frames at 48 kHz in millionths, with a one at every `beat` frames on the right.
#[derive(Debug)]
struct Counting {
    opened: AtomicUsize,
}

struct CountingStream(Listening);

impl FrameSource for Counting {
    fn id(&self) -> u64 {
        1
    }

    fn open(&self, listening: &Listening) -> Box<dyn FrameStream> {
        self.opened.fetch_add(1, Ordering::Relaxed);
        Box::new(CountingStream(*listening))
    }
}

impl CountingStream {
    /// The frame of the recording that is heard at an output frame.
    fn source(&self, frame: i64) -> f64 {
        let speed = self.0.speed.numer() as f64 / self.0.speed.denom() as f64;
        self.0.from as f64 / 1e9 * 48_000.0 + frame as f64 * speed
    }
}

impl FrameStream for CountingStream {
    fn read(&mut self, start: i64, out: &mut [f32]) {
        for (k, pair) in out.chunks_exact_mut(2).enumerate() {
            let source = self.source(start + k as i64);
            pair[0] = (source / 1e7) as f32;
            pair[1] = 0.25;
        }
    }
}

const PLAY: RecordingPlay = RecordingPlay {
    pass: 0,
    db: 0.0,
    pan: 0,
    tone: RecordingTone { channels: Channels::Both, band: None, semitones: 0 },
    is_silent: false,
};

fn listening() -> Listening {
    Listening { from: 0, speed: Fraction::ONE, rate: SampleRate::STUDIO, tone: RecordingTone::default() }
}

/// What is read of a track in blocks, each prepared first.
fn read(track: &Track, passes: u64, length: i64, block: usize) -> Vec<f32> {
    let mut all = Vec::new();
    for pass in 0..passes {
        let mut at = 0;
        while at < length {
            track.prepare(usize::MAX);
            let frames = block.min((length - at) as usize);
            let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
            track.mix(pass, at, (1.0, 0.0), &mut left, &mut right);
            all.append(&mut left);
            at += frames as i64;
        }
    }
    all
}

#[test]
fn every_frame_of_every_pass_is_read_whether_the_loop_fits_or_not() {
    for length in [100_i64, 5000, CHUNK * SLOTS, CHUNK * SLOTS + 1, 3 * CHUNK * SLOTS / 2 + 77] {
        let source = Counting { opened: AtomicUsize::new(0) };
        let track = Track::new(&source, listening(), Frame(length), PLAY);
        let heard = read(&track, 3, length, 1000);
        for (k, sample) in heard.iter().enumerate() {
            let at = k as i64 % length;
            let seam = (at + 1).min(length - at).min(SEAM) as f32 / SEAM as f32;
            let expected = (at as f64 / 1e7) as f32 * seam;
            assert!((sample - expected).abs() < 1e-6, "{length} {k}: {sample} {expected}");
        }
    }
}

#[test]
fn frames_that_are_not_prepared_are_silent() {
    let source = Counting { opened: AtomicUsize::new(0) };
    let track = Track::new(&source, listening(), Frame(1 << 20), PLAY);
    track.prepare_at(Frame(500_000), 1);
    let (mut left, mut right) = (vec![0.0; 64], vec![0.0; 64]);
    track.mix(0, 100_000, (1.0, 0.0), &mut left, &mut right);
    assert!(left.iter().chain(&right).all(|s| *s == 0.0));
    track.mix(0, 500_000, (1.0, 0.0), &mut left, &mut right);
    assert!(right.iter().all(|s| *s == 0.25));
}

#[test]
fn a_track_is_shared_and_kept_while_it_is_used() {
    let source = Counting { opened: AtomicUsize::new(0) };
    let mut tracks = Tracks::default();
    let one = tracks.get(&source, listening(), Frame(9000), PLAY);
    let same = tracks.get(&source, listening(), Frame(9000), PLAY);
    let other = tracks.get(&source, listening(), Frame(9001), PLAY);
    assert!(Arc::ptr_eq(&one, &same) && !Arc::ptr_eq(&one, &other));
    assert_eq!(source.opened.load(Ordering::Relaxed), 2);
    drop((other, same));
    tracks.prepare(1);
    assert_eq!(tracks.0.len(), 1);
}

/// Two bars of 4/4 at 120 over a recording that plays the first bar in 2.2 s, from 1.5 s on, and the second in 1.8 s.
fn groove() -> Groove {
    let meter = Meter::parse("4/4").expect("a meter");
    let tempo = Tempo::new(Fraction::whole(120), meter.beat()).expect("a tempo");
    let anchor = |pass, bar, at| Anchor { place: GridPlace { pass, bar, beat: Fraction::default() }, at: Micros(at) };
    let anchors = vec![anchor(0, 0, 1_500_000), anchor(0, 1, 3_700_000), anchor(1, 0, 5_500_000)];
    let recording = Recording::new("haul.wav", None).with_anchors(anchors);
    Groove::blank(meter, tempo, 2).expect("a groove").with_recording(Some(recording)).expect("anchors in order")
}

fn samples() -> UserSamples {
    let mut samples = UserSamples::default();
    samples.set_recording(Some(Arc::new(Counting { opened: AtomicUsize::new(0) })));
    samples
}

#[test]
fn clicks_over_a_recording_are_on_the_frames_of_its_anchors() {
    for speed in [Fraction::ONE, Fraction::new(1, 2).expect("half"), Fraction::new(3, 4).expect("three quarters")] {
        let options = ScheduleOptions {
            speed,
            click: Click::Written,
            recording: Some(PLAY),
            samples: samples(),
            ..ScheduleOptions::whole(SampleRate::STUDIO)
        };
        let schedule = Schedule::build(&groove(), &options);
        let slow = speed.denom() as f64 / speed.numer() as f64;
        // Seconds from the first anchor.
        let beats = [0.0, 0.55, 1.1, 1.65, 2.2, 2.65, 3.1, 3.55];
        for (k, beat) in beats.iter().enumerate() {
            assert_eq!(schedule.onset(0, k), Some(Frame((beat * slow * 48_000.0_f64).round() as i64)), "{speed} {k}");
        }
        assert_eq!(schedule.map.rounded_length(), Frame((4.0 * slow * 48_000.0_f64).round() as i64));
        // A position has the same frame in both directions, and the second bar is faster.
        for wholes in [0.0, 0.3, 1.0, 1.5, 1.9] {
            let position = crate::sound::Position { section: 0, pass: 0, wholes };
            let frame = schedule.map.frame(position).expect("in the loop");
            let seconds = if wholes < 1.0 { 2.2 * wholes } else { 2.2 + 1.8 * (wholes - 1.0) };
            assert!((frame.0 as f64 - seconds * slow * 48_000.0).abs() <= 0.51, "{wholes}");
            assert!((schedule.map.position(frame).wholes - wholes).abs() < 1e-4);
        }
    }
}

#[test]
fn a_region_of_a_later_pass_is_heard_from_its_place_in_the_recording() {
    let bar = Time::new(1, 1).expect("a whole note");
    let options = ScheduleOptions {
        range: crate::sound::Range::within(0, bar, bar.plus(bar).expect("two")),
        recording: Some(RecordingPlay { pass: 1, ..PLAY }),
        samples: samples(),
        ..ScheduleOptions::whole(SampleRate::STUDIO)
    };
    let schedule = Schedule::build(&groove(), &options);
    let track = schedule.track.as_ref().expect("a track");
    // Behind the last anchor the last rate goes on: the second bar of the second pass is at 5.5 + 1.8 s.
    assert_eq!(track.listening.from, 7_300_000_000);
    assert_eq!(schedule.map.rounded_length(), Frame(86_400));
}

#[test]
fn a_rendered_take_has_the_recording_under_its_clicks() {
    let take = Take { recording: Some(PLAY), times: 2, ..plain("haul") };
    let groove = groove();
    let takes = [take];
    let renderer = SequenceRenderer::new(&groove, &takes, SampleRate::STUDIO, samples());
    let mut bytes = Vec::new();
    renderer.write(&mut bytes, &mut |_, _| Ok(())).expect("a file in memory");
    let right = |frame: usize| {
        let at = 44 + 6 * frame + 3;
        i32::from_le_bytes([0, bytes[at], bytes[at + 1], bytes[at + 2]]) as f32 / (1_i64 << 31) as f32
    };
    // The mix has -2 dB; the right channel of the recording is 0.25 but for the seam of the loop.
    let expected = 0.25 * 10_f32.powf(-0.1);
    for frame in [1000, 100_000, 191_000, 193_000, 380_000] {
        assert!((right(frame) - expected).abs() < 1e-3, "{frame}: {}", right(frame));
    }
    assert!(right(192_000).abs() < 0.01, "the seam");
}
