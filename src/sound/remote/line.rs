//! The editor's line to a far speaker, on a thread of its own: sends, listens, compares clocks, and connects again when the
//! line is lost.

use super::frame::{Broken, Receiver, Sender};
use super::meet::{Met, RemoteError, Right, knock};
use super::message::{self, ToEditor, ToSpeaker};
use super::track::{Clocks, Heard, Loop, Track};
use std::collections::VecDeque;
use std::io;
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpStream};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// A line on which nothing comes for so long is lost; both ends say something far more often.
pub(super) const SILENCE: Duration = Duration::from_secs(3);
/// Time between pings, and between the first ones, by which the clocks are compared.
const PING: Duration = Duration::from_millis(400);
const FIRST_PING: Duration = Duration::from_millis(50);
const FIRST_PINGS: u32 = 8;
/// Times between tries to connect again; the last one stays.
const AGAIN: [Duration; 3] = [Duration::from_millis(300), Duration::from_secs(1), Duration::from_secs(2)];

/// What the thread is asked to do.
#[derive(Debug)]
pub(super) enum Order {
    /// Send this, if the line is still the one of this number.
    Send { line: u64, bytes: Vec<u8> },
    /// From the listener: the line of this number broke.
    Broke { line: u64, why: String },
    /// Say goodbye and end.
    End,
}

/// What has happened to the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum LinkEvent {
    /// It is lost, or the speaker's device is; it comes back by itself.
    Lost(String),
    /// It is there again.
    Reopened,
    /// Something was not done; nothing sounds.
    Refused(String),
    /// A sound of the user's own of this hash is not there; nothing sounds.
    Lacks(u64),
}

/// A leg that was sent, as far as marks of it are concerned.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sending {
    pub(super) generation: u64,
    pub(super) leg: u64,
    pub(super) of: Loop,
    /// Times through it, and whether it ends the playing.
    pub(super) turns: u64,
    pub(super) last: bool,
    /// Whether another leg was to follow instead.
    pub(super) passed: bool,
}

/// What is known of the other end.
#[derive(Debug, Default)]
pub(super) struct Known {
    pub(super) clocks: Clocks,
    pub(super) track: Track,
    /// What marks may speak of.
    pub(super) sent: VecDeque<Sending>,
    /// The leg that has ended the playing.
    pub(super) ended: u64,
    /// Frames of one of the device's buffers, and per second, also while it is lost.
    pub(super) grain: u32,
    was: Option<u32>,
    /// Frames per second of the device; `None` while line or device is lost.
    pub(super) hertz: Option<u32>,
    /// Counts lines, times without one, and devices: with each new one all that is to sound must be sent again.
    pub(super) line: u64,
    /// Where the loop was heard when the line was lost, or something was lacking: the sending, its frame, turns completed.
    pub(super) left: Option<(Sending, i64, u64)>,
    /// Why the session is over for good.
    pub(super) over: Option<String>,
    pub(super) news: VecDeque<LinkEvent>,
}

impl Known {
    /// Where the loop is heard at a time.
    pub(super) fn heard(&self, now: i64) -> Option<(Sending, i64, u64)> {
        let last = self.track.last()?;
        let mut heard = *self.sent.iter().find(|s| s.generation == last.generation)?;
        let (mut frame, mut loops) = self.track.at(now, &self.clocks, heard.of)?;
        // It may have ended since; a segment beyond its number of passes ends with the marked pass. A mark with a negative
        // frame belongs to the pass before: it was rendered before the loop's end was heard.
        let marked = last.loops.saturating_add(u64::from(last.frame >= 0));
        let mut end = heard.turns.max(marked);
        while loops >= end && heard.of.length > 0 {
            let Some(next) = self.after(heard.leg) else {
                if heard.last {
                    (frame, loops) = (heard.of.length - 1, end - 1);
                }
                break;
            };
            let over = i64::try_from(loops - end).unwrap_or(i64::MAX).saturating_mul(heard.of.length);
            frame = frame.saturating_add(over);
            (heard, loops) = (next, 0);
            if heard.of.length > 0 {
                (loops, frame) = ((frame / heard.of.length) as u64, frame % heard.of.length);
            }
            end = heard.turns.max(1);
        }
        Some((heard, frame, loops))
    }

    /// The leg that was last marked.
    pub(super) fn leg(&self) -> u64 {
        let generation = self.track.last().map(|m| m.generation);
        self.sent.iter().find(|s| Some(s.generation) == generation).map_or(0, |s| s.leg)
    }

    /// The newest sending of the leg that follows a leg.
    fn after(&self, leg: u64) -> Option<Sending> {
        let later = self.sent.iter().filter(|s| s.leg > leg && !s.passed);
        later.min_by_key(|s| (s.leg, std::cmp::Reverse(s.generation))).copied()
    }

    fn tell(&mut self, news: LinkEvent) {
        // Nobody may be asking for news.
        if self.news.len() == 16 {
            self.news.pop_front();
        }
        self.news.push_back(news);
    }

    /// Nothing is heard any more; what was heard last is kept in mind.
    fn leave(&mut self, now: u64) {
        self.left = self.heard(now as i64).or(self.left);
        self.track.clear();
    }

    fn lose(&mut self, now: u64, why: String) {
        self.leave(now);
        if self.hertz.take().is_some() {
            self.tell(LinkEvent::Lost(why));
        }
    }

    /// The line is lost; what is still to be sent on it is not for the one that comes.
    fn part(&mut self, now: u64, why: String) {
        self.lose(now, why);
        self.line += 1;
    }

    fn gain(&mut self, hertz: u32) {
        self.line += 1;
        self.was = Some(hertz);
        if self.hertz.replace(hertz).is_none() && self.line > 1 {
            self.tell(LinkEvent::Reopened);
        }
    }

    /// The device goes on with what it has.
    fn again(&mut self) {
        if self.hertz.is_none() {
            (self.hertz, self.left) = (self.was, None);
            self.tell(LinkEvent::Reopened);
        }
    }
}

/// What the thread and its owner share.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    known: Arc<Mutex<Known>>,
    epoch: Instant,
}

impl Shared {
    pub(super) fn known(&self) -> MutexGuard<'_, Known> {
        // Whoever panicked left whole values behind.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A time in ns of the editor's clock.
    pub(super) fn clock(&self, at: Instant) -> u64 {
        at.saturating_duration_since(self.epoch).as_nanos() as u64
    }

    fn now(&self) -> u64 {
        self.clock(Instant::now())
    }
}

/// One connection.
struct Connection {
    stream: TcpStream,
    met: Met,
}

fn connect(port: u16, right: &Right) -> Result<Connection, RemoteError> {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let stream = TcpStream::connect_timeout(&address, SILENCE).map_err(|e| RemoteError::NoPort(e.to_string()))?;
    let met = knock(&stream, right)?;
    stream.set_read_timeout(Some(SILENCE))?;
    stream.set_write_timeout(Some(SILENCE))?;
    Ok(Connection { stream, met })
}

/// The owner's end of the thread.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) shared: Shared,
    orders: mpsc::Sender<Order>,
    ended: mpsc::Receiver<()>,
}

impl Line {
    /// Connects and starts the thread.
    pub(super) fn open(port: u16, right: &Right) -> Result<Self, RemoteError> {
        let connection = connect(port, right)?;
        let mut receiver = Receiver::new(connection.stream.try_clone()?, connection.met.to_editor.clone());
        let shared = Shared { known: Arc::default(), epoch: Instant::now() };
        match receiver.receive().map(|bytes| message::read(&bytes)) {
            Ok(Some(ToEditor::Device { hertz, grain })) => {
                let mut known = shared.known();
                known.grain = grain;
                known.gain(hertz);
            }
            Ok(Some(ToEditor::NoDevice(why))) => {
                // The session begun here is of no use to anyone.
                let mut sender = Sender::new(&connection.stream, connection.met.to_speaker.clone());
                drop(sender.send(&message::write(&ToSpeaker::Bye)));
                return Err(RemoteError::NoDevice(message::words(&why)));
            }
            Ok(_) | Err(Broken::Forged | Broken::TooLong(_)) => return Err(RemoteError::Impostor),
            Err(Broken::Stream(e)) => return Err(e.into()),
        }
        let (orders, incoming) = mpsc::channel();
        let (end, ended) = mpsc::channel();
        let keeper = Keeper { port, shared: shared.clone(), orders: orders.clone(), incoming };
        let run = move || {
            keeper.keep(connection, receiver);
            drop(end);
        };
        thread::Builder::new().name("remote speaker".into()).spawn(run)?;
        Ok(Self { shared, orders, ended })
    }

    /// Sends a message, if the line of this number is still there.
    pub(super) fn send(&self, line: u64, message: &ToSpeaker<'_>) {
        // The thread is gone only when the session is over, which is told elsewhere.
        drop(self.orders.send(Order::Send { line, bytes: message::write(message) }));
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        drop(self.orders.send(Order::End));
        // Time for a goodbye, not more.
        let _ = self.ended.recv_timeout(Duration::from_millis(500));
    }
}

/// How a line ended.
enum End {
    Lost(String),
    Wanted,
}

struct Keeper {
    port: u16,
    shared: Shared,
    orders: mpsc::Sender<Order>,
    incoming: mpsc::Receiver<Order>,
}

impl Keeper {
    /// Keeps a line until it is not wanted or the session is over.
    fn keep(self, connection: Connection, receiver: Receiver<TcpStream>) {
        let right = Right::Session(connection.met.session.clone());
        let (mut connection, mut receiver) = (connection, receiver);
        let mut number = 0;
        loop {
            number += 1;
            let ended = self.serve(&connection, receiver, number);
            drop(connection.stream.shutdown(Shutdown::Both));
            let End::Lost(why) = ended else { return };
            self.shared.known().part(self.shared.now(), why);
            if self.shared.known().over.is_some() {
                return;
            }
            let Some(next) = self.again(&right) else { return };
            connection = next;
            let stream = match connection.stream.try_clone() {
                Ok(stream) => stream,
                Err(e) => return self.over(e.to_string()),
            };
            receiver = Receiver::new(stream, connection.met.to_editor.clone());
        }
    }

    fn over(&self, why: String) {
        self.shared.known().over = Some(why);
    }

    /// Connects again, however long it takes; `None` if that is not wanted.
    fn again(&self, right: &Right) -> Option<Connection> {
        let mut told = false;
        for wait in AGAIN.iter().chain(std::iter::repeat(&AGAIN[AGAIN.len() - 1])) {
            let until = Instant::now() + *wait;
            loop {
                match self.incoming.recv_timeout(until.saturating_duration_since(Instant::now())) {
                    Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => return None,
                    Ok(Order::Send { .. } | Order::Broke { .. }) => {}
                    Err(RecvTimeoutError::Timeout) => break,
                }
            }
            match connect(self.port, right) {
                Ok(connection) => return Some(connection),
                // Nobody has proved this: it may be a stranger that has taken the port for a while. So it is told, and ends nothing.
                Err(error @ (RemoteError::Forgotten | RemoteError::Version { .. } | RemoteError::WrongToken))
                    if !told =>
                {
                    told = true;
                    self.shared.known().tell(LinkEvent::Lost(format!("the reply was an error: {error}")));
                }
                Err(_) => {}
            }
        }
        None
    }

    /// Sends and listens on one connection.
    fn serve(&self, connection: &Connection, receiver: Receiver<TcpStream>, number: u64) -> End {
        let listener = Listener { shared: self.shared.clone(), receiver };
        let orders = self.orders.clone();
        let listen = move || {
            let why = listener.listen();
            drop(orders.send(Order::Broke { line: number, why }));
        };
        if let Err(error) = thread::Builder::new().name("remote reader".into()).spawn(listen) {
            return End::Lost(error.to_string());
        }
        let mut sender = Sender::new(&connection.stream, connection.met.to_speaker.clone());
        let (mut pings, mut next) = (0, Instant::now());
        loop {
            let sent = match self.incoming.recv_timeout(next.saturating_duration_since(Instant::now())) {
                Ok(Order::Send { line, bytes }) if line == self.shared.known().line => sender.send(&bytes),
                Ok(Order::Broke { line, why }) if line == number => return End::Lost(why),
                Ok(Order::Send { .. } | Order::Broke { .. }) => Ok(()),
                Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => {
                    drop(sender.send(&message::write(&ToSpeaker::Bye)));
                    return End::Wanted;
                }
                Err(RecvTimeoutError::Timeout) => {
                    pings += 1;
                    next = Instant::now() + if pings < FIRST_PINGS { FIRST_PING } else { PING };
                    sender.send(&message::write(&ToSpeaker::Ping(self.shared.now())))
                }
            };
            if let Err(error) = sent {
                let silent = matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut);
                return End::Lost(if silent { "no data gets through".into() } else { error.to_string() });
            }
        }
    }
}

struct Listener {
    shared: Shared,
    receiver: Receiver<TcpStream>,
}

impl Listener {
    /// Takes in what the speaker says until the line breaks; gives why.
    fn listen(mut self) -> String {
        loop {
            let bytes = match self.receiver.receive() {
                Ok(bytes) => bytes,
                Err(broken) => return broken.to_string(),
            };
            let now = self.shared.now();
            let mut known = self.shared.known();
            match message::read(&bytes) {
                Some(ToEditor::Device { hertz, grain }) => {
                    known.grain = grain;
                    known.gain(hertz);
                }
                Some(ToEditor::Again) => known.again(),
                Some(ToEditor::Ended(leg)) => known.ended = leg,
                Some(ToEditor::Lacks(hash)) => {
                    known.leave(now);
                    known.tell(LinkEvent::Lacks(hash));
                }
                Some(ToEditor::NoDevice(why)) => known.lose(now, message::words(&why)),
                Some(ToEditor::Heard { generation, frame, loops, at }) => {
                    if let Some(of) = known.sent.iter().find(|s| s.generation == generation).map(|s| s.of) {
                        known.track.mark(Heard { generation, frame, loops, at }, of);
                    }
                }
                Some(ToEditor::Pong { asked, now: theirs }) => known.clocks.trip(asked, theirs, now),
                Some(ToEditor::Alive) => {}
                Some(ToEditor::Refused(why)) => {
                    known.track.clear();
                    known.tell(LinkEvent::Refused(message::words(&why)));
                }
                Some(ToEditor::Bye) => {
                    known.over = Some("the remote speaker was closed".into());
                    return "the remote speaker was closed".into();
                }
                None => return "protocol error: unknown message from the speaker".into(),
            }
        }
    }
}
