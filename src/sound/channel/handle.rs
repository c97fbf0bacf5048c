//! The control end of a render channel: sends segments and commands, and reads where the groove is heard.

use super::super::position::{Playhead, PositionMap};
use super::super::render::{MIX_DB, RENDER_LATENCY};
use super::super::segment::{MAX_QUEUED, Segment, SegmentPosition};
use super::super::units::{Frame, Gain, SampleRate};
use super::{Command, MAX_COMMANDS, RenderStatus};
use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Instant;

/// A segment that was sent, to interpret the positions reported for it.
#[derive(Debug)]
struct SentSegment {
    id: u64,
    generation: u64,
    map: Arc<PositionMap>,
}

/// The control end: sends commands, frees returned segments, reads the playhead. It never waits for the audio thread.
#[derive(Debug)]
pub struct RenderHandle {
    commands: rtrb::Producer<Command>,
    returns: rtrb::Consumer<Box<Segment>>,
    /// Commands that did not fit into the ring, oldest first.
    backlog: VecDeque<Command>,
    sent: VecDeque<SentSegment>,
    status: triple_buffer::Output<RenderStatus>,
    generation: u64,
    pub(super) id: u64,
    /// Whether playback was requested.
    pub(in crate::sound) playing: bool,
    /// The sample rate for which schedules must be built. Another device may have another.
    pub(in crate::sound) rate: SampleRate,
}

impl RenderHandle {
    pub(super) fn new(
        rate: SampleRate,
        commands: rtrb::Producer<Command>,
        returns: rtrb::Consumer<Box<Segment>>,
        status: triple_buffer::Output<RenderStatus>,
    ) -> Self {
        let (backlog, sent) = (VecDeque::new(), VecDeque::new());
        Self { commands, returns, backlog, sent, status, generation: 0, id: 0, playing: false, rate }
    }

    /// Plays a segment from a frame of its loop instead of everything else, and returns its id. Ids ascend.
    pub fn start(&mut self, segment: Segment, from: Frame) -> u64 {
        self.backlog.retain(|c| matches!(c, Command::Gain(_)));
        self.send_new(segment, |segment| Command::Play(segment, from))
    }

    /// Appends a segment to the queue; it begins at the exact frame at which the previous one ends. Returns its id. Call it only
    /// while [`RenderHandle::has_room`].
    pub fn queue(&mut self, segment: Segment) -> u64 {
        self.send_new(segment, Command::Push)
    }

    /// Plays a segment after the current pass instead of the queue, and returns its id.
    pub fn switch_to(&mut self, segment: Segment) -> u64 {
        self.backlog.retain(|c| !matches!(c, Command::Push(_) | Command::SwitchTo(_)));
        self.send_new(segment, Command::SwitchTo)
    }

    /// Replaces the playing or queued segment with this id. One that has finished is ignored.
    pub fn replace(&mut self, id: u64, segment: Segment) {
        let segment = self.remember(id, segment);
        self.backlog.retain(|c| !matches!(c, Command::Replace(old) if old.id == id));
        self.send(Command::Replace(Box::new(segment)));
    }

    /// Whether the queue has space for another segment.
    pub fn has_room(&mut self) -> bool {
        let current = self.update().current.id;
        // Ids ascend; a segment that has not begun is still in the ring or in the queue.
        let waiting: BTreeSet<u64> = self.sent.iter().map(|s| s.id).filter(|id| *id > current).collect();
        waiting.len() < MAX_QUEUED
    }

    /// Stops; what still rings fades out within milliseconds.
    pub fn stop(&mut self) {
        self.backlog.retain(|c| matches!(c, Command::Gain(_)));
        self.send(Command::Stop);
        self.playing = false;
    }

    /// Sets the master volume in dB. 0 is the initial level.
    pub fn set_volume(&mut self, db: f32) {
        self.backlog.retain(|c| !matches!(c, Command::Gain(_)));
        self.send(Command::Gain(Gain::from_db(MIX_DB + db)));
    }

    /// Whether the segment sent last has ended playback.
    pub fn has_ended(&mut self) -> bool {
        let status = self.update();
        self.playing && self.id > 0 && status.ended == self.id
    }

    /// Frees returned segments and sends waiting commands. Call it several times a second.
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

    /// The position that is heard at an instant of the recent past or the near future, if `ahead` frames are rendered but not
    /// yet heard just after a block.
    pub fn playhead(&mut self, ahead: Frame, at: Instant) -> Option<Playhead> {
        let status = self.update();
        let written_at = status.written_at.filter(|_| self.playing && status.playing)?;
        // A source that has stalled is not heard beyond what it has rendered, so only the time from now on may pass that.
        let frames = |from: Instant, to: Instant| {
            let seconds =
                to.saturating_duration_since(from).as_secs_f64() - from.saturating_duration_since(to).as_secs_f64();
            (seconds * f64::from(self.rate.hertz())) as i64
        };
        let now = Instant::now();
        let (elapsed, future) = (frames(written_at, at.min(now)), frames(now, at).max(0));
        let SegmentPosition { id, generation, mut frame, mut pass } =
            heard_position(&status, ahead.0 - elapsed, future);
        let map = &self.sent.iter().find(|s| s.generation == generation)?.map;
        while frame < 0 && pass > 0 && map.rounded_length().0 > 0 {
            frame += map.rounded_length().0;
            pass -= 1;
        }
        Some(Playhead { position: map.position(Frame(frame.max(0))), loop_pass: pass, segment: id })
    }

    pub(in crate::sound) fn blocks(&mut self) -> u64 {
        self.status.read().blocks
    }

    /// Reads the status and forgets segments that are no longer heard.
    fn update(&mut self) -> RenderStatus {
        let status = *self.status.read();
        let (before, now) = (status.previous.generation, status.current);
        self.sent
            .retain(|s| s.generation == before || s.id > now.id || s.id == now.id && s.generation >= now.generation);
        status
    }

    fn send_new(&mut self, segment: Segment, command: impl FnOnce(Box<Segment>) -> Command) -> u64 {
        self.id += 1;
        let segment = self.remember(self.id, segment);
        self.send(command(Box::new(segment)));
        self.playing = true;
        self.id
    }

    /// Numbers a segment and remembers its positions.
    fn remember(&mut self, id: u64, mut segment: Segment) -> Segment {
        self.generation += 1;
        (segment.id, segment.generation) = (id, self.generation);
        if let Some(schedule) = &segment.schedule {
            self.sent.push_back(SentSegment { id, generation: self.generation, map: Arc::clone(&schedule.map) });
        }
        self.update();
        // While no device runs, only the newest version of each segment matters.
        while self.sent.len() > 4 * MAX_COMMANDS {
            self.sent.pop_front();
        }
        segment
    }

    fn send(&mut self, command: Command) {
        self.backlog.push_back(command);
        self.tick();
    }
}

/// What is heard in `future` frames if `ahead` frames are rendered but not yet heard; that may still be the previous segment.
fn heard_position(status: &RenderStatus, ahead: i64, future: i64) -> SegmentPosition {
    let RenderStatus { current, previous, frames_since_start, .. } = *status;
    let behind = (ahead + RENDER_LATENCY as i64).max(0) - future;
    if behind > frames_since_start && previous.generation > 0 {
        return SegmentPosition { frame: previous.frame - (behind - frames_since_start), ..previous };
    }
    SegmentPosition { frame: current.frame - behind, ..current }
}
