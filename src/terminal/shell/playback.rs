//! Handle of the player in use: the playback thread of this machine, or the remote speaker that has taken its place.

use crate::jobs::{FilesToSend, OutsideSounds, RecordingEvent, Recordings, SharedAccess, SoundAccess, UserSampleCache};
use crate::rhythm::Groove;
use crate::sound::SampleRate;
use crate::sound::playback::{self, EventSink, PlaybackEvent, PlaybackRequest, Requests};
use crate::sound::remote::Link;
use crate::store::{self, StateFolder, reason};
use crate::terminal::Event;
use crate::terminal::event::RemoteEvent;
use crate::terminal::shell::{lock, spawn};
use std::cell::RefCell;
use std::fs;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// Interval between looks for a new socket while no speaker is connected.
const LOOK_INTERVAL: Duration = Duration::from_millis(500);
/// Longest wait for playback to end at exit.
const STOP_TIMEOUT: Duration = Duration::from_millis(800);

/// The file of a socket, which sshd makes and does not remove; removed when this is dropped.
pub(crate) struct SocketFile(PathBuf);

impl SocketFile {
    /// A socket that only this user can open.
    ///
    /// # Errors
    /// One sentence that says what to do.
    pub(crate) fn new(path: &Path) -> Result<Self, String> {
        let shown = path.display();
        let metadata = fs::symlink_metadata(path).map_err(|e| {
            format!("{shown}: {}; run `teeter remote HOST` on your own machine to create the socket", reason(&e))
        })?;
        let (owner, mode) = (metadata.uid(), metadata.mode() & 0o777);
        let found = if !metadata.file_type().is_socket() {
            "another file type".to_owned()
        } else if owner != rustix::process::geteuid().as_raw() {
            format!("a socket owned by user ID {owner}")
        } else if mode & 0o077 != 0 {
            format!("a socket with mode {mode:03o}; remove StreamLocalBindMask from the sshd configuration")
        } else {
            return Ok(Self(path.to_owned()));
        };
        Err(format!("{shown}: {}", crate::rhythm::expected("a socket accessible only to you", found)))
    }
}

impl Drop for SocketFile {
    fn drop(&mut self) {
        drop(fs::remove_file(&self.0));
    }
}

pub(crate) struct RemoteSpeaker {
    link: Link,
    socket: SocketFile,
}

impl RemoteSpeaker {
    /// Connects through a socket that only this user can open.
    ///
    /// # Errors
    /// One sentence that says what to do.
    pub(crate) fn connect(path: &Path) -> Result<Self, String> {
        let (shown, socket) = (path.display(), SocketFile::new(path)?);
        let stream = UnixStream::connect(path).map_err(|e| {
            format!("{shown}: cannot connect to this socket ({}); start `teeter remote` again", reason(&e))
        })?;
        Ok(Self { link: Link::new(stream)?, socket })
    }
}

/// The sound files of all layers, and the recording, that may not be read.
pub(super) fn outside_sounds(access: &SoundAccess, groove: &Groove) -> Vec<PathBuf> {
    let recording = groove.recording().map(|r| r.file.as_str());
    access.refused(groove.layers().iter().filter_map(|l| l.sound.as_deref()).chain(recording))
}

struct Current {
    requests: Requests,
    volume: f32,
    /// Disconnected when the player has ended.
    ended: Receiver<()>,
}

/// Reads the recording of a groove, which may take long; returns what an editor of the groove is told of it. Files outside the folder
/// of the groove's file are read, too.
pub fn read_recording(groove: &Groove, file: &Path) -> Vec<Event> {
    let access = SoundAccess { file: Some(file.to_owned()), outside: OutsideSounds::All };
    let events = RefCell::new(Vec::new());
    Recordings::default().open(groove, &access, &|event| events.borrow_mut().push(Event::Recording(event)));
    events.into_inner()
}

#[derive(Clone)]
pub(crate) struct PlaybackHandle {
    current: Arc<Mutex<Current>>,
    access: SharedAccess,
    recordings: Recordings,
    events: Sender<Event>,
}

impl PlaybackHandle {
    /// Plays through a remote speaker, or on the local output, or the default one, which is opened on the first play request.
    /// With a state folder, a remote speaker that is offered there takes over.
    pub(crate) fn start(
        events: Sender<Event>,
        output: Option<String>,
        speaker: Option<RemoteSpeaker>,
        folder: Option<StateFolder>,
    ) -> Self {
        let (end, ended) = mpsc::channel::<()>();
        let current = Current { requests: Requests::new(), volume: 0.0, ended };
        let requests = current.requests.clone();
        let player = Self {
            current: Arc::new(Mutex::new(current)),
            access: SharedAccess::default(),
            recordings: Recordings::default(),
            events,
        };
        if speaker.is_none() {
            let (mut cache, access, recordings) =
                (UserSampleCache::default(), player.access.clone(), player.recordings.clone());
            let load = Box::new(move |groove: &Groove, rate| {
                let _running = &end;
                let access = access.get();
                let (mut samples, warnings) = cache.load(groove, &access, rate);
                samples.set_recording(recordings.source(groove, &access));
                (samples, warnings)
            });
            drop(playback::spawn(requests, output, load, player.sink()));
        }
        if speaker.is_some() || folder.is_some() {
            let follower = player.clone();
            spawn("remote speaker", move || follower.follow_speakers(speaker, folder.as_ref()));
        }
        player
    }

    pub(crate) fn try_sounds(&self, groove: Arc<Groove>) {
        let (player, named) = (self.clone(), groove.clone());
        let read = move || {
            let (access, groove) = (player.access.get(), named);
            player.send(Event::OutsideSounds(outside_sounds(&access, &groove)));
            let problems = UserSampleCache::default().load(&groove, &access, SampleRate::STUDIO).1;
            if !problems.is_empty() {
                player.send(Event::Playback(PlaybackEvent::Warning(problems.join("; "))));
            }
        };
        spawn("sounds", read);
        self.open_recording(groove);
    }

    /// Reads the recording of a groove, and plays on with it once all of it is there.
    fn open_recording(&self, groove: Arc<Groove>) {
        let player = self.clone();
        spawn("recording", move || {
            let report = |event| {
                let is_better = matches!(event, RecordingEvent::Loaded(..) | RecordingEvent::Onsets(_));
                player.send(Event::Recording(event));
                if is_better {
                    lock(&player.current).requests.put(|orders| orders.reload = true);
                }
            };
            player.recordings.open(&groove, &player.access.get(), &report);
        });
    }

    /// Sets the groove's file, and the sound files outside its folder that may be read.
    pub(crate) fn set_sound_access(&self, file: Option<&str>, allowed: &[PathBuf]) {
        let outside = OutsideSounds::Only(allowed.to_vec());
        self.access.set(SoundAccess { file: file.map(PathBuf::from), outside });
    }

    pub(crate) fn set_volume(&self, db: f32) {
        let mut current = lock(&self.current);
        current.volume = db;
        current.requests.set_volume(db);
    }

    pub(crate) fn request(&self, request: PlaybackRequest) {
        lock(&self.current).requests.send(request);
    }

    pub(crate) fn tap(&self, at: Instant) {
        lock(&self.current).requests.tap(at);
    }

    pub(crate) fn stop(&self) {
        let current = lock(&self.current);
        current.requests.send(PlaybackRequest::Stop);
        current.requests.close();
        let _ = current.ended.recv_timeout(STOP_TIMEOUT);
    }

    /// Ends the current player and makes room for another one.
    fn replace(&self) -> (Requests, Sender<()>) {
        let (end, ended) = mpsc::channel();
        let mut current = lock(&self.current);
        current.requests.send(PlaybackRequest::Stop);
        current.requests.close();
        (current.requests, current.ended) = (Requests::new(), ended);
        current.requests.set_volume(current.volume);
        (current.requests.clone(), end)
    }

    fn sink(&self) -> EventSink {
        let events = self.events.clone();
        // Without a receiver the program ends.
        Arc::new(move |event| drop(events.send(Event::Playback(event))))
    }

    fn send(&self, event: Event) {
        drop(self.events.send(event));
    }

    /// Plays through remote speakers, one after the other; without a state folder through this one.
    fn follow_speakers(&self, mut speaker: Option<RemoteSpeaker>, folder: Option<&StateFolder>) {
        let mut files = FilesToSend::new(self.access.clone(), self.recordings.clone());
        loop {
            if let Some(RemoteSpeaker { link, socket }) = speaker.take() {
                let (requests, end) = self.replace();
                self.send(Event::Remote(RemoteEvent::Connected));
                let ended = link.run(&requests, &mut files, store::print, &self.sink());
                // Removed before the program ends, which may wait for the other.
                drop(socket);
                drop(end);
                match ended {
                    Ok(()) => return,
                    Err(why) => self.send(Event::Remote(RemoteEvent::Lost(why))),
                }
            }
            let Some(folder) = folder else { return };
            thread::sleep(LOOK_INTERVAL);
            match folder.take_offered_socket().map(|path| RemoteSpeaker::connect(&path)) {
                Some(Ok(connected)) => speaker = Some(connected),
                Some(Err(why)) => self.send(Event::Playback(PlaybackEvent::Warning(why))),
                None => {}
            }
        }
    }
}
