//! Listening while a recording is written down: around the cursor at half the speed, and a loop that moves on with the entry.

use crate::rhythm::{Fraction, Time};
use crate::session::{Command, Cursor, LoopRegion, Mark};
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::playback::{looping, practice};
use crate::terminal::{Effect, State, run_command};

/// Speed in percent at which the surroundings of the cursor are heard.
const SPEED: u16 = 50;

/// What was set before, and the beat that is listened to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Listening {
    at: Mark,
    speed_percent: u16,
    loop_mode: LoopMode,
    region: Option<LoopRegion>,
}

/// Loops the beat at the cursor, with half a beat before and after it, at half the speed; at the same beat again, ends that.
pub(crate) fn hear_around(state: &mut State) {
    let cursor = state.session.cursor();
    let section = &state.groove().sections()[cursor.place.section];
    let beat = section.meter.beat();
    let number = cursor.column.ratio_to(beat).map_or(0, |beats| beats.floor().max(0));
    let half = |halves: i64| Fraction::new(halves, 2).and_then(|beats| beat.scaled(beats)).unwrap_or(Time::ZERO);
    let mark = |at: Time| Mark { section: cursor.place.section, at: at.max(Time::ZERO) };
    let at = mark(half(2 * number));
    if state.playback.is_playing && state.transcription.listening.as_ref().is_some_and(|l| l.at == at) {
        return crate::terminal::playback::transport::stop(state);
    }
    let before = state.transcription.listening.take().unwrap_or(Listening {
        at,
        speed_percent: state.playback.speed_percent,
        loop_mode: state.playback.loop_mode,
        region: state.session.loop_region(),
    });
    practice::end_sequence(state);
    run_command(state, Command::LoopBetween(mark(half(2 * number - 1)), mark(half(2 * number + 3))));
    state.transcription.listening = Some(Listening { at, ..before });
    (state.playback.loop_mode, state.playback.speed_percent) = (LoopMode::Region, SPEED);
    state.playback.is_playing = true;
    state.effects.push(Effect::Play(Box::new(state.play_request()), None));
    let key = state.key_or_name("hear-around");
    state.info(format!("around this beat at {SPEED}%; {key} again stops and restores the speed and the loop"));
}

/// Restores the speed and the loop once nothing plays any more.
pub(crate) fn restore(state: &mut State) {
    let Some(before) = state.transcription.listening.take() else { return };
    let Listening { speed_percent, loop_mode, region, .. } = before;
    match region {
        Some(LoopRegion { start, end }) => run_command(state, Command::LoopBetween(start, end)),
        None if state.session.loop_region().is_some() => run_command(state, Command::ClearLoopRegion),
        None => {}
    }
    (state.playback.speed_percent, state.playback.loop_mode) = (speed_percent, loop_mode);
}

/// Lets the loop region move on when the entry leaves it, or stay.
pub(crate) fn toggle_jumping_on(state: &mut State) {
    state.transcription.jumps_on = !state.transcription.jumps_on;
    if !state.transcription.jumps_on {
        return state.info("the loop stays where it is");
    }
    if state.playback.loop_mode != LoopMode::Region || state.session.loop_region().is_none() {
        looping::change_region(state, Command::LoopRegion, "loop");
    }
    state.info("the loop moves on when the entry has filled it");
}

/// Moves the loop region on if an entry that began in it went to its end.
pub(crate) fn follow_entry(state: &mut State, before: Cursor) {
    let Some(LoopRegion { start, end }) = state.session.loop_region() else { return };
    let (jumps, cursor) = (state.transcription.jumps_on, state.session.cursor());
    let mark = |cursor: Cursor| Mark { section: cursor.place.section, at: cursor.column };
    let here = mark(cursor);
    let began_in_it = (start..end).contains(&mark(before)) && !before.past_end;
    if !jumps || state.playback.loop_mode != LoopMode::Region || !began_in_it || here < end || cursor.past_end {
        return;
    }
    let section = &state.groove().sections()[here.section];
    // A region of several sections goes on by bars.
    let length = if start.section == end.section { end.at.minus(start.at) } else { None };
    let length = length.filter(|l| *l > Time::ZERO).unwrap_or(section.meter.bar());
    let first = if here.section == end.section { end.at } else { Time::ZERO };
    let steps = here.at.minus(first).and_then(|past| past.ratio_to(length)).map_or(0, |steps| steps.floor().max(0));
    let step = |n: i64| length.repeated(n as usize).and_then(|past| first.plus(past)).unwrap_or(first);
    let mark = |at| Mark { section: here.section, at };
    looping::change_region(state, Command::LoopBetween(mark(step(steps)), mark(step(steps + 1))), "loop");
}
