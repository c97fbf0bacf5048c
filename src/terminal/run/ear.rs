//! The player on a thread of its own: builds schedules away from screen and sound device, lets takes follow each other, and tells
//! where the groove is heard, on this machine or on a far speaker. It must not know the screen.

use super::super::event::Speaker;
use super::super::{Clicks, Event, Head, Heard, Over, Playing, Pulses, SIDES, Sequence};
use super::slot::Slot;
use super::sounds::Sounds;
use crate::rhythm::Groove;
use crate::sound::far::{self, Far, Token};
use crate::sound::take::{CountIn, Take, ladder};
use crate::sound::{
    Click, ClickLine, Happening, Keep, Leg, News, Output, OwnSounds, Playhead, Position, Range, SampleRate,
};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Time between two looks at the playhead.
const LOOK: Duration = Duration::from_millis(16);
/// The same while nothing plays: the device is looked after all the same.
const GLANCE: Duration = Duration::from_millis(200);
/// Times through for which the silences of a step that goes on and on are counted out.
const COUNTED: u32 = 256;

/// What is to be heard: a loop, or takes that follow each other.
enum Order {
    Loop(Playing),
    Sequence(Sequence),
}

enum Request {
    Play(Order, Option<Head>),
    Change(Order),
    Step(Sequence),
    Stop,
    /// Nothing but to look whether a far speaker has come.
    Look,
}

/// Longest time that the end of the program waits for the sound to end.
const GOODBYE: Duration = Duration::from_millis(800);

/// A far speaker that was connected and waits to be used.
type Seat = Arc<Mutex<Option<Far>>>;

/// The thread's end of the program.
pub(super) struct Ear {
    slot: Slot<Request>,
    /// When keys were tapped: each counts, so they wait in a row of their own.
    taps: Sender<Instant>,
    beside: Beside,
    seat: Seat,
    events: Sender<Event>,
    /// Closed when the thread has ended.
    ended: Receiver<()>,
}

/// The groove's file, whose folder holds its sounds.
type Beside = Arc<Mutex<Option<PathBuf>>>;

impl Ear {
    /// Starts the thread. Without a far speaker this machine's device, the chosen one or the default one, is opened when
    /// something is first played.
    pub(super) fn start(events: Sender<Event>, output: Option<String>, far: Option<Far>) -> Self {
        let slot: Slot<Request> = Slot::new();
        let (taps, tapped) = mpsc::channel();
        let worker = slot.clone();
        let beside = Beside::default();
        let own = Own { sounds: Sounds::default(), beside: beside.clone(), events: events.clone(), large: None };
        let seat: Seat = Arc::new(Mutex::new(far));
        let (taken, told) = (seat.clone(), events.clone());
        let (end, ended) = mpsc::channel();
        let work = move || {
            run(&worker, &tapped, &events, &Places { output: output.as_deref(), seat: &taken }, own);
            drop::<Sender<()>>(end);
        };
        drop(thread::Builder::new().name("player".into()).spawn(work));
        slot.put(|_| Some(Request::Look));
        Self { slot, taps, beside, seat, events: told, ended }
    }

    /// Connects to a far speaker, and lets it sound from then on.
    pub(super) fn connect(&self, port: u16, token: String) {
        let (slot, seat, events) = (self.slot.clone(), self.seat.clone(), self.events.clone());
        let connect = move || {
            let far = match Token::parse(&token) {
                Some(token) => Far::connect(port, &token).map_err(|e| e.to_string()),
                None => Err("that is no token".to_owned()),
            };
            match far {
                Ok(far) => {
                    *seat.lock().unwrap_or_else(PoisonError::into_inner) = Some(far);
                    slot.put(|old| old.or(Some(Request::Look)));
                }
                Err(words) => drop(events.send(Event::Speaker(Speaker::Failed(words)))),
            }
        };
        drop(thread::Builder::new().name("connecting".into()).spawn(connect));
    }

    /// Says where the groove's file is.
    pub(super) fn beside(&self, file: Option<&str>) {
        let mut beside = self.beside.lock().unwrap_or_else(PoisonError::into_inner);
        if beside.as_deref().and_then(|p| p.to_str()) != file {
            *beside = file.map(PathBuf::from);
        }
    }

    /// Plays from a place on, or from the loop's start.
    pub(super) fn play(&self, playing: Playing, from: Option<Head>) {
        self.slot.put(|_| Some(Request::Play(Order::Loop(playing), from)));
    }

    /// Plays takes that follow each other.
    pub(super) fn play_sequence(&self, sequence: Sequence) {
        self.slot.put(|_| Some(Request::Play(Order::Sequence(sequence), None)));
    }

    /// Goes on with another loop.
    pub(super) fn change(&self, playing: Playing) {
        self.put_change(Order::Loop(playing));
    }

    /// Goes on with an edited sequence.
    pub(super) fn change_sequence(&self, sequence: Sequence) {
        self.put_change(Order::Sequence(sequence));
    }

    fn put_change(&self, order: Order) {
        self.slot.put(|old| match (old, order) {
            (Some(Request::Play(Order::Sequence(old), from)), Order::Sequence(new)) => {
                Some(Request::Play(Order::Sequence(Sequence { at: old.at, ..new }), from))
            }
            (Some(Request::Play(_, from)), order) => Some(Request::Play(order, from)),
            (Some(Request::Step(old)), Order::Sequence(new)) => Some(Request::Step(Sequence { at: old.at, ..new })),
            (Some(Request::Stop), _) => Some(Request::Stop),
            (_, order) => Some(Request::Change(order)),
        });
    }

    /// Goes on with another take of the sequence at the end of the time through that is heard.
    pub(super) fn step(&self, sequence: Sequence) {
        self.slot.put(|old| match old {
            Some(Request::Play(..)) => Some(Request::Play(Order::Sequence(sequence), None)),
            Some(Request::Stop) => Some(Request::Stop),
            Some(Request::Step(_) | Request::Change(_) | Request::Look) | None => Some(Request::Step(sequence)),
        });
    }

    /// Tells what was heard at this instant, at the next look at the playhead.
    pub(super) fn tap(&self, at: Instant) {
        // Without the thread nothing sounds, and nothing is tapped to.
        let _ = self.taps.send(at);
    }

    /// Stops playing.
    pub(super) fn stop_playing(&self) {
        self.slot.put(|_| Some(Request::Stop));
    }

    /// Ends the thread, and leaves it the time to say goodbye to a far speaker.
    pub(super) fn stop(&self) {
        self.slot.put(|_| Some(Request::Stop));
        self.slot.close();
        let _ = self.ended.recv_timeout(GOODBYE);
    }
}

/// The user's own sounds, for the legs that are built.
struct Own {
    sounds: Sounds,
    beside: Beside,
    events: Sender<Event>,
    /// With a far speaker: the names of the sounds that are too large for the line, as they were last told.
    large: Option<Vec<String>>,
}

impl Own {
    fn of(&mut self, groove: &Groove, rate: SampleRate) -> OwnSounds {
        let file = self.beside.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut own, mut words) = self.sounds.of(groove, file.as_deref(), rate);
        if let Some(told) = &mut self.large {
            let large = own.keep_within(far::SOUND, far::SOUNDS);
            if !large.is_empty() && large != *told {
                words.push(format!("{}: too large for the far speaker, voices sound instead", large.join(", ")));
            }
            *told = large;
        }
        if !words.is_empty() {
            drop(self.events.send(Event::SoundTold(words.join("; "))));
        }
        own
    }

    /// The leg of a loop.
    fn leg(&mut self, what: &Playing, rate: SampleRate) -> Leg {
        let own = self.of(&what.groove, rate);
        Leg::new(take(what).schedule_with(&what.groove, rate, &own))
    }
}

/// A part of a sequence that is sent as one leg: a take, or its count-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Part {
    take: usize,
    counting: bool,
}

/// A part that was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sent {
    /// The leg's number.
    id: u64,
    part: Part,
    /// Times through of the take that lay behind it already.
    behind: u64,
    /// Whether it follows at the end of a time through, whatever the leg before it was to be.
    step: bool,
}

/// What is played of a sequence and what still comes.
struct Plan {
    sequence: Sequence,
    takes: Vec<Take>,
    /// What was sent and may still be heard, in order.
    sent: VecDeque<Sent>,
    /// What is sent next, in order.
    next: VecDeque<Part>,
    /// What was last told: a part, and times through it.
    told: Option<(Part, u64)>,
}

impl Plan {
    fn new(sequence: Sequence) -> Self {
        let takes = takes(&sequence);
        let next = parts(&sequence);
        Self { sequence, takes, sent: VecDeque::new(), next, told: None }
    }

    /// The leg of a part, so many times through of which lie behind it.
    fn leg(&self, part: Part, behind: u64, rate: SampleRate, own: &mut Own) -> Option<Leg> {
        let (asked, take) = (self.sequence.takes.get(part.take)?, self.takes.get(part.take)?);
        let groove = &asked.playing.groove;
        if part.counting {
            return Some(Leg::new(take.count(groove, rate)?).times(1));
        }
        let leg = take.leg_with(groove, rate, &own.of(groove, rate));
        let is_last = part.take + 1 == self.takes.len();
        let leg = match asked.times {
            None => leg.times(u64::MAX),
            Some(_) if is_last => leg.last(),
            Some(_) => leg,
        };
        Some(leg.behind(behind))
    }

    /// Sends the first part: now, or at the end of the time through that is heard.
    fn begin(&mut self, player: &mut Output, own: &mut Own, now: bool) {
        while let Some(part) = self.next.pop_front() {
            if let Some(leg) = self.leg(part, 0, player.rate(), own) {
                let id = if now { player.start(leg, None) } else { player.then(leg) };
                self.sent.push_back(Sent { id, part, behind: 0, step: !now });
                return;
            }
        }
    }

    /// Sends what comes as far as there is room.
    fn send(&mut self, player: &mut Output, own: &mut Own) {
        while !self.next.is_empty() && player.has_room() {
            if let Some(part) = self.next.pop_front()
                && let Some(leg) = self.leg(part, 0, player.rate(), own)
            {
                let id = player.queue(leg);
                self.sent.push_back(Sent { id, part, behind: 0, step: false });
            }
        }
    }

    /// Puts an edited sequence in the place of this one.
    fn change(&mut self, sequence: Sequence, player: &mut Output, own: &mut Own) {
        self.takes = takes(&sequence);
        self.sequence = sequence;
        for s in &self.sent {
            if let Some(leg) = self.leg(s.part, s.behind, player.rate(), own) {
                player.replace(s.id, leg, Keep::Place);
            }
        }
    }

    /// Nothing of what was sent is there any more: gives what was heard then and what lies behind it, and whether what now comes next
    /// was to begin at the end of its time through. A count-in begins again.
    fn recall(&mut self, head: &Playhead) -> Option<(Part, u64, bool)> {
        let found = self.sent.iter().position(|s| s.id == head.leg);
        let mut sent = std::mem::take(&mut self.sent).split_off(found.unwrap_or(0));
        let Sent { part, behind, .. } = sent.pop_front()?;
        let step = sent.front().is_some_and(|s| s.step);
        sent.iter().rev().for_each(|s| self.next.push_front(s.part));
        let heard = if found.is_some() && !part.counting { head.loops } else { 0 };
        Some((part, behind + heard, step))
    }

    /// Sends all anew, from the place that was heard.
    fn resume(&mut self, head: &Playhead, player: &mut Output, own: &mut Own) {
        let there = self.sent.iter().any(|s| s.id == head.leg);
        let Some((part, behind, step)) = self.recall(head) else { return self.begin(player, own, true) };
        let Some(leg) = self.leg(part, behind, player.rate(), own) else { return self.begin(player, own, true) };
        let id = player.start(leg, Some(head.position()).filter(|_| there && !part.counting));
        self.sent.push_back(Sent { id, part, behind, step: false });
        if step {
            self.begin(player, own, false);
        }
    }

    /// What is heard, if it is not what was last told.
    fn news(&mut self, leg: u64, turn: u64) -> Option<Event> {
        while self.sent.len() > 1 && self.sent.front().is_some_and(|s| s.id < leg) {
            self.sent.pop_front();
        }
        let &Sent { part, behind, .. } = self.sent.iter().find(|s| s.id == leg)?;
        let turn = turn + behind;
        let told = Some((part, turn));
        if self.told == told {
            return None;
        }
        self.told = told;
        Some(Event::Take { take: part.take, counting: part.counting, turn })
    }
}

/// The parts of a sequence from its take `at` on, up to one that has no end.
fn parts(sequence: &Sequence) -> VecDeque<Part> {
    let mut parts = VecDeque::new();
    for (take, asked) in sequence.takes.iter().enumerate().skip(sequence.at) {
        if asked.count_in {
            parts.push_back(Part { take, counting: true });
        }
        parts.push_back(Part { take, counting: false });
        if asked.times.is_none() {
            break;
        }
    }
    parts
}

fn takes(sequence: &Sequence) -> Vec<Take> {
    let take = |t: &super::super::Take| Take {
        times: t.times.unwrap_or(COUNTED),
        count_in: if t.count_in { count_in(&t.playing) } else { CountIn::Off },
        ..take(&t.playing)
    };
    let mut takes: Vec<Take> = sequence.takes.iter().map(take).collect();
    if let Some(every) = sequence.silence {
        ladder::silence(&mut takes, every);
    }
    takes
}

/// What is played.
enum Now {
    Nothing,
    /// A loop, and its leg's number.
    Loop(u64, Playing),
    Sequence(Plan),
}

/// Where sound may come out: the device that was chosen, or a far speaker that has come.
struct Places<'a> {
    output: Option<&'a str>,
    seat: &'a Seat,
}

fn run(slot: &Slot<Request>, taps: &Receiver<Instant>, events: &Sender<Event>, places: &Places<'_>, mut own: Own) {
    let mut player: Option<Output> = None;
    let mut now = Now::Nothing;
    loop {
        let request = if player.is_some() {
            let pause = if matches!(now, Now::Nothing) { GLANCE } else { LOOK };
            match slot.take_within(pause) {
                Ok(request) => request,
                Err(_) => return,
            }
        } else {
            match slot.take() {
                Some(request) => Some(request),
                None => return,
            }
        };
        if let Some(far) = places.seat.lock().unwrap_or_else(PoisonError::into_inner).take() {
            let port = far.port();
            player = Some(Output::Far(far));
            (now, own.large) = (Now::Nothing, Some(Vec::new()));
            drop(events.send(Event::Speaker(Speaker::There(port))));
        }
        if player.is_none() && matches!(request, Some(Request::Play(..))) {
            match Output::here(places.output) {
                Ok(opened) => player = Some(opened),
                Err(error) => drop(events.send(Event::Device(Err(error.to_string())))),
            }
        }
        let Some(p) = &mut player else {
            now = Now::Nothing;
            continue;
        };
        if let Some(request) = request {
            if matches!(request, Request::Play(..)) {
                drop(events.send(Event::Device(Ok(()))));
            }
            now = done(request, now, p, &mut own);
        }
        while let Some(happening) = p.tick() {
            if let Happening::Over(error) = happening {
                (player, now, own.large) = (None, Now::Nothing, None);
                drop(events.send(Event::Speaker(Speaker::Gone(error.to_string()))));
                break;
            }
            now = happened(happening, now, p, &mut own, events);
        }
        let Some(p) = &mut player else { continue };
        if let Now::Sequence(plan) = &mut now {
            plan.send(p, &mut own);
            if plan.next.is_empty() && p.has_ended() {
                now = Now::Nothing;
                if events.send(Event::SequenceEnded).is_err() {
                    return;
                }
            }
        }
        for at in taps.try_iter() {
            let heard = p.heard_at(at).filter(|_| matches!(now, Now::Loop(..))).map(|h| Heard {
                section: h.section,
                pass: h.pass,
                wholes: h.wholes,
                turns: h.loops,
                grain_ms: p.grain() * 1000.0,
            });
            if let Some(heard) = heard {
                drop(events.send(Event::Tapped(heard)));
            }
        }
        if !matches!(now, Now::Nothing) {
            let head = p.playhead();
            if let (Now::Sequence(plan), Some(h)) = (&mut now, &head)
                && let Some(news) = plan.news(h.leg, h.loops)
            {
                drop(events.send(news));
            }
            let head = head.map(|h| Head { section: h.section, pass: h.pass, wholes: h.wholes });
            if events.send(Event::Tick(head)).is_err() {
                return;
            }
        }
    }
}

/// Tells what has happened to the output; gives what is played then.
fn happened(happening: Happening, now: Now, player: &mut Output, own: &mut Own, events: &Sender<Event>) -> Now {
    let plays = !matches!(now, Now::Nothing);
    let (news, now) = match happening {
        Happening::Refused(words) => {
            drop(events.send(Event::Speaker(Speaker::Refused(words))));
            return Now::Nothing;
        }
        Happening::Anew(head) => return anew(now, &head, player, own),
        Happening::Over(_) => return Now::Nothing,
        Happening::Device(News::BackAnew(Some(head))) => (News::Back, anew(now, &head, player, own)),
        Happening::Device(news) => (news, now),
    };
    let told = match (news, player.is_far()) {
        (News::Lost(error), true) => Event::Speaker(Speaker::Lost(error.reason().to_owned())),
        (News::Back | News::BackAnew(_), true) => Event::Speaker(Speaker::Back),
        (News::Lost(error), false) => Event::SoundTold(format!("{error}; it goes on when the output is back")),
        (News::Back | News::BackAnew(_), false) => Event::SoundTold("the output device is back".into()),
    };
    if plays || player.is_far() {
        drop(events.send(told));
    }
    now
}

/// Plays on from the place that was heard, with everything built for the device as it is now.
fn anew(now: Now, head: &Playhead, player: &mut Output, own: &mut Own) -> Now {
    match now {
        Now::Nothing => Now::Nothing,
        Now::Loop(_, what) => Now::Loop(player.start(own.leg(&what, player.rate()), Some(head.position())), what),
        Now::Sequence(mut plan) => {
            plan.resume(head, player, own);
            Now::Sequence(plan)
        }
    }
}

/// Does what is asked; gives what is played then.
fn done(request: Request, now: Now, player: &mut Output, own: &mut Own) -> Now {
    match (request, now) {
        (Request::Play(Order::Loop(what), from), _) => {
            let leg = own.leg(&what, player.rate());
            let from = from.map(|h| Position { section: h.section, pass: h.pass, wholes: h.wholes });
            Now::Loop(player.start(leg, from), what)
        }
        (Request::Play(Order::Sequence(sequence), _), _) => {
            let mut plan = Plan::new(sequence);
            plan.begin(player, own, true);
            Now::Sequence(plan)
        }
        (Request::Change(Order::Loop(what)), Now::Loop(id, _)) => {
            player.replace(id, own.leg(&what, player.rate()), Keep::Place);
            Now::Loop(id, what)
        }
        // Whatever of the sequence is heard becomes the loop and goes on and on.
        (Request::Change(Order::Loop(what)), Now::Sequence(plan)) => {
            for sent in &plan.sent {
                player.replace(sent.id, own.leg(&what, player.rate()), Keep::Place);
            }
            Now::Loop(plan.sent.back().map_or(0, |s| s.id), what)
        }
        (Request::Change(Order::Sequence(sequence)), Now::Sequence(mut plan)) => {
            plan.change(sequence, player, own);
            Now::Sequence(plan)
        }
        (Request::Step(sequence), Now::Sequence(old)) => {
            let mut plan = Plan::new(sequence);
            // What is heard now is told until the step begins.
            (plan.sent, plan.told) = (old.sent, old.told);
            plan.begin(player, own, false);
            Now::Sequence(plan)
        }
        (Request::Stop, _) => {
            player.stop();
            Now::Nothing
        }
        (Request::Change(_) | Request::Step(_) | Request::Look, now) => now,
    }
}

fn click(clicks: Clicks) -> Click {
    match clicks {
        Clicks::Off => Click::Off,
        Clicks::Plain => Click::Written,
        Clicks::OffBeat => Click::OffBeat,
        Clicks::Cut(n) => Click::Divided(n),
    }
}

fn side(line: &Pulses) -> i8 {
    SIDES[usize::from(line.index) % SIDES.len()]
}

/// The take of a loop, once through.
pub(super) fn take(what: &Playing) -> Take {
    let range = match what.over {
        Over::All => Range::Whole,
        Over::Section(section) => Range::Section(section),
        Over::Part { section, from, to } => Range::Region { section, from, to },
    };
    let line = |l: &Pulses| ClickLine::of_pulse(&l.pulses, l.length, click(l.clicks), l.index, side(l));
    Take {
        name: String::new(),
        note: String::new(),
        layers: what.layers,
        click: click(what.beat),
        lines: what.lines.iter().map(line).collect(),
        speed: what.speed,
        range,
        times: 1,
        count_in: CountIn::Off,
        silences: Vec::new(),
    }
}

/// What is counted in: a bar of the written beat, or the pulse of the first hearing where that alone is clicked.
pub(super) fn count_in(what: &Playing) -> CountIn {
    let Some(line) = what.lines.first().filter(|_| what.beat == Clicks::Off) else { return CountIn::Bar };
    let first = line.pulses.partition_point(|t| *t < line.lead - 1e-9);
    match line.pulses[first..] {
        [first, second, ..] => {
            CountIn::Pulse { first: first - line.lead, period: second - first, tone: line.index, side: side(line) }
        }
        _ => CountIn::Bar,
    }
}

#[cfg(test)]
mod tests;
