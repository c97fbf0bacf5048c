//! The audio thread's render source and the handle that controls it: commands go in through a wait-free ring, finished
//! segments come back through another, and the status is shared. The audio thread never locks, allocates, frees or does I/O.

mod handle;
#[cfg(test)]
mod tests;

use super::segment::{MAX_QUEUED, Segment, SegmentPosition, SegmentQueue};
use super::units::{Frame, Gain, SampleRate};
pub(crate) use handle::RenderHandle;
use std::time::Instant;

/// Frames rendered at a time between two checks for commands.
const BLOCK: usize = 128;
/// Most commands in the ring.
const MAX_COMMANDS: usize = 64;
/// Most segments held by the audio thread: the queue, the current one and an incoming one.
const MAX_HELD: usize = MAX_QUEUED + 2;

#[derive(Debug)]
enum Command {
    Play(Box<Segment>, Frame),
    Push(Box<Segment>),
    Then(Box<Segment>),
    Replace(Box<Segment>),
    Stop,
    Gain(Gain),
}

/// What the audio thread publishes after every block.
#[derive(Debug, Clone, Copy, Default)]
struct RenderStatus {
    playing: bool,
    current: SegmentPosition,
    /// Where the previous segment ended.
    previous: SegmentPosition,
    /// Frames rendered since the current segment began.
    since: i64,
    /// Id of the segment that ended playback by itself.
    ended: u64,
    /// Blocks rendered.
    blocks: u64,
    written_at: Option<Instant>,
}

/// The audio thread's end: an endless stream of interleaved stereo samples.
#[derive(Debug)]
pub struct RenderSource {
    queue: SegmentQueue,
    commands: rtrb::Consumer<Command>,
    returns: rtrb::Producer<Box<Segment>>,
    status: triple_buffer::Input<RenderStatus>,
    blocks: u64,
    rate: SampleRate,
    block: [f32; 2 * BLOCK],
    at: usize,
}

/// Makes the two connected ends.
pub fn render_channel(rate: SampleRate) -> (RenderHandle, RenderSource) {
    let (commands_in, commands_out) = rtrb::RingBuffer::new(MAX_COMMANDS);
    let (returns_in, returns_out) = rtrb::RingBuffer::new(MAX_COMMANDS + MAX_HELD);
    let (status_in, status_out) = triple_buffer::triple_buffer(&RenderStatus::default());
    let source = RenderSource {
        queue: SegmentQueue::new(rate),
        commands: commands_out,
        returns: returns_in,
        status: status_in,
        blocks: 0,
        rate,
        block: [0.0; 2 * BLOCK],
        at: 2 * BLOCK,
    };
    (RenderHandle::new(rate, commands_in, returns_out, status_out), source)
}

/// Hands a segment back. There is space: a command is taken only while every segment held here could be returned, so none is
/// ever freed on this thread.
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
        while self.returns.slots() > MAX_HELD {
            let Ok(command) = self.commands.pop() else { break };
            let (queue, returns) = (&mut self.queue, &mut self.returns);
            let back = &mut |segment| give(returns, segment);
            match command {
                Command::Play(segment, from) => queue.play(segment, from, back),
                Command::Push(segment) => queue.push(segment, back),
                Command::Then(segment) => queue.then(segment, back),
                Command::Replace(segment) => queue.replace(segment, back),
                Command::Stop => queue.stop(back),
                Command::Gain(gain) => queue.renderer().set_gain(gain),
            }
        }
        let returns = &mut self.returns;
        self.queue.render(&mut self.block, &mut |segment| give(returns, segment));
        self.publish();
    }

    fn publish(&mut self) {
        self.blocks += 1;
        self.status.write(RenderStatus {
            playing: self.queue.renderer().is_playing(),
            current: self.queue.position(),
            previous: self.queue.previous(),
            since: self.queue.since_start(),
            ended: self.queue.ended(),
            blocks: self.blocks,
            written_at: Some(Instant::now()),
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
