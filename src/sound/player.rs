//! This machine's output device: opens it, feeds it, notices its loss. It must not know grooves; only this file may name
//! rodio.

use super::NoSound;
use super::feed::{Feed, Hand, feed};
use super::place::{Playhead, Position};
use super::quiet::Quiet;
use super::render::Keep;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Frames the device asks for at once.
const BUFFER: u32 = 1024;
/// Buffers rendered ahead of what is heard: the device plays one while it fills another.
const BUFFERS: i64 = 2;
/// A device that reports errors and takes no frame for so long is lost. Errors alone say nothing: some devices report
/// many and play on.
const PATIENCE: Duration = Duration::from_millis(800);

impl rodio::Source for Feed {
    fn current_span_len(&self) -> Option<usize> {
        None
    }

    fn channels(&self) -> rodio::ChannelCount {
        NonZero::<u16>::MIN.saturating_add(1)
    }

    fn sample_rate(&self) -> rodio::SampleRate {
        NonZero::new(self.rate().hertz()).unwrap_or(NonZero::<u32>::MIN)
    }

    fn total_duration(&self) -> Option<Duration> {
        None
    }
}

/// A running output device.
pub struct Player {
    // The stream is dropped first: it holds the other end of the hand.
    _sink: rodio::MixerDeviceSink,
    hand: Hand,
    errors: Arc<AtomicU64>,
    /// Blocks and errors last seen, and when the blocks last moved.
    seen: (u64, u64),
    moved: Instant,
    _quiet: Quiet,
}

impl std::fmt::Debug for Player {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Player").field("hand", &self.hand).finish_non_exhaustive()
    }
}

impl Player {
    /// Opens the default output device. While the player lives, standard error is put aside (see [`Quiet`]).
    ///
    /// # Errors
    /// [`NoSound`] in one line if there is no device or it cannot be used.
    pub fn open() -> Result<Self, NoSound> {
        let quiet = Quiet::new();
        let errors = Arc::new(AtomicU64::new(0));
        let open = |size: Option<u32>| {
            let count = Arc::clone(&errors);
            let mut builder = rodio::DeviceSinkBuilder::from_default_device()?;
            if let Some(frames) = size {
                builder = builder.with_buffer_size(rodio::cpal::BufferSize::Fixed(frames));
            }
            let builder = builder.with_error_callback(move |_| {
                count.fetch_add(1, Ordering::Relaxed);
            });
            builder.open_stream()
        };
        let mut sink = open(Some(BUFFER)).or_else(|_| open(None)).map_err(|e| NoSound::new(&e.to_string()))?;
        sink.log_on_drop(false);
        let hertz = sink.config().sample_rate().get();
        let rate = SampleRate::new(hertz).ok_or_else(|| NoSound::new(&format!("the device runs at {hertz} Hz")))?;
        let (hand, feed) = feed(rate);
        sink.mixer().add(feed);
        Ok(Self { _sink: sink, hand, errors, seen: (0, 0), moved: Instant::now(), _quiet: quiet })
    }

    /// The device's frames per second; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.hand.rate()
    }

    /// Plays a schedule from its start.
    pub fn play(&mut self, schedule: Schedule) {
        self.hand.play(schedule, Frame(0));
    }

    /// Plays a schedule from a place in the groove; from its start if the place is not in it.
    pub fn play_from(&mut self, schedule: Schedule, place: Position) {
        let from = schedule.map().frame(place).unwrap_or_default();
        self.hand.play(schedule, from);
    }

    /// Puts an edited schedule in the place of the one that plays, without a gap.
    pub fn swap(&mut self, schedule: Schedule, keep: Keep) {
        self.hand.swap(schedule, keep);
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        self.hand.stop();
    }

    /// Goes to a place of the loop.
    pub fn seek(&mut self, place: Position) {
        self.hand.seek(place);
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_gain(&mut self, db: f32) {
        self.hand.set_gain(db);
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.hand.is_playing()
    }

    /// Where the groove is heard, the frames that the device has not played yet taken off as far as they are known.
    pub fn playhead(&mut self) -> Option<Playhead> {
        self.hand.playhead(Frame(BUFFERS * i64::from(BUFFER)))
    }

    /// Errors the device reported so far.
    pub fn errors(&self) -> u64 {
        self.errors.load(Ordering::Relaxed)
    }

    /// Frees what came back from the sound thread, sends what had to wait, and looks after the device. To be called some
    /// times a second.
    ///
    /// # Errors
    /// [`NoSound`] if the device is lost: the player is to be dropped at once, and may be opened anew.
    pub fn tick(&mut self) -> Result<(), NoSound> {
        self.hand.tick();
        let now = Instant::now();
        let (blocks, errors) = (self.hand.shared.blocks.load(Ordering::Acquire), self.errors());
        if blocks != self.seen.0 {
            self.seen = (blocks, errors);
            self.moved = now;
        } else if errors != self.seen.1 && now.duration_since(self.moved) > PATIENCE {
            return Err(NoSound::new("the output device was lost"));
        }
        Ok(())
    }
}
