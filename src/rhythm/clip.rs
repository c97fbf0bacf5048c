//! Copied cells at exact times: how they are taken from a part, written into another one, rotated and shifted.

use super::bounds::TUPLET_CELLS;
use super::cell::Cell;
use super::divide::BarredBuilder;
use super::edit_error::EditError;
use super::part::{Part, PartContext, Span, Spot, written_start};
use super::time::Time;
use std::ops::Range;

/// Cells copied from a region, layer by layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clip {
    pub(crate) rows: Vec<Row>,
    pub(crate) length: Time,
}

/// The cells of one layer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Row {
    /// In order, without overlap.
    pub(crate) runs: Vec<Run>,
    /// Whether the last sound goes on after the copied cells.
    pub(crate) tied: bool,
}

/// Cells of one length, one after another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Run {
    /// From the region's start, without swing.
    pub(crate) start: Time,
    pub(crate) length: Time,
    pub(crate) cells: Vec<Cell>,
    pub(crate) kind: RunKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RunKind {
    /// Cells of the layer's division.
    Even,
    /// A whole tuplet.
    Tuplet,
    TupletPart,
}

const BOUNDED: &str = "times of cells are bounded";

fn sum(a: Time, b: Time) -> Time {
    a.plus(b).expect(BOUNDED)
}

fn difference(a: Time, b: Time) -> Time {
    a.minus(b).expect(BOUNDED)
}

fn times(length: Time, n: usize) -> Time {
    length.repeated(n).expect(BOUNDED)
}

/// `length / unit`, if it is a whole number.
pub(super) fn whole_quotient(length: Time, unit: Time) -> Option<usize> {
    let ratio = length.ratio_to(unit)?;
    if ratio.denom() == 1 { usize::try_from(ratio.numer()).ok() } else { None }
}

impl Clip {
    pub(crate) fn cells(&self) -> impl Iterator<Item = Cell> {
        self.rows.iter().flat_map(Row::cells)
    }
}

impl Run {
    fn end(&self) -> Time {
        sum(self.start, times(self.length, self.cells.len()))
    }

    /// First beat and number of beats of a tuplet that starts at a time of a section.
    fn tuplet_beats(&self, start: Time, context: PartContext<'_>) -> Result<(usize, usize), EditError> {
        let (beat, per_bar) = (context.meter.beat(), context.meter.beats());
        let length = times(self.length, self.cells.len());
        let off_beat = EditError::Impossible("a tuplet would not fill whole beats there");
        let (Some(first), Some(beats)) = (whole_quotient(start, beat), whole_quotient(length, beat)) else {
            return Err(off_beat);
        };
        if first % per_bar + beats > per_bar {
            return Err(EditError::Impossible("a tuplet would cross a bar line there"));
        }
        Ok((first, beats))
    }
}

impl Row {
    /// The row followed by a rest up to a time.
    pub(super) fn then_rest(mut self, to: Option<Time>) -> Row {
        if let (Some(start), Some(to)) = (self.end(), to) {
            self.runs.push(Run { start, length: difference(to, start), cells: vec![Cell::Rest], kind: RunKind::Even });
            self.tied = false;
        }
        self
    }

    pub(super) fn end(&self) -> Option<Time> {
        self.runs.last().map(Run::end)
    }

    /// The row several times, each a length after the one before, without what begins after a limit.
    pub(super) fn repeated(&self, count: usize, length: Time, limit: Time) -> Row {
        let mut runs = Vec::new();
        for k in 0..count {
            let shift = times(length, k);
            if shift >= limit {
                break;
            }
            runs.extend(self.runs.iter().map(|run| Run { start: sum(run.start, shift), ..run.clone() }));
        }
        Row { runs, ..*self }
    }

    /// The row with all times `numer / denom` as long.
    pub(super) fn scaled(&self, numer: usize, denom: usize) -> Row {
        let scale = |time: Time| times(time, numer).divided(denom).expect(BOUNDED);
        let scaled = |run: &Run| Run { start: scale(run.start), length: scale(run.length), ..run.clone() };
        Row { runs: self.runs.iter().map(scaled).collect(), ..*self }
    }

    pub(crate) fn cells(&self) -> impl Iterator<Item = Cell> {
        self.runs.iter().flat_map(|run| run.cells.iter().copied())
    }

    /// The row with other cells.
    pub(crate) fn map(&self, change: impl Fn(Cell) -> Cell) -> Row {
        let mapped = |run: &Run| Run { cells: run.cells.iter().map(|c| change(*c)).collect(), ..run.clone() };
        Row { runs: self.runs.iter().map(mapped).collect(), ..*self }
    }
}

/// Copies cells of a part; their times count from `from`.
pub(super) fn copy(part: &Part, context: PartContext<'_>, cells: Range<usize>, from: Time) -> Row {
    let mut runs = Vec::new();
    for spot in part.spots(context) {
        let count = usize::from(spot.span.cells);
        let taken = spot.first.max(cells.start)..(spot.first + count).min(cells.end);
        if taken.is_empty() {
            continue;
        }
        let kind = match (spot.span == context.even_span(), taken.len() == count) {
            (true, _) => RunKind::Even,
            (false, true) => RunKind::Tuplet,
            (false, false) => RunKind::TupletPart,
        };
        let start = written_start(Spot { cell: taken.start - spot.first, ..spot }, context);
        let length = times(context.meter.beat(), usize::from(spot.span.beats)).divided(count).expect(BOUNDED);
        runs.push(Run { start: difference(start, from), length, cells: taken.map(|c| part.cell(c)).collect(), kind });
    }
    let tied = cells.end < part.len(context) && part.cell(cells.end) == Cell::Hold;
    Row { runs, tied }
}

/// A cell with its time.
#[derive(Clone, Copy)]
struct TimedCell {
    start: Time,
    cell: Cell,
    /// The cell is one of a tuplet, so that a cell must begin at its time.
    of_tuplet: bool,
}

/// The cell that begins at a time, where `cells` sound.
fn cell_at(cells: &[TimedCell], time: Time) -> Cell {
    let next = cells.partition_point(|c| c.start <= time);
    let Some(here) = next.checked_sub(1).map(|i| cells[i]) else { return Cell::Rest };
    let is_held = || cells.get(next).is_some_and(|c| c.cell == Cell::Hold);
    match here.cell {
        cell if here.start == time || cell == Cell::Hold => cell,
        Cell::Attack(_) if is_held() => Cell::Hold,
        _ => Cell::Rest,
    }
}

/// The times within a range at which a cell must begin: attacks, ends of held sounds, cells of tuplets.
fn required_starts(cells: &[TimedCell], range: Range<usize>) -> Vec<Time> {
    let ends_sound = |i: usize| cells[i].cell == Cell::Rest && i > 0 && cells[i - 1].cell == Cell::Hold;
    let is_required = |i: &usize| cells[*i].of_tuplet || cells[*i].cell.attack().is_some() || ends_sound(*i);
    range.filter(is_required).map(|i| cells[i].start).collect()
}

/// A time of whole beats that gets a new grid.
struct Slot {
    beat: usize,
    beats: usize,
    /// Numbers of cells to choose from, the best first.
    grids: Vec<usize>,
}

/// A row over a part.
struct RowPaste<'a> {
    part: &'a Part,
    context: PartContext<'a>,
    row: &'a Row,
    /// The time of the row's region.
    at: Time,
    from: Time,
    to: Time,
}

/// Writes a row into a barred part: its attacks keep their times, and its tuplets stay tuplets.
///
/// # Errors
/// A tuplet or an attack does not fit.
pub(super) fn paste(part: &Part, context: PartContext<'_>, row: &Row, at: Time) -> Result<Part, EditError> {
    let (Some(first), Some(end)) = (row.runs.first(), row.end()) else { return Ok(part.clone()) };
    let (from, to) = (sum(at, first.start), sum(at, end).min(context.length()));
    if from >= to { Ok(part.clone()) } else { RowPaste { part, context, row, at, from, to }.part() }
}

impl RowPaste<'_> {
    fn beat(&self, n: usize) -> Time {
        times(self.context.meter.beat(), n)
    }

    fn part(&self) -> Result<Part, EditError> {
        let cells = self.cells();
        let mut out = BarredBuilder::default();
        for spot in self.part.spots(self.context) {
            let end = spot.beat + usize::from(spot.span.beats);
            if self.beat(end) <= self.from || self.beat(spot.beat) >= self.to {
                out.push(spot.span, &self.part.span_cells(spot));
                continue;
            }
            for slot in self.slots(spot, out.beats) {
                let (start, length) = (self.beat(slot.beat), self.beat(slot.beats));
                let within =
                    cells.partition_point(|c| c.start < start)..cells.partition_point(|c| c.start < sum(start, length));
                let needed = required_starts(&cells, within);
                let holds = |grid: &usize| {
                    let unit = length.divided(*grid).expect(BOUNDED);
                    needed.iter().all(|time| whole_quotient(difference(*time, start), unit).is_some())
                };
                let grid = slot.grids.into_iter().find(holds).ok_or_else(|| self.error(start, length))?;
                let unit = length.divided(grid).expect(BOUNDED);
                let sampled: Vec<Cell> = (0..grid).map(|i| cell_at(&cells, sum(start, times(unit, i)))).collect();
                out.push(Span { beats: slot.beats as u16, cells: grid as u16 }, &sampled);
            }
        }
        let mut part = out.part();
        if !self.row.tied {
            let mut spots = part.cell_spots(self.context);
            let after = spots.find(|s| written_start(*s, self.context) >= self.to).map(|s| s.first + s.cell);
            drop(spots);
            let after = part.stored_mut().iter_mut().skip(after.unwrap_or(usize::MAX));
            after.take_while(|c| **c == Cell::Hold).for_each(|c| *c = Cell::Rest);
        }
        Ok(part)
    }

    /// The pasted cells, and those of the part around them in the spans that they touch.
    fn cells(&self) -> Vec<TimedCell> {
        let limit = difference(self.to, self.at);
        let pasted = self.row.runs.iter().flat_map(|run| {
            let of_tuplet = run.kind != RunKind::Even;
            let timed = move |(i, cell): (usize, &Cell)| TimedCell {
                start: sum(run.start, times(run.length, i)),
                cell: *cell,
                of_tuplet,
            };
            run.cells.iter().enumerate().map(timed)
        });
        let pasted = pasted.take_while(|c| c.start < limit).map(|c| TimedCell { start: sum(c.start, self.at), ..c });
        let edges = [self.from, self.to].map(|edge| self.edge_span(edge));
        let edges = [edges[0], edges[1].filter(|b| edges[0].is_none_or(|a| a.first != b.first))];
        let around: Vec<TimedCell> = edges
            .into_iter()
            .flatten()
            .flat_map(|spot| (0..usize::from(spot.span.cells)).map(move |cell| Spot { cell, ..spot }))
            .map(|spot| TimedCell {
                start: written_start(spot, self.context),
                cell: self.part.cell(spot.first + spot.cell),
                of_tuplet: spot.span != self.context.even_span(),
            })
            .collect();
        let split = around.partition_point(|c| c.start < self.from);
        let after = &around[around.partition_point(|c| c.start < self.to)..];
        let mut cells: Vec<TimedCell> = around[..split].iter().copied().chain(pasted).collect();
        if after.first().is_none_or(|c| c.start > self.to) {
            cells.push(TimedCell { start: self.to, cell: Cell::Rest, of_tuplet: false });
        }
        cells.extend(after);
        cells
    }

    /// The span that begins before a time and ends after it.
    fn edge_span(&self, time: Time) -> Option<Spot> {
        let spot = self.part.spot(self.part.cell_at(time, self.context), self.context)?;
        let end = self.beat(spot.beat + usize::from(spot.span.beats));
        (self.beat(spot.beat) < time && time < end).then_some(Spot { cell: 0, ..spot })
    }

    /// The new spans in place of one that the row touches, from beat `from` on: the whole span if the row covers a part of it,
    /// otherwise tuplets of the row and single beats.
    fn slots(&self, spot: Spot, from: usize) -> Vec<Slot> {
        let (beats, cells) = (usize::from(spot.span.beats), usize::from(spot.span.cells));
        let division = usize::from(self.context.division);
        let end = spot.beat + beats;
        if self.beat(spot.beat) < self.from || self.beat(end) > self.to {
            let mut grids = vec![cells];
            grids.extend(self.copied_grids(spot.beat, beats));
            grids.extend((beats == 1).then_some(division));
            return vec![Slot { beat: spot.beat, beats, grids }];
        }
        let mut slots = Vec::new();
        let mut beat = from.max(spot.beat);
        while beat < end {
            let slot = self.tuplet_from(beat).unwrap_or_else(|| {
                let mut grids = vec![division];
                grids.extend(self.copied_grids(beat, 1));
                Slot { beat, beats: 1, grids }
            });
            beat += slot.beats;
            slots.push(slot);
        }
        slots
    }

    /// The tuplet of the row that begins with a beat, unless it reaches into a span of which the row covers a part.
    fn tuplet_from(&self, beat: usize) -> Option<Slot> {
        let start = difference(self.beat(beat), self.at);
        let run = self.row.runs.partition_point(|run| run.start < start);
        let run = self.row.runs.get(run).filter(|run| run.start == start && run.kind == RunKind::Tuplet)?;
        let (_, beats) = run.tuplet_beats(self.beat(beat), self.context).ok()?;
        let free = self.edge_span(self.to).is_none_or(|edge| beat + beats <= edge.beat);
        free.then(|| Slot { beat, beats, grids: vec![run.cells.len()] })
    }

    /// Grids of some beats with cells as long as those pasted there.
    fn copied_grids(&self, beat: usize, beats: usize) -> Vec<usize> {
        let (start, length) = (self.beat(beat), self.beat(beats));
        let end = sum(start, length);
        let runs = self.row.runs.iter().filter(|run| sum(run.start, self.at) < end && sum(run.end(), self.at) > start);
        let mut grids: Vec<usize> = runs.filter_map(|run| whole_quotient(length, run.length)).collect();
        grids.retain(|n| TUPLET_CELLS.check(*n as i64).is_ok());
        grids.dedup();
        grids
    }

    /// Why no grid has a cell for every attack in a time.
    fn error(&self, start: Time, length: Time) -> EditError {
        let end = sum(start, length);
        let tuplets = self.row.runs.iter().filter(|run| run.kind == RunKind::Tuplet);
        let mut here = tuplets.filter(|run| sum(run.start, self.at) < end && sum(run.end(), self.at) > start);
        let misplaced = here.find_map(|run| run.tuplet_beats(sum(run.start, self.at), self.context).err());
        let beat = whole_quotient(start, self.context.meter.beat()).unwrap_or(0);
        let per_bar = self.context.meter.beats();
        misplaced.unwrap_or(EditError::BetweenCells { bar: beat / per_bar + 1, beat: beat % per_bar + 1 })
    }
}

/// What happens to the cells that leave a region at one end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EdgeMode {
    /// They enter at the other end.
    Wrap,
    /// They are lost, and rests enter.
    Drop,
}

/// Moves the cells of a range later, or earlier if `by` is negative: cells of one length by so many of them, others by so many cells of the
/// layer's division, where tuplets move as a whole.
///
/// # Errors
/// A tuplet is cut, or does not fit its new place.
pub(super) fn move_range(
    part: &Part,
    context: PartContext<'_>,
    range: Range<usize>,
    by: i32,
    mode: EdgeMode,
) -> Result<Part, EditError> {
    let row = copy(part, context, range.clone(), Time::ZERO);
    let Some(first) = row.runs.first() else { return Ok(part.clone()) };
    if row.runs.iter().all(|run| run.length == first.length) {
        let mut part = part.clone();
        move_cells(&mut part.stored_mut()[range], by, mode);
        return Ok(part);
    }
    if row.runs.iter().any(|run| run.kind == RunKind::TupletPart) {
        return Err(EditError::Impossible("the selection cuts a tuplet"));
    }
    let plain = context.meter.beat().divided(usize::from(context.division)).expect(BOUNDED);
    let single = |cell: Cell| Run { start: Time::ZERO, length: plain, cells: vec![cell], kind: RunKind::Even };
    let mut units: Vec<Run> = Vec::new();
    for run in &row.runs {
        match run.kind {
            RunKind::Even => units.extend(run.cells.iter().map(|c| single(*c))),
            _ => units.push(run.clone()),
        }
    }
    let length = |run: &Run| whole_quotient(times(run.length, run.cells.len()), plain).unwrap_or(1);
    let total: usize = units.iter().map(length).sum();
    let steps = by.unsigned_abs() as usize;
    let steps = if mode == EdgeMode::Wrap { steps % total } else { steps.min(total) };
    // The units before the cut come after those behind it.
    let cut = if by > 0 { total - steps } else { steps };
    let ends = units.iter().scan(0, |end, unit| {
        *end += length(unit);
        Some(*end)
    });
    let index = std::iter::once(0).chain(ends).position(|end| end == cut);
    let index = index.ok_or(EditError::Impossible("a tuplet would be cut"))?;
    let left: Vec<Run> = units.split_off(index);
    let rests = vec![single(Cell::Rest); steps];
    let units = match (mode, by > 0) {
        (EdgeMode::Wrap, _) => [left, units].concat(),
        (EdgeMode::Drop, true) => [rests, units].concat(),
        (EdgeMode::Drop, false) => [left, rests].concat(),
    };
    let mut start = first.start;
    let mut runs = Vec::new();
    for unit in units {
        let run = Run { start, ..unit };
        if run.kind == RunKind::Tuplet {
            run.tuplet_beats(start, context)?;
        }
        start = run.end();
        runs.push(run);
    }
    paste(part, context, &Row { runs, tied: true }, Time::ZERO)
}

/// Moves cells by so many places, later if `by` is positive.
pub(super) fn move_cells(cells: &mut [Cell], by: i32, mode: EdgeMode) {
    let count = cells.len().max(1);
    let steps = by.unsigned_abs() as usize;
    if mode == EdgeMode::Drop {
        let lost = steps.min(cells.len());
        let lost = if by > 0 { cells.len() - lost..cells.len() } else { 0..lost };
        cells[lost].fill(Cell::Rest);
    }
    let steps = if mode == EdgeMode::Drop { steps.min(cells.len()) } else { steps } % count;
    if by > 0 { cells.rotate_right(steps) } else { cells.rotate_left(steps) }
}

/// The cells of a row at the layer's division, for a cycle, with the index of the cell that is at the section's start.
///
/// # Errors
/// The row is no whole number of cells, or an attack is between them.
pub(super) fn cycle(row: &Row, length: Time, context: PartContext<'_>, at: Time) -> Result<Part, EditError> {
    let unit = context.meter.beat().divided(usize::from(context.division)).expect(BOUNDED);
    let uneven = EditError::Impossible("a cycle has no tuplets, and only whole cells of its layer");
    let (Some(count), Some(first)) = (whole_quotient(length, unit).filter(|n| *n > 0), whole_quotient(at, unit)) else {
        return Err(uneven);
    };
    let mut cells = vec![Cell::Rest; count];
    for run in &row.runs {
        for (i, cell) in run.cells.iter().enumerate() {
            let index = whole_quotient(sum(run.start, times(run.length, i)), unit).filter(|i| *i < count);
            match index {
                Some(index) if run.length == unit => cells[index] = *cell,
                _ => return Err(uneven),
            }
        }
    }
    let start = (count - first % count) % count;
    Ok(Part::Cycled { cells, start: start as u16 })
}

#[cfg(test)]
mod tests;
