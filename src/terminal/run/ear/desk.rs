//! The player's thread: does what it is asked, looks after the output, and tells what is heard. It must not know the screen, nor
//! how a leg is made.

use super::super::super::event::Speaker;
use super::super::super::{Event, Head, Heard, Playing, Sounding};
use super::super::slot::Slot;
use super::own::Own;
use super::plan::Plan;
use super::{Request, Seat};
use crate::sound::{Happening, Keep, News, Output, Player, Position};
use std::mem;
use std::sync::PoisonError;
use std::sync::mpsc::{Receiver, Sender};
use std::time::{Duration, Instant};

/// Time between two looks at the playhead.
const LOOK: Duration = Duration::from_millis(16);
/// The same while nothing plays: the device is looked after all the same.
const GLANCE: Duration = Duration::from_millis(200);

/// Where sound may come out: the device that was chosen, or a far speaker that has come.
pub(super) struct Places<'a> {
    pub output: Option<&'a str>,
    pub seat: &'a Seat,
}

/// There is nobody left to tell anything: the program has ended.
pub(super) struct Alone;

/// What is played.
#[derive(Default)]
enum Now {
    #[default]
    Nothing,
    /// A loop, and its leg's number.
    Loop(u64, Playing),
    Sequence(Plan),
}

/// What the thread has before it.
pub(super) struct Desk {
    now: Now,
    own: Own,
    events: Sender<Event>,
}

impl Desk {
    /// Nothing is played yet.
    pub(super) fn new(own: Own, events: Sender<Event>) -> Self {
        Self { now: Now::Nothing, own, events }
    }

    /// Works until no more is asked. This machine's device is opened when something is first played.
    ///
    /// # Errors
    /// [`Alone`].
    pub(super) fn run(
        mut self,
        slot: &Slot<Request>,
        taps: &Receiver<Instant>,
        places: &Places<'_>,
    ) -> Result<(), Alone> {
        let mut output: Option<Output> = None;
        loop {
            let request = if output.is_some() {
                let pause = if matches!(self.now, Now::Nothing) { GLANCE } else { LOOK };
                let Ok(request) = slot.take_within(pause) else { return Ok(()) };
                request
            } else {
                let Some(request) = slot.take() else { return Ok(()) };
                Some(request)
            };
            if let Some(far) = places.seat.lock().unwrap_or_else(PoisonError::into_inner).take() {
                self.now = Now::Nothing;
                self.own.goes_far(true);
                self.tell(Event::Speaker(Speaker::There(far.port())));
                output = Some(Output::Far(far));
            }
            if output.is_none() && matches!(request, Some(Request::Play(..))) {
                match Player::open_on(places.output) {
                    Ok(opened) => output = Some(Output::Here(opened)),
                    Err(error) => self.tell(Event::Device(Err(error.to_string()))),
                }
            }
            let Some(player) = &mut output else { continue };
            if let Some(request) = request {
                self.does(request, player);
            }
            if let Err(words) = self.look_after(player) {
                output = None;
                self.now = Now::Nothing;
                self.own.goes_far(false);
                self.tell(Event::Speaker(Speaker::Gone(words)));
                continue;
            }
            self.go_on(player)?;
            self.answer_taps(taps, player);
            self.tell_place(player)?;
        }
    }

    /// Tells something after which the thread goes on, whether anybody hears it or not.
    fn tell(&self, event: Event) {
        drop(self.events.send(event));
    }

    /// Does what is asked.
    fn does(&mut self, request: Request, player: &mut Output) {
        if matches!(request, Request::Play(..)) {
            self.tell(Event::Device(Ok(())));
        }
        self.now = match (request, mem::take(&mut self.now)) {
            (Request::Play(Sounding::Loop(what), from), _) => {
                let leg = self.own.leg(&what, player.rate());
                let from = from.map(|h| Position { section: h.section, pass: h.pass, wholes: h.wholes });
                Now::Loop(player.start(leg, from), what)
            }
            (Request::Play(Sounding::Sequence(sequence), _), _) => self.begin(Plan::new(sequence), player, true),
            (Request::Change(Sounding::Loop(what)), Now::Loop(id, _)) => {
                player.replace(id, self.own.leg(&what, player.rate()), Keep::Place);
                Now::Loop(id, what)
            }
            // Whatever of the sequence is heard becomes the loop and goes on and on.
            (Request::Change(Sounding::Loop(what)), Now::Sequence(plan)) => {
                for id in plan.sent() {
                    player.replace(id, self.own.leg(&what, player.rate()), Keep::Place);
                }
                Now::Loop(plan.sent().next_back().unwrap_or(0), what)
            }
            (Request::Change(Sounding::Sequence(sequence)), Now::Sequence(mut plan)) => {
                plan.change(sequence, player, &mut self.own);
                Now::Sequence(plan)
            }
            (Request::Step(sequence), Now::Sequence(plan)) => self.begin(plan.step(sequence), player, false),
            (Request::Stop, _) => {
                player.stop();
                Now::Nothing
            }
            (Request::Change(_) | Request::Step(_) | Request::Look, now) => now,
        };
    }

    /// Begins a sequence: now, or at the end of the time through that is heard.
    fn begin(&mut self, mut plan: Plan, player: &mut Output, now: bool) -> Now {
        plan.begin(player, &mut self.own, now);
        Now::Sequence(plan)
    }

    /// Looks after the output, and tells what has happened to it.
    ///
    /// # Errors
    /// It is gone for good: why.
    fn look_after(&mut self, player: &mut Output) -> Result<(), String> {
        while let Some(happening) = player.tick() {
            let plays = !matches!(self.now, Now::Nothing);
            let news = match happening {
                Happening::Over(error) => return Err(error.to_string()),
                Happening::Refused(words) => {
                    self.now = Now::Nothing;
                    self.tell(Event::Speaker(Speaker::Refused(words)));
                    continue;
                }
                Happening::Anew(place) => {
                    self.play_anew(place, player);
                    continue;
                }
                Happening::Device(news) => news,
            };
            if let News::BackAnew(Some(place)) = news {
                self.play_anew(place, player);
            }
            let told = match (news, player.is_far()) {
                (News::Lost(error), true) => Event::Speaker(Speaker::Lost(error.reason().to_owned())),
                (News::Back | News::BackAnew(_), true) => Event::Speaker(Speaker::Back),
                (News::Lost(error), false) => Event::SoundTold(format!("{error}; it goes on when the output is back")),
                (News::Back | News::BackAnew(_), false) => Event::SoundTold("the output device is back".into()),
            };
            if plays || player.is_far() {
                self.tell(told);
            }
        }
        Ok(())
    }

    /// Plays on, with everything built for the device as it is now: a loop from the place it had reached, a sequence from the start
    /// of the take that was heard.
    fn play_anew(&mut self, place: Position, player: &mut Output) {
        self.now = match mem::take(&mut self.now) {
            Now::Nothing => Now::Nothing,
            Now::Loop(_, what) => Now::Loop(player.start(self.own.leg(&what, player.rate()), Some(place)), what),
            Now::Sequence(plan) => self.begin(Plan::new(plan.rest()), player, true),
        };
    }

    /// Sends what comes of a sequence, and notes its end.
    fn go_on(&mut self, player: &mut Output) -> Result<(), Alone> {
        if let Now::Sequence(plan) = &mut self.now {
            plan.send(player, &mut self.own);
            if plan.is_sent() && player.has_ended() {
                self.now = Now::Nothing;
                self.events.send(Event::SequenceEnded).map_err(|_| Alone)?;
            }
        }
        Ok(())
    }

    /// Tells what was heard when keys were tapped; only to a loop can be tapped.
    fn answer_taps(&self, taps: &Receiver<Instant>, player: &mut Output) {
        for at in taps.try_iter() {
            let heard = player.heard_at(at).filter(|_| matches!(self.now, Now::Loop(..))).map(|h| Heard {
                section: h.section,
                pass: h.pass,
                wholes: h.wholes,
                turns: h.loops,
                grain_ms: player.grain() * 1000.0,
            });
            if let Some(heard) = heard {
                self.tell(Event::Tapped(heard));
            }
        }
    }

    /// Tells where the groove is heard, and which take of a sequence that is.
    fn tell_place(&mut self, player: &mut Output) -> Result<(), Alone> {
        if matches!(self.now, Now::Nothing) {
            return Ok(());
        }
        let head = player.playhead();
        if let (Now::Sequence(plan), Some(h)) = (&mut self.now, &head)
            && let Some(news) = plan.news(h.leg, h.loops)
        {
            self.tell(news);
        }
        let head = head.map(|h| Head { section: h.section, pass: h.pass, wholes: h.wholes });
        self.events.send(Event::Tick(head)).map_err(|_| Alone)
    }
}
