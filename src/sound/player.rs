//! Plays on a local output device: opens it, notices when it is lost, reopens it and continues where it was.

use super::OutputError;
use super::channel::{RenderHandle, RenderSource, render_channel};
use super::device::DeviceEvent;
use super::output::{DeviceApi, Devices, SourceLease, StreamCounters};
use super::position::{Playhead, Position};
use super::remote::Device;
use super::render::{RENDER_LATENCY, release};
use super::segment::Segment;
use super::stderr_guard::StderrGuard;
use super::units::{Frame, SampleRate};
use std::any::Any;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;
use std::time::{Duration, Instant};

/// Frames per device buffer.
const BUFFER: u32 = 1024;
/// Buffers rendered ahead of what is heard, where the device does not report it: it plays one while it fills another.
const BUFFERS: i64 = 2;
/// A device that reports errors and takes no frame for this long is lost. Errors alone mean nothing: some devices report
/// many and continue to play.
const PATIENCE: Duration = Duration::from_millis(800);
/// The same with so many errors that they occupy a core.
const FLOOD: (u64, Duration) = (10_000, Duration::from_millis(150));
/// A device that takes no frame for this long without an error is lost too.
const SILENT: Duration = Duration::from_secs(5);
/// First and longest pause between attempts to reopen a device.
const PAUSES: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(4));
/// Longest time to wait for the fade when a player is closed.
const LEAVE: Duration = Duration::from_millis(300);
/// Longest time to wait for the source of a dropped stream.
const HOMECOMING: Duration = Duration::from_secs(1);

/// State while the device is lost.
struct Lost {
    again: Instant,
    pause: Duration,
    place: Option<Playhead>,
    /// Whether the source was replaced.
    anew: bool,
}

/// An output device that plays, or that is being reopened.
pub(crate) struct Player {
    // Dropped first: it holds the other end of the handle.
    stream: Option<Box<dyn Any>>,
    outlet: Box<dyn DeviceApi>,
    handle: RenderHandle,
    /// The source while no stream has it, and the channel on which a stream returns it.
    source: Option<RenderSource>,
    home: (Sender<RenderSource>, Receiver<RenderSource>),
    signs: Arc<StreamCounters>,
    gain: Option<f32>,
    /// Blocks and errors last seen, and when the blocks last changed.
    seen: (u64, u64),
    moved: Instant,
    lost: Option<Lost>,
    _quiet: StderrGuard,
}

impl std::fmt::Debug for Player {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Player").field("handle", &self.handle).finish_non_exhaustive()
    }
}

impl Player {
    /// Opens the default output device. While the player lives, standard error is redirected (see [`StderrGuard`]).
    ///
    /// # Errors
    /// [`OutputError`] if there is no device or it cannot be used.
    pub(crate) fn open() -> Result<Self, OutputError> {
        Self::open_on(None)
    }

    /// Opens the output device that `output` names (see [`super::chosen`]), or the default one.
    ///
    /// # Errors
    /// [`OutputError`] if there is no such device or it cannot be used.
    pub(crate) fn open_on(output: Option<&str>) -> Result<Self, OutputError> {
        let quiet = StderrGuard::new();
        Self::with(Box::new(Devices::new(output)), quiet)
    }

    fn with(mut outlet: Box<dyn DeviceApi>, quiet: StderrGuard) -> Result<Self, OutputError> {
        let rate = outlet.find()?;
        let (handle, source) = render_channel(rate);
        let mut player = Self {
            stream: None,
            outlet,
            handle,
            source: Some(source),
            home: mpsc::channel(),
            signs: Arc::default(),
            gain: None,
            seen: (0, 0),
            moved: Instant::now(),
            lost: None,
            _quiet: quiet,
        };
        player.open_stream(Instant::now())?;
        Ok(player)
    }

    /// Opens a stream for the returned source.
    fn open_stream(&mut self, now: Instant) -> Result<(), OutputError> {
        let mut error = OutputError::new("the render source was lost");
        for buffer in [Some(BUFFER), None] {
            let Some(source) = self.source.take().or_else(|| self.home.1.recv_timeout(HOMECOMING).ok()) else { break };
            let signs = Arc::new(StreamCounters::default());
            match self.outlet.start(SourceLease::new(source, self.home.0.clone()), &signs, buffer) {
                Ok(stream) => {
                    self.stream = Some(stream);
                    self.signs = signs;
                    self.seen = (self.handle.blocks(), 0);
                    self.moved = now;
                    return Ok(());
                }
                Err(e) => error = e,
            }
        }
        self.source = self.source.take().or_else(|| self.home.1.recv_timeout(HOMECOMING).ok());
        Err(error)
    }

    /// The device's sample rate, for which schedules must be built. It may change with [`DeviceEvent::ReopenedAtNewRate`].
    pub(crate) fn rate(&self) -> SampleRate {
        self.handle.rate()
    }

    /// Plays a segment from a position, or from its start, and returns its id.
    pub(crate) fn start(&mut self, segment: Segment, place: Option<Position>) -> u64 {
        let from = place.and_then(|p| segment.schedule()?.map().frame(p)).unwrap_or_default();
        let place = segment.schedule().map(|s| s.position(from));
        let id = self.handle.start(segment, from);
        if let Some(place) = place {
            self.wait_at(place, id);
        }
        id
    }

    /// While the device is lost, a segment waits at its start position.
    fn wait_at(&mut self, place: Position, segment: u64) {
        if let Some(lost) = &mut self.lost {
            lost.place = Some(Playhead::begun(place, segment));
        }
    }

    /// Appends a segment to the queue and returns its id. Call it only while [`Self::has_room`].
    pub(crate) fn queue(&mut self, segment: Segment) -> u64 {
        self.handle.queue(segment)
    }

    /// Plays a segment after the current pass instead of the queue, and returns its id.
    pub(crate) fn then(&mut self, segment: Segment) -> u64 {
        self.handle.then(segment)
    }

    /// Replaces the segment with this id without a gap.
    pub(crate) fn replace(&mut self, id: u64, segment: Segment) {
        self.handle.replace(id, segment);
    }

    /// Whether the queue has space for another segment.
    pub(crate) fn has_room(&mut self) -> bool {
        self.handle.has_room()
    }

    /// Whether the last segment has ended playback.
    pub(crate) fn has_ended(&mut self) -> bool {
        self.handle.has_ended()
    }

    /// Stops; what still rings fades out within milliseconds.
    pub(crate) fn stop(&mut self) {
        if let Some(lost) = &mut self.lost {
            lost.place = None;
        }
        self.handle.stop();
    }

    /// Stops, waits until the fade was heard and closes the device.
    pub(crate) fn end(mut self) {
        self.stop();
        let until = Instant::now() + if self.stream.is_some() { self.leaving() } else { Duration::ZERO };
        while Instant::now() < until {
            self.handle.tick();
            thread::sleep(until.saturating_duration_since(Instant::now()).min(Duration::from_millis(5)));
        }
    }

    /// Time until a sound that is stopped now has faded and was heard: one buffer, the fade, and what the device holds.
    fn leaving(&self) -> Duration {
        let frames = self.ahead().0 + 2 * i64::from(BUFFER) + i64::from(release(self.rate())) + RENDER_LATENCY as i64;
        Duration::from_secs_f64(frames as f64 / f64::from(self.rate().hertz())).min(LEAVE)
    }

    /// Sets the master volume in dB. 0 is the level a new player has.
    pub(crate) fn set_volume(&mut self, db: f32) {
        self.gain = Some(db);
        self.handle.set_volume(db);
    }

    #[cfg(test)]
    pub(crate) fn is_playing(&self) -> bool {
        self.handle.is_playing() || self.lost.as_ref().is_some_and(|l| l.place.is_some())
    }

    /// The position that is heard now, corrected for frames the device has not played yet.
    pub(crate) fn playhead(&mut self) -> Option<Playhead> {
        let ahead = self.ahead();
        self.handle.playhead(ahead)
    }

    /// The position that was heard at a recent instant.
    pub(crate) fn heard_at(&mut self, at: Instant) -> Option<Playhead> {
        let ahead = self.ahead();
        self.handle.heard_at(ahead, at)
    }

    /// Uncertainty of the playhead: one device buffer, in seconds.
    pub(crate) fn grain(&self) -> f64 {
        f64::from(BUFFER) / f64::from(self.rate().hertz())
    }

    /// Frames from what is rendered next to what is heard, just after a buffer was filled: as the device reports it, or else two
    /// buffers.
    pub(crate) fn ahead(&self) -> Frame {
        match self.signs.ahead.load(Ordering::Relaxed) {
            0 => Frame(BUFFERS * i64::from(BUFFER)),
            told => Frame(told as i64),
        }
    }

    #[cfg(test)]
    /// Whether the device reports its delay.
    pub(crate) fn is_measured(&self) -> bool {
        self.signs.ahead.load(Ordering::Relaxed) != 0
    }

    /// Errors since the device was opened.
    pub(crate) fn errors(&self) -> u64 {
        self.signs.errors.load(Ordering::Relaxed)
    }

    /// Frees returned segments, sends waiting commands, and checks the device: notices that it is lost and reopens it. Call it
    /// several times a second, also while nothing plays. It blocks while a device is opened.
    pub(crate) fn tick(&mut self) -> Option<DeviceEvent> {
        self.tick_at(Instant::now())
    }

    fn tick_at(&mut self, now: Instant) -> Option<DeviceEvent> {
        self.handle.tick();
        if let Some(lost) = &self.lost {
            return if now < lost.again { None } else { self.again(now) };
        }
        let (blocks, errors) = (self.handle.blocks(), self.errors());
        let quiet = now.saturating_duration_since(self.moved);
        let more = errors.saturating_sub(self.seen.1);
        if self.signs.over.load(Ordering::Acquire) {
            return Some(self.lose(now, "the output device was lost"));
        }
        if blocks != self.seen.0 {
            self.seen = (blocks, errors);
            self.moved = now;
        } else if (more > 0 && quiet > PATIENCE) || (more > FLOOD.0 && quiet > FLOOD.1) {
            return Some(self.lose(now, "the output device was lost"));
        } else if quiet > SILENT {
            return Some(self.lose(now, "the output device stopped accepting sound"));
        }
        None
    }

    fn lose(&mut self, now: Instant, reason: &str) -> DeviceEvent {
        let begun = Playhead::begun(Position { section: 0, pass: 0, wholes: 0.0 }, 0);
        let place = self.playhead().or(self.handle.is_playing().then_some(begun));
        self.stream = None;
        self.source = self.home.1.recv_timeout(HOMECOMING).ok();
        self.lost = Some(Lost { again: now + PAUSES.0, pause: PAUSES.0, place, anew: false });
        DeviceEvent::Lost(OutputError::new(reason))
    }

    /// Tries to reopen the device.
    fn again(&mut self, now: Instant) -> Option<DeviceEvent> {
        let opened = match self.outlet.find() {
            Ok(rate) => {
                if self.source.is_none() {
                    self.source = self.home.1.try_recv().ok();
                }
                if rate != self.handle.rate() || self.source.is_none() {
                    let (handle, source) = render_channel(rate);
                    (self.handle, self.source) = (handle, Some(source));
                    // A late old source must not be mistaken for this one.
                    self.home = mpsc::channel();
                    if let Some(db) = self.gain {
                        self.handle.set_volume(db);
                    }
                    if let Some(lost) = &mut self.lost {
                        lost.anew = true;
                    }
                }
                self.open_stream(now).is_ok()
            }
            Err(_) => false,
        };
        if opened {
            let lost = self.lost.take()?;
            return Some(if lost.anew { DeviceEvent::ReopenedAtNewRate(lost.place) } else { DeviceEvent::Reopened });
        }
        if let Some(lost) = &mut self.lost {
            lost.pause = (lost.pause * 2).min(PAUSES.1);
            lost.again = now + lost.pause;
        }
        None
    }
}

impl Device for Player {
    fn handle(&mut self) -> &mut RenderHandle {
        &mut self.handle
    }

    fn ahead(&self) -> Frame {
        Player::ahead(self)
    }

    fn grain(&self) -> Frame {
        Frame(i64::from(BUFFER))
    }

    fn tick(&mut self) -> Option<DeviceEvent> {
        Player::tick(self)
    }
}

#[cfg(test)]
pub(crate) mod fake;
#[cfg(test)]
mod tests;
