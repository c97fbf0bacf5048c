//! The state of editing: cursor, selection, clipboard and history. A command becomes an edit and a new groove. It must not know
//! terminal libraries, key codes, paths, clocks or a sound device.

mod command;
mod cursor;
mod edits;
mod entry;
mod history;
mod loop_region;
pub(crate) mod messages;
pub(crate) mod recording;
mod select;
#[cfg(test)]
mod tests;

pub(crate) use command::{Command, Keep, Motion, Overflow, PasteContent, PasteInCycle, Repeats, Sections};
pub(crate) use cursor::Cursor;
pub(crate) use history::{History, Step};
pub(crate) use loop_region::{LoopRegion, Mark, TimeChange};
pub(crate) use select::Anchor;

use crate::rhythm::{Cell, Clip, Edit, EditError, Groove, Place, Region, Time, count, expected};
use std::cmp::Ordering;
use std::ops::{Range, RangeInclusive};
use std::sync::Arc;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// At most the cursor or the selection changed.
    Unchanged,
    /// The groove changed; a message if the change is not obvious.
    Changed(Option<String>),
    /// The groove did not change; a message.
    Info(String),
    /// The command can mean several things; nothing changed yet.
    Choice(Choice),
    /// The command needs a layer and there is none.
    NoLayer,
    /// The command failed; why.
    Error(String),
}

/// The message when the history first drops its oldest steps.
const STEPS_DROPPED: &str = "undo is limited to 64 MB: the oldest steps are dropped from now on";

/// A question with a command for each answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Choice {
    pub question: String,
    pub answers: Vec<(String, Command)>,
}

/// Document 0 is the groove opened first; each import, opened file and new groove starts another one. Undo can cross from one to another.
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
    region: Option<LoopRegion>,
    clip: Option<Clip>,
    history: History,
}

impl Session {
    /// Starts with a groove that is on the disk, or a new one.
    pub(crate) fn new(groove: Groove) -> Self {
        let groove = Arc::new(groove);
        Self {
            saved: vec![Some(groove.clone())],
            groove,
            revision: 1,
            document: DocumentId::default(),
            cursor: Cursor::default(),
            anchor: None,
            region: None,
            clip: None,
            history: History::default(),
        }
    }

    pub(crate) fn groove(&self) -> &Arc<Groove> {
        &self.groove
    }

    /// The number of changes of the groove plus one; undo and redo count too.
    pub(crate) fn revision(&self) -> u64 {
        self.revision
    }

    pub(crate) fn document(&self) -> DocumentId {
        self.document
    }

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

    pub(crate) fn set_saved(&mut self, document: DocumentId, groove: Arc<Groove>) {
        if let Some(saved) = self.saved.get_mut(document.0) {
            *saved = Some(groove);
        }
    }

    pub(crate) fn selection(&self) -> Option<Region> {
        self.anchor.and_then(|anchor| select::region(&self.groove, anchor, self.cursor.place))
    }

    /// The selection, or the cursor's bar in its layer; `None` in a groove without layers.
    pub(crate) fn selection_or_bar(&self) -> Option<Region> {
        self.target(select::bar)
    }

    pub(crate) fn loop_region(&self) -> Option<LoopRegion> {
        self.region
    }

    pub(crate) fn apply(&mut self, command: Command) -> Outcome {
        let at = self.cursor.place;
        match command {
            Command::Move(motion) => {
                self.anchor = None;
                self.cursor = self.cursor.moved(&self.groove, motion);
                Outcome::Unchanged
            }
            Command::Extend(motion) => self.extend(motion),
            Command::SelectBar => self.select_bar(),
            Command::SelectSection => self.select_section(at.layer..=at.layer),
            Command::SelectAllLayers => self.select_section(0..=self.groove.layers().len().saturating_sub(1)),
            Command::SelectCells(_) if self.groove.layers().is_empty() => Outcome::NoLayer,
            Command::SelectCells(cells) => {
                let room = self.groove.cells(at.layer, at.section) - at.cell;
                if cells == 0 || cells > room {
                    let wanted = format!("1 to {room} cells, up to the end of the section");
                    return Outcome::Error(expected(wanted, cells));
                }
                self.select(at.layer..=at.layer, at.cell, at.cell + cells)
            }
            Command::Deselect => {
                self.anchor = None;
                Outcome::Unchanged
            }
            Command::Undo => match self.history.undo(self.step_here()) {
                Some(step) => {
                    let change = step.change.inverse();
                    self.go_to(step, change, "undo")
                }
                None => Outcome::Error("nothing to undo".into()),
            },
            Command::Redo => match self.history.redo(self.step_here()) {
                Some(step) => {
                    let change = step.change;
                    self.go_to(step, change, "redo")
                }
                None => Outcome::Error("nothing to redo".into()),
            },
            Command::Copy => self.copy(),
            Command::LoopRegion => self.set_region(select::bar, |_, selected| {
                let mark = |at| Mark { section: selected.section, at };
                (mark(selected.from), mark(selected.to))
            }),
            Command::LoopStart => self.set_region(select::cell, |old, cell| {
                let start = Mark { section: cell.section, at: cell.from };
                let section_end = Mark { section: cell.section + 1, at: Time::ZERO };
                (start, old.map(|r| r.end).filter(|end| *end > start).unwrap_or(section_end))
            }),
            Command::LoopEnd => self.set_region(select::cell, |old, cell| {
                let end = Mark { section: cell.section, at: cell.to };
                let section_start = Mark { section: cell.section, at: Time::ZERO };
                (old.map(|r| r.start).filter(|start| *start < end).unwrap_or(section_start), end)
            }),
            Command::ExtendLoopRegion => self.set_region(select::bar, |old, selected| {
                let mark = |at| Mark { section: selected.section, at };
                let (start, end) = (mark(selected.from), mark(selected.to));
                old.map_or((start, end), |old| (old.start.min(start), old.end.max(end)))
            }),
            Command::LoopBetween(start, end) => {
                self.region = LoopRegion::new(&self.groove, start, end);
                Outcome::Unchanged
            }
            Command::ClearLoopRegion => match self.region.take() {
                Some(_) => Outcome::Unchanged,
                None => Outcome::Error("no loop region to clear".into()),
            },
            other => self.edit(&other),
        }
    }

    /// Replaces the groove by another one, as a new document and an undoable step.
    pub(crate) fn replace(&mut self, groove: Groove, label: String) -> Outcome {
        let before = Step { label, ..self.step_here() };
        (self.anchor, self.region, self.cursor) = (None, None, Cursor::default());
        let outcome = self.record(groove, before, None);
        self.document = DocumentId(self.saved.len());
        self.saved.push(None);
        outcome
    }

    /// Replaces the groove by unsaved work of an earlier session, as an undoable step.
    pub(crate) fn recover(&mut self, groove: Groove) {
        let before = Step { label: "recovery of unsaved changes".to_owned(), ..self.step_here() };
        self.commit(groove, before, None);
    }

    /// Replaces the groove by one with another grid or with the attacks of its recording, as an undoable step.
    pub(crate) fn lay(&mut self, groove: Groove, label: &str) -> Outcome {
        let before = Step { label: label.to_owned(), ..self.step_here() };
        self.commit(groove, before, None)
    }

    /// Inserts a copy of a section after it, with other cells in one layer, as an undoable step; returns the copy's name.
    ///
    /// # Errors
    /// [`EditError`] if there is no room for another section.
    pub(crate) fn keep_as_section(
        &mut self,
        (layer, section): (usize, usize),
        cells: Vec<Cell>,
        label: &str,
    ) -> Result<String, EditError> {
        let name = self.free_section_name();
        let copy = Edit::CopySection(section, name.clone());
        let change = TimeChange::from_edit(&copy, &self.groove);
        let place = Place { layer, section: section + 1, cell: 0 };
        let groove = self.groove.edited(&copy)?.edited(&Edit::Cells(place, cells))?;
        self.commit(groove, Step { label: label.to_owned(), change, ..self.step_here() }, None);
        Ok(name)
    }

    /// The current groove as a step of the history, without a label.
    fn step_here(&self) -> Step {
        let (document, cursor, anchor) = (self.document, self.cursor, self.anchor);
        let (change, label) = (TimeChange::Nothing, String::new());
        Step { groove: self.groove.clone(), document, cursor, anchor, change, label }
    }

    /// Sets the marks of the loop region, from the old ones and the selection or, without one, what is at the cursor.
    fn set_region(
        &mut self,
        fallback: select::Fallback,
        marks: impl FnOnce(Option<LoopRegion>, Region) -> (Mark, Mark),
    ) -> Outcome {
        let Some(target) = self.target(fallback) else { return Outcome::NoLayer };
        let (start, end) = marks(self.region, target);
        self.region = LoopRegion::new(&self.groove, start, end);
        Outcome::Unchanged
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
        let Some(mut region) = self.target(select::bar) else { return Outcome::NoLayer };
        if self.selection().is_some() {
            let section = &self.groove.sections()[region.section];
            let mut bars = self.selected_bars();
            let span = |bars: &Range<usize>| {
                let bar = section.meter.bar();
                bar.repeated(bars.start).zip(bar.repeated(bars.end))
            };
            if span(&bars) == Some((region.from, region.to)) {
                bars.end += 1;
            }
            let Some((from, to)) = span(&bars).filter(|_| bars.end <= usize::from(section.bars)) else {
                return Outcome::Info("the selection reaches the end of the section".into());
            };
            (region.from, region.to) = (from, to);
        }
        let (first, last) = (region.layers.start, region.layers.end - 1);
        let (start, end) = (self.groove.cells_in(first, &region).start, self.groove.cells_in(last, &region).end);
        self.select(first..=last, start, end)
    }

    fn select_section(&mut self, layers: RangeInclusive<usize>) -> Outcome {
        if self.groove.layers().is_empty() {
            return Outcome::NoLayer;
        }
        let end = self.groove.cells(*layers.end(), self.cursor.place.section);
        self.select(layers, 0, end)
    }

    /// Selects from cell `first` of the top layer to before cell `end` of the bottom layer.
    fn select(&mut self, layers: RangeInclusive<usize>, first: usize, end: usize) -> Outcome {
        let section = self.cursor.place.section;
        let place = |layer, cell| Place { layer, section, cell };
        self.anchor = select::anchor(&self.groove, place(*layers.start(), first));
        self.cursor = Cursor::at(&self.groove, place(*layers.end(), end.saturating_sub(1)));
        Outcome::Unchanged
    }

    /// The selection, or else the fallback at the cursor.
    fn target(&self, fallback: select::Fallback) -> Option<Region> {
        self.selection().or_else(|| fallback(&self.groove, self.cursor.place))
    }

    fn copy(&mut self) -> Outcome {
        let Some(region) = self.target(select::bar) else {
            return Outcome::Error("nothing to copy".into());
        };
        let clip = match self.groove.clip(&region) {
            Ok(clip) => clip,
            Err(error) => return Outcome::Error(error.to_string()),
        };
        let cells = clip.rows.iter().map(|row| row.cells().count()).max().unwrap_or(0);
        let layers = self.clip.insert(clip).rows.len();
        Outcome::Info(format!("copied {} of {}", count(cells, "cell"), count(layers, "layer")))
    }

    fn go_to(&mut self, step: Step, change: TimeChange, what: &str) -> Outcome {
        let region = self.region.filter(|_| step.document == self.document);
        (self.groove, self.document) = (step.groove, step.document);
        self.region = region.and_then(|r| r.after(change, &self.groove));
        self.revision += 1;
        self.cursor = step.cursor.settled(&self.groove);
        self.anchor = step.anchor.filter(|anchor| select::region(&self.groove, *anchor, self.cursor.place).is_some());
        Outcome::Changed(Some(format!("{what}: {}", step.label)))
    }

    /// Makes a groove the current one, unless it equals it. `before` is the state that an undo gives back.
    fn commit(&mut self, groove: Groove, before: Step, message: Option<String>) -> Outcome {
        if groove == *self.groove {
            return message.map_or(Outcome::Unchanged, Outcome::Info);
        }
        self.record(groove, before, message)
    }

    fn record(&mut self, groove: Groove, before: Step, message: Option<String>) -> Outcome {
        self.region = self.region.and_then(|r| r.after(before.change, &groove));
        let has_dropped = self.history.push(before, &groove);
        let message = if has_dropped {
            Some(message.map_or(STEPS_DROPPED.into(), |m| format!("{m}; {STEPS_DROPPED}")))
        } else {
            message
        };
        self.groove = Arc::new(groove);
        self.revision += 1;
        self.cursor = self.cursor.settled(&self.groove);
        self.anchor = self.anchor.filter(|_| self.selection().is_some());
        Outcome::Changed(message)
    }
}
