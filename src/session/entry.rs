//! Commands that enter cells and move the cursor on.

use super::cursor::{Cursor, previous_attack};
use super::edits::{EditResult, FULL, Result};
use super::{Choice, Command, PasteContent, PasteInCycle, Session, messages};
use crate::rhythm::{Accent, Attack, Cell, Clip, Edit, EditError, Place, Time};

impl Session {
    /// The cursor at a time of a section, where the section's end is the start of the next one.
    pub(super) fn cursor_at(&self, at: Place, time: Time) -> Cursor {
        let length = self.groove.sections()[at.section].length();
        if time < length {
            return Cursor { place: at, column: time, past_end: false }.settled(&self.groove);
        }
        if at.section + 1 < self.groove.sections().len() {
            return Cursor::at(&self.groove, Place { section: at.section + 1, cell: 0, ..at });
        }
        Cursor { past_end: true, ..Cursor::at(&self.groove, Place { cell: usize::MAX, ..at }) }
    }

    /// The cursor a number of cells after a place.
    pub(super) fn cursor_after(&self, mut at: Place, cells: usize) -> Cursor {
        let mut left = cells;
        loop {
            let room = self.groove.cells(at.layer, at.section) - at.cell;
            if left < room {
                return Cursor::at(&self.groove, Place { cell: at.cell + left, ..at });
            }
            if at.section + 1 == self.groove.sections().len() {
                return Cursor { past_end: true, ..Cursor::at(&self.groove, Place { cell: usize::MAX, ..at }) };
            }
            left -= room;
            at = Place { section: at.section + 1, cell: 0, ..at };
        }
    }

    pub(super) fn enter_groups(&self, groups: &[u32], label: String) -> Result<EditResult> {
        if self.cursor.past_end {
            return Err(EditError::Impossible(FULL));
        }
        let attack = Attack { accent: Accent::Plain, pitch: self.inherited_pitch() };
        let mut groove = (*self.groove).clone();
        let mut cursor = self.cursor;
        let mut entered = 0;
        for &cells in groups {
            let mut at = cursor.place;
            if cursor.past_end {
                break;
            }
            let mut left = (cells as usize).max(1);
            let mut edit = Edit::Enter { at, cells: left, attack };
            // A group longer than the rest of its section continues in the next one.
            loop {
                groove = groove.edited(&edit)?;
                let room = groove.cells(at.layer, at.section) - at.cell;
                if left <= room || at.section + 1 == groove.sections().len() {
                    break;
                }
                left -= room;
                at = Place { section: at.section + 1, cell: 0, ..at };
                let cells = left.min(groove.cells(at.layer, at.section));
                edit = Edit::Hold(at, cells);
            }
            cursor = self.cursor_after(cursor.place, (cells as usize).max(1));
            entered += 1;
        }
        let result = EditResult::of(groove, label).with_cursor(cursor);
        Ok(if entered < groups.len() {
            result.with_message(format!("{entered} of {} groups entered; {FULL}", groups.len()))
        } else if cursor.past_end {
            result.with_message(FULL)
        } else {
            result
        })
    }

    pub(super) fn step(&self, cell: Cell, label: &str) -> Result<EditResult> {
        if self.cursor.past_end {
            return Err(EditError::Impossible(FULL));
        }
        let at = self.cursor.place;
        let groove = self.groove.edited(&Edit::Set(at, cell))?;
        if cell == Cell::Hold && groove.cell(at) != Cell::Hold {
            return Err(EditError::Impossible("no attack before this cell to hold"));
        }
        let cursor = self.cursor_after(at, 1);
        let result = EditResult::of(groove, label).with_cursor(cursor);
        Ok(if cursor.past_end { result.with_message(FULL) } else { result })
    }

    pub(super) fn delete_previous(&self) -> Result<EditResult> {
        let at = self.cursor.place;
        let from = if self.cursor.past_end && self.groove.cell(at).attack().is_some() {
            at
        } else {
            previous_attack(&self.groove, at).ok_or(EditError::Impossible("no attack before this cell"))?
        };
        let mut groove = self.groove.edited(&Edit::Set(from, Cell::Rest))?;
        let mut hold = Place { cell: from.cell + 1, ..from };
        while groove.cell(hold) == Cell::Hold {
            groove = groove.edited(&Edit::Set(hold, Cell::Rest))?;
            hold.cell += 1;
        }
        Ok(EditResult::of(groove, "delete the previous attack").with_cursor(Cursor::at(&self.groove, from)))
    }

    /// The question whether a paste writes cycles out or replaces them; `None` if it meets no cycle.
    pub(super) fn paste_choice(&self, content: PasteContent) -> Option<Choice> {
        let at = self.cursor.place;
        let rows = self.clip.as_ref()?.rows.len();
        let mut layers = (at.layer..self.groove.layers().len()).take(rows);
        let layer = layers.find(|l| self.groove.part(*l, at.section).is_cycle())?;
        let answer = |words: &str, cycle| (words.to_owned(), Command::Paste(content, cycle));
        Some(Choice {
            question: format!("{} repeats a cycle here", messages::layer_name(&self.groove, layer)),
            answers: vec![
                answer("write it out and paste", PasteInCycle::WriteOut),
                answer("repeat the pasted cells instead", PasteInCycle::Replace),
            ],
        })
    }

    pub(super) fn paste(&self, content: PasteContent, in_cycle: PasteInCycle) -> Result<EditResult> {
        let at = self.cursor.place;
        let clip = self.clip.clone().ok_or(EditError::Impossible("the clipboard is empty"))?;
        if self.cursor.past_end {
            return Err(EditError::Impossible(FULL));
        }
        let time = self.groove.written_at(at);
        let end = time.plus(clip.length).ok_or(EditError::NoSuchPlace("cell"))?;
        let clip = match content {
            PasteContent::All => clip,
            PasteContent::Rhythm => {
                let attack = Cell::Attack(Attack { accent: Accent::Plain, pitch: self.inherited_pitch() });
                let plain = |cell: Cell| cell.attack().map_or(cell, |_| attack);
                Clip { rows: clip.rows.iter().map(|row| row.map(plain)).collect(), ..clip }
            }
        };
        let layers = at.layer..(at.layer + clip.rows.len()).min(self.groove.layers().len());
        let mut groove = (*self.groove).clone();
        let cycles: Vec<usize> = layers.filter(|l| groove.part(*l, at.section).is_cycle()).collect();
        let edit = if in_cycle == PasteInCycle::Replace { Edit::ReplaceCycle(at, clip) } else { Edit::Paste(at, clip) };
        if in_cycle == PasteInCycle::WriteOut {
            for &layer in &cycles {
                groove = groove.edited(&Edit::Cycle { layer, section: at.section, cells: None })?;
            }
        }
        let result = EditResult::of(groove.edited(&edit)?, "paste").with_cursor(self.cursor_at(at, end));
        let name = cycles.first().map(|layer| messages::layer_name(&self.groove, *layer));
        Ok(match name {
            Some(name) if in_cycle == PasteInCycle::WriteOut => {
                result.with_message(format!("{name}: cycle written out"))
            }
            Some(name) => result.with_message(format!("{name}: cycle replaced")),
            None if end > self.groove.sections()[at.section].length() => {
                result.with_message("cut at the end of the section")
            }
            None => result,
        })
    }
}
