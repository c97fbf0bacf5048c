//! Checks that the audio thread neither allocates nor frees, whatever is played, edited, slowed or stopped. A binary of its own,
//! because it counts calls of the program's allocator.
#![cfg(feature = "audio")]
// A counting allocator cannot be written without `unsafe`.
#![allow(unsafe_code)]

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::time::Instant;
use teeter::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};
use teeter::sound::{
    Click, Frame, Range, SampleRate, Schedule, ScheduleOptions, Segment, UserSample, UserSamples, render_channel,
};

struct Counting;

thread_local! {
    static CALLS: Cell<u64> = const { Cell::new(0) };
}

fn count() {
    let _ = CALLS.try_with(|c| c.set(c.get() + 1));
}

// SAFETY: every call goes to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        count();
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        count();
        unsafe { System.realloc(pointer, layout, size) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

fn calls() -> u64 {
    CALLS.with(Cell::get)
}

/// All voices over one bar of `cells`.
fn groove(cells: &str, bpm: &str) -> Groove {
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::parse(bpm).expect("tempo"), Time::new(1, 4).expect("unit")).expect("tempo");
    let layers = Voice::ALL.iter().map(|&voice| {
        Layer::new(voice.name(), voice, 4, vec![cell_notation::parse_bars(cells, &meter, 1, 4).expect("cells")])
    });
    // One layer has a user sample and an accent depth.
    let with_sample = |(k, l)| if k == 4 { Layer { sound: Some("sample".into()), depth: Some(12), ..l } } else { l };
    let layers = layers.enumerate().map(with_sample).collect();
    let section = Section { name: "A".into(), meter, tempo, bars: 1, times: 1, swing: None };
    Groove::new("t", "", vec![section], layers).expect("groove")
}

#[test]
fn the_audio_thread_neither_allocates_nor_frees() {
    let before = calls();
    drop(vec![1_u8]);
    assert_eq!(calls() - before, 2, "the counter counts");

    let (mut handle, mut source) = render_channel(SampleRate::STUDIO);
    let (request_in, request_out) = std::sync::mpsc::sync_channel::<usize>(0);
    let (done_in, done_out) = std::sync::mpsc::sync_channel::<(u64, f32)>(0);
    let audio = std::thread::spawn(move || {
        while let Ok(samples) = request_out.recv() {
            let before = calls();
            // As the device's callback: sample by sample.
            let peak = source.by_ref().take(samples).fold(0.0_f32, |m, x| m.max(x.abs()));
            let after = calls();
            if done_in.send((after - before, peak)).is_err() {
                break;
            }
        }
    });
    let pull = |samples: usize| -> f32 {
        request_in.send(samples).expect("runs");
        let (count, peak) = done_out.recv().expect("runs");
        assert_eq!(count, 0, "allocations or frees on the audio thread");
        peak
    };

    let patterns = ["x.Xx-.ox{3: xXo}xxxx", "xxxxxxxxxxxxxxxx", "....x-......X..o", "................"];
    let build = |k: usize, bpm: &str, speed: i64| {
        let speed = Fraction::new(speed, 100).expect("speed");
        let range = if k % 5 == 4 { Range::Section(0) } else { Range::Whole };
        // Another sample each time, and none every third time: then only the audio thread still holds one that rings.
        let mut samples = UserSamples::default();
        if !k.is_multiple_of(3) {
            let wave = |n: usize| 0.2 * (n as f32 * 0.001 * (1 + k) as f32).sin();
            samples.insert("sample", UserSample::new((0..40_000).map(wave).collect(), SampleRate::STUDIO));
        }
        let whole = ScheduleOptions::whole(SampleRate::STUDIO);
        let options = ScheduleOptions { speed, range, click: Click::Written, samples, ..whole };
        Schedule::build(&groove(patterns[k % patterns.len()], bpm), &options)
    };
    pull(1000);
    let mut id = handle.start(Segment::new(build(0, "137.3", 100)), Frame(0));
    assert!(pull(96_000) > 0.01);
    for k in 0..200 {
        match k % 8 {
            0..=3 => handle.replace(id, Segment::new(build(k, "137.3", 100))),
            4 => handle.replace(id, Segment::new(build(k, "137.3", 20 + k as i64 % 180))),
            5 => handle.replace(id, Segment::new(build(k, "99.9", 100))),
            _ => handle.set_volume((k % 12) as f32),
        }
        if k % 50 == 49 {
            handle.stop();
            pull(4096);
            id = handle.start(Segment::new(build(k, "400", 200)), Frame(100));
        }
        pull(2 * 1024 + 2 * k);
        handle.tick();
    }
    // More edits than the rings hold while the audio thread does not run.
    for k in 0..300 {
        handle.replace(id, Segment::new(build(k, "200", 100)));
    }
    assert!(pull(400_000) > 0.01);
    handle.tick();
    pull(4096);
    // Takes back to back, with muted passes and at several speeds, edited while they play and while they are queued, and
    // replaced after a pass.
    let segment = |k: usize, bpm: &str| {
        let opening = Time::new(1, 4).expect("a quarter");
        Segment::new(build(k, bpm, 50 + 10 * (k as i64 % 6))).passes(1 + k as u64 % 3).mute_passes(&[1], opening)
    };
    let mut first = handle.start(segment(0, "600"), Frame(0));
    let mut last = first;
    let mut joins = 0;
    for k in 0..400 {
        while k % 40 < 30 && handle.has_room() {
            last = handle.queue(segment(k, "600"));
        }
        match k % 16 {
            3 => (first..=last).for_each(|id| handle.replace(id, segment(k + id as usize, "600"))),
            7 => handle.replace(last, segment(k, "433")),
            11 => last = handle.switch_to(segment(k, "600")),
            15 if k % 64 == 15 => {
                handle.stop();
                pull(2048);
                last = handle.start(segment(k, "600"), Frame(7));
            }
            _ => {}
        }
        pull(2 * 4096 + 2 * k);
        handle.tick();
        if let Some(head) = handle.playhead(Frame(2048), Instant::now()) {
            joins += u64::from(head.segment > first);
            first = first.max(head.segment);
        }
    }
    assert!(joins > 30, "{joins} takes began");
    let end = handle.switch_to(segment(2, "600").stop_at_end());
    pull(960_000);
    assert!(handle.has_ended() && last < end);
    // More takes than the rings hold while the audio thread does not run.
    for k in 0..300 {
        handle.queue(segment(k, "600"));
    }
    assert!(pull(400_000) > 0.01);
    handle.tick();
    pull(4096);
    handle.stop();
    handle.tick();
    pull(8192);
    assert_eq!(pull(8192), 0.0);
    drop(request_in);
    audio.join().expect("ends");
}
