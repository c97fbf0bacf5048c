//! The player on a thread of its own, seen from the program: what it is asked, and which of two requests counts. It must not know
//! how anything is scheduled, nor the screen.

mod samples;
mod sequence;
mod worker;

use super::super::event::Speaker;
use super::super::{Event, Head};
use super::latest_slot::LatestSlot;
use crate::jobs::play_request::{Sequence, Sounding};
use crate::rhythm::Groove;
use crate::sound::SampleRate;
use crate::sound::remote::{RemotePlayer, Token};
use samples::{BasePath, UserSampleLoader};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};
use worker::{OutputConfig, PlaybackThread};

/// What the player is asked.
enum Request {
    /// A loop from a place on, or a sequence.
    Play(Sounding, Option<Head>),
    /// Go on with this.
    Change(Sounding),
    /// Go on with another take of the sequence at the end of the time through that is heard.
    Step(Sequence),
    Stop,
    /// Nothing but to look whether a far speaker has come.
    Poll,
}

/// Longest time that the end of the program waits for the sound to end.
const STOP_TIMEOUT: Duration = Duration::from_millis(800);

/// The master volume in dB, as the bits of an `f32`.
type Volume = Arc<AtomicU32>;

/// A remote speaker that was connected and waits to be used.
type PendingRemote = Arc<Mutex<Option<RemotePlayer>>>;

/// The thread's end of the program.
pub(crate) struct PlaybackHandle {
    slot: LatestSlot<Request>,
    /// When keys were tapped: each counts, so they wait in a row of their own.
    taps: Sender<Instant>,
    base_path: BasePath,
    pending_remote: PendingRemote,
    volume: Volume,
    events: Sender<Event>,
    /// Closed when the thread has ended.
    ended: Receiver<()>,
}

impl PlaybackHandle {
    /// Starts the thread. Without a far speaker this machine's device, the chosen one or the default one, is opened when
    /// something is first played.
    pub(crate) fn start(events: Sender<Event>, output: Option<String>, far: Option<RemotePlayer>) -> Self {
        let slot: LatestSlot<Request> = LatestSlot::new();
        let (taps, tapped) = mpsc::channel();
        let worker = slot.clone();
        let base_path = BasePath::default();
        let own = UserSampleLoader::new(base_path.clone(), events.clone());
        let pending_remote: PendingRemote = Arc::new(Mutex::new(far));
        let (taken, told) = (pending_remote.clone(), events.clone());
        let volume = Volume::default();
        let heard = volume.clone();
        let (end, ended) = mpsc::channel();
        let work = move || {
            // What is told to nobody any more is the end, like the end of requests.
            let _ = PlaybackThread::new(own, events).run(
                &worker,
                &tapped,
                &OutputConfig { output: output.as_deref(), pending_remote: &taken, volume: &heard },
            );
            drop::<Sender<()>>(end);
        };
        drop(thread::Builder::new().name("player".into()).spawn(work));
        slot.put(|_| Some(Request::Poll));
        Self { slot, taps, base_path, pending_remote, volume, events: told, ended }
    }

    /// Connects to a far speaker, and lets it sound from then on.
    pub(crate) fn connect(&self, port: u16, token: String) {
        let (slot, pending_remote, events) = (self.slot.clone(), self.pending_remote.clone(), self.events.clone());
        let connect = move || {
            let far = match Token::parse(&token) {
                Some(token) => RemotePlayer::connect(port, &token).map_err(|e| e.to_string()),
                None => Err("that is no token".to_owned()),
            };
            match far {
                Ok(far) => {
                    *pending_remote.lock().unwrap_or_else(PoisonError::into_inner) = Some(far);
                    slot.put(|old| old.or(Some(Request::Poll)));
                }
                Err(words) => drop(events.send(Event::Speaker(Speaker::Failed(words)))),
            }
        };
        drop(thread::Builder::new().name("connecting".into()).spawn(connect));
    }

    /// Reads the sound files that a groove's layers name, and tells what is wrong with them.
    pub(crate) fn try_sounds(&self, groove: Arc<Groove>) {
        let mut own = UserSampleLoader::new(self.base_path.clone(), self.events.clone());
        let read = move || drop(own.of(&groove, SampleRate::STUDIO));
        drop(thread::Builder::new().name("sounds".into()).spawn(read));
    }

    /// Says where the groove's file is.
    pub(crate) fn set_base_path(&self, file: Option<&str>) {
        let mut base_path = self.base_path.lock().unwrap_or_else(PoisonError::into_inner);
        if base_path.as_deref().and_then(|p| p.to_str()) != file {
            *base_path = file.map(PathBuf::from);
        }
    }

    /// Sets the master volume in dB.
    pub(crate) fn set_volume(&self, db: f32) {
        self.volume.store(db.to_bits(), Ordering::Relaxed);
        self.slot.put(|old| old.or(Some(Request::Poll)));
    }

    /// Plays: a loop from a place on, or from its start.
    pub(crate) fn play(&self, sounding: Sounding, from: Option<Head>) {
        self.slot.put(|_| Some(Request::Play(sounding, from)));
    }

    /// Goes on with this in the place of what is played. A request that waits keeps its place.
    pub(crate) fn change(&self, sounding: Sounding) {
        use Sounding::Sequence as Takes;
        self.slot.put(|old| match (old, sounding) {
            (Some(Request::Play(Takes(old), from)), Takes(new)) => {
                Some(Request::Play(Takes(Sequence { at: old.at, ..new }), from))
            }
            (Some(Request::Play(_, from)), sounding) => Some(Request::Play(sounding, from)),
            (Some(Request::Step(old)), Takes(new)) => Some(Request::Step(Sequence { at: old.at, ..new })),
            (Some(Request::Stop), _) => Some(Request::Stop),
            (_, sounding) => Some(Request::Change(sounding)),
        });
    }

    /// Goes on with another take of the sequence at the end of the time through that is heard.
    pub(crate) fn step(&self, sequence: Sequence) {
        self.slot.put(|old| match old {
            Some(Request::Play(..)) => Some(Request::Play(Sounding::Sequence(sequence), None)),
            Some(Request::Stop) => Some(Request::Stop),
            Some(Request::Step(_) | Request::Change(_) | Request::Poll) | None => Some(Request::Step(sequence)),
        });
    }

    /// Tells what was heard at this instant, at the next look at the playhead.
    pub(crate) fn tap(&self, at: Instant) {
        // Without the thread nothing sounds, and nothing is tapped to.
        let _ = self.taps.send(at);
    }

    /// Stops playing.
    pub(crate) fn stop_playing(&self) {
        self.slot.put(|_| Some(Request::Stop));
    }

    /// Ends the thread, and leaves it the time to say goodbye to a far speaker.
    pub(crate) fn stop(&self) {
        self.slot.put(|_| Some(Request::Stop));
        self.slot.close();
        let _ = self.ended.recv_timeout(STOP_TIMEOUT);
    }
}
