//! The two ends of the sound thread: commands in through a wait-free ring, old schedules out through another, the
//! playhead through atomics. It must not know devices; on the sound thread there is no lock, no allocation, no free and no
//! I/O.

use super::place::{Map, Playhead, Position};
use super::render::{Keep, LATENCY, MASTER_DB, Renderer};
use super::schedule::Schedule;
use super::units::{Frame, Gain, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Frames the sound thread renders at once, between two looks at the commands.
const BLOCK: usize = 128;
/// Commands that may wait in the ring.
const RING: usize = 64;
/// The published place of a feed that does not play.
const STOPPED: u64 = u64::MAX;
const FRAME_BITS: u32 = 48;

#[derive(Debug)]
enum Command {
    Play { schedule: Box<Schedule>, from: Frame, age: u16 },
    Swap { schedule: Box<Schedule>, keep: Keep, age: u16 },
    Stop,
    Seek(Frame),
    Gain(Gain),
}

/// What the sound thread publishes.
#[derive(Debug)]
pub(super) struct Shared {
    /// Age of the schedule and frame of its loop after the last block, in one word so that they always belong together.
    place: AtomicU64,
    loops: AtomicU64,
    /// When that block was rendered, in nanoseconds since `epoch`.
    stamp: AtomicU64,
    /// Blocks rendered.
    pub(super) blocks: AtomicU64,
    epoch: Instant,
}

/// The sound thread's end: an endless stream of interleaved stereo samples.
#[derive(Debug)]
pub struct Feed {
    renderer: Renderer,
    commands: rtrb::Consumer<Command>,
    returns: rtrb::Producer<Box<Schedule>>,
    shared: Arc<Shared>,
    age: u16,
    rate: SampleRate,
    block: [f32; 2 * BLOCK],
    at: usize,
}

/// The other end: sends commands, frees returned schedules, reads the playhead. It never waits for the sound thread.
#[derive(Debug)]
pub struct Hand {
    commands: rtrb::Producer<Command>,
    returns: rtrb::Consumer<Box<Schedule>>,
    /// Commands the ring had no place for, oldest first.
    backlog: VecDeque<Command>,
    /// Maps of the schedules sent, with their age.
    maps: VecDeque<(u16, Arc<Map>)>,
    pub(super) shared: Arc<Shared>,
    age: u16,
    playing: bool,
    rate: SampleRate,
}

/// What the sound thread last said of where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark {
    /// Age of the schedule that plays (see [`Hand::age`]).
    pub(super) age: u16,
    /// Frame of the loop that is rendered next, and turns completed.
    pub(super) frame: Frame,
    pub(super) loops: u64,
    /// When that was so.
    pub(super) at: Instant,
}

/// Makes the two ends.
pub fn feed(rate: SampleRate) -> (Hand, Feed) {
    let (commands_in, commands_out) = rtrb::RingBuffer::new(RING);
    let (returns_in, returns_out) = rtrb::RingBuffer::new(RING);
    let shared = Arc::new(Shared {
        place: AtomicU64::new(STOPPED),
        loops: AtomicU64::new(0),
        stamp: AtomicU64::new(0),
        blocks: AtomicU64::new(0),
        epoch: Instant::now(),
    });
    let hand = Hand {
        commands: commands_in,
        returns: returns_out,
        backlog: VecDeque::new(),
        maps: VecDeque::new(),
        shared: Arc::clone(&shared),
        age: 0,
        playing: false,
        rate,
    };
    let feed = Feed {
        renderer: Renderer::new(rate),
        commands: commands_out,
        returns: returns_in,
        shared,
        age: 0,
        rate,
        block: [0.0; 2 * BLOCK],
        at: 2 * BLOCK,
    };
    (hand, feed)
}

impl Feed {
    /// Frames per second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    fn refill(&mut self) {
        // A command is taken only while its old schedule can be given back, so that none is ever freed here.
        while self.returns.slots() > 0 {
            let Ok(command) = self.commands.pop() else { break };
            let old = match command {
                Command::Play { schedule, from, age } => {
                    self.age = age;
                    self.renderer.play(schedule, from)
                }
                Command::Swap { schedule, keep, age } => {
                    self.age = age;
                    self.renderer.swap(schedule, keep)
                }
                Command::Stop => {
                    self.renderer.stop();
                    None
                }
                Command::Seek(frame) => {
                    self.renderer.seek(frame);
                    None
                }
                Command::Gain(gain) => {
                    self.renderer.set_gain(gain);
                    None
                }
            };
            if let Some(old) = old {
                // There is room: only this end puts schedules into the ring.
                if let Err(rtrb::PushError::Full(old)) = self.returns.push(old) {
                    std::mem::forget(old);
                }
            }
        }
        self.renderer.render(&mut self.block);
        self.publish();
    }

    fn publish(&self) {
        let place = if self.renderer.is_playing() {
            let frame = self.renderer.frame().0.clamp(0, (1 << FRAME_BITS) - 1) as u64;
            (u64::from(self.age) << FRAME_BITS) | frame
        } else {
            STOPPED
        };
        let shared = &self.shared;
        shared.stamp.store(shared.epoch.elapsed().as_nanos() as u64, Ordering::Relaxed);
        shared.loops.store(self.renderer.loops(), Ordering::Relaxed);
        shared.place.store(place, Ordering::Release);
        shared.blocks.fetch_add(1, Ordering::Release);
    }
}

impl Iterator for Feed {
    type Item = f32;

    #[inline]
    fn next(&mut self) -> Option<f32> {
        if self.at == self.block.len() {
            self.refill();
            self.at = 0;
        }
        let sample = self.block[self.at];
        self.at += 1;
        Some(sample)
    }
}

impl Hand {
    /// Frames per second; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Plays a schedule from a frame of its loop.
    pub fn play(&mut self, schedule: Schedule, from: Frame) {
        let age = self.remember(&schedule);
        self.backlog.retain(|c| matches!(c, Command::Gain(_)));
        self.send(Command::Play { schedule: Box::new(schedule), from, age });
        self.playing = true;
    }

    /// Puts an edited schedule in the place of the one that plays.
    pub fn swap(&mut self, schedule: Schedule, keep: Keep) {
        let age = self.remember(&schedule);
        if matches!(self.backlog.back(), Some(Command::Swap { .. })) {
            self.backlog.pop_back();
        }
        self.send(Command::Swap { schedule: Box::new(schedule), keep, age });
    }

    /// Stops.
    pub fn stop(&mut self) {
        self.send(Command::Stop);
        self.playing = false;
    }

    /// Goes to a place of the loop; a place that is not in it is left alone.
    pub fn seek(&mut self, place: Position) {
        if let Some(frame) = self.maps.back().and_then(|(_, map)| map.frame(place)) {
            self.send(Command::Seek(frame));
        }
    }

    /// Goes to a frame of the loop; one beyond its end becomes its end.
    pub(super) fn seek_frame(&mut self, frame: Frame) {
        self.send(Command::Seek(frame));
    }

    /// Commands that the sound thread has not taken yet.
    pub(super) fn waiting(&self) -> usize {
        self.backlog.len() + RING - self.commands.slots()
    }

    /// The age of the schedule sent last: each has another one than those before it.
    pub(super) fn age(&self) -> u16 {
        self.age
    }

    /// Where the sound thread was after its last block; `None` while nothing plays.
    pub(super) fn mark(&self) -> Option<Mark> {
        let place = self.shared.place.load(Ordering::Acquire);
        if !self.playing || place == STOPPED {
            return None;
        }
        let at = self.shared.epoch + Duration::from_nanos(self.shared.stamp.load(Ordering::Relaxed));
        let frame = Frame((place & ((1 << FRAME_BITS) - 1)) as i64);
        Some(Mark { age: (place >> FRAME_BITS) as u16, frame, loops: self.shared.loops.load(Ordering::Relaxed), at })
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_gain(&mut self, db: f32) {
        self.backlog.retain(|c| !matches!(c, Command::Gain(_)));
        self.send(Command::Gain(Gain::from_db(MASTER_DB + db)));
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// Frees the schedules that came back and sends what had to wait. To be called some times a second.
    pub fn tick(&mut self) {
        while let Ok(old) = self.returns.pop() {
            drop(old);
        }
        while let Some(command) = self.backlog.pop_front() {
            if let Err(rtrb::PushError::Full(command)) = self.commands.push(command) {
                self.backlog.push_front(command);
                break;
            }
        }
    }

    /// Where the groove is heard, if `ahead` frames are rendered but not heard yet when a block has just been rendered.
    pub fn playhead(&mut self, ahead: Frame) -> Option<Playhead> {
        let place = self.shared.place.load(Ordering::Acquire);
        if !self.playing || place == STOPPED {
            return None;
        }
        let (loops, stamp) = (self.shared.loops.load(Ordering::Relaxed), self.shared.stamp.load(Ordering::Relaxed));
        let age = (place >> FRAME_BITS) as u16;
        while self.maps.len() > 1 && self.maps.front().is_some_and(|(a, _)| *a != age) {
            self.maps.pop_front();
        }
        let map = self.maps.front().filter(|(a, _)| *a == age).map(|(_, map)| map)?;
        let since = (self.shared.epoch.elapsed().as_nanos() as u64).saturating_sub(stamp);
        let ahead = ahead.0 + LATENCY as i64;
        let gone = (since as f64 * 1e-9 * f64::from(self.rate.hertz())) as i64;
        let mut frame = (place & ((1 << FRAME_BITS) - 1)) as i64 - (ahead - gone).max(0);
        let mut loops = loops;
        while frame < 0 && loops > 0 && map.length().0 > 0 {
            frame += map.length().0;
            loops -= 1;
        }
        let Position { section, pass, wholes } = map.position(Frame(frame.max(0)));
        Some(Playhead { section, pass, wholes, loops })
    }

    fn remember(&mut self, schedule: &Schedule) -> u16 {
        // The greatest age is left out: with every frame bit set it would read as "stopped".
        self.age = (self.age + 1) % u16::MAX;
        self.maps.push_back((self.age, Arc::clone(schedule.map())));
        // Every schedule in the ring or at the other end has its map here; older ones are done with.
        while self.maps.len() > 2 * RING {
            self.maps.pop_front();
        }
        self.age
    }

    fn send(&mut self, command: Command) {
        self.backlog.push_back(command);
        self.tick();
    }
}
