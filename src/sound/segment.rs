//! Loops that follow each other at exact frames: so many times through each, some of them silent, the next one waiting.
//! It must not know threads or devices; after it is made it neither allocates nor frees, what is done with is handed back.

use super::render::{Keep, Renderer};
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use crate::rhythm::Time;

/// Legs that may wait.
pub const MAX_QUEUED: usize = 8;

/// A loop, played so many times through, and what then comes.
#[derive(Debug)]
pub struct Segment {
    /// The loop, and the same of which only the opening sounds; while one of them is played its place here is empty.
    loud: Option<Box<Schedule>>,
    hushed: Option<Box<Schedule>>,
    /// Times through, from 0, that are hushed, in rising order.
    silences: Vec<u32>,
    turns: u64,
    last: bool,
    /// Given by the hand that sends it: which leg, and which sending of it.
    pub(super) id: u64,
    pub(super) generation: u64,
}

impl Segment {
    /// A loop that is played round and round until another follows.
    pub fn new(schedule: Schedule) -> Self {
        Self {
            loud: Some(Box::new(schedule)),
            hushed: None,
            silences: Vec::new(),
            turns: u64::MAX,
            last: false,
            id: 0,
            generation: 0,
        }
    }

    /// So many times through; where no other leg waits then, it goes on to the end of the time through in which one comes.
    #[must_use]
    pub fn times(mut self, turns: u64) -> Self {
        self.turns = turns;
        self
    }

    /// The same leg when so many of its times through lie behind it; one at least is left.
    #[must_use]
    pub fn behind(mut self, turns: u64) -> Self {
        if self.turns != u64::MAX {
            self.turns = self.turns.saturating_sub(turns).max(1);
        }
        let left = |&turn: &u32| u64::from(turn).checked_sub(turns).and_then(|t| u32::try_from(t).ok());
        self.silences = self.silences.iter().filter_map(left).collect();
        self.hushed = self.hushed.filter(|_| !self.silences.is_empty());
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
    pub fn hushed(mut self, silences: &[u32], until: Time) -> Self {
        if let (Some(loud), false) = (&self.loud, silences.is_empty()) {
            self.hushed = Some(Box::new(loud.hushed(until)));
            self.silences = silences.to_vec();
        }
        self
    }

    /// The leg as it came from elsewhere: only the first `opening` sounds of the loop sound in these times through.
    pub(super) fn of_parts(schedule: Schedule, opening: usize, silences: Vec<u32>, turns: u64, last: bool) -> Self {
        let hushed = (!silences.is_empty()).then(|| Box::new(schedule.first(opening)));
        Self { hushed, silences, turns, last, ..Self::new(schedule) }
    }

    /// Times through that are hushed, and how many of the loop's sounds sound in them.
    pub(super) fn silences(&self) -> (&[u32], usize) {
        (&self.silences, self.hushed.as_ref().map_or(0, |h| h.notes.len()))
    }

    /// Times through, and whether it ends the playing.
    pub(super) fn ending(&self) -> (u64, bool) {
        (self.turns, self.last)
    }

    /// The loop.
    pub(super) fn schedule(&self) -> Option<&Schedule> {
        self.loud.as_deref()
    }

    fn is_silent(&self, turn: u64) -> bool {
        u32::try_from(turn).is_ok_and(|turn| self.silences.binary_search(&turn).is_ok())
    }

    fn place(&mut self, silent: bool) -> &mut Option<Box<Schedule>> {
        if silent { &mut self.hushed } else { &mut self.loud }
    }
}

/// Where the leg before ended, in frames of its own loop.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Before {
    pub(super) id: u64,
    /// 0 if there was none.
    pub(super) generation: u64,
    pub(super) frame: i64,
    pub(super) turn: u64,
}

/// Takes what is done with; it is not to be freed where this is called.
pub(super) type Back<'a> = &'a mut dyn FnMut(Box<Segment>);

/// Plays legs one after the other.
///
/// The first turn of a leg begins at the whole frame at which the leg before ends: its own start plus its rounded exact length.
/// A silent turn is the hushed loop in the place of the other, which has the same clock, so that the frame is kept exactly.
#[derive(Debug)]
pub(super) struct SegmentQueue {
    renderer: Renderer,
    current: Option<Box<Segment>>,
    queue: [Option<Box<Segment>>; MAX_QUEUED],
    waiting: usize,
    /// Turns of the current leg played through.
    done: u64,
    /// Turns after which the current leg ends whatever was said when it was sent.
    until: Option<u64>,
    silent: bool,
    /// The leg with which playing ended by itself.
    ended: u64,
    /// Frame, of all that were rendered, at which the current leg began.
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

    /// Plays a leg now, from a frame of its loop on. What rings is damped, what waited is given back.
    pub(super) fn play(&mut self, mut leg: Box<Segment>, from: Frame, back: Back<'_>) {
        self.forget(back);
        let silent = leg.is_silent(0);
        if let Some(schedule) = leg.place(silent).take() {
            let old = self.renderer.play(schedule, from);
            self.before = Before::default();
            self.take_over(leg, silent, old, back);
        } else {
            back(leg);
        }
    }

    /// Lets a leg follow after all that wait, at once if nothing is played. If there is no room it is given back.
    pub(super) fn push(&mut self, leg: Box<Segment>, back: Back<'_>) {
        if !self.renderer.is_playing() {
            self.before = Before::default();
            self.follow(leg, back);
        } else if self.waiting < MAX_QUEUED {
            self.queue[self.waiting] = Some(leg);
            self.waiting += 1;
        } else {
            back(leg);
        }
    }

    /// Lets a leg follow at the end of the turn that is played, instead of all that wait.
    pub(super) fn then(&mut self, leg: Box<Segment>, back: Back<'_>) {
        self.forget(back);
        self.until = Some(self.done + 1);
        self.push(leg, back);
    }

    /// Puts a leg in the place of the one that has its number, whether that is played or waits.
    pub(super) fn replace(&mut self, mut leg: Box<Segment>, keep: Keep, back: Back<'_>) {
        if let Some(current) = self.current.as_mut().filter(|c| c.id == leg.id) {
            let silent = leg.is_silent(self.done);
            if let Some(schedule) = leg.place(silent).take() {
                let old = self.renderer.swap(schedule, keep);
                *current.place(self.silent) = old;
                std::mem::swap(current, &mut leg);
                self.silent = silent;
            }
        } else if let Some(waiting) = self.queue.iter_mut().flatten().find(|w| w.id == leg.id) {
            std::mem::swap(waiting, &mut leg);
        }
        back(leg);
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
                    self.turn_over(back);
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

    /// Number and sending of the leg that is played.
    pub(super) fn current(&self) -> (u64, u64) {
        self.current.as_ref().map_or((0, 0), |leg| (leg.id, leg.generation))
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

    /// Frames until the turn that is played ends; `None` if it never does.
    fn room(&self) -> Option<usize> {
        let leg = self.current.as_ref().filter(|_| self.renderer.is_playing())?;
        let limit = self.until.unwrap_or(leg.turns);
        let left_at_once = limit != u64::MAX && (self.done < limit || self.waiting > 0);
        // A loop of no length is left at once or never.
        self.renderer.until_turn(self.done + 1).or(left_at_once.then_some(0))
    }

    fn turn_over(&mut self, back: Back<'_>) {
        let Some(leg) = &mut self.current else { return };
        self.done += 1;
        if self.done >= self.until.unwrap_or(leg.turns) {
            if self.waiting > 0 {
                self.before = Before {
                    id: leg.id,
                    generation: leg.generation,
                    frame: self.renderer.length().0,
                    turn: self.done.saturating_sub(1),
                };
                self.renderer.limit_turns(self.done);
                if let Some(next) = self.queue[0].take() {
                    self.queue.rotate_left(1);
                    self.waiting -= 1;
                    self.follow(next, back);
                }
                return;
            }
            if leg.last {
                self.ended = leg.id;
                self.renderer.finish(self.done);
                return;
            }
        }
        let silent = leg.is_silent(self.done);
        if silent != self.silent
            && let Some(other) = leg.place(silent).take()
        {
            *leg.place(self.silent) = self.renderer.swap(other, Keep::Place);
            self.silent = silent;
        }
    }

    fn follow(&mut self, mut leg: Box<Segment>, back: Back<'_>) {
        let silent = leg.is_silent(0);
        if let Some(schedule) = leg.place(silent).take() {
            let old = self.renderer.follow(schedule);
            self.take_over(leg, silent, old, back);
        } else {
            back(leg);
        }
    }

    fn take_over(&mut self, leg: Box<Segment>, silent: bool, old: Option<Box<Schedule>>, back: Back<'_>) {
        if let Some(mut gone) = self.current.replace(leg) {
            *gone.place(self.silent) = old;
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
