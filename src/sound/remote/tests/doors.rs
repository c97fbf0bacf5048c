//! Tests of who is let in and who is believed: guesses at the door, and ends that are slow or lie.

use super::*;
use crate::sound::remote::desk::Desk;
use crate::sound::remote::door::Door;
use crate::sound::remote::meet::{Unmet, Verdict, open};
use crate::sound::remote::shelf::Shelf;
use crate::sound::remote::visit::{Event, House};
use std::sync::atomic::AtomicUsize;

/// A speaker made by handle: a port, and who is let in.
struct Puppet {
    listener: TcpListener,
    door: Door,
}

/// A line to an editor.
struct Let {
    stream: TcpStream,
    met: Met,
    back: bool,
}

impl Puppet {
    fn new() -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        listener.set_nonblocking(true).expect("it polls");
        Self { listener, door: Door::default() }
    }

    fn port(&self) -> u16 {
        self.listener.local_addr().expect("an address").port()
    }

    fn accept(&self) -> TcpStream {
        let mut stream = None;
        wait("a visitor", || {
            stream = self.listener.accept().ok();
            stream.is_some()
        });
        let stream = stream.expect("a visitor").0;
        stream.set_nonblocking(false).expect("it blocks");
        stream
    }

    /// Lets the next visitor in, or not.
    fn meet(&mut self) -> Result<Let, Unmet> {
        let (stream, mut back) = (self.accept(), false);
        let met = open(&stream, |knock| {
            let entry = self.door.judge(knock)?;
            back = entry.back;
            Ok((entry.session, entry.shown))
        })?;
        stream.set_read_timeout(Some(LONG)).expect("a timeout");
        Ok(Let { stream, met, back })
    }

    /// What one who comes by this right is told.
    fn visited(&mut self, right: Right) -> (Result<Met, RemoteError>, Result<Let, Unmet>) {
        let port = self.port();
        let visitor = thread::spawn(move || {
            let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).expect("the port");
            knock(&stream, &right)
        });
        let entered = self.meet();
        (visitor.join().expect("no panic"), entered)
    }

    /// The line of an editor that comes by this token.
    fn editor(&mut self) -> (RemotePlayer, Let) {
        let (port, token) = (self.port(), self.door.renew().expect("random"));
        let editor = thread::spawn(move || RemotePlayer::connect(port, &token));
        let line = self.meet().expect("let in");
        line.sender().send(&message::write(&DEVICE)).expect("sent");
        (editor.join().expect("no panic").expect("let in"), line)
    }
}

const DEVICE: ToEditor = ToEditor::Device { hertz: 48_000, grain: 240 };

impl Let {
    fn sender(&self) -> Sender<TcpStream> {
        Sender::new(self.stream.try_clone().expect("a copy"), self.met.to_editor.clone())
    }
}

fn wrong() -> Right {
    Right::Token(Token::random().expect("random"))
}

#[test]
fn guesses_count_where_there_is_a_token_and_a_worn_one_lets_nobody_in() {
    let mut puppet = Puppet::new();
    let token = puppet.door.renew().expect("random");
    let session = puppet.visited(Right::Token(token)).0.expect("let in").session;
    // The line is lost, and there is nothing to be guessed.
    puppet.door.live = false;
    for _ in 0..5 {
        assert_eq!(puppet.visited(wrong()).0.err(), Some(RemoteError::WrongToken));
    }
    assert!(!puppet.door.is_worn());
    let token = puppet.door.renew().expect("random");
    for _ in 0..5 {
        assert!(!puppet.door.is_worn());
        assert_eq!(puppet.visited(wrong()).0.err(), Some(RemoteError::WrongToken));
    }
    assert!(puppet.door.is_worn());
    assert_eq!(puppet.visited(Right::Token(token)).0.err(), Some(RemoteError::WrongToken));
    // With the editor of the session back there is no token that were to be made anew.
    assert!(puppet.visited(Right::Session(session)).0.is_ok());
    assert!(!puppet.door.is_worn());
}

#[test]
fn a_guess_counts_also_where_nobody_waits_for_the_answer() {
    let puppet = Puppet::new();
    let mut guest = TcpStream::connect((Ipv4Addr::LOCALHOST, puppet.port())).expect("the port");
    guest.write_all(&[&hello::greeting(Role::Editor)[..], &[0; 32 + 1 + 8 + 32]].concat()).expect("sent");
    let unmet = open(&puppet.accept(), |_| {
        // What it did not read makes this a reset.
        drop(guest);
        thread::sleep(Duration::from_millis(50));
        Err(Verdict::WrongToken)
    });
    assert_eq!(unmet.err(), Some(Unmet::Refused(Verdict::WrongToken)));
}

#[test]
fn an_editor_that_came_back_before_its_old_line_was_lost_is_there() {
    let (events, _incoming) = mpsc::sync_channel(2);
    let house = House {
        door: Mutex::default(),
        waiting: AtomicUsize::new(0),
        hertz: AtomicU32::new(48_000),
        ending: AtomicBool::new(false),
        shelf: Mutex::new(Shelf::default()),
        events,
    };
    let mut heard = Vec::new();
    let mut say = |said| heard.push(said);
    let mut desk = Desk::new(&house, Box::new(Sink::open(&Tape::default())), &mut say);
    let mut puppet = Puppet::new();
    let token = puppet.door.renew().expect("random");
    // The door is the house's while the desk works.
    let swap = |puppet: &mut Puppet| std::mem::swap(&mut *house.door(), &mut puppet.door);
    let joined = |line, met: Let| Event::Joined { line, met: met.met, stream: met.stream, back: met.back };
    let (editor, entered) = puppet.visited(Right::Token(token));
    let session = editor.expect("let in").session;
    swap(&mut puppet);
    desk.take(joined(1, entered.expect("let in")));
    swap(&mut puppet);
    let (editor, entered) = puppet.visited(Right::Session(session));
    assert!(editor.is_ok());
    swap(&mut puppet);
    desk.take(Event::Ended { line: 1, why: "it was closed".into() });
    desk.take(joined(2, entered.expect("let in")));
    swap(&mut puppet);
    assert_eq!(puppet.visited(wrong()).0.err(), Some(RemoteError::Busy));
    drop(desk);
    assert_eq!(heard, [Said::Joined, Said::Lost("it was closed".into()), Said::Back]);
}

#[test]
fn who_has_not_proved_to_be_the_speaker_ends_no_session() {
    let mut puppet = Puppet::new();
    let (mut far, line) = puppet.editor();
    drop(line);
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    // Somebody else has the port for a while.
    let mut stream = puppet.accept();
    stream
        .write_all(&[&hello::greeting(Role::Speaker)[..], &[5; 32], &[Verdict::Forgotten as u8]].concat())
        .expect("sent");
    let DeviceEvent::Lost(told) = news(&mut far) else { panic!("the line is lost still") };
    assert_eq!(told, OutputError::new(&format!("the reply was an error: {}", RemoteError::Forgotten)));
    drop(stream);
    for lie in [
        [&hello::greeting(Role::Speaker)[..], &[5; 32], &[Verdict::WrongToken as u8]].concat(),
        hello::of_version(Role::Speaker, 77).to_vec(),
    ] {
        let mut stream = puppet.accept();
        stream.write_all(&lie).expect("sent");
        let _ = stream.read_to_end(&mut Vec::new());
    }
    let line = puppet.meet().expect("it comes back");
    assert!(line.back);
    line.sender().send(&message::write(&DEVICE)).expect("sent");
    assert_eq!(news(&mut far), DeviceEvent::ReopenedAtNewRate(None), "it is told once");
}

#[test]
fn what_was_meant_for_the_line_before_does_not_go_out_on_the_next() {
    let mut puppet = Puppet::new();
    let (mut far, line) = puppet.editor();
    far.start(Segment::new(schedule("x...x...x...x...")), None);
    drop(line);
    assert!(matches!(news(&mut far), DeviceEvent::Lost(_)));
    let line = puppet.meet().expect("it comes back");
    // The editor does not know yet what device there is.
    far.replace(1, Segment::new(schedule("x.x.x.x.x.x.x.x.")));
    let mut receiver = Receiver::new(line.stream.try_clone().expect("a copy"), line.met.to_speaker.clone());
    let mut pings = 0;
    while pings < 5 {
        let bytes = receiver.receive().expect("the line stays");
        let said = message::read::<ToSpeaker<'_>>(&bytes);
        assert!(matches!(said, Some(ToSpeaker::Ping(_))), "{said:?}");
        pings += 1;
    }
    line.sender().send(&message::write(&DEVICE)).expect("sent");
    assert!(matches!(news(&mut far), DeviceEvent::ReopenedAtNewRate(Some(_))));
    far.start(Segment::new(schedule("x...x...x...x...")), None);
    loop {
        let bytes = receiver.receive().expect("the line stays");
        match message::read::<ToSpeaker<'_>>(&bytes) {
            Some(ToSpeaker::Segment { how, leg, .. }) => break assert_eq!((how, leg), (How::Start(0), 2)),
            said => assert!(matches!(said, Some(ToSpeaker::Ping(_))), "{said:?}"),
        }
    }
}
