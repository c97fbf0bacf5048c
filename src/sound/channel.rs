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
const BLOCK_FRAMES: usize = 128;
/// Most commands in the ring.
const MAX_COMMANDS: usize = 64;
/// Most segments held by the audio thread: the queue, the current one and an incoming one.
const MAX_HELD: usize = MAX_QUEUED + 2;

#[derive(Debug)]
enum Command {
    Play(Box<Segment>, Frame),
    Push(Box<Segment>),
    SwitchTo(Box<Segment>),
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
    frames_since_start: i64,
    /// Id of the segment that ended playback by itself.
    ended: u64,
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
    block: [f32; 2 * BLOCK_FRAMES],
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
        block: [0.0; 2 * BLOCK_FRAMES],
        at: 2 * BLOCK_FRAMES,
    };
    (RenderHandle::new(rate, commands_in, returns_out, status_out), source)
}

impl RenderSource {
    fn refill(&mut self) {
        let (queue, returns) = (&mut self.queue, &mut self.returns);
        while returns.slots() > MAX_HELD {
            let Ok(command) = self.commands.pop() else { break };
            // There is space: a command is taken only while every segment held here could be returned, so none is ever freed
            // on this thread.
            let on_finished = &mut |segment| hand_back(returns, segment);
            match command {
                Command::Play(segment, from) => queue.play(segment, from, on_finished),
                Command::Push(segment) => queue.push(segment, on_finished),
                Command::SwitchTo(segment) => queue.switch_to(segment, on_finished),
                Command::Replace(segment) => queue.replace(segment, on_finished),
                Command::Stop => queue.stop(on_finished),
                Command::Gain(gain) => queue.renderer.set_gain(gain),
            }
        }
        queue.render(&mut self.block, &mut |segment| hand_back(returns, segment));
        self.blocks += 1;
        self.status.write(RenderStatus {
            playing: queue.renderer.playing,
            current: queue.position(),
            previous: queue.previous,
            frames_since_start: queue.frames_since_start(),
            ended: queue.ended,
            blocks: self.blocks,
            written_at: Some(Instant::now()),
        });
    }
}

/// Returns a segment to the handle; it is leaked rather than freed if there were no space.
fn hand_back(returns: &mut rtrb::Producer<Box<Segment>>, segment: Box<Segment>) {
    if let Err(rtrb::PushError::Full(segment)) = returns.push(segment) {
        std::mem::forget(segment);
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
