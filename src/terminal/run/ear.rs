//! The player on a thread of its own: builds schedules away from screen and sound device, and tells where the groove is
//! heard. It must not know the screen.

use super::super::{Event, Head, Heard, Over, Playing};
use super::slot::Slot;
use crate::sound::{self, Click, ClickLine, Keep, Moment, Player, Position, Range, Schedule};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;
use std::time::{Duration, Instant};

/// Time between two looks at the playhead.
const LOOK: Duration = Duration::from_millis(16);

enum Request {
    Play(Playing, Option<Head>),
    Change(Playing),
    Stop,
}

/// The thread's end of the program.
pub(super) struct Ear {
    slot: Slot<Request>,
    /// When keys were tapped: each counts, so they wait in a row of their own.
    taps: Sender<Instant>,
}

impl Ear {
    /// Starts the thread. The device is opened when something is first played.
    pub(super) fn start(events: Sender<Event>) -> Self {
        let slot: Slot<Request> = Slot::new();
        let (taps, tapped) = mpsc::channel();
        let worker = slot.clone();
        drop(thread::Builder::new().name("player".into()).spawn(move || run(&worker, &tapped, &events)));
        Self { slot, taps }
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
            Some(Request::Change(_)) | None => Some(Request::Change(playing)),
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

    /// Ends the thread.
    pub(super) fn stop(&self) {
        self.slot.put(|_| Some(Request::Stop));
        self.slot.close();
    }
}

fn run(slot: &Slot<Request>, taps: &Receiver<Instant>, events: &Sender<Event>) {
    let mut player: Option<Player> = None;
    let mut playing = false;
    loop {
        let request = if playing {
            match slot.take_within(LOOK) {
                Ok(request) => request,
                Err(_) => return,
            }
        } else {
            match slot.take() {
                Some(request) => Some(request),
                None => return,
            }
        };
        match request {
            Some(Request::Play(what, from)) => {
                if player.is_none() {
                    player = match Player::open() {
                        Ok(player) => Some(player),
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
            None => {}
        }
        if let Some(p) = &mut player {
            if let Err(error) = p.tick() {
                player = None;
                playing = false;
                drop(events.send(Event::Device(Err(error.to_string()))));
                continue;
            }
            for at in taps.try_iter() {
                let heard = p.heard_at(at).filter(|_| playing).map(|h| Heard {
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
            if playing {
                let head = p.playhead().map(|h| Head { section: h.section, pass: h.pass, wholes: h.wholes });
                if events.send(Event::Tick(head)).is_err() {
                    return;
                }
            }
        }
    }
}

fn ask(what: &Playing, player: &Player) -> sound::Ask {
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
