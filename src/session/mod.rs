//! What the user is doing: cursor, selection, clipboard and history; a command becomes an edit and a new groove. It must not
//! know terminal libraries, key codes, paths, clocks or a sound device.

mod command;
mod cursor;
mod edits;
mod entry;
mod history;
mod messages;
mod select;
#[cfg(test)]
mod tests;

pub(crate) use command::{Command, Motion};
pub(crate) use cursor::Cursor;
pub(crate) use history::{History, Step};
pub(crate) use select::Anchor;

use crate::rhythm::{Clip, Groove, Place, Region, Time};
use std::cmp::Ordering;
use std::sync::Arc;

/// The outcome of a command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// At most the cursor or the selection changed.
    Unchanged,
    /// The groove changed; a message if the change is not obvious.
    Changed(Option<String>),
    /// The groove did not change; a message.
    Info(String),
    /// The command needs a layer and there is none.
    NoLayer,
    /// The command failed; why.
    Error(String),
}

/// The number of a document: 0 is the groove that was opened first, and each import begins another. Undo can lead from one to the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DocumentId(pub usize);

/// The groove being edited, with cursor, selection, clipboard and history.
#[derive(Debug, Clone)]
pub(crate) struct Session {
    groove: Arc<Groove>,
    revision: u64,
    document: DocumentId,
    /// The last saved groove of each document, if any.
    saved: Vec<Option<Arc<Groove>>>,
    cursor: Cursor,
    anchor: Option<Anchor>,
    clip: Clip,
    /// Lengths of the copied cells, row by row.
    clip_cells: Vec<Vec<Time>>,
    history: History,
}

impl Session {
    /// Starts with a groove as it is on the disk, or a new one.
    pub(crate) fn new(groove: Groove) -> Self {
        let groove = Arc::new(groove);
        Self {
            saved: vec![Some(groove.clone())],
            groove,
            revision: 1,
            document: DocumentId::default(),
            cursor: Cursor::default(),
            anchor: None,
            clip: Clip::default(),
            clip_cells: Vec::new(),
            history: History::default(),
        }
    }

    /// The groove as it is now.
    pub(crate) fn groove(&self) -> &Arc<Groove> {
        &self.groove
    }

    /// The number of grooves so far, from 1; undo and redo count too.
    pub(crate) fn revision(&self) -> u64 {
        self.revision
    }

    /// The document that the groove belongs to.
    pub(crate) fn document(&self) -> DocumentId {
        self.document
    }

    /// The cursor.
    pub(crate) fn cursor(&self) -> Cursor {
        self.cursor
    }

    #[cfg(test)]
    pub(crate) fn history(&self) -> &History {
        &self.history
    }

    /// Whether the groove differs from the last saved one of its document; true if none was saved.
    pub(crate) fn is_changed(&self) -> bool {
        let saved = self.saved.get(self.document.0).and_then(Option::as_ref);
        saved.is_none_or(|saved| !Arc::ptr_eq(&self.groove, saved) && self.groove != *saved)
    }

    /// Records that this groove of a document is on the disk. It need not be the current one (as after a recovery).
    pub(crate) fn set_saved(&mut self, document: DocumentId, groove: Arc<Groove>) {
        if let Some(saved) = self.saved.get_mut(document.0) {
            *saved = Some(groove);
        }
    }

    /// The selection, if there is one.
    pub(crate) fn selection(&self) -> Option<Region> {
        self.anchor.and_then(|anchor| select::region(&self.groove, anchor, self.cursor.place))
    }

    /// Runs a command.
    pub(crate) fn apply(&mut self, command: Command) -> Outcome {
        match command {
            Command::Move(motion) => {
                self.anchor = None;
                self.cursor = self.cursor.moved(&self.groove, motion);
                Outcome::Unchanged
            }
            Command::Extend(motion) => self.extend(motion),
            Command::SelectBar => self.select_bar(),
            Command::SelectSection => self.select_section(false),
            Command::SelectAllLayers => self.select_section(true),
            Command::Deselect => {
                self.anchor = None;
                Outcome::Unchanged
            }
            Command::Undo => match self.history.undo(self.here(self.cursor, String::new())) {
                Some(step) => self.go_to(step, "undo"),
                None => Outcome::Error("nothing to undo".into()),
            },
            Command::Redo => match self.history.redo(self.here(self.cursor, String::new())) {
                Some(step) => self.go_to(step, "redo"),
                None => Outcome::Error("nothing to redo".into()),
            },
            Command::Copy => self.copy(),
            other => self.edit(other),
        }
    }

    /// Replaces the groove by another one, as a new document and an undoable step.
    pub(crate) fn replace(&mut self, groove: Groove, label: String) -> Outcome {
        let before = self.cursor;
        (self.anchor, self.cursor) = (None, Cursor::default());
        let outcome = self.commit(groove, label, before, None);
        if matches!(outcome, Outcome::Changed(_)) {
            self.document = DocumentId(self.saved.len());
            self.saved.push(None);
        }
        outcome
    }

    /// The current groove as a step of the history.
    fn here(&self, cursor: Cursor, label: String) -> Step {
        Step { groove: self.groove.clone(), document: self.document, cursor, label }
    }

    fn extend(&mut self, motion: Motion) -> Outcome {
        if self.groove.layers().is_empty() {
            return Outcome::Unchanged;
        }
        if self.anchor.is_none() {
            self.anchor = select::anchor(&self.groove, self.cursor.place);
        }
        let before = self.cursor;
        let after = before.moved(&self.groove, motion);
        self.cursor = match after.place.section.cmp(&before.place.section) {
            Ordering::Equal => after,
            Ordering::Greater => before.moved(&self.groove, Motion::SectionEnd),
            Ordering::Less => before.moved(&self.groove, Motion::SectionStart),
        };
        Outcome::Unchanged
    }

    fn select_bar(&mut self) -> Outcome {
        let Some(bar) = select::bar(&self.groove, self.cursor.place) else {
            return Outcome::NoLayer;
        };
        let range = self.groove.cells_in(self.cursor.place.layer, &bar);
        self.span(self.cursor.place.layer, range.start, self.cursor.place.layer, range.end)
    }

    fn select_section(&mut self, all: bool) -> Outcome {
        let layers = self.groove.layers().len();
        if layers == 0 {
            return Outcome::NoLayer;
        }
        let (top, bottom) = if all { (0, layers - 1) } else { (self.cursor.place.layer, self.cursor.place.layer) };
        let end = self.groove.cells(bottom, self.cursor.place.section);
        self.span(top, 0, bottom, end)
    }

    fn span(&mut self, top: usize, first: usize, bottom: usize, end: usize) -> Outcome {
        let section = self.cursor.place.section;
        let place = |layer, cell| crate::rhythm::Place { layer, section, cell };
        self.anchor = select::anchor(&self.groove, place(top, first));
        self.cursor = Cursor::at(&self.groove, place(bottom, end.saturating_sub(1)));
        Outcome::Unchanged
    }

    /// The region a command works on: the selection, or else the given fallback.
    fn target(&self, fallback: select::Fallback) -> Option<Region> {
        self.selection().or_else(|| fallback(&self.groove, self.cursor.place))
    }

    fn copy(&mut self) -> Outcome {
        let Some(region) = self.target(select::bar) else {
            return Outcome::Error("nothing to copy".into());
        };
        match self.groove.clip(&region) {
            Ok(clip) => {
                let cells = clip.rows.iter().map(Vec::len).max().unwrap_or(0);
                let layers = clip.rows.len();
                self.clip_cells = region
                    .layers
                    .clone()
                    .map(|layer| {
                        let cells = self.groove.cells_in(layer, &region);
                        let first = Place { layer, section: region.section, cell: cells.start };
                        select::lengths(&self.groove, first, cells.len())
                    })
                    .collect();
                self.clip = clip;
                Outcome::Info(format!("copied {} of {}", count(cells, "cell"), count(layers, "layer")))
            }
            Err(refusal) => Outcome::Error(refusal.to_string()),
        }
    }

    fn go_to(&mut self, step: Step, what: &str) -> Outcome {
        (self.groove, self.document) = (step.groove, step.document);
        self.revision += 1;
        self.anchor = None;
        self.cursor = step.cursor.settled(&self.groove);
        Outcome::Changed(Some(format!("{what}: {}", step.label)))
    }

    /// Makes a groove the current one; an equal one changes nothing.
    fn commit(&mut self, groove: Groove, label: String, before: Cursor, words: Option<String>) -> Outcome {
        if groove == *self.groove {
            return words.map_or(Outcome::Unchanged, Outcome::Info);
        }
        self.history.push(self.here(before, label));
        self.groove = Arc::new(groove);
        self.revision += 1;
        self.cursor = self.cursor.settled(&self.groove);
        if let Some(anchor) = self.anchor
            && select::region(&self.groove, anchor, self.cursor.place).is_none()
        {
            self.anchor = None;
        }
        Outcome::Changed(words)
    }
}

/// `1 cell`, `3 cells`.
fn count(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
