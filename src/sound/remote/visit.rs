//! The connections of a speaker, each on a thread of its own: let in or not, then listened to.

use super::door::Door;
use super::frame::Receiver;
use super::leg::{SegmentError, unpack_leg};
use super::line::SILENCE;
use super::meet::{Met, Unmet, Verdict, open};
use super::message::{self, How, ToSpeaker};
use super::shelf::{Piece, Shelf};
use crate::sound::segment::Segment;
use crate::sound::units::{Frame, SampleRate};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicUsize, Ordering};
use std::sync::mpsc::SyncSender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

/// Connections that may wait to be let in; more are closed at once.
const MAX_QUEUED: usize = 16;
/// What a wrong token costs.
const PENALTY: Duration = Duration::from_secs(1);
/// Rest after a connection that could not be taken.
const REST: Duration = Duration::from_millis(100);

/// What the connections tell the loop that has the device.
pub(super) enum Event {
    Joined {
        line: u64,
        met: Met,
        stream: TcpStream,
        back: bool,
    },
    /// A leg, what the editor calls it and this sending of it.
    Segment {
        line: u64,
        how: How,
        leg: Box<Segment>,
        number: u64,
        generation: u64,
    },
    Stop {
        line: u64,
    },
    Gain {
        line: u64,
        db: f32,
    },
    Ping {
        line: u64,
        asked: u64,
    },
    Bye {
        line: u64,
    },
    Unfit {
        line: u64,
        why: String,
    },
    Lacks {
        line: u64,
        hash: u64,
    },
    Ended {
        line: u64,
        why: String,
    },
    Visitor(Unmet),
    Vanished,
}

/// What all threads of a speaker share.
pub(super) struct House {
    pub(super) door: Mutex<Door>,
    pub(super) waiting: AtomicUsize,
    /// Frames per second of the device, also while it is lost.
    pub(super) hertz: AtomicU32,
    pub(super) ending: AtomicBool,
    /// The sounds of the editor's user.
    pub(super) shelf: Mutex<Shelf>,
    pub(super) events: SyncSender<Event>,
}

impl House {
    pub(super) fn door(&self) -> MutexGuard<'_, Door> {
        self.door.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn shelf(&self) -> MutexGuard<'_, Shelf> {
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Takes connections, never more at a time than may wait.
pub(super) fn accept(listener: &TcpListener, house: &Arc<House>) {
    let mut line = 0;
    loop {
        let stream = listener.accept();
        if house.ending.load(Ordering::Relaxed) {
            return;
        }
        let Ok((stream, _)) = stream else {
            // Out of descriptors, say: they come back.
            thread::sleep(REST);
            continue;
        };
        if house.waiting.fetch_add(1, Ordering::Relaxed) >= MAX_QUEUED {
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
    if !back {
        house.shelf().clear();
    }
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
            return "protocol error: unknown message from the editor".into();
        };
        let event = match said {
            ToSpeaker::Segment { how, leg: number, generation, packed } => match unpack(house, packed) {
                Ok(leg) => Event::Segment { line, how, leg, number, generation },
                Err(SegmentError::Unfit(why)) => Event::Unfit { line, why },
                Err(SegmentError::Lacks(hash)) => Event::Lacks { line, hash },
            },
            ToSpeaker::Sound { hash, hertz, total, at, samples } => {
                match house.shelf().take(Piece { hash, hertz, total, at, samples }) {
                    Ok(()) => continue,
                    Err(why) => Event::Unfit { line, why },
                }
            }
            ToSpeaker::Stop => Event::Stop { line },
            ToSpeaker::Gain(db) if (-120.0..=24.0).contains(&db) => Event::Gain { line, db },
            ToSpeaker::Gain(_) => Event::Unfit { line, why: "expected a gain from -120 to 24 dB".into() },
            ToSpeaker::Ping(asked) => Event::Ping { line, asked },
            ToSpeaker::Bye => Event::Bye { line },
        };
        if house.events.send(event).is_err() {
            return "the speaker is closing".into();
        }
    }
}

/// A frame that came over the line; one beyond any loop's end is the end.
pub(super) fn frame(at: u64) -> Frame {
    Frame(i64::try_from(at).unwrap_or(i64::MAX))
}

fn unpack(house: &House, bytes: &[u8]) -> Result<Box<Segment>, SegmentError> {
    let none = || SegmentError::Unfit("no output device".into());
    let rate = SampleRate::new(house.hertz.load(Ordering::Relaxed)).ok_or_else(none)?;
    unpack_leg(bytes, rate, &|hash| house.shelf().get(hash, rate)).map(Box::new)
}
