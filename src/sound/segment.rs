//! Loops that follow each other at exact frames: so many times through each, some of them silent, the next one waiting.
//! It must not know threads or devices; after it is made it neither allocates nor frees, what is done with is handed back.

use super::render::Renderer;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use crate::rhythm::Time;

/// Segments that may wait.
pub const MAX_QUEUED: usize = 8;

/// A loop, played so many times through, and what then comes.
#[derive(Debug)]
pub struct Segment {
    /// The loop, and the same of which only the opening sounds; while one of them is played its place here is empty.
    full: Option<Box<Schedule>>,
    opening_only: Option<Box<Schedule>>,
    /// Times through, from 0, in which only the opening sounds, in rising order.
    muted_passes: Vec<u32>,
    passes: u64,
    last: bool,
    /// Given by the handle that sends it: which segment, and which sending of it.
    pub(super) id: u64,
    pub(super) generation: u64,
}

impl Segment {
    /// A loop that is played round and round until another follows.
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

    /// So many times through; where no other segment waits then, it goes on to the end of the time through in which one comes.
    #[must_use]
    pub fn times(mut self, passes: u64) -> Self {
        self.passes = passes;
        self
    }

    /// The same segment when so many of its times through lie behind it; one at least is left.
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

    /// Ends the playing when it has been played through and no other waits; what rings rings out.
    #[must_use]
    pub fn last(mut self) -> Self {
        self.last = true;
        self
    }

    /// In these times through, from 0 and rising, only what begins before `until` sounds.
    #[must_use]
    pub fn mute_passes(mut self, muted_passes: &[u32], until: Time) -> Self {
        if let (Some(full), false) = (&self.full, muted_passes.is_empty()) {
            self.opening_only = Some(Box::new(full.opening_only(until)));
            self.muted_passes = muted_passes.to_vec();
        }
        self
    }

    /// The segment as it came from elsewhere: only the first `opening` sounds of the loop sound in these times through.
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

    /// Times through in which only the opening sounds, and how many of the loop's sounds sound in them.
    pub(super) fn muted_passes(&self) -> (&[u32], usize) {
        (&self.muted_passes, self.opening_only.as_ref().map_or(0, |h| h.notes.len()))
    }

    /// Times through, and whether it ends the playing.
    pub(super) fn ending(&self) -> (u64, bool) {
        (self.passes, self.last)
    }

    /// The loop.
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

/// Where the segment before ended, in frames of its own loop.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Before {
    pub(super) id: u64,
    /// 0 if there was none.
    pub(super) generation: u64,
    pub(super) frame: i64,
    pub(super) pass: u64,
}

/// Takes what is done with; it is not to be freed where this is called.
pub(super) type Back<'a> = &'a mut dyn FnMut(Box<Segment>);

/// Plays segments one after the other.
///
/// The first pass of a segment begins at the whole frame at which the segment before ends: its own start plus its rounded exact length.
/// A muted pass plays the opening alone in the place of the other, which has the same clock, so that the frame is kept exactly.
#[derive(Debug)]
pub(super) struct SegmentQueue {
    renderer: Renderer,
    current: Option<Box<Segment>>,
    queue: [Option<Box<Segment>>; MAX_QUEUED],
    waiting: usize,
    /// Passes of the current segment played through.
    done: u64,
    /// Passes after which the current segment ends whatever was said when it was sent.
    until: Option<u64>,
    silent: bool,
    /// The segment with which playing ended by itself.
    ended: u64,
    /// Frame, of all that were rendered, at which the current segment began.
    began: i64,
    before: Before,
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
            before: Before::default(),
        }
    }

    /// Plays a segment now, from a frame of its loop on. What rings is damped, what waited is given back.
    pub(super) fn play(&mut self, mut segment: Box<Segment>, from: Frame, back: Back<'_>) {
        self.forget(back);
        let silent = segment.is_silent(0);
        if let Some(schedule) = segment.slot(silent).take() {
            let old = self.renderer.play(schedule, from);
            self.before = Before::default();
            self.take_over(segment, silent, old, back);
        } else {
            back(segment);
        }
    }

    /// Lets a segment follow after all that wait, at once if nothing is played. If there is no room it is given back.
    pub(super) fn push(&mut self, segment: Box<Segment>, back: Back<'_>) {
        if !self.renderer.is_playing() {
            self.before = Before::default();
            self.follow(segment, back);
        } else if self.waiting < MAX_QUEUED {
            self.queue[self.waiting] = Some(segment);
            self.waiting += 1;
        } else {
            back(segment);
        }
    }

    /// Lets a segment follow at the end of the pass that is played, instead of all that wait.
    pub(super) fn then(&mut self, segment: Box<Segment>, back: Back<'_>) {
        self.forget(back);
        self.until = Some(self.done + 1);
        self.push(segment, back);
    }

    /// Puts a segment in the place of the one that has its number, whether that is played or waits.
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

    /// Ends playing; what rings is damped, what waits is given back.
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

    /// Number and sending of the segment that is played.
    pub(super) fn current(&self) -> (u64, u64) {
        self.current.as_ref().map_or((0, 0), |segment| (segment.id, segment.generation))
    }

    pub(super) fn began(&self) -> i64 {
        self.began
    }

    pub(super) fn before(&self) -> Before {
        self.before
    }

    pub(super) fn ended(&self) -> u64 {
        self.ended
    }

    /// Frames until the pass that is played ends; `None` if it never does.
    fn room(&self) -> Option<usize> {
        let segment = self.current.as_ref().filter(|_| self.renderer.is_playing())?;
        let limit = self.until.unwrap_or(segment.passes);
        let left_at_once = limit != u64::MAX && (self.done < limit || self.waiting > 0);
        // A loop of no length is left at once or never.
        self.renderer.frames_until_pass(self.done + 1).or(left_at_once.then_some(0))
    }

    fn end_pass(&mut self, back: Back<'_>) {
        let Some(segment) = &mut self.current else { return };
        self.done += 1;
        if self.done >= self.until.unwrap_or(segment.passes) {
            if self.waiting > 0 {
                self.before = Before {
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
