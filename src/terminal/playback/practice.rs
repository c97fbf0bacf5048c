//! Takes back to back and the ladder, as far as the state goes.

use crate::describe::ladder;
use crate::jobs::HearingKey;
use crate::jobs::play_request::{LoopRequest, SequenceRequest, SequenceTake};
use crate::rhythm::Fraction;
use crate::terminal::event::{Effect, Practised};
use crate::terminal::playback::request::Switches;
use crate::terminal::playback::transport::{self, replay};
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::state::{Message, State};

/// What sounds in the takes of a row.
const ROW: [Switches; 5] = [
    Switches { layers: true, beat: false, hearing: false },
    Switches { layers: true, beat: true, hearing: false },
    Switches { layers: true, beat: false, hearing: true },
    Switches { layers: false, beat: true, hearing: true },
    Switches { layers: true, beat: true, hearing: true },
];

/// What is said of a ladder where nothing can sound.
pub(crate) const TO_BE_READ: &str = "no sound output (see `outputs`): steps are shown only; `ladder-wav` renders them";

/// What is played in a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Kind {
    /// Takes: times through each, whether they are counted in.
    Takes(Vec<Switches>, u32, bool),
    Ladder(Ladder),
}

/// A sequence that is played.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RunningSequence {
    number: u32,
    pub kind: Kind,
    /// The take that is heard, whether it is counted in, times through it that have been played.
    pub at: usize,
    pub counting: bool,
    pub turn: u64,
    /// Whether this time through falls silent after its opening.
    pub silent: bool,
    /// The step that was asked for and is not heard yet.
    pub going: Option<usize>,
    /// The highest step heard through, from 1, and times through that were played and are not told yet.
    highest: usize,
    loops: u64,
    /// The playing speed before.
    percent: u16,
}

impl RunningSequence {
    fn new(number: u32, kind: Kind, percent: u16) -> Self {
        Self { number, kind, at: 0, counting: true, turn: 0, silent: false, going: None, highest: 0, loops: 0, percent }
    }

    /// Takes, or steps, in all.
    pub(crate) fn takes(&self) -> usize {
        match &self.kind {
            Kind::Takes(takes, ..) => takes.len(),
            Kind::Ladder(ladder) => ladder.speeds.len(),
        }
    }

    /// Times through the take that is heard; `None` if the user goes on.
    pub(crate) fn times(&self) -> Option<u32> {
        match &self.kind {
            Kind::Takes(_, times, _) => Some(*times),
            // At full speed one stays.
            Kind::Ladder(l) => (!l.by_key && self.at + 1 < l.speeds.len()).then_some(l.loops),
        }
    }
}

/// What is played, as the state says now.
pub(crate) fn sequence(state: &State) -> Option<SequenceRequest> {
    let running = state.play.running.as_ref()?;
    let takes = match &running.kind {
        Kind::Takes(row, times, count_in) => row
            .iter()
            .map(|&switches| SequenceTake {
                playing: state.playing_as(switches, switches.hearing),
                times: Some(*times),
                count_in: *count_in,
            })
            .collect(),
        Kind::Ladder(ladder) => {
            let playing = state.playing();
            let last = ladder.speeds.len().saturating_sub(1);
            let step = |(k, &speed): (usize, &Fraction)| SequenceTake {
                playing: LoopRequest { speed, ..playing.clone() },
                times: (!ladder.by_key && k < last).then_some(ladder.loops),
                count_in: true,
            };
            ladder.speeds.iter().enumerate().map(step).collect()
        }
    };
    let silence = match &running.kind {
        Kind::Takes(..) => None,
        Kind::Ladder(ladder) => ladder.silence,
    };
    Some(SequenceRequest { number: running.number, takes, at: running.at, silence })
}

/// Plays all takes in a row.
pub(crate) fn takes(state: &mut State, times: u32, count_in: bool, effects: &mut Vec<Effect>) {
    leave(state, effects);
    let heard = state.strip().is_some();
    let row = ROW.iter().filter(|s| heard || !s.hearing).copied().collect();
    start(state, Kind::Takes(row, times, count_in), effects);
}

/// Starts the ladder, or leaves it: what is heard then goes on.
pub(crate) fn ladder_key(state: &mut State, effects: &mut Vec<Effect>) {
    if leave_ladder(state, effects) {
        replay(state, effects);
        state.show_message(Message::info("left the ladder"));
    } else if std::mem::take(&mut state.play.read_only) {
        state.show_message(Message::info("closed the ladder steps"));
    } else {
        climb(state, state.ladder.clone(), effects);
    }
}

/// Starts a ladder.
pub(crate) fn climb(state: &mut State, ladder: Ladder, effects: &mut Vec<Effect>) {
    leave(state, effects);
    // The hearing that is clicked stays the same while the speed changes.
    state.selected_hearing = state.strip().map(|(_, h)| HearingKey::of(h)).or(state.selected_hearing);
    state.ladder = ladder.clone();
    effects.push(Effect::Progress(None));
    start(state, Kind::Ladder(ladder), effects);
    speed_of_step(state);
    let keys = |name: &str| state.keymap.first(name);
    let words = format!(
        "ladder {}; {} next step, {} previous step, {} leave",
        state.ladder.words(),
        keys("ladder-up"),
        keys("ladder-down"),
        keys("ladder")
    );
    state.show_message(Message::info(words));
}

fn start(state: &mut State, kind: Kind, effects: &mut Vec<Effect>) {
    state.play.sequences = state.play.sequences.wrapping_add(1);
    state.play.running = Some(RunningSequence::new(state.play.sequences, kind, state.play.percent));
    state.play.head = None;
    transport::start(state, None, effects);
}

/// Goes so many steps up, at the end of the time through that is heard.
pub(crate) fn step(state: &mut State, by: i32, effects: &mut Vec<Effect>) {
    if state.play.read_only {
        return state
            .show_message(Message::warning("no sound output, so steps cannot be played; `ladder-wav` renders them"));
    }
    let Some(running) = state.play.running.as_mut().filter(|r| matches!(r.kind, Kind::Ladder(_))) else {
        let key = state.keymap.first("ladder");
        state.show_message(Message::warning(format!("no ladder is running; {key} starts one")));
        return;
    };
    let now = running.going.unwrap_or(running.at) as i64;
    let last = running.takes() as i64 - 1;
    let next = (now + i64::from(by)).clamp(0, last);
    if next == now {
        state.show_message(Message::info(if by > 0 { "this is the last step" } else { "this is the first step" }));
        return;
    }
    running.going = Some(next as usize);
    if let Some(sequence) = sequence(state) {
        effects.push(Effect::Step(Box::new(SequenceRequest { at: next as usize, ..sequence })));
    }
}

/// Whether the sequence of this number is what is played.
pub(crate) fn plays(state: &State, sequence: u32) -> bool {
    state.play.running.as_ref().is_some_and(|r| r.number == sequence)
}

/// Takes what is heard of a sequence.
pub(crate) fn heard(state: &mut State, (take, counting, turn): (usize, bool, u64), effects: &mut Vec<Effect>) {
    let Some(running) = state.play.running.as_mut() else { return };
    if take >= running.takes() {
        return;
    }
    let moved = take != running.at;
    if !running.counting && (moved || counting || turn > running.turn) {
        running.loops += 1;
        running.highest = running.highest.max(running.at + 1);
    }
    (running.at, running.counting, running.turn) = (take, counting, turn);
    if running.going == Some(take) {
        running.going = None;
    }
    if moved && matches!(running.kind, Kind::Ladder(_)) {
        speed_of_step(state);
        effects.extend(practised(state));
    }
}

/// Takes whether the time through that is heard falls silent.
pub(crate) fn set_silent(state: &mut State, silent: bool) {
    if let Some(running) = state.play.running.as_mut() {
        running.silent = silent;
    }
}

/// The analysis follows the speed of the step.
fn speed_of_step(state: &mut State) {
    let Some(RunningSequence { kind: Kind::Ladder(l), at, .. }) = &state.play.running else { return };
    if let Some(&speed) = l.speeds.get(*at) {
        state.play.percent = (ladder::value(speed) * 100.0).round() as u16;
    }
}

fn practised(state: &mut State) -> Option<Effect> {
    let running = state.play.running.as_mut().filter(|r| r.loops > 0)?;
    let Kind::Ladder(l) = &running.kind else { return None };
    Some(Effect::Progress(Some(Practised {
        ladder: l.words(),
        step: running.highest,
        speed: l.speeds.get(running.highest - 1).map(|s| ladder::percent(*s)).unwrap_or_default(),
        steps: l.speeds.len(),
        loops: std::mem::take(&mut running.loops),
    })))
}

/// Ends what is played in a row; the speed is that from before. What sounds is not told to change here.
pub(crate) fn leave(state: &mut State, effects: &mut Vec<Effect>) {
    effects.extend(practised(state));
    if let Some(running) = state.play.running.take() {
        state.play.percent = running.percent;
    }
}

/// Whether a ladder is climbed.
pub(crate) fn is_ladder(state: &State) -> bool {
    state.play.running.as_ref().is_some_and(|r| matches!(r.kind, Kind::Ladder(_)))
}

/// The ladder whose steps are to be seen, and the step that is heard.
pub(crate) fn shown(state: &State) -> Option<(&Ladder, Option<usize>)> {
    match &state.play.running {
        Some(RunningSequence { kind: Kind::Ladder(ladder), at, .. }) => Some((ladder, Some(*at))),
        _ => state.play.read_only.then_some((&state.ladder, None)),
    }
}

/// Ends a ladder; gives whether one was climbed.
pub(crate) fn leave_ladder(state: &mut State, effects: &mut Vec<Effect>) -> bool {
    let climbed = is_ladder(state);
    if climbed {
        leave(state, effects);
    }
    climbed
}

/// Ends a row of takes, which has its own clicks, where one is switched by hand.
pub(crate) fn leave_row(state: &mut State, effects: &mut Vec<Effect>) {
    if switches(state).is_some() {
        leave(state, effects);
    }
}

/// What sounds in the take of the row that is heard; `None` if no row is played.
pub(crate) fn switches(state: &State) -> Option<Switches> {
    match state.play.running.as_ref()? {
        RunningSequence { kind: Kind::Takes(row, ..), at, .. } => Some(row.get(*at).copied().unwrap_or_default()),
        RunningSequence { kind: Kind::Ladder(_), .. } => None,
    }
}

/// Leaves what is played in a row at the speed it has now; the take that is heard becomes the loop.
pub(crate) fn settle(state: &mut State, effects: &mut Vec<Effect>) {
    effects.extend(practised(state));
    if state.play.running.take().is_some() {
        replay(state, effects);
    }
}

/// Whether a ladder has just been started: nothing of it was heard through.
pub(crate) fn begins(state: &State) -> bool {
    state.play.running.as_ref().is_some_and(|r| r.highest == 0)
}
