//! What edits of cells make of a groove.

use super::bounds::{CYCLE, DIVISION, TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Attack, Cell};
use super::divide;
use super::edit::{Clip, Edit, Region};
use super::edit_error::EditError;
use super::groove::{Groove, Place};
use super::part::{Part, written_start};
use super::time::Time;
use std::ops::Range;
use std::sync::Arc;

impl Groove {
    /// The cells of a layer that begin within a region, as written.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn cells_in(&self, layer: usize, region: &Region) -> Range<usize> {
        let context = self.context(layer, region.section);
        let part = self.part(layer, region.section);
        let mut from = usize::MAX;
        let mut to = 0;
        for spot in part.spots(context) {
            for cell in 0..usize::from(spot.span.cells) {
                let at = written_start(super::part::Spot { cell, ..spot }, context);
                if at >= region.from && at < region.to {
                    from = from.min(spot.first + cell);
                    to = spot.first + cell + 1;
                }
            }
        }
        if from == usize::MAX { 0..0 } else { from..to }
    }

    /// The cells of a region.
    ///
    /// # Errors
    /// [`EditError::NoSuchPlace`] if the region names a layer or section that is not there.
    pub fn clip(&self, region: &Region) -> Result<Clip, EditError> {
        self.check_region(region)?;
        let rows = region
            .layers
            .clone()
            .map(|l| self.cells_in(l, region).map(|c| self.part(l, region.section).cell(c)).collect());
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

    /// The groove after an edit; this one stays as it is.
    ///
    /// # Errors
    /// [`EditError`] if the edit names something that is not there or would break a bound; the groove is then unchanged.
    pub fn edited(&self, edit: &Edit) -> Result<Groove, EditError> {
        let mut groove = self.clone();
        groove.change(edit)?;
        // A cell never changes a length, so only the other edits need the whole check.
        if !edit.is_of_cells() {
            groove.check()?;
        }
        Ok(groove)
    }

    fn change(&mut self, edit: &Edit) -> Result<(), EditError> {
        match edit {
            Edit::Lay { at, cells, attack } => {
                let mut row = vec![Cell::Hold; (*cells).max(1)];
                row[0] = Cell::Attack(*attack);
                self.put(*at, &row, true)
            }
            Edit::Set(at, cell) => self.put(*at, &[*cell], false),
            Edit::Erase(region) => self.map_region(region, |cells| cells.fill(Cell::Rest)),
            Edit::Accent(region, accent) => self.map_attacks(region, |a| Attack { accent: *accent, ..a }),
            Edit::Pitch(region, pitch) => self.map_attacks(region, |a| Attack { pitch: *pitch, ..a }),
            Edit::Transpose(region, by) => {
                self.map_attacks(region, |a| Attack { pitch: a.pitch.map(|p| p.moved(*by).unwrap_or(p)), ..a })
            }
            Edit::Paste(at, clip) => {
                self.check_place(*at)?;
                let time = self.written_at(*at);
                for (row, cells) in clip.rows.iter().enumerate().filter(|(_, c)| !c.is_empty()) {
                    let layer = at.layer + row;
                    if layer < self.layers.len() {
                        let context = self.context(layer, at.section);
                        let cell = self.part(layer, at.section).cell_at(time, context);
                        self.put(Place { layer, section: at.section, cell }, cells, true)?;
                    }
                }
                Ok(())
            }
            Edit::Repeat(region, times) => {
                self.check_region(region)?;
                for layer in region.layers.clone() {
                    let range = self.cells_in(layer, region);
                    let once: Vec<Cell> = range.clone().map(|c| self.part(layer, region.section).cell(c)).collect();
                    let room = self.cells(layer, region.section) - range.end;
                    let row: Vec<Cell> = once.iter().copied().cycle().take((once.len() * times).min(room)).collect();
                    if !row.is_empty() {
                        self.put(Place { layer, section: region.section, cell: range.end }, &row, true)?;
                    }
                }
                Ok(())
            }
            Edit::Rotate(region, by) => self.map_region(region, |cells| {
                let n = cells.len().max(1) as i64;
                cells.rotate_right(i64::from(*by).rem_euclid(n) as usize);
            }),
            Edit::Shift(region, by) => self.map_region(region, |cells| {
                let n = by.unsigned_abs() as usize;
                let n = n.min(cells.len());
                if *by > 0 {
                    cells.rotate_right(n);
                    cells[..n].fill(Cell::Rest);
                } else {
                    cells.rotate_left(n);
                    let keep = cells.len() - n;
                    cells[keep..].fill(Cell::Rest);
                }
            }),
            Edit::Tuplet { at, beats, cells } => self.tuplet(*at, *beats, *cells),
            Edit::Division(layer, division) => {
                DIVISION.check(i64::from(*division))?;
                let l = self.layer_mut(*layer)?;
                for part in &mut l.parts {
                    *part = Arc::new(settled(divide::set_division(part, l.division, *division)));
                }
                l.division = *division;
                Ok(())
            }
            Edit::Cycle { layer, section, cells } => self.cycle(*layer, *section, *cells),
            _ => self.change_structure(edit),
        }
    }

    /// Time of a place as written, from its section's start.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn written_at(&self, place: Place) -> Time {
        let context = self.context(place.layer, place.section);
        let part = self.part(place.layer, place.section);
        part.spot(place.cell, context)
            .map_or_else(|| self.sections[place.section].length(), |spot| written_start(spot, context))
    }

    pub(super) fn with_part(&mut self, layer: usize, section: usize, change: impl FnOnce(&mut Part)) {
        let part = Arc::make_mut(&mut Arc::make_mut(&mut self.layers[layer]).parts[section]);
        change(part);
        part.settle();
    }

    /// Writes cells from a place on, cut at the section's end. With `cut`, a sound does not go on beyond them.
    fn put(&mut self, at: Place, row: &[Cell], cut: bool) -> Result<(), EditError> {
        self.check_place(at)?;
        let end = (at.cell + row.len()).min(self.cells(at.layer, at.section));
        self.with_part(at.layer, at.section, |part| {
            for (cell, new) in (at.cell..end).zip(row) {
                let i = part.stored_index(cell);
                part.stored_mut()[i] = *new;
            }
            if cut && !part.is_cycle() {
                part.stored_mut()[end..].iter_mut().take_while(|c| **c == Cell::Hold).for_each(|c| *c = Cell::Rest);
            }
        });
        Ok(())
    }

    fn map_region(&mut self, region: &Region, change: impl Fn(&mut [Cell])) -> Result<(), EditError> {
        self.check_region(region)?;
        for layer in region.layers.clone() {
            let range = self.cells_in(layer, region);
            if range.is_empty() {
                continue;
            }
            let mut cells: Vec<Cell> = range.clone().map(|c| self.part(layer, region.section).cell(c)).collect();
            change(&mut cells);
            self.with_part(layer, region.section, |part| {
                for (cell, new) in range.zip(cells) {
                    let i = part.stored_index(cell);
                    part.stored_mut()[i] = new;
                }
            });
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
            return Err(EditError::Nothing("a cycle has no tuplets; write the cycle out first"));
        }
        let beat = part.spot(at.cell, context).ok_or(EditError::NoSuchPlace("cell"))?.beat;
        let left = context.meter.beats() - beat % context.meter.beats();
        if beats > left {
            return Err(EditError::Nothing("a tuplet cannot cross a bar line"));
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
            let room = context.beats() * usize::from(context.division);
            if n > room {
                return Err(EditError::CycleTooLong { cells: n, section: room });
            }
            let even: Vec<Cell> = match part {
                Part::Cycled { .. } => (0..room).map(|i| part.cell(i)).collect(),
                Part::Barred { spans, cells } => {
                    let mut first = 0;
                    spans
                        .iter()
                        .flat_map(|s| {
                            let piece = &cells[first..first + usize::from(s.cells)];
                            first += usize::from(s.cells);
                            divide::recut(piece, usize::from(s.beats) * usize::from(context.division))
                        })
                        .collect()
                }
            };
            Part::Cycled { cells: even[..n].to_vec(), start: 0 }
        } else {
            let Part::Barred { spans, .. } = Part::rests(context) else { unreachable!("rests are barred") };
            Part::Barred { spans, cells: (0..part.len(context)).map(|i| part.cell(i)).collect() }
        };
        self.with_part(layer, section, |part| *part = new);
        Ok(())
    }
}

fn settled(mut part: Part) -> Part {
    part.settle();
    part
}
