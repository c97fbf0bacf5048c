//! Saving, exports, imports and the clipboard, as far as the state goes.

pub(crate) mod clipboard;
pub(crate) mod export;
pub(crate) mod import;
pub(crate) mod outside_sounds;
pub(crate) mod recovery;
pub(crate) mod replacement;
pub(crate) mod save;

use crate::session::DocumentId;
use crate::terminal::Confirmation;

#[derive(Debug, Clone, Default)]
pub(crate) struct FilesState {
    /// File name of each document, as shown; `None` before the first save.
    pub names: Vec<Option<String>>,
    /// The document whose file has a name and does not exist yet.
    pub unsaved_path: Option<DocumentId>,
    /// Whether to overwrite a file; asked when no other overlay is open.
    pub pending_overwrite: Option<Confirmation>,
    pub quit_after_save: bool,
    /// The errors in the config file, line by line, if there are any.
    pub config_errors: Option<Vec<String>>,
    pub job: Option<RunningJob>,
    pub export: export::ExportState,
    pub import: import::ImportState,
    pub replacement: replacement::ReplacementState,
    pub outside_sounds: outside_sounds::OutsideSoundsState,
    pub recovery: recovery::RecoveryState,
    /// Why unsaved changes are not in the journal, as long as they are not.
    pub journal_error: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RunningJob {
    /// `making`, `reading`.
    pub verb: &'static str,
    pub percent: Option<u8>,
}
