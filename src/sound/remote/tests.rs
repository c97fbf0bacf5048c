//! Tests over real loopback sockets, with a speaker whose device writes down what it would sound.

mod doors;
mod legs;
mod lines;
mod stage;

use super::frame::{Broken, MOST, Receiver, Sender};
use super::hello::{self, Role};
use super::leg::pack_leg;
use super::meet::{Met, Right, knock};
use super::message::{self, How, ToEditor, ToSpeaker};
use super::*;
use crate::rhythm::{Groove, Voice};
use crate::sound::channel::{RenderHandle, RenderSource, render_channel};
use crate::sound::tests::groove;
use crate::sound::{
    DeviceEvent, Frame, OutputError, OutputEvent, Playhead, Position, Renderer, SampleRate, Schedule, ScheduleOptions,
    Segment,
};
use stage::*;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Longest that anything is waited for.
const LONG: Duration = Duration::from_secs(20);

#[test]
fn what_sounds_far_is_what_sounds_here() {
    let stage = Stage::open();
    let mut far = stage.editor();
    assert_eq!(far.rate(), SampleRate::STUDIO);
    far.start(Segment::new(schedule("X..x{5: xoxxx}x..x..x.")), None);
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
    far.start(Segment::new(schedule("x...x...x...x...")), None);
    wait("the playhead", || far.playhead().is_some());
    far.replace(1, Segment::new(schedule("x.x.x.x.x.x.x.x.")));
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
    let from = exact.pass_start(1).0 as usize + 2 * 20_979;
    let n = there.len() / 2 - zero - from;
    assert!(n > 48_000, "{n} frames to compare");
    assert_eq!(there[2 * (zero + from)..2 * (zero + from + n)], here[2 * (origin + from)..2 * (origin + from + n)]);
}

#[test]
fn the_playhead_comes_and_goes() {
    let stage = Stage::open();
    let mut far = stage.editor();
    assert_eq!(far.playhead(), None);
    far.start(Segment::new(schedule("x...x...x...x...")), Some(Position { section: 0, pass: 0, wholes: 0.5 }));
    wait("the playhead", || far.playhead().is_some());
    let first = far.playhead().expect("a playhead");
    assert!(first.position.wholes >= 0.5 || first.loop_pass > 0, "{first:?}");
    wait("the next turn", || far.playhead().is_some_and(|p| p.loop_pass > first.loop_pass));
    assert!(far.round_trip().is_some());
    let (then, now) = (Instant::now(), far.playhead_at(Instant::now() + Duration::from_millis(100)));
    let before = far.playhead_at(then).expect("known");
    let after = now.expect("known");
    assert!((after.loop_pass as f64 + after.position.wholes) > (before.loop_pass as f64 + before.position.wholes));
    far.stop();
    assert_eq!(far.playhead(), None);
    wait("silence", || !stage.tape.sounds(4_800));
}

#[test]
fn a_token_is_good_once_and_for_one_editor() {
    let stage = Stage::open();
    let token = stage.token();
    let far = RemotePlayer::connect(stage.port, &token).expect("let in");
    assert_eq!(RemotePlayer::connect(stage.port, &token).err(), Some(RemoteError::Busy));
    drop(far);
    stage.hears(&Said::Left);
    let next = stage.token();
    assert_ne!(next, token);
    assert_eq!(RemotePlayer::connect(stage.port, &token).err(), Some(RemoteError::WrongToken));
    drop(RemotePlayer::connect(stage.port, &next).expect("let in"));
}

#[test]
fn guessing_wears_the_token_out() {
    let stage = Stage::open();
    let token = stage.token();
    let guesses: Vec<_> = (0..5)
        .map(|_| {
            let port = stage.port;
            thread::spawn(move || RemotePlayer::connect(port, &Token::random().expect("random")).err())
        })
        .collect();
    for guess in guesses {
        assert_eq!(guess.join().expect("no panic"), Some(RemoteError::WrongToken));
    }
    stage.hears(&Said::Worn);
    assert_eq!(RemotePlayer::connect(stage.port, &token).err(), Some(RemoteError::WrongToken));
    drop(RemotePlayer::connect(stage.port, &stage.token()).expect("the new one is good"));
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
    drop(RemotePlayer::connect(stage.port, &token).expect("the token is still good"));
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
        far = RemotePlayer::connect(stage.port, &token).ok();
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
        (hello::of_version(Role::Speaker, 77), RemoteError::Version { theirs: 77 }),
        (hello::of_version(Role::Editor, VERSION), RemoteError::NoSpeaker),
        (*b"220 mail ready\r\n", RemoteError::Stranger),
    ] {
        let other = listener.try_clone().expect("a copy");
        let answer = thread::spawn(move || {
            let (mut stream, _) = other.accept().expect("a visitor");
            stream.write_all(&greeting).expect("sent");
            let _ = stream.read(&mut [0; 100]);
        });
        let error = RemotePlayer::connect(port, &Token::random().expect("random")).expect_err("no speaker");
        assert_eq!(error, expected);
        assert_eq!(error.to_string().lines().count(), 1);
        answer.join().expect("no panic");
    }
    drop(listener);
    assert!(matches!(RemotePlayer::connect(port, &Token::random().expect("random")), Err(RemoteError::NoPort(_))));
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
    assert_eq!(RemotePlayer::connect(port, &token).err(), Some(RemoteError::Impostor));
    let answer = impostor.join().expect("no panic");
    let text = token.to_string().replace('-', "");
    assert!(!answer.windows(16).any(|w| w == text.as_bytes()), "the token itself is never sent");
    // A port that is forwarded to nobody: accepted, and closed.
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let nobody = thread::spawn(move || drop(listener.accept()));
    assert_eq!(RemotePlayer::connect(port, &token).err(), Some(RemoteError::NobodyThere));
    nobody.join().expect("no panic");
}

#[test]
fn what_cannot_be_sounded_is_refused_and_the_line_stays() {
    let stage = Stage::open();
    let mut rude = Rude::join(&stage);
    let good = pack_leg(&Segment::new(schedule("x...x...x...x..."))).expect("small");
    // Times through, not the last, no silences.
    let leg = [1, 0, 0, 0];
    let mut wrong_rate = good.clone();
    wrong_rate[leg.len() - 1 + 10] ^= 1;
    // Rate and denominator, a length, no sections, sounds or ways, and a billion notes that are not there.
    let billion = [&leg[..], &[0x80, 0xf7, 0x02, 1, 100, 0, 0, 0, 0], &[0x80, 0x94, 0xeb, 0xdc, 0x03]].concat();
    for packed in [&[][..], &[0xff; 3_000], &billion, &wrong_rate, &good[..good.len() - 1]] {
        for how in [How::Start(0), How::Queue, How::Then, How::Replace] {
            rude.says(&ToSpeaker::Segment { how, leg: 1, generation: 1, packed });
            assert!(!rude.refused().is_empty());
        }
    }
    rude.says(&ToSpeaker::Gain(f32::NAN));
    assert!(rude.refused().contains("gain"));
    rude.says(&ToSpeaker::Segment { how: How::Start(u64::MAX), leg: 3, generation: 7, packed: &good });
    loop {
        let bytes = rude.receiver.receive().expect("the line stays");
        if let Some(ToEditor::Heard { generation, .. }) = message::read(&bytes) {
            assert_eq!(generation, 7);
            break;
        }
        rude.says(&ToSpeaker::Ping(1));
    }
    // A refusal also ends what sounds: the editor thinks something else is heard.
    rude.says(&ToSpeaker::Segment { how: How::Start(0), leg: 4, generation: 8, packed: &[1] });
    rude.refused();
    wait("silence", || !stage.tape.sounds(4_800));
}

#[test]
fn what_is_no_message_ends_the_line() {
    let stage = Stage::open();
    let mut rude = Rude::join(&stage);
    rude.stream.write_all(&(MOST as u32 + 1).to_be_bytes()).expect("sent");
    assert!(stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("expected"));
    assert!(matches!(loop_until_broken(&mut rude), Broken::Stream(_)));
    let mut rude = Rude::join(&stage);
    rude.sender.send(&[200, 1, 2, 3]).expect("sent");
    assert!(stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("protocol error"));
    let mut rude = Rude::join(&stage);
    rude.stream.write_all(&[0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]).expect("sent");
    assert!(
        stage.until(|s| if let Said::Lost(why) = s { Some(why.clone()) } else { None }).contains("authentication tag")
    );
    assert!(matches!(loop_until_broken(&mut rude), Broken::Stream(_)));
}

fn loop_until_broken(rude: &mut Rude) -> Broken {
    loop {
        if let Err(broken) = rude.receiver.receive() {
            return broken;
        }
    }
}
