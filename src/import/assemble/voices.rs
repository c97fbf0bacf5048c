//! Divides the notes of a track into layers without simultaneous notes.

use super::bars::{BarRun, Timeline};
use super::grid::{self, MAX_SPAN_CELLS, Points, SpanEnd, Tolerance, split_beats};
use super::{PlacedNote, WarningGroup};
use crate::import::Warnings;
use crate::import::draft::DraftTrack;
use crate::rhythm::{Cell, Fraction, Part, PartContext, Span, Spot, Swing, Time};
use std::collections::HashMap;

/// Division of a layer without an attack: that of a new groove.
const SILENT_DIVISION: u16 = 4;

#[derive(Debug)]
pub(super) struct LayerCells {
    /// One per run of bars, as the parts.
    pub(super) divisions: Vec<u16>,
    pub(super) parts: Vec<Part>,
}

/// The layers that hold the notes of a track, one of rests for a track without any. If they would be more than `max_layers`, also
/// the number of notes dropped.
pub(super) fn divide(
    track: &DraftTrack,
    mut notes: Vec<Vec<PlacedNote>>,
    max_layers: usize,
    timeline: &Timeline,
    warnings: &mut Warnings,
) -> (Vec<LayerCells>, Option<usize>) {
    let mut layers = Vec::new();
    while layers.len() < max_layers {
        let mut rest: Vec<Vec<PlacedNote>> = Vec::with_capacity(notes.len());
        let mut voice: Vec<Vec<PlacedNote>> = Vec::with_capacity(notes.len());
        for section in notes {
            let mut last_end = None;
            let (mine, others) = section.into_iter().partition(|note| {
                let is_free = last_end.is_none_or(|end| end <= note.start);
                if is_free {
                    last_end = Some(note.end);
                }
                is_free
            });
            voice.push(mine);
            rest.push(others);
        }
        layers.push(write_cells(track, voice, &mut rest, timeline, warnings));
        if rest.iter().all(Vec::is_empty) {
            return (layers, None);
        }
        notes = rest;
    }
    (layers, Some(notes.iter().map(Vec::len).sum()))
}

fn beats_of(run: &BarRun) -> usize {
    run.meter.beats() * usize::from(run.bars)
}

/// The onsets and ends of a run of bars by beat.
fn points(notes: &[PlacedNote], run: &BarRun) -> Vec<Points> {
    let mut all = vec![Points::new(); beats_of(run)];
    for at in notes.iter().flat_map(|n| [n.start, n.end]) {
        let Some((beat, point)) = at.ratio_to(run.meter.beat()).and_then(split_beats) else { continue };
        if let Some(points) = all.get_mut(beat) {
            points.push(point);
        }
    }
    for points in &mut all {
        points.sort_unstable();
        points.dedup();
    }
    all
}

/// Writes the cells of a layer. Notes that would have to be moved onto another one go to `rest`.
fn write_cells(
    track: &DraftTrack,
    mut notes: Vec<Vec<PlacedNote>>,
    rest: &mut [Vec<PlacedNote>],
    timeline: &Timeline,
    warnings: &mut Warnings,
) -> LayerCells {
    let mut moved = WarningGroup::new(warnings, "moved");
    let mut beats: Vec<Vec<Points>> = Vec::with_capacity(notes.len());
    for (section, (run, notes)) in timeline.runs.iter().zip(&mut notes).enumerate() {
        // A layer may be silent for tens of thousands of beats, which are not visited one by one.
        if notes.is_empty() {
            beats.push(Vec::new());
            continue;
        }
        let swing = track.layer.swing.or(run.swing);
        let mut all = points(notes, run);
        let mut on_move = |before: Time, after: Time| {
            let by = after.minus(before).unwrap_or(Time::ZERO);
            moved.add(
                || timeline.describe(&track.layer.name, section, before),
                || {
                    format!(
                        "no grid of at most {MAX_SPAN_CELLS} cells contains this onset; moved by {by} of a whole note"
                    )
                },
            );
        };
        if snap(notes, &all, run, swing, &mut rest[section], &mut on_move) {
            all = points(notes, run);
        }
        beats.push(all);
    }
    drop(moved);
    let swings = || timeline.runs.iter().map(|r| track.layer.swing.or(r.swing));
    // One division for each note value that is a beat, so that one of eighths may have the same cells as one of quarters.
    let count = timeline.runs.iter().map(beats_of).sum();
    let found = |of: Option<Time>, silent: u16| {
        let all =
            beats.iter().zip(swings()).zip(&timeline.runs).filter(|(_, run)| of.is_none_or(|b| run.meter.beat() == b));
        let all = all.flat_map(|((b, s), _)| b.iter().map(move |p| (p, s)));
        grid::division(all, count, silent)
    };
    let divisions: Vec<u16> = match track.layer.divisions.last() {
        None => {
            let whole = found(None, SILENT_DIVISION);
            let mut known: HashMap<Time, u16> = HashMap::new();
            let of_run = |run: &BarRun| {
                let beat = run.meter.beat();
                *known.entry(beat).or_insert_with(|| found(Some(beat), whole))
            };
            timeline.runs.iter().map(of_run).collect()
        }
        Some(last) => sections_of(&timeline.runs).map(|s| *track.layer.divisions.get(s).unwrap_or(last)).collect(),
    };
    let parts = timeline.runs.iter().zip(&beats).zip(&notes).zip(swings()).zip(&divisions);
    let parts = parts.map(|((((run, beats), notes), swing), division)| part(run, beats, notes, *division, swing));
    LayerCells { parts: parts.collect(), divisions }
}

/// The index of each run's section in the source, which is named again at each of its passes.
fn sections_of(runs: &[BarRun]) -> impl Iterator<Item = usize> {
    let begins = |i: usize| i > 0 && runs[i].name.is_some() && runs[i].name != runs[i - 1].name;
    (0..runs.len()).scan(0, move |index, i| {
        *index += usize::from(begins(i));
        Some(*index)
    })
}

/// Moves what no grid reaches to the nearest place of the nearest grid, beat by beat, and calls `on_move` for every onset moved.
/// Returns whether anything was moved.
fn snap(
    notes: &mut Vec<PlacedNote>,
    beats: &[Points],
    run: &BarRun,
    swing: Option<Swing>,
    rest: &mut Vec<PlacedNote>,
    on_move: &mut dyn FnMut(Time, Time),
) -> bool {
    let per_bar = run.meter.beats();
    // Nothing follows the last beat.
    let end_of = |beat: usize| if beat + 1 == beats.len() { SpanEnd::Closed } else { SpanEnd::Open };
    let mut grids: Vec<Option<Span>> = vec![None; beats.len()];
    for (bar, points) in beats.chunks(per_bar).enumerate() {
        if points.iter().all(Vec::is_empty) || grid::spans(points, 1, swing, Tolerance::NONE).is_some() {
            continue;
        }
        for (i, p) in points.iter().enumerate() {
            let beat = bar * per_bar + i;
            if grid::fewest_cells(std::slice::from_ref(p), swing, Tolerance::NONE).is_none() {
                grids[beat] = Some(grid::nearest_span(p, swing, end_of(beat), MAX_SPAN_CELLS));
            }
        }
    }
    if grids.iter().all(Option::is_none) {
        return false;
    }
    let beat = run.meter.beat();
    let grid_of = |index: usize| grids.get(index).copied().flatten();
    // A time at another place in its beat.
    let moved = |at: Time, place: &dyn Fn(usize, Fraction) -> Option<Fraction>| {
        let (index, within) = split_beats(at.ratio_to(beat)?)?;
        beat.scaled(Fraction::new(index as i64, 1)?.plus(place(index, within)?)?)
    };
    let snapped = |at: Time, end_of: &dyn Fn(usize) -> SpanEnd| {
        moved(at, &|index, within| grid::snap(within, grid_of(index)?, swing, end_of(index))).unwrap_or(at)
    };
    // The end of the cell there, or of the beat if that has no grid.
    let cell_end =
        |index, within| Some(grid_of(index).map_or(Fraction::ONE, |span| grid::cell_end(within, span, swing)));
    let mut kept: Vec<PlacedNote> = Vec::with_capacity(notes.len());
    for note in notes.drain(..) {
        let start = snapped(note.start, &end_of);
        let mut end = snapped(note.end, &|_| SpanEnd::Open);
        if end <= start {
            end = moved(start, &cell_end).unwrap_or(note.end);
        }
        if kept.last().is_some_and(|last| last.start >= start) || end <= start {
            rest.push(note);
            continue;
        }
        if let Some(last) = kept.last_mut() {
            last.end = last.end.min(start);
        }
        if start != note.start {
            on_move(note.start, start);
        }
        kept.push(PlacedNote { start, end, ..note });
    }
    rest.sort_by_key(PlacedNote::onset_order);
    *notes = kept;
    true
}

fn part(run: &BarRun, beats: &[Points], notes: &[PlacedNote], division: u16, swing: Option<Swing>) -> Part {
    let even = Span { beats: 1, cells: division };
    let mut spans = if beats.is_empty() { vec![even; beats_of(run)] } else { Vec::with_capacity(beats.len()) };
    for points in beats.chunks(run.meter.beats()) {
        let silent = points.iter().all(Vec::is_empty);
        match if silent { None } else { grid::spans(points, division, swing, Tolerance::NONE) } {
            Some(found) => spans.extend(found),
            None => spans.extend(points.iter().map(|_| even)),
        }
    }
    let context = PartContext { meter: &run.meter, bars: usize::from(run.bars), division, swing };
    let count = spans.iter().map(|s| usize::from(s.cells)).sum();
    let rests = Part::Barred { spans, cells: vec![Cell::Rest; count] };
    let spots = if notes.is_empty() { Vec::new() } else { rests.spots(context) };
    let Part::Barred { spans, mut cells } = rests else { return Part::rests(context) };
    for note in notes {
        let first = cell_from(note.start, &spots, context).min(count.saturating_sub(1));
        let end = cell_from(note.end, &spots, context).min(count);
        if let Some(cell) = cells.get_mut(first) {
            *cell = Cell::Attack(note.attack);
        }
        cells[(first + 1).min(end)..end].fill(Cell::Hold);
    }
    Part::Barred { spans, cells }
}

/// The first cell that starts at or after a time; one past the last if there is none.
fn cell_from(at: Time, spots: &[Spot], context: PartContext<'_>) -> usize {
    let Some(beats) = at.ratio_to(context.meter.beat()) else { return 0 };
    let Some(index) = spots.partition_point(|s| s.beat as i64 <= beats.floor()).checked_sub(1) else { return 0 };
    let spot = spots[index];
    let within = Fraction::new(spot.beat as i64, 1).and_then(|from| beats.minus(from));
    let mut cells = 0..spot.span.cells;
    let found = within.and_then(|w| cells.find(|c| grid::place(*c, spot.span, context.swing) >= Some(w)));
    let cell = found.unwrap_or(spot.span.cells);
    debug_assert!(
        if found.is_some() { grid::place(cell, spot.span, context.swing) == within } else { at == context.length() },
        "the spans reach every point"
    );
    spot.first + usize::from(cell)
}
