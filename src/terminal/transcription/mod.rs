//! Writing down a recording: its onsets in the cells where they are heard, accepted by keys.

pub(crate) mod differences;
pub(crate) mod listening;
pub(crate) mod seconds;
pub(crate) mod section_onsets;

use crate::jobs::{Band, Onset};
use crate::rhythm::{Groove, Place, count};
use crate::session::{Command, Cursor, Motion};
use crate::terminal::{State, run_command};
use section_onsets::SectionOnsets;

#[derive(Debug, Clone, Default)]
pub(crate) struct Transcription {
    pub is_hidden: bool,
    /// The bands of layers, by their names. Other layers show all onsets.
    bands: Vec<(String, Band)>,
    /// Whether the loop moves on when the entry leaves it.
    pub jumps_on: bool,
    /// The lines of the list of differences, while it is open.
    pub differences: Vec<differences::Difference>,
    /// The lane before there is an anchor.
    pub lane: seconds::SecondsLane,
    /// What is restored after listening around the cursor.
    listening: Option<listening::Listening>,
}

impl State {
    /// The band of a layer; `None` if it shows the onsets of all bands.
    pub(crate) fn band(&self, layer: usize) -> Option<Band> {
        let name = &self.groove().layers().get(layer)?.name;
        self.transcription.bands.iter().find(|(of, _)| of == name).map(|(_, band)| *band)
    }

    /// The onsets around a pass of a section; `None` before they are found, and before there is an anchor.
    pub(crate) fn section_onsets(&self, section: usize, pass: usize) -> Option<SectionOnsets<'_>> {
        SectionOnsets::new(self.groove(), self.onsets()?, self.anchor_map()?, (section, pass))
    }

    /// The same while they are shown.
    pub(crate) fn shown_onsets(&self, section: usize, pass: usize) -> Option<SectionOnsets<'_>> {
        if self.transcription.is_hidden { None } else { self.section_onsets(section, pass) }
    }

    /// The most certain onset in the cursor's cell, and how many milliseconds after the start of the cell it is.
    pub(crate) fn onset_at_cursor(&self) -> Option<(&Onset, f64)> {
        let (groove, Cursor { place, past_end, .. }) = (self.groove(), self.session.cursor());
        groove.layers().get(place.layer).filter(|_| !past_end)?;
        let onsets = self.shown_onsets(place.section, self.pass_of(place.section))?;
        let found = onsets.in_cells(groove, place.layer, place.cell..place.cell + 1, self.band(place.layer));
        let best = found.max_by(|a, b| a.onset.confidence.total_cmp(&b.onset.confidence))?;
        Some((best.onset, onsets.deviation_ms(&best)))
    }

    /// The pass of a section that plays, or the first one.
    pub(crate) fn pass_of(&self, section: usize) -> usize {
        self.playback.position.filter(|h| h.section == section).map_or(0, |h| h.pass)
    }
}

/// Why there are no onsets in the cells.
fn why_none(state: &State) -> String {
    let key = |name| state.key_or_name(name);
    if state.groove().recording().is_none() {
        format!("the groove has no recording; {} sets one", key("recording"))
    } else if state.loaded_recording().is_none() {
        "the recording is not read yet".to_owned()
    } else if state.onsets().is_none() {
        "the onsets of the recording are not found yet".to_owned()
    } else {
        format!("no anchor yet; {} says when the cursor's cell is heard in the recording", key("anchor"))
    }
}

/// The onsets around the section of the cursor; says why not if there are none.
fn onsets_here(state: &mut State) -> Option<()> {
    let section = state.session.cursor().place.section;
    if state.groove().layers().is_empty() {
        state.warn(format!("no layer yet; {} adds one", state.key("add-layer")));
        return None;
    }
    if state.section_onsets(section, state.pass_of(section)).is_none() {
        state.warn(why_none(state));
        return None;
    }
    Some(())
}

/// Enters an attack where an onset falls into the cursor's cell, or into the cells of the selection.
pub(crate) fn accept(state: &mut State) {
    if state.session.selection().is_some() {
        return accept_all(state);
    }
    let Some(()) = onsets_here(state) else { return };
    let at = state.session.cursor().place;
    let found = state.section_onsets(at.section, state.pass_of(at.section)).is_some_and(|onsets| {
        onsets.in_cells(state.groove(), at.layer, at.cell..at.cell + 1, state.band(at.layer)).next().is_some()
    });
    if found {
        enter(state, vec![at], false);
    } else {
        let key = state.key_or_name("onset-next");
        state.info(format!("no onset in this cell; {key} goes to the next one without an attack"));
    }
}

/// Enters attacks in all cells of the selection or, without one, of the bar into which onsets fall.
pub(crate) fn accept_all(state: &mut State) {
    let Some(()) = onsets_here(state) else { return };
    let Some(region) = state.session.selection_or_bar() else { return };
    let mut places = Vec::new();
    if let Some(onsets) = state.section_onsets(region.section, state.pass_of(region.section)) {
        for layer in region.layers.clone() {
            let cells = state.groove().cells_in(layer, &region);
            let found = onsets.in_cells(state.groove(), layer, cells, state.band(layer));
            places.extend(found.map(|found| Place { layer, section: region.section, cell: found.cell }));
        }
    }
    places.dedup();
    if places.is_empty() {
        return state.info("no onsets here");
    }
    enter(state, places, true);
}

/// Enters attacks in those of the places that have none.
fn enter(state: &mut State, mut places: Vec<Place>, is_all: bool) {
    let before = state.session.cursor();
    let known = places.len();
    places.retain(|place| state.groove().cell(*place).attack().is_none());
    if places.is_empty() {
        let what =
            if known == 1 { "the attack of this onset is there" } else { "the attacks of these onsets are there" };
        return state.info(what);
    }
    let entered = places.len();
    run_command(state, Command::AcceptOnsets(places));
    // As after an entry by hand, the cursor goes on: to the next onset, or from a whole bar to the next one.
    if !is_all {
        if let Some(next) = next_onset(state, before, Direction::Next) {
            run_command(state, Command::Move(Motion::To(next)));
        }
    } else if state.session.selection().is_none() {
        run_command(state, Command::Move(Motion::BarRight));
    }
    if is_all {
        state.info(format!("{} entered from onsets", count(entered, "attack")));
    }
    listening::follow_entry(state, before);
}

/// Moves to the next cell, or the one before, that has an onset and no attack; before there is an anchor, moves the mark of the
/// lane.
pub(crate) fn go_to_onset(state: &mut State, direction: Direction) {
    if state.seconds_lane().is_some() {
        return seconds::go_to_onset(state, direction);
    }
    let Some(()) = onsets_here(state) else { return };
    match next_onset(state, state.session.cursor(), direction) {
        Some(place) => run_command(state, Command::Move(Motion::To(place))),
        None if direction == Direction::Next => state.info("no onset without an attack from here on"),
        None => state.info("no onset without an attack before this cell"),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Direction {
    Next,
    Previous,
}

fn next_onset(state: &State, cursor: Cursor, direction: Direction) -> Option<Place> {
    let groove: &Groove = state.groove();
    let Place { layer, section, cell } = cursor.place;
    let sections: Vec<usize> = match direction {
        Direction::Next => (section..groove.sections().len()).collect(),
        Direction::Previous => (0..=section).rev().collect(),
    };
    let is_behind = |place: &Place| match direction {
        Direction::Next => place.section > section || place.cell > cell,
        Direction::Previous => place.section < section || place.cell < cell,
    };
    sections.into_iter().find_map(|section| {
        let onsets = state.section_onsets(section, state.pass_of(section))?;
        let cells = 0..groove.cells(layer, section);
        let places = onsets
            .in_cells(groove, layer, cells, state.band(layer))
            .map(|found| Place { layer, section, cell: found.cell })
            .filter(|place| is_behind(place) && groove.cell(*place).attack().is_none());
        match direction {
            Direction::Next => places.min(),
            Direction::Previous => places.max(),
        }
    })
}

/// Gives the layer the next band: low, middle, high, or all again.
pub(crate) fn next_band(state: &mut State) {
    let layer = state.session.cursor().place.layer;
    let Some(name) = state.groove().layers().get(layer).map(|l| l.name.clone()) else {
        return state.warn(format!("no layer yet; {} adds one", state.key("add-layer")));
    };
    let (band, words) = match state.band(layer) {
        None => (Some(Band::Low), "only onsets with low sound, 50 to 200 Hz"),
        Some(Band::Low) => (Some(Band::Mid), "only onsets with middle sound, 200 to 2700 Hz"),
        Some(Band::Mid) => (Some(Band::High), "only onsets with high sound, above 2700 Hz"),
        Some(Band::High) => (None, "all onsets"),
    };
    state.transcription.bands.retain(|(of, _)| *of != name);
    state.info(format!("layer '{name}': {words}"));
    state.transcription.bands.extend(band.map(|band| (name, band)));
}

/// `12 ms late`, `on time`.
pub(crate) fn deviation_words(ms: f64) -> String {
    match ms.round() {
        0.0 => "on time".to_owned(),
        whole => format!("{} ms {}", whole.abs(), if whole > 0.0 { "late" } else { "early" }),
    }
}

/// The name of a band in messages.
pub(crate) fn band_name(band: Band) -> &'static str {
    match band {
        Band::Low => "low",
        Band::Mid => "mid",
        Band::High => "high",
    }
}

/// Zooms the lane while it is against seconds; false if it is not.
pub(crate) fn zoom_by(state: &mut State, by: i32) -> bool {
    let is_in_seconds = state.seconds_lane().is_some();
    if is_in_seconds {
        seconds::zoom_by(state, by);
    }
    is_in_seconds
}

/// Shows or hides the onsets in the cells and in the lane.
pub(crate) fn toggle_shown(state: &mut State) {
    let hidden = &mut state.transcription.is_hidden;
    *hidden = !*hidden;
    let text = if *hidden { "onsets hidden" } else { "onsets shown in the lane and in empty cells" };
    state.info(text);
}
