//! Tests of both ends over socket pairs: what arrives, and what a file costs. Messages are tested in a file of their own.

mod messages;
mod recordings;

use super::message::{ToEditor, ToSpeaker, is_within_limits};
use super::speaker::MessageHandler;
use super::*;
use crate::rhythm::{Edit, Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation, random};
use crate::sound::playback::{
    ChunkRequest, EventSink, HearingClicks, LoopSpec, Orders, PlayRequest, PlaybackEvent, PlaybackRequest, Requests,
    ResumePoint, Sequence, SequenceTake, TapPosition,
};
use crate::sound::{Click, Position, Range};
use proptest::prelude::*;
use std::collections::HashMap;
use std::fs;
use std::io;
use std::net::Shutdown;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, mpsc};
use std::thread;
use std::time::Instant;

/// Stands for the text of grooves, whose reader this module does not know: the text is the index of a groove shown before.
static GROOVES: Mutex<Vec<Groove>> = Mutex::new(Vec::new());

fn print(groove: &Groove) -> String {
    let mut known = GROOVES.lock().expect("no panic");
    known.push(groove.clone());
    (known.len() - 1).to_string()
}

fn read(text: &str) -> Option<Groove> {
    GROOVES.lock().expect("no panic").get(text.parse::<usize>().ok()?).cloned()
}

fn groove(bars: u16) -> Groove {
    let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
    let meter = Meter::parse("4/4").expect("meter");
    let drawing = vec!["x..x ..x. x.x. .x.."; usize::from(bars)].join(" | ");
    let part = cell_notation::parse_bars(&drawing, &meter, usize::from(bars), 4).expect("drawing");
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    Groove::new("rope", "", vec![section], vec![Layer::new("riff", Voice::Pluck, 4, vec![part])]).expect("groove")
}

fn spec(groove: Groove) -> LoopSpec {
    let hearing = HearingClicks {
        seconds: Arc::new(vec![0.25, 0.5]),
        length: 2.0,
        click: Click::Divided(3),
        index: 1,
        lead: 0.0,
    };
    LoopSpec {
        groove: Arc::new(groove),
        speed: Fraction::new(3, 4).expect("speed"),
        range: Range::Whole,
        layers: true,
        beat: Click::OffBeat,
        click_db: -3.0,
        click_sound: crate::rhythm::ClickSound::Beep,
        hearings: vec![hearing],
        recording: None,
    }
}

fn play(groove: Groove) -> PlaybackRequest {
    PlaybackRequest::Play(PlayRequest::Loop(spec(groove)), None)
}

/// Files in memory, on both sides; on the speaker's a file is right if its name's first digit is not `f`.
#[derive(Default)]
struct Files {
    by_name: HashMap<String, Vec<u8>>,
    refused: usize,
    /// Number of parts that were read.
    parts: Arc<AtomicUsize>,
    /// The recording that arrives.
    arriving: (String, Vec<u8>),
}

impl SampleFiles for Files {
    fn with_sample_names(&mut self, groove: &Groove) -> (Groove, Vec<String>) {
        (groove.clone(), vec!["b.wav: no such file".into()])
    }

    fn read(&mut self, part: &ChunkRequest) -> (u64, Vec<u8>) {
        let Some(file) = self.by_name.get(&part.name) else { return (0, Vec::new()) };
        self.parts.fetch_add(1, Ordering::Relaxed);
        let at = (part.at as usize).min(file.len());
        (file.len() as u64, file[at..file.len().min(at + 1000)].to_vec())
    }
}

impl SampleStore for Files {
    fn has(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }

    fn add(&mut self, name: &str, bytes: &[u8]) -> bool {
        let is_right = !name.starts_with('f');
        self.refused += usize::from(!is_right);
        if is_right {
            self.by_name.insert(name.to_owned(), bytes.to_vec());
        }
        is_right
    }

    fn has_recording(&self, name: &str) -> bool {
        self.has(name)
    }

    fn start_recording(&mut self, name: &str) -> bool {
        self.arriving = (name.to_owned(), Vec::new());
        true
    }

    fn add_to_recording(&mut self, bytes: &[u8]) -> bool {
        self.arriving.1.extend_from_slice(bytes);
        true
    }

    fn finish_recording(&mut self, reload: Reload) -> bool {
        let (name, bytes) = std::mem::take(&mut self.arriving);
        let is_right = self.add(&name, &bytes);
        if is_right {
            reload();
        }
        is_right
    }
}

/// The orders that a player gets, and where it sends its events.
type Played = mpsc::Receiver<(Orders, EventSink)>;

/// A speaker that serves one connection: the orders its player gets, until the connection ends for the reason it returns.
fn speaker(stream: UnixStream) -> (Played, thread::JoinHandle<(String, Files)>) {
    let (sender, orders) = mpsc::channel();
    let served = thread::spawn(move || {
        let start = move |requests: Requests, events: EventSink| {
            let sender = sender.clone();
            thread::Builder::new().spawn(move || {
                while let Ok(orders) = requests.take() {
                    if sender.send((orders, Arc::clone(&events))).is_err() {
                        return;
                    }
                }
            })
        };
        let mut files = Files::default();
        let why = Speaker { files: &mut files, read, start: &start }.serve(&stream);
        (why, files)
    });
    (orders, served)
}

/// The first request that arrives.
fn request(orders: &Played) -> (PlaybackRequest, EventSink) {
    let mut found = orders.iter().filter_map(|(orders, events)| Some((orders.request?, events)));
    found.next().expect("a request")
}

#[test]
fn requests_arrive_and_events_come_back_until_either_end_closes() {
    let (here, there) = UnixStream::pair().expect("a pair");
    let (orders, served) = speaker(there);
    let requests = Requests::new();
    let (sender, events) = mpsc::channel();
    let linked = {
        let requests = requests.clone();
        thread::spawn(move || {
            let sink: EventSink = Arc::new(move |event| drop(sender.send(event)));
            let link = Link::new(here).expect("a speaker");
            link.run(&requests, &mut Files::default(), print, &sink)
        })
    };
    let start = ResumePoint { position: Position { section: 0, pass: 0, wholes: 0.5 }, passes: 3 };
    let take = |times| SequenceTake { spec: spec(groove(2)), times, count_in: true };
    let sequence = Sequence { number: 5, takes: vec![take(Some(2)), take(None)], at: 1, silence: Some(4) };
    let rows = [
        PlaybackRequest::Play(PlayRequest::Loop(spec(groove(1))), Some(start)),
        PlaybackRequest::Change(PlayRequest::Sequence(sequence.clone())),
        PlaybackRequest::Step(sequence),
        PlaybackRequest::Stop,
    ];
    for sent in rows {
        requests.send(sent.clone());
        let (arrived, reply) = request(&orders);
        assert_eq!(arrived, sent);
        reply(PlaybackEvent::Warning(format!("line\nbreak{}", "x".repeat(1000))));
        if sent != PlaybackRequest::Stop {
            assert_eq!(events.recv().expect("an event"), PlaybackEvent::Warning("b.wav: no such file".into()));
        }
        let Ok(PlaybackEvent::Warning(text)) = events.recv() else { panic!("a warning") };
        assert!(text.starts_with("line break") && text.len() == 300, "{text}");
    }
    requests.set_volume(-6.0);
    let volume = orders.iter().find_map(|(orders, _)| orders.volume);
    assert_eq!(volume, Some(-6.0));
    orders.iter().next().expect("orders").1(PlaybackEvent::Gaps(2));
    assert!(events.iter().any(|e| e == PlaybackEvent::Gaps(2)));
    // A tap needs the clocks compared, so a ping answered before.
    let tapped = orders.iter().find_map(|(orders, events)| {
        requests.tap(Instant::now());
        orders.taps.first().map(|_| events)
    });
    let tap = TapPosition { position: start.position, loop_passes: 1, buffer_ms: 20.0 };
    tapped.expect("a tap")(PlaybackEvent::Tapped(tap));
    let heard = events.iter().find_map(|e| if let PlaybackEvent::Tapped(tap) = e { Some(tap) } else { None });
    assert!(heard.is_some_and(|tap| tap.position == start.position && tap.buffer_ms >= 20.0));
    requests.close();
    assert_eq!(linked.join().expect("no panic"), Ok(()));
    assert_eq!(served.join().expect("no panic").0, "closed");
    assert!(
        matches!(orders.iter().last(), Some((Orders { request: Some(PlaybackRequest::Stop), .. }, _))),
        "the sound ends"
    );
}

#[test]
fn a_lost_speaker_is_noticed_and_the_next_one_takes_over_at_its_place() {
    let requests = Requests::new();
    let sink: EventSink = Arc::new(|_| {});
    let start = ResumePoint { position: Position { section: 0, pass: 0, wholes: 0.25 }, passes: 7 };
    for number in 0..100 {
        let (here, there) = UnixStream::pair().expect("a pair");
        let cut = there.try_clone().expect("a copy");
        let (orders, served) = speaker(there);
        let sent = PlaybackRequest::Play(PlayRequest::Loop(spec(groove(1))), (number > 0).then_some(start));
        requests.send(sent.clone());
        thread::scope(|scope| {
            let link =
                scope.spawn(|| Link::new(here).expect("a speaker").run(&requests, &mut Files::default(), print, &sink));
            assert_eq!(request(&orders).0, sent);
            cut.shutdown(Shutdown::Both).expect("cut");
            assert!(link.join().expect("no panic").is_err());
        });
        served.join().expect("no panic");
    }
}

fn with_sound(groove: &Groove, name: &str) -> Groove {
    groove.edited(&Edit::SoundFile(0, Some(name.to_owned()))).expect("a name")
}

#[test]
fn a_sound_file_arrives_once_in_parts_and_only_by_its_hash() {
    let (good, wrong) = (format!("{:032x}.wav", 7), format!("f{:031x}.wav", 7));
    let bytes: Vec<u8> = (0..2500_u32).map(|k| (k % 251) as u8).collect();
    let mut sender =
        Files { by_name: [(good.clone(), bytes.clone()), (wrong.clone(), bytes.clone())].into(), ..Files::default() };
    let (requests, mut files) = (Requests::new(), Files::default());
    let mut handler = MessageHandler::new(Instant::now(), &requests, &mut files, read);
    // For each name: the parts asked for, whether what plays is loaded again, and whether the name is kept.
    let rows = [(&good, 3, true, true), (&good, 0, false, true), (&wrong, 3, false, true)];
    let rows = rows.map(|(name, parts, reload, kept)| (name.as_str(), parts, reload, kept));
    let paths = ["../../secret.wav", "/etc/passwd", "a.wav"].map(|name| (name, 0, false, false));
    let missing = format!("{:032x}.wav", 8);
    for (name, parts, reload, kept) in rows.into_iter().chain(paths).chain([(missing.as_str(), 1, false, true)]) {
        let groove = print(&with_sound(&groove(1), name));
        let mut answer = handler.on_message(ToSpeaker::Request { groove, request: play(super::tests::groove(1)) });
        let mut asked = 0;
        while let Ok(Some(ToEditor::Want(part))) = answer {
            asked += 1;
            let (size, bytes) = sender.read(&part);
            answer = handler.on_message(ToSpeaker::Chunk { part, size, bytes });
        }
        assert!(matches!(answer, Ok(None)), "{answer:?}");
        assert_eq!(asked, parts, "{name}");
        let orders = requests.take().expect("open");
        assert_eq!(orders.reload, reload, "{name}");
        let sound = orders.request.as_ref().and_then(|r| r.groove()?.layers()[0].sound.clone());
        assert_eq!(sound.is_some(), kept, "{name}");
    }
    assert_eq!((files.by_name.get(&good), files.by_name.len(), files.refused), (Some(&bytes), 1, 1));
}

#[test]
fn an_edit_of_a_large_groove_takes_few_bytes() {
    // 16 layers of 64 bars with pseudorandom cells (a linear congruential generator with the constants of Knuth's MMIX), and
    // four hearings of four pulses per bar.
    let mut seed = 1_u64;
    let mut text = String::new();
    for _ in 0..16 {
        for _ in 0..64 * 16 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            text.push(['x', '.', '.', '-'][(seed >> 62) as usize]);
        }
        text.push('\n');
    }
    let mut spec = spec(groove(64));
    let pulses = (0..256).map(|k| f64::from(k) * 0.5 + 0.013).collect();
    spec.hearings = vec![HearingClicks { seconds: Arc::new(pulses), ..spec.hearings[0].clone() }; 4];
    let request = PlaybackRequest::Change(PlayRequest::Loop(spec));
    let bytes = frame::encode(&ToSpeaker::Request { groove: text, request }).expect("short").len();
    assert!(bytes < 20_000, "{bytes}");
}
