//! Queued playback: loops with a number of passes that follow each other at exact frames. After construction nothing here
//! allocates or frees; finished segments are handed back.

use super::render::Renderer;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use crate::rhythm::Time;
use std::collections::VecDeque;

/// Most segments in the queue behind the one that plays.
pub(super) const MAX_QUEUED: usize = 8;

/// Chunks of a recording that are prepared before a segment is sent: 0.1 s at 48 kHz.
const FIRST_CHUNKS: usize = 3;

/// A loop with its number of passes; the next queued segment follows.
#[derive(Debug)]
pub struct Segment {
    /// The loop; `None` while it plays.
    pub(super) schedule: Option<Box<Schedule>>,
    /// `u64::MAX` for no limit.
    pub(super) passes: u64,
    /// Frame of the loop at which the first pass begins, if it is queued.
    pub(super) from: Frame,
    /// Whether playback ends after the last pass if no segment is queued.
    pub(super) stops_at_end: bool,
    /// Id of the segment, and generation of this version of it; set by the handle that sends it.
    pub(super) id: u64,
    pub(super) generation: u64,
}

impl Segment {
    /// A loop that repeats until another segment follows.
    pub fn new(schedule: Schedule) -> Self {
        let schedule = Some(Box::new(schedule));
        Self { schedule, passes: u64::MAX, from: Frame(0), stops_at_end: false, id: 0, generation: 0 }
    }

    /// Begins the first pass at a frame of the loop where the segment follows another one.
    #[must_use]
    pub(super) fn starting_at(self, from: Frame) -> Self {
        Self { from, ..self }
    }

    /// Prepares the first frames of a recording from a frame of the loop on: never call it on the audio thread.
    pub(super) fn prepare_at(&self, frame: Frame) {
        if let Some(track) = self.schedule.as_ref().and_then(|s| s.track.as_ref()) {
            track.prepare_at(frame, FIRST_CHUNKS);
        }
    }

    /// Limits the number of passes. If no segment is queued at the end, the loop continues until one is.
    #[must_use]
    pub fn passes(self, passes: u64) -> Self {
        Self { passes, ..self }.with_last_pass()
    }

    /// Tells the loop which pass is the last.
    fn with_last_pass(mut self) -> Self {
        if let Some(schedule) = &mut self.schedule {
            schedule.last_pass = Some(self.passes).filter(|p| *p != u64::MAX).and_then(|p| p.checked_sub(1));
        }
        self
    }

    /// Drops the first passes; at least one pass is left.
    #[must_use]
    pub(super) fn skip_passes(mut self, passes: u64) -> Self {
        if self.passes != u64::MAX {
            self.passes = self.passes.saturating_sub(passes).max(1);
        }
        if let Some(schedule) = &mut self.schedule {
            let left = |&pass: &u32| u64::from(pass).checked_sub(passes).and_then(|p| u32::try_from(p).ok());
            schedule.muted_passes = schedule.muted_passes.iter().filter_map(left).collect();
        }
        self.with_last_pass()
    }

    /// Ends playback after the last pass if no segment is queued; what still rings decays naturally.
    #[must_use]
    pub fn stop_at_end(self) -> Self {
        Self { stops_at_end: true, ..self }
    }

    /// Mutes these passes, ascending from 0, except for what begins before `until`.
    #[must_use]
    pub fn mute_passes(mut self, passes: &[u32], until: Time) -> Self {
        if let Some(schedule) = &mut self.schedule {
            (schedule.muted_passes, schedule.opening_notes) = (passes.to_vec(), schedule.notes_before(until));
            schedule.opening_frames = schedule.first_frame_at(until) as i64;
        }
        self
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct SegmentPosition {
    pub(super) id: u64,
    /// 0 if there is no segment.
    pub(super) generation: u64,
    pub(super) frame: i64,
    pub(super) pass: u64,
}

/// Receives finished segments; the audio thread must not free them.
pub(super) type OnFinished<'a> = &'a mut dyn FnMut(Box<Segment>);

/// Plays segments in order.
///
/// The first pass of a segment begins at the whole frame at which the previous one ends: its start plus its rounded exact
/// length.
#[derive(Debug)]
pub(super) struct SegmentQueue {
    pub(super) renderer: Renderer,
    current: Option<Box<Segment>>,
    /// At most [`MAX_QUEUED`].
    queue: VecDeque<Box<Segment>>,
    /// Completed passes of the current segment.
    passes_done: u64,
    /// Passes after which the current segment ends, overriding its own limit.
    pass_limit: Option<u64>,
    /// Id of the segment that ended playback by itself.
    pub(super) ended: u64,
    /// Rendered frame at which the current segment began.
    start: i64,
    /// Where the previous segment ended.
    pub(super) previous: SegmentPosition,
}

impl SegmentQueue {
    pub(super) fn new(rate: SampleRate) -> Self {
        Self {
            renderer: Renderer::new(rate),
            current: None,
            queue: VecDeque::with_capacity(MAX_QUEUED),
            passes_done: 0,
            pass_limit: None,
            ended: 0,
            start: 0,
            previous: SegmentPosition::default(),
        }
    }

    /// Plays a segment now from a frame of its loop. What rings is damped; the queue is handed back.
    pub(super) fn play(&mut self, segment: Box<Segment>, from: Frame, on_finished: OnFinished<'_>) {
        self.clear_queue(on_finished);
        self.begin(segment, |renderer, schedule| renderer.play(schedule, from), on_finished);
        self.previous = SegmentPosition::default();
    }

    /// Appends a segment to the queue, or plays it at once if nothing plays. Hands it back if the queue is full.
    pub(super) fn push(&mut self, segment: Box<Segment>, on_finished: OnFinished<'_>) {
        if !self.renderer.playing {
            self.previous = SegmentPosition::default();
            self.follow(segment, on_finished);
        } else if self.queue.len() < MAX_QUEUED {
            self.queue.push_back(segment);
        } else {
            on_finished(segment);
        }
    }

    /// Plays a segment after the current pass instead of the queue.
    pub(super) fn switch_to(&mut self, segment: Box<Segment>, on_finished: OnFinished<'_>) {
        self.clear_queue(on_finished);
        self.pass_limit = Some(self.passes_done + 1);
        self.push(segment, on_finished);
    }

    pub(super) fn replace(&mut self, mut segment: Box<Segment>, on_finished: OnFinished<'_>) {
        if let Some(current) = self.current.as_mut().filter(|c| c.id == segment.id) {
            if let Some(schedule) = segment.schedule.take() {
                current.schedule = self.renderer.swap(schedule);
                std::mem::swap(current, &mut segment);
            }
        } else if let Some(queued) = self.queue.iter_mut().find(|w| w.id == segment.id) {
            std::mem::swap(queued, &mut segment);
        }
        on_finished(segment);
    }

    /// Stops: what rings is damped, the queue is handed back.
    pub(super) fn stop(&mut self, on_finished: OnFinished<'_>) {
        self.clear_queue(on_finished);
        self.renderer.stop();
    }

    /// Fills `out` with interleaved stereo samples, as [`Renderer::render`].
    pub(super) fn render(&mut self, out: &mut [f32], on_finished: OnFinished<'_>) {
        let mut at = 0;
        while at < out.len() {
            let left = (out.len() - at).div_ceil(2);
            let frames = match self.frames_left_in_pass() {
                Some(0) => {
                    self.end_pass(on_finished);
                    continue;
                }
                Some(frames) => left.min(frames),
                None => left,
            };
            let end = (at + 2 * frames).min(out.len());
            self.renderer.render(&mut out[at..end]);
            at = end;
        }
    }

    /// Prepares what the next frames need of recordings. This may take long: never call it on the audio thread.
    pub(super) fn prepare(&self) {
        let queued = self.queue.iter().filter_map(|segment| segment.schedule.as_deref());
        for track in self.renderer.schedule().into_iter().chain(queued).filter_map(|s| s.track.as_ref()) {
            track.prepare(usize::MAX);
        }
    }

    /// The position that is rendered next.
    pub(super) fn position(&self) -> SegmentPosition {
        let (id, generation) = self.current.as_ref().map_or((0, 0), |segment| (segment.id, segment.generation));
        SegmentPosition { id, generation, frame: self.renderer.frame().0, pass: self.renderer.passes() }
    }

    pub(super) fn frames_since_start(&self) -> i64 {
        self.renderer.now - self.start
    }

    /// Frames until the current pass ends; `None` if it never does.
    fn frames_left_in_pass(&self) -> Option<usize> {
        let segment = self.current.as_ref().filter(|_| self.renderer.playing)?;
        let limit = self.pass_limit.unwrap_or(segment.passes);
        let ends = limit != u64::MAX && (self.passes_done < limit || !self.queue.is_empty());
        // A loop without length ends at once or never.
        self.renderer.frames_until_pass(self.passes_done + 1).or(ends.then_some(0))
    }

    fn end_pass(&mut self, on_finished: OnFinished<'_>) {
        let Some(segment) = &mut self.current else { return };
        self.passes_done += 1;
        if self.passes_done >= self.pass_limit.unwrap_or(segment.passes) {
            if let Some(next) = self.queue.pop_front() {
                self.previous = SegmentPosition {
                    id: segment.id,
                    generation: segment.generation,
                    frame: self.renderer.length().0,
                    pass: self.passes_done.saturating_sub(1),
                };
                self.renderer.max_passes = self.passes_done;
                self.follow(next, on_finished);
            } else if segment.stops_at_end {
                self.ended = segment.id;
                self.renderer.finish(self.passes_done);
            }
        }
    }

    /// Makes a queued segment the current one.
    fn follow(&mut self, segment: Box<Segment>, on_finished: OnFinished<'_>) {
        let from = segment.from;
        self.begin(segment, |renderer, schedule| renderer.follow(schedule, from), on_finished);
    }

    /// Makes a segment the current one; `start` starts its loop and returns the previous loop.
    fn begin(
        &mut self,
        mut segment: Box<Segment>,
        start: impl FnOnce(&mut Renderer, Box<Schedule>) -> Option<Box<Schedule>>,
        on_finished: OnFinished<'_>,
    ) {
        let Some(schedule) = segment.schedule.take() else { return on_finished(segment) };
        let old = start(&mut self.renderer, schedule);
        if let Some(mut finished) = self.current.replace(segment) {
            finished.schedule = old;
            on_finished(finished);
        }
        (self.passes_done, self.pass_limit) = (0, None);
        self.start = self.renderer.now;
    }

    fn clear_queue(&mut self, on_finished: OnFinished<'_>) {
        self.queue.drain(..).for_each(on_finished);
        self.pass_limit = None;
    }
}
