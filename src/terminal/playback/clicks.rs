//! Which of layers, written beat and hearings sound, and how the pulses click.

use crate::jobs::HearingKey;
use crate::terminal::event::Effect;
use crate::terminal::hearings;
use crate::terminal::lists::marked;

use crate::jobs::Click;
use crate::terminal::playback::practice;
use crate::terminal::playback::request::Switches;
use crate::terminal::playback::transport::{replay, start};
use crate::terminal::state::{Message, State};
use crate::terminal::view::Item;

/// The click on the written beat, on or off.
pub(crate) fn beat(state: &mut State, effects: &mut Vec<Effect>) {
    practice::leave_row(state, effects);
    state.play.switches.beat = !state.play.switches.beat;
    replay(state, effects);
}

/// The click on the hearing of the strip, on or off; in the full view the marked hearing comes to the strip first.
pub(crate) fn hearing(state: &mut State, effects: &mut Vec<Effect>) {
    if let Some(Item::Hearing(hearing)) = marked(state) {
        hearings::choose(state, hearing);
    }
    if !state.play.switches.hearing && !hearings::any(state) {
        return;
    }
    practice::leave_row(state, effects);
    state.play.switches.hearing = !state.play.switches.hearing;
    replay(state, effects);
}

/// The marked hearing is clicked beside others, or no more.
pub(crate) fn hearing_too(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(Item::Hearing(index)) = marked(state) else {
        state.show_message(Message::info("only hearings can be clicked"));
        return;
    };
    let clicked: Vec<usize> = state.extra_hearings.iter().filter_map(|c| state.find(*c)).map(|(i, _)| i).collect();
    let more = !clicked.contains(&index);
    let wanted = clicked.into_iter().filter(|i| *i != index).chain(more.then_some(index));
    let mark = |i: usize| state.report()?.0.hearings.get(i).map(HearingKey::of);
    state.extra_hearings = wanted.filter_map(mark).collect();
    let words = format!("hearing {}: click {}", index + 1, if more { "on" } else { "off" });
    state.show_message(Message::info(words));
    replay(state, effects);
}

/// The next way to click, in a circle.
fn next(click: Click) -> Click {
    match click {
        Click::Off | Click::Divided(4..) => Click::Written,
        Click::Written => Click::OffBeat,
        Click::OffBeat => Click::Divided(2),
        Click::Divided(n) => Click::Divided(n + 1),
    }
}

/// What follows the name of a pulse; nothing for plain clicks.
fn suffix(click: Click) -> String {
    match click {
        Click::Off | Click::Written => String::new(),
        Click::OffBeat => "/off".into(),
        Click::Divided(n) => format!("/{n}"),
    }
}

/// The next way in which the written beat clicks.
pub(crate) fn next_beat_cut(state: &mut State, effects: &mut Vec<Effect>) {
    state.play.beat_cut = next(state.play.beat_cut);
    cut(state, "the written beat", state.play.beat_cut, state.play.switches.beat);
    replay(state, effects);
}

/// The next way in which hearings click.
pub(crate) fn next_hearing_cut(state: &mut State, effects: &mut Vec<Effect>) {
    state.play.hearing_cut = next(state.play.hearing_cut);
    cut(state, "hearings", state.play.hearing_cut, state.play.switches.hearing || !state.extra_hearings.is_empty());
    replay(state, effects);
}

fn cut(state: &mut State, what: &str, clicks: Click, on: bool) {
    let how = match clicks {
        Click::Off | Click::Written => "once each".to_owned(),
        Click::OffBeat => "offbeat only".to_owned(),
        Click::Divided(n) => format!("divided by {n}"),
    };
    let off = if on { "" } else { " (the click is off)" };
    state.show_message(Message::info(format!("{what} clicked {how}{off}")));
}

/// Sounds a take: at once and in its place if something is played, else from the start.
pub(crate) fn take(state: &mut State, switches: Switches, effects: &mut Vec<Effect>) {
    if switches.hearing && !hearings::any(state) {
        return;
    }
    practice::leave(state, effects);
    state.play.switches = switches;
    if !switches.hearing {
        state.extra_hearings.clear();
    }
    if state.play.on {
        replay(state, effects);
    } else {
        start(state, None, effects);
    }
}

/// What sounds, by its name: `under beat`, `both alone`.
pub(crate) fn name(state: &State) -> String {
    let play = &state.play;
    let clicked = state.clicked(play.switches.hearing, true).len();
    let own = Switches { hearing: clicked > 0, ..play.switches };
    let Switches { layers, beat, hearing } = practice::switches(state).unwrap_or(own);
    let more = if clicked > 1 { format!(" x{clicked}") } else { String::new() };
    let (b, h) = (suffix(play.beat_cut), format!("{}{more}", suffix(play.hearing_cut)));
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
