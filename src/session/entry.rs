//! Commands that enter cells and move the cursor on.

use super::cursor::{Cursor, previous_attack};
use super::edits::{END_OF_GROOVE, EditResult, Result, pitch_at};
use super::{Choice, Command, Overflow, PasteContent, PasteInCycle, Repeats, Session, messages, select};
use crate::rhythm::bounds::BARS;
use crate::rhythm::{Attack, Cell, Clip, Edit, EditError, Groove, Place, Region, Time, count};

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

    /// The question whether bars are added for groups that reach beyond the end of the groove; `None` if all fit.
    pub(super) fn overflow_choice(&self, groups: &[u32]) -> Option<Choice> {
        let (bars, cells) = self.overflow(groups)?;
        let answer = |words: String, overflow| (words, Command::EnterGroups(groups.to_vec(), overflow));
        Some(Choice {
            question: format!("{} too many for the groove", count(cells, "cell")),
            answers: vec![
                answer(format!("add {}", count(bars, "bar")), Overflow::AddBars),
                answer("enter what fits".to_owned(), Overflow::Cut),
            ],
        })
    }

    /// The bars that groups need beyond the end of the groove, and their cells there.
    fn overflow(&self, groups: &[u32]) -> Option<(usize, usize)> {
        let (at, g) = (self.cursor.place, &*self.groove);
        let layer = g.layers().get(at.layer)?;
        let after: usize = (at.section..g.sections().len()).map(|s| g.cells(at.layer, s)).sum();
        let room = if self.cursor.past_end { 0 } else { after - at.cell };
        let wanted: usize = groups.iter().map(|n| *n as usize).sum();
        let cells = wanted.checked_sub(room).filter(|n| *n > 0)?;
        let last = g.sections().last()?;
        let bars = cells.div_ceil(last.meter.beats() * usize::from(*layer.divisions.last()?));
        BARS.check((usize::from(last.bars) + bars) as i64).is_ok().then_some((bars, cells))
    }

    pub(super) fn enter_groups(&self, groups: &[u32], overflow: Overflow, label: String) -> Result<EditResult> {
        let attack = Attack { pitch: self.inherited_pitch(), ..Attack::default() };
        let mut groove = (*self.groove).clone();
        let mut cursor = self.cursor;
        let mut entered = 0;
        let last = groove.sections().len() - 1;
        let more = if overflow == Overflow::AddBars { self.overflow(groups) } else { None };
        if let Some((bars, _)) = more {
            let length = groove.sections()[last].length();
            groove = groove.edited(&Edit::Bars(last, groove.sections()[last].bars + bars as u16))?;
            if cursor.past_end {
                cursor = Cursor { column: length, past_end: false, ..cursor }.settled(&groove);
            }
        }
        if cursor.past_end {
            return Err(EditError::Impossible(END_OF_GROOVE));
        }
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
                if left <= room || at.section == last {
                    break;
                }
                left -= room;
                at = Place { section: at.section + 1, cell: 0, ..at };
                let cells = left.min(groove.cells(at.layer, at.section));
                edit = Edit::Hold(at, cells);
            }
            cursor = cursor_after(&groove, cursor.place, (cells as usize).max(1));
            entered += 1;
        }
        let result = EditResult::new(groove, label).with_cursor(cursor);
        Ok(match more {
            _ if entered < groups.len() => {
                result.with_message(format!("{entered} of {} groups entered; {END_OF_GROOVE}", groups.len()))
            }
            Some((bars, _)) => result.with_message(format!("{} added", count(bars, "bar"))),
            None if cursor.past_end => result.with_message(END_OF_GROOVE),
            None => result,
        })
    }

    pub(super) fn step(&self, cell: Cell, label: &str) -> Result<EditResult> {
        if self.cursor.past_end {
            return Err(EditError::Impossible(END_OF_GROOVE));
        }
        let at = self.cursor.place;
        let groove = self.groove.edited(&Edit::Set(at, cell))?;
        if cell == Cell::Hold && groove.cell(at) != Cell::Hold {
            return Err(EditError::Impossible("no attack before this cell to hold"));
        }
        let cursor = cursor_after(&self.groove, at, 1);
        let result = EditResult::new(groove, label).with_cursor(cursor);
        Ok(if cursor.past_end { result.with_message(END_OF_GROOVE) } else { result })
    }

    /// Enters attacks at places, each with the pitch of the one before it.
    pub(super) fn accept_onsets(&self, places: &[Place]) -> Result<EditResult> {
        let mut groove = (*self.groove).clone();
        for &at in places.iter().filter(|at| self.groove.cell(**at).attack().is_none()) {
            let attack = Attack { pitch: pitch_at(&groove, at), ..Attack::default() };
            groove = groove.edited(&Edit::Set(at, Cell::Attack(attack)))?;
        }
        Ok(EditResult::new(groove, if places.len() == 1 { "accept the onset" } else { "accept onsets" }))
    }

    /// The selection or the cell, and its first attack.
    fn attacks_here(&self) -> Result<(Region, Attack)> {
        let region = self.target(select::cell).ok_or(EditError::NoSuchPlace("cell"))?;
        let first = self.groove.clip(&region)?.cells().find_map(Cell::attack);
        Ok((region, first.ok_or(EditError::Impossible("no attack here"))?))
    }

    pub(super) fn step_accents(&self, steps: i32) -> Result<EditResult> {
        let (region, _) = self.attacks_here()?;
        let groove = self.groove.edited(&Edit::AccentBy(region.clone(), steps))?;
        let found: Vec<Attack> = groove.clip(&region)?.cells().filter_map(Cell::attack).collect();
        let result = EditResult::new(groove, if steps < 0 { "softer" } else { "stronger" });
        Ok(match found[..] {
            [one] => result.with_message(one.accent.name()),
            _ => result,
        })
    }

    pub(super) fn toggle_flam(&self) -> Result<EditResult> {
        let (region, first) = self.attacks_here()?;
        let groove = self.groove.edited(&Edit::Flam(region, !first.flam))?;
        Ok(EditResult::new(groove, if first.flam { "no flam" } else { "flam" }))
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
        Ok(EditResult::new(groove, "delete the previous attack").with_cursor(Cursor::at(&self.groove, from)))
    }

    /// The region that a repeat repeats, and how often it fits behind itself; the last time may be cut.
    pub(crate) fn repeatable(&self) -> Option<(Region, usize)> {
        let region = self.target(select::bar)?;
        let length = region.to.minus(region.from)?;
        let room = self.groove.sections()[region.section].length().minus(region.to)?.ratio_to(length)?;
        let times = room.floor() + i64::from(room.denom() > 1);
        Some((region, usize::try_from(times).ok()?))
    }

    pub(super) fn repeat(&self, repeats: Repeats) -> Result<EditResult> {
        let (region, fit) = self.repeatable().ok_or(EditError::NoSuchPlace("bar"))?;
        if fit == 0 {
            return Err(EditError::Impossible("no room for a repeat before the end of the section"));
        }
        let times = match repeats {
            Repeats::More(times) => times.min(fit),
            Repeats::ToSectionEnd => fit,
        };
        let groove = self.groove.edited(&Edit::Repeat(region.clone(), times))?;
        let length = region.to.minus(region.from).and_then(|l| l.repeated(times)).and_then(|l| region.to.plus(l));
        let section = self.groove.sections()[region.section].length();
        let end = length.unwrap_or(section).min(section);
        let lost = messages::lost_attacks(&self.groove, &groove);
        let to_end = if end == section { ", to the end of the section" } else { "" };
        let message = format!("{}{to_end}{lost}", messages::in_total(times + 1));
        let cursor = self.cursor_at(self.cursor.place, end);
        Ok(EditResult::new(groove, "repeat").with_cursor(cursor).with_message(message))
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
            return Err(EditError::Impossible(END_OF_GROOVE));
        }
        let time = self.groove.written_at(at);
        let end = time.plus(clip.length).ok_or(EditError::NoSuchPlace("cell"))?;
        let clip = match content {
            PasteContent::All => clip,
            PasteContent::Rhythm => {
                let attack = Cell::Attack(Attack { pitch: self.inherited_pitch(), ..Attack::default() });
                let plain = |cell: Cell| cell.attack().map_or(cell, |_| attack);
                Clip { rows: clip.rows.iter().map(|row| row.map(plain)).collect(), ..clip }
            }
        };
        let copied = clip.rows.len();
        let layers = at.layer..(at.layer + copied).min(self.groove.layers().len());
        let pasted = layers.len();
        let mut groove = (*self.groove).clone();
        let cycles: Vec<usize> = layers.filter(|l| groove.part(*l, at.section).is_cycle()).collect();
        let edit = if in_cycle == PasteInCycle::Replace { Edit::ReplaceCycle(at, clip) } else { Edit::Paste(at, clip) };
        if in_cycle == PasteInCycle::WriteOut {
            for &layer in &cycles {
                groove = groove.edited(&Edit::Cycle { layer, section: at.section, cells: None })?;
            }
        }
        let result = EditResult::new(groove.edited(&edit)?, "paste").with_cursor(self.cursor_at(at, end));
        let name = cycles.first().map(|layer| messages::layer_name(&self.groove, *layer));
        Ok(match name {
            Some(name) if in_cycle == PasteInCycle::WriteOut => {
                result.with_message(format!("{name}: cycle written out"))
            }
            Some(name) => result.with_message(format!("{name}: cycle replaced")),
            None if pasted < copied => result.with_message(format!(
                "pasted {pasted} of {copied} copied layers: there is no layer below for the others"
            )),
            None if end > self.groove.sections()[at.section].length() => {
                result.with_message("cut at the end of the section")
            }
            None => result,
        })
    }
}

/// The cursor a number of cells after a place.
fn cursor_after(groove: &Groove, mut at: Place, cells: usize) -> Cursor {
    let mut left = cells;
    loop {
        let room = groove.cells(at.layer, at.section) - at.cell;
        if left < room {
            return Cursor::at(groove, Place { cell: at.cell + left, ..at });
        }
        if at.section + 1 == groove.sections().len() {
            return Cursor { past_end: true, ..Cursor::at(groove, Place { cell: usize::MAX, ..at }) };
        }
        left -= room;
        at = Place { section: at.section + 1, cell: 0, ..at };
    }
}
