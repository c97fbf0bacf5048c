//! Exports, as far as the state goes: the list to select from, the job, its progress and its end.

use crate::analysis::HearingKind;
use crate::jobs::{
    ExportChoice, ExportChoices, ExportKind, HearingKey, HearingSelection, Job, JobError, JobKind, JobReport, Length,
    OutsideSounds, Overwrite, PictureStyle, SampleRate, Target,
};
use crate::terminal::files::RunningJob;
use crate::terminal::playback::playing::Mix;
use crate::terminal::prompts::parse::{self, RenderArgs};
use crate::terminal::view::Strips;
use crate::terminal::{Confirmation, Effect, Overlay, Question, State, TextField, ask};
use std::path::{Path, PathBuf};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ExportMenu {
    Groove,
    Section,
    Handout,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct ExportState {
    pub choices: ExportChoices,
    /// The last selection from a list.
    selected: Option<(ExportMenu, usize)>,
    pub style: PictureStyle,
}

/// The choices of a list that contain every word of `text`, the best match first.
pub(crate) fn search<'a>(state: &'a State, menu: ExportMenu, text: &str) -> Vec<(usize, &'a ExportChoice)> {
    let text = text.to_lowercase();
    let matches = |o: &&ExportChoice| {
        let all = format!("{} {}", o.name, o.description).to_lowercase();
        text.split_whitespace().all(|w| all.contains(w))
    };
    let mut found: Vec<(usize, &ExportChoice)> =
        list(state, menu).iter().enumerate().filter(|(_, o)| matches(o)).collect();
    let name = text.trim().replace(' ', "-");
    found.sort_by_key(|(_, o)| (o.name != name, !o.name.starts_with(&name)));
    found
}

fn list(state: &State, menu: ExportMenu) -> &[ExportChoice] {
    match menu {
        ExportMenu::Groove | ExportMenu::Section => &state.files.export.choices.formats,
        ExportMenu::Handout => &state.files.export.choices.handouts,
    }
}

pub(crate) fn open_menu(state: &mut State, menu: ExportMenu) {
    if !is_busy(state) {
        state.overlay = Overlay::Export { menu, text: TextField::default(), selected: 0 };
    }
}

/// Whether a job runs; if so, shows a message.
pub(crate) fn is_busy(state: &mut State) -> bool {
    let busy = state.files.job.is_some();
    if busy {
        state.warn("another export is running; Esc cancels it");
    }
    busy
}

pub(crate) fn select_format(state: &mut State, menu: ExportMenu, text: TextField, selected: usize) {
    let Some(index) = search(state, menu, text.value()).get(selected).map(|f| f.0) else {
        state.overlay = Overlay::Export { menu, text, selected };
        return;
    };
    state.files.export.selected = Some((menu, index));
    ask(state, if menu == ExportMenu::Handout { Question::HandoutInto } else { Question::ExportAs });
}

fn selected(state: &State) -> Option<(ExportMenu, &ExportChoice)> {
    let (menu, index) = state.files.export.selected?;
    Some((menu, list(state, menu).get(index)?))
}

/// The proposed answer to a question for a file: a name in the folder of the groove, and default arguments.
pub(crate) fn default_path(state: &State, question: Question) -> Option<String> {
    let file = Path::new(state.file().unwrap_or("groove.toml"));
    let named = |suffix: &str, ending: &str| {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        file.with_file_name(format!("{stem}{suffix}.{ending}")).display().to_string()
    };
    Some(match question {
        Question::ExportAs => {
            let (menu, choice) = selected(state)?;
            let picture = choice.name.split_once('-').map(|(_, p)| format!("-{p}")).unwrap_or_default();
            let section = &state.groove().sections()[state.session.cursor().place.section].name;
            let plain = |c: char| if c.is_alphanumeric() || c == '-' { c } else { '-' };
            let section: String = section.chars().map(plain).collect();
            let section = if menu == ExportMenu::Section { format!("-{section}") } else { String::new() };
            named(&format!("{section}{picture}"), choice.ending)
        }
        Question::HandoutInto => file.with_file_name("handout").display().to_string(),
        Question::RenderWav => named("", "wav"),
        Question::TakesWav => format!("{} x2", named("-takes", "wav")),
        Question::LadderWav => named("-ladder", "wav"),
        _ => return None,
    })
}

/// The hearings that are shown or click, except the written beat.
fn hearings(state: &State) -> Vec<HearingKey> {
    let Some((report, _)) = state.report() else { return Vec::new() };
    let mut indices = state.clicked_hearings(true);
    if state.view.strips == Strips::All
        && let Some(layout) = state.layout()
    {
        // The first strip is that of the written beat.
        let room = usize::from(layout.strips.height).saturating_sub(1);
        let others: Vec<usize> = (0..report.hearings.len()).filter(|i| !indices.contains(i)).collect();
        let rival = |i: &usize| report.hearings[*i].kind != HearingKind::Written;
        let count = room.saturating_sub(indices.iter().filter(|i| rival(i)).count().min(1));
        indices.extend(others.into_iter().filter(rival).take(count));
    }
    let key = |i: usize| report.hearings.get(i).filter(|h| h.kind != HearingKind::Written).map(HearingKey::of);
    indices.into_iter().filter_map(key).collect()
}

pub(crate) fn set_style(state: &mut State, style: PictureStyle) {
    state.info(format!("picture settings: {}", parse::picture_style_text(&style)));
    state.files.export.style = style;
}

pub(crate) fn start(state: &mut State, question: Question, args: &RenderArgs) {
    if is_busy(state) {
        return;
    }
    let (mut target, mut groove) = (PathBuf::from(&args.name), state.groove().clone());
    let kind = match question {
        Question::ExportAs | Question::HandoutInto => {
            let Some((menu, choice)) = selected(state) else { return };
            let style = state.files.export.style.clone();
            match choice.kind {
                ExportKind::Format(format, picture) => {
                    let section = (menu == ExportMenu::Section).then(|| state.session.cursor().place.section);
                    JobKind::Export { format, picture, section, style }
                }
                ExportKind::Handout(format, sound) => {
                    let stem = Path::new(state.file().unwrap_or("groove")).file_stem().unwrap_or_default();
                    target.push(format!("{}.{}", stem.to_string_lossy(), choice.ending));
                    JobKind::Handout { format, sound, notation: style.notation }
                }
            }
        }
        Question::RenderWav => {
            let (spec, times) = (state.loop_spec(), args.times.unwrap_or(1));
            let mut take = spec.take();
            groove = spec.groove.clone();
            if args.count_in > 0 {
                (take.name, take.times) = ("groove".to_owned(), times);
                (take.count_in, take.count_in_bars) = (spec.count_in(), args.count_in);
            }
            JobKind::Render(Box::new(take), args.seconds.map_or(Length::Passes(times), Length::Seconds))
        }
        Question::TakesWav => {
            let (times, count_in, speed) = (args.times.unwrap_or(2), args.count_in, state.speed());
            let spec = state.with_recording(state.loop_spec_with(Mix::GROOVE));
            let recording = spec.recording.map(|_| state.recording.sound);
            groove = spec.groove;
            JobKind::Takes { takes: Vec::new(), times, count_in, speed, recording }
        }
        _ => {
            let spec = state.loop_spec();
            let mut take = spec.take();
            groove = spec.groove.clone();
            (take.times, take.count_in) = (state.playback.ladder.loops, spec.count_in());
            let (speeds, silence) = (state.playback.ladder.speeds.clone(), state.playback.ladder.silence);
            JobKind::Ladder { take: Box::new(take), speeds, silence }
        }
    };
    // Takes click the written beat and the hearing of the strip.
    let hearings = match (&kind, state.strip_hearing()) {
        (JobKind::Takes { .. }, Some((_, h))) if h.kind != HearingKind::Written => vec![HearingKey::of(h)],
        (JobKind::Takes { .. }, _) => Vec::new(),
        _ => hearings(state),
    };
    let job = Job {
        groove,
        file: state.file().map(PathBuf::from),
        outside: OutsideSounds::Only(state.files.outside_sounds.allowed.clone()),
        target: Target::File(target),
        overwrite: Overwrite::Never,
        limits: state.hearings.limits,
        layers: state.analysis_options().scope.layers,
        hearings: HearingSelection::Keys(hearings),
        rate: args.hertz.and_then(SampleRate::new).unwrap_or(SampleRate::STUDIO),
        kind,
    };
    set_job(state, "making", &args.name);
    state.effects.push(Effect::RunJob(Box::new(job)));
}

pub(crate) fn set_job(state: &mut State, verb: &'static str, path: &str) {
    state.files.job = Some(RunningJob { verb, percent: None });
    state.info(format!("{verb} {path}; Esc cancels"));
}

/// Cancels the job; returns whether there was one.
pub(crate) fn cancel(state: &mut State) -> bool {
    if state.files.job.is_none() {
        return false;
    }
    state.effects.push(Effect::CancelJob);
    state.info("cancelling");
    true
}

pub(crate) fn cancel_job(state: &mut State) {
    if !cancel(state) {
        state.info("no export or import is running");
    }
}

pub(crate) fn run_and_overwrite(state: &mut State, mut job: Box<Job>) {
    if !is_busy(state) {
        job.overwrite = Overwrite::Always;
        set_job(state, "making", &job.target.path().display().to_string());
        state.effects.push(Effect::RunJob(job));
    }
}

pub(crate) fn on_progress(state: &mut State, percent: u8) {
    if let Some(job) = &mut state.files.job {
        job.percent = Some(percent);
    }
}

pub(crate) fn on_done(state: &mut State, job: Box<Job>, result: Result<JobReport, JobError>) {
    state.files.job = None;
    match result {
        Ok(report) => {
            let notes = match &report.notes[..] {
                [] => String::new(),
                [note] => format!("; {note}"),
                [note, rest @ ..] => format!("; {note} (and {} more)", rest.len()),
            };
            state.info(format!("{}{notes}", report.summary()));
        }
        Err(error @ JobError::Cancelled) => state.info(error.to_string()),
        Err(JobError::Exists(path)) => {
            state.files.pending_overwrite = Some(Confirmation::OverwriteByJob(job, path.display().to_string()));
        }
        // The reason comes first: the message line is short.
        Err(JobError::Write { path, reason, .. }) => {
            state.warn(format!("not written ({reason}): {}", path.display()));
        }
        Err(error @ JobError::Incomplete { .. }) => state.warn(error.to_string()),
        Err(error) => state.warn(format!("not written: {error}")),
    }
}
