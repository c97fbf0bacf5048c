//! The speaker's loop: takes in what its connections tell, drives the device by it, and tells the editor where the loop is
//! heard.

use super::frame::Sender;
use super::meet::{Met, Unmet, Verdict};
use super::message::{self, How, ToEditor};
use super::said::Said;
use super::sendings::Sendings;
use super::speaker::Device;
use super::strangers::Strangers;
use super::visit::{Event, House, frame};
use crate::sound::DeviceEvent;
use crate::sound::channel::RenderHandle;
use crate::sound::segment::Segment;
use std::net::{Shutdown, TcpStream};
use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

/// Time between two marks of the playhead, and between two looks while nothing plays.
const MARK: Duration = Duration::from_millis(33);
const LOOK: Duration = Duration::from_millis(100);
/// Time between signs of life.
const ALIVE: Duration = Duration::from_millis(500);
/// Time a lost line has to come back before another editor may come by a new token.
const GRACE: Duration = Duration::from_secs(10);
/// Commands the device may have before it, also while it is lost.
const BEFORE_IT: usize = 8;
const WHILE_LOST: usize = 200;
/// Time for what rings to fade when the speaker ends.
const FADE: Duration = Duration::from_millis(150);

/// The line to the editor.
struct Line {
    number: u64,
    sender: Sender<TcpStream>,
}

/// The loop's own things: the device, the line, and what to tell.
pub(super) struct Desk<'a> {
    house: &'a House,
    device: Box<dyn Device>,
    /// Why the device is lost, and whether nothing that it was given before counts when it comes back.
    out: Option<String>,
    anew: bool,
    /// Whether what follows something that was not sounded is still to be left alone.
    deaf: bool,
    gain: Option<f32>,
    line: Option<Line>,
    /// When the line of a session was lost.
    lost: Option<Instant>,
    sent: Sendings,
    /// The device's leg of whose end the editor was told last.
    ended: u64,
    epoch: Instant,
    marked: Instant,
    alive: Instant,
    strangers: Strangers,
    say: &'a mut dyn FnMut(Said),
}

impl<'a> Desk<'a> {
    pub(super) fn new(house: &'a House, device: Box<dyn Device>, say: &'a mut dyn FnMut(Said)) -> Self {
        let now = Instant::now();
        Self {
            house,
            device,
            out: None,
            anew: false,
            deaf: true,
            gain: None,
            line: None,
            lost: None,
            sent: Sendings::default(),
            ended: 0,
            epoch: now,
            marked: now,
            alive: now,
            strangers: Strangers::default(),
            say,
        }
    }

    fn playing(&mut self) -> bool {
        self.device.handle().is_playing()
    }

    /// How long to wait for an event.
    pub(super) fn patience(&mut self) -> Duration {
        if self.playing() { MARK.saturating_sub(self.marked.elapsed()) } else { LOOK }
    }

    pub(super) fn take(&mut self, event: Event) {
        let current = self.line.as_ref().map(|l| l.number);
        match event {
            Event::Visitor(unmet) => self.visitor(&unmet),
            Event::Vanished if self.line.is_none() => self.lose("connection closed".into()),
            Event::Vanished => {}
            Event::Joined { line, met, stream, back } => self.join(line, &met, stream, back),
            // What an older line still had to say does not count.
            Event::Segment { line, .. }
            | Event::Stop { line }
            | Event::Gain { line, .. }
            | Event::Ping { line, .. }
            | Event::Bye { line }
            | Event::Unfit { line, .. }
            | Event::Lacks { line, .. }
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
            Event::Unfit { why, .. } => self.refuse(why),
            Event::Lacks { hash, .. } => {
                self.silence();
                self.deaf = true;
                self.tell(&ToEditor::Lacks(hash));
            }
            Event::Gain { db, .. } => {
                self.gain = Some(db);
                self.command(|handle| handle.set_volume(db));
            }
            Event::Segment { how: How::Queue | How::Then | How::Replace, .. } if self.deaf => {}
            Event::Segment { how, leg, number, generation, .. } => self.play(how, *leg, number, generation),
            Event::Stop { .. } => self.silence(),
        }
    }

    fn play(&mut self, how: How, leg: Segment, number: u64, generation: u64) {
        // The device may have changed while the leg was made.
        if leg.schedule.as_ref().is_none_or(|s| s.rate != self.device.handle().rate()) {
            return self.refuse("the segment has another sample rate than the device".into());
        }
        let mut id = None;
        match how {
            How::Start(from) => {
                self.deaf = false;
                self.command(|handle| id = Some(handle.start(leg, frame(from))));
            }
            How::Queue if !self.device.handle().has_room() => self.refuse("too many queued segments".into()),
            How::Queue => self.command(|handle| id = Some(handle.queue(leg))),
            How::Then => self.command(|handle| id = Some(handle.switch_to(leg))),
            How::Replace => {
                // One that was never there is left alone, as one that has been played.
                let Some(old) = self.sent.id(number) else { return };
                self.command(|handle| {
                    handle.replace(old, leg);
                    id = Some(old);
                });
            }
        }
        if let Some(id) = id {
            self.sent.add((id, self.device.handle().generation()), (number, generation));
        }
    }

    /// Gives the device a command, after waiting a little if it has many before it.
    fn command(&mut self, what: impl FnOnce(&mut RenderHandle)) {
        let most = if self.out.is_some() { WHILE_LOST } else { BEFORE_IT };
        for _ in 0..200 {
            let handle = self.device.handle();
            handle.tick();
            if handle.waiting() <= most {
                return what(handle);
            }
            if self.out.is_some() {
                break;
            }
            thread::sleep(Duration::from_millis(5));
        }
        self.refuse("the device accepts no more commands".into());
    }

    /// Ends the sound softly.
    fn silence(&mut self) {
        if self.playing() {
            self.device.handle().stop();
        }
    }

    /// Sounds nothing more until the editor begins anew.
    fn refuse(&mut self, why: String) {
        self.silence();
        self.deaf = true;
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
        // The loss of its old line may have been told after it was let in.
        self.house.door().live = true;
        self.sent.clear();
        (self.deaf, self.anew) = (true, self.out.is_some());
        (self.say)(if back { Said::Back } else { Said::Joined });
        self.tell_device();
    }

    fn tell_device(&mut self) {
        let message = if let Some(why) = &self.out {
            ToEditor::NoDevice(why.clone())
        } else {
            let (hertz, grain) = (self.device.handle().rate().hertz(), self.device.grain().0);
            ToEditor::Device { hertz, grain: u32::try_from(grain).unwrap_or_default() }
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
            Err(why) => (self.say)(Said::NoToken(why)),
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

    fn stranger(&mut self, version: Option<u16>) {
        if let Some(said) = self.strangers.came(version, Instant::now()) {
            (self.say)(said);
        }
    }

    /// Looks after the device, the line and the playhead.
    pub(super) fn look(&mut self) {
        if let Some(said) = self.strangers.look(Instant::now()) {
            (self.say)(said);
        }
        self.look_at_device();
        self.look_at_end();
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

    fn look_at_device(&mut self) {
        let Some(news) = self.device.tick() else { return };
        if let DeviceEvent::Lost(error) = news {
            self.out = Some(error.reason().to_owned());
            self.tell(&ToEditor::NoDevice(error.reason().to_owned()));
            return (self.say)(Said::NoDevice(error.to_string()));
        }
        self.out = None;
        let hertz = self.device.handle().rate().hertz();
        (self.say)(Said::Device(hertz));
        if news == DeviceEvent::Reopened && !self.anew {
            return self.tell(&ToEditor::Again);
        }
        // The editor sends all that is to sound.
        self.silence();
        self.sent.clear();
        (self.deaf, self.anew) = (true, false);
        if news != DeviceEvent::Reopened {
            self.ended = 0;
        }
        if let Some(db) = self.gain {
            self.device.handle().set_volume(db);
        }
        self.house.hertz.store(hertz, Ordering::Relaxed);
        self.tell_device();
    }

    /// Tells that the last leg has ended the playing.
    fn look_at_end(&mut self) {
        let Some((id, leg)) = self.sent.last() else { return };
        if id != self.ended && self.device.handle().has_ended() {
            self.ended = id;
            self.tell(&ToEditor::Ended(leg));
        }
    }

    /// Tells where the loop is heard.
    fn mark(&mut self) {
        if self.out.is_some() {
            return;
        }
        let ahead = self.device.ahead();
        let Some(mark) = self.device.handle().mark(ahead) else { return };
        let Some(generation) = self.sent.heard(mark.position.id, mark.position.generation) else { return };
        let at = mark.at.saturating_duration_since(self.epoch).as_nanos() as u64;
        self.tell(&ToEditor::Heard { generation, frame: mark.position.frame, loops: mark.position.pass, at });
    }

    /// Ends it all: the sound fades, the editor is told.
    pub(super) fn end(&mut self) {
        self.tell(&ToEditor::Bye);
        self.silence();
        let until = Instant::now() + FADE;
        while Instant::now() < until {
            self.device.handle().tick();
            thread::sleep(Duration::from_millis(10));
        }
        self.close();
    }
}
