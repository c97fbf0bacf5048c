//! The player on a thread of its own: builds schedules away from screen and sound device, and tells where the groove is
//! heard. It must not know the screen.

use super::super::event::Speaker;
use super::super::{Event, Head, Over, Playing};
use super::slot::Slot;
use crate::sound::far::{Far, News, Token};
use crate::sound::{self, Click, ClickLine, Keep, Moment, Output, Player, Position, Range, Schedule};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// Time between two looks at the playhead.
const LOOK: Duration = Duration::from_millis(16);
/// Time between two looks at a far speaker while nothing plays.
const GLANCE: Duration = Duration::from_millis(200);

enum Request {
    Play(Playing, Option<Head>),
    Change(Playing),
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
    seat: Seat,
    events: Sender<Event>,
    /// Closed when the thread has ended.
    ended: Receiver<()>,
}

impl Ear {
    /// Starts the thread. This machine's device is opened when something is first played and there is no far speaker.
    pub(super) fn start(events: Sender<Event>, far: Option<Far>) -> Self {
        let slot: Slot<Request> = Slot::new();
        let seat: Seat = Arc::new(Mutex::new(far));
        let (worker, taken, told) = (slot.clone(), seat.clone(), events.clone());
        let (end, ended) = mpsc::channel();
        let listen = move || {
            run(&worker, &taken, &told);
            drop::<Sender<()>>(end);
        };
        drop(thread::Builder::new().name("player".into()).spawn(listen));
        slot.put(|_| Some(Request::Look));
        Self { slot, seat, events, ended }
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

    /// Plays from a place on, or from the loop's start.
    pub(super) fn play(&self, playing: Playing, from: Option<Head>) {
        self.slot.put(|_| Some(Request::Play(playing, from)));
    }

    /// Goes on with another loop.
    pub(super) fn change(&self, playing: Playing) {
        self.slot.put(|old| match old {
            Some(Request::Play(_, from)) => Some(Request::Play(playing, from)),
            Some(Request::Stop) => Some(Request::Stop),
            Some(Request::Change(_) | Request::Look) | None => Some(Request::Change(playing)),
        });
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

fn run(slot: &Slot<Request>, seat: &Seat, events: &Sender<Event>) {
    let mut player: Option<Output> = None;
    let mut playing = false;
    loop {
        let request = if playing || player.as_ref().is_some_and(Output::has_line) {
            match slot.take_within(if playing { LOOK } else { GLANCE }) {
                Ok(request) => request,
                Err(_) => return,
            }
        } else {
            match slot.take() {
                Some(request) => Some(request),
                None => return,
            }
        };
        if let Some(far) = seat.lock().unwrap_or_else(PoisonError::into_inner).take() {
            let port = far.port();
            player = Some(Output::Far(far));
            playing = false;
            drop(events.send(Event::Speaker(Speaker::There(port))));
        }
        match request {
            Some(Request::Play(what, from)) => {
                if player.is_none() {
                    player = match Player::open() {
                        Ok(player) => Some(Output::Here(player)),
                        Err(error) => {
                            drop(events.send(Event::Device(Err(error.to_string()))));
                            None
                        }
                    };
                }
                if let Some(player) = &mut player {
                    drop(events.send(Event::Device(Ok(()))));
                    let schedule = Schedule::build(&what.groove, &ask(&what, player));
                    match from {
                        Some(h) => {
                            player.play_from(schedule, Position { section: h.section, pass: h.pass, wholes: h.wholes });
                        }
                        None => player.play(schedule),
                    }
                    playing = true;
                }
            }
            Some(Request::Change(what)) => {
                if let Some(player) = &mut player {
                    player.swap(Schedule::build(&what.groove, &ask(&what, player)), Keep::Place);
                }
            }
            Some(Request::Stop) => {
                if let Some(player) = &mut player {
                    player.stop();
                }
                playing = false;
            }
            Some(Request::Look) | None => {}
        }
        if let Some(p) = &mut player {
            if let Err(error) = p.tick() {
                let gone = if p.has_line() {
                    Event::Speaker(Speaker::Gone(error.to_string()))
                } else {
                    Event::Device(Err(error.to_string()))
                };
                player = None;
                playing = false;
                drop(events.send(gone));
                continue;
            }
            while let Some(news) = p.news() {
                let news = match news {
                    News::Lost(words) => Speaker::Lost(words),
                    News::Back => Speaker::Back,
                    News::Refused(words) => {
                        playing = false;
                        Speaker::Refused(words)
                    }
                };
                drop(events.send(Event::Speaker(news)));
            }
            if playing {
                let head = p.playhead().map(|h| Head { section: h.section, pass: h.pass, wholes: h.wholes });
                if events.send(Event::Tick(head)).is_err() {
                    return;
                }
            }
        }
    }
}

fn ask(what: &Playing, player: &Output) -> sound::Ask {
    let range = match what.over {
        Over::All => Range::Whole,
        Over::Section(section) => Range::Section(section),
        Over::Part { section, from, to } => Range::Region { section, from, to },
    };
    let lines = what.pulses.iter().map(|pulses| ClickLine {
        moments: pulses.iter().map(|s| Moment::Seconds(*s)).collect(),
        tone: 1,
        side: 40,
    });
    sound::Ask {
        rate: player.rate(),
        speed: what.speed,
        range,
        click: if what.beat_click { Click::Written } else { Click::Off },
        lines: lines.collect(),
    }
}
