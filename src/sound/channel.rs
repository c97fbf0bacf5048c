//! The two ends of the sound thread: commands in through a wait-free ring, old schedules out through another, the
//! playhead through a board. It must not know devices; on the sound thread there is no lock, no allocation, no free and no
//! I/O.

#[cfg(test)]
mod tests;

use super::position::{Playhead, PositionMap};
use super::render::{MIX_DB, RENDER_LATENCY};
use super::segment::{MAX_QUEUED, Segment, SegmentQueue};
use super::shared_status::{RenderStatus, SharedStatus};
use super::units::{Frame, Gain, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Instant;

/// Frames the sound thread renders at once, between two looks at the commands.
const BLOCK: usize = 128;
/// Commands that may wait in the ring.
const RING: usize = 64;
/// Segments that may be at the other end at once: those that wait, the one that is played and the one that comes in.
const AWAY: usize = MAX_QUEUED + 2;

#[derive(Debug)]
enum Command {
    Play(Box<Segment>, Frame),
    Push(Box<Segment>),
    Then(Box<Segment>),
    Replace(Box<Segment>),
    Stop,
    Gain(Gain),
}

/// The sound thread's end: an endless stream of interleaved stereo samples.
#[derive(Debug)]
pub struct RenderSource {
    relay: SegmentQueue,
    commands: rtrb::Consumer<Command>,
    returns: rtrb::Producer<Box<Segment>>,
    board: Arc<SharedStatus>,
    rate: SampleRate,
    block: [f32; 2 * BLOCK],
    at: usize,
}

/// A segment that was sent: its number, which sending of it, and where its places sound.
#[derive(Debug)]
struct Sent {
    id: u64,
    generation: u64,
    map: Arc<PositionMap>,
}

/// What the sound thread last said of where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark {
    /// Number of the segment that is heard, and which sending of it.
    pub(super) segment: u64,
    pub(super) generation: u64,
    /// Frame of its loop, below 0 if it lies in the pass before, and passes completed.
    pub(super) frame: i64,
    pub(super) pass: u64,
    /// When that was so.
    pub(super) at: Instant,
}

/// The other end: sends commands, frees returned schedules, reads the playhead. It never waits for the sound thread.
#[derive(Debug)]
pub struct RenderHandle {
    commands: rtrb::Producer<Command>,
    returns: rtrb::Consumer<Box<Segment>>,
    /// Commands the ring had no place for, oldest first.
    backlog: VecDeque<Command>,
    sent: VecDeque<Sent>,
    pub(super) board: Arc<SharedStatus>,
    /// What the board said when it was last read whole.
    news: RenderStatus,
    /// Last sending, and last segment.
    generation: u64,
    id: u64,
    playing: bool,
    rate: SampleRate,
}

/// Makes the two ends.
pub fn render_channel(rate: SampleRate) -> (RenderHandle, RenderSource) {
    let (commands_in, commands_out) = rtrb::RingBuffer::new(RING);
    let (returns_in, returns_out) = rtrb::RingBuffer::new(RING + AWAY);
    let board = Arc::new(SharedStatus::new());
    let handle = RenderHandle {
        commands: commands_in,
        returns: returns_out,
        backlog: VecDeque::new(),
        sent: VecDeque::new(),
        board: Arc::clone(&board),
        news: RenderStatus::default(),
        generation: 0,
        id: 0,
        playing: false,
        rate,
    };
    let source = RenderSource {
        relay: SegmentQueue::new(rate),
        commands: commands_out,
        returns: returns_in,
        board,
        rate,
        block: [0.0; 2 * BLOCK],
        at: 2 * BLOCK,
    };
    (handle, source)
}

/// Gives a segment back. There is room: only this end puts segments into the ring, and a command is taken only while every segment that
/// is at this end could be given back, so that none is ever freed here.
fn give(returns: &mut rtrb::Producer<Box<Segment>>, segment: Box<Segment>) {
    if let Err(rtrb::PushError::Full(segment)) = returns.push(segment) {
        std::mem::forget(segment);
    }
}

impl RenderSource {
    /// Frames per second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    fn refill(&mut self) {
        while self.returns.slots() > AWAY {
            let Ok(command) = self.commands.pop() else { break };
            let (relay, returns) = (&mut self.relay, &mut self.returns);
            let back = &mut |segment| give(returns, segment);
            match command {
                Command::Play(segment, from) => relay.play(segment, from, back),
                Command::Push(segment) => relay.push(segment, back),
                Command::Then(segment) => relay.then(segment, back),
                Command::Replace(segment) => relay.replace(segment, back),
                Command::Stop => relay.stop(back),
                Command::Gain(gain) => relay.renderer().set_gain(gain),
            }
        }
        let returns = &mut self.returns;
        self.relay.render(&mut self.block, &mut |segment| give(returns, segment));
        self.publish();
    }

    fn publish(&mut self) {
        let ((id, generation), before, began) = (self.relay.current(), self.relay.before(), self.relay.began());
        let ended = self.relay.ended();
        let renderer = self.relay.renderer();
        self.board.write(RenderStatus {
            playing: renderer.is_playing(),
            id,
            generation,
            frame: renderer.frame().0,
            pass: renderer.passes(),
            since: renderer.now() - began,
            before_id: before.id,
            before_generation: before.generation,
            before_frame: before.frame,
            before_pass: before.pass,
            ended,
            written_at: 0,
        });
    }
}

impl Iterator for RenderSource {
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

impl RenderHandle {
    /// Frames per second; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Plays a segment from a frame of its loop, instead of all that is played and waits. Gives its number, greater than all before.
    pub fn start(&mut self, segment: Segment, from: Frame) -> u64 {
        let segment = Box::new(self.numbered(segment));
        self.backlog.retain(|c| matches!(c, Command::Gain(_)));
        self.send(Command::Play(segment, from));
        self.playing = true;
        self.id
    }

    /// Lets a segment follow after all that wait, at the exact frame at which the last one of them ends. Gives its number. To be
    /// asked for only while [`RenderHandle::has_room`].
    pub fn queue(&mut self, segment: Segment) -> u64 {
        let segment = Box::new(self.numbered(segment));
        self.send(Command::Push(segment));
        self.playing = true;
        self.id
    }

    /// Lets a segment follow at the end of the time through that is played, instead of all that wait. Gives its number.
    pub fn then(&mut self, segment: Segment) -> u64 {
        let segment = Box::new(self.numbered(segment));
        self.backlog.retain(|c| !matches!(c, Command::Push(_) | Command::Then(_)));
        self.send(Command::Then(segment));
        self.playing = true;
        self.id
    }

    /// Puts an edited segment in the place of the one of this number, whether that is played or waits; one that has been played is
    /// left alone.
    pub fn replace(&mut self, id: u64, mut segment: Segment) {
        (segment.id, segment.generation) = (id, self.generation + 1);
        self.remember(&segment);
        self.backlog.retain(|c| !matches!(c, Command::Replace(old) if old.id == id));
        self.send(Command::Replace(Box::new(segment)));
    }

    /// Whether one more segment may wait.
    pub fn has_room(&mut self) -> bool {
        self.look();
        // Numbers rise; what is not begun waits, in the ring or at the other end.
        let mut waiting: Vec<u64> = self.sent.iter().map(|s| s.id).filter(|id| *id > self.news.id).collect();
        waiting.sort_unstable();
        waiting.dedup();
        waiting.len() < MAX_QUEUED
    }

    /// Stops.
    pub fn stop(&mut self) {
        self.backlog.retain(|c| matches!(c, Command::Gain(_)));
        self.send(Command::Stop);
        self.playing = false;
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_volume(&mut self, db: f32) {
        self.backlog.retain(|c| !matches!(c, Command::Gain(_)));
        self.send(Command::Gain(Gain::from_db(MIX_DB + db)));
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// Whether the segment that was sent last has been played through and was to end the playing.
    pub fn has_ended(&mut self) -> bool {
        self.look();
        self.playing && self.id > 0 && self.news.ended == self.id
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
        self.heard_at(ahead, Instant::now())
    }

    /// The same for an instant of a short while ago.
    pub fn heard_at(&mut self, ahead: Frame, at: Instant) -> Option<Playhead> {
        self.look();
        let news = self.news;
        if !self.playing || !news.playing {
            return None;
        }
        // An instant before the last block is that much further back.
        let since = self.board.nanos_at(at) - news.written_at as i64;
        let gone = (since as f64 * 1e-9 * f64::from(self.rate.hertz())) as i64;
        let late = (ahead.0 + RENDER_LATENCY as i64 - gone).max(0);
        let Mark { segment, generation, mut frame, pass: mut loops, .. } = self.marked(late);
        let map = &self.sent.iter().find(|s| s.generation == generation)?.map;
        while frame < 0 && loops > 0 && map.length().0 > 0 {
            frame += map.length().0;
            loops -= 1;
        }
        Some(Playhead { loop_pass: loops, ..Playhead::begun(map.position(Frame(frame.max(0))), segment) })
    }

    /// What was heard when the last block was rendered, if `ahead` frames were rendered and not heard yet then; `None` while
    /// nothing plays.
    pub(super) fn mark(&mut self, ahead: Frame) -> Option<Mark> {
        self.look();
        (self.playing && self.news.playing).then(|| self.marked((ahead.0 + RENDER_LATENCY as i64).max(0)))
    }

    /// What lies `late` frames before the end of the last block.
    fn marked(&self, late: i64) -> Mark {
        let news = &self.news;
        let at = self.board.instant(news.written_at);
        // It may still be the segment before.
        if late > news.since && news.before_generation > 0 {
            let frame = news.before_frame - (late - news.since);
            return Mark {
                segment: news.before_id,
                generation: news.before_generation,
                frame,
                pass: news.before_pass,
                at,
            };
        }
        Mark { segment: news.id, generation: news.generation, frame: news.frame - late, pass: news.pass, at }
    }

    /// Commands that the sound thread has not taken yet.
    pub(super) fn waiting(&self) -> usize {
        self.backlog.len() + RING - self.commands.slots()
    }

    /// The last sending: each has a greater number than those before it.
    pub(super) fn generation(&self) -> u64 {
        self.generation
    }

    /// Reads the board, and forgets what is heard no more.
    fn look(&mut self) {
        let Some(news) = self.board.read() else { return };
        self.news = news;
        let (before, now) = (news.before_generation, news.generation);
        self.sent.retain(|s| s.generation == before || s.id > news.id || s.id == news.id && s.generation >= now);
    }

    fn numbered(&mut self, mut segment: Segment) -> Segment {
        self.id += 1;
        (segment.id, segment.generation) = (self.id, self.generation + 1);
        self.remember(&segment);
        segment
    }

    fn remember(&mut self, segment: &Segment) {
        self.generation = segment.generation;
        if let Some(schedule) = segment.schedule() {
            self.sent.push_back(Sent {
                id: segment.id,
                generation: segment.generation,
                map: Arc::clone(schedule.map()),
            });
        }
        self.look();
        // While nobody listens only the newest of each segment counts.
        while self.sent.len() > 4 * RING {
            self.sent.pop_front();
        }
    }

    fn send(&mut self, command: Command) {
        self.backlog.push_back(command);
        self.tick();
    }
}
