//! The speaker's end: plays the requests of one editor after the other, until each connection ends.

use super::message::{MAX_RECORDING_FILE, MAX_SAMPLE_FILE, ToEditor, ToSpeaker, is_sample_name, is_within_limits};
use super::{frame, greet};
use crate::rhythm::{Edit, Groove, expected};
use crate::sound::playback::{ChunkRequest, EventSink, PlaybackEvent, PlaybackRequest, Requests};
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

    fn has_recording(&self, name: &str) -> bool;

    /// Makes room for a recording, instead of any other; returns whether there is some.
    fn start_recording(&mut self, name: &str) -> bool;

    /// Appends a part; returns whether there was room for it.
    fn add_to_recording(&mut self, bytes: &[u8]) -> bool;

    /// Ends the recording and decodes it in the background; returns whether its content is the one that its name says. `reload` is
    /// called when more of it can be heard.
    fn finish_recording(&mut self, reload: Reload) -> bool;
}

/// Lets the player load what plays again.
pub(crate) type Reload = Box<dyn Fn() + Send>;

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

/// Turns messages into orders, and collects sound files and the recording.
pub(super) struct MessageHandler<'a> {
    epoch: Instant,
    requests: &'a Requests,
    files: &'a mut dyn SampleStore,
    read: fn(&str) -> Option<Groove>,
    /// Names of files to ask for; of the first one these bytes have arrived.
    wanted: VecDeque<String>,
    bytes: Vec<u8>,
    /// The recording to ask for, and the bytes of it that have arrived.
    recording: Option<(String, u64)>,
    /// The part that was asked for and has not arrived.
    asked: Option<ChunkRequest>,
    /// A recording that could not be kept.
    refused: Option<String>,
}

impl<'a> MessageHandler<'a> {
    pub(super) fn new(
        epoch: Instant,
        requests: &'a Requests,
        files: &'a mut dyn SampleStore,
        read: fn(&str) -> Option<Groove>,
    ) -> Self {
        let (wanted, bytes) = (VecDeque::new(), Vec::new());
        Self { epoch, requests, files, read, wanted, bytes, recording: None, asked: None, refused: None }
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
        for name in request.groove().into_iter().flat_map(|g| g.layers()).filter_map(|l| l.sound.as_ref()) {
            if !self.files.has(name) && !self.wanted.contains(name) && self.wanted.len() < MAX_WANTED {
                self.wanted.push_back(name.clone());
            }
        }
        if let Some(recording) = request.groove().and_then(|g| g.recording()) {
            self.want_recording(&recording.file);
        }
        self.requests.send(request);
        Ok(if self.asked.is_none() { self.next_part() } else { None })
    }

    /// Asks for a recording that is not here, instead of any other that has not arrived yet.
    fn want_recording(&mut self, name: &str) {
        let is_wanted = self.recording.as_ref().is_some_and(|(wanted, _)| wanted == name);
        if !is_wanted && self.refused.as_deref() != Some(name) {
            self.recording = (!self.files.has_recording(name)).then(|| (name.to_owned(), 0));
        }
    }

    /// The part to ask for next. The recording comes after the sound files of the layers.
    fn next_part(&mut self) -> Option<ToEditor> {
        let part = match (self.wanted.front(), &self.recording) {
            (Some(name), _) => ChunkRequest { name: name.clone(), at: self.bytes.len() as u64 },
            (None, Some((name, arrived))) => ChunkRequest { name: name.clone(), at: *arrived },
            (None, None) => return None,
        };
        self.asked = Some(part.clone());
        Some(ToEditor::Want(part))
    }

    /// Takes the part of a file that was asked for. A file that cannot be sent, or has another content, is skipped.
    fn on_chunk(&mut self, part: &ChunkRequest, size: u64, bytes: &[u8]) -> Result<Option<ToEditor>, String> {
        if self.asked.take_if(|asked| asked == part).is_none() {
            return Err(expected("the requested part of the sound file", "a different part"));
        }
        if self.wanted.front() == Some(&part.name) {
            self.on_sample(&part.name, size, bytes);
        } else if let Some((_, arrived)) = self.recording.take_if(|(name, _)| *name == part.name)
            && let Some(warning) = self.on_recording(&part.name, (arrived, size), bytes)
        {
            return Ok(Some(ToEditor::Event(PlaybackEvent::Warning(warning))));
        }
        Ok(self.next_part())
    }

    fn on_sample(&mut self, name: &str, size: u64, bytes: &[u8]) {
        self.bytes.extend_from_slice(bytes);
        let (arrived, fits) = (self.bytes.len() as u64, size <= MAX_SAMPLE_FILE);
        if arrived >= size || !fits || bytes.is_empty() {
            if arrived == size && fits && size > 0 && self.files.add(name, &self.bytes) {
                self.requests.put(|orders| orders.reload = true);
            }
            self.wanted.pop_front();
            self.bytes = Vec::new();
        }
    }

    /// Takes a part of the recording; returns why it will not be heard.
    fn on_recording(&mut self, name: &str, (arrived, size): (u64, u64), bytes: &[u8]) -> Option<String> {
        if size == 0 || bytes.is_empty() {
            // It cannot be sent yet.
            return None;
        }
        let all = arrived + bytes.len() as u64;
        let is_kept = size <= MAX_RECORDING_FILE
            && all <= size
            && (arrived > 0 || self.files.start_recording(name))
            && self.files.add_to_recording(bytes);
        if is_kept && all < size {
            self.recording = Some((name.to_owned(), all));
            return None;
        }
        let requests = self.requests.clone();
        let reload: Reload = Box::new(move || requests.put(|orders| orders.reload = true));
        if is_kept && self.files.finish_recording(reload) {
            return None;
        }
        self.refused = Some(name.to_owned());
        Some(
            "the remote speaker cannot keep the recording: its disk is full, or the file changed on its way".to_owned(),
        )
    }
}

/// The groove without sound files of other names: those are paths of this machine.
fn only_sample_names(groove: Groove) -> Groove {
    let groove = match groove.recording() {
        Some(recording) if !is_sample_name(&recording.file) => groove.edited(&Edit::Recording(None)).unwrap_or(groove),
        _ => groove,
    };
    (0..groove.layers().len()).fold(groove, |groove, layer| match groove.layers()[layer].sound.as_deref() {
        Some(name) if !is_sample_name(name) => groove.edited(&Edit::SoundFile(layer, None)).unwrap_or(groove),
        _ => groove,
    })
}
