//! Commands that enter cells and move the cursor on.

use super::cursor::{Cursor, previous_attack};
use super::edits::{EditResult, FULL, Result};
use super::{Session, select};
use crate::rhythm::{Accent, Attack, Cell, Clip, Edit, EditError, Place, Time};
use std::cmp::Ordering;

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
                edit = Edit::Paste(at, Clip { rows: vec![vec![Cell::Hold; cells]] });
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

    pub(super) fn paste(&self) -> Result<EditResult> {
        let at = self.cursor.place;
        if self.clip.rows.is_empty() {
            return Err(EditError::Impossible("the clipboard is empty"));
        }
        if self.cursor.past_end {
            return Err(EditError::Impossible(FULL));
        }
        let groove = self.groove.edited(&Edit::Paste(at, self.clip.clone()))?;
        let cells = self.clip.rows[0].len();
        let room = self.groove.cells(at.layer, at.section) - at.cell;
        let result = EditResult::of(groove, "paste").with_cursor(self.cursor_after(at, cells.min(room)));
        let cut = (cells > room).then_some("cut at the end of the section");
        let messages: Vec<&str> = self.length_change(at).into_iter().chain(cut).collect();
        Ok(if messages.is_empty() { result } else { result.with_message(messages.join("; ")) })
    }

    /// The message if cells pasted at a place change in length.
    fn length_change(&self, at: Place) -> Option<&'static str> {
        self.clip_cells.iter().enumerate().find_map(|(row, copied)| {
            let layer = at.layer + row;
            if layer >= self.groove.layers().len() {
                return None;
            }
            let from = self.groove.written_at(at);
            let first = self.groove.part(layer, at.section).cell_at(from, self.groove.context(layer, at.section));
            let here = select::lengths(&self.groove, Place { layer, cell: first, ..at }, copied.len());
            let (old, new) = copied.iter().zip(&here).find(|(old, new)| old != new)?;
            let all_one_way = copied.iter().zip(&here).all(|(o, n)| o.cmp(n) == old.cmp(new));
            Some(match old.cmp(new) {
                Ordering::Greater if all_one_way => "pasted cell by cell; cells are shorter here",
                Ordering::Less if all_one_way => "pasted cell by cell; cells are longer here",
                _ => "pasted cell by cell; some cells differ in length here",
            })
        })
    }
}
