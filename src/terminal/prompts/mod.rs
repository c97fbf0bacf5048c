//! The prompt: the text it starts with, and the effect of an answer.

pub(crate) mod answer;
pub(crate) mod parse;
pub(crate) mod preview;
pub(crate) mod question;
pub(crate) mod typing;
pub(crate) mod voices;

use crate::jobs::Overwrite;
use crate::rhythm::{Swing, print_note_value};
use crate::terminal::files::{export, import, replacement, save};
use crate::terminal::playback::{practice, transport};
use crate::terminal::prompts::answer::Answer;
use crate::terminal::prompts::parse::RenderArgs;
use crate::terminal::recording::tone;
use crate::terminal::{Overlay, Question, State, TextField, grid_search, run_command};

pub(crate) fn ask(state: &mut State, question: Question) {
    let text = current_value(state, question);
    let unedited = !text.is_empty();
    state.overlay = Overlay::Prompt { question, unedited, text: text.into(), moved_to: None, error: None };
}

fn current_value(state: &State, question: Question) -> String {
    let g = state.session.groove();
    let at = state.session.cursor().place;
    let section = &g.sections()[at.section];
    let layer = g.layers().get(at.layer);
    let swing = |s: Option<Swing>| s.map(|s| s.to_string()).unwrap_or_default();
    match question {
        Question::RenameLayer => layer.map(|l| l.name.clone()).unwrap_or_default(),
        Question::Division(_) => layer.map(|l| l.divisions[at.section].to_string()).unwrap_or_default(),
        Question::LayerSwing => swing(layer.and_then(|l| l.swing)),
        Question::SoundFile => layer.and_then(|l| l.sound.clone()).unwrap_or_default(),
        Question::Recording => g.recording().map(|r| r.file.clone()).unwrap_or_default(),
        Question::RecordingBand => state.recording.sound.band(),
        Question::RecordingPitch => state.recording.sound.tone.semitones.to_string(),
        Question::RecordingLevel => state.recording.sound.level_db.to_string(),
        Question::AccentDepth => layer.and_then(|l| l.depth).map(|d| d.to_string()).unwrap_or_default(),
        Question::Gain => layer.map(|l| l.gain.to_string()).unwrap_or_default(),
        Question::Pan => layer.map(|l| l.pan.to_string()).unwrap_or_default(),
        Question::Anchor => state.anchor_at_mark().unwrap_or_default(),
        Question::RenameSection => section.name.clone(),
        Question::Meter(_) => section.meter.to_string(),
        Question::Tempo => format!("{}={}", print_note_value(section.tempo.unit()), section.tempo.bpm()),
        Question::Bars => section.bars.to_string(),
        Question::Times => section.times.to_string(),
        Question::Swing => swing(section.swing),
        Question::Speed => state.playback.speed_percent.to_string(),
        Question::Title => g.title().to_owned(),
        Question::Note => g.note().to_owned(),
        Question::Takes => "2 count".into(),
        Question::SaveAs => state.file().unwrap_or_default().to_owned(),
        Question::Ladder => state.playback.ladder.to_text(),
        Question::PicturesAs => parse::picture_style_text(&state.files.export.style),
        _ => export::default_path(state, question).unwrap_or_default(),
    }
}

pub(crate) fn on_answer(state: &mut State, question: Question, text: TextField, moved_to: Option<usize>) {
    match question.parse(&voices::completed(question, text.value(), moved_to), &state.session) {
        Ok(Answer::Run(command)) => run_command(state, command),
        Ok(Answer::Tone(change)) => tone::change(state, change),
        Ok(Answer::Speed(percent)) => transport::set_speed(state, percent),
        Ok(Answer::Takes(times, count_in)) => practice::play_takes(state, times, count_in),
        Ok(Answer::Ladder(ladder)) => practice::start_ladder(state, ladder),
        Ok(Answer::Open(name)) => replacement::open(state, name),
        Ok(Answer::SaveAs(name)) => save::write(state, Some(save::with_extension(name)), Overwrite::Never),
        Ok(Answer::Import(path, tolerance)) => import::start(state, path, tolerance),
        Ok(Answer::PictureStyle(style)) => export::set_style(state, style),
        Ok(Answer::Marks(marks, beats)) => grid_search::lay_marks(state, marks, beats),
        Ok(Answer::AlignGroups(groups)) => grid_search::align_groups(state, groups),
        Ok(Answer::Path(name)) => {
            export::start(state, question, &RenderArgs { name, ..RenderArgs::default() });
        }
        Ok(Answer::Sound(args)) => export::start(state, question, &args),
        Err(error) => {
            state.overlay = Overlay::Prompt { question, text, unedited: false, moved_to: None, error: Some(error) };
        }
    }
}
