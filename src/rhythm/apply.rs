//! Applies edits of cells to a groove.

use super::bounds::{CYCLE, DIVISION, TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Attack, Cell};
use super::clip::{self, Clip, EdgeMode, Row};
use super::divide;
use super::edit::{Edit, LengthScale, Region};
use super::edit_error::EditError;
use super::groove::{Groove, Place};
use super::part::{Part, PartContext, Spot, written_start};
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

    pub(crate) fn clip(&self, region: &Region) -> Result<Clip, EditError> {
        self.check_region(region)?;
        let rows = region.layers.clone().map(|l| self.copied_row(l, region)).collect();
        let length = region.to.minus(region.from).ok_or(EditError::NoSuchPlace("cell"))?;
        Ok(Clip { rows, length })
    }

    fn copied_row(&self, layer: usize, region: &Region) -> Row {
        let (part, context) = (self.part(layer, region.section), self.context(layer, region.section));
        clip::copy(part, context, self.cells_in(layer, region), region.from)
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
        match groove.change_recording(edit) {
            Some(changed) => changed?,
            None => groove.change(edit)?,
        }
        // Edits of cells change no length.
        if !edit.is_of_cells() {
            groove.move_anchors(self, edit);
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
            Edit::Hold(at, cells) => self.put(*at, &vec![Cell::Hold; *cells]),
            Edit::Set(at, cell) => self.set_cells(*at, &[*cell]),
            Edit::Cells(at, cells) => self.set_cells(*at, cells),
            Edit::Erase(region) => self.map_region(region, |cells| cells.fill(Cell::Rest)),
            Edit::Accent(region, accent) => self.map_attacks(region, |a| Attack { accent: *accent, ..a }),
            Edit::AccentBy(region, steps) => {
                self.map_attacks(region, |a| Attack { accent: a.accent.stepped(*steps), ..a })
            }
            Edit::Flam(region, flam) => self.map_attacks(region, |a| Attack { flam: *flam, ..a }),
            Edit::Pitch(region, pitch) => self.map_attacks(region, |a| Attack { pitch: *pitch, ..a }),
            Edit::Transpose(region, by) => {
                self.map_attacks(region, |a| Attack { pitch: a.pitch.map(|p| p.transposed(*by).unwrap_or(p)), ..a })
            }
            Edit::Paste(at, clip) => self.paste(*at, clip, |_, _| Err(EditError::PasteIntoCycle)),
            Edit::ReplaceCycle(at, clip) => {
                self.check_place(*at)?;
                let time = self.written_at(*at);
                self.paste(*at, clip, |row, context| clip::cycle(row, clip.length, context, time))
            }
            Edit::Repeat(region, times) => {
                self.check_region(region)?;
                let length = region.to.minus(region.from).ok_or(EditError::NoSuchPlace("cell"))?;
                let limit = self.sections[region.section].length();
                for layer in region.layers.clone() {
                    if self.part(layer, region.section).is_cycle() {
                        return Err(EditError::Impossible("a cycle already repeats; write it out first"));
                    }
                    let row = self.copied_row(layer, region).repeated(*times, length, limit);
                    self.paste_row(layer, region.section, &row, region.to)?;
                }
                Ok(())
            }
            Edit::Rotate(region, by) => self.move_cells(region, *by, EdgeMode::Wrap),
            Edit::Shift(region, by) => self.move_cells(region, *by, EdgeMode::Drop),
            Edit::ScaleLengths(region, scale) => self.scale_lengths(region, *scale),
            Edit::Tuplet { at, beats, cells } => self.tuplet(*at, *beats, *cells),
            Edit::Division(layer, section, division) => {
                for section in self.divided_sections(*layer, *section, *division)? {
                    let old = self.context(*layer, section).division;
                    let part = divide::set_division(self.part(*layer, section), old, *division);
                    self.set_divided(*layer, section, *division, part);
                }
                Ok(())
            }
            Edit::DivisionKeepingCells(layer, section, division) => self.keep_cells(*layer, *section, *division),
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

    /// The sections in which a layer gets a division: one or all.
    pub(super) fn divided_sections(
        &self,
        layer: usize,
        section: Option<usize>,
        division: u16,
    ) -> Result<Range<usize>, EditError> {
        DIVISION.check(i64::from(division))?;
        self.check_place(Place { layer, section: section.unwrap_or(0), cell: 0 })?;
        Ok(section.map_or(0..self.sections.len(), |section| section..section + 1))
    }

    pub(super) fn set_divided(&mut self, layer: usize, section: usize, division: u16, new: Part) {
        Arc::make_mut(&mut self.layers[layer]).divisions[section] = division;
        self.with_part(layer, section, |part| *part = new);
    }

    /// Pastes rows; a cycle becomes what `replace_cycle` makes of its row.
    fn paste(
        &mut self,
        at: Place,
        clip: &Clip,
        replace_cycle: impl Fn(&Row, PartContext<'_>) -> Result<Part, EditError>,
    ) -> Result<(), EditError> {
        self.check_place(at)?;
        let time = self.written_at(at);
        for (layer, row) in (at.layer..self.layers.len()).zip(&clip.rows) {
            if self.part(layer, at.section).is_cycle() {
                let cycle = replace_cycle(row, self.context(layer, at.section))?;
                self.with_part(layer, at.section, |part| *part = cycle);
            } else {
                self.paste_row(layer, at.section, row, time)?;
            }
        }
        Ok(())
    }

    fn paste_row(&mut self, layer: usize, section: usize, row: &Row, at: Time) -> Result<(), EditError> {
        let new = clip::paste(self.part(layer, section), self.context(layer, section), row, at)?;
        self.with_part(layer, section, |part| *part = new);
        Ok(())
    }

    fn scale_lengths(&mut self, region: &Region, scale: LengthScale) -> Result<(), EditError> {
        self.check_region(region)?;
        for layer in region.layers.clone() {
            if self.part(layer, region.section).is_cycle() {
                return Err(EditError::Impossible(
                    "the cells of a cycle all have the same length; write the cycle out first",
                ));
            }
            let row = self.copied_row(layer, region);
            let row = match scale {
                LengthScale::Double => row.scaled(2, 1),
                LengthScale::Halve => row.scaled(1, 2).then_rest(row.end()),
            };
            self.paste_row(layer, region.section, &row, region.from)?;
        }
        Ok(())
    }

    fn move_cells(&mut self, region: &Region, by: i32, mode: EdgeMode) -> Result<(), EditError> {
        self.check_region(region)?;
        for layer in region.layers.clone() {
            let range = self.cells_in(layer, region);
            let (part, context) = (self.part(layer, region.section), self.context(layer, region.section));
            match part {
                Part::Barred { .. } => {
                    let new = clip::move_range(part, context, range, by, mode)?;
                    self.with_part(layer, region.section, |part| *part = new);
                }
                Part::Cycled { cells, .. } if range.len() <= cells.len() => {
                    let first = Place { layer, section: region.section, cell: range.start };
                    let mut row = self.row(layer, region.section, range);
                    clip::move_cells(&mut row, by, mode);
                    if !row.is_empty() {
                        self.set_cells(first, &row)?;
                    }
                }
                Part::Cycled { .. } if mode == EdgeMode::Wrap => {
                    self.with_part(layer, region.section, |part| clip::move_cells(part.stored_mut(), by, mode));
                }
                Part::Cycled { .. } => {
                    return Err(EditError::Impossible(
                        "a cycle has no end to shift to; rotate it, or write it out first",
                    ));
                }
            }
        }
        Ok(())
    }

    /// Writes cells from a place on, cut at the section's end, and in a cycle after one repetition.
    fn set_cells(&mut self, at: Place, row: &[Cell]) -> Result<(), EditError> {
        self.check_place(at)?;
        let mut end = (at.cell + row.len()).min(self.cells(at.layer, at.section));
        if let Part::Cycled { cells, .. } = self.part(at.layer, at.section) {
            end = end.min(at.cell + cells.len());
        }
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
            let beats = n.div_ceil(usize::from(context.division));
            let is_tuplet = |s: &Spot| s.beat < beats && s.span != context.even_span();
            if !part.is_cycle() && part.spots(context).iter().any(is_tuplet) {
                return Err(EditError::Impossible("a cycle has no tuplets; there is one in these cells"));
            }
            Part::Cycled { cells: self.row(layer, section, 0..n), start: 0 }
        } else {
            let spans = vec![context.even_span(); context.beats()];
            Part::Barred { spans, cells: self.row(layer, section, 0..part.len(context)) }
        };
        self.with_part(layer, section, |part| *part = new);
        Ok(())
    }
}
