//! What the editor starts with: settings, the groove, unsaved work of earlier sessions.

use crate::analysis::Limits;
use crate::config::{Config, ThemeChoice};
use crate::describe::tap::TapOffset;
use crate::jobs::{OutsideSounds, SoundAccess, is_recording};
use crate::rhythm::{Groove, Recording, expected};
use crate::store::{self, Calibration, LoadError, Problem, SoundSettings, StateFolder};
use crate::terminal::files::outside_sounds::on_found;
use crate::terminal::shell::documents::Documents;
use crate::terminal::shell::playback::outside_sounds;
use crate::terminal::shell::recovery::{self, OfferedJournals, OpenedGroove};
use crate::terminal::shell::{EditorError, is_set};
use crate::terminal::{Background, Colours, Keymap, State, Theme};
use std::fs;
use std::path::{Path, PathBuf};

/// What the editor starts with.
pub(super) struct Opening {
    pub state: State,
    /// The file that the groove is saved to.
    pub path: Option<PathBuf>,
    /// Whether the terminal is to be asked for its background.
    pub asks_background: bool,
    pub documents: Documents,
    /// The output device in the config file.
    pub output: Option<String>,
    pub offered_journals: OfferedJournals,
}

/// Reads the settings, the groove and the unsaved work of earlier sessions.
///
/// A recording opens a new groove over it, which will be saved to a file of the same name that does not exist yet.
pub(super) fn open(named: Option<&Path>, folder: Option<StateFolder>) -> Result<Opening, EditorError> {
    let recording = named.filter(|path| is_recording(path));
    let beside = recording.map(unused_name);
    let path = beside.as_deref().or(named);
    let mut config = Config::load();
    let (keymap, errors) = Keymap::with_bindings(&config.keys);
    config.errors.extend(errors);
    config.errors.sort_by_key(|e| e.position);
    let reassigned = keymap.reassigned_keys();
    let interrupted = path.and_then(store::finish_interrupted_save);
    let loaded = match path.map(store::load) {
        Some(Ok(loaded)) => Some(loaded),
        None | Some(Err(LoadError { problem: Problem::Missing, .. })) => None,
        Some(Err(error)) => return Err(EditorError::Groove(error)),
    };
    let blank = new_groove(path, recording)?;
    let groove = loaded.as_ref().map_or_else(|| blank.clone(), |l| l.groove.clone());
    let found = folder.as_ref().map(|f| f.journals(path)).unwrap_or_default();
    let opened = OpenedGroove { groove: &groove, text: loaded.as_ref().map(|l| l.text.as_str()), blank: &blank };
    let (offered_journals, mut offered) = recovery::prepare(found.unsaved, &opened);
    let file = path.map(|p| p.display().to_string());
    let mut state = State::new(groove, file, keymap, theme_of_terminal(config.theme), (80, 24));
    // The Linux console knows no such question and prints it.
    let can_answer = !std::env::var("TERM").is_ok_and(|term| matches!(term.as_str(), "dumb" | "linux"));
    let is_open = matches!(config.theme, None | Some(ThemeChoice::Auto));
    let asks_background = can_answer && is_open && state.view.theme.colours != Colours::None;
    state.hearings.limits = Limits::from_settings(config.cell_limit_ms, config.listen_cold);
    state.files.export.choices = crate::jobs::export_choices();
    state.playback.taps.offset = tap_offset(&config, folder.as_ref());
    state.playback.taps.over_ssh = is_set("SSH_CONNECTION");
    state.playback.sound = sound_settings(&config, folder.as_ref());
    if path.is_some() && loaded.is_none() {
        state.files.unsaved_path = Some(state.session.document());
    }
    if let (Some(path), false) = (&config.path, config.errors.is_empty()) {
        state.show_config_errors(&path.display().to_string(), &config.errors);
    }
    if let (Some(_), Some(pid)) = (path, found.open_in.first()) {
        let text = format!(
            "also open in process {pid}: each process keeps its own unsaved changes and asks before it overwrites what the other saved"
        );
        // A message would hide the keys of the answers.
        for work in &mut offered {
            work.difference.insert(0, text.clone());
        }
        if offered.is_empty() {
            state.warn(text);
        }
    } else if let Some(text) = interrupted {
        state.warn(text);
    } else if let Some(text) = reassigned
        && offered.is_empty()
    {
        state.info(text);
    }
    state.files.recovery.offers = offered;
    let allowed = path.zip(folder.as_ref()).map(|(path, folder)| folder.allowed_sounds(path)).unwrap_or_default();
    state.files.outside_sounds.allowed.clone_from(&allowed);
    let access = SoundAccess { file: path.map(Path::to_owned), outside: OutsideSounds::Only(allowed) };
    let outside = outside_sounds(&access, state.groove());
    on_found(&mut state, outside);
    let file_folder = path.map(|p| p.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new(".")));
    file_folder.into_iter().chain(folder.as_ref().map(StateFolder::path)).for_each(store::remove_orphans);
    let documents = Documents::new(path.map(Path::to_owned), loaded, folder);
    let path = path.map(Path::to_owned);
    Ok(Opening { state, path, asks_background, documents, output: config.output, offered_journals })
}

/// The volumes of the config file, or else those of the last session, and the other settings of the last session.
fn sound_settings(config: &Config, folder: Option<&StateFolder>) -> SoundSettings {
    let last = folder.and_then(StateFolder::sound_settings).unwrap_or_default();
    let (volume_db, click_db) = (config.volume_db.unwrap_or(last.volume_db), config.click_db.unwrap_or(last.click_db));
    SoundSettings { volume_db, click_db, ..last }
}

/// The tap offset of the config file, or else the measured one.
fn tap_offset(config: &Config, folder: Option<&StateFolder>) -> TapOffset {
    match (config.tap_offset_ms, folder.and_then(StateFolder::calibration)) {
        (Some(ms), _) => TapOffset::Set(ms),
        (None, Some(Calibration { ms, error_ms })) => TapOffset::Measured { ms, error_ms },
        (None, None) => TapOffset::Unknown,
    }
}

/// A new groove with the title from the file's name, over a recording in the same folder.
fn new_groove(path: Option<&Path>, recording: Option<&Path>) -> Result<Groove, EditorError> {
    let groove = Groove::new_untitled();
    let groove =
        recording.or(path).map_or_else(|| groove.clone(), |p| groove.titled(&store::title_of(p), groove.note()));
    let Some(recording) = recording else { return Ok(groove) };
    let name = recording.file_name().and_then(|name| name.to_str()).filter(|name| !name.contains(char::is_control));
    let error = |why: String| EditorError::Recording(format!("{}: {why}", recording.display()));
    let name = name.ok_or_else(|| error(expected("a file name of printable characters", "another one")))?;
    groove.with_recording(Some(Recording::new(name, None))).map_err(|e| error(e.to_string()))
}

/// The name of a recording with the ending of a groove, with a number if that is taken.
fn unused_name(recording: &Path) -> PathBuf {
    let stem = recording.file_stem().unwrap_or_default().to_string_lossy();
    let numbered = (2_u32..).map(|n| format!("{stem}-{n}.toml"));
    let mut names = std::iter::once(format!("{stem}.toml")).chain(numbered).map(|name| recording.with_file_name(name));
    names.find(|path| fs::symlink_metadata(path).is_err()).unwrap_or_default()
}

/// The theme of the environment. Without a choice of the user's the terminal is asked for its background later.
fn theme_of_terminal(choice: Option<ThemeChoice>) -> Theme {
    let set = |name: &str| std::env::var(name).ok().filter(|v| !v.is_empty());
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set).unwrap_or_default();
    let (term, colorterm) = (set("TERM").unwrap_or_default(), set("COLORTERM").unwrap_or_default());
    let plain = set("TEETER_ASCII").is_some_and(|v| v != "0");
    let background = match choice {
        Some(ThemeChoice::Dark) => Background::Dark,
        Some(ThemeChoice::Light) => Background::Light,
        Some(ThemeChoice::Auto) | None => Background::from_env(&set("COLORFGBG").unwrap_or_default()),
    };
    Theme { background, ..Theme::from_env(set("NO_COLOR").is_some(), &term, &colorterm, plain, &locale) }
}
