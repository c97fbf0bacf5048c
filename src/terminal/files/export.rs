//! Exports in the editor: the list to choose from, the job that is asked for, its progress and its end.

use crate::analysis::Kind;
use crate::jobs::{
    ExportChoice, ExportChoices, ExportKind, HearingKey, HearingSelection, Job, JobError, JobKind, JobReport, Length,
    Overwrite, PictureStyle, SampleRate, Target,
};
use crate::terminal::event::Effect;
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::prompts::ask;
use crate::terminal::prompts::parse::{self, RenderArgs};
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::TextField;
use crate::terminal::state::{Message, State, Strips};
use std::path::{Path, PathBuf};

/// What is exported.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// The whole groove in a format.
    Groove,
    /// The section of the cursor in a format.
    Section,
    /// A handout.
    Handout,
}

/// What is remembered of it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Giving {
    pub offers: ExportChoices,
    /// What was chosen last from the list.
    picked: Option<(Choice, usize)>,
    pub look: PictureStyle,
    /// What is under way: something is made, or a groove is read.
    pub making: Option<Making>,
}

/// Work that is under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Making {
    /// `making`, `reading`.
    pub doing: &'static str,
    pub percent: Option<u8>,
}

/// The offers that hold every word typed, best first.
pub(crate) fn found<'a>(state: &'a State, choice: Choice, text: &str) -> Vec<(usize, &'a ExportChoice)> {
    let text = text.to_lowercase();
    let holds = |o: &&ExportChoice| {
        let all = format!("{} {}", o.name, o.description).to_lowercase();
        text.split_whitespace().all(|w| all.contains(w))
    };
    let mut found: Vec<(usize, &ExportChoice)> =
        list(state, choice).iter().enumerate().filter(|(_, o)| holds(o)).collect();
    let named = text.trim().replace(' ', "-");
    found.sort_by_key(|(_, o)| (o.name != named, !o.name.starts_with(&named)));
    found
}

fn list(state: &State, choice: Choice) -> &[ExportChoice] {
    match choice {
        Choice::Groove | Choice::Section => &state.giving.offers.formats,
        Choice::Handout => &state.giving.offers.handouts,
    }
}

/// Opens the list to choose from.
pub(crate) fn choose(state: &mut State, choice: Choice) {
    if !busy(state) {
        state.overlay = Overlay::Offers { choice, text: TextField::default(), chosen: 0 };
    }
}

/// Whether something is under way, which is then told.
pub(crate) fn busy(state: &mut State) -> bool {
    let busy = state.giving.making.is_some();
    if busy {
        state.show_message(Message::warning("another export is running; Esc cancels it"));
    }
    busy
}

/// Takes a line of the list: asks where it goes.
pub(crate) fn pick(state: &mut State, choice: Choice, text: TextField, chosen: usize) {
    let Some(index) = found(state, choice, text.value()).get(chosen).map(|f| f.0) else {
        state.overlay = Overlay::Offers { choice, text, chosen };
        return;
    };
    state.giving.picked = Some((choice, index));
    ask(state, if choice == Choice::Handout { Question::HandoutInto } else { Question::ExportAs });
}

fn picked(state: &State) -> Option<(Choice, &ExportChoice)> {
    let (choice, index) = state.giving.picked?;
    Some((choice, list(state, choice).get(index)?))
}

/// What a question about a file begins with: a name beside the groove's own file, with what else is usual.
pub(crate) fn path_for(state: &State, question: Question) -> Option<String> {
    let file = Path::new(state.file().unwrap_or("groove.toml"));
    let named = |more: &str, ending: &str| {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        file.with_file_name(format!("{stem}{more}.{ending}")).display().to_string()
    };
    Some(match question {
        Question::ExportAs => {
            let (choice, offer) = picked(state)?;
            let picture = offer.name.split_once('-').map(|(_, p)| format!("-{p}")).unwrap_or_default();
            let section = &state.groove().sections()[state.session.cursor().place.section].name;
            let plain = |c: char| if c.is_alphanumeric() || c == '-' { c } else { '-' };
            let section: String = section.chars().map(plain).collect();
            let section = if choice == Choice::Section { format!("-{section}") } else { String::new() };
            named(&format!("{section}{picture}"), offer.ending)
        }
        Question::HandoutInto => file.with_file_name("handout").display().to_string(),
        Question::RenderWav => named("", "wav"),
        Question::TakesWav => format!("{} x2", named("-takes", "wav")),
        Question::LadderWav => named("-ladder", "wav"),
        _ => return None,
    })
}

/// The hearings of the strips that are not the written beat, and those that are clicked beside.
fn hearings(state: &State) -> Vec<HearingKey> {
    let Some((report, _)) = state.report() else { return Vec::new() };
    let mut shown = state.clicked(true, true);
    if state.strips == Strips::All
        && let Some(layout) = state.layout()
    {
        // The written beat has the first strip.
        let room = usize::from(layout.strips.height).saturating_sub(1);
        let others: Vec<usize> = (0..report.hearings.len()).filter(|i| !shown.contains(i)).collect();
        let own = |i: &usize| report.hearings[*i].kind != Kind::Written;
        let count = room.saturating_sub(shown.iter().filter(|i| own(i)).count().min(1));
        shown.extend(others.into_iter().filter(own).take(count));
    }
    let of = |i: usize| report.hearings.get(i).filter(|h| h.kind != Kind::Written).map(HearingKey::of);
    shown.into_iter().filter_map(of).collect()
}

/// Sets how pictures look.
pub(crate) fn look(state: &mut State, look: PictureStyle) {
    state.show_message(Message::info(format!("picture settings: {}", parse::look_words(&look))));
    state.giving.look = look;
}

/// Makes what was asked for, under the name and with the words that were typed.
pub(crate) fn make(state: &mut State, question: Question, words: &RenderArgs, effects: &mut Vec<Effect>) {
    if busy(state) {
        return;
    }
    let mut target = PathBuf::from(&words.name);
    let kind = match question {
        Question::ExportAs | Question::HandoutInto => {
            let Some((choice, picked)) = picked(state) else { return };
            let style = state.giving.look.clone();
            match picked.kind {
                ExportKind::Format(format, picture) => {
                    let section = (choice == Choice::Section).then(|| state.session.cursor().place.section);
                    JobKind::Export { format, picture, section, style }
                }
                ExportKind::Handout(format, sound) => {
                    let stem = Path::new(state.file().unwrap_or("groove")).file_stem().unwrap_or_default();
                    target.push(format!("{}.{}", stem.to_string_lossy(), picked.ending));
                    JobKind::Handout { format, sound, notation: style.notation }
                }
            }
        }
        Question::RenderWav => {
            let passes = Length::Loops(words.times.unwrap_or(1));
            JobKind::Render(Box::new(state.playing().take()), words.seconds.map_or(passes, Length::Seconds))
        }
        Question::TakesWav => JobKind::Takes {
            takes: Vec::new(),
            times: words.times.unwrap_or(2),
            count_in: words.count,
            speed: state.speed(),
        },
        _ => {
            let mut take = state.playing().take();
            (take.times, take.count_in) = (state.ladder.loops, state.playing().count_in());
            let (speeds, silence) = (state.ladder.speeds.clone(), state.ladder.silence);
            JobKind::Ladder { take: Box::new(take), speeds, silence }
        }
    };
    // Takes go from the written beat to the hearing of the strip.
    let hearings = match (&kind, state.strip()) {
        (JobKind::Takes { .. }, Some((_, h))) if h.kind != Kind::Written => vec![HearingKey::of(h)],
        (JobKind::Takes { .. }, _) => Vec::new(),
        _ => hearings(state),
    };
    let job = Job {
        groove: state.groove().clone(),
        file: state.file().map(PathBuf::from),
        target: Target::File(target),
        overwrite: Overwrite::Never,
        limits: state.limits,
        layers: state.ask().scope.layers,
        hearings: HearingSelection::Keys(hearings),
        rate: words.hertz.and_then(SampleRate::new).unwrap_or(SampleRate::STUDIO),
        kind,
    };
    begin(state, "making", &words.name);
    effects.push(Effect::RunJob(Box::new(job)));
}

/// Notes that something is under way.
pub(crate) fn begin(state: &mut State, doing: &'static str, path: &str) {
    state.giving.making = Some(Making { doing, percent: None });
    state.show_message(Message::info(format!("{doing} {path}; Esc cancels")));
}

/// Cancels what is under way; gives whether there was anything.
pub(crate) fn cancel(state: &mut State, effects: &mut Vec<Effect>) -> bool {
    if state.giving.making.is_none() {
        return false;
    }
    effects.push(Effect::CancelJob);
    state.show_message(Message::info("cancelling"));
    true
}

/// Runs a job again and replaces the files that exist.
pub(crate) fn replace(state: &mut State, mut job: Box<Job>, effects: &mut Vec<Effect>) {
    if !busy(state) {
        job.overwrite = Overwrite::Always;
        begin(state, "making", &job.target.path().display().to_string());
        effects.push(Effect::RunJob(job));
    }
}

/// Takes the progress of the job.
pub(crate) fn progress(state: &mut State, percent: u8) {
    if let Some(making) = &mut state.giving.making {
        making.percent = Some(percent);
    }
}

/// Takes the end of a job.
pub(crate) fn done(state: &mut State, job: Box<Job>, result: Result<JobReport, JobError>) {
    state.giving.making = None;
    match result {
        Ok(report) => {
            let notes = match &report.notes[..] {
                [] => String::new(),
                [note] => format!("; {note}"),
                [note, rest @ ..] => format!("; {note} (and {} more)", rest.len()),
            };
            state.show_message(Message::info(format!("{}{notes}", report.summary())));
        }
        Err(error @ JobError::Cancelled) => state.show_message(Message::info(error.to_string())),
        Err(JobError::Exists(path)) => {
            state.pending_overwrite = Some(PendingOverwrite::Job(job, path.display().to_string()));
        }
        // The line is short, and the reason matters most.
        Err(JobError::Write { path, reason, .. }) => {
            state.show_message(Message::warning(format!("not written, {reason}: {}", path.display())));
        }
        Err(error @ JobError::Incomplete { .. }) => state.show_message(Message::warning(error.to_string())),
        Err(error) => state.show_message(Message::warning(format!("not written, {error}"))),
    }
}
