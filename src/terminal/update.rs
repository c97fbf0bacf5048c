//! From an event to a new state and what is to be done outside. It must not do any of that itself: no I/O, no clock.

use super::action::{Action, Question};
use super::event::{Effect, Event, Head, Speaker};
use super::key::Key;
use super::lists::{accept, choose, list, marked, open_full, part};
use super::state::{FarSpeaker, Focus, Labels, Looped, Overlay, SPEED, Shown, State, Strips};
use super::table::Mode;
use super::view::Item;
use super::{mouse, saving, scroll, typing};
use crate::session::{Command, Motion, Outcome};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// Ticks without a key after which the columns follow what is heard (about a second).
const IDLE: u32 = 30;

/// Takes an event into the state.
pub fn update(state: &mut State, event: Event) -> Vec<Effect> {
    let before = state.revision();
    let was = state.session.cursor();
    let asked = state.ask();
    let mut effects = Vec::new();
    match event {
        Event::Key(key) if key.kind != KeyEventKind::Release => press(state, &key, &mut effects),
        Event::Key(_) => {}
        Event::Pasted(text) => typing::pasted(state, &text),
        Event::Mouse(event) => mouse::mouse(state, event, &mut effects),
        Event::Resize(width, height) => state.size = (width, height),
        Event::Tick(head) => {
            state.play.head = if state.play.on { head } else { None };
            state.play.idle = state.play.idle.saturating_add(1);
        }
        Event::Analysed { revision, ask, report } => {
            if state.report.as_ref().is_none_or(|old| old.revision <= revision) {
                state.report = Some(Shown { revision, ask, report });
            }
        }
        Event::Saved { groove, result } => saving::saved(state, groove, result, &mut effects),
        Event::Device(Ok(())) => state.play.silent = None,
        Event::Device(Err(words)) => {
            state.play.on = false;
            state.play.head = None;
            state.tell(format!("{words}; everything else works"), true);
            state.play.silent = Some(words);
        }
        Event::Speaker(speaker) => far_speaker(state, speaker, &mut effects),
        Event::JournalFailed(words) => state.tell(format!("work is not kept against a crash: {words}"), true),
        Event::Signal => effects.push(Effect::Quit { keep_journal: true }),
    }
    // What was heard before comes back when the selection goes.
    if state.focus == Focus::Selection && state.session.selection().is_none() {
        state.focus = Focus::All;
    }
    if state.revision() != before {
        changed(state, &mut effects);
    } else if state.ask() != asked {
        effects.push(analyse(state));
    }
    if state.overlay == Overlay::None
        && let Some(refused) = state.refused.take()
    {
        state.overlay = Overlay::Overwrite(refused);
    }
    if state.session.cursor() != was || state.revision() != before {
        state.play.idle = 0;
    }
    if state.play.on && state.play.idle > IDLE {
        scroll::follow(state);
    } else {
        scroll::show_cursor(state);
    }
    effects
}

/// What has happened to a far speaker.
fn far_speaker(state: &mut State, speaker: Speaker, effects: &mut Vec<Effect>) {
    match speaker {
        Speaker::There(port) => {
            state.play.far = Some(FarSpeaker { lost: false });
            state.play.silent = None;
            state.tell(format!("sound comes from the far speaker at port {port} now"), false);
            // What sounded here goes on there.
            if state.play.on {
                effects.push(Effect::Play(Box::new(state.playing()), state.play.head));
            }
        }
        Speaker::Failed(words) => state.tell(words, true),
        Speaker::Lost(words) => {
            state.play.far = Some(FarSpeaker { lost: true });
            state.tell(format!("the far speaker is lost ({words}); it comes back by itself"), true);
        }
        Speaker::Back => {
            state.play.far = Some(FarSpeaker { lost: false });
            state.tell("the far speaker is back", false);
        }
        Speaker::Gone(words) => {
            (state.play.far, state.play.on, state.play.head) = (None, false, None);
            state.tell(format!("{words}; everything else works"), true);
            state.play.silent = Some(words);
        }
        Speaker::Refused(words) => {
            (state.play.on, state.play.head) = (false, None);
            state.tell(format!("not played: {words}"), true);
        }
    }
}

/// The effects of starting: the first analysis.
pub fn start(state: &State) -> Vec<Effect> {
    vec![analyse(state)]
}

fn analyse(state: &State) -> Effect {
    Effect::Analyse { revision: state.revision(), groove: state.groove().clone(), ask: state.ask() }
}

fn changed(state: &mut State, effects: &mut Vec<Effect>) {
    if let Focus::Layer(layer) = state.focus
        && layer >= state.groove().layers().len()
    {
        state.focus = Focus::First;
    }
    effects.push(Effect::Journal(state.groove().clone()));
    effects.push(analyse(state));
    replay(state, effects);
}

/// What sounds is to be as the state says now.
pub(super) fn replay(state: &State, effects: &mut Vec<Effect>) {
    if state.play.on {
        effects.push(Effect::Change(Box::new(state.playing())));
    }
}

fn press(state: &mut State, event: &KeyEvent, effects: &mut Vec<Effect>) {
    let key = Key::of(event);
    state.play.idle = 0;
    let mode = state.mode();
    if let Some(row) = state.keymap.row(mode, key) {
        state.message = None;
        perform(state, &row.action, Some(key), effects);
    } else if mode == Mode::Typing {
        if let KeyCode::Char(c) = key.code
            && (key.mods - KeyModifiers::SHIFT).is_empty()
        {
            typing::write(state, c);
        }
    } else if mode == Mode::Grid {
        let find = state.keymap.first("find");
        state.tell(format!("{} has no command here; {find} finds one by its words", key.shown()), false);
    }
}

/// Does what a row asks for; `key` is the key that asked, if one did.
pub(super) fn perform(state: &mut State, action: &Action, key: Option<Key>, effects: &mut Vec<Effect>) {
    match action {
        Action::Do(command) => command_of(state, command.clone(), effects),
        Action::LayDigit => match key.map(|k| k.code) {
            Some(KeyCode::Char(c @ '0'..='9')) => {
                let n = c as usize - '0' as usize;
                command_of(state, Command::Lay(if n == 0 { 10 } else { n }), effects);
            }
            _ => ask(state, Question::Groups),
        },
        Action::Ask(question) => ask(state, *question),
        Action::Mark => {
            state.marking = true;
            command_of(state, Command::Extend(Motion::To(state.session.cursor().place)), effects);
            state.tell("selecting: move to the other end; Esc ends it", false);
        }
        Action::Close => close(state, effects),
        Action::Play => play(state, None, effects),
        Action::PlayHere => {
            let at = state.session.cursor();
            let bar = state.groove().sections()[at.place.section].meter.bar();
            let number = at.column.ratio_to(bar).map_or(0, |r| r.floor().max(0));
            let wholes = number as f64 * bar.numer() as f64 / bar.denom() as f64;
            let from = Head { section: at.place.section, pass: 0, wholes };
            state.play.on = false;
            play(state, Some(from), effects);
        }
        Action::NextLoop => {
            state.play.looped = match (state.play.looped, state.session.selection()) {
                (Looped::All, _) => Looped::Section,
                (Looped::Section, Some(_)) => Looped::Selection,
                _ => Looped::All,
            };
            let words = match state.play.looped {
                Looped::All => "plays round the whole groove",
                Looped::Section => "plays round the section of the cursor",
                Looped::Selection => "plays round the selection",
            };
            state.tell(words, false);
            replay(state, effects);
        }
        Action::SpeedBy(by) => {
            let percent = (i64::from(state.play.percent) + i64::from(*by)).clamp(SPEED.least, SPEED.greatest);
            speed(state, percent as u16, effects);
        }
        Action::BeatClick => {
            state.play.beat_click = !state.play.beat_click;
            replay(state, effects);
        }
        Action::HearingClick => {
            if let Some(Item::Hearing(hearing)) = marked(state) {
                choose(state, hearing);
            }
            if state.strip().is_none() && !state.play.hearing_click {
                state.tell("there is no hearing to click yet; lay some attacks first", true);
                return;
            }
            state.play.hearing_click = !state.play.hearing_click;
            replay(state, effects);
        }
        Action::NextFocus => {
            let layer = state.session.cursor().place.layer;
            let selected = state.session.selection().is_some();
            state.focus = match state.focus {
                Focus::First => Focus::Layer(layer),
                Focus::Layer(_) => Focus::All,
                Focus::All if selected => Focus::Selection,
                Focus::All | Focus::Selection => Focus::First,
            };
            let words = match &state.focus {
                Focus::Selection => "hearings of the selection, while there is one".to_owned(),
                Focus::First => "hearings of the first layer that has attacks".to_owned(),
                Focus::Layer(l) => {
                    format!("hearings of layer '{}'", state.groove().layers().get(*l).map_or("", |l| &l.name))
                }
                Focus::All => "hearings of all layers together".to_owned(),
            };
            state.tell(words, false);
        }
        Action::NextHearing => {
            let count = state.report().map_or(0, |(r, _)| r.hearings.len());
            if count == 0 {
                state.tell("there is no hearing yet; lay some attacks first", true);
                return;
            }
            let next = state.strip().map_or(0, |(i, _)| (i + 1) % count);
            choose(state, next);
            replay(state, effects);
        }
        Action::MoreStrips => {
            state.strips = if state.strips == Strips::Two { Strips::All } else { Strips::Two };
        }
        Action::NextLabels => {
            state.labels = match state.labels {
                Labels::Groups => Labels::Pitches,
                Labels::Pitches => Labels::None,
                Labels::None => Labels::Groups,
            };
        }
        Action::ZoomBy(by) => {
            state.zoom = (state.zoom + by).clamp(-4, 2);
            scroll::centre(state);
        }
        Action::Help => state.overlay = Overlay::Help(0),
        Action::Find => state.overlay = Overlay::Find { text: String::new(), chosen: 0 },
        Action::Full => open_full(state),
        Action::Save => saving::save(state, effects),
        Action::Overwrite => saving::overwrite(state, effects),
        Action::Redraw => effects.push(Effect::Redraw),
        Action::Quit if state.session.is_changed() => state.overlay = Overlay::Leaving,
        Action::Quit | Action::Yes => effects.push(Effect::Quit { keep_journal: false }),
        Action::SaveFirst => {
            state.overlay = Overlay::None;
            state.leaving = true;
            saving::save(state, effects);
        }
        Action::ListUp => list(state, |at, _, _| at.saturating_sub(1)),
        Action::ListDown => list(state, |at, last, _| (at + 1).min(last)),
        Action::ListPageUp => list(state, |at, _, page| at.saturating_sub(page)),
        Action::ListPageDown => list(state, |at, last, page| (at + page).min(last)),
        Action::ListFirst => list(state, |_, _, _| 0),
        Action::ListLast => list(state, |_, last, _| last),
        Action::Accept => accept(state, effects),
        Action::NextPart => part(state, 1),
        Action::PreviousPart => part(state, -1),
        Action::Unwrite => typing::unwrite(state),
        Action::Clear => typing::clear(state),
    }
}

/// Gives a command to the session and shows what it says.
pub(super) fn command_of(state: &mut State, command: Command, effects: &mut Vec<Effect>) {
    let command = match command {
        Command::Move(motion) if state.marking => Command::Extend(motion),
        command => command,
    };
    let had = state.session.selection();
    let outcome = state.session.apply(command);
    if state.session.selection().is_none() {
        state.marking = false;
    }
    match outcome {
        Outcome::Quiet | Outcome::Changed(None) => {}
        Outcome::Changed(Some(words)) | Outcome::Told(words) => state.tell(with_keys(state, words), false),
        Outcome::Refused(words) => state.tell(with_keys(state, words), true),
    }
    if state.play.looped == Looped::Selection && state.session.selection() != had {
        replay(state, effects);
    }
}

/// Adds the key where words name a command.
fn with_keys(state: &State, words: String) -> String {
    if words.contains("add a bar or a section") {
        let (bar, section) = (state.keymap.first("add-bar"), state.keymap.first("add-section"));
        return format!("the end of the groove: {bar} adds a bar, {section} a section");
    }
    if words.contains(" a beat") && (words.ends_with(" moved") || words.ends_with(" lost")) {
        return match state.keymap.first("undo") {
            key if key.is_empty() || words.ends_with("no attack moved") => words,
            key => format!("{words} ({key} undoes)"),
        };
    }
    if words.contains("no layer") {
        return format!("{words} ({})", state.keymap.first("add-layer"));
    }
    words
}

pub(super) fn ask(state: &mut State, question: Question) {
    let text = question.start(&state.session, state.play.percent, state.file.as_deref());
    state.overlay = Overlay::Prompt { question, kept: !text.is_empty(), text, error: None };
}

fn close(state: &mut State, effects: &mut Vec<Effect>) {
    if state.overlay == Overlay::None {
        state.marking = false;
        command_of(state, Command::Deselect, effects);
    }
    if let Overlay::Overwrite(_) = state.overlay {
        state.tell("not saved; the file is as it was", true);
    }
    state.leaving = false;
    state.overlay = Overlay::None;
}

fn play(state: &mut State, from: Option<Head>, effects: &mut Vec<Effect>) {
    if state.play.on {
        state.play.on = false;
        state.play.head = None;
        effects.push(Effect::Stop);
        return;
    }
    if let Some(words) = &state.play.silent {
        let words = words.clone();
        state.tell(words, true);
        // The device may have come back.
    }
    state.play.on = true;
    effects.push(Effect::Play(Box::new(state.playing()), from));
}

pub(super) fn speed(state: &mut State, percent: u16, effects: &mut Vec<Effect>) {
    if percent != state.play.percent {
        state.play.percent = percent;
        replay(state, effects);
    }
}
