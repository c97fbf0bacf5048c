//! All that the screen shows, in one value.

use crate::analysis::Limits;
use crate::config::ConfigError;
use crate::describe::tap::TapOffset;
use crate::jobs::{ExportChoices, HearingKey};
use crate::rhythm::Groove;
use crate::session::{DocumentId, Session};
use crate::terminal::commands::Mode;
use crate::terminal::files::export::Giving;
use crate::terminal::files::import::Importing;
use crate::terminal::hearings::{Focus, Shown};
use crate::terminal::input::keymap::Keymap;
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::playback::playing::{Play, SoundLevels};
use crate::terminal::playback::tapping::Taps;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::view::columns::Scale;
use crate::terminal::view::layout::Layout;
use crate::terminal::view::theme::Theme;
use std::sync::Arc;

/// What is written on the attacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Labels {
    #[default]
    Groups,
    Pitches,
    None,
}

/// How many hearings have a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Strips {
    #[default]
    Two,
    /// As many as there is room for.
    All,
}

/// The message line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Message {
    /// What was done, or what can be done next.
    Info(String),
    /// What could not be done.
    Warning(String),
}

impl Message {
    /// An information.
    pub fn info(text: impl Into<String>) -> Self {
        Self::Info(text.into())
    }

    /// A warning.
    pub fn warning(text: impl Into<String>) -> Self {
        Self::Warning(text.into())
    }

    /// Its text.
    pub(crate) fn text(&self) -> &str {
        match self {
            Self::Info(text) | Self::Warning(text) => text,
        }
    }
}

/// Everything the program knows while it edits one groove.
#[derive(Debug, Clone)]
pub struct State {
    pub(crate) session: Session,
    pub(crate) keymap: Keymap,
    pub(crate) theme: Theme,
    pub(crate) size: (u16, u16),
    pub(crate) zoom: i32,
    /// First column of the section that is shown.
    pub(crate) scroll: usize,
    /// First layer that is shown.
    pub(crate) top_layer: usize,
    pub(crate) labels: Labels,
    pub(crate) strips: Strips,
    pub(crate) focus: Focus,
    pub(crate) limits: Limits,
    pub(crate) report: Option<Shown>,
    /// A save that waits for the user's word until nothing else is asked.
    pub(crate) pending_overwrite: Option<PendingOverwrite>,
    pub(crate) overlay: Overlay,
    pub(crate) message: Option<Message>,
    pub(crate) selecting: bool,
    /// The hearing of the strip, where the user has chosen one.
    pub(crate) selected_hearing: Option<HearingKey>,
    /// Hearings that are clicked beside the one of the strip.
    pub(crate) extra_hearings: Vec<HearingKey>,
    pub(crate) play: Play,
    /// The ladder as last asked for.
    pub(crate) ladder: Ladder,
    /// What has been practised so far, in a line.
    pub(crate) progress: Option<String>,
    pub(crate) taps: Taps,
    pub(crate) giving: Giving,
    pub(crate) importing: Importing,
    /// File name of each document, as shown; `None` before the first save.
    files: Vec<Option<String>>,
    /// The work whose file has a name and is still to be made.
    unsaved_path: Option<DocumentId>,
    /// The mistakes in the config file, line by line, if there are any.
    pub(crate) config_errors: Option<Vec<String>>,
    /// Whether the program ends when the save under way has ended well.
    pub(crate) quit_after_save: bool,
    /// Whether the mouse is held down on the grid.
    pub(crate) dragging: bool,
}

impl State {
    /// A state that shows a groove in a window of so many columns and rows.
    pub fn new(groove: Groove, file: Option<String>, keymap: Keymap, theme: Theme, size: (u16, u16)) -> Self {
        Self {
            session: Session::new(groove),
            keymap,
            theme,
            size,
            zoom: 0,
            scroll: 0,
            top_layer: 0,
            labels: Labels::default(),
            strips: Strips::default(),
            focus: Focus::default(),
            limits: Limits::default(),
            report: None,
            pending_overwrite: None,
            overlay: Overlay::default(),
            message: None,
            selecting: false,
            selected_hearing: None,
            extra_hearings: Vec::new(),
            play: Play::default(),
            ladder: Ladder::default(),
            progress: None,
            taps: Taps::default(),
            giving: Giving::default(),
            importing: Importing::default(),
            files: vec![file],
            unsaved_path: None,
            config_errors: None,
            quit_after_save: false,
            dragging: false,
        }
    }

    /// The same with the limits of the user's ear.
    #[must_use]
    pub fn with_limits(self, limits: Limits) -> Self {
        Self { limits, ..self }
    }

    /// The same with what is taken off every tap, and whether the keys come over a line of unknown delay.
    #[must_use]
    pub fn with_taps(self, offset: TapOffset, far_line: bool) -> Self {
        Self { taps: Taps { offset, far_line, ..self.taps }, ..self }
    }

    /// The master volume.
    pub(crate) fn volume_db(&self) -> f32 {
        self.play.levels.volume_db
    }

    /// The same with these volumes.
    #[must_use]
    pub fn with_levels(mut self, levels: SoundLevels) -> Self {
        self.play.levels = levels;
        self
    }

    /// The same with what can be made of a groove.
    #[must_use]
    pub fn with_offers(mut self, offers: ExportChoices) -> Self {
        self.giving.offers = offers;
        self
    }

    /// The same with a file that is not there yet.
    #[must_use]
    pub fn with_unsaved_path(self) -> Self {
        Self { unsaved_path: Some(self.session.document()), ..self }
    }

    /// The same with mistakes in the config file, which are shown until the user closes the list.
    #[must_use]
    pub fn with_config_errors(self, file: &str, errors: &[ConfigError]) -> Self {
        let mut trouble = vec![format!("{file}:")];
        trouble.extend(errors.iter().map(ToString::to_string));
        trouble.push("These settings are ignored, the others are used.".to_owned());
        trouble.push(format!(
            "The command config-file ({} searches the commands) shows this again.",
            self.keymap.first("find")
        ));
        Self { config_errors: Some(trouble), overlay: Overlay::ConfigFile(0), ..self }
    }

    /// Shows a message until the next key.
    pub fn show_message(&mut self, message: Message) {
        self.message = Some(message);
    }

    /// Notes that the groove comes from the journal and the file on the disk is another one.
    pub fn recovered(&mut self, on_disk: Groove) {
        self.session.set_saved(self.session.document(), Arc::new(on_disk));
    }

    /// The groove as it is now.
    pub fn groove(&self) -> &Arc<Groove> {
        self.session.groove()
    }

    /// The name of its file; `None` before the first save.
    pub fn file(&self) -> Option<&str> {
        self.files.get(self.session.document().0)?.as_deref()
    }

    /// Notes that a groove of a work is in the file of this name now.
    pub(crate) fn saved(&mut self, document: DocumentId, groove: Arc<Groove>, name: String) {
        self.session.set_saved(document, groove);
        self.unsaved_path = self.unsaved_path.filter(|d| *d != document);
        self.files.resize(self.files.len().max(document.0 + 1), None);
        self.files[document.0] = Some(name);
    }

    /// Whether no file holds any of it yet.
    pub(crate) fn is_new(&self) -> bool {
        self.file().is_none() || self.unsaved_path == Some(self.session.document())
    }

    /// Its revision.
    pub fn revision(&self) -> u64 {
        self.session.revision()
    }

    /// Whether the groove differs from the file.
    pub fn is_changed(&self) -> bool {
        self.session.is_changed()
    }

    /// Whether something sounds or is asked to.
    pub fn is_playing(&self) -> bool {
        self.play.on
    }

    /// The mode in which keys are looked up.
    pub(crate) fn mode(&self) -> Mode {
        self.overlay.mode()
    }

    pub(crate) fn layout(&self) -> Option<Layout> {
        self.layout_in(self.size.0, self.size.1)
    }

    /// The layout in a window of so many columns and rows.
    pub(crate) fn layout_in(&self, width: u16, height: u16) -> Option<Layout> {
        let layers = self.groove().layers().len();
        Layout::new(width, height, layers, self.scale().total() + 1, self.strips == Strips::All)
    }

    pub(crate) fn scale(&self) -> Scale {
        Scale::new(self.groove(), self.session.cursor().place.section, self.zoom)
    }
}
