//! Tests of lines that are cut, go dead or end, and of devices that are lost.

use super::*;
use crate::rhythm::Fraction;

/// A forwarded port that can be cut, or go dead without being closed.
struct Tunnel {
    port: u16,
    /// While set, bytes vanish.
    dead: Arc<AtomicBool>,
    streams: Arc<Mutex<Vec<TcpStream>>>,
}

impl Tunnel {
    fn to(target: u16) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let (dead, streams) = (Arc::new(AtomicBool::new(false)), Arc::new(Mutex::new(Vec::new())));
        let (cut, kept) = (Arc::clone(&dead), Arc::clone(&streams));
        thread::spawn(move || {
            while let Ok((near, _)) = listener.accept() {
                let Ok(far) = TcpStream::connect((Ipv4Addr::LOCALHOST, target)) else { continue };
                for (from, to) in [(&near, &far), (&far, &near)] {
                    let (mut from, mut to) = (from.try_clone().expect("a copy"), to.try_clone().expect("a copy"));
                    let cut = Arc::clone(&cut);
                    thread::spawn(move || {
                        let mut bytes = [0; 4_096];
                        while let Ok(n @ 1..) = from.read(&mut bytes) {
                            if !cut.load(Ordering::Relaxed) && to.write_all(&bytes[..n]).is_err() {
                                break;
                            }
                        }
                        if !cut.load(Ordering::Relaxed) {
                            let _ = to.shutdown(Shutdown::Both);
                        }
                    });
                }
                kept.lock().expect("streams").extend([near, far]);
            }
        });
        Self { port, dead, streams }
    }

    fn cut(&self) {
        for stream in self.streams.lock().expect("streams").drain(..) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }
}

#[test]
fn a_cut_line_stops_the_sound_and_comes_back() {
    let stage = Stage::open();
    let tunnel = Tunnel::to(stage.port);
    let mut far = RemotePlayer::connect(tunnel.port, &stage.token()).expect("let in");
    far.set_volume(-3.0);
    far.start(Segment::new(schedule("xxxxxxxxxxxxxxxx")), None);
    wait("sound", || stage.tape.sounds(4_800) && far.playhead().is_some());
    tunnel.cut();
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    assert!(!far.is_there() && far.is_playing());
    assert_eq!(far.playhead(), None);
    let DeviceEvent::ReopenedAtNewRate(Some(place)) = news(&mut far) else { panic!("it is to be sent anew") };
    assert!(place.position.wholes > 0.0 && (place.segment, place.loop_pass) == (1, 0), "{place:?}");
    stage.hears(&Said::Back);
    far.start(Segment::new(schedule("xxxxxxxxxxxxxxxx")), Some(place.position));
    wait("sound again", || far.tick().is_none() && far.playhead().is_some() && stage.tape.sounds(4_800));
    // Stopped while the line is lost, it stays stopped.
    tunnel.cut();
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    far.stop();
    assert_eq!(news(&mut far), DeviceEvent::ReopenedAtNewRate(None));
    wait("silence", || !stage.tape.sounds(9_600));
    assert_eq!(far.playhead(), None);
}

/// What sounds of a sequence on a line that is cut in its second leg, and what sounds here without that, is the same from the last
/// time through of that leg to the end.
#[test]
fn a_sequence_goes_on_after_a_cut_line_in_its_leg_and_at_its_place() {
    // All times are whole frames: 6000 a cell and 4800 a fifth at full speed.
    let groove = groove(&[Voice::Rim, Voice::Wood], &[("4/4", "120", 1, None, "X..x{5: xoxxx}x..x..x.")]);
    let leg = |speed: (i64, i64), times| {
        let speed = Fraction::new(speed.0, speed.1).expect("speed");
        Segment::new(Schedule::build(&groove, &ScheduleOptions { speed, ..ScheduleOptions::whole(SampleRate::STUDIO) }))
            .passes(times)
    };
    let (first, second, third) = (|| leg((2, 1), 1), || leg((2, 1), 4), || leg((3, 2), 1).stop_at_end());
    let stage = Stage::open();
    let tunnel = Tunnel::to(stage.port);
    let mut far = RemotePlayer::connect(tunnel.port, &stage.token()).expect("let in");
    far.start(first(), None);
    let ids = [far.queue(second()), far.queue(third())];
    let mut last = 0.0;
    wait("the second leg's second time through", || {
        assert_eq!(far.tick(), None);
        let head = far.playhead().filter(|h| h.segment == ids[0]);
        last = head.map_or(last, bars);
        last > 1.0
    });
    tunnel.cut();
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    let DeviceEvent::ReopenedAtNewRate(Some(place)) = news(&mut far) else { panic!("it is to be sent anew") };
    assert_eq!(place.segment, ids[0]);
    assert!((last..last + 0.8).contains(&bars(place)), "{place:?}, heard before was {last}");
    stage.hears(&Said::Back);
    let before = stage.tape.length();
    let again = far.start(second().skip_passes(place.loop_pass), Some(place.position));
    let after = far.queue(third());
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
    let left = (0..4 - place.loop_pass).map(|turn| (again, turn));
    assert_eq!(told, left.chain([(after, 0)]).collect::<Vec<_>>());
    wait("silence", || !stage.tape.sounds(48_000));
    let there = stage.tape.samples.lock().expect("tape")[before..].to_vec();
    let here = {
        let (mut handle, mut feed) = render_channel(SampleRate::STUDIO);
        handle.start(first(), Frame(0));
        handle.queue(second());
        handle.queue(third());
        feed.by_ref().take(2 * 48_000 * 8).collect::<Vec<f32>>()
    };
    let end = |s: &[f32]| s.iter().rposition(|x| *x != 0.0).expect("it sounds") + 1;
    // The last attack is struck two cells before the end.
    let n = 2 * (48_000 + 64_000 - 2 * 4_000);
    let (here, there) = (&here[..end(&here)], &there[..end(&there)]);
    assert!(here[here.len() - n..] == there[there.len() - n..], "they differ");
}

#[test]
fn a_half_open_line_is_noticed_and_the_sound_fades() {
    let stage = Stage::open();
    let tunnel = Tunnel::to(stage.port);
    let mut far = RemotePlayer::connect(tunnel.port, &stage.token()).expect("let in");
    far.start(Segment::new(schedule("x---x---x---x---")), None);
    wait("sound", || stage.tape.sounds(4_800) && far.playhead().is_some());
    tunnel.dead.store(true, Ordering::Relaxed);
    let why = stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None });
    assert!(why.contains("no data for several seconds"), "{why}");
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    wait("silence", || !stage.tape.sounds(9_600));
    let samples = stage.tape.samples.lock().expect("tape").clone();
    let end = samples.iter().rposition(|x| *x != 0.0).expect("it sounded");
    // The last milliseconds go down to nothing instead of breaking off.
    let peak = |from: usize, to: usize| samples[from..to].iter().fold(0_f32, |m, x| m.max(x.abs()));
    assert!(peak(end - 40, end + 1) < 0.2 * peak(end - 9_600, end - 768).max(1e-3), "the sound breaks off");
    tunnel.dead.store(false, Ordering::Relaxed);
    let DeviceEvent::ReopenedAtNewRate(Some(place)) = news(&mut far) else { panic!("it is to be sent anew") };
    far.start(Segment::new(schedule("x---x---x---x---")), Some(place.position));
    wait("sound again", || far.tick().is_none() && stage.tape.sounds(4_800));
}

#[test]
fn a_lost_device_comes_back() {
    let stage = Stage::open();
    let mut far = stage.editor();
    far.start(Segment::new(schedule("xxxxxxxxxxxxxxxx")), None);
    wait("the playhead", || far.playhead().is_some());
    stage.tape.lost.store(true, Ordering::Relaxed);
    assert_eq!(news(&mut far), DeviceEvent::Lost(OutputError::new("pulled out")));
    stage.tape.lost.store(false, Ordering::Relaxed);
    assert_eq!(news(&mut far), DeviceEvent::Reopened, "what was played goes on by itself");
    wait("the playhead", || far.tick().is_none() && far.playhead().is_some());
    // A device of another rate cannot go on with what was built for the old one.
    stage.tape.lost.store(true, Ordering::Relaxed);
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    stage.tape.hertz.store(44_100, Ordering::Relaxed);
    stage.tape.lost.store(false, Ordering::Relaxed);
    let DeviceEvent::ReopenedAtNewRate(Some(place)) = news(&mut far) else { panic!("it is to be built anew") };
    assert!(far.is_playing());
    let rate = far.rate();
    assert_eq!(rate.hertz(), 44_100);
    far.start(
        Segment::new(Schedule::build(&riff("xxxxxxxxxxxxxxxx"), &ScheduleOptions::whole(rate))),
        Some(place.position),
    );
    wait("sound at the other rate", || far.tick().is_none() && far.playhead().is_some() && stage.tape.sounds(4_410));
}

#[test]
fn when_the_speaker_ends_the_session_is_over() {
    let mut stage = Stage::open();
    let mut far = stage.editor();
    far.start(Segment::new(schedule("xxxxxxxxxxxxxxxx")), None);
    wait("the playhead", || far.playhead().is_some());
    stage.end();
    let mut over = None;
    wait("the end", || {
        over = far.tick();
        matches!(over, Some(OutputEvent::Closed(_)))
    });
    assert_eq!(over, Some(OutputEvent::Closed(OutputError::new("the remote speaker was closed"))));
}

#[test]
fn after_a_while_another_editor_may_take_the_place_of_a_lost_one() {
    let stage = Stage::open();
    let rude = Rude::join(&stage);
    stage.hears(&Said::Joined);
    drop(rude);
    stage.until(|s| matches!(s, Said::Lost(_)).then_some(()));
    drop(RemotePlayer::connect(stage.port, &stage.token()).expect("let in"));
}

/// This machine's device, and where it says that the loop is heard.
struct Watched {
    player: crate::sound::Player,
    heard: Arc<Mutex<Vec<(Instant, f64)>>>,
}

/// Bars since the start, of a groove of one bar.
fn bars(head: crate::sound::Playhead) -> f64 {
    head.loop_pass as f64 + head.position.wholes
}

impl Device for Watched {
    fn handle(&mut self) -> &mut RenderHandle {
        self.player.handle()
    }

    fn ahead(&self) -> Frame {
        Device::ahead(&self.player)
    }

    fn grain(&self) -> Frame {
        Device::grain(&self.player)
    }

    fn tick(&mut self) -> Option<DeviceEvent> {
        let now = Instant::now();
        if let Some(head) = self.player.playhead() {
            self.heard.lock().expect("heard").push((now, bars(head)));
        }
        self.player.tick()
    }
}

/// Compares the playhead of the editor's end with that of the device, with a tunnel between them.
#[test]
#[ignore = "needs a device and a forwarded port; run tests/remote.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn plays_through_a_tunnel() {
    let port = |name: &str| -> u16 { std::env::var(name).expect(name).parse().expect("a port") };
    let (near, tunnel) = (port("TEETER_FAR_NEAR"), port("TEETER_FAR_PORT"));
    let heard: Arc<Mutex<Vec<(Instant, f64)>>> = Arc::default();
    let stop = Arc::new(AtomicBool::new(false));
    let (say, said) = mpsc::channel();
    let (watched, stopped) = (Arc::clone(&heard), Arc::clone(&stop));
    let stage = thread::spawn(move || {
        let player = crate::sound::Player::open(None)?;
        let device = Box::new(Watched { player, heard: watched });
        Speaker::bind(near).expect("the port").run(device, &stopped, &mut |s| drop(say.send(s)))
    });
    let Said::Token(token) = said.recv_timeout(LONG).expect("a token") else { panic!("first comes the token") };
    let mut far = RemotePlayer::connect(tunnel, &token).expect("let in");
    let bar = 240.0 / 137.3;
    let loop_of = |drawing: &str, rate| Schedule::build(&riff(drawing), &ScheduleOptions::whole(rate));
    let rate = far.rate();
    far.start(Segment::new(loop_of("xxxxxxxxxxxxxxxx", rate)), None);
    let mut seen = Vec::new();
    let start = Instant::now();
    let mut edits = 0;
    while start.elapsed() < Duration::from_secs(20) {
        thread::sleep(Duration::from_millis(16));
        assert_eq!(far.tick(), None);
        if start.elapsed() > Duration::from_secs(2) {
            let now = Instant::now();
            seen.extend(far.playhead_at(now).map(|head| (now, bars(head))));
        }
        if start.elapsed() > Duration::from_millis(4_000 + 700 * edits) {
            edits += 1;
            far.replace(
                1,
                Segment::new(loop_of(if edits % 2 == 0 { "xxxxxxxxxxxxxxxx" } else { "xxxxx.x.xxx.xxxx" }, rate)),
            );
        }
    }
    let trip = far.round_trip().expect("pings went");
    drop(far);
    stop.store(true, Ordering::Relaxed);
    stage.join().expect("no panic").expect("sound");
    let heard = heard.lock().expect("heard");
    // What the device says of itself at the same time.
    let beside = seen.iter().filter_map(|&(at, place)| {
        let (then, there) = *heard.get(heard.partition_point(|h| h.0 <= at).checked_sub(1)?)?;
        Some(1e3 * ((place - there) * bar - (at - then).as_secs_f64()))
    });
    // The loop runs without a break, so that it stands on a straight line; the device's thread is late at times, never early.
    let line = |at: Instant, place: f64| place * bar - (at - start).as_secs_f64();
    let steady = heard.iter().filter(|h| h.0 > start).map(|&(at, place)| line(at, place)).fold(f64::MIN, f64::max);
    let against = seen.iter().map(|&(at, place)| 1e3 * (line(at, place) - steady));
    println!("{} looks, {edits} edits, round trip {:.1} ms", seen.len(), trip.as_secs_f64() * 1e3);
    for (what, errors) in [("the device's", beside.collect::<Vec<_>>()), ("a steady loop's", against.collect())] {
        let mut errors = errors;
        errors.sort_by(f64::total_cmp);
        let share = |p: f64| errors[((errors.len() - 1) as f64 * p) as usize];
        println!(
            "playhead minus {what}: {:.1} to {:.1} ms, median {:.1}, middle 98%: {:.1} to {:.1}",
            share(0.0),
            share(1.0),
            share(0.5),
            share(0.01),
            share(0.99)
        );
    }
    assert!(seen.len() > 500, "{} looks", seen.len());
}
