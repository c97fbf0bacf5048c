//! Asking on one line: what the line begins with, and what an answer does.

pub(crate) mod answer;
pub(crate) mod parse;
pub(crate) mod question;
pub(crate) mod typing;

use crate::rhythm::{Swing, print_note_value};
use crate::terminal::dispatch::run_command;
use crate::terminal::event::Effect;
use crate::terminal::files::export;
use crate::terminal::files::import;
use crate::terminal::files::save;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::practice;
use crate::terminal::playback::transport;
use crate::terminal::prompts::answer::Answer;
use crate::terminal::prompts::parse::RenderArgs;
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::TextField;
use crate::terminal::state::{Message, State};

/// Asks a question.
pub(crate) fn ask(state: &mut State, question: Question) {
    let text = begins(state, question);
    state.overlay = Overlay::Prompt { question, kept: !text.is_empty(), text: text.into(), error: None };
}

/// The text the line begins with: what stands there now.
pub(crate) fn begins(state: &State, question: Question) -> String {
    let g = state.session.groove();
    let at = state.session.cursor().place;
    let section = &g.sections()[at.section];
    let layer = g.layers().get(at.layer);
    let swing = |s: Option<Swing>| s.map(|s| s.to_string()).unwrap_or_default();
    match question {
        Question::RenameLayer => layer.map(|l| l.name.clone()).unwrap_or_default(),
        Question::Division => layer.map(|l| l.division.to_string()).unwrap_or_default(),
        Question::LayerSwing => swing(layer.and_then(|l| l.swing)),
        Question::SoundFile => layer.and_then(|l| l.sound.clone()).unwrap_or_default(),
        Question::AccentDepth => layer.and_then(|l| l.depth).map(|d| d.to_string()).unwrap_or_default(),
        Question::Gain => layer.map(|l| l.gain.to_string()).unwrap_or_default(),
        Question::Pan => layer.map(|l| l.pan.to_string()).unwrap_or_default(),
        Question::RenameSection => section.name.clone(),
        Question::Meter => section.meter.to_string(),
        Question::Tempo => format!("{}={}", print_note_value(section.tempo.unit()), section.tempo.bpm()),
        Question::Bars => section.bars.to_string(),
        Question::Times => section.times.to_string(),
        Question::Swing => swing(section.swing),
        Question::Speed => state.play.percent.to_string(),
        Question::Title => g.title().to_owned(),
        Question::Note => g.note().to_owned(),
        Question::Takes => "2 count".into(),
        Question::SaveAs => state.file().unwrap_or_default().to_owned(),
        Question::Ladder => state.ladder.words(),
        Question::PicturesAs => parse::look_words(&state.giving.look),
        _ => export::path_for(state, question).unwrap_or_default(),
    }
}

/// Takes what was typed: does what it says, or asks again and says why.
pub(crate) fn answered(state: &mut State, question: Question, text: TextField, effects: &mut Vec<Effect>) {
    match question.read(text.value(), &state.session) {
        Ok(Answer::Do(command)) => run_command(state, command),
        Ok(Answer::Speed(percent)) => transport::speed(state, percent, effects),
        Ok(Answer::Takes(times, count)) => practice::takes(state, times, count, effects),
        Ok(Answer::Ladder(ladder)) => practice::climb(state, ladder, effects),
        Ok(Answer::SaveAs(name)) => save::write(state, Some(name), false, effects),
        Ok(Answer::Speaker(port, token)) => {
            state.show_message(Message::info(format!("connecting to the remote speaker on port {port} ...")));
            effects.push(Effect::Speaker { port, token });
        }
        Ok(Answer::Bring(path, tolerance)) => import::bring(state, path, tolerance, effects),
        Ok(Answer::Look(look)) => export::look(state, look),
        Ok(Answer::Path(name)) => export::make(state, question, &RenderArgs { name, ..RenderArgs::default() }, effects),
        Ok(Answer::Sound(words)) => export::make(state, question, &words, effects),
        Err(error) => state.overlay = Overlay::Prompt { question, text, kept: false, error: Some(error) },
    }
}
