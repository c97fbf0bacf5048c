//! Runs the editor: carries out effects and sends events. Only this part uses the terminal, threads, signals, the disk and the
//! output device.

mod analysis_worker;
mod disk;
mod documents;
mod input;
mod job_runner;
mod journals;
mod opening;
mod playback;
mod recovery;
mod screen;
mod variants_worker;

pub(crate) use playback::SocketFile;
pub use playback::read_recording;
pub use screen::Screen;
pub(crate) use screen::leave_screen;
pub use variants_worker::make_variants;

use crate::analysis::tap::Offset;
use crate::jobs::grid::{self, GridJob};
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::sound::playback::{PlaybackEvent, PlaybackRequest};
use crate::sound::{self, OutputDevice};
use crate::store::{Calibration, LoadError, Overwrite, StateFolder, UnsavedJournal};
use crate::terminal::files::recovery::on_journal;
use crate::terminal::files::replacement::OpenedFile;
use crate::terminal::{Effect, Event, State, start, update};
use analysis_worker::AnalysisWorker;
use disk::Disk;
use input::InputBacklog;
use job_runner::JobRunner;
use journals::Journals;
use opening::{Opening, open};
use playback::{PlaybackHandle, RemoteSpeaker};
use ratatui::crossterm;
use recovery::OfferedJournals;
use std::fmt;
use std::io::{self, IsTerminal};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use variants_worker::VariantsWorker;

/// Why the editor could not start or had to end.
#[derive(Debug)]
pub enum EditorError {
    /// Standard input or output is not a terminal.
    NoTerminal,
    /// The groove could not be read.
    Groove(LoadError),
    /// The terminal failed.
    Terminal(io::Error),
    /// The remote speaker cannot be used; what to do.
    Speaker(String),
    /// The recording cannot lie under a groove: why.
    Recording(String),
}

impl fmt::Display for EditorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTerminal => f.write_str("the editor needs a terminal; `teeter explain FILE` works without one"),
            Self::Groove(error) => error.fmt(f),
            Self::Terminal(error) => write!(f, "terminal error: {error}"),
            Self::Speaker(reason) | Self::Recording(reason) => f.write_str(reason),
        }
    }
}

impl std::error::Error for EditorError {}

impl From<io::Error> for EditorError {
    fn from(error: io::Error) -> Self {
        Self::Terminal(error)
    }
}

/// Edits a groove, or a new one if `path` is `None`, the file is missing or is a recording, until the user quits. A signal or a panic leaves
/// unsaved changes in the journal. With the socket of a remote speaker it plays there.
///
/// # Errors
/// [`EditorError`] if there is no terminal, the file is not a groove, the terminal fails or the speaker does not answer.
pub fn edit(path: Option<&Path>, socket: Option<&Path>) -> Result<(), EditorError> {
    let speaker = socket.map(RemoteSpeaker::connect).transpose().map_err(EditorError::Speaker)?;
    if !io::stdout().is_terminal() || !io::stdin().is_terminal() {
        return Err(EditorError::NoTerminal);
    }
    let folder = StateFolder::of_user();
    let Opening { mut state, path, asks_background, documents, output, mut offered_journals } =
        open(path, folder.clone())?;
    let (sender, events) = mpsc::channel();
    // In a login over ssh or a terminal multiplexer, a speaker may come later or come again.
    let joinable = socket.is_some() || ["SSH_CONNECTION", "TMUX", "STY"].into_iter().any(is_set);
    let listing = folder.clone().filter(|_| joinable);
    let name = path.as_deref().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
    let listed = listing.as_ref().and_then(|folder| folder.list_editor(&name));
    let (target, base) = documents.current_path_and_text();
    let (journals, started) = Journals::start(folder, target, base, sender.clone());
    let journals = Arc::new(Mutex::new(journals));
    on_journal(&mut state, started);
    let workers = Workers {
        disk: Disk::start(documents, sender.clone()),
        journals,
        playback: PlaybackHandle::start(sender.clone(), output, speaker, listing.clone()),
        analysis: AnalysisWorker::start(sender.clone()),
        variants: VariantsWorker::start(sender.clone()),
        job_runner: JobRunner::new(sender.clone()),
        events: sender.clone(),
    };
    workers.playback.set_volume(state.playback.sound.volume_db as f32);
    let guard = screen::enter_guarded()?;
    forward_signals(&sender)?;
    let backlog = input::start(sender)?;
    if asks_background {
        screen::ask_background()?;
    }
    let size = crossterm::terminal::size()?;
    update(&mut state, Event::Resize(size.0, size.1));
    let mut screen = Screen::new(io::stdout());
    let ended = event_loop(&mut state, &mut screen, &events, &backlog, &workers, &mut offered_journals);
    let Workers { disk, journals, playback, job_runner, .. } = workers;
    // The running job removes its temporary files before the screen is restored.
    drop(job_runner);
    drop(guard);
    playback.stop();
    drop(listed);
    disk.end();
    lock(&journals).end(*ended.as_ref().unwrap_or(&true));
    Ok(ended.map(drop)?)
}

struct Workers {
    disk: Disk,
    journals: Arc<Mutex<Journals>>,
    playback: PlaybackHandle,
    analysis: AnalysisWorker,
    variants: VariantsWorker,
    job_runner: JobRunner,
    events: Sender<Event>,
}

impl Workers {
    /// Saves the document to a file that was read, and starts its journal from what is in the file.
    fn use_file(&self, document: DocumentId, opened: Box<OpenedFile>) {
        let (journals, events) = (self.journals.clone(), self.events.clone());
        self.disk.run(move |documents| {
            documents.use_file(document, &opened);
            let OpenedFile { name, loaded, .. } = *opened;
            let path = Some(PathBuf::from(name));
            let rebased = lock(&journals).rebase(document, path, Some(loaded.text), Some(&loaded.groove));
            events.send(Event::Journal(rebased)).ok()?;
            None
        });
    }

    /// Saves the groove, and starts its journal again from what is then in the file.
    fn save(&self, groove: Arc<Groove>, other: Option<PathBuf>, overwrite: Overwrite) {
        let (journals, events) = (self.journals.clone(), self.events.clone());
        self.disk.run(move |documents| {
            let (document, result) = (documents.current, documents.save(&groove, other, overwrite));
            if result.is_ok() {
                let (path, text) = documents.current_path_and_text();
                let rebased = lock(&journals).rebase(document, path, text, Some(&groove));
                events.send(Event::Journal(rebased)).ok()?;
            }
            Some(Event::Saved { document, groove, result })
        });
    }
}

fn save_warning(what: &str, result: Result<(), String>) -> Option<Event> {
    let warning = |reason| PlaybackEvent::Warning(format!("could not save the {what}: {reason}"));
    result.err().map(|reason| Event::Playback(warning(reason)))
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Handles events until the end; returns whether to keep the journal.
fn event_loop<W: io::Write>(
    state: &mut State,
    screen: &mut Screen<W>,
    events: &Receiver<Event>,
    backlog: &InputBacklog,
    workers: &Workers,
    offered_journals: &mut OfferedJournals,
) -> io::Result<bool> {
    let mut effects = start(state);
    loop {
        write_journals(state, &workers.journals, &effects);
        workers.playback.set_sound_access(state.file(), &state.files.outside_sounds.allowed);
        for effect in effects.drain(..) {
            match effect {
                Effect::Analyse { revision, groove, options } => {
                    workers.analysis.request(analysis_worker::Request { revision, groove, options });
                }
                // Journals are written above: only the newest groove of each document counts.
                Effect::Journal { .. } | Effect::Tap(None) => {}
                Effect::AdoptUnsaved(id, document) => adopt(state, workers, offered_journals, (id, document)),
                Effect::ReleaseUnsaved(id) => drop(offered_journals[id].take()),
                Effect::DiscardUnsaved(id) => offered_journals[id].take().into_iter().for_each(UnsavedJournal::discard),
                Effect::Save { groove, name, overwrite } => workers.save(groove, name.map(PathBuf::from), overwrite),
                Effect::Play(request, start) => workers.playback.request(PlaybackRequest::Play(*request, start)),
                Effect::Change(request) => workers.playback.request(PlaybackRequest::Change(*request)),
                Effect::Step(sequence) => workers.playback.request(PlaybackRequest::Step(*sequence)),
                Effect::Progress(practice) => {
                    workers.disk.run(|documents| Some(Event::Progress(documents.progress(practice))));
                }
                Effect::Outputs => {
                    let events = workers.events.clone();
                    spawn("outputs", move || drop(events.send(Event::Outputs(list_outputs()))));
                }
                Effect::TrySounds(groove) => workers.playback.try_sounds(groove),
                Effect::AllowSounds(paths) => {
                    workers.disk.run(move |documents| save_warning("answer", documents.allow_sounds(&paths)));
                }
                Effect::Stop => workers.playback.request(PlaybackRequest::Stop),
                Effect::Tap(Some(at)) => workers.playback.tap(at),
                Effect::SaveOffset(Offset { ms, error_ms, .. }) => {
                    let save = move |state: &StateFolder| state.save_calibration(Calibration { ms, error_ms });
                    workers.disk.run(move |documents| Some(Event::OffsetSaved(documents.save_state(save))));
                }
                Effect::SetSound(settings) => {
                    workers.playback.set_volume(settings.volume_db as f32);
                    let save = move |state: &StateFolder| state.save_sound_settings(settings);
                    workers.disk.run(move |documents| save_warning("sound settings", documents.save_state(save)));
                }
                Effect::Copy(text) => screen.copy(&text, std::env::var_os("TMUX").is_some())?,
                Effect::RunJob(job) => workers.job_runner.run(job),
                Effect::Import { path, tolerance } => workers.job_runner.import(path, tolerance),
                Effect::Open(name) => {
                    workers.disk.run(move |documents| Some(Event::Opened(documents.read(name))));
                }
                Effect::UseFile(document, opened) => workers.use_file(document, opened),
                Effect::FindGrid(job) => {
                    let events = workers.events.clone();
                    spawn("grid", move || drop(events.send(find_grid(&job))));
                }
                Effect::Variants(request) => workers.variants.request(request.map(|request| *request)),
                Effect::CancelJob => workers.job_runner.cancel(),
                Effect::SwitchDocument(document) => workers.disk.run(move |documents| {
                    documents.switch_document(document);
                    None
                }),
                Effect::Redraw => screen.invalidate(),
                Effect::Suspend => {
                    screen::suspend()?;
                    retake_terminal(state, screen)?;
                }
                Effect::Resume => retake_terminal(state, screen)?,
                Effect::Quit { keep_journal } => return Ok(keep_journal),
            }
        }
        screen.show(state)?;
        let Ok(event) = events.recv() else { return Ok(true) };
        // One frame for all events that have arrived, unless they arrive faster than they can be handled.
        for event in std::iter::once(event).chain(events.try_iter()).take(MAX_EVENTS_PER_FRAME) {
            backlog.remove(&event);
            effects.extend(update(state, event));
        }
    }
}

/// Events of one frame; the journal is written and the screen drawn between frames.
const MAX_EVENTS_PER_FRAME: usize = 64;

fn is_set(variable: &str) -> bool {
    std::env::var_os(variable).is_some_and(|value| !value.is_empty())
}

/// Takes the terminal again, which the shell or another program had meanwhile.
fn retake_terminal<W: io::Write>(state: &mut State, screen: &mut Screen<W>) -> io::Result<()> {
    screen::resume()?;
    screen.invalidate();
    state.view.size = crossterm::terminal::size()?;
    Ok(())
}

/// Gives the recovered work to its document and removes its old journal, if the new one has it. The others are left.
fn adopt(
    state: &mut State,
    workers: &Workers,
    offered_journals: &mut OfferedJournals,
    (id, document): (usize, DocumentId),
) {
    if state.files.journal_error.is_none()
        && let Some(unsaved) = offered_journals[id].take()
    {
        let base = unsaved.contents.base.clone();
        let adopted = lock(&workers.journals).adopt(document, base.clone());
        workers.disk.run(move |documents| {
            documents.adopt(document, base);
            None
        });
        if adopted.is_ok() {
            unsaved.discard();
        }
        on_journal(state, adopted);
    }
    for other in offered_journals {
        drop(other.take());
    }
}

/// Appends the newest groove of each document to its journal, before a frame shows it.
fn write_journals(state: &mut State, journals: &Mutex<Journals>, effects: &[Effect]) {
    let mut done = Vec::new();
    for effect in effects.iter().rev() {
        let Effect::Journal { document, groove } = effect else { continue };
        if !done.contains(document) {
            done.push(*document);
            let kept = lock(journals).keep(*document, groove);
            on_journal(state, kept);
        }
    }
}

const NO_REAL_TIME: &str =
    "The system grants no real-time priority: if the sound has gaps, see the chapter troubleshooting of the manual.";

/// Lists the output devices, one per line.
fn list_outputs() -> Result<Vec<String>, String> {
    let devices = sound::outputs().map_err(|e| e.to_string())?.into_iter();
    let line = |OutputDevice { name, id, default }| format!("{name}  {id}{}", if default { "  (default)" } else { "" });
    let mut lines: Vec<String> = devices.map(line).collect();
    if !lines.is_empty() && !sound::is_real_time_granted() {
        lines.push(NO_REAL_TIME.to_owned());
    }
    Ok(lines)
}

/// Searches a recording; a panic is an answer too.
fn find_grid(job: &GridJob) -> Event {
    let found = catch_unwind(AssertUnwindSafe(|| grid::find(job)));
    let panicked = |_| Err("internal error in the search; the groove is unchanged".to_owned());
    Event::GridFound(job.revision, found.unwrap_or_else(panicked))
}

/// Runs work on a thread of its own; without a thread it is not done.
fn spawn(name: &str, work: impl FnOnce() + Send + 'static) {
    drop(thread::Builder::new().name(name.into()).spawn(work));
}

/// Sends the signals as events. All that would end the process, unless it cannot go on, end the editor.
fn forward_signals(sender: &Sender<Event>) -> io::Result<()> {
    use signal_hook::consts::{
        SIGALRM, SIGCONT, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP, SIGUSR1, SIGUSR2, SIGVTALRM, SIGWINCH, SIGXCPU,
    };
    let ends = [SIGTERM, SIGHUP, SIGINT, SIGQUIT, SIGUSR1, SIGUSR2, SIGALRM, SIGVTALRM, SIGXCPU];
    let mut signals = signal_hook::iterator::Signals::new(ends.iter().chain(&[SIGTSTP, SIGCONT, SIGWINCH]))?;
    let sender = sender.clone();
    thread::Builder::new().name("signals".into()).spawn(move || {
        for signal in signals.forever() {
            let event = match signal {
                SIGTSTP => Event::Suspend,
                SIGCONT => Event::Resume,
                SIGWINCH => match crossterm::terminal::size() {
                    Ok((width, height)) => Event::Resize(width, height),
                    Err(_) => continue,
                },
                _ => Event::Signal,
            };
            if sender.send(event).is_err() {
                return;
            }
        }
    })?;
    Ok(())
}
