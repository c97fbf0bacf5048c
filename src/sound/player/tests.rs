//! Tests of the player with a fake device, and manual ones with a real sound server.

use super::fake::FakeDevice;
use super::*;
use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};
use crate::sound::{SampleRate, Schedule, ScheduleOptions};

/// A rim click on every sixteenth at the left, and at the right a string whose pattern changes with `k`.
fn groove(k: usize) -> Groove {
    let meter = Meter::parse("4/4").expect("meter");
    let bpm = Fraction::parse("137.3").expect("number");
    let tempo = Tempo::new(bpm, Time::new(1, 4).expect("unit")).expect("tempo");
    let line: String = (0..16).map(|n| if (n * (k + 3)) % 5 < 2 { 'x' } else { '.' }).collect();
    let layer = |name, voice, drawing: &str, pan| {
        let part = cell_notation::parse_bars(drawing, &meter, 1, 4).expect("drawing");
        Layer { pan, ..Layer::new(name, voice, 4, vec![part]) }
    };
    let layers = vec![layer("left", Voice::Rim, "xxxxxxxxxxxxxxxx", -100), layer("right", Voice::Pluck, &line, 100)];
    let section = Section { name: "A".into(), meter, tempo, bars: 1, times: 1, swing: None };
    Groove::new("t", "", vec![section], layers).expect("groove")
}

/// Frames of a stereo recording at which a rim click begins at the left.
fn knocks(path: &str) -> Vec<i64> {
    let bytes = std::fs::read(path).expect("the recording");
    let left = bytes.chunks_exact(4).map(|f| i16::from_le_bytes([f[0], f[1]]));
    // A click is silent for its last milliseconds; the next one begins with a large step.
    let mut onsets: Vec<i64> = Vec::new();
    for (n, sample) in left.enumerate() {
        if sample.unsigned_abs() > 1000 && onsets.last().is_none_or(|&last| n as i64 - last > 4000) {
            onsets.push(n as i64);
        }
    }
    onsets
}

/// Plays eight seconds with an edit every 130 ms and compares the recording, taken outside, with the schedule. With
/// `TEETER_EDITS=0` nothing is edited: gaps that stay then are the machine's.
#[test]
#[ignore = "needs a sound server that records; run tests/capture.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn plays_into_a_capture() {
    let path = std::env::var("TEETER_CAPTURE").expect("the recording's path");
    let mut player = Player::open(None).expect("a device");
    assert_eq!(player.handle.rate, SampleRate::STUDIO, "the recording runs at 48 kHz");
    let build = |k| Schedule::build(&groove(k), &ScheduleOptions::whole(SampleRate::STUDIO));
    std::thread::sleep(Duration::from_millis(500));
    player.start(Segment::new(build(0)), None);
    let (mut heads, mut edits) = (Vec::new(), 0);
    let edited = std::env::var("TEETER_EDITS").as_deref() != Ok("0");
    let start = Instant::now();
    while start.elapsed() < Duration::from_secs(8) {
        std::thread::sleep(Duration::from_millis(13));
        assert_eq!(player.tick(Instant::now()), None, "the device stays");
        if let Some(head) = player.playhead(Instant::now()) {
            heads.push((start.elapsed().as_secs_f64(), head));
        }
        if edited && start.elapsed().as_millis() / 130 > edits {
            edits += 1;
            player.handle.replace(1, Segment::new(build(edits as usize)));
        }
    }
    player.stop();
    std::thread::sleep(Duration::from_millis(700));
    let errors = player.errors();
    drop(player);

    let onsets = knocks(&path);
    let schedule = build(0);
    let expected: Vec<i64> = (0..100_u64)
        .flat_map(|pass| (0..schedule.len()).map(move |k| (pass, k)))
        .filter(|&(_, k)| schedule.notes[k].left > 0.1)
        .filter_map(|(pass, k)| schedule.onset(pass, k))
        .map(|f| f.0)
        .take(onsets.len())
        .collect();
    let first = *onsets.first().expect("something was heard");
    let wrong = onsets.iter().zip(&expected).filter(|&(&found, &exact)| found - first != exact).count();
    let mut shift = 0;
    for (k, (found, exact)) in onsets.iter().zip(&expected).enumerate() {
        if found - first - exact != shift {
            println!("from attack {k} on the recording is {} frames late", found - first - exact);
            shift = found - first - exact;
        }
    }
    let beats: Vec<f64> =
        heads.iter().map(|(t, h)| (h.loop_pass as f64 + h.position.wholes) * 240.0 / 137.3 - t).collect();
    let (least, most) = beats[10..].iter().fold((f64::MAX, f64::MIN), |(l, m), &b| (l.min(b), m.max(b)));
    println!(
        "{} attacks recorded, {wrong} off their exact frame, {edits} edits, {errors} errors reported, playhead {:.0} to \
         {:.0} ms against the clock of play()",
        onsets.len(),
        least * 1e3,
        most * 1e3
    );
    assert!(onsets.len() >= 70, "{} attacks of 73", onsets.len());
    assert_eq!(wrong, 0, "attacks off their exact frame");
}

/// Plays into the output named Quay, whose sink runs at 44100 while the default one runs at 48000, and looks at what either recorded.
#[test]
#[ignore = "needs a sound server that records; run tests/capture.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn a_chosen_output_sounds_alone() {
    let path = |name: &str| std::env::var(name).expect("the recording's path");
    let (cap, quay) = (path("TEETER_CAPTURE"), path("TEETER_QUAY"));
    let before = (knocks(&cap).len(), knocks(&quay).len());
    let mut player = Player::open(Some("quay")).expect("the output");
    let rate = player.handle.rate;
    std::thread::sleep(Duration::from_millis(500));
    player.start(Segment::new(build(&player)), None);
    let start = Instant::now();
    while start.elapsed() < Duration::from_secs(4) {
        std::thread::sleep(Duration::from_millis(20));
        assert_eq!(player.tick(Instant::now()), None, "the device stays");
    }
    player.stop();
    std::thread::sleep(Duration::from_millis(700));
    drop(player);
    assert_eq!(knocks(&cap).len(), before.0, "the default output is silent");
    let found = knocks(&quay).split_off(before.1);
    // In frames of the sink, whatever rate the player was told: a sixteenth at 137.3 quarters a minute.
    let exact = |k: usize| (k as f64 * 15.0 / 137.3 * 44_100.0).round() as i64;
    let off = found.iter().enumerate().map(|(k, at)| (at - found[0] - exact(k)).abs()).max();
    println!(
        "the chosen output was opened at {} Hz: {} attacks, at most {off:?} frames off",
        rate.hertz(),
        found.len()
    );
    assert!(found.len() >= 34, "{} attacks of 37", found.len());
    // At its own rate each stands where it belongs; through the server's converter a frame may be lost at either end.
    let allowed = if rate.hertz() == 44_100 { 0 } else { 2 };
    assert!(off.is_some_and(|off| off <= allowed), "{found:?}");
}

/// Ends the sound server under a running player, starts another one that runs at another rate, and ends that too.
#[test]
#[ignore = "needs a sound server that it may end; run tests/capture.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn goes_on_when_the_device_is_back() {
    let restart = std::env::var("TEETER_SERVER")
        .expect("a command that ends the server, and starts it at a rate if one is given");
    let server = |rate: &str| {
        let done = std::process::Command::new("sh").args([restart.as_str(), rate]).status().expect("sh runs");
        assert!(done.success());
    };
    let mut player = Player::open(None).expect("a device");
    let schedule = |player: &Player| Schedule::build(&groove(0), &ScheduleOptions::whole(player.handle.rate));
    player.start(Segment::new(schedule(&player)), None);
    let until = |player: &mut Player, most: u64, done: &dyn Fn(&Option<DeviceEvent>) -> bool| {
        let start = Instant::now();
        loop {
            std::thread::sleep(Duration::from_millis(10));
            let news = player.tick(Instant::now());
            if done(&news) {
                return (news, start.elapsed());
            }
            assert_eq!(news, None);
            assert!(start.elapsed() < Duration::from_secs(most), "{} errors", player.errors());
        }
    };
    for rate in ["48000", "44100"] {
        let start = Instant::now();
        until(&mut player, 9, &|_| start.elapsed() > Duration::from_millis(1500));
        let before = player.playhead(Instant::now()).expect("it plays");
        server("");
        let (news, took) = until(&mut player, 9, &|n| n.is_some());
        println!("{news:?} after {} ms, {} errors", took.as_millis(), player.errors());
        assert!(matches!(news, Some(DeviceEvent::Lost(_))));
        assert!(player.is_playing());
        // Told once, however often it is tried.
        let start = Instant::now();
        until(&mut player, 9, &|_| start.elapsed() > Duration::from_millis(1200));
        server(rate);
        let (news, took) = until(&mut player, 9, &|n| n.is_some());
        println!("{news:?} at {} Hz after {} ms", player.handle.rate.hertz(), took.as_millis());
        match news {
            Some(DeviceEvent::ReopenedAtNewRate(place)) => {
                let place = place.expect("it was playing");
                assert!(
                    place.position.wholes >= before.position.wholes - 0.02 || before.position.wholes > 0.9,
                    "{place:?} after {before:?}"
                );
                let schedule = schedule(&player);
                player.start(Segment::new(schedule), Some(place.position));
            }
            Some(DeviceEvent::Reopened) => {}
            other => panic!("{other:?}"),
        }
        let (_, _) = until(&mut player, 9, &|_| start.elapsed() > Duration::from_millis(2500));
        let loops = |h: Playhead| h.loop_pass as f64 + h.position.wholes;
        let first = loops(player.playhead(Instant::now()).expect("it plays"));
        let start = Instant::now();
        until(&mut player, 9, &|_| start.elapsed() > Duration::from_secs(1));
        let second = loops(player.playhead(Instant::now()).expect("it plays"));
        // A second at 137.3 quarters a minute is 0.572 whole notes, and the groove lasts one.
        assert!((second - first - 0.572).abs() < 0.06, "{first} to {second}");
    }
    server("");
    let (news, _) = until(&mut player, 9, &|n| n.is_some());
    assert!(matches!(news, Some(DeviceEvent::Lost(_))));
    let start = Instant::now();
    drop(player);
    assert!(start.elapsed() < Duration::from_secs(3), "closing took {:?}", start.elapsed());
    assert!(Player::open(None).is_err());
}

/// Measures how long it takes from a swap that is sent to its samples leaving: until the block after it is rendered, and from
/// there what the device says of itself.
#[test]
#[ignore = "needs a sound server; run tests/capture.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn an_edit_is_heard_soon() {
    let mut player = Player::open(None).expect("a device");
    let build = |k| Schedule::build(&groove(k), &ScheduleOptions::whole(SampleRate::STUDIO));
    player.start(Segment::new(build(0)), None);
    std::thread::sleep(Duration::from_secs(1));
    let (mut waits, mut totals) = (Vec::new(), Vec::new());
    for k in 0..100_u64 {
        std::thread::sleep(Duration::from_millis(20 + k % 23));
        assert_eq!(player.tick(Instant::now()), None);
        let schedule = build(k as usize);
        let blocks = player.handle.blocks();
        let sent = Instant::now();
        player.handle.replace(1, Segment::new(schedule));
        while player.handle.blocks() == blocks {
            std::thread::sleep(Duration::from_micros(100));
        }
        let wait = sent.elapsed().as_secs_f64() * 1e3;
        let frames = player.ahead().0 - i64::from(BUFFER_FRAMES) + crate::sound::RENDER_LATENCY as i64;
        waits.push(wait);
        totals.push(wait + frames as f64 / 48.0);
    }
    waits.sort_by(f64::total_cmp);
    totals.sort_by(f64::total_cmp);
    println!(
        "a swap is rendered after {:.1} ms (most {:.1}) and leaves after {:.1} ms (most {:.1}); ahead {} frames",
        waits[50],
        waits[99],
        totals[50],
        totals[99],
        player.ahead().0
    );
    assert!(totals[94] < 60.0, "95 of 100 under 60 ms: {:.1}", totals[94]);
}

#[test]
fn without_a_device_the_reason_is_one_line_or_there_is_a_device() {
    let _alone = crate::sound::stderr_guard::STDERR_LOCK.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    match Player::open(None) {
        Ok(mut player) => assert_eq!(player.tick(Instant::now()), None, "a device that was just opened"),
        Err(error) => assert_eq!(error.to_string().lines().count(), 1),
    }
    let error = Player::open(Some("no such thing")).err().expect("no such output").to_string();
    assert_eq!(error.lines().count(), 1, "{error}");
}

fn place_of(player: &mut Player) -> f64 {
    player.playhead(Instant::now()).map_or(-1.0, |h| h.position.wholes)
}

fn build(player: &Player) -> Schedule {
    Schedule::build(&groove(0), &ScheduleOptions::whole(player.handle.rate))
}

#[test]
fn a_device_that_comes_back_goes_on_where_it_was_and_is_told_once() {
    let _alone = crate::sound::stderr_guard::STDERR_LOCK.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let fake = FakeDevice::default();
    assert_eq!(fake.player().err().expect("none").to_string(), "no sound: unplugged");
    fake.0.borrow_mut().rate = Some(48_000);
    let mut player = fake.player().expect("a device");
    player.start(Segment::new(build(&player)), None);
    assert!(fake.pull(20_000).0 > 0.01);
    let mut now = Instant::now();
    assert_eq!(player.tick(now), None);
    // A million errors that say nothing, while frames are taken: nothing is lost.
    fake.0.borrow().counters.errors.fetch_add(3_000_000, Ordering::Relaxed);
    fake.pull(1024);
    assert_eq!(player.tick(now + Duration::from_millis(900)), None);
    std::thread::sleep(Duration::from_millis(60));
    let before = place_of(&mut player);
    fake.0.borrow_mut().rate = None;
    fake.0.borrow().counters.ended.store(true, Ordering::Release);
    now += Duration::from_secs(1);
    assert!(matches!(player.tick(now), Some(DeviceEvent::Lost(_))), "at once");
    assert!(fake.0.borrow().callback.is_none() && player.is_playing());
    // Tried with growing pauses of at most four seconds, without a word.
    let attempts = fake.0.borrow().attempts;
    let mut times = Vec::new();
    for _ in 0..3000 {
        now += Duration::from_millis(10);
        let tried = fake.0.borrow().attempts;
        assert_eq!(player.tick(now), None);
        if fake.0.borrow().attempts > tried {
            times.push(now);
        }
    }
    assert!((8..=12).contains(&(fake.0.borrow().attempts - attempts)), "{} attempts", times.len());
    let pauses: Vec<Duration> = times.windows(2).map(|w| w[1] - w[0]).collect();
    assert!(pauses.is_sorted() && pauses[pauses.len() - 1] <= Duration::from_millis(4010), "{pauses:?}");
    // An edit meanwhile waits; there is no step when it sounds again.
    player.handle.replace(1, Segment::new(build(&player)));
    fake.0.borrow_mut().rate = Some(48_000);
    fake.0.borrow_mut().default_buffer_only = true;
    now += Duration::from_secs(5);
    assert_eq!(player.tick(now), Some(DeviceEvent::Reopened));
    assert_eq!(player.tick(now), None);
    assert!((place_of(&mut player) - before).abs() < 0.03, "{} after {before}", place_of(&mut player));
    fake.pull(1);
    let (peak, step) = fake.pull(2000);
    assert!(peak > 0.0 && step < 0.2, "{peak} {step}");
    player.stop();
    fake.pull(8192);
    assert_eq!(fake.pull(1024).0, 0.0);
}

#[test]
fn a_device_that_comes_back_at_another_rate_asks_for_its_schedule() {
    let _alone = crate::sound::stderr_guard::STDERR_LOCK.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let fake = FakeDevice::default();
    fake.0.borrow_mut().rate = Some(48_000);
    let mut player = fake.player().expect("a device");
    player.start(Segment::new(build(&player)), None);
    fake.pull(30_000);
    std::thread::sleep(Duration::from_millis(60));
    let before = place_of(&mut player);
    let mut now = Instant::now();
    // It takes no frames any more and floods with errors.
    assert_eq!(player.tick(now), None);
    fake.0.borrow().counters.errors.fetch_add(200_000, Ordering::Relaxed);
    now += Duration::from_millis(200);
    assert!(matches!(player.tick(now), Some(DeviceEvent::Lost(_))));
    fake.0.borrow_mut().rate = Some(44_100);
    fake.0.borrow_mut().fails = true;
    now += Duration::from_secs(1);
    assert_eq!(player.tick(now), None, "it exists but cannot be opened");
    fake.0.borrow_mut().fails = false;
    now += Duration::from_secs(5);
    let Some(DeviceEvent::ReopenedAtNewRate(Some(place))) = player.tick(now) else { panic!("not asked for") };
    assert_eq!(player.handle.rate.hertz(), 44_100);
    assert!((place.position.wholes - before).abs() < 0.03, "{place:?} after {before}");
    assert_eq!(place.segment, 1);
    player.start(Segment::new(build(&player)), Some(place.position));
    fake.pull(4410);
    assert!(fake.pull(20_000).0 > 0.01);
    // A device that stops without an error is lost as well; what was stopped stays stopped.
    assert_eq!(player.tick(now), None);
    player.stop();
    now += Duration::from_secs(6);
    assert!(matches!(player.tick(now), Some(DeviceEvent::Lost(_))));
    assert!(!player.is_playing());
    fake.0.borrow_mut().rate = Some(96_000);
    now += Duration::from_secs(6);
    assert_eq!(player.tick(now), Some(DeviceEvent::ReopenedAtNewRate(None)));
}

#[test]
fn a_player_that_ends_while_it_sounds_fades_first() {
    let _alone = crate::sound::stderr_guard::STDERR_LOCK.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let fake = FakeDevice::new(48_000);
    let mut player = fake.player().expect("a device");
    player.start(Segment::new(build(&player)), None);
    assert!(fake.pull(20_000).0 > 0.01);
    // As `end` does: what is heard last is what was rendered before the device's own frames.
    let heard = player.fade_time().as_secs_f64() * 48_000.0 - player.ahead().0 as f64;
    player.stop();
    let (_, step) = fake.pull(heard as usize - 1024);
    assert!(step < 0.2, "{step}");
    assert_eq!(fake.pull(1024).0, 0.0);
    player.end();
    assert!(fake.0.borrow().callback.is_none());
}
