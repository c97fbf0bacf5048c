//! Applies edits of bars: inserting, deleting, splitting, joining, and meters that keep note values.

use super::bounds::{BARS, DIVISION};
use super::cell::Cell;
use super::clip;
use super::divide::{self, BarredBuilder};
use super::edit_error::EditError;
use super::groove::{Groove, Section};
use super::meter::Meter;
use super::part::{Part, PartContext};
use super::time::Time;
use std::ops::Range;
use std::sync::Arc;

/// Adds the beats of some bars.
fn push_bars(out: &mut BarredBuilder, part: &Part, context: PartContext<'_>, bars: Range<usize>) {
    let beats = context.meter.beats();
    let beats = bars.start * beats..bars.end * beats;
    for spot in part.spots(context).into_iter().filter(|s| beats.contains(&s.beat)) {
        out.push(spot.span, &part.span_cells(spot));
    }
}

/// Some bars of a part. A cycle stays one if it is not longer.
fn bars_of(part: &Part, context: PartContext<'_>, bars: Range<usize>) -> Part {
    let per_bar = context.meter.beats() * usize::from(context.division);
    if let Part::Cycled { cells, .. } = part
        && cells.len() <= bars.len() * per_bar
    {
        let start = part.stored_index(bars.start * per_bar) as u16;
        return Part::Cycled { cells: cells.clone(), start };
    }
    let mut out = BarredBuilder::default();
    push_bars(&mut out, part, context, bars);
    out.part()
}

impl Groove {
    /// Replaces the parts of a section.
    pub(super) fn change_parts(&mut self, section: usize, change: impl Fn(&Part, PartContext<'_>) -> Part) {
        for layer in 0..self.layers.len() {
            let new = change(self.part(layer, section), self.context(layer, section));
            self.with_part(layer, section, |part| *part = new);
        }
    }

    fn set_bars(&mut self, section: usize, bars: usize) -> Result<(), EditError> {
        self.section_mut(section)?.bars = BARS.check(bars as i64)? as u16;
        Ok(())
    }

    /// Inserts bars of rests before a bar. A cycle is written out.
    pub(super) fn insert_bars(&mut self, section: usize, at: usize, bars: usize) -> Result<(), EditError> {
        let old = usize::from(self.section_mut(section)?.bars);
        if at > old {
            return Err(EditError::NoSuchPlace("bar"));
        }
        BARS.check((old + bars) as i64)?;
        self.change_parts(section, |part, context| {
            let mut out = BarredBuilder::default();
            push_bars(&mut out, part, context, 0..at);
            let rests = Part::rests(PartContext { bars, ..context });
            push_bars(&mut out, &rests, context, 0..bars);
            push_bars(&mut out, part, context, at..old);
            out.part()
        });
        self.set_bars(section, old + bars)
    }

    /// Deletes bars. A cycle that does not go on in phase is written out.
    pub(super) fn delete_bars(&mut self, section: usize, bars: Range<usize>) -> Result<(), EditError> {
        let old = usize::from(self.section_mut(section)?.bars);
        if bars.end > old || bars.is_empty() {
            return Err(EditError::NoSuchPlace("bar"));
        }
        if bars.len() == old {
            return Err(EditError::Impossible("a section needs at least one bar; delete the section instead"));
        }
        self.change_parts(section, |part, context| {
            let per_bar = context.meter.beats() * usize::from(context.division);
            if let Part::Cycled { cells, .. } = part
                && (bars.len() * per_bar).is_multiple_of(cells.len())
                && cells.len() <= (old - bars.len()) * per_bar
            {
                return part.clone();
            }
            let mut out = BarredBuilder::default();
            push_bars(&mut out, part, context, 0..bars.start);
            push_bars(&mut out, part, context, bars.end..old);
            out.part()
        });
        self.set_bars(section, old - bars.len())
    }

    /// Makes the bars from one on a section of their own.
    pub(super) fn split_section(&mut self, section: usize, bar: usize, name: &str) -> Result<(), EditError> {
        let whole = self.section_mut(section)?.clone();
        let bars = usize::from(whole.bars);
        if bar == 0 || bar >= bars {
            return Err(EditError::Impossible("a section can be split only before its second or a later bar"));
        }
        if whole.times > 1 {
            return Err(EditError::Impossible("the section plays several times; set it to play once first"));
        }
        let ends: Vec<Part> = (0..self.layers.len())
            .map(|layer| bars_of(self.part(layer, section), self.context(layer, section), bar..bars))
            .collect();
        self.change_parts(section, |part, context| bars_of(part, context, 0..bar));
        self.set_bars(section, bar)?;
        self.sections.insert(section + 1, Section { name: name.to_owned(), bars: (bars - bar) as u16, ..whole });
        for (layer, end) in self.layers.iter_mut().map(Arc::make_mut).zip(ends) {
            layer.insert_section(section + 1, Arc::new(end), layer.divisions[section]);
        }
        Ok(())
    }

    /// Joins a section with the next one, under its own name. Beats of another division become tuplets.
    pub(super) fn join_sections(&mut self, section: usize) -> Result<(), EditError> {
        let next = self.sections.get(section + 1).ok_or(EditError::Impossible("no section after this one"))?.clone();
        let first = self.section_mut(section)?.clone();
        let likes = |s: &Section| (s.meter.clone(), s.tempo, s.swing);
        if likes(&first) != likes(&next) {
            return Err(EditError::Impossible("the next section has another meter, tempo or swing"));
        }
        if first.times != 1 || next.times != 1 {
            return Err(EditError::Impossible("a section that plays several times cannot be joined"));
        }
        let bars = usize::from(first.bars) + usize::from(next.bars);
        BARS.check(bars as i64)?;
        for layer in 0..self.layers.len() {
            let (a, b) = (self.part(layer, section), self.part(layer, section + 1));
            let (before, after) = (self.context(layer, section), self.context(layer, section + 1));
            // A part of rests takes the division of the other one.
            let joined = if *a == Part::rests(before) { after } else { before };
            let new = match (a, b) {
                (Part::Cycled { cells, .. }, Part::Cycled { cells: others, start })
                    if before.division == after.division
                        && cells == others
                        && a.stored_index(before.even_cells()) == usize::from(*start) =>
                {
                    a.clone()
                }
                _ => {
                    let mut out = BarredBuilder::default();
                    for (part, context) in [(a, before), (b, after)] {
                        for spot in part.spots(context) {
                            let cells = part.span_cells(spot);
                            if spot.span == context.even_span() && cells.iter().all(|c| *c == Cell::Rest) {
                                out.push(joined.even_span(), &vec![Cell::Rest; usize::from(joined.division)]);
                            } else {
                                out.push(spot.span, &cells);
                            }
                        }
                    }
                    out.part()
                }
            };
            let division = joined.division;
            self.set_divided(layer, section, division, new);
            Arc::make_mut(&mut self.layers[layer]).remove_section(section + 1);
        }
        self.sections.remove(section + 1);
        self.set_bars(section, bars)
    }

    fn has_attacks(&self, layer: usize, section: usize) -> bool {
        self.part(layer, section).stored().iter().any(|c| c.attack().is_some())
    }

    /// Sets a section's meter; attacks keep their times, and the bars become as many as hold them. A layer's division in the
    /// section changes with the beat, so that its cells keep their length where the new beat is a whole number of them.
    pub(super) fn rebar(&mut self, section: usize, meter: &Meter) -> Result<(), EditError> {
        let old = self.section_mut(section)?.clone();
        let bars = if (0..self.layers.len()).any(|layer| self.has_attacks(layer, section)) {
            let ratio = old.length().ratio_to(meter.bar()).ok_or(EditError::NoSuchPlace("bar"))?;
            BARS.check(-(-ratio.numer()).div_euclid(ratio.denom()))? as usize
        } else {
            usize::from(old.bars)
        };
        let mut parts = Vec::new();
        for layer in 0..self.layers.len() {
            let (part, context) = (self.part(layer, section), self.context(layer, section));
            let has_attacks = self.has_attacks(layer, section);
            let cell = old.meter.beat().divided(usize::from(context.division));
            let same = cell.and_then(|cell| clip::whole_quotient(meter.beat(), cell));
            let same = same.filter(|n| DIVISION.check(*n as i64).is_ok());
            let division = same.map_or(context.division, |n| n as u16);
            let new = PartContext { meter, bars, division, swing: None };
            let part = match part {
                Part::Cycled { .. } if same.is_none() && has_attacks => {
                    return Err(EditError::Impossible("a cycle cannot keep its note values here; write it out first"));
                }
                _ if part.is_cycle() || (!has_attacks && division == context.division) => divide::refit(part, new),
                _ if !has_attacks => Part::rests(new),
                _ => {
                    let row = clip::copy(part, context, 0..part.len(context), Time::ZERO);
                    clip::paste(&Part::rests(new), new, &row, Time::ZERO)?
                }
            };
            parts.push((division, part));
        }
        (self.sections[section].meter, self.sections[section].bars) = (meter.clone(), bars as u16);
        for (layer, (division, part)) in parts.into_iter().enumerate() {
            self.set_divided(layer, section, division, part);
        }
        Ok(())
    }

    /// Sets a layer's cells per beat in one section or all; the cells keep their order, and what then goes past a section's
    /// end is lost.
    pub(super) fn keep_cells(&mut self, layer: usize, section: Option<usize>, division: u16) -> Result<(), EditError> {
        for section in self.divided_sections(layer, section, division)? {
            let (part, context) = (self.part(layer, section), self.context(layer, section));
            let new = if part.is_cycle() {
                part.clone()
            } else {
                let row = clip::copy(part, context, 0..part.len(context), Time::ZERO);
                let row = row.scaled(usize::from(context.division), usize::from(division));
                let new = PartContext { division, swing: None, ..context };
                clip::paste(&Part::rests(new), new, &row, Time::ZERO)?
            };
            self.set_divided(layer, section, division, new);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
