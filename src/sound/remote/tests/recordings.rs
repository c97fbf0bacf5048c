//! Tests of recordings on their way to the speaker.

use super::*;
use crate::rhythm::Recording;
use crate::sound::remote::message::MAX_RECORDING_FILE;

/// The part that an answer asks for.
fn part(answer: Result<Option<ToEditor>, String>) -> ChunkRequest {
    match answer {
        Ok(Some(ToEditor::Want(part))) => part,
        other => panic!("{other:?}"),
    }
}

fn ask(handler: &mut MessageHandler<'_>, groove: &Groove) -> Result<Option<ToEditor>, String> {
    handler.on_message(ToSpeaker::Request { groove: print(groove), request: play(groove.clone()) })
}

/// Sends parts until none is asked for; returns the names of those asked for, and the last answer.
fn send_all(
    handler: &mut MessageHandler<'_>,
    sender: &mut Files,
    mut asked: ChunkRequest,
) -> (Vec<String>, Result<Option<ToEditor>, String>) {
    let mut names = Vec::new();
    loop {
        names.push(asked.name.clone());
        let (size, bytes) = sender.read(&asked);
        match handler.on_message(ToSpeaker::Chunk { part: asked, size, bytes }) {
            Ok(Some(ToEditor::Want(part))) => asked = part,
            other => return (names, other),
        }
    }
}

#[test]
fn a_recording_arrives_once_behind_the_requests_and_only_by_its_hash() {
    let names = [("1", "flac"), ("2", "wav"), ("f", "wav")].map(|(n, ending)| format!("{n:0<32}.{ending}"));
    let [recording, sample, wrong] = &names;
    let bytes: Vec<u8> = (0..5500_u32).map(|k| (k % 251) as u8).collect();
    let mut sender = Files { by_name: names.clone().map(|name| (name, bytes.clone())).into(), ..Files::default() };
    let (requests, mut files) = (Requests::new(), Files::default());
    let mut handler = MessageHandler::new(Instant::now(), &requests, &mut files, read);
    let recorded = |groove: &Groove, name: &str| {
        groove.edited(&Edit::Recording(Some(Recording::new(name, None)))).expect("a name")
    };
    // While it arrives, an edit is played at once, and the sound file that it adds comes first.
    let asked = part(ask(&mut handler, &recorded(&groove(1), recording)));
    let (size, first) = sender.read(&asked);
    let second = part(handler.on_message(ToSpeaker::Chunk { part: asked, size, bytes: first }));
    assert_eq!((second.name.as_str(), second.at), (recording.as_str(), 1000));
    assert!(requests.take().expect("open").request.is_some());
    let edited = with_sound(&recorded(&groove(2), recording), sample);
    assert_eq!(ask(&mut handler, &edited), Ok(None), "a part is on its way");
    let played = requests.take().expect("open").request.expect("the edit");
    assert_eq!(played.groove().map(|g| g.sections()[0].bars), Some(2));
    let (order, answer) = send_all(&mut handler, &mut sender, second);
    assert_eq!(answer, Ok(None));
    let expected: Vec<&String> = [recording; 1].into_iter().chain([sample; 6]).chain([recording; 4]).collect();
    assert_eq!(order.iter().collect::<Vec<_>>(), expected);
    assert!(requests.take().expect("open").reload, "it can be heard");
    assert_eq!(ask(&mut handler, &edited), Ok(None), "both are here");
    // One that is not what its name says is refused, and not asked for again.
    let asked = part(ask(&mut handler, &recorded(&groove(1), wrong)));
    let warning = send_all(&mut handler, &mut sender, asked).1.expect("no rule is broken");
    let Some(ToEditor::Event(PlaybackEvent::Warning(warning))) = warning else { panic!("{warning:?}") };
    assert!(warning.contains("cannot keep the recording"), "{warning}");
    assert_eq!(ask(&mut handler, &recorded(&groove(1), wrong)), Ok(None));
    // A path of this machine is no recording.
    requests.take().expect("open");
    assert_eq!(ask(&mut handler, &recorded(&groove(1), "../winch.flac")), Ok(None));
    let played = requests.take().expect("open").request.expect("a request");
    assert!(played.groove().is_some_and(|g| g.recording().is_none()));
    // One that is too large is refused, and a part that was not asked for closes the connection.
    let large = |digit: &str| recorded(&groove(1), &format!("{digit:0<32}"));
    let asked = part(ask(&mut handler, &large("3")));
    let refused = handler.on_message(ToSpeaker::Chunk { part: asked, size: MAX_RECORDING_FILE + 1, bytes: vec![0] });
    assert!(matches!(refused, Ok(Some(ToEditor::Event(_)))), "{refused:?}");
    let asked = part(ask(&mut handler, &large("4")));
    let other = ChunkRequest { at: 5, ..asked };
    assert!(handler.on_message(ToSpeaker::Chunk { part: other, size: 9, bytes: vec![0] }).is_err());
    drop(handler);
    assert_eq!((files.by_name.get(recording), files.refused), (Some(&bytes), 1));
}

#[test]
fn edits_arrive_while_a_recording_is_on_its_way() {
    const SIZE: usize = 64 << 20;
    let name = format!("{:0<32}", "5");
    let recorded = |bars| {
        let edit = Edit::Recording(Some(Recording::new(&name, None)));
        groove(bars).edited(&edit).expect("a name")
    };
    let (here, there) = UnixStream::pair().expect("a pair");
    let (orders, served) = speaker(there);
    let requests = Requests::new();
    let mut sender = Files { by_name: [(name.clone(), vec![7; SIZE])].into(), ..Files::default() };
    let parts = sender.parts.clone();
    let linked = {
        let requests = requests.clone();
        let sink: EventSink = Arc::new(|_| {});
        thread::spawn(move || Link::new(here).expect("a speaker").run(&requests, &mut sender, print, &sink))
    };
    requests.send(play(recorded(1)));
    request(&orders);
    // The second part is read when the first one has arrived.
    while parts.load(Ordering::Relaxed) < 2 {
        thread::yield_now();
    }
    for bars in 2..13 {
        requests.send(PlaybackRequest::Change(PlayRequest::Loop(spec(recorded(bars)))));
        request(&orders);
    }
    requests.close();
    assert_eq!(linked.join().expect("no panic"), Ok(()));
    let arrived = served.join().expect("no panic").1.arriving.1.len();
    assert!((1..SIZE).contains(&arrived), "it was on its way until the last edit: {arrived}");
}
