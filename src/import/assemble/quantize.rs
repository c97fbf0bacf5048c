//! Moves rounded or played times to the grids they mean.

use super::grid::{self, MAX_SPAN_CELLS, Points, SpanEnd, Tolerance};
use super::mixed_number;
use super::performance::PlayedGrids;
use crate::import::Warnings;
use crate::import::draft::{DraftBar, DraftTrack, ImportDraft};
use crate::import::midi::TOLERANCE_MS;
use crate::notation::{FormatError, TimedNote, count_were};
use crate::rhythm::{Fraction, Span, Swing, Time, count};

/// How exact the times of a source are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rounding {
    /// Greatest error of rounding alone: half of the source's finest step.
    pub(crate) grain: Time,
    /// How far, in ms, an onset may be moved onto a smaller grid than the exact one; no onset is moved if it is 0.
    pub(crate) tolerance: Fraction,
    pub(crate) source: Source,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Source {
    /// A groove: every grid is meant, and the note lengths too.
    Groove,
    /// Unknown: an exact grid may be coincidence.
    Other,
}

impl Rounding {
    fn is_groove(self) -> bool {
        self.source == Source::Groove
    }

    fn is_strict(self) -> bool {
        !self.is_groove() && self.tolerance == Fraction::ZERO
    }
}

/// Most cells per quarter of the grids that are accepted because times lie on them exactly (ours, no source).
const MAX_EXACT_CELLS: i32 = 16;
const MAX_SPAN_BEATS: u16 = 4;
/// A cell is at least so many tolerances long: any time at all is near a grid finer than that.
const MIN_TOLERANCES_PER_CELL: i32 = 4;
/// A track is played if in more than one of so many bars no grid is exact (ours, no source). What is exact in such a track may be so
/// by chance.
const PLAYED_BARS: usize = 4;
/// Onsets at most so many ms apart are one moment (ours, no source).
const MAX_MOMENT_MS: f64 = 10.0;
/// The same for notes that mostly sound together (ours, no source: players spread a chord by some 10 to 30 ms).
const MAX_CHORD_MS: f64 = 30.0;
const MAX_TOLERANCE_MS: f64 = 100.0;
/// Cells per span that the ends of notes may ask for; others come from how short notes are played, not from what they are.
const END_CELLS: [u16; 7] = [1, 2, 3, 4, 6, 8, 12];
const EPSILON_MS: f64 = 1e-9;

struct GridBar<'a> {
    start: Time,
    beat: Time,
    beats: usize,
    draft: &'a DraftBar,
    track: TrackBar,
}

/// The notes of one track in a bar, by beat, and the spans chosen for them.
#[derive(Default)]
struct TrackBar {
    onsets: Vec<Points>,
    /// The onsets without those of the same moment as one before.
    moments: Vec<Points>,
    onsets_and_ends: Vec<Points>,
    spans: Vec<Span>,
}

#[derive(Default)]
struct Moves {
    onsets: usize,
    beyond_tolerance: usize,
    /// The greatest move beyond the tolerance, in ms.
    farthest_ms: f64,
    ends: usize,
    greatest: Option<Move>,
}

struct Move {
    ms: f64,
    distance: Time,
    place: String,
}

/// Moves the notes of every track to the smallest grids that are exact but for the source's rounding; where there is none, or the
/// track is played, to those that the onsets mean within the tolerance; where there is none either, to the nearest. Ends of notes
/// follow the grid of the onsets. A bar is added where an onset moves to the end of the last one. There is one warning per track for
/// what was moved, and one for everything beyond the tolerance.
///
/// # Errors
/// [`FormatError`] if the tolerance is 0 and no grid that a groove can hold has all onsets of a bar.
pub(crate) fn quantize_draft(
    draft: &mut ImportDraft,
    rounding: Rounding,
    warnings: &mut Warnings,
) -> Result<(), FormatError> {
    let (mut beyond, mut farthest_ms) = (0, 0.0_f64);
    let mut bars: Vec<GridBar> = Vec::with_capacity(draft.bars.len());
    let mut end = Time::ZERO;
    for bar in &draft.bars {
        let (length, beat) = (bar.length(), bar.meter.beat());
        let beats = length.ratio_to(beat).map_or(1, |r| (r.floor() + i64::from(r.denom() != 1)).max(1) as usize);
        bars.push(GridBar { start: end, beat, beats, draft: bar, track: TrackBar::default() });
        let Some(next) = end.plus(length) else { break };
        end = next;
    }
    for track in &mut draft.tracks {
        let moves = quantize_track(&mut bars, track, rounding)?;
        beyond += moves.beyond_tolerance;
        farthest_ms = farthest_ms.max(moves.farthest_ms);
        moves.warn(&track.layer.name, rounding, warnings);
    }
    drop(bars);
    // A note played a little before the end of the last bar begins a bar of its own.
    if let Some(last) = draft.bars.last()
        && draft.tracks.iter().flat_map(|t| &t.notes).any(|n| n.start == end)
    {
        let number = (draft.bars.len() + 1).to_string();
        let bar = DraftBar { swing: last.swing, ..DraftBar::new(last.meter.clone(), last.tempo, number) };
        draft.bars.push(bar);
    }
    if beyond > 0 {
        let enough = farthest_ms.ceil();
        let hint = if enough <= MAX_TOLERANCE_MS { format!(": try a tolerance of {enough} ms") } else { String::new() };
        let message = format!(
            "{} outside the tolerance of {} ms; the farthest is {farthest_ms:.2} ms from its cell{hint}",
            count(beyond, "onset"),
            rounding.tolerance,
        );
        warnings.add("tolerance", message);
    }
    Ok(())
}

fn quantize_track(bars: &mut [GridBar], track: &mut DraftTrack, rounding: Rounding) -> Result<Moves, FormatError> {
    track.notes.sort_by_key(|n| n.start);
    let filled = fill_bars(bars, &track.notes);
    let exact: Vec<Option<Vec<Span>>> = filled.iter().map(|i| exact_spans(&bars[*i], track, rounding)).collect();
    let missed = exact.iter().filter(|e| e.is_none()).count();
    if let Some(first) = exact.iter().position(Option::is_none).filter(|_| rounding.is_strict()) {
        let place = format!("track '{}', bar {}", track.layer.name, bars[filled[first]].draft.number);
        let others =
            if missed > 1 { format!(" (or those of {} more)", count(missed - 1, "bar")) } else { String::new() };
        let message = format!(
            "no grid of at most {MAX_SPAN_CELLS} cells fits the onsets of this bar{others} exactly; \
             try a tolerance of {TOLERANCE_MS} ms"
        );
        return Err(FormatError::new(place, message));
    }
    let is_played = !rounding.is_groove() && missed * PLAYED_BARS > exact.len();
    for (&i, exact) in filled.iter().zip(exact) {
        let bar = &mut bars[i];
        let swing = bar.swing(track.layer.swing);
        bar.track.spans = if rounding.is_groove() {
            exact.unwrap_or_else(|| near_spans(bar, swing, rounding))
        } else {
            let grids = PlayedGrids::new(bar.beat);
            let is_meant =
                |e: &Vec<Span>| !is_played || grids.are_meant(&bar.track.onsets, e, bar.grain_in_beats(rounding));
            exact
                .filter(is_meant)
                .unwrap_or_else(|| grids.spans(&bar.track.moments, swing, bar.tolerance_in_beats(rounding)))
        };
    }
    let mut moves = Moves::default();
    let before: Vec<(Time, Option<Time>)> = track.notes.iter().map(|n| (n.start, n.start.plus(n.length))).collect();
    for note in &mut track.notes {
        move_note(bars, note, track.layer.swing, rounding, &mut moves);
    }
    keep_apart(&mut track.notes, &before);
    if !track.ignore_lengths {
        let is_end_moved =
            |(n, b): &(&TimedNote, &(Time, Option<Time>))| n.start == b.0 && n.start.plus(n.length) != b.1;
        moves.ends = track.notes.iter().zip(&before).filter(is_end_moved).count();
    }
    for i in filled {
        bars[i].track = TrackBar::default();
    }
    Ok(moves)
}

/// Shortens notes so that those that did not sound at once do not afterwards: each ends where the next one begins that began after
/// its end.
fn keep_apart(notes: &mut [TimedNote], before: &[(Time, Option<Time>)]) {
    for i in 0..notes.len() {
        let Some(end) = before[i].1 else { continue };
        let next = before.partition_point(|b| b.0 < end);
        let Some(next) = notes.get(next).map(|n| n.start).filter(|_| next > i) else { continue };
        let note = &mut notes[i];
        let room = next.minus(note.start).filter(|r| *r > Time::ZERO);
        note.length = room.map_or(note.length, |r| r.min(note.length));
    }
}

fn index_at(bars: &[GridBar], time: Time) -> Option<usize> {
    bars.partition_point(|b| b.start <= time).checked_sub(1)
}

/// Adds onsets and ends to their bars. Returns the indices of the bars that have any, which may be few of a long file.
fn fill_bars(bars: &mut [GridBar], notes: &[TimedNote]) -> Vec<usize> {
    let mut filled = Vec::new();
    let mut last: Option<TimedNote> = None;
    for note in notes {
        for (time, is_onset) in [(Some(note.start), true), (note.start.plus(note.length), false)] {
            let Some((time, i)) = time.and_then(|t| Some((t, index_at(bars, t)?))) else { continue };
            let bar = &mut bars[i];
            let place = bar.beats_until(time).and_then(grid::split_beats);
            let Some((beat, point)) = place.filter(|p| p.0 < bar.beats) else { continue };
            if bar.track.onsets_and_ends.is_empty() {
                filled.push(i);
                for points in [&mut bar.track.onsets, &mut bar.track.moments, &mut bar.track.onsets_and_ends] {
                    points.resize(bar.beats, Points::new());
                }
            }
            bar.track.onsets_and_ends[beat].push(point);
            if is_onset {
                bar.track.onsets[beat].push(point);
                if last.is_none_or(|l| !is_one_moment(bar, &l, note)) {
                    bar.track.moments[beat].push(point);
                    last = Some(*note);
                }
            }
        }
    }
    for &i in &filled {
        let bar = &mut bars[i];
        for points in bar.track.onsets.iter_mut().chain(&mut bar.track.onsets_and_ends).chain(&mut bar.track.moments) {
            points.sort_unstable();
            points.dedup();
        }
    }
    filled
}

/// Whether two notes begin in one moment; the second does not begin before the first.
fn is_one_moment(bar: &GridBar, first: &TimedNote, second: &TimedNote) -> bool {
    let Some(ms) = second.start.minus(first.start).map(|t| bar.ms(t)) else { return false };
    let shorter = first.length.min(second.length);
    let common = first.start.plus(first.length).and_then(|e| e.minus(second.start)).map(|c| c.min(second.length));
    let mostly_common = common.and_then(|c| c.repeated(2)).is_some_and(|c| c > shorter);
    ms <= MAX_MOMENT_MS || mostly_common && ms <= MAX_CHORD_MS
}

impl GridBar<'_> {
    fn swing(&self, of_track: Option<Swing>) -> Option<Swing> {
        of_track.or(self.draft.swing)
    }

    fn beats_until(&self, time: Time) -> Option<Fraction> {
        time.minus(self.start)?.ratio_to(self.beat)
    }

    fn ms(&self, length: Time) -> f64 {
        let per_minute = self.draft.tempo.wholes_per_minute();
        let wholes = length.numer() as f64 / length.denom() as f64;
        wholes * 60_000.0 * per_minute.denom() as f64 / per_minute.numer() as f64
    }

    fn tolerance_in_beats(&self, rounding: Rounding) -> Fraction {
        let per_ms = self.draft.tempo.wholes_per_minute().over(Fraction::whole(60_000));
        let wholes = per_ms.and_then(|w| w.times(rounding.tolerance)?.over(self.beat.wholes()));
        wholes.unwrap_or(Fraction::ZERO)
    }

    /// Greatest error of rounding, in beats. A coarse step of the source must not allow greater moves than the tolerance.
    fn grain_in_beats(&self, rounding: Rounding) -> Fraction {
        let grain = rounding.grain.ratio_to(self.beat).unwrap_or(Fraction::ZERO);
        if rounding.is_groove() { grain } else { grain.min(self.tolerance_in_beats(rounding)) }
    }

    /// The span at a number of beats from the bar's start, and its first beat; one undivided beat where no span is set.
    fn span_at(&self, beats: Fraction) -> Option<(Span, Fraction)> {
        if self.track.spans.is_empty() {
            let beat = Some(beats.floor()).filter(|b| *b < self.beats as i64)?;
            return Some((Span { beats: 1, cells: 1 }, Fraction::new(beat, 1)?));
        }
        let mut first = 0_i64;
        for span in &self.track.spans {
            let end = first + i64::from(span.beats);
            if beats < Fraction::new(end, 1)? {
                return Some((*span, Fraction::new(first, 1)?));
            }
            first = end;
        }
        None
    }
}

/// The cells of a beat with so many per quarter: at least one, and no more than a span may have.
pub(super) fn cells_per_beat(beat: Time, per_quarter: i32) -> u16 {
    let cells = beat.scaled(Fraction::whole(4 * per_quarter)).map_or(1, |c| c.wholes().floor());
    cells.clamp(1, i64::from(MAX_SPAN_CELLS)) as u16
}

/// The spans of a bar on which its onsets are exact but for the source's rounding, and so are its ends if they mean something and
/// need no unusual grid.
fn exact_spans(bar: &GridBar, track: &DraftTrack, rounding: Rounding) -> Option<Vec<Span>> {
    let by = bar.grain_in_beats(rounding);
    let max_span_beats = if by == Fraction::ZERO { Tolerance::NONE.max_span_beats } else { MAX_SPAN_BEATS };
    let is_any = rounding.is_groove() || rounding.is_strict();
    let max_cells_per_beat = if is_any { MAX_SPAN_CELLS } else { cells_per_beat(bar.beat, MAX_EXACT_CELLS) };
    let tolerance = Tolerance { distance: by, max_cells_per_beat, max_span_beats };
    let swing = bar.swing(track.layer.swing);
    let onsets = grid::spans(&bar.track.onsets, 1, swing, tolerance);
    if track.ignore_lengths {
        return onsets;
    }
    let both = grid::spans(&bar.track.onsets_and_ends, 1, swing, tolerance);
    let is_usual = |s: &Span| END_CELLS.contains(&s.cells) || onsets.iter().flatten().any(|o| o == s);
    both.filter(|b| rounding.is_groove() || b.iter().all(is_usual)).or(onsets)
}

/// The spans of a bar of a groove whose times are rounded so that no grid is exact.
fn near_spans(bar: &GridBar, swing: Option<Swing>, rounding: Rounding) -> Vec<Span> {
    let by = bar.tolerance_in_beats(rounding).max(bar.grain_in_beats(rounding));
    let cells = by.times(Fraction::whole(MIN_TOLERANCES_PER_CELL)).and_then(|c| Fraction::ONE.over(c));
    let max_cells_per_beat = cells.map_or(MAX_SPAN_CELLS, |c| c.floor().clamp(1, i64::from(MAX_SPAN_CELLS)) as u16);
    let tolerance = Tolerance { distance: by, max_cells_per_beat, max_span_beats: MAX_SPAN_BEATS };
    grid::spans(&bar.track.onsets, 1, swing, tolerance).unwrap_or_else(|| {
        let of_beat = |p: &Points| match grid::fewest_cells(std::slice::from_ref(p), swing, tolerance) {
            Some(cells) => Span { beats: 1, cells },
            None => grid::nearest_span(p, swing, SpanEnd::Open, max_cells_per_beat.max(MAX_SPAN_CELLS / 4)),
        };
        bar.track.onsets.iter().map(of_beat).collect()
    })
}

/// The nearest place in a bar's grid; `None` if the bar has no grid.
fn snap(bars: &[GridBar], time: Time, swing: Option<Swing>) -> Option<Time> {
    let bar = bars.get(index_at(bars, time)?).filter(|b| !b.track.spans.is_empty())?;
    let beats = bar.beats_until(time)?;
    let (span, first) = bar.span_at(beats)?;
    let place = grid::snap(beats.minus(first)?, span, bar.swing(swing), SpanEnd::Open)?;
    bar.beat.scaled(first.plus(place)?)?.plus(bar.start)
}

fn cell_end(bars: &[GridBar], time: Time, swing: Option<Swing>) -> Option<Time> {
    let bar = &bars[index_at(bars, time)?];
    let beats = bar.beats_until(time)?;
    let Some((span, first)) = bar.span_at(beats) else { return time.plus(bar.beat) };
    let end = grid::cell_end(beats.minus(first)?, span, bar.swing(swing));
    bar.beat.scaled(first.plus(end)?)?.plus(bar.start)
}

fn move_note(bars: &[GridBar], note: &mut TimedNote, swing: Option<Swing>, rounding: Rounding, moves: &mut Moves) {
    let Some(start) = snap(bars, note.start, swing) else { return };
    let Some(old_end) = note.start.plus(note.length) else { return };
    let end = snap(bars, old_end, swing).unwrap_or(old_end);
    let end = if end > start { Some(end) } else { cell_end(bars, start, swing) };
    let (Some(by), Some(length)) = (start.minus(note.start), end.and_then(|e| e.minus(start))) else { return };
    if by != Time::ZERO {
        moves.onsets += 1;
        let bar = index_at(bars, note.start).map(|b| &bars[b]);
        let ms = bar.map_or(0.0, |b| b.ms(by).abs());
        let tolerance_ms = rounding.tolerance.numer() as f64 / rounding.tolerance.denom() as f64;
        let is_rounding = Time::ZERO.minus(by).is_some_and(|b| b.max(by) <= rounding.grain);
        if ms > tolerance_ms + EPSILON_MS && !is_rounding {
            moves.beyond_tolerance += 1;
            moves.farthest_ms = moves.farthest_ms.max(ms);
        }
        if moves.greatest.as_ref().is_none_or(|g| ms > g.ms) {
            let place = bar.and_then(|b| {
                let beat = b.beats_until(note.start)?.plus(Fraction::ONE)?;
                Some(format!("bar {}, beat {}", b.draft.number, mixed_number(beat)))
            });
            moves.greatest = Some(Move { ms, distance: by, place: place.unwrap_or_default() });
        }
    }
    (note.start, note.length) = (start, length);
}

impl Moves {
    fn warn(&self, track: &str, rounding: Rounding, warnings: &mut Warnings) {
        let track = format!("track '{track}'");
        if let Some(Move { ms, distance, place }) = &self.greatest {
            let tolerance = rounding.tolerance;
            let beyond = match self.beyond_tolerance {
                0 => String::new(),
                1 if self.onsets == 1 => format!(", by more than the tolerance of {tolerance} ms"),
                n => format!(", {n} of them by more than the tolerance of {tolerance} ms"),
            };
            let moved = count_were(self.onsets, "onset");
            let message = format!(
                "{moved} moved to the grid{beyond}; the largest move is {ms:.2} ms ({distance} of a whole note), at {place}"
            );
            warnings.add(&track, message);
        }
        if self.ends > 0 {
            let message =
                format!("{} rounded to whole cells; the onsets are unchanged", count_were(self.ends, "note length"));
            warnings.add(&track, message);
        }
    }
}
