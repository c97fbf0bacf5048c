//! Queued playback: loops with a number of passes that follow each other at exact frames. After construction nothing here
//! allocates or frees; finished segments are handed back.

use super::render::Renderer;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use crate::rhythm::Time;

/// Most segments in the queue behind the one that plays.
pub(crate) const MAX_QUEUED: usize = 8;

/// A loop with its number of passes; the next queued segment follows.
#[derive(Debug)]
pub struct Segment {
    /// The loop, and a version of it in which only the opening sounds. While one of them plays, its field is empty.
    full: Option<Box<Schedule>>,
    opening_only: Option<Box<Schedule>>,
    /// Passes, from 0 and ascending, in which only the opening sounds.
    muted_passes: Vec<u32>,
    passes: u64,
    last: bool,
    /// Id of the segment, and generation of this version of it; set by the handle that sends it.
    pub(super) id: u64,
    pub(super) generation: u64,
}

impl Segment {
    /// A loop that repeats until another segment follows.
    pub fn new(schedule: Schedule) -> Self {
        Self {
            full: Some(Box::new(schedule)),
            opening_only: None,
            muted_passes: Vec::new(),
            passes: u64::MAX,
            last: false,
            id: 0,
            generation: 0,
        }
    }

    /// Limits the number of passes. If no segment is queued at the end, the loop continues until one is.
    #[must_use]
    pub fn times(mut self, passes: u64) -> Self {
        self.passes = passes;
        self
    }

    /// The rest of the segment after this many passes; at least one pass is left.
    #[must_use]
    pub fn behind(mut self, passes: u64) -> Self {
        if self.passes != u64::MAX {
            self.passes = self.passes.saturating_sub(passes).max(1);
        }
        let left = |&pass: &u32| u64::from(pass).checked_sub(passes).and_then(|t| u32::try_from(t).ok());
        self.muted_passes = self.muted_passes.iter().filter_map(left).collect();
        self.opening_only = self.opening_only.filter(|_| !self.muted_passes.is_empty());
        self
    }

    /// Ends playback after the last pass if no segment is queued; what still rings decays naturally.
    #[must_use]
    pub fn last(mut self) -> Self {
        self.last = true;
        self
    }

    /// Mutes these passes, ascending from 0, except for what begins before `until`.
    #[must_use]
    pub fn mute_passes(mut self, muted_passes: &[u32], until: Time) -> Self {
        if let (Some(full), false) = (&self.full, muted_passes.is_empty()) {
            self.opening_only = Some(Box::new(full.opening_only(until)));
            self.muted_passes = muted_passes.to_vec();
        }
        self
    }

    /// Rebuilds a received segment, in whose muted passes only the first `opening` notes sound.
    pub(super) fn of_parts(
        schedule: Schedule,
        opening: usize,
        muted_passes: Vec<u32>,
        passes: u64,
        last: bool,
    ) -> Self {
        let opening_only = (!muted_passes.is_empty()).then(|| Box::new(schedule.first(opening)));
        Self { opening_only, muted_passes, passes, last, ..Self::new(schedule) }
    }

    /// The muted passes, and how many of the loop's notes sound in them.
    pub(super) fn muted_passes(&self) -> (&[u32], usize) {
        (&self.muted_passes, self.opening_only.as_ref().map_or(0, |h| h.notes.len()))
    }

    /// The number of passes, and whether the segment ends playback.
    pub(super) fn ending(&self) -> (u64, bool) {
        (self.passes, self.last)
    }

    /// The loop, unless it is playing.
    pub(super) fn schedule(&self) -> Option<&Schedule> {
        self.full.as_deref()
    }

    fn is_silent(&self, pass: u64) -> bool {
        u32::try_from(pass).is_ok_and(|pass| self.muted_passes.binary_search(&pass).is_ok())
    }

    fn slot(&mut self, silent: bool) -> &mut Option<Box<Schedule>> {
        if silent { &mut self.opening_only } else { &mut self.full }
    }
}

/// A position in the loop of a segment.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct SegmentPosition {
    pub(super) id: u64,
    /// 0 if there is no segment.
    pub(super) generation: u64,
    pub(super) frame: i64,
    pub(super) pass: u64,
}

/// Receives finished segments; the audio thread must not free them.
pub(super) type Back<'a> = &'a mut dyn FnMut(Box<Segment>);

/// Plays segments in order.
///
/// The first pass of a segment begins at the whole frame at which the previous one ends: its start plus its rounded exact
/// length. A muted pass swaps in the opening-only loop, which has the same clock, so the frame is kept exactly.
#[derive(Debug)]
pub(super) struct SegmentQueue {
    renderer: Renderer,
    current: Option<Box<Segment>>,
    queue: [Option<Box<Segment>>; MAX_QUEUED],
    waiting: usize,
    /// Completed passes of the current segment.
    done: u64,
    /// Passes after which the current segment ends, overriding its own limit.
    until: Option<u64>,
    silent: bool,
    /// Id of the segment that ended playback by itself.
    ended: u64,
    /// Rendered frame at which the current segment began.
    began: i64,
    previous: SegmentPosition,
}

impl SegmentQueue {
    pub(super) fn new(rate: SampleRate) -> Self {
        Self {
            renderer: Renderer::new(rate),
            current: None,
            queue: [const { None }; MAX_QUEUED],
            waiting: 0,
            done: 0,
            until: None,
            silent: false,
            ended: 0,
            began: 0,
            previous: SegmentPosition::default(),
        }
    }

    /// Plays a segment now from a frame of its loop. What rings is damped; the queue is handed back.
    pub(super) fn play(&mut self, mut segment: Box<Segment>, from: Frame, back: Back<'_>) {
        self.forget(back);
        let silent = segment.is_silent(0);
        if let Some(schedule) = segment.slot(silent).take() {
            let old = self.renderer.play(schedule, from);
            self.previous = SegmentPosition::default();
            self.take_over(segment, silent, old, back);
        } else {
            back(segment);
        }
    }

    /// Appends a segment to the queue, or plays it at once if nothing plays. Hands it back if the queue is full.
    pub(super) fn push(&mut self, segment: Box<Segment>, back: Back<'_>) {
        if !self.renderer.is_playing() {
            self.previous = SegmentPosition::default();
            self.follow(segment, back);
        } else if self.waiting < MAX_QUEUED {
            self.queue[self.waiting] = Some(segment);
            self.waiting += 1;
        } else {
            back(segment);
        }
    }

    /// Plays a segment after the current pass instead of the queue.
    pub(super) fn then(&mut self, segment: Box<Segment>, back: Back<'_>) {
        self.forget(back);
        self.until = Some(self.done + 1);
        self.push(segment, back);
    }

    /// Replaces the playing or queued segment with the same id.
    pub(super) fn replace(&mut self, mut segment: Box<Segment>, back: Back<'_>) {
        if let Some(current) = self.current.as_mut().filter(|c| c.id == segment.id) {
            let silent = segment.is_silent(self.done);
            if let Some(schedule) = segment.slot(silent).take() {
                let old = self.renderer.swap(schedule);
                *current.slot(self.silent) = old;
                std::mem::swap(current, &mut segment);
                self.silent = silent;
            }
        } else if let Some(waiting) = self.queue.iter_mut().flatten().find(|w| w.id == segment.id) {
            std::mem::swap(waiting, &mut segment);
        }
        back(segment);
    }

    /// Stops: what rings is damped, the queue is handed back.
    pub(super) fn stop(&mut self, back: Back<'_>) {
        self.forget(back);
        self.renderer.stop();
    }

    pub(super) fn renderer(&mut self) -> &mut Renderer {
        &mut self.renderer
    }

    /// Fills `out` with interleaved stereo samples, as [`Renderer::render`].
    pub(super) fn render(&mut self, out: &mut [f32], back: Back<'_>) {
        let mut at = 0;
        while at < out.len() {
            let left = (out.len() - at).div_ceil(2);
            let frames = match self.room() {
                Some(0) => {
                    self.end_pass(back);
                    continue;
                }
                Some(room) => left.min(room),
                None => left,
            };
            let end = (at + 2 * frames).min(out.len());
            self.renderer.render(&mut out[at..end]);
            at = end;
        }
    }

    /// The position that is rendered next.
    pub(super) fn position(&self) -> SegmentPosition {
        let (id, generation) = self.current.as_ref().map_or((0, 0), |segment| (segment.id, segment.generation));
        SegmentPosition { id, generation, frame: self.renderer.frame().0, pass: self.renderer.passes() }
    }

    /// Frames rendered since the current segment began.
    pub(super) fn since_start(&self) -> i64 {
        self.renderer.now() - self.began
    }

    /// Where the previous segment ended.
    pub(super) fn previous(&self) -> SegmentPosition {
        self.previous
    }

    pub(super) fn ended(&self) -> u64 {
        self.ended
    }

    /// Frames until the current pass ends; `None` if it never does.
    fn room(&self) -> Option<usize> {
        let segment = self.current.as_ref().filter(|_| self.renderer.is_playing())?;
        let limit = self.until.unwrap_or(segment.passes);
        let left_at_once = limit != u64::MAX && (self.done < limit || self.waiting > 0);
        // A loop without length ends at once or never.
        self.renderer.frames_until_pass(self.done + 1).or(left_at_once.then_some(0))
    }

    fn end_pass(&mut self, back: Back<'_>) {
        let Some(segment) = &mut self.current else { return };
        self.done += 1;
        if self.done >= self.until.unwrap_or(segment.passes) {
            if self.waiting > 0 {
                self.previous = SegmentPosition {
                    id: segment.id,
                    generation: segment.generation,
                    frame: self.renderer.length().0,
                    pass: self.done.saturating_sub(1),
                };
                self.renderer.limit_passes(self.done);
                if let Some(next) = self.queue[0].take() {
                    self.queue.rotate_left(1);
                    self.waiting -= 1;
                    self.follow(next, back);
                }
                return;
            }
            if segment.last {
                self.ended = segment.id;
                self.renderer.finish(self.done);
                return;
            }
        }
        let silent = segment.is_silent(self.done);
        if silent != self.silent
            && let Some(other) = segment.slot(silent).take()
        {
            *segment.slot(self.silent) = self.renderer.swap(other);
            self.silent = silent;
        }
    }

    fn follow(&mut self, mut segment: Box<Segment>, back: Back<'_>) {
        let silent = segment.is_silent(0);
        if let Some(schedule) = segment.slot(silent).take() {
            let old = self.renderer.follow(schedule);
            self.take_over(segment, silent, old, back);
        } else {
            back(segment);
        }
    }

    fn take_over(&mut self, segment: Box<Segment>, silent: bool, old: Option<Box<Schedule>>, back: Back<'_>) {
        if let Some(mut gone) = self.current.replace(segment) {
            *gone.slot(self.silent) = old;
            back(gone);
        }
        (self.done, self.until, self.silent) = (0, None, silent);
        self.began = self.renderer.now();
    }

    fn forget(&mut self, back: Back<'_>) {
        self.queue.iter_mut().filter_map(Option::take).for_each(back);
        self.waiting = 0;
        self.until = None;
    }
}
