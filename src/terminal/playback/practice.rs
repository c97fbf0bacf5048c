//! Sequences: all takes in turn, and the tempo ladder, as far as the state goes.

use crate::describe::ladder;
use crate::jobs::play_request::{LoopSpec, ResumePoint, Sequence, SequencePosition, SequenceTake};
use crate::jobs::{HearingKey, Practice};
use crate::rhythm::{Fraction, Groove};
use crate::terminal::playback::playing::Mix;
use crate::terminal::playback::transport;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::{Effect, Overlay, Question, State, replay};
use std::borrow::Cow;
use std::sync::Arc;

const TAKES: [Mix; 5] = [Mix::GROOVE, Mix::GROOVE_AND_BEAT, Mix::GROOVE_AND_HEARING, Mix::PULSES, Mix::ALL];

/// The message for a ladder without sound.
pub(crate) fn no_sound(state: &State) -> String {
    let [outputs, wav] = ["outputs", "ladder-wav"].map(|name| state.key_or_name(name));
    format!("no sound output ({outputs} tells why): steps are only shown; {wav} exports them")
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum SequenceKind {
    Takes {
        takes: Vec<Mix>,
        times: u32,
        count_in: bool,
    },
    /// The original and a variant of it, each so many times; the variant goes on if `ends` is false.
    Pair {
        grooves: [Arc<Groove>; 2],
        times: u32,
        ends: bool,
    },
    Ladder(Ladder),
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RunningSequence {
    number: u32,
    pub kind: SequenceKind,
    /// The current take, or step of the ladder.
    pub at: usize,
    pub is_count_in: bool,
    pub pass: u64,
    /// The pass is silent after its opening.
    pub is_silent: bool,
    /// The requested step, until it starts.
    pub next_take: Option<usize>,
    /// The highest step heard to its end, from 1.
    highest_step: usize,
    /// Passes that are not in the practice log yet.
    unlogged_passes: u64,
    /// Speed in percent before the sequence.
    speed_before: u16,
}

impl RunningSequence {
    fn ladder(&self) -> Option<&Ladder> {
        if let SequenceKind::Ladder(ladder) = &self.kind { Some(ladder) } else { None }
    }

    /// Number of takes, or of steps.
    pub(crate) fn takes(&self) -> usize {
        match &self.kind {
            SequenceKind::Takes { takes, .. } => takes.len(),
            SequenceKind::Pair { grooves, .. } => grooves.len(),
            SequenceKind::Ladder(ladder) => ladder.speeds.len(),
        }
    }

    /// Passes of the current take; `None` for no limit.
    pub(crate) fn times(&self) -> Option<u32> {
        match &self.kind {
            SequenceKind::Takes { times, .. } => Some(*times),
            SequenceKind::Pair { times, ends, .. } => Some(*times).filter(|_| *ends || self.at == 0),
            SequenceKind::Ladder(ladder) => ladder.times(self.at),
        }
    }
}

/// The sequence that plays, with the current groove and settings.
pub(crate) fn sequence(state: &State) -> Option<Sequence> {
    let running = state.playback.sequence.as_ref()?;
    let (takes, silence) = match &running.kind {
        SequenceKind::Takes { takes, times, count_in } => {
            let take = |&mix: &Mix| {
                let mut spec = state.with_recording(state.loop_spec_with(mix));
                // Extra hearings click together with that of the strip only.
                spec.hearings.retain(|_| mix.hearing);
                SequenceTake { spec, times: Some(*times), count_in: *count_in }
            };
            let mut takes: Vec<SequenceTake> = takes.iter().map(take).collect();
            if let Some(first) = takes.first_mut() {
                first.count_in |= state.playback.sound.count_in;
            }
            (takes, None)
        }
        SequenceKind::Pair { grooves, times, ends } => {
            let take = |(at, groove): (usize, &Arc<Groove>)| SequenceTake {
                spec: LoopSpec { groove: groove.clone(), ..state.loop_spec() },
                times: Some(*times).filter(|_| *ends || at == 0),
                count_in: at == 0 && state.playback.sound.count_in,
            };
            (grooves.iter().enumerate().map(take).collect(), None)
        }
        SequenceKind::Ladder(ladder) => {
            let looped = state.loop_spec();
            let step = |(at, &speed): (usize, &Fraction)| {
                let spec = LoopSpec { speed, ..looped.clone() };
                SequenceTake { spec, times: ladder.times(at), count_in: true }
            };
            (ladder.speeds.iter().enumerate().map(step).collect(), ladder.silence)
        }
    };
    Some(Sequence { number: running.number, takes, at: running.at, silence })
}

/// Where another player continues: a take in its pass, a count-in from its start.
pub(crate) fn resume_position(state: &mut State) -> Option<ResumePoint> {
    let (mut position, mut passes) = (state.playback.position, 0);
    if let Some(running) = &mut state.playback.sequence {
        running.next_take = None;
        position = position.filter(|_| !running.is_count_in);
        passes = running.pass;
    }
    position.map(|position| ResumePoint { position, passes })
}

pub(crate) fn play_takes(state: &mut State, times: u32, count_in: bool) {
    end_sequence(state);
    let has_hearing = state.strip_hearing().is_some();
    let takes = TAKES.iter().filter(|mix| has_hearing || !mix.hearing).copied().collect();
    start(state, SequenceKind::Takes { takes, times, count_in });
}

/// Plays the original and then a variant; if something plays already, the variant goes on.
pub(crate) fn play_pair(state: &mut State, grooves: [Arc<Groove>; 2], times: u32) {
    let ends = !state.playback.is_playing;
    end_sequence(state);
    start(state, SequenceKind::Pair { grooves, times, ends });
}

/// The groove of the pair that is heard; `None` if no pair plays.
pub(crate) fn groove_of_pair(state: &State) -> Option<&Arc<Groove>> {
    let running = state.playback.sequence.as_ref()?;
    if let SequenceKind::Pair { grooves, .. } = &running.kind { grooves.get(running.at) } else { None }
}

/// Ends a pair; the caller changes what plays.
pub(crate) fn end_pair(state: &mut State) {
    if groove_of_pair(state).is_some() {
        end_sequence(state);
    }
}

pub(crate) fn toggle_ladder(state: &mut State) {
    if is_ladder(state) {
        end_sequence(state);
        replay(state);
        state.info("left the ladder");
    } else if std::mem::take(&mut state.playback.ladder_shown) {
        state.info("closed the ladder steps");
    } else {
        start_ladder(state, state.playback.ladder.clone());
    }
}

pub(crate) fn start_ladder(state: &mut State, ladder: Ladder) {
    end_sequence(state);
    // Keeps the hearing while the speed changes.
    state.hearings.selected = state.strip_hearing().map(|(_, h)| HearingKey::of(h)).or(state.hearings.selected);
    state.playback.ladder = ladder.clone();
    state.effects.push(Effect::Progress(None));
    start(state, SequenceKind::Ladder(ladder));
    set_speed_of_step(state);
    let [up, down, leave] = ["ladder-up", "ladder-down", "ladder"].map(|name| state.key(name));
    let text = state.playback.ladder.to_text();
    state.info(format!("ladder {text}; {up} next step, {down} previous step, {leave} leave"));
}

fn start(state: &mut State, kind: SequenceKind) {
    state.playback.sequence_count = state.playback.sequence_count.wrapping_add(1);
    state.playback.sequence = Some(RunningSequence {
        number: state.playback.sequence_count,
        kind,
        at: 0,
        is_count_in: true,
        pass: 0,
        is_silent: false,
        next_take: None,
        highest_step: 0,
        unlogged_passes: 0,
        speed_before: state.playback.speed_percent,
    });
    state.playback.position = None;
    transport::start(state, None);
}

/// Moves to a higher or lower step after the current pass.
pub(crate) fn step(state: &mut State, by: i32) {
    if state.playback.ladder_shown {
        let wav = state.key_or_name("ladder-wav");
        return state.warn(format!("no sound output, so steps cannot be played; {wav} exports them"));
    }
    let Some(running) = state.playback.sequence.as_mut().filter(|r| r.ladder().is_some()) else {
        return state.warn(format!("no ladder is running; {} starts one", state.key("ladder")));
    };
    let old = running.next_take.unwrap_or(running.at) as i64;
    let last = running.takes() as i64 - 1;
    let next = (old + i64::from(by)).clamp(0, last);
    if next == old {
        return state.info(if by > 0 { "this is the last step" } else { "this is the first step" });
    }
    running.next_take = Some(next as usize);
    if let Some(sequence) = sequence(state) {
        state.effects.push(Effect::Step(Box::new(Sequence { at: next as usize, ..sequence })));
    }
}

pub(crate) fn is_playing(state: &State, sequence: u32) -> bool {
    state.playback.sequence.as_ref().is_some_and(|r| r.number == sequence)
}

pub(crate) fn on_take(state: &mut State, new: SequencePosition) {
    let Some(running) = state.playback.sequence.as_mut().filter(|r| new.take < r.takes()) else { return };
    let moved = new.take != running.at;
    if !running.is_count_in && (moved || new.is_count_in || new.pass > running.pass) {
        running.unlogged_passes += 1;
        running.highest_step = running.highest_step.max(running.at + 1);
    }
    (running.at, running.is_count_in, running.pass) = (new.take, new.is_count_in, new.pass);
    running.is_silent = new.silent;
    if running.next_take == Some(new.take) {
        running.next_take = None;
    }
    if moved && running.ladder().is_some() {
        set_speed_of_step(state);
        log_practice(state);
    }
}

fn set_speed_of_step(state: &mut State) {
    let running = state.playback.sequence.as_ref();
    if let Some(&speed) = running.and_then(|r| r.ladder()?.speeds.get(r.at)) {
        state.playback.speed_percent = (ladder::value(speed) * 100.0).round() as u16;
    }
}

fn log_practice(state: &mut State) {
    let Some(running) = state.playback.sequence.as_mut().filter(|r| r.unlogged_passes > 0) else { return };
    let loops = std::mem::take(&mut running.unlogged_passes);
    let Some(l) = running.ladder() else { return };
    state.effects.push(Effect::Progress(Some(Practice {
        date: String::new(),
        ladder: l.to_text(),
        step: running.highest_step,
        speed: l.speeds.get(running.highest_step - 1).map(|s| ladder::percent(*s)).unwrap_or_default(),
        steps: l.speeds.len(),
        loops,
    })));
}

/// Ends the sequence and restores the speed; the caller changes what plays.
pub(crate) fn end_sequence(state: &mut State) {
    log_practice(state);
    if let Some(running) = state.playback.sequence.take() {
        state.playback.speed_percent = running.speed_before;
    }
}

pub(crate) fn is_ladder(state: &State) -> bool {
    state.playback.sequence.as_ref().is_some_and(|r| r.ladder().is_some())
}

/// The ladder whose steps are shown, and the current step if it plays: one that is being asked for, or the current one.
pub(crate) fn visible_ladder(state: &State) -> Option<(Cow<'_, Ladder>, Option<usize>)> {
    if let Overlay::Prompt { question: Question::Ladder, text, .. } = &state.overlay
        && let Some(ladder) = Ladder::parse(text.value())
    {
        return Some((Cow::Owned(ladder), None));
    }
    let borrowed = |(ladder, at)| (Cow::Borrowed(ladder), at);
    let playing = state.playback.sequence.as_ref().and_then(|r| Some((r.ladder()?, Some(r.at))));
    playing.or(state.playback.ladder_shown.then_some((&state.playback.ladder, None))).map(borrowed)
}

/// Ends the ladder, if one is running.
pub(crate) fn end_ladder(state: &mut State) {
    if is_ladder(state) {
        end_sequence(state);
    }
}

/// Ends a sequence of takes, each of which has its own clicks.
pub(crate) fn end_takes(state: &mut State) {
    if take_mix(state).is_some() {
        end_sequence(state);
    }
}

/// The mix of the current take; `None` if no takes play.
pub(crate) fn take_mix(state: &State) -> Option<Mix> {
    let running = state.playback.sequence.as_ref()?;
    if let SequenceKind::Takes { takes, .. } = &running.kind { takes.get(running.at).copied() } else { None }
}

/// Ends the sequence, and plays the loop at the speed of now.
pub(crate) fn continue_as_loop(state: &mut State) {
    log_practice(state);
    if state.playback.sequence.take().is_some() {
        replay(state);
    }
}

/// Notes the practice log, and says it at the start of a sequence.
pub(crate) fn on_progress(state: &mut State, log: Option<String>) {
    if state.playback.sequence.as_ref().is_some_and(|r| r.highest_step == 0)
        && let Some(text) = &log
    {
        state.info(text.clone());
    }
    state.playback.progress = log;
}
