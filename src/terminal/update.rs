//! From an event to a new state and what is to be done outside. It must not do any of that itself: no I/O, no clock.

use super::action::{Action, Question};
use super::arrival::Arrival;
use super::event::{Clicks, Effect, Event, Head, Speaker};
use super::key::Key;
use super::lists::{accept, choose, list, marked, open_full, part};
use super::state::{Chosen, FarSpeaker, Focus, Labels, Looped, Overlay, Refused, SPEED, Shown, State, Strips};
use super::table::Mode;
use super::view::Item;
use super::{copying, giving, mouse, practice, saving, scroll, tapping, typing};
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
        Event::Key(key, arrival) if key.kind != KeyEventKind::Release => press(state, &key, arrival, &mut effects),
        Event::Outputs(Ok(lines)) if state.mode() == Mode::Grid => state.overlay = Overlay::Outputs(lines, 0),
        Event::Pasted(text) => typing::pasted(state, &text),
        Event::Mouse(event) => mouse::mouse(state, event, &mut effects),
        Event::Resize(width, height) => state.size = (width, height),
        Event::Tick(head) => {
            let own = state.taps.now.as_ref().is_none_or(|t| matches!(t.to, tapping::To::Loop));
            state.play.head = head.filter(|_| state.play.on && own);
            state.play.idle = state.play.idle.saturating_add(1);
        }
        Event::Tapped(heard) => tapping::tapped(state, heard, &mut effects),
        // The list of outputs comes over nothing that is being typed or read.
        Event::Key(..) | Event::OffsetKept(Ok(())) | Event::Outputs(Ok(_)) => {}
        Event::OffsetKept(Err(words)) => state.tell(format!("the offset holds until the end only: {words}"), true),
        Event::Analysed { revision, ask, report } => {
            if state.report.as_ref().is_none_or(|old| old.revision <= revision) {
                let before = clicked_pulses(state);
                state.report = Some(Shown { revision, ask, report });
                // The clicks of hearings are those of the newest report.
                if before != clicked_pulses(state) {
                    replay(state, &mut effects);
                }
            }
        }
        Event::Saved { groove, result } => saving::saved(state, groove, result, &mut effects),
        Event::Take { take, counting, turn } => practice::heard(state, (take, counting, turn), &mut effects),
        Event::SequenceEnded => {
            practice::leave(state, &mut effects);
            state.play.on = false;
            state.play.head = None;
        }
        Event::Progress(Ok(words)) => {
            if let Some(words) = &words
                && practice::begins(state)
            {
                state.tell(words.clone(), false);
            }
            state.progress = words;
        }
        Event::Device(Ok(())) => state.play.silent = None,
        Event::Device(Err(words)) => {
            practice::leave(state, &mut effects);
            state.play.on = false;
            state.play.head = None;
            state.tell(format!("{words}; everything else works"), true);
            state.play.silent = Some(words);
        }
        Event::Speaker(speaker) => far_speaker(state, speaker, &mut effects),
        Event::Progress(Err(words)) | Event::SoundTold(words) | Event::Outputs(Err(words)) => state.tell(words, true),
        Event::Giving(percent) => giving::progress(state, percent),
        Event::Given(result) => giving::given(state, result),
        Event::Brought(result) => giving::brought(state, result),
        Event::JournalFailed(words) => state.tell(format!("work is not kept against a crash: {words}"), true),
        Event::Signal => {
            practice::leave(state, &mut effects);
            effects.push(Effect::Quit { keep_journal: true });
        }
    }
    giving::arrive(state, &mut effects);
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
            // What sounded here goes on there, a sequence from the take that was heard.
            if state.play.on {
                effects.push(match practice::sequence(state) {
                    Some(sequence) => Effect::PlaySequence(Box::new(sequence)),
                    None => Effect::Play(Box::new(state.playing()), state.play.head),
                });
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
            practice::leave(state, effects);
            (state.play.far, state.play.on, state.play.head) = (None, false, None);
            state.tell(format!("{words}; everything else works"), true);
            state.play.silent = Some(words);
        }
        Speaker::Refused(words) => {
            practice::leave(state, effects);
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
    if !state.play.on {
        return;
    }
    effects.push(match practice::sequence(state) {
        Some(sequence) => Effect::ChangeSequence(Box::new(sequence)),
        None => Effect::Change(Box::new(state.playing())),
    });
}

fn press(state: &mut State, event: &KeyEvent, arrival: Arrival, effects: &mut Vec<Effect>) {
    let key = Key::of(event);
    state.play.idle = 0;
    let mode = state.mode();
    let row = state.keymap.row(mode, key);
    let plain = matches!(key.code, KeyCode::Char(_)) && key.mods.is_empty();
    if mode == Mode::Tap && row.map_or(plain, |r| r.action == Action::TapKey) {
        tapping::tap(state, arrival, effects);
    } else if let Some(row) = row {
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
        Action::CopyText(what) => copying::copy(state, *what, effects),
        Action::Play => play(state, None, effects),
        Action::PlayHere => {
            let at = state.session.cursor();
            let bar = state.groove().sections()[at.place.section].meter.bar();
            let number = at.column.ratio_to(bar).map_or(0, |r| r.floor().max(0));
            let wholes = number as f64 * bar.numer() as f64 / bar.denom() as f64;
            let from = Head { section: at.place.section, pass: 0, wholes };
            practice::leave(state, effects);
            state.play.on = false;
            play(state, Some(from), effects);
        }
        Action::Tap => tapping::begin(state, effects),
        Action::TapKey => tapping::tap(state, Arrival::UNKNOWN, effects),
        Action::TapAgain => tapping::again(state, effects),
        Action::TapReport => tapping::show(state),
        Action::Calibrate => tapping::begin_calibrating(state, effects),
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
            leave_row(state, effects);
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
            leave_row(state, effects);
            state.play.hearing_click = !state.play.hearing_click;
            replay(state, effects);
        }
        Action::Take { layers, beat, hearing } => practice::take(state, (*layers, *beat, *hearing), effects),
        Action::BeatCut => {
            state.play.beat_cut = state.play.beat_cut.next();
            cut(state, "the written beat", state.play.beat_cut, state.play.beat_click);
            replay(state, effects);
        }
        Action::HearingCut => {
            state.play.hearing_cut = state.play.hearing_cut.next();
            cut(state, "hearings", state.play.hearing_cut, state.play.hearing_click || !state.also.is_empty());
            replay(state, effects);
        }
        Action::HearingToo => hearing_too(state, effects),
        Action::Ladder => practice::ladder_key(state, effects),
        Action::LadderBy(by) => practice::step(state, *by, effects),
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
        Action::Outputs => effects.push(Effect::Outputs),
        Action::Export(choice) => giving::choose(state, *choice),
        Action::Cancel if !giving::cancel(state, effects) => state.tell("nothing is being made or read", false),
        Action::Cancel => {}
        Action::Remarks => giving::remarks(state),
        Action::Replace => giving::replace_asked(state, effects),
        Action::ReplaceFirst => giving::save_first(state, effects),
        Action::Save => saving::save(state, effects),
        Action::Overwrite => saving::overwrite(state, effects),
        Action::Redraw => effects.push(Effect::Redraw),
        Action::Quit if state.session.is_changed() => state.overlay = Overlay::Leaving,
        Action::Quit | Action::Yes => {
            practice::leave(state, effects);
            effects.push(Effect::Quit { keep_journal: false });
        }
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
    let mut text = question.start(&state.session, state.play.percent, state.file.as_deref());
    if question == Question::Ladder {
        text = state.ladder.words();
    }
    if let Some(begins) = giving::begins(state, question) {
        text = begins;
    }
    state.overlay = Overlay::Prompt { question, kept: !text.is_empty(), text, error: None };
}

fn close(state: &mut State, effects: &mut Vec<Effect>) {
    if state.overlay == Overlay::None {
        // A selection goes first.
        let free = !state.marking && state.session.selection().is_none();
        if free && giving::cancel(state, effects) {
            return;
        }
        state.marking = false;
        command_of(state, Command::Deselect, effects);
    }
    if state.overlay == Overlay::Tap {
        return tapping::end(state, effects);
    }
    match &state.overlay {
        Overlay::Overwrite(Refused::Order(..)) => state.tell("not written; the file is as it was", true),
        Overlay::Overwrite(_) => state.tell("not saved; the file is as it was", true),
        Overlay::Replacing(_) => state.tell("not opened; the groove is as it was", true),
        _ => {}
    }
    state.giving.waiting = None;
    state.leaving = false;
    state.overlay = Overlay::None;
}

pub(super) fn play(state: &mut State, from: Option<Head>, effects: &mut Vec<Effect>) {
    if state.play.on {
        practice::leave(state, effects);
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
        // A speed set by hand is the end of a ladder.
        if matches!(&state.play.running, Some(r) if matches!(r.kind, practice::Kind::Ladder(_))) {
            practice::leave(state, effects);
        }
        state.play.percent = percent;
        replay(state, effects);
    }
}

/// The pulses that are clicked now.
fn clicked_pulses(state: &State) -> Vec<Vec<f64>> {
    if !state.play.on {
        return Vec::new();
    }
    state.playing().lines.iter().map(|l| l.pulses.to_vec()).collect()
}

fn cut(state: &mut State, what: &str, clicks: Clicks, on: bool) {
    let how = match clicks {
        Clicks::Off | Clicks::Plain => "once each".to_owned(),
        Clicks::OffBeat => "off-beat only".to_owned(),
        Clicks::Cut(n) => format!("{n} times each"),
    };
    let off = if on { "" } else { " (the click is off)" };
    state.tell(format!("{what} clicked {how}{off}"), false);
}

/// The hearing of the list is clicked beside others, or no more.
fn hearing_too(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(Item::Hearing(index)) = marked(state) else {
        state.tell("here is nothing to click; a hearing can be", false);
        return;
    };
    let clicked: Vec<usize> = state.also.iter().filter_map(|c| state.find(*c)).map(|(i, _)| i).collect();
    let chosen = |state: &State, i: usize| {
        let h = state.report()?.0.hearings.get(i)?;
        Some(Chosen { kind: h.kind, period: h.period() })
    };
    let others = clicked.iter().filter(|i| **i != index).filter_map(|i| chosen(state, *i)).collect();
    let more = if clicked.contains(&index) { None } else { chosen(state, index) };
    state.also = others;
    state.also.extend(more);
    let words =
        format!("hearing {} is {} clicked beside others", index + 1, if more.is_some() { "now" } else { "no more" });
    state.tell(words, false);
    replay(state, effects);
}

/// A click that is switched by hand ends a row of takes, which has its own.
fn leave_row(state: &mut State, effects: &mut Vec<Effect>) {
    if matches!(&state.play.running, Some(r) if matches!(r.kind, practice::Kind::Takes(..))) {
        practice::leave(state, effects);
    }
}
