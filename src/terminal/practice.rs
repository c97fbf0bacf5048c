//! Takes back to back and the ladder, as far as the state goes. It must not know sound, files or clocks.

use super::event::{Effect, Playing, Practised, Sequence, Take};
use super::state::{Chosen, State};
use super::update::replay;
use crate::rhythm::Fraction;
use crate::words::ladder;

/// The ladder's words before any were typed.
const USUAL: &str = "50-100/10";
/// Most times through a take or a step.
const MOST: u32 = 64;

/// A ladder as it was asked for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ladder {
    /// `50-100/10`.
    pub range: String,
    pub speeds: Vec<Fraction>,
    /// Times through each step.
    pub loops: u32,
    /// Whether the next step waits for a key.
    pub by_key: bool,
    /// Every how manyth time through falls silent at first.
    pub silence: Option<u32>,
}

impl Default for Ladder {
    fn default() -> Self {
        let speeds = ladder::speeds(USUAL).unwrap_or_default();
        Self { range: USUAL.into(), speeds, loops: 4, by_key: false, silence: None }
    }
}

impl Ladder {
    /// From words as `50-100/10 x4 key 1/4`: all but the first may be left out.
    pub(super) fn read(text: &str) -> Option<Self> {
        let mut words = text.split_whitespace();
        let range = words.next()?.to_owned();
        let mut read = Self { speeds: ladder::speeds(&range)?, range, ..Self::default() };
        for word in words {
            if word == "key" {
                read.by_key = true;
            } else if let Some(loops) = word.strip_prefix('x') {
                read.loops = loops.parse().ok().filter(|n| (1..=MOST).contains(n))?;
            } else {
                read.silence = Some(word.strip_prefix("1/")?.parse().ok().filter(|n| (2..=64).contains(n))?);
            }
        }
        Some(read)
    }

    /// The words it is read from.
    pub(super) fn words(&self) -> String {
        let key = if self.by_key { " key" } else { "" };
        let silence = self.silence.map(|n| format!(" 1/{n}")).unwrap_or_default();
        format!("{} x{}{key}{silence}", self.range, self.loops)
    }
}

/// Times through each take, and whether they are counted in, from `2` or `2 count`.
pub(super) fn times(text: &str) -> Option<(u32, bool)> {
    let (times, count) = match text.split_once(char::is_whitespace) {
        Some((times, word)) if word.trim() == "count" => (times, true),
        Some(_) => return None,
        None => (text, false),
    };
    Some((times.parse().ok().filter(|n| (1..=MOST).contains(n))?, count))
}

/// Which of layers, written beat and hearing sound in the takes of a row.
type Switches = (bool, bool, bool);
const ROW: [Switches; 5] =
    [(true, false, false), (true, true, false), (true, false, true), (false, true, true), (true, true, true)];

/// What is played in a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Kind {
    /// Takes: times through each, whether they are counted in.
    Takes(Vec<Switches>, u32, bool),
    Ladder(Ladder),
}

/// A sequence that is played.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Running {
    pub kind: Kind,
    /// The take that is heard, whether it is counted in, times through it that have been played.
    pub at: usize,
    pub counting: bool,
    pub turn: u64,
    /// The step that was asked for and is not heard yet.
    pub going: Option<usize>,
    /// The highest step heard through, from 1, and times through that were played and are not told yet.
    highest: usize,
    loops: u64,
    /// The playing speed before.
    percent: u16,
}

impl Running {
    fn new(kind: Kind, percent: u16) -> Self {
        Self { kind, at: 0, counting: true, turn: 0, going: None, highest: 0, loops: 0, percent }
    }

    /// Takes, or steps, in all.
    pub(super) fn takes(&self) -> usize {
        match &self.kind {
            Kind::Takes(takes, ..) => takes.len(),
            Kind::Ladder(ladder) => ladder.speeds.len(),
        }
    }

    /// Times through the take that is heard; `None` if the user goes on.
    pub(super) fn times(&self) -> Option<u32> {
        match &self.kind {
            Kind::Takes(_, times, _) => Some(*times),
            // At full speed one stays.
            Kind::Ladder(l) => (!l.by_key && self.at + 1 < l.speeds.len()).then_some(l.loops),
        }
    }
}

/// What is played, as the state says now.
pub(super) fn sequence(state: &State) -> Option<Sequence> {
    let running = state.play.running.as_ref()?;
    let takes = match &running.kind {
        Kind::Takes(row, times, count_in) => row
            .iter()
            .map(|&switches| Take {
                playing: state.playing_as(switches, switches.2),
                times: Some(*times),
                count_in: *count_in,
            })
            .collect(),
        Kind::Ladder(ladder) => {
            let playing = state.playing();
            let last = ladder.speeds.len().saturating_sub(1);
            let step = |(k, &speed): (usize, &Fraction)| Take {
                playing: Playing { speed, ..playing.clone() },
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
    Some(Sequence { takes, at: running.at, silence })
}

/// Sounds a take: at once and in its place if something is played, else from the start.
pub(super) fn take(state: &mut State, switches: (bool, bool, bool), effects: &mut Vec<Effect>) {
    if switches.2 && state.strip().is_none() {
        state.tell("there is no hearing to click yet; lay some attacks first", true);
        return;
    }
    leave(state, effects);
    (state.play.layers, state.play.beat_click, state.play.hearing_click) = switches;
    if !switches.2 {
        state.also.clear();
    }
    if state.play.on {
        replay(state, effects);
    } else {
        state.play.on = true;
        effects.push(Effect::Play(Box::new(state.playing()), None));
    }
}

/// Plays all takes in a row.
pub(super) fn takes(state: &mut State, times: u32, count_in: bool, effects: &mut Vec<Effect>) {
    leave(state, effects);
    let heard = state.strip().is_some();
    let row = ROW.iter().filter(|(_, _, hearing)| heard || !hearing).copied().collect();
    start(state, Kind::Takes(row, times, count_in), effects);
}

/// Starts the ladder, or leaves it: what is heard then goes on.
pub(super) fn ladder_key(state: &mut State, effects: &mut Vec<Effect>) {
    if matches!(state.play.running, Some(Running { kind: Kind::Ladder(_), .. })) {
        leave(state, effects);
        replay(state, effects);
        state.tell("left the ladder", false);
    } else {
        climb(state, state.ladder.clone(), effects);
    }
}

/// Starts a ladder.
pub(super) fn climb(state: &mut State, ladder: Ladder, effects: &mut Vec<Effect>) {
    leave(state, effects);
    // The hearing that is clicked stays the same while the speed changes.
    state.chosen = state.strip().map(|(_, h)| Chosen { kind: h.kind, period: h.period() }).or(state.chosen);
    state.ladder = ladder.clone();
    effects.push(Effect::Progress(None));
    start(state, Kind::Ladder(ladder), effects);
    speed_of_step(state);
    let keys = |name: &str| state.keymap.first(name);
    let words = format!(
        "ladder {}; {} next step, {} back, {} leaves it",
        state.ladder.words(),
        keys("ladder-up"),
        keys("ladder-down"),
        keys("ladder")
    );
    state.tell(words, false);
}

fn start(state: &mut State, kind: Kind, effects: &mut Vec<Effect>) {
    state.play.running = Some(Running::new(kind, state.play.percent));
    state.play.on = true;
    state.play.head = None;
    effects.extend(sequence(state).map(|s| Effect::PlaySequence(Box::new(s))));
}

/// Goes so many steps up, at the end of the time through that is heard.
pub(super) fn step(state: &mut State, by: i32, effects: &mut Vec<Effect>) {
    let Some(running) = state.play.running.as_mut().filter(|r| matches!(r.kind, Kind::Ladder(_))) else {
        let key = state.keymap.first("ladder");
        state.tell(format!("no ladder is climbed; {key} starts one"), true);
        return;
    };
    let now = running.going.unwrap_or(running.at) as i64;
    let last = running.takes() as i64 - 1;
    let next = (now + i64::from(by)).clamp(0, last);
    if next == now {
        state.tell(if by > 0 { "this is the last step" } else { "this is the first step" }, false);
        return;
    }
    running.going = Some(next as usize);
    if let Some(sequence) = sequence(state) {
        effects.push(Effect::Step(Box::new(Sequence { at: next as usize, ..sequence })));
    }
}

/// Takes what is heard of a sequence.
pub(super) fn heard(state: &mut State, (take, counting, turn): (usize, bool, u64), effects: &mut Vec<Effect>) {
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

/// The analysis follows the speed of the step.
fn speed_of_step(state: &mut State) {
    let Some(Running { kind: Kind::Ladder(l), at, .. }) = &state.play.running else { return };
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
pub(super) fn leave(state: &mut State, effects: &mut Vec<Effect>) {
    effects.extend(practised(state));
    if let Some(running) = state.play.running.take() {
        state.play.percent = running.percent;
    }
}

/// Leaves what is played in a row at the speed it has now; the take that is heard becomes the loop.
pub(super) fn settle(state: &mut State, effects: &mut Vec<Effect>) {
    effects.extend(practised(state));
    if state.play.running.take().is_some() {
        replay(state, effects);
    }
}

/// Whether a ladder has just been started: nothing of it was heard through.
pub(super) fn begins(state: &State) -> bool {
    state.play.running.as_ref().is_some_and(|r| r.highest == 0)
}

/// What sounds, by its name: `under beat`, `both alone`.
pub(super) fn name(state: &State) -> String {
    let play = &state.play;
    let clicked = state.clicked(play.hearing_click, true).len();
    let (layers, beat, hearing) = match &play.running {
        Some(Running { kind: Kind::Takes(row, ..), at, .. }) => row.get(*at).copied().unwrap_or_default(),
        _ => (play.layers, play.beat_click, clicked > 0),
    };
    let more = if clicked > 1 { format!(" x{clicked}") } else { String::new() };
    let (b, h) = (play.beat_cut.words(), format!("{}{more}", play.hearing_cut.words()));
    let both = if b.is_empty() && h.is_empty() { "both".to_owned() } else { format!("beat{b}+heard{h}") };
    match (layers, beat, hearing) {
        (true, false, false) => "groove".into(),
        (true, true, false) => format!("under beat{b}"),
        (true, false, true) => format!("under heard{h}"),
        (true, true, true) => format!("under {both}"),
        (false, true, true) => format!("{both} alone"),
        (false, true, false) => format!("beat{b} alone"),
        (false, false, true) => format!("heard{h} alone"),
        (false, false, false) => "nothing".into(),
    }
}
