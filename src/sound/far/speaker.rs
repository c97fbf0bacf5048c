//! The speaker's side: listens on this machine only, lets one editor in, and drives a device with what it sends. It must not
//! know which device that is, or who reads what it says.

use super::door::Door;
use super::frame::{Receiver, Sender};
use super::line::SILENCE;
use super::meet::{Met, Unmet, Verdict, open};
use super::message::{self, Keeping, ToEditor, ToSpeaker};
use super::packed::Packed;
use super::proof::Token;
use crate::sound::NoSound;
use crate::sound::feed::Hand;
use crate::sound::render::{Keep, LATENCY};
use crate::sound::schedule::Schedule;
use crate::sound::units::{Frame, SampleRate};
use std::collections::VecDeque;
use std::fmt;
use std::io;
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError, SyncSender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Connections that may wait to be let in; more are closed at once.
const WAITING: usize = 16;
/// What a wrong token costs.
const PENALTY: Duration = Duration::from_secs(1);
/// Messages that may wait between a listener and the device: a schedule can be large.
const QUEUE: usize = 2;
/// Time between two marks of the playhead, and between two looks while nothing plays.
const MARK: Duration = Duration::from_millis(33);
const LOOK: Duration = Duration::from_millis(100);
/// Time between signs of life.
const ALIVE: Duration = Duration::from_millis(500);
/// Time a lost line has to come back before another editor may come by a new token.
const GRACE: Duration = Duration::from_secs(10);
/// Time between two tries to open a device.
const REOPEN: Duration = Duration::from_secs(1);
/// Commands the device may have before it.
const BEFORE_IT: usize = 8;
/// Time for what rings to fade when the speaker ends.
const FADE: Duration = Duration::from_millis(150);
/// Time in which no more than one visitor of a kind is told of.
const QUIET: Duration = Duration::from_secs(10);

/// A device that a speaker drives.
pub trait Device {
    /// The end that takes commands.
    fn hand(&mut self) -> &mut Hand;

    /// Frames that are rendered but not heard yet when a block has just been rendered.
    fn ahead(&self) -> Frame;

    /// Looks after the device.
    ///
    /// # Errors
    /// [`NoSound`] if it is lost.
    fn tick(&mut self) -> Result<(), NoSound>;
}

/// What a speaker tells the one who started it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// This token lets an editor in, once.
    Token(Token),
    /// An editor is connected; the token is spent.
    Joined,
    /// The editor is connected again.
    Back,
    /// The line is lost, the sound has stopped; the editor comes back by itself.
    Lost(String),
    /// The editor has said goodbye.
    Left,
    /// Somebody came with a wrong token.
    Wrong,
    /// The wrong tokens were so many that there is a new one.
    Worn,
    /// So many connected that are no editors of this version; the version of the last one, if it had one.
    Strangers(u32, Option<u16>),
    /// The editor has sent what cannot be sounded.
    Refused(String),
    /// The device is there again, with so many frames per second.
    Device(u32),
    /// The device is lost: why.
    NoDevice(String),
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Said::Token(token) => write!(f, "token {token}"),
            Said::Joined => f.write_str("an editor is connected; the token is spent"),
            Said::Back => f.write_str("the editor is connected again"),
            Said::Lost(why) => {
                write!(f, "the line is lost ({why}); the sound has stopped, the editor comes back by itself")
            }
            Said::Left => f.write_str("the editor has ended"),
            Said::Wrong => f.write_str("somebody came with a wrong token"),
            Said::Worn => f.write_str("too many wrong tokens; the old one is not good any more"),
            Said::Strangers(n, Some(v)) => {
                write!(
                    f,
                    "{n} connections were no editor of version {}, the last one talks version {v}",
                    super::VERSION
                )
            }
            Said::Strangers(n, None) => write!(f, "{n} connections were no editor"),
            Said::Refused(why) => write!(f, "refused what the editor sent: {why}"),
            Said::Device(hertz) => write!(f, "the output device is there again, {hertz} Hz"),
            Said::NoDevice(why) => write!(f, "{why}; trying again"),
        }
    }
}

/// What the connections tell the loop that has the device.
enum Event {
    Joined { line: u64, met: Met, stream: TcpStream, back: bool },
    Play { line: u64, schedule: Box<Schedule>, age: u16, from: Frame },
    Swap { line: u64, schedule: Box<Schedule>, age: u16, keep: Keep },
    Stop { line: u64 },
    Seek { line: u64, frame: Frame },
    Gain { line: u64, db: f32 },
    Ping { line: u64, asked: u64 },
    Bye { line: u64 },
    Unfit { line: u64, why: String },
    Ended { line: u64, why: String },
    Visitor(Unmet),
    Vanished,
}

/// What all threads of a speaker share.
struct House {
    door: Mutex<Door>,
    waiting: AtomicUsize,
    /// Frames per second of the device; 0 while there is none.
    hertz: AtomicU32,
    ending: AtomicBool,
    events: SyncSender<Event>,
}

impl House {
    fn door(&self) -> MutexGuard<'_, Door> {
        self.door.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A speaker that listens.
#[derive(Debug)]
pub struct Speaker {
    listener: TcpListener,
    port: u16,
}

impl Speaker {
    /// Listens on a port of 127.0.0.1, which no other machine reaches; 0 takes any free one.
    ///
    /// # Errors
    /// The system's reason, if the port cannot be had.
    pub fn bind(port: u16) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))?;
        let port = listener.local_addr()?.port();
        Ok(Self { listener, port })
    }

    /// The port.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Serves one editor after the other until `stop` is set. `open` opens a device, also again when it was lost; `say` is told
    /// what happens.
    ///
    /// # Errors
    /// [`NoSound`] if there is no device at the beginning, or the system gives no random numbers or threads.
    pub fn run(
        self,
        open: &mut dyn FnMut() -> Result<Box<dyn Device>, NoSound>,
        stop: &AtomicBool,
        say: &mut dyn FnMut(Said),
    ) -> Result<(), NoSound> {
        let mut device = open()?;
        let hertz = device.hand().rate().hertz();
        let (events, incoming) = mpsc::sync_channel(QUEUE);
        let house = Arc::new(House {
            door: Mutex::default(),
            waiting: AtomicUsize::new(0),
            hertz: AtomicU32::new(hertz),
            ending: AtomicBool::new(false),
            events,
        });
        let token = house.door().renew().map_err(|e| NoSound::new(&e))?;
        say(Said::Token(token));
        let port = self.port;
        let accepting = {
            let house = Arc::clone(&house);
            let accept = move || accept(&self.listener, &house);
            thread::Builder::new().name("door".into()).spawn(accept).map_err(|e| NoSound::new(&e.to_string()))?
        };
        let mut desk = Desk {
            house: &house,
            device: Some(device),
            retry: Instant::now(),
            gain: None,
            line: None,
            lost: None,
            ages: VecDeque::new(),
            epoch: Instant::now(),
            marked: Instant::now(),
            alive: Instant::now(),
            visitors: VecDeque::new(),
            say,
        };
        while !stop.load(Ordering::Relaxed) {
            match incoming.recv_timeout(desk.patience()) {
                Ok(event) => desk.take(event),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            desk.look(open);
        }
        desk.end();
        house.ending.store(true, Ordering::Relaxed);
        drop(incoming);
        // Wakes the thread that waits for connections.
        drop(TcpStream::connect((Ipv4Addr::LOCALHOST, port)));
        drop(accepting.join());
        Ok(())
    }
}

/// Takes connections, never more at a time than may wait.
fn accept(listener: &TcpListener, house: &Arc<House>) {
    let mut line = 0;
    loop {
        let stream = listener.accept();
        if house.ending.load(Ordering::Relaxed) {
            return;
        }
        let Ok((stream, _)) = stream else {
            // Out of descriptors, say: they come back.
            thread::sleep(LOOK);
            continue;
        };
        if house.waiting.fetch_add(1, Ordering::Relaxed) >= WAITING {
            house.waiting.fetch_sub(1, Ordering::Relaxed);
            continue;
        }
        line += 1;
        let (visited, number) = (Arc::clone(house), line);
        let visit = move || visit(&visited, stream, number);
        if thread::Builder::new().name("visitor".into()).spawn(visit).is_err() {
            house.waiting.fetch_sub(1, Ordering::Relaxed);
        }
    }
}

/// One connection from its first byte to its last.
fn visit(house: &House, stream: TcpStream, line: u64) {
    let mut entered = None;
    let met = open(&stream, |knock| {
        let entry = house.door().judge(knock);
        if entry.as_ref().is_err_and(|v| *v == Verdict::WrongToken) {
            thread::sleep(PENALTY);
        }
        entry.map(|e| {
            entered = Some(e.back);
            (e.session, e.shown)
        })
    });
    house.waiting.fetch_sub(1, Ordering::Relaxed);
    let met = match met {
        Ok(met) => met,
        Err(unmet) => {
            // Let in, and gone before it was told so.
            let event = if entered.is_some() { Event::Vanished } else { Event::Visitor(unmet) };
            return drop(house.events.send(event));
        }
    };
    let back = entered.unwrap_or_default();
    let listener = stream.try_clone().and_then(|copy| {
        copy.set_read_timeout(Some(SILENCE))?;
        copy.set_write_timeout(Some(SILENCE))?;
        Ok(Receiver::new(copy, met.to_speaker.clone()))
    });
    // The loop must learn of the line in any case: the door counts it as live.
    if house.events.send(Event::Joined { line, met, stream, back }).is_err() {
        return;
    }
    let why = match listener {
        Ok(receiver) => listen(house, receiver, line),
        Err(error) => error.to_string(),
    };
    drop(house.events.send(Event::Ended { line, why }));
}

/// Takes in what an editor says until the line breaks; gives why.
fn listen(house: &House, mut receiver: Receiver<TcpStream>, line: u64) -> String {
    loop {
        let bytes = match receiver.receive() {
            Ok(bytes) => bytes,
            Err(broken) => return broken.to_string(),
        };
        let Some(said) = message::read::<ToSpeaker<'_>>(&bytes) else {
            return "the editor says what this speaker does not understand".into();
        };
        let event = match said {
            ToSpeaker::Play { age, from, packed } => match unpack(house, packed) {
                Ok(schedule) => Event::Play { line, schedule, age, from: frame(from) },
                Err(why) => Event::Unfit { line, why },
            },
            ToSpeaker::Swap { age, keep, packed } => match unpack(house, packed) {
                Ok(schedule) => {
                    let keep = match keep {
                        Keeping::Place => Keep::Place,
                        Keeping::Fraction => Keep::Fraction,
                    };
                    Event::Swap { line, schedule, age, keep }
                }
                Err(why) => Event::Unfit { line, why },
            },
            ToSpeaker::Stop => Event::Stop { line },
            ToSpeaker::Seek(at) => Event::Seek { line, frame: frame(at) },
            ToSpeaker::Gain(db) if (-120.0..=24.0).contains(&db) => Event::Gain { line, db },
            ToSpeaker::Gain(_) => Event::Unfit { line, why: "a gain that is no number from -120 to 24 dB".into() },
            ToSpeaker::Ping(asked) => Event::Ping { line, asked },
            ToSpeaker::Bye => Event::Bye { line },
        };
        if house.events.send(event).is_err() {
            return "the speaker ends".into();
        }
    }
}

/// A frame that came over the line; one beyond any loop's end is the end.
fn frame(at: u64) -> Frame {
    Frame(i64::try_from(at).unwrap_or(i64::MAX))
}

fn unpack(house: &House, bytes: &[u8]) -> Result<Box<Schedule>, String> {
    let rate = SampleRate::new(house.hertz.load(Ordering::Relaxed)).ok_or("there is no device")?;
    let packed: Packed = message::read(bytes).ok_or("a loop that is damaged or too large")?;
    packed.unpack(rate).map(Box::new).map_err(|e| e.to_string())
}

/// The line to the editor.
struct Line {
    number: u64,
    sender: Sender<TcpStream>,
}

/// The loop's own things: the device, the line, and what to tell.
struct Desk<'a> {
    house: &'a House,
    device: Option<Box<dyn Device>>,
    /// When a device is next tried.
    retry: Instant,
    gain: Option<f32>,
    line: Option<Line>,
    /// When the line of a session was lost.
    lost: Option<Instant>,
    /// Ages of the device's schedules, and what the editor calls them.
    ages: VecDeque<(u16, u16)>,
    epoch: Instant,
    marked: Instant,
    alive: Instant,
    /// Kinds of visitors told of lately: when, how many since, of which version.
    visitors: VecDeque<(Instant, u32, Option<u16>)>,
    say: &'a mut dyn FnMut(Said),
}

impl Desk<'_> {
    fn playing(&mut self) -> bool {
        self.device.as_mut().is_some_and(|d| d.hand().is_playing())
    }

    /// How long to wait for an event.
    fn patience(&mut self) -> Duration {
        if self.playing() { MARK.saturating_sub(self.marked.elapsed()) } else { LOOK }
    }

    fn take(&mut self, event: Event) {
        let current = self.line.as_ref().map(|l| l.number);
        match event {
            Event::Visitor(unmet) => self.visitor(&unmet),
            Event::Vanished if self.line.is_none() => self.lose("it was closed".into()),
            Event::Vanished => {}
            Event::Joined { line, met, stream, back } => self.join(line, &met, stream, back),
            // What an older line still had to say does not count.
            Event::Play { line, .. }
            | Event::Swap { line, .. }
            | Event::Stop { line }
            | Event::Seek { line, .. }
            | Event::Gain { line, .. }
            | Event::Ping { line, .. }
            | Event::Bye { line }
            | Event::Unfit { line, .. }
            | Event::Ended { line, .. }
                if Some(line) != current => {}
            Event::Ping { asked, .. } => {
                let now = self.epoch.elapsed().as_nanos() as u64;
                self.tell(&ToEditor::Pong { asked, now });
            }
            Event::Bye { .. } => {
                self.close();
                self.lost = None;
                self.house.door().forget();
                (self.say)(Said::Left);
                self.renew();
            }
            Event::Ended { why, .. } => self.lose(why),
            Event::Unfit { why, .. } => {
                self.silence();
                self.refuse(why);
            }
            Event::Gain { db, .. } => {
                self.gain = Some(db);
                self.command(|hand| hand.set_gain(db));
            }
            Event::Play { schedule, age, from, .. } => self.play(*schedule, age, |hand, s| hand.play(s, from)),
            Event::Swap { schedule, age, keep, .. } => self.play(*schedule, age, |hand, s| hand.swap(s, keep)),
            Event::Stop { .. } => self.silence(),
            Event::Seek { frame, .. } => self.command(|hand| hand.seek_frame(frame)),
        }
    }

    fn play(&mut self, schedule: Schedule, age: u16, how: impl FnOnce(&mut Hand, Schedule)) {
        let Some(device) = &mut self.device else { return };
        // The device may have changed while the schedule was made.
        if device.hand().rate() != schedule.rate() {
            return self.refuse("it is for another device".into());
        }
        self.command(|hand| how(hand, schedule));
        if let Some(device) = &mut self.device {
            self.ages.push_back((device.hand().age(), age));
            while self.ages.len() > 128 {
                self.ages.pop_front();
            }
        }
    }

    /// Gives the device a command, after waiting a little if it has many before it.
    fn command(&mut self, what: impl FnOnce(&mut Hand)) {
        let Some(device) = &mut self.device else { return };
        let hand = device.hand();
        for _ in 0..200 {
            hand.tick();
            if hand.waiting() <= BEFORE_IT {
                return what(hand);
            }
            thread::sleep(Duration::from_millis(5));
        }
        self.refuse("the device takes no more commands".into());
    }

    /// Ends the sound softly.
    fn silence(&mut self) {
        if let Some(device) = &mut self.device
            && device.hand().is_playing()
        {
            device.hand().stop();
        }
    }

    fn refuse(&mut self, why: String) {
        self.tell(&ToEditor::Refused(why.clone()));
        (self.say)(Said::Refused(why));
    }

    fn tell(&mut self, message: &ToEditor) {
        if let Some(line) = &mut self.line {
            self.alive = Instant::now();
            if let Err(error) = line.sender.send(&message::write(message)) {
                self.lose(error.to_string());
            }
        }
    }

    fn join(&mut self, number: u64, met: &Met, stream: TcpStream, back: bool) {
        self.close();
        self.line = Some(Line { number, sender: Sender::new(stream, met.to_editor.clone()) });
        self.lost = None;
        self.ages.clear();
        (self.say)(if back { Said::Back } else { Said::Joined });
        self.tell_device();
    }

    fn tell_device(&mut self) {
        let message = match self.house.hertz.load(Ordering::Relaxed) {
            0 => ToEditor::NoDevice("no output device".into()),
            hertz => ToEditor::Device(hertz),
        };
        self.tell(&message);
    }

    /// Ends the line and the sound.
    fn close(&mut self) {
        self.silence();
        if let Some(line) = self.line.take() {
            drop(line.sender.stream().shutdown(Shutdown::Both));
        }
    }

    fn lose(&mut self, why: String) {
        self.close();
        self.house.door().live = false;
        self.lost = Some(Instant::now());
        (self.say)(Said::Lost(why));
    }

    /// Shows a new token.
    fn renew(&mut self) {
        let token = self.house.door().renew();
        match token {
            Ok(token) => (self.say)(Said::Token(token)),
            Err(why) => (self.say)(Said::NoDevice(why)),
        }
    }

    fn visitor(&mut self, unmet: &Unmet) {
        match *unmet {
            Unmet::Refused(Verdict::WrongToken) => {
                let worn = self.house.door().is_worn();
                (self.say)(if worn { Said::Worn } else { Said::Wrong });
                if worn {
                    self.renew();
                }
            }
            Unmet::Refused(_) => {}
            Unmet::Stranger | Unmet::Stream => self.stranger(None),
            Unmet::Version(v) => self.stranger(Some(v)),
        }
    }

    /// Tells of strangers, but not of each of a thousand.
    fn stranger(&mut self, version: Option<u16>) {
        if let Some(kind) = self.visitors.iter_mut().find(|v| v.2.is_some() == version.is_some()) {
            (kind.1, kind.2) = (kind.1 + 1, version);
        } else {
            (self.say)(Said::Strangers(1, version));
            self.visitors.push_back((Instant::now(), 0, version));
        }
    }

    /// Looks after the device, the line and the playhead.
    fn look(&mut self, open: &mut dyn FnMut() -> Result<Box<dyn Device>, NoSound>) {
        if self.visitors.front().is_some_and(|v| v.0.elapsed() > QUIET)
            && let Some((_, more, version)) = self.visitors.pop_front()
            && more > 0
        {
            (self.say)(Said::Strangers(more, version));
            self.visitors.push_back((Instant::now(), 0, version));
        }
        self.look_at_device(open);
        if self.playing() && self.marked.elapsed() >= MARK {
            self.marked = Instant::now();
            self.mark();
        }
        if self.alive.elapsed() >= ALIVE {
            self.tell(&ToEditor::Alive);
        }
        if self.lost.is_some_and(|l| l.elapsed() >= GRACE) {
            self.lost = None;
            if !self.house.door().has_token() {
                self.renew();
            }
        }
    }

    fn look_at_device(&mut self, open: &mut dyn FnMut() -> Result<Box<dyn Device>, NoSound>) {
        if let Some(device) = &mut self.device {
            let Err(error) = device.tick() else { return };
            self.device = None;
            self.house.hertz.store(0, Ordering::Relaxed);
            self.retry = Instant::now() + REOPEN;
            (self.say)(Said::NoDevice(error.to_string()));
            self.tell(&ToEditor::NoDevice(error.to_string()));
        } else if Instant::now() >= self.retry {
            self.retry = Instant::now() + REOPEN;
            let Ok(mut device) = open() else { return };
            let hertz = device.hand().rate().hertz();
            if let Some(db) = self.gain {
                device.hand().set_gain(db);
            }
            self.device = Some(device);
            self.ages.clear();
            self.house.hertz.store(hertz, Ordering::Relaxed);
            (self.say)(Said::Device(hertz));
            self.tell_device();
        }
    }

    /// Tells where the loop is heard.
    fn mark(&mut self) {
        let Some(device) = &mut self.device else { return };
        let behind = device.ahead().0 + LATENCY as i64;
        let Some(mark) = device.hand().mark() else { return };
        while self.ages.len() > 1 && self.ages.front().is_some_and(|a| a.0 != mark.age) {
            // Older ones never come again; a newer one is not sounding yet.
            if !self.ages.iter().any(|a| a.0 == mark.age) {
                return;
            }
            self.ages.pop_front();
        }
        let Some(&(_, age)) = self.ages.front().filter(|a| a.0 == mark.age) else { return };
        let at = mark.at.saturating_duration_since(self.epoch).as_nanos() as u64;
        self.tell(&ToEditor::Heard { age, frame: mark.frame.0 - behind, loops: mark.loops, at });
    }

    /// Ends it all: the sound fades, the editor is told.
    fn end(&mut self) {
        self.tell(&ToEditor::Bye);
        self.silence();
        let until = Instant::now() + FADE;
        while Instant::now() < until {
            if let Some(device) = &mut self.device {
                drop(device.tick());
            }
            thread::sleep(Duration::from_millis(10));
        }
        self.close();
    }
}
