//! Divides the notes of a track into layers without simultaneous notes.

use super::bars::{Bars, Run};
use super::grid::{self, Points, Tolerance};
use super::{Placed, WarningGroup, place_of};
use crate::import::ImportWarning;
use crate::import::draft::DraftTrack;
use crate::rhythm::{Cell, Fraction, Part, PartContext, Span, Spot, Swing, Time};

/// Division of a layer without an attack: a new groove's.
const SILENT: u16 = 4;

/// A layer's cells.
#[derive(Debug)]
pub(super) struct Lane {
    pub(super) division: u16,
    /// One part per run of bars.
    pub(super) parts: Vec<Part>,
}

/// The layers that hold a track's notes, one of rests for a track without any: at most `room` of them, since each of them is as much
/// work as the groove is long. Gives also how many notes found no room; `None` if all of the track has its place.
pub(super) fn lanes(
    track: &DraftTrack,
    mut notes: Vec<Vec<Placed>>,
    room: usize,
    found: &Bars,
    warnings: &mut Vec<ImportWarning>,
) -> (Vec<Lane>, Option<usize>) {
    let mut lanes = Vec::new();
    loop {
        if lanes.len() == room {
            return (lanes, Some(notes.iter().map(Vec::len).sum()));
        }
        let mut left: Vec<Vec<Placed>> = Vec::with_capacity(notes.len());
        let mut taken: Vec<Vec<Placed>> = Vec::with_capacity(notes.len());
        for section in notes {
            let (mut mine, mut others): (Vec<Placed>, Vec<Placed>) = (Vec::new(), Vec::new());
            for note in section {
                let free = mine.last().is_none_or(|last| last.end <= note.start);
                if free { mine.push(note) } else { others.push(note) }
            }
            taken.push(mine);
            left.push(others);
        }
        lanes.push(fit(track, taken, &mut left, found, warnings));
        if left.iter().all(Vec::is_empty) {
            return (lanes, None);
        }
        notes = left;
    }
}

/// The beats of a run of bars.
fn beats_of(run: &Run) -> usize {
    run.meter.beats() * usize::from(run.bars)
}

/// Where each beat's notes begin and end, within a run of bars.
fn points(notes: &[Placed], run: &Run) -> Vec<Points> {
    let beat = run.meter.beat();
    let mut all = vec![Points::new(); beats_of(run)];
    for at in notes.iter().flat_map(|n| [n.start, n.end]) {
        let Some(beats) = at.ratio_to(beat) else { continue };
        let whole = beats.floor();
        let Some(points) = usize::try_from(whole).ok().and_then(|w| all.get_mut(w)) else { continue };
        points.extend(Fraction::new(whole, 1).and_then(|w| beats.minus(w)));
    }
    for points in &mut all {
        points.sort_unstable();
        points.dedup();
    }
    all
}

/// One layer of notes of which no two sound at once. Those that have to be moved onto one that is there already go to `left`.
fn fit(
    track: &DraftTrack,
    mut notes: Vec<Vec<Placed>>,
    left: &mut [Vec<Placed>],
    found: &Bars,
    warnings: &mut Vec<ImportWarning>,
) -> Lane {
    let mut moved = WarningGroup::new(warnings, "moved");
    let mut beats: Vec<Vec<Points>> = Vec::with_capacity(notes.len());
    for (section, (run, notes)) in found.runs.iter().zip(&mut notes).enumerate() {
        // A layer may be silent for tens of thousands of beats: nothing is asked of those one by one.
        if notes.is_empty() {
            beats.push(Vec::new());
            continue;
        }
        let swing = track.swing.or(run.swing);
        let mut all = points(notes, run);
        if snap(notes, &all, run, swing, &mut left[section], &mut |before, after| {
            let by = after.minus(before).unwrap_or(Time::ZERO);
            moved.say(
                || place_of(&track.name, found, section, before),
                || format!("no grid of at most {} cells has this onset; moved by {by} of a whole note", grid::MOST),
            );
        }) {
            all = points(notes, run);
        }
        beats.push(all);
    }
    drop(moved);
    let division = track.division.unwrap_or_else(|| {
        let swings = found.runs.iter().map(|r| track.swing.or(r.swing));
        let all = beats.iter().zip(swings).flat_map(|(b, s)| b.iter().map(move |p| (p, s)));
        grid::division(all, found.runs.iter().map(beats_of).sum(), SILENT)
    });
    let parts = found.runs.iter().zip(&beats).zip(&notes);
    let parts = parts.map(|((run, beats), notes)| part(run, beats, notes, division, track.swing.or(run.swing)));
    Lane { division, parts: parts.collect() }
}

/// Moves what no grid reaches to the nearest place of the grid that comes nearest, beat by beat; whether anything was moved.
/// `said` is told of every onset.
fn snap(
    notes: &mut Vec<Placed>,
    beats: &[Points],
    run: &Run,
    swing: Option<Swing>,
    left: &mut Vec<Placed>,
    said: &mut dyn FnMut(Time, Time),
) -> bool {
    let per_bar = run.meter.beats();
    let mut grids: Vec<Option<Span>> = vec![None; beats.len()];
    for (bar, points) in beats.chunks(per_bar).enumerate() {
        if points.iter().all(Vec::is_empty) || grid::spans(points, 1, swing, Tolerance::NONE).is_some() {
            continue;
        }
        for (i, p) in points.iter().enumerate() {
            if grid::fewest(std::slice::from_ref(p), swing, Tolerance::NONE).is_none() {
                grids[bar * per_bar + i] =
                    Some(grid::nearest(p, swing, bar * per_bar + i + 1 == beats.len(), grid::MOST));
            }
        }
    }
    if grids.iter().all(Option::is_none) {
        return false;
    }
    let beat = run.meter.beat();
    let put = |at: Time, onset: bool| -> Option<Time> {
        let beats = at.ratio_to(beat)?;
        let whole = Fraction::new(beats.floor(), 1)?;
        let index = usize::try_from(beats.floor()).ok()?;
        let span = (*grids.get(index)?)?;
        let closed = onset && index + 1 == grids.len();
        beat.scaled(whole.plus(grid::snapped(beats.minus(whole)?, span, swing, closed)?)?)
    };
    let mut kept: Vec<Placed> = Vec::with_capacity(notes.len());
    for note in notes.drain(..) {
        let (start, mut end) = (put(note.start, true).unwrap_or(note.start), put(note.end, false).unwrap_or(note.end));
        // The end of the beat, or of the cell, whichever grid the onset was put on.
        if end <= start {
            end = next(start, beat, &grids, swing).unwrap_or(note.end);
        }
        let first = kept.last().map(|last: &Placed| last.start);
        if first.is_some_and(|f| f >= start) || end <= start {
            left.push(note);
            continue;
        }
        if let Some(last) = kept.last_mut() {
            last.end = last.end.min(start);
        }
        if start != note.start {
            said(note.start, start);
        }
        kept.push(Placed { start, end, ..note });
    }
    left.sort_by_key(|n| (n.start, std::cmp::Reverse(n.attack.pitch)));
    *notes = kept;
    true
}

/// The end of the cell that begins at a time; of the beat where no grid is set.
fn next(at: Time, beat: Time, grids: &[Option<Span>], swing: Option<Swing>) -> Option<Time> {
    let beats = at.ratio_to(beat)?;
    let whole = Fraction::new(beats.floor(), 1)?;
    let one = whole.plus(Fraction::ONE)?;
    let span = grids.get(usize::try_from(beats.floor()).ok()?).copied().flatten();
    let after = span.and_then(|span| {
        let places = (0..span.cells).filter_map(|c| whole.plus(grid::place(c, span, swing)?));
        places.filter(|p| *p > beats).min()
    });
    beat.scaled(after.unwrap_or(one))
}

/// The cells of one run of bars.
fn part(run: &Run, beats: &[Points], notes: &[Placed], division: u16, swing: Option<Swing>) -> Part {
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

/// The first cell that starts at a time or after it, that after the last one if there is none.
fn cell_from(at: Time, spots: &[Spot], context: PartContext<'_>) -> usize {
    let Some(beats) = at.ratio_to(context.meter.beat()) else { return 0 };
    let Some(index) = spots.partition_point(|s| s.beat as i64 <= beats.floor()).checked_sub(1) else { return 0 };
    let spot = spots[index];
    let into = Fraction::new(spot.beat as i64, 1).and_then(|from| beats.minus(from));
    let mut cells = 0..spot.span.cells;
    let found = into.and_then(|into| cells.find(|c| grid::place(*c, spot.span, context.swing) >= Some(into)));
    let cell = found.unwrap_or(spot.span.cells);
    debug_assert!(
        if found.is_some() { grid::place(cell, spot.span, context.swing) == into } else { at == context.length() },
        "every point was reached"
    );
    spot.first + usize::from(cell)
}
