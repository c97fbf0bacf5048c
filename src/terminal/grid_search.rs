//! Lays the grid over the recording: starts the searches, lists what they find, and takes a choice.

use crate::analysis::Clock;
use crate::jobs::grid::{GridChoices, GridJob, GridRequest};
use crate::jobs::play_request::{LoopSpec, ResumePoint};
use crate::jobs::{Click, Position, Range};
use crate::rhythm::{Anchor, AnchorMap, Edit, Fraction, GridPlace, Groove, Micros, Time, expected};
use crate::session::{Command, Outcome, Overflow};
use crate::terminal::anchors::parse_instant;
use crate::terminal::playback::{practice, transport};
use crate::terminal::{Effect, Overlay, State};
use std::sync::Arc;

/// The open list of choices.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ChoiceList {
    pub choices: Arc<GridChoices>,
    pub selected: usize,
}

impl ChoiceList {
    fn groove(&self, index: usize) -> Option<&Arc<Groove>> {
        self.choices.list.get(index).map(|choice| &choice.groove)
    }
}

pub(crate) fn propose(state: &mut State) {
    search(state, GridRequest::Proposals);
}

pub(crate) fn align(state: &mut State) {
    let groove = state.groove();
    let layers: Vec<usize> =
        (0..groove.layers().len()).filter(|l| groove.is_audible(*l) && !groove.events(*l).is_empty()).collect();
    if layers.is_empty() {
        return state.warn("there are no attacks to find in the recording; enter some first");
    }
    search(state, GridRequest::Groove { layers });
}

pub(crate) fn transcribe(state: &mut State) {
    if AnchorMap::of(state.groove()).is_none() {
        let [propose, marks, anchor] = ["grid-proposals", "grid-marks", "anchor"].map(|name| state.key_or_name(name));
        return state.warn(format!("the grid does not lie over the recording yet: {propose}, {marks} or {anchor}"));
    }
    let layer = state.session.cursor().place.layer;
    search(state, GridRequest::Attacks { layer });
}

/// Lays beats between two times, the first of them at the cursor.
pub(crate) fn lay_marks(state: &mut State, marks: [f64; 2], beats: usize) {
    let Some(place) = cursor_place(state) else { return };
    search(state, GridRequest::Marks { place, marks, beats });
}

/// Lays beats that were tapped, the first of them at the cursor.
pub(crate) fn lay_taps(state: &mut State, taps: Vec<f64>) {
    let Some(place) = cursor_place(state) else { return };
    search(state, GridRequest::Taps { place, taps });
}

/// Enters a line of groups at the cursor and looks for it in the recording.
pub(crate) fn align_groups(state: &mut State, groups: Vec<u32>) {
    let (cursor, groove) = (state.session.cursor(), state.groove().clone());
    let Some(layer) = groove.layers().get(cursor.place.layer) else {
        return state.warn(format!("no layer yet; {} adds one", state.key("add-layer")));
    };
    let Some(place) = cursor_place(state) else { return };
    let beat = groove.sections()[cursor.place.section].meter.beat();
    let division = layer.divisions[cursor.place.section];
    let Some(cell) = beat.divided(usize::from(division)) else { return };
    let mut entered = state.session.clone();
    if let Outcome::Error(why) = entered.apply(Command::EnterGroups(groups.clone(), Overflow::Cut)) {
        return state.warn(why);
    }
    let groove = entered.groove().clone();
    search_in(state, groove, GridRequest::Groups { place, groups, cell });
}

fn cursor_place(state: &mut State) -> Option<GridPlace> {
    let place = state.session.grid_place();
    if place.is_none() {
        state.warn("the cursor is behind the end of the groove");
    }
    place
}

fn search(state: &mut State, request: GridRequest) {
    let groove = state.groove().clone();
    search_in(state, groove, request);
}

fn search_in(state: &mut State, groove: Arc<Groove>, request: GridRequest) {
    let Some(onsets) = ready_onsets(state) else { return };
    let job = GridJob { revision: state.revision(), groove, onsets, request };
    state.info("searching the recording");
    state.effects.push(Effect::FindGrid(Box::new(job)));
}

/// The onsets of the recording, or a message why there are none.
pub(crate) fn ready_onsets(state: &mut State) -> Option<Arc<[crate::jobs::Onset]>> {
    let onsets = state.onsets().cloned();
    if onsets.is_none() {
        if state.groove().recording().is_none() {
            let key = state.key_or_name("recording");
            state.warn(format!("the groove has no recording; {key} sets one"));
        } else {
            state.warn("the onsets of the recording are not found yet; try again");
        }
    }
    onsets
}

/// Takes the first choice of a search if it is settled, or lists all of them.
pub(crate) fn on_found(state: &mut State, revision: u64, result: Result<GridChoices, String>) {
    let choices = match result {
        Err(why) => return state.warn(why),
        Ok(_) if revision != state.revision() => {
            return state.warn("the groove was changed during the search; search again");
        }
        Ok(choices) => choices,
    };
    let list = ChoiceList { choices: Arc::new(choices), selected: 0 };
    if list.choices.is_settled {
        return take(state, &list, 0);
    }
    if state.overlay != Overlay::None {
        return state.warn("the search is done, but another list is open; close it and search again");
    }
    state.message = None;
    state.overlay = Overlay::GridChoices(list);
}

/// Takes a choice of the open list by its digit.
pub(crate) fn take_number(state: &mut State, number: usize) {
    if let Overlay::GridChoices(list) = &state.overlay {
        let list = list.clone();
        take(state, &list, number.wrapping_sub(1));
    }
}

/// Takes the selected choice of the open list.
pub(crate) fn take_selected(state: &mut State) {
    if let Overlay::GridChoices(list) = &state.overlay {
        let list = list.clone();
        take(state, &list, list.selected);
    }
}

fn take(state: &mut State, list: &ChoiceList, index: usize) {
    let Some(choice) = list.choices.list.get(index) else { return };
    let heard = instant_heard(state);
    if matches!(state.overlay, Overlay::GridChoices(_)) {
        state.overlay = Overlay::None;
    }
    state.session.lay((*choice.groove).clone(), list.choices.label);
    // What was not shown in a list is said here.
    let unseen = list.choices.remarks.iter().filter(|_| list.choices.is_settled);
    let message: Vec<&str> = std::iter::once(&choice.message).chain(unseen).map(String::as_str).collect();
    state.info(message.join("; "));
    resume_at(state, heard);
}

/// Goes back to the groove as it is.
pub(crate) fn leave(state: &mut State, list: ChoiceList) {
    state.overlay = Overlay::GridChoices(list);
    let heard = instant_heard(state);
    state.overlay = Overlay::None;
    state.info("the groove is unchanged");
    resume_at(state, heard);
}

/// Plays the selected choice with clicks over the recording, or stops.
pub(crate) fn toggle_preview(state: &mut State) {
    if !matches!(state.overlay, Overlay::GridChoices(_)) {
        return;
    }
    if state.playback.is_playing {
        return transport::stop(state);
    }
    practice::end_sequence(state);
    // Not from before the recording begins.
    let start = instant_heard(state).unwrap_or(0);
    state.playback.is_playing = true;
    resume_at(state, Some(start));
}

/// Selects another choice; what plays goes on at the same instant of the recording.
pub(crate) fn select(state: &mut State, index: usize) {
    let heard = instant_heard(state);
    if let Overlay::GridChoices(list) = &mut state.overlay
        && list.selected != index
    {
        list.selected = index;
        resume_at(state, heard);
    }
}

/// What plays while a list of choices is open: the selected one, clicked.
pub(crate) fn preview(state: &State) -> Option<LoopSpec> {
    let Overlay::GridChoices(list) = &state.overlay else { return None };
    let groove = list.groove(list.selected)?.clone();
    let playback = &state.playback;
    let click = if playback.beat_click == Click::Off { Click::Written } else { playback.beat_click };
    Some(state.with_recording(LoopSpec {
        groove,
        speed: state.speed(),
        range: Range::Whole,
        layers: playback.mix.layers,
        beat: click,
        click_db: playback.sound.click_db as f32,
        click_sound: playback.sound.click_sound,
        hearings: Vec::new(),
        recording: None,
    }))
}

/// The groove that plays.
fn playing_groove(state: &State) -> Arc<Groove> {
    match &state.overlay {
        Overlay::GridChoices(list) => list.groove(list.selected).unwrap_or(state.groove()).clone(),
        _ => state.groove().clone(),
    }
}

/// The map of a groove; before there is an anchor, as it plays.
fn map(state: &State, groove: &Arc<Groove>) -> Option<AnchorMap> {
    let first = || groove.edited(&Edit::SetAnchor(Anchor { place: GridPlace::default(), at: Micros(0) })).ok();
    AnchorMap::of(&state.anchored_at_mark(groove)).or_else(|| AnchorMap::of(&first()?))
}

/// The instant of the recording that is heard, in nanoseconds, as far as it is known.
fn instant_heard(state: &State) -> Option<i64> {
    let Position { section, pass, wholes } = state.playback.position?;
    let groove = playing_groove(state);
    let start = groove.score_time(section, pass, Time::ZERO)?;
    let per_minute = groove.sections().get(section)?.tempo.wholes_per_minute();
    let within = wholes * 60e9 * per_minute.denom() as f64 / per_minute.numer() as f64;
    Some(map(state, &groove)?.recording_time(start + within as i64))
}

/// Plays what is now to be heard from an instant of the recording on, if something plays.
fn resume_at(state: &mut State, heard: Option<i64>) {
    if !state.playback.is_playing {
        return;
    }
    let groove = playing_groove(state);
    let position = heard.zip(map(state, &groove)).and_then(|(heard, map)| {
        let score = map.score_time(heard).rem_euclid(map.pass_length().max(1));
        let moment = Clock::new(&groove).moment(score as f64 * 1e-9)?;
        Some(Position { section: moment.section, pass: moment.pass, wholes: moment.wholes })
    });
    let request = Box::new(state.play_request());
    let resume = position.map(|position| ResumePoint { position, passes: 0 });
    state.effects.push(match resume {
        Some(_) => Effect::Play(request, resume),
        None => Effect::Change(request),
    });
}

/// Reads two times and a number of beats, as in `1:02.5 1:10.25 16`.
pub(crate) fn parse_marks(text: &str) -> Result<([f64; 2], usize), String> {
    let form = || expected("two times and a number of beats, like 1:02.5 1:10.25 16", format!("'{text}'"));
    let words: Vec<&str> = text.split_whitespace().collect();
    let &[first, last, beats] = &words[..] else { return Err(form()) };
    let marks = [parse_instant(first)?, parse_instant(last)?];
    let beats = beats.parse().ok().filter(|n| (1..=MAX_BEATS).contains(n)).ok_or_else(form)?;
    if marks[0] >= marks[1] {
        return Err(expected("the second time after the first", format!("'{text}'")));
    }
    Ok((marks.map(|mark| mark.0 as f64 * 1e-6), beats))
}

/// Beats between two marks.
const MAX_BEATS: usize = 4096;

/// Bars of the groove that stands for the recording while its beats are tapped; at this tempo they hold more than three hours.
const RECORDING_BPM: i32 = 20;
const RECORDING_BARS: u16 = 1024;

/// A groove without attacks whose own time is that of the recording.
pub(crate) fn recording_time_groove(groove: &Groove) -> Option<Arc<Groove>> {
    let recording = groove
        .recording()?
        .clone()
        .with_anchors(vec![Anchor { place: GridPlace { pass: 0, bar: 0, beat: Fraction::ZERO }, at: Micros(0) }]);
    Groove::in_four(RECORDING_BPM, RECORDING_BARS).with_recording(Some(recording)).ok().map(Arc::new)
}

/// Where the recording is at the start of the cursor's bar, in seconds; before there is an anchor the mark of the lane, or its start.
pub(crate) fn start_of_taps(state: &State) -> f64 {
    let start = || {
        let place = state.session.grid_place()?;
        let map = AnchorMap::of(state.groove())?;
        let bar = GridPlace { beat: Fraction::ZERO, ..place };
        let score = state.groove().score_time_of(bar, map.pass_length())?;
        Some(map.recording_time(score) as f64 * 1e-9)
    };
    let mark = || state.seconds_lane()?.mark.map(|mark| mark as f64 * 1e-9);
    start().or_else(mark).unwrap_or(0.0).max(0.0)
}
