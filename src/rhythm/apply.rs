//! Applies edits of cells to a groove.

use super::bounds::{CYCLE, DIVISION, TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Attack, Cell};
use super::divide;
use super::edit::{Clip, Edit, Region};
use super::edit_error::EditError;
use super::groove::{Groove, Place};
use super::part::{Part, Spot, written_start};
use super::time::Time;
use std::ops::Range;
use std::sync::Arc;

impl Groove {
    /// The cells of a layer that begin within a region, without swing.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub(crate) fn cells_in(&self, layer: usize, region: &Region) -> Range<usize> {
        let context = self.context(layer, region.section);
        let inside = |spot: &Spot| (region.from..region.to).contains(&written_start(*spot, context));
        let mut cells = self.part(layer, region.section).cell_spots(context).filter(inside).map(|s| s.first + s.cell);
        let Some(first) = cells.next() else { return 0..0 };
        first..cells.last().unwrap_or(first) + 1
    }

    fn row(&self, layer: usize, section: usize, cells: Range<usize>) -> Vec<Cell> {
        cells.map(|c| self.part(layer, section).cell(c)).collect()
    }

    /// Copies the cells of a region.
    pub(crate) fn clip(&self, region: &Region) -> Result<Clip, EditError> {
        self.check_region(region)?;
        let rows = region.layers.clone().map(|l| self.row(l, region.section, self.cells_in(l, region)));
        Ok(Clip { rows: rows.collect() })
    }

    fn check_region(&self, region: &Region) -> Result<(), EditError> {
        if region.section >= self.sections.len() {
            return Err(EditError::NoSuchPlace("section"));
        }
        if region.layers.is_empty() || region.layers.end > self.layers.len() {
            return Err(EditError::NoSuchPlace("layer"));
        }
        Ok(())
    }

    fn check_place(&self, place: Place) -> Result<(), EditError> {
        if place.section >= self.sections.len() {
            Err(EditError::NoSuchPlace("section"))
        } else if place.layer >= self.layers.len() {
            Err(EditError::NoSuchPlace("layer"))
        } else if place.cell >= self.cells(place.layer, place.section) {
            Err(EditError::NoSuchPlace("cell"))
        } else {
            Ok(())
        }
    }

    /// The groove after an edit.
    ///
    /// # Errors
    /// The edit names something that does not exist, or its result would be invalid.
    pub fn edited(&self, edit: &Edit) -> Result<Groove, EditError> {
        let mut groove = self.clone();
        groove.change(edit)?;
        // Edits of cells change no length.
        if !edit.is_of_cells() {
            groove.check()?;
        }
        Ok(groove)
    }

    fn change(&mut self, edit: &Edit) -> Result<(), EditError> {
        match edit {
            Edit::Enter { at, cells, attack } => {
                let mut row = vec![Cell::Hold; (*cells).max(1)];
                row[0] = Cell::Attack(*attack);
                self.put(*at, &row)
            }
            Edit::Set(at, cell) => self.set_cells(*at, &[*cell]),
            Edit::Erase(region) => self.map_region(region, |cells| cells.fill(Cell::Rest)),
            Edit::Accent(region, accent) => self.map_attacks(region, |a| Attack { accent: *accent, ..a }),
            Edit::Pitch(region, pitch) => self.map_attacks(region, |a| Attack { pitch: *pitch, ..a }),
            Edit::Transpose(region, by) => {
                self.map_attacks(region, |a| Attack { pitch: a.pitch.map(|p| p.transposed(*by).unwrap_or(p)), ..a })
            }
            Edit::Paste(at, clip) => {
                self.check_place(*at)?;
                let time = self.written_at(*at);
                for (row, cells) in clip.rows.iter().enumerate().filter(|(_, c)| !c.is_empty()) {
                    let layer = at.layer + row;
                    if layer < self.layers.len() {
                        let context = self.context(layer, at.section);
                        let cell = self.part(layer, at.section).cell_at(time, context);
                        self.put(Place { layer, section: at.section, cell }, cells)?;
                    }
                }
                Ok(())
            }
            Edit::Repeat(region, times) => {
                self.check_region(region)?;
                for layer in region.layers.clone() {
                    let range = self.cells_in(layer, region);
                    let end = range.end;
                    let room = self.cells(layer, region.section) - end;
                    let once = self.row(layer, region.section, range);
                    let row: Vec<Cell> = once.iter().copied().cycle().take((once.len() * times).min(room)).collect();
                    if !row.is_empty() {
                        self.put(Place { layer, section: region.section, cell: end }, &row)?;
                    }
                }
                Ok(())
            }
            Edit::Rotate(region, by) => self.map_region(region, |cells| {
                let n = cells.len().max(1) as i64;
                cells.rotate_right(i64::from(*by).rem_euclid(n) as usize);
            }),
            Edit::Shift(region, by) => self.map_region(region, |cells| {
                let n = (by.unsigned_abs() as usize).min(cells.len());
                if *by > 0 {
                    cells.rotate_right(n);
                    cells[..n].fill(Cell::Rest);
                } else {
                    cells[..n].fill(Cell::Rest);
                    cells.rotate_left(n);
                }
            }),
            Edit::Tuplet { at, beats, cells } => self.tuplet(*at, *beats, *cells),
            Edit::Division(layer, division) => {
                DIVISION.check(i64::from(*division))?;
                let l = self.layer_mut(*layer)?;
                for part in &mut l.parts {
                    let mut divided = divide::set_division(part, l.division, *division);
                    divided.settle();
                    *part = Arc::new(divided);
                }
                l.division = *division;
                Ok(())
            }
            Edit::Cycle { layer, section, cells } => self.cycle(*layer, *section, *cells),
            _ => self.change_structure(edit),
        }
    }

    /// Time of a place without swing, from its section's start; beyond the last cell the section's length.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub(crate) fn written_at(&self, place: Place) -> Time {
        let context = self.context(place.layer, place.section);
        let spot = self.part(place.layer, place.section).spot(place.cell, context);
        spot.map_or_else(|| context.length(), |spot| written_start(spot, context))
    }

    pub(super) fn with_part(&mut self, layer: usize, section: usize, change: impl FnOnce(&mut Part)) {
        let part = Arc::make_mut(&mut Arc::make_mut(&mut self.layers[layer]).parts[section]);
        change(part);
        part.settle();
    }

    /// Writes cells from a place on, cut at the section's end.
    fn set_cells(&mut self, at: Place, row: &[Cell]) -> Result<(), EditError> {
        self.check_place(at)?;
        let end = (at.cell + row.len()).min(self.cells(at.layer, at.section));
        self.with_part(at.layer, at.section, |part| {
            for (cell, new) in (at.cell..end).zip(row) {
                let i = part.stored_index(cell);
                part.stored_mut()[i] = *new;
            }
        });
        Ok(())
    }

    /// Writes cells like `set_cells`, and ends their last sound with them.
    fn put(&mut self, at: Place, row: &[Cell]) -> Result<(), EditError> {
        self.set_cells(at, row)?;
        if !self.part(at.layer, at.section).is_cycle() {
            self.with_part(at.layer, at.section, |part| {
                let after = part.stored_mut().iter_mut().skip(at.cell + row.len());
                after.take_while(|c| **c == Cell::Hold).for_each(|c| *c = Cell::Rest);
            });
        }
        Ok(())
    }

    fn map_region(&mut self, region: &Region, change: impl Fn(&mut [Cell])) -> Result<(), EditError> {
        self.check_region(region)?;
        for layer in region.layers.clone() {
            let range = self.cells_in(layer, region);
            if range.is_empty() {
                continue;
            }
            let first = Place { layer, section: region.section, cell: range.start };
            let mut cells = self.row(layer, region.section, range);
            change(&mut cells);
            self.set_cells(first, &cells)?;
        }
        Ok(())
    }

    fn map_attacks(&mut self, region: &Region, change: impl Fn(Attack) -> Attack) -> Result<(), EditError> {
        self.map_region(region, |cells| {
            for cell in cells {
                if let Cell::Attack(a) = cell {
                    *cell = Cell::Attack(change(*a));
                }
            }
        })
    }

    fn tuplet(&mut self, at: Place, beats: usize, cells: usize) -> Result<(), EditError> {
        self.check_place(at)?;
        TUPLET_BEATS.check(beats as i64)?;
        TUPLET_CELLS.check(cells as i64)?;
        let context = self.context(at.layer, at.section);
        let part = self.part(at.layer, at.section);
        if part.is_cycle() {
            return Err(EditError::Impossible("a cycle has no tuplets; write the cycle out first"));
        }
        let beat = part.spot(at.cell, context).ok_or(EditError::NoSuchPlace("cell"))?.beat;
        let left = context.meter.beats() - beat % context.meter.beats();
        if beats > left {
            return Err(EditError::Impossible("a tuplet cannot cross a bar line"));
        }
        let new = divide::set_span(part, context, beat, beats, cells);
        self.with_part(at.layer, at.section, |part| *part = new);
        Ok(())
    }

    fn cycle(&mut self, layer: usize, section: usize, cells: Option<usize>) -> Result<(), EditError> {
        self.check_place(Place { layer, section, cell: 0 })?;
        let context = self.context(layer, section);
        let part = self.part(layer, section);
        let new = if let Some(n) = cells {
            CYCLE.check(n as i64)?;
            let room = context.even_cells();
            if n > room {
                return Err(EditError::CycleTooLong { cells: n, section: room });
            }
            let mut even: Vec<Cell> = match part {
                Part::Cycled { .. } => (0..n).map(|i| part.cell(i)).collect(),
                Part::Barred { spans, cells } => divide::pieces(spans, cells)
                    .flat_map(|(s, piece)| divide::recut(piece, usize::from(s.beats) * usize::from(context.division)))
                    .collect(),
            };
            even.truncate(n);
            Part::Cycled { cells: even, start: 0 }
        } else {
            let spans = vec![context.even_span(); context.beats()];
            Part::Barred { spans, cells: self.row(layer, section, 0..part.len(context)) }
        };
        self.with_part(layer, section, |part| *part = new);
        Ok(())
    }
}
