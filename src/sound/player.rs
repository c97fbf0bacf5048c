//! Plays on a local output device: opens it, notices when it is lost, reopens it and continues where it was.

use super::OutputError;
use super::channel::{RenderHandle, RenderSource, render_channel};
use super::output::{Callback, DeviceApi, Devices, StreamCounters};
use super::position::{Playhead, Position};
use super::render::{RENDER_LATENCY, release};
use super::segment::Segment;
use super::stderr_guard::StderrGuard;
use super::units::Frame;
use std::any::Any;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;
use std::time::{Duration, Instant};

/// Frames per device buffer.
const BUFFER_FRAMES: u32 = 1024;
/// Frames rendered ahead of what is heard, if the device does not report them: it plays one buffer while it fills another.
const ASSUMED_AHEAD: i64 = 2 * BUFFER_FRAMES as i64;
/// A device that reports errors and takes no frame for this long is lost. Errors alone mean nothing: some devices report
/// many and continue to play.
const ERROR_TIMEOUT: Duration = Duration::from_millis(800);
/// With more errors than this they occupy a core, and [`FLOOD_TIMEOUT`] applies.
const MAX_ERRORS: u64 = 10_000;
const FLOOD_TIMEOUT: Duration = Duration::from_millis(150);
/// A device that takes no frame for this long without an error is lost too.
const STALL_TIMEOUT: Duration = Duration::from_secs(5);
/// First and longest pause between attempts to reopen a device.
const MIN_RETRY_DELAY: Duration = Duration::from_millis(250);
const MAX_RETRY_DELAY: Duration = Duration::from_secs(4);
/// Longest wait for the fade when a player is closed.
const MAX_FADE_WAIT: Duration = Duration::from_millis(300);
/// Longest wait for the source of a dropped stream.
const MAX_SOURCE_WAIT: Duration = Duration::from_secs(1);

struct LostDevice {
    retry_at: Instant,
    retry_delay: Duration,
    /// The position to continue from, if something plays.
    playhead: Option<Playhead>,
    source_replaced: bool,
}

/// What happened to the output device. Each event is reported once.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum DeviceEvent {
    /// The player tries to reopen it; playback waits.
    Lost(OutputError),
    /// It is back and playback continues where it was.
    Reopened,
    /// It is back with another sample rate or without the old render source. What played must be rebuilt for the current rate and
    /// started from this position, if there is one.
    ReopenedAtNewRate(Option<Playhead>),
}

pub(crate) struct Player {
    // Dropped first: it holds the other end of the handle.
    stream: Option<Box<dyn Any>>,
    device: Box<dyn DeviceApi>,
    /// Queues and replaces segments.
    pub(super) handle: RenderHandle,
    /// The source while no stream has it, and the channel on which a stream returns it.
    source: Option<RenderSource>,
    returned: (Sender<RenderSource>, Receiver<RenderSource>),
    counters: Arc<StreamCounters>,
    volume: Option<f32>,
    /// Blocks and errors when blocks were last rendered, and when that was.
    seen_blocks: u64,
    seen_errors: u64,
    seen_at: Instant,
    lost: Option<LostDevice>,
    _guard: StderrGuard,
}

impl Player {
    /// Opens the output device that `output` names (see [`super::find_device`]), or the default one. While the player lives,
    /// standard error is redirected (see [`StderrGuard`]).
    ///
    /// # Errors
    /// [`OutputError`] if there is no such device or it cannot be used.
    pub(crate) fn open(output: Option<&str>) -> Result<Self, OutputError> {
        let guard = StderrGuard::new();
        Self::open_device(Box::new(Devices::new(output)), guard)
    }

    fn open_device(mut device: Box<dyn DeviceApi>, guard: StderrGuard) -> Result<Self, OutputError> {
        let rate = device.find()?;
        let (handle, source) = render_channel(rate);
        let mut player = Self {
            stream: None,
            device,
            handle,
            source: Some(source),
            returned: mpsc::channel(),
            counters: Arc::default(),
            volume: None,
            seen_blocks: 0,
            seen_errors: 0,
            seen_at: Instant::now(),
            lost: None,
            _guard: guard,
        };
        player.open_stream(Instant::now())?;
        Ok(player)
    }

    /// The source, once the dropped stream has returned it.
    fn take_source(&mut self) -> Option<RenderSource> {
        self.source.take().or_else(|| self.returned.1.recv_timeout(MAX_SOURCE_WAIT).ok())
    }

    fn open_stream(&mut self, now: Instant) -> Result<(), OutputError> {
        let mut error = OutputError::new("the previous audio stream did not stop");
        for buffer in [Some(BUFFER_FRAMES), None] {
            let Some(source) = self.take_source() else { break };
            let counters = Arc::new(StreamCounters::default());
            let callback = Callback::new(source, self.returned.0.clone(), Arc::clone(&counters), self.handle.rate);
            match self.device.start(callback, buffer) {
                Ok(stream) => {
                    self.stream = Some(stream);
                    self.counters = counters;
                    (self.seen_blocks, self.seen_errors, self.seen_at) = (self.handle.blocks(), 0, now);
                    return Ok(());
                }
                Err(e) => error = e,
            }
        }
        self.source = self.take_source();
        Err(error)
    }

    /// Plays a segment from a position, or from its start, instead of everything else, and returns its id. Ids ascend.
    pub(crate) fn start(&mut self, segment: Segment, from: Option<Position>) -> u64 {
        let frame = from.and_then(|p| segment.schedule.as_ref()?.map.frame(p)).unwrap_or_default();
        segment.prepare_at(frame);
        let position = segment.schedule.as_ref().map(|s| s.map.position(frame));
        let id = self.handle.start(segment, frame);
        // While the device is lost, a segment waits at its start position.
        if let (Some(lost), Some(position)) = (&mut self.lost, position) {
            lost.playhead = Some(Playhead { position, loop_pass: 0, segment: id });
        }
        id
    }

    /// Stops; what still rings fades out within milliseconds.
    pub(crate) fn stop(&mut self) {
        if let Some(lost) = &mut self.lost {
            lost.playhead = None;
        }
        self.handle.stop();
    }

    /// Stops, waits until what still rings has faded out (tens of milliseconds) and closes the device.
    pub(crate) fn end(mut self) {
        self.stop();
        let until = Instant::now() + if self.stream.is_some() { self.fade_time() } else { Duration::ZERO };
        while Instant::now() < until {
            self.handle.tick();
            thread::sleep(until.saturating_duration_since(Instant::now()).min(Duration::from_millis(5)));
        }
    }

    /// Time until a sound that is stopped now has faded and was heard: two buffers, the fade, and what the device holds.
    fn fade_time(&self) -> Duration {
        let rate = self.handle.rate;
        let fade = i64::from(release(rate)) + RENDER_LATENCY as i64;
        let frames = self.ahead().0 + 2 * i64::from(BUFFER_FRAMES) + fade;
        Duration::from_secs_f64(Frame(frames).seconds(rate)).min(MAX_FADE_WAIT)
    }

    /// Sets the master volume in dB. 0 is the initial level.
    pub(crate) fn set_volume(&mut self, db: f32) {
        self.volume = Some(db);
        self.handle.set_volume(db);
    }

    #[cfg(test)]
    pub(crate) fn is_playing(&self) -> bool {
        self.handle.playing || self.lost.as_ref().is_some_and(|l| l.playhead.is_some())
    }

    /// The position that is heard at an instant of the recent past or the near future.
    pub(crate) fn playhead(&mut self, at: Instant) -> Option<Playhead> {
        let ahead = self.ahead();
        self.handle.playhead(ahead, at)
    }

    /// Uncertainty of the playhead in seconds: one device buffer.
    pub(crate) fn playhead_error(&self) -> f64 {
        Frame(i64::from(BUFFER_FRAMES)).seconds(self.handle.rate)
    }

    /// Frames from what is rendered next to what is heard, just after a buffer was filled, as the device reports it.
    fn ahead(&self) -> Frame {
        let reported = self.counters.ahead.load(Ordering::Relaxed) as i64;
        Frame(if reported > 0 { reported } else { ASSUMED_AHEAD })
    }

    /// Gaps in the sound since they were last taken: the device had played all it had before another buffer was filled.
    pub(crate) fn take_gaps(&mut self) -> u64 {
        self.counters.gaps.swap(0, Ordering::Relaxed)
    }

    /// Errors since the device was opened.
    fn errors(&self) -> u64 {
        self.counters.errors.load(Ordering::Relaxed)
    }

    /// Frees returned segments, sends waiting commands, and checks the device. Call it several times a second, also while
    /// nothing plays. It blocks while a device is opened. Each event is reported once.
    pub(crate) fn tick(&mut self, now: Instant) -> Option<DeviceEvent> {
        self.handle.tick();
        if let Some(lost) = self.lost.take_if(|lost| now >= lost.retry_at) {
            return self.reopen(lost, now);
        }
        if self.lost.is_some() {
            return None;
        }
        let (blocks, errors) = (self.handle.blocks(), self.errors());
        let stalled = now.saturating_duration_since(self.seen_at);
        let new_errors = errors.saturating_sub(self.seen_errors);
        if self.counters.ended.load(Ordering::Acquire) {
            return Some(self.on_lost(now, "the output device was lost"));
        }
        if blocks != self.seen_blocks {
            (self.seen_blocks, self.seen_errors, self.seen_at) = (blocks, errors, now);
        } else if (new_errors > 0 && stalled > ERROR_TIMEOUT) || (new_errors > MAX_ERRORS && stalled > FLOOD_TIMEOUT) {
            return Some(self.on_lost(now, "the output device was lost"));
        } else if stalled > STALL_TIMEOUT {
            return Some(self.on_lost(now, "the output device stopped accepting sound"));
        }
        None
    }

    fn on_lost(&mut self, now: Instant, reason: &str) -> DeviceEvent {
        let playhead = self.playhead(Instant::now()).or(self.handle.playing.then(Playhead::default));
        self.stream = None;
        self.source = self.take_source();
        let (retry_at, retry_delay) = (now + MIN_RETRY_DELAY, MIN_RETRY_DELAY);
        self.lost = Some(LostDevice { retry_at, retry_delay, playhead, source_replaced: false });
        DeviceEvent::Lost(OutputError::new(reason))
    }

    fn reopen(&mut self, mut lost: LostDevice, now: Instant) -> Option<DeviceEvent> {
        if let Ok(rate) = self.device.find() {
            if self.source.is_none() {
                self.source = self.returned.1.try_recv().ok();
            }
            if rate != self.handle.rate || self.source.is_none() {
                let (handle, source) = render_channel(rate);
                (self.handle, self.source) = (handle, Some(source));
                // A late old source must not be mistaken for this one.
                self.returned = mpsc::channel();
                if let Some(db) = self.volume {
                    self.handle.set_volume(db);
                }
                lost.source_replaced = true;
            }
            if self.open_stream(now).is_ok() {
                let new_source = DeviceEvent::ReopenedAtNewRate(lost.playhead);
                return Some(if lost.source_replaced { new_source } else { DeviceEvent::Reopened });
            }
        }
        lost.retry_delay = (lost.retry_delay * 2).min(MAX_RETRY_DELAY);
        lost.retry_at = now + lost.retry_delay;
        self.lost = Some(lost);
        None
    }
}

#[cfg(test)]
pub(crate) mod fake;
#[cfg(test)]
mod tests;
