//! The speaker's end: plays the requests of one editor after the other, until each connection ends.

use super::message::{MAX_SAMPLE_FILE, ToEditor, ToSpeaker, is_sample_name, is_within_limits};
use super::{frame, greet};
use crate::rhythm::{Edit, Groove, expected};
use crate::sound::playback::{ChunkRequest, EventSink, PlaybackRequest, Requests};
use std::collections::VecDeque;
use std::io;
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Most files that wait to be asked for.
const MAX_WANTED: usize = 256;
const MAX_LOOKAHEAD: Duration = Duration::from_secs(1);

/// The sound files that have arrived, by name (see [`is_sample_name`]).
pub(crate) trait SampleStore {
    fn has(&self, name: &str) -> bool;

    /// Stores a file; returns whether its content is the one that its name says and there was room for it.
    fn add(&mut self, name: &str, bytes: &[u8]) -> bool;
}

/// What a speaker needs besides the connection.
pub(crate) struct Speaker<'a> {
    pub files: &'a mut dyn SampleStore,
    /// Reads the text of a groove.
    pub read: fn(&str) -> Option<Groove>,
    /// Starts the playback thread.
    pub start: &'a dyn Fn(Requests, EventSink) -> io::Result<JoinHandle<()>>,
}

impl Speaker<'_> {
    /// Plays what an editor asks for until the connection ends, and lets the sound fade; returns why it ended.
    pub(crate) fn serve(&mut self, stream: &UnixStream) -> String {
        self.try_serve(stream).unwrap_or_else(|why| why)
    }

    fn try_serve(&mut self, stream: &UnixStream) -> Result<String, String> {
        greet(stream)?;
        let clone = || stream.try_clone().map_err(|e| e.to_string());
        let writer = Arc::new(Mutex::new(clone()?));
        let events: EventSink = {
            let writer = Arc::clone(&writer);
            Arc::new(move |event| send(&writer, &ToEditor::Event(event)))
        };
        let requests = Requests::new();
        let playback = (self.start)(requests.clone(), events).map_err(|e| e.to_string())?;
        let mut handler = MessageHandler::new(Instant::now(), &requests, self.files, self.read);
        let mut from = clone()?;
        let why = loop {
            match frame::receive(&mut from).and_then(|message| handler.on_message(message)) {
                Ok(answer) => answer.iter().for_each(|answer| send(&writer, answer)),
                Err(why) => break why,
            }
        };
        drop(stream.shutdown(Shutdown::Both));
        requests.send(PlaybackRequest::Stop);
        requests.close();
        drop(playback.join());
        Ok(why)
    }
}

/// Sends a message. If that fails, so does the next read, which ends the connection.
fn send(writer: &Mutex<UnixStream>, message: &ToEditor) {
    let mut writer = writer.lock().unwrap_or_else(PoisonError::into_inner);
    if frame::send(&mut *writer, message).is_err() {
        drop(writer.shutdown(Shutdown::Both));
    }
}

/// Turns messages into orders, and collects sound files.
pub(super) struct MessageHandler<'a> {
    epoch: Instant,
    requests: &'a Requests,
    files: &'a mut dyn SampleStore,
    read: fn(&str) -> Option<Groove>,
    /// Names of files to ask for; of the first one these bytes have arrived.
    wanted: VecDeque<String>,
    bytes: Vec<u8>,
}

impl<'a> MessageHandler<'a> {
    pub(super) fn new(
        epoch: Instant,
        requests: &'a Requests,
        files: &'a mut dyn SampleStore,
        read: fn(&str) -> Option<Groove>,
    ) -> Self {
        Self { epoch, requests, files, read, wanted: VecDeque::new(), bytes: Vec::new() }
    }

    /// Handles a message and returns the answer to it, if it has one.
    ///
    /// # Errors
    /// Why the connection is to be closed.
    pub(super) fn on_message(&mut self, message: ToSpeaker) -> Result<Option<ToEditor>, String> {
        match message {
            ToSpeaker::Request { groove, request } => return self.on_request(&groove, request),
            ToSpeaker::Volume(db) => self.requests.set_volume(db),
            ToSpeaker::Tap(ns) => {
                self.epoch.checked_add(Duration::from_nanos(ns)).into_iter().for_each(|at| self.requests.tap(at));
            }
            ToSpeaker::Ping { asked, lookahead } => {
                let lookahead = Duration::from_nanos(lookahead).min(MAX_LOOKAHEAD);
                self.requests.put(|orders| orders.lookahead = Some(lookahead));
                return Ok(Some(ToEditor::Pong { asked, now: self.epoch.elapsed().as_nanos() as u64 }));
            }
            ToSpeaker::Chunk { part, size, bytes } => return self.on_chunk(&part, size, &bytes),
        }
        Ok(None)
    }

    fn on_request(&mut self, text: &str, mut request: PlaybackRequest) -> Result<Option<ToEditor>, String> {
        if !is_within_limits(&request) {
            return Err(expected("a play request within the protocol limits", "a larger one"));
        }
        if request.groove().is_some() {
            let groove = (self.read)(text).ok_or_else(|| expected("a valid groove", "invalid text"))?;
            request.set_groove(&Arc::new(only_sample_names(groove)));
        }
        let is_idle = self.wanted.is_empty();
        for name in request.groove().into_iter().flat_map(|g| g.layers()).filter_map(|l| l.sound.as_ref()) {
            if !self.files.has(name) && !self.wanted.contains(name) && self.wanted.len() < MAX_WANTED {
                self.wanted.push_back(name.clone());
            }
        }
        self.requests.send(request);
        Ok(if is_idle { self.next_part() } else { None })
    }

    fn next_part(&self) -> Option<ToEditor> {
        let name = self.wanted.front()?.clone();
        Some(ToEditor::Want(ChunkRequest { name, at: self.bytes.len() as u64 }))
    }

    /// Takes the part of a file that was asked for. A file that cannot be sent, or has another content, is skipped.
    fn on_chunk(&mut self, part: &ChunkRequest, size: u64, bytes: &[u8]) -> Result<Option<ToEditor>, String> {
        let is_asked = self.wanted.front() == Some(&part.name) && part.at == self.bytes.len() as u64;
        if !is_asked {
            return Err(expected("the requested part of the sound file", "a different part"));
        }
        self.bytes.extend_from_slice(bytes);
        let (arrived, fits) = (self.bytes.len() as u64, size <= MAX_SAMPLE_FILE);
        if arrived >= size || !fits || bytes.is_empty() {
            if arrived == size && fits && size > 0 && self.files.add(&part.name, &self.bytes) {
                self.requests.put(|orders| orders.reload = true);
            }
            self.wanted.pop_front();
            self.bytes = Vec::new();
        }
        Ok(self.next_part())
    }
}

/// The groove without sound files of other names: those are paths of this machine.
fn only_sample_names(groove: Groove) -> Groove {
    (0..groove.layers().len()).fold(groove, |groove, layer| match groove.layers()[layer].sound.as_deref() {
        Some(name) if !is_sample_name(name) => groove.edited(&Edit::SoundFile(layer, None)).unwrap_or(groove),
        _ => groove,
    })
}
