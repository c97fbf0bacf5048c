//! Tests over real loopback sockets, with a speaker whose device writes down what it would sound. They must not know a device
//! of this machine.

use super::frame::{Broken, MOST, Receiver, Sender};
use super::hello::{self, Role};
use super::line::News;
use super::meet::{Met, Right, knock};
use super::message::{self, ToEditor, ToSpeaker};
use super::packed::pack;
use super::*;
use crate::rhythm::{Groove, Voice};
use crate::sound::feed::{Feed, Hand, feed};
use crate::sound::tests::groove;
use crate::sound::{Ask, Frame, Keep, NoSound, Position, Renderer, SampleRate, Schedule};
use std::io::{Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Longest that anything is waited for.
const LONG: Duration = Duration::from_secs(20);

/// What a device was asked to sound, and switches to spoil it.
#[derive(Clone, Default)]
struct Tape {
    samples: Arc<Mutex<Vec<f32>>>,
    lost: Arc<AtomicBool>,
    /// Frames per second of the next device that is opened; 0 for 48000.
    hertz: Arc<AtomicU32>,
}

impl Tape {
    fn length(&self) -> usize {
        self.samples.lock().expect("tape").len()
    }

    /// Whether anything sounded within the last `n` samples.
    fn sounds(&self, n: usize) -> bool {
        let samples = self.samples.lock().expect("tape");
        samples[samples.len().saturating_sub(n)..].iter().any(|x| *x != 0.0)
    }
}

/// A device that renders onto a tape at the pace of a real one.
struct Sink {
    hand: Hand,
    tape: Tape,
    end: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Sink {
    fn open(tape: &Tape) -> Self {
        let hertz = match tape.hertz.load(Ordering::Relaxed) {
            0 => 48_000,
            hertz => hertz,
        };
        let (hand, mut feed): (Hand, Feed) = feed(SampleRate::new(hertz).expect("rate"));
        let end = Arc::new(AtomicBool::new(false));
        let (ended, samples) = (Arc::clone(&end), Arc::clone(&tape.samples));
        let thread = thread::spawn(move || {
            let start = Instant::now();
            let mut done = 0;
            while !ended.load(Ordering::Relaxed) {
                let due = (start.elapsed().as_secs_f64() * f64::from(hertz)) as usize;
                samples.lock().expect("tape").extend(feed.by_ref().take(2 * (due - done)));
                done = due;
                thread::sleep(Duration::from_millis(5));
            }
        });
        Self { hand, tape: tape.clone(), end, thread: Some(thread) }
    }
}

impl Device for Sink {
    fn hand(&mut self) -> &mut Hand {
        &mut self.hand
    }

    fn ahead(&self) -> Frame {
        Frame(0)
    }

    fn tick(&mut self) -> Result<(), NoSound> {
        self.hand.tick();
        if self.tape.lost.load(Ordering::Relaxed) { Err(NoSound::new("pulled out")) } else { Ok(()) }
    }
}

impl Drop for Sink {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
        let _ = self.thread.take().map(JoinHandle::join);
    }
}

/// A speaker on a thread.
struct Stage {
    port: u16,
    tape: Tape,
    said: mpsc::Receiver<Said>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Stage {
    fn open() -> Self {
        let speaker = Speaker::bind(0).expect("a port");
        let (port, tape, stop) = (speaker.port(), Tape::default(), Arc::new(AtomicBool::new(false)));
        let (say, said) = mpsc::channel();
        let (stopped, kept) = (Arc::clone(&stop), tape.clone());
        let thread = thread::spawn(move || {
            let mut open = || -> Result<Box<dyn Device>, NoSound> {
                if kept.lost.load(Ordering::Relaxed) {
                    return Err(NoSound::new("not there"));
                }
                Ok(Box::new(Sink::open(&kept)))
            };
            speaker.run(&mut open, &stopped, &mut |s| drop(say.send(s))).expect("a sink and random numbers");
        });
        Self { port, tape, said, stop, thread: Some(thread) }
    }

    /// Waits until the speaker has said something of this kind.
    fn until<T>(&self, mut is: impl FnMut(&Said) -> Option<T>) -> T {
        let end = Instant::now() + LONG;
        let mut heard = Vec::new();
        loop {
            match self.said.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(said) => match is(&said) {
                    Some(found) => return found,
                    None => heard.push(said),
                },
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => panic!("only heard {heard:?}"),
            }
        }
    }

    fn hears(&self, expected: &Said) {
        self.until(|s| (s == expected).then_some(()));
    }

    fn token(&self) -> Token {
        self.until(|s| if let Said::Token(t) = s { Some(t.clone()) } else { None })
    }

    fn editor(&self) -> Far {
        let far = Far::connect(self.port, &self.token()).expect("let in");
        self.hears(&Said::Joined);
        far
    }

    fn end(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.join().expect("the speaker ends without a panic");
        }
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        if !thread::panicking() {
            self.end();
        }
    }
}

fn wait(what: &str, mut is: impl FnMut() -> bool) {
    let end = Instant::now() + LONG;
    while !is() {
        assert!(Instant::now() < end, "waited in vain: {what}");
        thread::sleep(Duration::from_millis(5));
    }
}

fn news(far: &mut Far) -> News {
    let end = Instant::now() + LONG;
    loop {
        far.tick().expect("the session goes on");
        if let Some(news) = far.news() {
            return news;
        }
        assert!(Instant::now() < end, "no news");
        thread::sleep(Duration::from_millis(5));
    }
}

fn riff(drawing: &str) -> Groove {
    groove(&[Voice::Rim, Voice::Pluck], &[("4/4", "137.3", 1, None, drawing)])
}

fn schedule(drawing: &str) -> Schedule {
    Schedule::build(&riff(drawing), &Ask::whole(SampleRate::STUDIO))
}

/// An editor made by hand, to say what no editor says.
struct Rude {
    stream: TcpStream,
    sender: Sender<TcpStream>,
    receiver: Receiver<TcpStream>,
}

impl Rude {
    fn join(stage: &Stage) -> Self {
        let token = stage.token();
        let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, stage.port)).expect("the port");
        let Met { to_speaker, to_editor, .. } = knock(&stream, &Right::Token(token)).expect("let in");
        stream.set_read_timeout(Some(LONG)).expect("a timeout");
        let copy = || stream.try_clone().expect("a copy");
        let (sender, receiver) = (Sender::new(copy(), to_speaker), Receiver::new(copy(), to_editor));
        Self { stream, sender, receiver }
    }

    fn says(&mut self, message: &ToSpeaker<'_>) {
        self.sender.send(&message::write(message)).expect("sent");
    }

    /// Waits for a refusal.
    fn refused(&mut self) -> String {
        loop {
            let bytes = self.receiver.receive().expect("the line stays");
            if let Some(ToEditor::Refused(why)) = message::read(&bytes) {
                return why;
            }
        }
    }
}

#[test]
fn what_sounds_far_is_what_sounds_here() {
    let stage = Stage::open();
    let mut far = stage.editor();
    assert_eq!(far.rate(), SampleRate::STUDIO);
    far.play(schedule("X..x{5: xoxxx}x..x..x."));
    wait("three seconds of sound", || stage.tape.length() > 2 * 48_000 * 3);
    let here = {
        let mut renderer = Renderer::new(SampleRate::STUDIO);
        renderer.play(Box::new(schedule("X..x{5: xoxxx}x..x..x.")), Frame(0));
        let mut out = vec![0.0; 2 * 48_000 * 3];
        renderer.render(&mut out);
        out
    };
    let there = stage.tape.samples.lock().expect("tape").clone();
    let first = |s: &[f32]| s.iter().position(|x| *x != 0.0).expect("it sounds");
    let (here, there) = (&here[first(&here)..], &there[first(&there)..]);
    let n = here.len().min(there.len());
    assert!(n > 2 * 48_000, "{n} samples to compare");
    assert_eq!(here[..n], there[..n]);
}

#[test]
fn an_edit_far_sounds_as_an_edit_here() {
    let stage = Stage::open();
    let mut far = stage.editor();
    far.play(schedule("x...x...x...x..."));
    wait("the playhead", || far.playhead().is_some());
    far.swap(schedule("x.x.x.x.x.x.x.x."), Keep::Place);
    let start = stage.tape.length();
    wait("the second turn", || stage.tape.length() > start + 2 * 48_000 * 4);
    // From the second turn on, the loop is that of the edit, at the frames of a schedule that had always been there.
    let exact = schedule("x.x.x.x.x.x.x.x.");
    let there = stage.tape.samples.lock().expect("tape").clone();
    let zero = there.iter().position(|x| *x != 0.0).expect("it sounds") / 2;
    let mut renderer = Renderer::new(SampleRate::STUDIO);
    renderer.play(Box::new(schedule("x.x.x.x.x.x.x.x.")), Frame(0));
    let mut here = vec![0.0; there.len()];
    renderer.render(&mut here);
    let origin = here.iter().position(|x| *x != 0.0).expect("it sounds") / 2;
    // Two quarters into the second turn all that rang before the edit has died away.
    let from = exact.turn_start(1).0 as usize + 2 * 20_979;
    let n = there.len() / 2 - zero - from;
    assert!(n > 48_000, "{n} frames to compare");
    assert_eq!(there[2 * (zero + from)..2 * (zero + from + n)], here[2 * (origin + from)..2 * (origin + from + n)]);
}

#[test]
fn the_playhead_comes_and_goes() {
    let stage = Stage::open();
    let mut far = stage.editor();
    assert_eq!(far.playhead(), None);
    far.play_from(schedule("x...x...x...x..."), Position { section: 0, pass: 0, wholes: 0.5 });
    wait("the playhead", || far.playhead().is_some());
    let first = far.playhead().expect("a playhead");
    assert!(first.wholes >= 0.5 || first.loops > 0, "{first:?}");
    wait("the next turn", || far.playhead().is_some_and(|p| p.loops > first.loops));
    assert!(far.round_trip().is_some());
    let (then, now) = (Instant::now(), far.playhead_at(Instant::now() + Duration::from_millis(100)));
    let before = far.playhead_at(then).expect("known");
    let after = now.expect("known");
    assert!((after.loops as f64 + after.wholes) > (before.loops as f64 + before.wholes));
    far.seek(Position { section: 0, pass: 0, wholes: 0.0 });
    far.stop();
    assert_eq!(far.playhead(), None);
    wait("silence", || !stage.tape.sounds(4_800));
}

#[test]
fn a_token_is_good_once_and_for_one_editor() {
    let stage = Stage::open();
    let token = stage.token();
    let far = Far::connect(stage.port, &token).expect("let in");
    assert_eq!(Far::connect(stage.port, &token).err(), Some(FarError::Busy));
    drop(far);
    stage.hears(&Said::Left);
    let next = stage.token();
    assert_ne!(next, token);
    assert_eq!(Far::connect(stage.port, &token).err(), Some(FarError::WrongToken));
    drop(Far::connect(stage.port, &next).expect("let in"));
}

#[test]
fn guessing_wears_the_token_out() {
    let stage = Stage::open();
    let token = stage.token();
    let guesses: Vec<_> = (0..5)
        .map(|_| {
            let port = stage.port;
            thread::spawn(move || Far::connect(port, &Token::random().expect("random")).err())
        })
        .collect();
    for guess in guesses {
        assert_eq!(guess.join().expect("no panic"), Some(FarError::WrongToken));
    }
    stage.hears(&Said::Worn);
    assert_eq!(Far::connect(stage.port, &token).err(), Some(FarError::WrongToken));
    drop(Far::connect(stage.port, &stage.token()).expect("the new one is good"));
}

#[test]
fn garbage_on_the_port_changes_nothing() {
    let stage = Stage::open();
    let token = stage.token();
    for garbage in [&b"GET / HTTP/1.1\r\nHost: tide\r\n\r\n"[..], &[0; 4_000], &[0xff; 4_000], b"teeter\r\n", b"x"] {
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, stage.port)).expect("the port");
        // The speaker may have closed already.
        let _ = stream.write_all(garbage);
        let _ = stream.shutdown(Shutdown::Write);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        assert!(answer.len() <= 16 + 32, "{} bytes for a stranger", answer.len());
    }
    stage.until(|s| matches!(s, Said::Strangers(..)).then_some(()));
    drop(Far::connect(stage.port, &token).expect("the token is still good"));
}

#[test]
fn a_thousand_connections_are_not_served_at_once() {
    let stage = Stage::open();
    let token = stage.token();
    let mut closed = 0;
    for _ in 0..10 {
        let streams: Vec<TcpStream> =
            (0..100).filter_map(|_| TcpStream::connect((Ipv4Addr::LOCALHOST, stage.port)).ok()).collect();
        for mut stream in streams {
            stream.set_read_timeout(Some(Duration::from_millis(100))).expect("a timeout");
            let mut greeting = [0; 16];
            // Whoever is let wait gets the greeting first; the others are closed at once.
            closed +=
                u32::from(stream.read_exact(&mut greeting).is_err_and(|e| {
                    !matches!(e.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut)
                }));
        }
    }
    assert!(closed > 300, "{closed} of 1000 were closed at once");
    let mut far = None;
    wait("a place at the door", || {
        far = Far::connect(stage.port, &token).ok();
        far.is_some()
    });
}

#[test]
fn another_version_is_told_apart_on_both_sides() {
    let stage = Stage::open();
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, stage.port)).expect("the port");
    stream.write_all(&hello::of_version(Role::Editor, 77)).expect("sent");
    let mut greeting = [0; 16];
    stream.read_exact(&mut greeting).expect("a greeting");
    assert_eq!(greeting, hello::greeting(Role::Speaker));
    stage.hears(&Said::Strangers(1, Some(77)));
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
    let port = listener.local_addr().expect("an address").port();
    for (greeting, expected) in [
        (hello::of_version(Role::Speaker, 77), FarError::Version { theirs: 77 }),
        (hello::of_version(Role::Editor, VERSION), FarError::NoSpeaker),
        (*b"220 mail ready\r\n", FarError::Stranger),
    ] {
        let other = listener.try_clone().expect("a copy");
        let answer = thread::spawn(move || {
            let (mut stream, _) = other.accept().expect("a visitor");
            stream.write_all(&greeting).expect("sent");
            let _ = stream.read(&mut [0; 100]);
        });
        let error = Far::connect(port, &Token::random().expect("random")).expect_err("no speaker");
        assert_eq!(error, expected);
        assert_eq!(error.to_string().lines().count(), 1);
        answer.join().expect("no panic");
    }
    drop(listener);
    assert!(matches!(Far::connect(port, &Token::random().expect("random")), Err(FarError::NoPort(_))));
}

#[test]
fn whoever_does_not_know_the_token_is_no_speaker() {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let impostor = thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a visitor");
        stream.write_all(&hello::greeting(Role::Speaker)).expect("sent");
        stream.read_exact(&mut [0; 16]).expect("a greeting");
        stream.write_all(&[5; 32]).expect("a challenge");
        let mut answer = [0; 32 + 1 + 8 + 32];
        stream.read_exact(&mut answer).expect("an answer");
        let _ = stream.write_all(&[0; 33]);
        answer
    });
    let token = Token::random().expect("random");
    assert_eq!(Far::connect(port, &token).err(), Some(FarError::Impostor));
    let answer = impostor.join().expect("no panic");
    let text = token.to_string().replace('-', "");
    assert!(!answer.windows(16).any(|w| w == text.as_bytes()), "the token itself is never sent");
    // A port that is forwarded to nobody: accepted, and closed.
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let nobody = thread::spawn(move || drop(listener.accept()));
    assert_eq!(Far::connect(port, &token).err(), Some(FarError::NobodyThere));
    nobody.join().expect("no panic");
}

#[test]
fn what_cannot_be_sounded_is_refused_and_the_line_stays() {
    let stage = Stage::open();
    let mut rude = Rude::join(&stage);
    let good = message::write(&pack(&schedule("x...x...x...x...")).expect("small"));
    let mut wrong_rate = good.clone();
    wrong_rate[0] ^= 1;
    // Rate and denominator, a length, no sections, sounds or ways, and a billion notes that are not there.
    let billion = [&[0x80, 0xf7, 0x02, 1, 100, 0, 0, 0, 0][..], &[0x80, 0x94, 0xeb, 0xdc, 0x03]].concat();
    for packed in [&[][..], &[0xff; 3_000], &billion, &wrong_rate, &good[..good.len() - 1]] {
        rude.says(&ToSpeaker::Play { age: 1, from: 0, packed });
        assert!(!rude.refused().is_empty());
        rude.says(&ToSpeaker::Swap { age: 1, keep: message::Keeping::Place, packed });
        assert!(!rude.refused().is_empty());
    }
    rude.says(&ToSpeaker::Gain(f32::NAN));
    assert!(rude.refused().contains("gain"));
    rude.says(&ToSpeaker::Seek(u64::MAX));
    rude.says(&ToSpeaker::Play { age: 7, from: u64::MAX, packed: &good });
    rude.says(&ToSpeaker::Seek(u64::MAX));
    loop {
        let bytes = rude.receiver.receive().expect("the line stays");
        if let Some(ToEditor::Heard { age, .. }) = message::read(&bytes) {
            assert_eq!(age, 7);
            break;
        }
        rude.says(&ToSpeaker::Ping(1));
    }
    // A refusal also ends what sounds: the editor thinks something else is heard.
    rude.says(&ToSpeaker::Play { age: 8, from: 0, packed: &[1] });
    rude.refused();
    wait("silence", || !stage.tape.sounds(4_800));
}

#[test]
fn what_is_no_message_ends_the_line() {
    let stage = Stage::open();
    let mut rude = Rude::join(&stage);
    rude.stream.write_all(&(MOST as u32 + 1).to_be_bytes()).expect("sent");
    assert!(stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("allowed are"));
    assert!(matches!(loop_until_broken(&mut rude), Broken::Stream(_)));
    let mut rude = Rude::join(&stage);
    rude.sender.send(&[200, 1, 2, 3]).expect("sent");
    assert!(stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("understand"));
    let mut rude = Rude::join(&stage);
    rude.stream.write_all(&[0, 0, 0, 1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]).expect("sent");
    assert!(stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("other end"));
    assert!(matches!(loop_until_broken(&mut rude), Broken::Stream(_)));
}

fn loop_until_broken(rude: &mut Rude) -> Broken {
    loop {
        if let Err(broken) = rude.receiver.receive() {
            return broken;
        }
    }
}

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
    let mut far = Far::connect(tunnel.port, &stage.token()).expect("let in");
    far.set_gain(-3.0);
    far.play(schedule("xxxxxxxxxxxxxxxx"));
    wait("sound", || stage.tape.sounds(4_800) && far.playhead().is_some());
    tunnel.cut();
    assert!(matches!(news(&mut far), News::Lost(_)));
    assert!(!far.is_there() && far.is_playing());
    assert_eq!(far.playhead(), None);
    assert_eq!(news(&mut far), News::Back);
    stage.hears(&Said::Back);
    wait("sound again", || {
        far.tick().expect("the session goes on");
        far.playhead().is_some() && stage.tape.sounds(4_800)
    });
    // Stopped while the line is lost, it stays stopped.
    tunnel.cut();
    assert!(matches!(news(&mut far), News::Lost(_)));
    far.stop();
    assert_eq!(news(&mut far), News::Back);
    far.tick().expect("the session goes on");
    wait("silence", || !stage.tape.sounds(9_600));
    assert_eq!(far.playhead(), None);
}

#[test]
fn a_half_open_line_is_noticed_and_the_sound_fades() {
    let stage = Stage::open();
    let tunnel = Tunnel::to(stage.port);
    let mut far = Far::connect(tunnel.port, &stage.token()).expect("let in");
    far.play(schedule("x---x---x---x---"));
    wait("sound", || stage.tape.sounds(4_800) && far.playhead().is_some());
    tunnel.dead.store(true, Ordering::Relaxed);
    let why = stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None });
    assert!(why.contains("nothing came"), "{why}");
    assert!(matches!(news(&mut far), News::Lost(_)));
    wait("silence", || !stage.tape.sounds(9_600));
    let samples = stage.tape.samples.lock().expect("tape").clone();
    let end = samples.iter().rposition(|x| *x != 0.0).expect("it sounded");
    // The last milliseconds go down to nothing instead of breaking off.
    let peak = |from: usize, to: usize| samples[from..to].iter().fold(0_f32, |m, x| m.max(x.abs()));
    assert!(peak(end - 40, end + 1) < 0.2 * peak(end - 9_600, end - 768).max(1e-3), "the sound breaks off");
    tunnel.dead.store(false, Ordering::Relaxed);
    assert_eq!(news(&mut far), News::Back);
    wait("sound again", || {
        far.tick().expect("the session goes on");
        stage.tape.sounds(4_800)
    });
}

#[test]
fn a_lost_device_comes_back() {
    let stage = Stage::open();
    let mut far = stage.editor();
    far.play(schedule("xxxxxxxxxxxxxxxx"));
    wait("the playhead", || far.playhead().is_some());
    stage.tape.lost.store(true, Ordering::Relaxed);
    let News::Lost(why) = news(&mut far) else { panic!("the device is lost") };
    assert!(why.contains("pulled out"), "{why}");
    stage.tape.lost.store(false, Ordering::Relaxed);
    assert_eq!(news(&mut far), News::Back);
    wait("the playhead", || {
        far.tick().expect("the session goes on");
        far.playhead().is_some()
    });
    // A device of another rate cannot go on with what was built for the old one.
    stage.tape.lost.store(true, Ordering::Relaxed);
    assert!(matches!(news(&mut far), News::Lost(_)));
    stage.tape.hertz.store(44_100, Ordering::Relaxed);
    stage.tape.lost.store(false, Ordering::Relaxed);
    assert_eq!(news(&mut far), News::Back);
    let News::Refused(why) = news(&mut far) else { panic!("it does not go on") };
    assert!(why.contains("44100"), "{why}");
    assert!(!far.is_playing());
    assert_eq!(far.rate().hertz(), 44_100);
}

#[test]
fn when_the_speaker_ends_the_session_is_over() {
    let mut stage = Stage::open();
    let mut far = stage.editor();
    far.play(schedule("xxxxxxxxxxxxxxxx"));
    wait("the playhead", || far.playhead().is_some());
    stage.end();
    let mut over = None;
    wait("the end", || {
        over = far.tick().err();
        over.is_some()
    });
    assert_eq!(over.expect("over").to_string(), "no sound: the far speaker was ended");
}

#[test]
fn after_a_while_another_editor_may_take_the_place_of_a_lost_one() {
    let stage = Stage::open();
    let rude = Rude::join(&stage);
    stage.hears(&Said::Joined);
    drop(rude);
    stage.until(|s| matches!(s, Said::Lost(_)).then_some(()));
    drop(Far::connect(stage.port, &stage.token()).expect("let in"));
}

/// This machine's device, and where it says that the loop is heard.
struct Watched {
    player: crate::sound::Player,
    heard: Arc<Mutex<Vec<(Instant, f64)>>>,
}

/// Bars since the start, of a groove of one bar.
fn bars(head: crate::sound::Playhead) -> f64 {
    head.loops as f64 + head.wholes
}

impl Device for Watched {
    fn hand(&mut self) -> &mut Hand {
        self.player.hand()
    }

    fn ahead(&self) -> Frame {
        self.player.ahead()
    }

    fn tick(&mut self) -> Result<(), NoSound> {
        let now = Instant::now();
        if let Some(head) = self.player.playhead() {
            self.heard.lock().expect("heard").push((now, bars(head)));
        }
        self.player.tick()
    }
}

/// Compares the playhead of the editor's end with that of the device, with a tunnel between them.
#[test]
#[ignore = "needs a device and a forwarded port; run tests/far.sh"]
#[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
fn plays_through_a_tunnel() {
    let port = |name: &str| -> u16 { std::env::var(name).expect(name).parse().expect("a port") };
    let (near, tunnel) = (port("TEETER_FAR_NEAR"), port("TEETER_FAR_PORT"));
    let heard: Arc<Mutex<Vec<(Instant, f64)>>> = Arc::default();
    let stop = Arc::new(AtomicBool::new(false));
    let (say, said) = mpsc::channel();
    let (watched, stopped) = (Arc::clone(&heard), Arc::clone(&stop));
    let stage = thread::spawn(move || {
        let mut open = || -> Result<Box<dyn Device>, NoSound> {
            Ok(Box::new(Watched { player: crate::sound::Player::open()?, heard: Arc::clone(&watched) }))
        };
        Speaker::bind(near).expect("the port").run(&mut open, &stopped, &mut |s| drop(say.send(s)))
    });
    let Said::Token(token) = said.recv_timeout(LONG).expect("a token") else { panic!("first comes the token") };
    let mut far = Far::connect(tunnel, &token).expect("let in");
    let bar = 240.0 / 137.3;
    let loop_of = |drawing: &str, rate| Schedule::build(&riff(drawing), &Ask::whole(rate));
    let rate = far.rate();
    far.play(loop_of("xxxxxxxxxxxxxxxx", rate));
    let mut seen = Vec::new();
    let start = Instant::now();
    let mut edits = 0;
    while start.elapsed() < Duration::from_secs(20) {
        thread::sleep(Duration::from_millis(16));
        far.tick().expect("the session goes on");
        if start.elapsed() > Duration::from_secs(2) {
            let now = Instant::now();
            seen.extend(far.playhead_at(now).map(|head| (now, bars(head))));
        }
        if start.elapsed() > Duration::from_millis(4_000 + 700 * edits) {
            edits += 1;
            far.swap(loop_of(if edits % 2 == 0 { "xxxxxxxxxxxxxxxx" } else { "xxxxx.x.xxx.xxxx" }, rate), Keep::Place);
        }
    }
    let trip = far.round_trip().expect("pings went");
    drop(far);
    stop.store(true, Ordering::Relaxed);
    stage.join().expect("no panic").expect("sound");
    let heard = heard.lock().expect("heard");
    let mut errors: Vec<f64> = seen
        .iter()
        .filter_map(|&(at, place)| {
            let (then, there) = *heard.get(heard.partition_point(|h| h.0 <= at).checked_sub(1)?)?;
            Some(1e3 * ((place - there) * bar - (at - then).as_secs_f64()))
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let share = |p: f64| errors[((errors.len() - 1) as f64 * p) as usize];
    println!(
        "{} looks, {edits} edits, round trip {:.1} ms; playhead minus the device's: {:.1} to {:.1} ms, median {:.1}, \
         middle 98%: {:.1} to {:.1}",
        errors.len(),
        trip.as_secs_f64() * 1e3,
        share(0.0),
        share(1.0),
        share(0.5),
        share(0.01),
        share(0.99)
    );
    assert!(errors.len() > 500, "{} looks", errors.len());
}
