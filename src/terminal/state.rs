//! The state of the editor: everything that the screen shows, in one value.

use crate::config::ConfigError;
use crate::jobs::Position;
use crate::rhythm::Groove;
use crate::session::{DocumentId, Session};
use crate::terminal::files::FilesState;
use crate::terminal::hearings::HearingsState;
use crate::terminal::input::InputState;
use crate::terminal::playback::playing::Playback;
use crate::terminal::playback::practice;
use crate::terminal::recording::RecordingState;
use crate::terminal::transcription::Transcription;
use crate::terminal::variants::VariantHabits;
use crate::terminal::view::{Layout, Scale, SectionColumns, StripRows, Strips, ViewState};
use crate::terminal::{Effect, Keymap, Mode, Overlay, Theme};
use std::sync::Arc;

/// Minimum columns of a window whose grid widens by itself.
const MIN_WIDTH_TO_WIDEN: u16 = 110;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Message {
    /// What was done, or what can be done next.
    Info(String),
    /// What could not be done.
    Warning(String),
}

impl Message {
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
    pub(crate) overlay: Overlay,
    /// Shown until the next key.
    pub(crate) message: Option<Message>,
    pub(crate) input: InputState,
    pub(crate) hearings: HearingsState,
    pub(crate) playback: Playback,
    pub(crate) recording: RecordingState,
    pub(crate) transcription: Transcription,
    pub(crate) files: FilesState,
    pub(crate) view: ViewState,
    /// The number of lists of variants so far.
    pub(crate) variant_lists: u32,
    pub(crate) variant_habits: VariantHabits,
    /// The effects of the running update, which it returns.
    pub(crate) effects: Vec<Effect>,
}

impl State {
    /// A state that shows a groove in a window of so many columns and rows.
    pub fn new(groove: Groove, file: Option<String>, keymap: Keymap, theme: Theme, size: (u16, u16)) -> Self {
        Self {
            overlay: Overlay::default(),
            message: None,
            input: InputState { keymap, is_selecting: false, is_dragging: false },
            hearings: HearingsState::default(),
            playback: Playback::default(),
            recording: RecordingState::of(&groove),
            transcription: Transcription::default(),
            session: Session::new(groove),
            files: FilesState { names: vec![file], ..FilesState::default() },
            view: ViewState { theme, size, ..ViewState::default() },
            variant_lists: 0,
            variant_habits: VariantHabits::default(),
            effects: Vec::new(),
        }
    }

    /// Shows the errors in the config file until the user closes the list.
    pub(crate) fn show_config_errors(&mut self, file: &str, errors: &[ConfigError]) {
        let mut lines = vec![format!("{file}:")];
        lines.extend(errors.iter().map(ToString::to_string));
        lines.push("These settings are ignored; all others are used.".to_owned());
        lines.push(format!("{} shows this again.", self.key_or_name("config-file")));
        (self.files.config_errors, self.overlay) = (Some(lines), Overlay::ConfigFile(0));
    }

    pub(crate) fn info(&mut self, text: impl Into<String>) {
        self.message = Some(Message::Info(text.into()));
    }

    pub(crate) fn warn(&mut self, text: impl Into<String>) {
        self.message = Some(Message::Warning(text.into()));
    }

    /// The first key of a command, as shown; empty if it has none.
    pub(crate) fn key(&self, command: &str) -> String {
        self.input.keymap.first(command)
    }

    /// The first key of a command for a message, or the command's name if it has none.
    pub(crate) fn key_or_name(&self, command: &str) -> String {
        let key = self.key(command);
        if key.is_empty() { format!("`{command}`") } else { key }
    }

    pub(crate) fn groove(&self) -> &Arc<Groove> {
        self.session.groove()
    }

    /// The groove that plays, unless something else does: the selected variant while their list is open.
    pub(crate) fn previewed(&self) -> &Arc<Groove> {
        self.overlay.variants().map_or(self.groove(), |list| &list.shown)
    }

    /// The groove in the grid: while the list of variants is open, the selected one or the one that is heard.
    pub(crate) fn shown_groove(&self) -> &Arc<Groove> {
        let heard = self.overlay.variants().and(practice::groove_of_pair(self));
        heard.unwrap_or(self.previewed())
    }

    /// The name of the groove's file; `None` before the first save.
    pub(crate) fn file(&self) -> Option<&str> {
        self.files.names.get(self.session.document().0)?.as_deref()
    }

    pub(crate) fn set_saved(&mut self, document: DocumentId, groove: Arc<Groove>, name: String) {
        self.session.set_saved(document, groove);
        let files = &mut self.files;
        files.unsaved_path = files.unsaved_path.filter(|d| *d != document);
        files.names.resize(files.names.len().max(document.0 + 1), None);
        files.names[document.0] = Some(name);
    }

    /// Whether the document was never saved.
    pub(crate) fn is_new(&self) -> bool {
        self.file().is_none() || self.files.unsaved_path == Some(self.session.document())
    }

    pub(crate) fn revision(&self) -> u64 {
        self.session.revision()
    }

    pub(crate) fn mode(&self) -> Mode {
        self.overlay.mode()
    }

    /// `None` if the window is too small.
    pub(crate) fn layout(&self) -> Option<Layout> {
        self.layout_in(self.view.size.0, self.view.size.1)
    }

    pub(crate) fn layout_in(&self, width: u16, height: u16) -> Option<Layout> {
        self.layout_of(self.scale(), (width, height))
    }

    fn layout_of(&self, scale: Scale, (width, height): (u16, u16)) -> Option<Layout> {
        let layers = self.groove().layers().len();
        let section = SectionColumns { bar: scale.bar_width(), bars: scale.bars };
        // The rows stay where they are while variants with other hearings are looked through.
        let is_list = self.overlay.variants().is_some();
        let strips = StripRows {
            strips: if is_list { Strips::Two } else { self.view.strips },
            hearings: self.report().map(|(r, _)| r.hearings.len()).filter(|_| !is_list),
            has_lane: self.loaded_recording().is_some(),
        };
        Layout::new(width, height, layers, section, strips, self.view.scroll)
    }

    /// The columns of the section in the grid: twice as many if its attacks have pitches to show and all of it still has room.
    pub(crate) fn scale(&self) -> Scale {
        let (groove, section) = (self.groove(), self.shown_section());
        let plain = Scale::new(groove, section, self.view.zoom);
        let columns = usize::from(self.view.size.0);
        if self.view.size.0 < MIN_WIDTH_TO_WIDEN || 2 * plain.width() > columns + plain.bars {
            return plain;
        }
        let wide = Scale::new(groove, section, self.view.zoom + 1);
        let is_whole = |l: Layout| !l.pane_right && l.systems == 1 && usize::from(l.cells.width) > wide.width();
        let mut cells = groove.layers().iter().filter_map(|l| l.parts.get(section)).flat_map(|part| part.stored());
        let has_room = self.layout_of(wide, self.view.size).is_some_and(is_whole);
        if has_room && cells.any(|cell| cell.attack().is_some_and(|a| a.pitch.is_some())) { wide } else { plain }
    }

    /// Beats from the start of the position's section.
    pub(crate) fn beats(&self, position: Position) -> Option<f64> {
        let beat = self.groove().sections().get(position.section)?.meter.beat();
        Some(position.wholes * beat.denom() as f64 / beat.numer() as f64)
    }

    /// The section in the grid: the cursor's, or that of the playhead while the grid follows it.
    pub(crate) fn shown_section(&self) -> usize {
        let followed = self.view.followed_section.filter(|section| *section < self.groove().sections().len());
        followed.unwrap_or(self.session.cursor().place.section)
    }
}
