//! Handle of the playback thread: sends requests, of which the newest counts.

mod samples;
mod sequence;
mod worker;

use super::super::Event;
use super::super::event::RemoteEvent;
use super::latest_slot::LatestSlot;
use crate::jobs::play_request::{PlayRequest, Sequence};
use crate::rhythm::Groove;
use crate::sound::remote::{RemotePlayer, Token};
use crate::sound::{Position, SampleRate};
use samples::{BasePath, UserSampleLoader};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};
use worker::{OutputConfig, PlaybackThread};

enum Request {
    /// A loop from a position, or a sequence.
    Play(PlayRequest, Option<Position>),
    /// Replace what plays and continue.
    Change(PlayRequest),
    /// Continue with another take of the sequence after the current pass.
    Step(Sequence),
    Stop,
    /// Check the remote speaker and the volume.
    Poll,
}

/// Longest wait for playback to end at exit.
const STOP_TIMEOUT: Duration = Duration::from_millis(800);

/// The master volume in dB, as the bits of an `f32`.
type Volume = Arc<AtomicU32>;

/// A connected remote speaker that the thread has not taken yet.
type PendingRemote = Arc<Mutex<Option<RemotePlayer>>>;

pub(crate) struct PlaybackHandle {
    slot: LatestSlot<Request>,
    /// Times of taps, queued because each one counts.
    taps: Sender<Instant>,
    base_path: BasePath,
    pending_remote: PendingRemote,
    volume: Volume,
    events: Sender<Event>,
    /// Disconnected when the thread ends.
    ended: Receiver<()>,
}

impl PlaybackHandle {
    /// Starts the thread. Without a remote speaker it opens the local output, or the default one, on the first play request.
    pub(crate) fn start(events: Sender<Event>, output: Option<String>, remote: Option<RemotePlayer>) -> Self {
        let (slot, volume) = (LatestSlot::new(), Volume::default());
        let (taps, tap_receiver) = mpsc::channel();
        let (end, ended) = mpsc::channel::<()>();
        let base_path = BasePath::default();
        let pending_remote: PendingRemote = Arc::new(Mutex::new(remote));
        let samples = UserSampleLoader::new(base_path.clone(), events.clone());
        let mut thread = PlaybackThread::new(samples, events.clone());
        let (requests, config) =
            (slot.clone(), OutputConfig { output, pending_remote: pending_remote.clone(), volume: volume.clone() });
        let work = move || {
            // An error means that the program ends.
            let _ = thread.run(&requests, &tap_receiver, &config);
            drop(end);
        };
        drop(thread::Builder::new().name("player".into()).spawn(work));
        slot.put(|_| Some(Request::Poll));
        Self { slot, taps, base_path, pending_remote, volume, events, ended }
    }

    /// Connects to a remote speaker, which plays from then on.
    pub(crate) fn connect(&self, port: u16, token: String) {
        let (slot, pending_remote, events) = (self.slot.clone(), self.pending_remote.clone(), self.events.clone());
        let connect = move || {
            let result = match Token::parse(&token) {
                Some(token) => RemotePlayer::connect(port, &token).map_err(|e| e.to_string()),
                None => Err("not a valid token".to_owned()),
            };
            match result {
                Ok(remote) => {
                    *pending_remote.lock().unwrap_or_else(PoisonError::into_inner) = Some(remote);
                    slot.put(|old| old.or(Some(Request::Poll)));
                }
                Err(reason) => drop(events.send(Event::Remote(RemoteEvent::Failed(reason)))),
            }
        };
        drop(thread::Builder::new().name("connecting".into()).spawn(connect));
    }

    /// Reads the sound files of a groove and reports problems with them.
    pub(crate) fn try_sounds(&self, groove: Arc<Groove>) {
        let mut samples = UserSampleLoader::new(self.base_path.clone(), self.events.clone());
        let read = move || drop(samples.load(&groove, SampleRate::STUDIO));
        drop(thread::Builder::new().name("sounds".into()).spawn(read));
    }

    pub(crate) fn set_base_path(&self, file: Option<&str>) {
        let mut base_path = self.base_path.lock().unwrap_or_else(PoisonError::into_inner);
        if base_path.as_deref().and_then(|p| p.to_str()) != file {
            *base_path = file.map(PathBuf::from);
        }
    }

    pub(crate) fn set_volume(&self, db: f32) {
        self.volume.store(db.to_bits(), Ordering::Relaxed);
        self.slot.put(|old| old.or(Some(Request::Poll)));
    }

    /// Plays a loop from a position or from its start, or a sequence.
    pub(crate) fn play(&self, request: PlayRequest, from: Option<Position>) {
        self.slot.put(|_| Some(Request::Play(request, from)));
    }

    /// Replaces what plays. A waiting request keeps its position.
    pub(crate) fn change(&self, request: PlayRequest) {
        use PlayRequest::Sequence as Takes;
        self.slot.put(|old| match (old, request) {
            (Some(Request::Play(Takes(old), from)), Takes(new)) => {
                Some(Request::Play(Takes(Sequence { at: old.at, ..new }), from))
            }
            (Some(Request::Play(_, from)), request) => Some(Request::Play(request, from)),
            (Some(Request::Step(old)), Takes(new)) => Some(Request::Step(Sequence { at: old.at, ..new })),
            (Some(Request::Stop), _) => Some(Request::Stop),
            (_, request) => Some(Request::Change(request)),
        });
    }

    /// Continues with another take of the sequence after the current pass.
    pub(crate) fn step(&self, sequence: Sequence) {
        self.slot.put(|old| match old {
            Some(Request::Play(..)) => Some(Request::Play(PlayRequest::Sequence(sequence), None)),
            Some(Request::Stop) => Some(Request::Stop),
            Some(Request::Step(_) | Request::Change(_) | Request::Poll) | None => Some(Request::Step(sequence)),
        });
    }

    /// Reports what was heard at this instant with the next playhead.
    pub(crate) fn tap(&self, at: Instant) {
        // Without the thread nothing plays to tap to.
        let _ = self.taps.send(at);
    }

    pub(crate) fn stop_playing(&self) {
        self.slot.put(|_| Some(Request::Stop));
    }

    /// Ends the thread, and waits until it has notified a remote speaker.
    pub(crate) fn stop(&self) {
        self.slot.put(|_| Some(Request::Stop));
        self.slot.close();
        let _ = self.ended.recv_timeout(STOP_TIMEOUT);
    }
}
