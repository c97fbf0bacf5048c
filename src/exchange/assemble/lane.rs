//! Notes of one track to layers: no two at once in one, every onset on its cell. It must not know formats.

use super::super::draft::DraftTrack;
use super::super::finding::Remark;
use super::bars::{Bars, Run};
use super::grid::{self, Points, Slack};
use super::{Kind, Placed, place_of};
use crate::rhythm::{Cell, Fraction, Frame, Part, Span, Swing, Time};

/// Division of a layer without an attack: a new groove's.
const SILENT: u16 = 4;

/// A layer's cells.
#[derive(Debug)]
pub(super) struct Lane {
    pub(super) division: u16,
    /// One part per run of bars.
    pub(super) parts: Vec<Part>,
    /// How many notes it holds.
    pub(super) notes: usize,
}

/// The layers that hold a track's notes; one of rests for a track without any.
pub(super) fn lanes(
    track: &DraftTrack,
    mut notes: Vec<Vec<Placed>>,
    found: &Bars,
    remarks: &mut Vec<Remark>,
) -> Vec<Lane> {
    let mut lanes = Vec::new();
    loop {
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
        lanes.push(fit(track, taken, &mut left, found, remarks));
        if left.iter().all(Vec::is_empty) {
            return lanes;
        }
        notes = left;
    }
}

/// Where each beat's notes begin and end, within a run of bars.
fn points(notes: &[Placed], run: &Run) -> Vec<Points> {
    let beat = run.meter.beat();
    let mut all = vec![Points::new(); run.meter.beats() * usize::from(run.bars)];
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
    remarks: &mut Vec<Remark>,
) -> Lane {
    let mut moved = Kind::new(remarks, "notes moved");
    let mut beats: Vec<Vec<Points>> = Vec::with_capacity(notes.len());
    for (section, (run, notes)) in found.runs.iter().zip(&mut notes).enumerate() {
        let swing = track.swing.or(run.swing);
        let mut all = points(notes, run);
        if snap(notes, &all, run, swing, &mut left[section], &mut |before, after| {
            let by = after.minus(before).unwrap_or(Time::ZERO);
            moved.say(
                || place_of(&track.name, found, section, before),
                || format!("no grid of at most {} cells reaches this onset; moved by {by} of a whole note", grid::MOST),
            );
        }) {
            all = points(notes, run);
        }
        beats.push(all);
    }
    drop(moved);
    let division = track.division.unwrap_or_else(|| {
        let swings = found.runs.iter().map(|r| track.swing.or(r.swing));
        let all: Vec<(Points, Option<Swing>)> =
            beats.iter().zip(swings).flat_map(|(b, s)| b.iter().map(move |p| (p.clone(), s))).collect();
        grid::division(&all, SILENT)
    });
    let parts = found.runs.iter().zip(&beats).zip(&notes);
    let parts = parts.map(|((run, beats), notes)| part(run, beats, notes, division, track.swing.or(run.swing)));
    Lane { division, parts: parts.collect(), notes: notes.iter().map(Vec::len).sum() }
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
        if grid::spans(points, 1, swing, Slack::NONE).is_some() {
            continue;
        }
        for (i, p) in points.iter().enumerate() {
            if grid::fewest(std::slice::from_ref(p), swing, Slack::NONE).is_none() {
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
    let frame = Frame { meter: &run.meter, bars: usize::from(run.bars), division, swing };
    let mut spans = Vec::with_capacity(beats.len());
    for points in beats.chunks(run.meter.beats()) {
        let found = grid::spans(points, division, swing, Slack::NONE);
        spans.extend(found.unwrap_or_else(|| vec![Span { beats: 1, cells: division }; points.len()]));
    }
    let count = spans.iter().map(|s| usize::from(s.cells)).sum();
    let rests = Part::Barred { spans: spans.clone(), cells: vec![Cell::Rest; count] };
    let starts = rests.starts(frame);
    let mut cells = vec![Cell::Rest; count];
    for note in notes {
        let first = starts.partition_point(|s| *s < note.start).min(count.saturating_sub(1));
        let end = starts.partition_point(|s| *s < note.end).min(count);
        debug_assert!(starts[first] == note.start && starts[end] == note.end, "every point was reached");
        if let Some(cell) = cells.get_mut(first) {
            *cell = Cell::Attack(note.attack);
        }
        cells[(first + 1).min(end)..end].fill(Cell::Hold);
    }
    Part::Barred { spans, cells }
}
