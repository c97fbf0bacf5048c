//! Questions whose answer carries out or drops a pending action.

use crate::jobs::{Job, Overwrite};
use crate::session::Choice;
use crate::terminal::files::replacement::{Replacement, replace};
use crate::terminal::files::{export, outside_sounds, save};
use crate::terminal::view::end;
use crate::terminal::{Mode, Overlay, State, dispatch, run_command};
use std::path::PathBuf;
use unicode_width::UnicodeWidthStr;

/// A question with its pending action.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Confirmation {
    /// Quit with unsaved changes?
    Quit,
    /// Save over the groove's own file, which another program changed? How it differs from the groove.
    OverwriteChanged(Vec<String>),
    /// Save over another file of this name?
    OverwriteOther(String),
    /// Run the job again over a file of this name?
    OverwriteByJob(Box<Job>, String),
    /// Replace unsaved changes by another groove?
    Replace(Box<Replacement>),
    /// Read these sound files outside the groove's folder?
    ReadSounds(Vec<PathBuf>),
    /// Which of several meanings does a command have?
    Meaning(Choice),
}

/// An answer other than no.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reply {
    Yes,
    /// Save the groove, then yes.
    SaveFirst,
    /// Index of an answer of a [`Choice`].
    Answer(usize),
}

impl Confirmation {
    pub(crate) fn mode(&self) -> Mode {
        match self {
            Self::Quit => Mode::ConfirmQuit,
            Self::OverwriteChanged(_) | Self::OverwriteOther(_) | Self::OverwriteByJob(..) => Mode::ConfirmOverwrite,
            Self::Replace(_) => Mode::ConfirmImport,
            Self::ReadSounds(_) => Mode::ConfirmSounds,
            Self::Meaning(_) => Mode::Choice,
        }
    }

    /// The question with the keys of its answers, for so many columns.
    pub(crate) fn text(&self, state: &State, width: usize) -> String {
        let key = |name| state.key(name);
        let (file, problem) = match self {
            Self::Quit => {
                let (save, discard, cancel) = (key("quit-save"), key("quit-discard"), key("quit-cancel"));
                return format!("Not saved. {save}: save and quit, {discard}: quit unsaved, {cancel}: cancel");
            }
            Self::Replace(replacement) => {
                let (save, discard, cancel) = (key("import-save"), key("import-discard"), key("import-cancel"));
                let action = match **replacement {
                    Replacement::Import(_) => "import",
                    Replacement::File(_) => "open",
                    Replacement::New => "start over",
                };
                return format!("Not saved. {save}: save and {action}, {discard}: only {action}, {cancel}: cancel");
            }
            Self::ReadSounds(_) => {
                return format!(
                    "Read these files? {}: yes, now and later; {}: no",
                    key("sounds-allow"),
                    key("sounds-refuse")
                );
            }
            Self::Meaning(Choice { question, answers }) => {
                let keys = ["choose-first", "choose-second"].map(key);
                let answers = answers.iter().zip(keys).map(|((text, _), key)| format!("{key}: {text}"));
                let answers: Vec<String> = answers.chain([format!("{}: cancel", key("choose-cancel"))]).collect();
                return format!("{question}. {}", answers.join(", "));
            }
            Self::OverwriteChanged(_) if width < 76 => (state.file().unwrap_or_default(), "was changed."),
            Self::OverwriteChanged(_) => (state.file().unwrap_or_default(), "was changed by another program."),
            Self::OverwriteOther(name) | Self::OverwriteByJob(_, name) => (name.as_str(), "already exists."),
        };
        let text = format!(" {problem} Overwrite it? {}: yes, {}: no", key("overwrite-yes"), key("overwrite-no"));
        // The end of a path is the most important part of it.
        format!("{}{text}", end(file, width.saturating_sub(text.width())))
    }
}

/// Carries out the action of the open question.
pub(crate) fn confirm(state: &mut State, reply: Reply) {
    let Overlay::Confirm(confirmation) = std::mem::take(&mut state.overlay) else { return };
    match (confirmation, reply) {
        (Confirmation::Quit, Reply::SaveFirst) => {
            state.files.quit_after_save = true;
            save::save(state);
        }
        (Confirmation::Quit, _) => dispatch::quit_without_saving(state),
        (Confirmation::OverwriteChanged(_), _) => save::write(state, None, Overwrite::Always),
        (Confirmation::OverwriteOther(name), _) => save::write(state, Some(name), Overwrite::Always),
        (Confirmation::OverwriteByJob(job, _), _) => export::run_and_overwrite(state, job),
        (Confirmation::Replace(replacement), Reply::SaveFirst) => {
            state.files.replacement.pending_save = Some(replacement);
            save::save(state);
        }
        (Confirmation::Replace(replacement), _) => replace(state, *replacement),
        (Confirmation::ReadSounds(paths), _) => outside_sounds::allow(state, paths),
        (Confirmation::Meaning(choice), Reply::Answer(index)) => {
            if let Some((_, command)) = choice.answers.into_iter().nth(index) {
                run_command(state, command);
            }
        }
        (Confirmation::Meaning(_), _) => {}
    }
}
