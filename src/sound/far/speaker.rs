//! The speaker's side: listens on this machine only, lets one editor in, and drives a device with what it sends. It must not
//! know which device that is, or who reads what it says.

use super::frame::Sender;
use super::meet::{Met, Unmet, Verdict};
use super::message::{self, ToEditor};
use super::said::Said;
use super::visit::{Event, House, accept};
use crate::sound::NoSound;
use crate::sound::feed::Hand;
use crate::sound::render::LATENCY;
use crate::sound::schedule::Schedule;
use crate::sound::units::Frame;
use std::collections::VecDeque;
use std::io;
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

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
