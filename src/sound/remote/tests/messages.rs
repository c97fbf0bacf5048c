//! Tests of messages: which are refused and why, the limits of requests, and any bytes.

use super::*;
use crate::sound::{RecordingPlay, RecordingTone};

/// Writes bytes after the greeting; returns why the speaker closed the connection.
fn refused(bytes: &[u8]) -> String {
    let (mut here, there) = UnixStream::pair().expect("a pair");
    let (_orders, served) = speaker(there);
    greet(&here).expect("a speaker");
    // The speaker may have closed it before everything is written.
    let _ = here.write_all(bytes);
    drop(here.shutdown(Shutdown::Write));
    served.join().expect("no panic").0
}

#[test]
fn what_is_no_message_closes_the_connection_with_a_reason() {
    let whole =
        frame::encode(&ToSpeaker::Request { groove: print(&groove(1)), request: play(groove(1)) }).expect("short");
    assert_eq!(refused(&whole), "closed", "a good message");
    assert_eq!(refused(&whole[..whole.len() / 2]), "closed", "half a message");
    assert_eq!(refused(&[0, 0]), "closed", "half a length");
    let long = (frame::MAX_MESSAGE as u32 + 1).to_be_bytes();
    assert!(refused(&long).starts_with("expected a message of at most 8388608 bytes, found 8388609"));
    assert!(refused(&[0, 0, 0, 3, 99, 99, 99]).starts_with("expected a teeter message"));
    // Twice the largest message, deflated to a few kB.
    let bomb = miniz_oxide::deflate::compress_to_vec(&vec![0; 2 * frame::MAX_MESSAGE], 6);
    let bomb = [&(bomb.len() as u32 | 1 << 31).to_be_bytes(), bomb.as_slice()].concat();
    assert!(bomb.len() < 40_000 && refused(&bomb).starts_with("expected a compressed message of at most"));
    let text =
        frame::encode(&ToSpeaker::Request { groove: "no groove".into(), request: play(groove(1)) }).expect("short");
    assert!(refused(&text).starts_with("expected a valid groove"));
    let unasked = ToSpeaker::Chunk { part: ChunkRequest { name: "a".into(), at: 0 }, size: 1, bytes: vec![0] };
    assert!(refused(&frame::encode(&unasked).expect("short")).contains("the requested part of the sound file"));
    let too_long = ToSpeaker::Request { groove: "x".repeat(frame::MAX_MESSAGE), request: PlaybackRequest::Stop };
    assert_eq!(frame::encode(&too_long).expect_err("too long").kind(), io::ErrorKind::InvalidInput);
}

#[test]
fn another_version_and_another_program_are_told_apart() {
    let greeting = |bytes: &[u8]| {
        let (here, mut there) = UnixStream::pair().expect("a pair");
        there.write_all(bytes).expect("written");
        there.shutdown(Shutdown::Write).expect("closed");
        greet(&here).expect_err("refused")
    };
    assert!(
        greeting(b"teeter\x00\x63")
            .contains("protocol version mismatch: 5 here, 99 on the other machine; install the same")
    );
    assert!(greeting(b"SSH-2.0-x").contains("not teeter"));
    assert!(greeting(b"tee").contains("no answer from `teeter remote` (closed)"));
}

#[test]
fn a_request_beyond_the_limits_of_an_editor_is_refused() {
    let changed = |change: &dyn Fn(&mut LoopSpec)| {
        let mut spec = spec(groove(1));
        change(&mut spec);
        PlaybackRequest::Change(PlayRequest::Loop(spec))
    };
    let region = |denom| Range::within(0, Time::ZERO, Time::new(1, denom).expect("a time"));
    assert!(is_within_limits(&changed(&|_| {})) && is_within_limits(&changed(&|s| s.range = region(768))));
    assert!(!is_within_limits(&changed(&|s| s.range = region(1 << 40))));
    for seconds in [vec![f64::NAN], vec![-1.0], vec![1.0, 0.5], vec![f64::INFINITY]] {
        assert!(!is_within_limits(&changed(&|s| s.hearings[0].seconds = Arc::new(seconds.clone()))), "{seconds:?}");
    }
    let hearings = |n| changed(&|s| s.hearings = vec![s.hearings[0].clone(); n]);
    assert!(is_within_limits(&hearings(4)) && !is_within_limits(&hearings(17)));
    let recorded = |pass, db, semitones| {
        let tone = RecordingTone { semitones, ..RecordingTone::default() };
        changed(&|s| s.recording = Some(RecordingPlay { pass, db, pan: 0, tone, is_silent: false }))
    };
    assert!(is_within_limits(&recorded(3, -12.0, 24)));
    for (pass, db, semitones) in [(u32::MAX, 0.0, 0), (0, 1e9, 0), (0, f32::NAN, 0), (0, 0.0, 25)] {
        assert!(!is_within_limits(&recorded(pass, db, semitones)), "{pass} {db} {semitones}");
    }
    let sequence = |takes, at, times| {
        let take = SequenceTake { spec: spec(groove(1)), times: Some(times), count_in: false };
        PlaybackRequest::Step(Sequence { number: 1, takes: vec![take; takes], at, silence: None })
    };
    assert!(is_within_limits(&sequence(200, 199, 64)));
    for (takes, at, times) in [(0, 0, 1), (2, 2, 1), (1001, 0, 1), (1, 0, 0), (1, 0, u32::MAX)] {
        assert!(!is_within_limits(&sequence(takes, at, times)), "{takes} {at} {times}");
    }
}

fn encoded(messages: &[impl serde::Serialize]) -> Vec<u8> {
    messages.iter().flat_map(|message| frame::encode(message).expect("short")).collect()
}

/// The inputs that the fuzz targets start from; `TEETER_WRITE=1` rewrites them.
#[test]
fn the_seeds_of_the_fuzz_targets_are_messages_of_this_version() {
    let text = "format = 1\ntitle = \"rope\"\n[[section]]\nmeter = \"4/4\"\ntempo = 120\nbars = 1\n\
                [[layer]]\nname = \"riff\"\nvoice = \"pluck\"\ncycle = \"x..x.\"\n";
    let request = |request| ToSpeaker::Request { groove: text.to_owned(), request };
    let region = Range::within(0, Time::ZERO, Time::new(1, 2).expect("a time"));
    let take = SequenceTake { spec: spec(groove(1)), times: Some(2), count_in: true };
    let sequence = Sequence { number: 5, takes: vec![take.clone(), take], at: 1, silence: Some(4) };
    let part = ChunkRequest { name: format!("{}.wav", "0".repeat(HASH_DIGITS)), at: 0 };
    let start = ResumePoint { position: Position { section: 0, pass: 0, wholes: 0.5 }, passes: 3 };
    let tap = TapPosition { position: start.position, loop_passes: 1, buffer_ms: 20.0 };
    let speaker = [
        vec![request(play(groove(1))), ToSpeaker::Volume(-6.0), request(PlaybackRequest::Stop)],
        vec![request(PlaybackRequest::Change(PlayRequest::Loop(LoopSpec { range: region, ..spec(groove(1)) })))],
        vec![request(PlaybackRequest::Play(PlayRequest::Sequence(sequence), None))],
        vec![ToSpeaker::Ping { asked: 1, lookahead: 80_000_000 }, ToSpeaker::Tap(5)],
        vec![ToSpeaker::Chunk { part: part.clone(), size: 4, bytes: vec![1, 2] }],
    ];
    let editor = [
        vec![ToEditor::Event(PlaybackEvent::Tick(Some(start.position))), ToEditor::Event(PlaybackEvent::Tapped(tap))],
        vec![ToEditor::Pong { asked: 1, now: 2 }, ToEditor::Want(part)],
        vec![ToEditor::Event(PlaybackEvent::Device(Err("no device".into())))],
        vec![
            ToEditor::Event(PlaybackEvent::Warning("b.wav: no such file".into())),
            ToEditor::Event(PlaybackEvent::Tick(None)),
            ToEditor::Event(PlaybackEvent::Gaps(3)),
        ],
    ];
    for (target, seeds) in
        [("speaker", speaker.map(|m| encoded(&m)).to_vec()), ("editor", editor.map(|m| encoded(&m)).to_vec())]
    {
        for (number, bytes) in seeds.iter().enumerate() {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(target);
            let file = folder.join(format!("seed-{number}"));
            if std::env::var_os("TEETER_WRITE").is_some() {
                fs::create_dir_all(&folder).and_then(|()| fs::write(&file, bytes)).expect("a file");
            }
            assert_eq!(&fs::read(&file).unwrap_or_default(), bytes, "{}: TEETER_WRITE=1 rewrites it", file.display());
            let reason =
                if target == "speaker" { read_as_speaker(bytes, |_| Some(groove(1))) } else { read_as_editor(bytes) };
            let is_whole = reason == "closed" || reason.contains("the requested part of the sound file");
            assert!(is_whole, "{}: {reason}", file.display());
        }
    }
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), length in 0_u8..40) {
        let framed = [&[0, 0, 0, length], bytes.as_slice()].concat();
        for bytes in [&bytes, &framed] {
            prop_assert!(!read_as_editor(bytes).is_empty());
            prop_assert!(!read_as_speaker(bytes, read).is_empty());
        }
    }

    #[test]
    fn a_request_is_the_same_on_the_other_side(groove in random::grooves(), cut in any::<prop::sample::Index>(), flip in any::<u8>()) {
        let request = play(groove.clone());
        let sent = ToSpeaker::Request { groove: "0".into(), request: request.clone() };
        let bytes = frame::encode(&sent).expect("short");
        let ToSpeaker::Request { request: mut arrived, .. } = frame::receive(&mut bytes.as_slice()).expect("whole") else {
            panic!("a request");
        };
        arrived.set_groove(&Arc::new(groove));
        prop_assert_eq!(arrived, request);
        let mut damaged = bytes.clone();
        damaged[cut.index(bytes.len())] ^= flip;
        prop_assert!(!read_as_speaker(&damaged, |_| Some(super::groove(1))).is_empty());
    }
}
