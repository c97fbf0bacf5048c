//! The lane before there is an anchor: the recording against seconds, and a mark in it that goes from onset to onset.

use crate::jobs::{Onset, Position};
use crate::rhythm::{Anchor, AnchorMap, Edit, GridPlace, Groove, Micros, Time};
use crate::session::recording::print_instant;
use crate::terminal::transcription::Direction;
use crate::terminal::{State, replay};
use std::sync::Arc;

/// Milliseconds of a column.
const STEPS: [i64; 13] = [2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000];
const NANOS_PER_MILLI: i64 = 1_000_000;
const NANOS_PER_MICRO: i64 = 1000;

/// What of the recording is in the lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SecondsLane {
    /// Index into the milliseconds of a column.
    zoom: usize,
    /// The instant at the first column, in nanoseconds.
    pub start: i64,
    /// The instant of the mark, in nanoseconds.
    pub mark: Option<i64>,
}

impl Default for SecondsLane {
    fn default() -> Self {
        Self { zoom: 4, start: 0, mark: None }
    }
}

impl SecondsLane {
    /// Nanoseconds of a column.
    pub(crate) fn step(self) -> i64 {
        STEPS[self.zoom] * NANOS_PER_MILLI
    }

    /// Scrolls as little as a quarter of the lane needs to show an instant.
    fn show(&mut self, at: i64, columns: usize) {
        let all = self.step() * columns.max(1) as i64;
        if !(self.start..self.start + all).contains(&at) {
            let start = (at - all / 4).max(0);
            self.start = start - start % self.step();
        }
    }
}

impl State {
    /// The lane against seconds, while no anchor ties the recording to the grid.
    pub(crate) fn seconds_lane(&self) -> Option<SecondsLane> {
        (self.loaded_recording().is_some() && self.anchor_map().is_none()).then_some(self.transcription.lane)
    }

    /// The instant of the mark as the prompt for an anchor takes it.
    pub(crate) fn anchor_at_mark(&self) -> Option<String> {
        Some(print_instant(rounded(self.seconds_lane()?.mark?)))
    }

    /// The groove that plays: before there is an anchor, it begins at the mark of the lane.
    pub(crate) fn anchored_at_mark(&self, groove: &Arc<Groove>) -> Arc<Groove> {
        // Another groove than that of the session may have anchors.
        let mark = self.seconds_lane().and_then(|lane| lane.mark).filter(|_| AnchorMap::of(groove).is_none());
        let Some(mark) = mark else { return Arc::clone(groove) };
        let anchor = Anchor { place: GridPlace::default(), at: Micros(mark / NANOS_PER_MICRO) };
        groove.edited(&Edit::SetAnchor(anchor)).map_or_else(|_| Arc::clone(groove), Arc::new)
    }

    /// The instant of a position while there is no anchor, in nanoseconds.
    pub(crate) fn instant_without_anchor(&self, position: Position) -> Option<i64> {
        let per_minute = self.groove().sections().get(position.section)?.tempo.wholes_per_minute();
        let nanos_per_whole = 60e9 * per_minute.denom() as f64 / per_minute.numer() as f64;
        let start = self.groove().score_time(position.section, position.pass, Time::ZERO)?;
        Some(self.transcription.lane.mark.unwrap_or(0) + start + (position.wholes * nanos_per_whole) as i64)
    }
}

/// An instant to the nearest millisecond.
fn rounded(nanos: i64) -> Micros {
    Micros((nanos + NANOS_PER_MILLI / 2) / NANOS_PER_MILLI * 1000)
}

fn show(state: &mut State, at: i64) {
    let columns = state.layout().map_or(1, |layout| layout.visible_columns());
    state.transcription.lane.show(at, columns);
}

/// Makes the columns shorter or longer; the mark stays where it is, or without one the first column.
pub(super) fn zoom_by(state: &mut State, by: i32) {
    let columns = state.layout().map_or(1, |layout| layout.visible_columns()) as i64;
    let lane = &mut state.transcription.lane;
    let is_shown = |at: &i64| (lane.start..lane.start + lane.step() * columns).contains(at);
    let fixed = lane.mark.filter(is_shown).unwrap_or(lane.start);
    let share = (fixed - lane.start) as f64 / lane.step() as f64;
    lane.zoom = lane.zoom.saturating_add_signed(-by as isize).min(STEPS.len() - 1);
    let start = (fixed - (share * lane.step() as f64) as i64).max(0);
    lane.start = start - start % lane.step();
    let text = format!("a column of the lane is {} ms", STEPS[lane.zoom]);
    state.info(text);
}

/// Moves the mark to the next onset, or to the one before.
pub(super) fn go_to_onset(state: &mut State, direction: Direction) {
    let Some(onsets) = state.onsets().cloned() else {
        return state.warn(super::why_none(state));
    };
    let nanos = |onset: &Onset| (onset.seconds * 1e9).round() as i64;
    let lane = state.transcription.lane;
    let found = match direction {
        Direction::Next => onsets.partition_point(|o| nanos(o) <= lane.mark.unwrap_or(lane.start - 1)),
        Direction::Previous => onsets.partition_point(|o| nanos(o) < lane.mark.unwrap_or(lane.start)).wrapping_sub(1),
    };
    let Some(onset) = onsets.get(found) else {
        if direction == Direction::Next || lane.mark.is_none() {
            return state.info("no further onset");
        }
        state.transcription.lane.mark = None;
        show(state, 0);
        replay(state);
        return state.info("the start of the recording");
    };
    state.transcription.lane.mark = Some(nanos(onset));
    show(state, nanos(onset));
    replay(state);
    let key = state.key_or_name("anchor");
    let at = print_instant(rounded(nanos(onset)));
    let sure = 100.0 * onset.confidence;
    state.info(format!(
        "onset at {at} ({}, {sure:.0}%); {key} puts the cursor's cell there",
        super::band_name(onset.band())
    ));
}

/// Shows the playhead.
pub(crate) fn follow_playhead(state: &mut State) {
    let position = state.playback.position.filter(|_| state.seconds_lane().is_some());
    if let Some(at) = position.and_then(|position| state.instant_without_anchor(position)) {
        show(state, at);
    }
}
