//! Applies edits of bars: inserting, deleting, splitting, joining, and meters that keep note values.

use super::bounds::{BARS, DIVISION};
use super::clip;
use super::divide::{self, Barred};
use super::edit_error::EditError;
use super::groove::{Groove, Section};
use super::meter::Meter;
use super::part::{Part, PartContext};
use super::time::Time;
use std::ops::Range;
use std::sync::Arc;

/// Adds the beats of some bars.
fn push_bars(out: &mut Barred, part: &Part, context: PartContext<'_>, bars: Range<usize>) {
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
    let mut out = Barred::default();
    push_bars(&mut out, part, context, bars);
    out.part()
}

impl Groove {
    /// Replaces the parts of a section.
    fn change_parts(&mut self, section: usize, change: impl Fn(&Part, PartContext<'_>) -> Part) {
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
            let mut out = Barred::default();
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
            let mut out = Barred::default();
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
            return Err(EditError::Impossible("a section is split before one of its bars from the second on"));
        }
        if whole.times > 1 {
            return Err(EditError::Impossible("the section plays several times; set that to 1 first"));
        }
        let ends: Vec<Part> = (0..self.layers.len())
            .map(|layer| bars_of(self.part(layer, section), self.context(layer, section), bar..bars))
            .collect();
        self.change_parts(section, |part, context| bars_of(part, context, 0..bar));
        self.set_bars(section, bar)?;
        self.sections.insert(section + 1, Section { name: name.to_owned(), bars: (bars - bar) as u16, ..whole });
        for (layer, end) in self.layers.iter_mut().zip(ends) {
            Arc::make_mut(layer).parts.insert(section + 1, Arc::new(end));
        }
        Ok(())
    }

    /// Joins a section with the next one, under its own name.
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
            let new = match (a, b) {
                (Part::Cycled { cells, .. }, Part::Cycled { cells: others, start })
                    if cells == others && a.stored_index(before.even_cells()) == usize::from(*start) =>
                {
                    a.clone()
                }
                _ => {
                    let mut out = Barred::default();
                    push_bars(&mut out, a, before, 0..before.bars);
                    push_bars(&mut out, b, after, 0..after.bars);
                    out.part()
                }
            };
            self.with_part(layer, section, |part| *part = new);
            Arc::make_mut(&mut self.layers[layer]).parts.remove(section + 1);
        }
        self.sections.remove(section + 1);
        self.set_bars(section, bars)
    }

    fn has_attacks(&self, layer: usize, section: usize) -> bool {
        self.part(layer, section).stored().iter().any(|c| c.attack().is_some())
    }

    /// Sets a section's meter; attacks keep their times, and the bars become as many as hold them. A layer's division
    /// changes with the beat, so that its cells keep their length, unless it has attacks in other sections.
    pub(super) fn rebar(&mut self, section: usize, meter: &Meter) -> Result<(), EditError> {
        let old = self.section_mut(section)?.clone();
        if !(0..self.layers.len()).any(|layer| self.has_attacks(layer, section)) {
            return self.refit(section, |s| s.meter = meter.clone());
        }
        let ratio = old.length().ratio_to(meter.bar()).ok_or(EditError::NoSuchPlace("bar"))?;
        let bars = BARS.check(-(-ratio.numer()).div_euclid(ratio.denom()))? as usize;
        let mut parts = Vec::new();
        for layer in 0..self.layers.len() {
            let context = self.context(layer, section);
            let (part, division) = (self.part(layer, section), usize::from(context.division));
            let same = old.meter.beat().divided(division).and_then(|cell| clip::whole(meter.beat(), cell));
            let same = same.filter(|n| DIVISION.check(*n as i64).is_ok());
            let elsewhere = (0..self.sections.len()).any(|s| s != section && self.has_attacks(layer, s));
            let alone = self.sections.len() == 1 || (self.has_attacks(layer, section) && !elsewhere);
            let layer_division = same.filter(|_| alone).unwrap_or(division) as u16;
            let keeps_length = same == Some(usize::from(layer_division));
            let new = PartContext { meter, bars, division: same.unwrap_or(division) as u16, swing: None };
            let part = match part {
                Part::Cycled { .. } if keeps_length => part.clone(),
                Part::Cycled { .. } => {
                    return Err(EditError::Impossible("a cycle cannot keep its note values here; write it out first"));
                }
                _ if !self.has_attacks(layer, section) => Part::rests(PartContext { division: layer_division, ..new }),
                Part::Barred { .. } => {
                    let row = clip::copy(part, context, 0..part.len(context), Time::ZERO);
                    clip::paste(&Part::rests(new), new, &row, Time::ZERO)?
                }
            };
            parts.push((layer_division, part));
        }
        (self.sections[section].meter, self.sections[section].bars) = (meter.clone(), bars as u16);
        for (layer, (division, part)) in parts.into_iter().enumerate() {
            let l = self.layer_mut(layer)?;
            for part in &mut l.parts {
                *part = Arc::new(divide::set_division(part, l.division, division));
            }
            l.division = division;
            self.with_part(layer, section, |p| *p = part);
        }
        Ok(())
    }

    /// Sets a layer's cells per beat; its cells keep their order, and what then goes past a section's end is lost.
    pub(super) fn keep_cells(&mut self, layer: usize, division: u16) -> Result<(), EditError> {
        DIVISION.check(i64::from(division))?;
        let old = self.layer_mut(layer)?.division;
        for section in 0..self.sections.len() {
            let context = self.context(layer, section);
            let part = self.part(layer, section);
            if part.is_cycle() {
                continue;
            }
            let row = clip::copy(part, context, 0..part.len(context), Time::ZERO);
            let row = row.scaled(usize::from(old), usize::from(division));
            let new = PartContext { division, swing: None, ..context };
            let part = clip::paste(&Part::rests(new), new, &row, Time::ZERO)?;
            self.with_part(layer, section, |p| *p = part);
        }
        self.layer_mut(layer)?.division = division;
        Ok(())
    }
}

#[cfg(test)]
mod tests;
