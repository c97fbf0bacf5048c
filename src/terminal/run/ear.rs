//! The player on a thread of its own: builds schedules away from screen and sound device, and tells where the groove is
//! heard. It must not know the screen.

use super::super::{Event, Head, Over, Playing};
use super::slot::Slot;
use super::sounds::Sounds;
use crate::sound::{self, Click, ClickLine, Keep, Moment, News, Player, Position, Range, Schedule};
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// Time between two looks at the playhead.
const LOOK: Duration = Duration::from_millis(16);
/// The same while nothing plays: the device is looked after all the same.
const GLANCE: Duration = Duration::from_millis(200);

enum Request {
    Play(Playing, Option<Head>),
    Change(Playing),
    Stop,
}

/// The thread's end of the program.
pub(super) struct Ear(Slot<Request>, Beside);

/// The groove's file, whose folder holds its sounds.
type Beside = Arc<Mutex<Option<PathBuf>>>;

impl Ear {
    /// Starts the thread. The device, the chosen one or the default one, is opened when something is first played.
    pub(super) fn start(events: Sender<Event>, output: Option<String>) -> Self {
        let slot: Slot<Request> = Slot::new();
        let worker = slot.clone();
        let beside = Beside::default();
        let own = Own { sounds: Sounds::default(), beside: beside.clone(), events: events.clone() };
        let work = move || run(&worker, &events, output.as_deref(), own);
        drop(thread::Builder::new().name("player".into()).spawn(work));
        Self(slot, beside)
    }

    /// Says where the groove's file is.
    pub(super) fn beside(&self, file: Option<&str>) {
        let mut beside = self.1.lock().unwrap_or_else(PoisonError::into_inner);
        if beside.as_deref().and_then(|p| p.to_str()) != file {
            *beside = file.map(PathBuf::from);
        }
    }

    /// Plays from a place on, or from the loop's start.
    pub(super) fn play(&self, playing: Playing, from: Option<Head>) {
        self.0.put(|_| Some(Request::Play(playing, from)));
    }

    /// Goes on with another loop.
    pub(super) fn change(&self, playing: Playing) {
        self.0.put(|old| match old {
            Some(Request::Play(_, from)) => Some(Request::Play(playing, from)),
            Some(Request::Stop) => Some(Request::Stop),
            Some(Request::Change(_)) | None => Some(Request::Change(playing)),
        });
    }

    /// Stops playing.
    pub(super) fn stop_playing(&self) {
        self.0.put(|_| Some(Request::Stop));
    }

    /// Ends the thread.
    pub(super) fn stop(&self) {
        self.0.put(|_| Some(Request::Stop));
        self.0.close();
    }
}

/// Builds schedules with the user's own sounds.
struct Own {
    sounds: Sounds,
    beside: Beside,
    events: Sender<Event>,
}

impl Own {
    fn schedule(&mut self, what: &Playing, player: &Player) -> Schedule {
        let file = self.beside.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (own, words) = self.sounds.of(&what.groove, file.as_deref(), player.rate());
        if !words.is_empty() {
            drop(self.events.send(Event::SoundTold(words.join("; "))));
        }
        Schedule::build_with(&what.groove, &ask(what, player), &own)
    }
}

fn run(slot: &Slot<Request>, events: &Sender<Event>, output: Option<&str>, mut own: Own) {
    let mut player: Option<Player> = None;
    // What is played, to build its schedule anew for another device.
    let mut heard: Option<Playing> = None;
    let mut playing = false;
    loop {
        let request = if player.is_some() {
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
        match request {
            Some(Request::Play(what, from)) => {
                if player.is_none() {
                    player = match Player::open_on(output) {
                        Ok(player) => Some(player),
                        Err(error) => {
                            drop(events.send(Event::Device(Err(error.to_string()))));
                            None
                        }
                    };
                }
                if let Some(player) = &mut player {
                    drop(events.send(Event::Device(Ok(()))));
                    let schedule = own.schedule(&what, player);
                    heard = Some(what);
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
                    player.swap(own.schedule(&what, player), Keep::Place);
                    heard = Some(what);
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
            let told = match p.tick() {
                Some(News::Lost(error)) if playing => Some(format!("{error}; it goes on when the output is back")),
                Some(News::Back) if playing => Some("the output device is back".to_owned()),
                Some(News::BackAnew(place)) => {
                    if let (Some(place), Some(what), true) = (place, &heard, playing) {
                        let schedule = own.schedule(what, p);
                        p.play_from(schedule, place);
                    }
                    playing.then(|| "the output device is back".to_owned())
                }
                _ => None,
            };
            if let Some(words) = told {
                drop(events.send(Event::SoundTold(words)));
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
