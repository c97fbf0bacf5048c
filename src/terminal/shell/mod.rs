//! Runs the editor: carries out effects and sends events. Only this part uses the terminal, threads, signals, the disk and the
//! output device.

mod analysis_worker;
mod disk;
mod job_runner;
mod playback;
mod screen;

pub(crate) use playback::check_socket;
pub use screen::{Counter, Screen};

use super::playback::playing::SoundLevels;
use super::state::Message;
use super::{Effect, Event, KeyTime, Keymap, State, Theme, start, update};
use crate::analysis::Limits;
use crate::config::Config;
use crate::describe::tap::TapOffset;
use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
use crate::store::{self, Journal, LoadError, Problem};
use analysis_worker::AnalysisWorker;
use disk::Disk;
use job_runner::JobRunner;
use playback::{PlaybackHandle, RemoteSpeaker};
use ratatui::crossterm;
use std::fmt;
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, SendError, Sender};
use std::thread;
use std::time::Instant;

/// Why the editor could not start or had to end.
#[derive(Debug)]
pub enum EditError {
    /// Standard input or output is not a terminal.
    NoTerminal,
    /// The groove could not be read.
    Groove(LoadError),
    /// The terminal failed.
    Terminal(io::Error),
    /// The remote speaker cannot be used; what to do.
    Speaker(String),
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTerminal => f.write_str("the editor needs a terminal; `teeter explain FILE` works without one"),
            Self::Groove(error) => error.fmt(f),
            Self::Terminal(error) => write!(f, "terminal error: {error}"),
            Self::Speaker(reason) => f.write_str(reason),
        }
    }
}

impl std::error::Error for EditError {}

impl From<io::Error> for EditError {
    fn from(error: io::Error) -> Self {
        Self::Terminal(error)
    }
}

/// Edits a groove, or a new one if `path` is `None` or the file is missing, until the user quits. A signal or a panic leaves
/// unsaved changes in the journal. With the socket of a remote speaker it plays there.
///
/// # Errors
/// [`EditError`] if there is no terminal, the file is not a groove, the terminal fails or the speaker does not answer.
pub fn edit(path: Option<&Path>, socket: Option<&Path>) -> Result<(), EditError> {
    let speaker = socket.map(RemoteSpeaker::connect).transpose().map_err(EditError::Speaker)?;
    if !io::stdout().is_terminal() || !io::stdin().is_terminal() {
        return Err(EditError::NoTerminal);
    }
    let journal = Journal::of_user();
    let (mut state, disk, output) = open(path, journal)?;
    let (sender, events) = mpsc::channel();
    let disk = Disk::start(disk, sender.clone());
    // In a login over ssh or a terminal multiplexer, a speaker may come later or come again.
    let joinable = socket.is_some() || ["SSH_CONNECTION", "TMUX", "STY"].into_iter().any(is_set);
    let listing = Journal::of_user().filter(|_| joinable);
    let name = path.and_then(Path::file_name).unwrap_or_default().to_string_lossy();
    if let Some(journal) = &listing {
        journal.announce_editor(&name);
    }
    let playback = PlaybackHandle::start(sender.clone(), output, speaker, listing.clone());
    playback.set_volume(state.playback.levels.volume_db);
    let analysis = AnalysisWorker::start(sender.clone());
    let guard = screen::guard(&disk)?;
    signals(&sender)?;
    let outputs = sender.clone();
    let job_runner = JobRunner::new(sender.clone());
    read_input(sender);
    let size = crossterm::terminal::size()?;
    update(&mut state, Event::Resize(size.0, size.1));
    let mut screen = Screen::new(io::stdout());
    let ended = event_loop(
        &mut state,
        &mut screen,
        &events,
        &Workers { disk: &disk, playback: &playback, analysis: &analysis, job_runner: &job_runner, events: outputs },
    );
    // The running job removes its temporary files before the screen is restored.
    drop(job_runner);
    drop(guard);
    playback.stop();
    if let Some(journal) = &listing {
        journal.withdraw_editor();
    }
    disk.end(*ended.as_ref().unwrap_or(&true) && state.session.is_changed(), state.groove());
    Ok(ended.map(drop)?)
}

/// The receiver of events is gone: the program has ended.
struct Disconnected;

impl From<SendError<Event>> for Disconnected {
    fn from(_: SendError<Event>) -> Self {
        Self
    }
}

/// The handles that effects go to.
struct Workers<'a> {
    disk: &'a Disk,
    playback: &'a PlaybackHandle,
    analysis: &'a AnalysisWorker,
    job_runner: &'a JobRunner,
    events: Sender<Event>,
}

/// Handles events until the end; returns whether to keep the journal.
fn event_loop<W: io::Write>(
    state: &mut State,
    screen: &mut Screen<W>,
    events: &Receiver<Event>,
    workers: &Workers<'_>,
) -> io::Result<bool> {
    let mut effects = start(state);
    loop {
        workers.playback.set_base_path(state.file());
        for effect in effects.drain(..) {
            match effect {
                Effect::Analyse { revision, groove, ask } => workers.analysis.ask(revision, groove, ask),
                Effect::Journal(groove) => workers.disk.journal(groove),
                Effect::Save { groove, name, overwrite } => {
                    workers.disk.save(groove, name.map(PathBuf::from), overwrite);
                }
                Effect::Play(request, start) => workers.playback.play(*request, start),
                Effect::Change(request) => workers.playback.change(*request),
                Effect::Step(sequence) => workers.playback.step(*sequence),
                Effect::Progress(practised) => workers.disk.progress(practised),
                Effect::Outputs => list_outputs(workers.events.clone()),
                Effect::TrySounds(groove) => workers.playback.try_sounds(groove),
                Effect::Stop => workers.playback.stop_playing(),
                Effect::Tap(arrival) => arrival.instant().into_iter().for_each(|at| workers.playback.tap(at)),
                Effect::SaveOffset(offset) => workers.disk.keep_offset(offset.ms, offset.error_ms),
                Effect::SetLevels(levels) => {
                    workers.playback.set_volume(levels.volume_db);
                    workers.disk.keep_levels(levels);
                }
                Effect::Copy(text) => screen.copy(&text, std::env::var_os("TMUX").is_some())?,
                Effect::RunJob(job) => workers.job_runner.run(job),
                Effect::Import { path, tolerance } => workers.job_runner.import(path, tolerance),
                Effect::CancelJob => workers.job_runner.cancel(),
                Effect::SwitchDocument(document) => workers.disk.switch_document(document),
                Effect::Redraw => screen.invalidate(),
                Effect::Quit { keep_journal } => return Ok(keep_journal),
            }
        }
        screen.show(state)?;
        let Ok(event) = events.recv() else { return Ok(true) };
        effects.extend(update(state, event));
        // One frame for all events that have arrived.
        while let Ok(event) = events.try_recv() {
            effects.extend(update(state, event));
        }
    }
}

fn is_set(variable: &str) -> bool {
    std::env::var_os(variable).is_some_and(|value| !value.is_empty())
}

fn open(path: Option<&Path>, journal: Option<Journal>) -> Result<(State, disk::Source, Option<String>), EditError> {
    let mut config = Config::load();
    let (keymap, errors) = Keymap::with_bindings(&config.keys);
    config.errors.extend(errors);
    config.errors.sort_by_key(|e| e.position);
    let limits = Limits::from_settings(config.cell_limit_ms, config.listen_cold);
    let reassigned = keymap.reassigned_keys();
    let output = config.output.clone();
    let theme = theme();
    let loaded = match path.map(store::load) {
        Some(Ok(loaded)) => Some(loaded),
        None | Some(Err(LoadError { problem: Problem::Missing, .. })) => None,
        Some(Err(error)) => return Err(EditError::Groove(error)),
    };
    let on_disk = loaded.as_ref().map_or_else(|| blank(path), |l| l.groove.clone());
    let recovered = journal.as_ref().and_then(|j| j.recover(path));
    let unsaved = recovered.as_ref().and_then(|r| store::parse(&r.text, "journal").ok());
    let groove = unsaved.as_ref().map_or_else(|| on_disk.clone(), |u| u.groove.clone());
    let file = path.map(|p| p.display().to_string());
    let offset = tap_offset(&config, journal.as_ref());
    let over_ssh = is_set("SSH_CONNECTION");
    let state = State::new(groove, file, keymap, theme, (80, 24))
        .with_limits(limits)
        .with_export_choices(crate::jobs::export_choices());
    let mut state = state.with_taps(offset, over_ssh).with_levels(levels(&config, journal.as_ref()));
    if path.is_some() && loaded.is_none() {
        state = state.with_unsaved_path();
    }
    if let (Some(path), false) = (&config.path, config.errors.is_empty()) {
        state = state.with_config_errors(&path.display().to_string(), &config.errors);
    }
    let mut source = disk::Source::new(path.map(Path::to_owned), loaded, journal);
    if let (Some(unsaved), Some(recovered)) = (unsaved, recovered) {
        state.mark_recovered(on_disk);
        state.show_message(Message::info("recovered unsaved changes from the last session; save to keep them"));
        source.adopt(unsaved, recovered, path.is_none());
    } else if let Some(text) = reassigned {
        state.show_message(Message::info(text));
    }
    Ok((state, source, output))
}

/// Lists the output devices on a thread of its own, since that may take a while.
fn list_outputs(events: Sender<Event>) {
    let list = move || {
        let listed = crate::sound::outputs().map_err(|e| e.to_string()).map(|devices| {
            let line = |d: crate::sound::OutputDevice| {
                format!("{}  {}{}", d.name, d.id, if d.default { "  (default)" } else { "" })
            };
            devices.into_iter().map(line).collect()
        });
        drop(events.send(Event::Outputs(listed)));
    };
    drop(thread::Builder::new().name("outputs".into()).spawn(list));
}

/// The volumes of the config file, or else those of the last session.
fn levels(config: &Config, journal: Option<&Journal>) -> SoundLevels {
    let saved = journal.and_then(Journal::sound_levels).unwrap_or_default();
    SoundLevels {
        volume_db: config.volume_db.unwrap_or(saved.volume_db) as f32,
        click_db: config.click_db.unwrap_or(saved.click_db) as f32,
    }
}

/// The tap offset of the config file, or else the measured one.
fn tap_offset(config: &Config, journal: Option<&Journal>) -> TapOffset {
    if let Some(ms) = config.tap_offset_ms {
        return TapOffset::Set(ms);
    }
    let saved = journal.and_then(Journal::calibration);
    saved.map_or(TapOffset::Unknown, |c| TapOffset::Measured { ms: c.ms, error_ms: c.error_ms })
}

/// A new groove: four bars of 4/4 at 120, one layer without attacks, the title from the file's name.
fn blank(path: Option<&Path>) -> Groove {
    let quarter = Time::new(1, 4).expect("a quarter is a time");
    let tempo = Tempo::new(Fraction::whole(120), quarter).expect("within bounds");
    let meter = Meter::new(vec![4], 4).expect("4/4 is a meter");
    let groove = Groove::blank(meter, tempo, 4).expect("within bounds");
    path.map_or_else(|| groove.clone(), |path| groove.titled(&store::title_of(path), groove.note()))
}

fn theme() -> Theme {
    let set = |name: &str| std::env::var(name).ok().filter(|v| !v.is_empty());
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set).unwrap_or_default();
    Theme::from_env(
        set("NO_COLOR").is_some(),
        &set("TERM").unwrap_or_default(),
        &set("COLORTERM").unwrap_or_default(),
        set("TEETER_ASCII").is_some_and(|v| v != "0"),
        &locale,
    )
}

fn signals(sender: &Sender<Event>) -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let mut signals = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT])?;
    let sender = sender.clone();
    thread::Builder::new().name("signals".into()).spawn(move || {
        for _ in signals.forever() {
            if sender.send(Event::Signal).is_err() {
                return;
            }
        }
    })?;
    Ok(())
}

fn read_input(sender: Sender<Event>) {
    use crossterm::event::{Event as Input, MouseEventKind};
    let read = move || {
        loop {
            let event = match crossterm::event::read() {
                // Read the clock at once: the time of a tap depends on it.
                Ok(Input::Key(key)) => Event::Key(key, KeyTime::at(Instant::now())),
                // Nothing uses these, and there are many.
                Ok(Input::Mouse(mouse)) if mouse.kind == MouseEventKind::Moved => continue,
                Ok(Input::Mouse(mouse)) => Event::Mouse(mouse),
                Ok(Input::Resize(width, height)) => Event::Resize(width, height),
                Ok(Input::Paste(text)) => Event::Pasted(text),
                Ok(_) => continue,
                // The terminal is gone: quit and keep unsaved changes.
                Err(_) => Event::Signal,
            };
            let last = matches!(event, Event::Signal);
            if sender.send(event).is_err() || last {
                return;
            }
        }
    };
    // Without this thread the channel closes, which ends the program.
    drop(thread::Builder::new().name("input".into()).spawn(read));
}
