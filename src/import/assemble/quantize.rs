//! Moves rounded or played times to the grids they mean.

use super::grid::{self, Points, Tolerance};
use super::{mixed, performance};
use crate::import::ImportWarning;
use crate::import::draft::{DraftBar, ImportDraft};
use crate::notation::TimedNote;
use crate::notation::{count, were};
use crate::rhythm::{Fraction, Span, Swing, Time};

/// How a source's times stand to those they mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rounding {
    /// How far rounding alone may have moved a time: half of the source's finest step.
    pub(crate) grain: Time,
    /// How far, in ms, an onset may be moved onto a smaller grid than the exact one.
    pub(crate) tolerance: Fraction,
    /// Grids of at most so many cells per beat are looked at before the tolerance is used.
    pub(crate) cells: u16,
}

impl Rounding {
    /// Whether every grid that a groove can have is meant, and the lengths too.
    fn own(self) -> bool {
        self.cells >= grid::MOST
    }
}

/// Longest span in beats that is looked for where times are not exact.
const LONGEST: u16 = 4;
/// A grid's cell is at least so many times the tolerance: any time at all is near a grid finer than that.
const COARSER: i64 = 4;
/// Times are played if in more than one of so many bars no grid is exact (ours, no source). What is exact in such a track is so by
/// chance.
const PLAYED: usize = 4;
/// Onsets at most so many ms apart are one moment, and those of notes that mostly sound together up to the second number (ours, no
/// source: players spread a chord by some 10 to 30 ms).
const MOMENT_MS: (i32, i32) = (10, 30);
/// Greatest tolerance in ms that can be asked for.
const GREATEST_MS: f64 = 100.0;
/// Cells per span that ends of notes may ask for; others come from how short notes are played, not from what they are.
const ENDS: [u16; 7] = [1, 2, 3, 4, 6, 8, 12];

/// A bar with what lies in it, in beats from its start.
struct Bar<'a> {
    start: Time,
    beat: Time,
    count: usize,
    of: &'a DraftBar,
    onsets: Vec<Points>,
    /// The onsets without those that sound together with one before.
    apart: Vec<Points>,
    both: Vec<Points>,
    spans: Vec<Span>,
}

/// The greatest move of a track, and how many there were.
#[derive(Default)]
struct Moved {
    count: usize,
    far: usize,
    /// The greatest move beyond the tolerance, in ms.
    farthest: f64,
    ends: usize,
    greatest: Option<(f64, Time, String)>,
}

/// Puts the notes of every track on the smallest grids that are exact but for the source's rounding; where there is none, or the track
/// is played, on those that the onsets mean within the tolerance; where there is none either, on the nearest. What was moved is told
/// per track, how many and the largest move, and at the end what lay beyond the tolerance. Ends of notes follow the grid of the
/// onsets; where `lengths` is false for a track, they count for nothing. A bar is added where an onset went over the last line.
pub(crate) fn fit(draft: &mut ImportDraft, lengths: &[bool], rounding: Rounding) -> Vec<ImportWarning> {
    let mut warnings = Vec::new();
    // How many onsets lie beyond the tolerance, and how far in ms.
    let mut far = (0, 0.0_f64);
    let mut bars: Vec<Bar> = Vec::with_capacity(draft.bars.len());
    let mut start = Time::ZERO;
    for bar in &draft.bars {
        let (length, beat) = (bar.length.unwrap_or_else(|| bar.meter.bar()), bar.meter.beat());
        let count = length.ratio_to(beat).map_or(1, |r| (r.floor() + i64::from(r.denom() != 1)).max(1) as usize);
        bars.push(Bar {
            start,
            beat,
            count,
            of: bar,
            onsets: Vec::new(),
            apart: Vec::new(),
            both: Vec::new(),
            spans: Vec::new(),
        });
        let Some(next) = start.plus(length) else { break };
        start = next;
    }
    for (t, track) in draft.tracks.iter_mut().enumerate() {
        track.notes.sort_by_key(|n| n.start);
        let filled = gather(&mut bars, &track.notes);
        let lengths = lengths.get(t).copied().unwrap_or(true);
        let swing = |bar: &Bar| track.swing.or(bar.of.swing);
        let exact: Vec<Option<Vec<Span>>> =
            filled.iter().map(|i| exact(&bars[*i], swing(&bars[*i]), rounding, lengths)).collect();
        let missed = exact.iter().filter(|e| e.is_none()).count();
        let all_played = !rounding.own() && missed * PLAYED > exact.len();
        for (&i, exact) in filled.iter().zip(exact) {
            let bar = &mut bars[i];
            let swing = track.swing.or(bar.of.swing);
            bar.spans = match exact.filter(|_| !all_played) {
                Some(spans) => spans,
                None if rounding.own() => near(bar, swing, rounding),
                None => performance::spans(&bar.apart, swing, tolerance(bar, rounding)),
            };
        }
        let mut moved = Moved::default();
        let before: Vec<(Time, Option<Time>)> = track.notes.iter().map(|n| (n.start, n.start.plus(n.length))).collect();
        for note in &mut track.notes {
            put(&bars, note, track.swing, rounding, &mut moved);
        }
        part(&mut track.notes, &before);
        if lengths {
            moved.ends = track
                .notes
                .iter()
                .zip(&before)
                .filter(|(n, b)| n.start == b.0 && n.start.plus(n.length) != b.1)
                .count();
        }
        far.0 += moved.far;
        far.1 = far.1.max(moved.farthest);
        say(&track.name, &moved, rounding, &mut warnings);
        for bar in filled {
            let bar = &mut bars[bar];
            (bar.onsets, bar.apart, bar.both, bar.spans) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        }
    }
    // A note played a little before the bar line after the last bar begins a bar of its own.
    let end = start;
    drop(bars);
    if draft.tracks.iter().flat_map(|t| &t.notes).any(|n| n.start == end)
        && let Some(last) = draft.bars.last()
    {
        let number = (draft.bars.len() + 1).to_string();
        let bar = DraftBar { swing: last.swing, ..DraftBar::new(last.meter.clone(), last.tempo, number) };
        draft.bars.push(bar);
    }
    if far.0 > 0 {
        let enough = far.1.ceil();
        let again = if enough <= GREATEST_MS { format!(": try --tolerance {enough}") } else { String::new() };
        let message = format!(
            "{} outside the tolerance of {} ms; the farthest is {:.2} ms from its cell{again}",
            count(far.0, "onset"),
            rounding.tolerance,
            far.1
        );
        warnings.push(ImportWarning { place: "tolerance".into(), message });
    }
    warnings
}

/// What did not sound at once before does not after: a note ends where the next one begins that began after its end.
fn part(notes: &mut [TimedNote], before: &[(Time, Option<Time>)]) {
    for i in 0..notes.len() {
        let Some(end) = before[i].1 else { continue };
        let next = before.partition_point(|b| b.0 < end);
        let Some(next) = notes.get(next).map(|n| n.start).filter(|_| next > i) else { continue };
        let note = &mut notes[i];
        let room = next.minus(note.start).filter(|r| *r > Time::ZERO);
        note.length = room.map_or(note.length, |r| r.min(note.length));
    }
}

fn at(bars: &[Bar], time: Time) -> Option<usize> {
    bars.partition_point(|b| b.start <= time).checked_sub(1)
}

/// Files onsets and ends under their bars and beats; gives the bars that have any, which a track of a long file may have few of.
fn gather(bars: &mut [Bar], notes: &[TimedNote]) -> Vec<usize> {
    let mut filled = Vec::new();
    let mut last: Option<TimedNote> = None;
    for note in notes {
        for (time, onset) in [(Some(note.start), true), (note.start.plus(note.length), false)] {
            let Some((time, i)) = time.and_then(|t| Some((t, at(bars, t)?))) else { continue };
            let bar = &mut bars[i];
            let Some(beats) = time.minus(bar.start).and_then(|t| t.ratio_to(bar.beat)) else { continue };
            let beat = beats.floor().max(0) as usize;
            if beat >= bar.count {
                continue;
            }
            let Some(point) = Fraction::new(beats.floor(), 1).and_then(|w| beats.minus(w)) else { continue };
            if bar.both.is_empty() {
                filled.push(i);
                bar.onsets.resize(bar.count, Points::new());
                bar.apart.resize(bar.count, Points::new());
                bar.both.resize(bar.count, Points::new());
            }
            bar.both[beat].push(point);
            if onset {
                bar.onsets[beat].push(point);
                if last.is_none_or(|l| !together(bar, &l, note)) {
                    bar.apart[beat].push(point);
                    last = Some(*note);
                }
            }
        }
    }
    for &i in &filled {
        let bar = &mut bars[i];
        for points in bar.onsets.iter_mut().chain(&mut bar.both).chain(&mut bar.apart) {
            points.sort_unstable();
            points.dedup();
        }
    }
    filled
}

/// Whether two notes, the second of which does not begin before the first, are of one moment.
fn together(bar: &Bar, first: &TimedNote, second: &TimedNote) -> bool {
    let Some(off) = second.start.minus(first.start).map(|o| ms(bar, o)) else { return false };
    let shorter = first.length.min(second.length);
    let common = first.start.plus(first.length).and_then(|e| e.minus(second.start)).map(|c| c.min(second.length));
    let mostly = common.and_then(|c| c.repeated(2)).is_some_and(|c| c > shorter);
    off <= f64::from(MOMENT_MS.0) || mostly && off <= f64::from(MOMENT_MS.1)
}

/// A length in ms at a bar's tempo.
fn ms(bar: &Bar, length: Time) -> f64 {
    let per_minute = bar.of.tempo.wholes_per_minute();
    let wholes = length.numer() as f64 / length.denom() as f64;
    wholes * 60_000.0 * per_minute.denom() as f64 / per_minute.numer() as f64
}

/// The tolerance within a bar, in beats.
fn tolerance(bar: &Bar, rounding: Rounding) -> Fraction {
    let per_ms = bar.of.tempo.wholes_per_minute().over(Fraction::whole(60_000));
    let wholes = per_ms.and_then(|w| w.times(rounding.tolerance)?.over(bar.beat.wholes()));
    wholes.unwrap_or(Fraction::ZERO)
}

/// How far rounding alone may have moved a time, in beats. A coarse step of the source is no leave to move more than was asked for.
fn grain(bar: &Bar, rounding: Rounding) -> Fraction {
    let grain = rounding.grain.ratio_to(bar.beat).unwrap_or(Fraction::ZERO);
    if rounding.own() { grain } else { grain.min(tolerance(bar, rounding)) }
}

/// The spans of a bar on which its onsets, and its ends if they mean something and ask for no odd grid, are exact but for the
/// source's rounding.
fn exact(bar: &Bar, swing: Option<Swing>, rounding: Rounding, lengths: bool) -> Option<Vec<Span>> {
    let grain = grain(bar, rounding);
    let beats = if grain == Fraction::ZERO { Tolerance::NONE.beats } else { LONGEST };
    let exact = Tolerance { by: grain, cells: rounding.cells, beats };
    let onsets = grid::spans(&bar.onsets, 1, swing, exact);
    if lengths {
        let both = grid::spans(&bar.both, 1, swing, exact);
        let plain = |s: &Span| ENDS.contains(&s.cells) || onsets.iter().flatten().any(|o| o == s);
        if let Some(both) = both.filter(|b| rounding.own() || b.iter().all(plain)) {
            return Some(both);
        }
    }
    onsets
}

/// The spans of a bar of our own whose times are rounded so that none is exact.
fn near(bar: &Bar, swing: Option<Swing>, rounding: Rounding) -> Vec<Span> {
    let by = tolerance(bar, rounding).max(grain(bar, rounding));
    let coarsest = by.times(Fraction::whole(COARSER as i32)).and_then(|c| Fraction::ONE.over(c));
    let most = coarsest.map_or(grid::MOST, |c| c.floor().clamp(1, i64::from(grid::MOST)) as u16);
    let near = Tolerance { by, cells: most, beats: LONGEST };
    grid::spans(&bar.onsets, 1, swing, near).unwrap_or_else(|| {
        let one = |p: &Points| match grid::fewest(std::slice::from_ref(p), swing, near) {
            Some(cells) => Span { beats: 1, cells },
            None => grid::nearest(p, swing, false, most.max(grid::MOST / 4)),
        };
        bar.onsets.iter().map(one).collect()
    })
}

/// The span in which so many beats from a bar's start lie, and its first beat; one beat undivided where no span is chosen.
fn span_at(bar: &Bar, beats: Fraction) -> Option<(Span, i64)> {
    if bar.spans.is_empty() {
        return Some((Span { beats: 1, cells: 1 }, beats.floor())).filter(|s| s.1 < bar.count as i64);
    }
    let mut first = 0_i64;
    for span in &bar.spans {
        let end = first + i64::from(span.beats);
        if beats < Fraction::new(end, 1)? {
            return Some((*span, first));
        }
        first = end;
    }
    None
}

/// The place in a bar's grid that is nearest to a time; none where its bar has no grid.
fn snapped(bars: &[Bar], time: Time, swing: Option<Swing>) -> Option<Time> {
    let bar = bars.get(at(bars, time)?).filter(|b| !b.spans.is_empty())?;
    let beats = time.minus(bar.start)?.ratio_to(bar.beat)?;
    let (span, first) = span_at(bar, beats)?;
    let from = Fraction::new(first, 1)?;
    let place = grid::snapped(beats.minus(from)?, span, swing.or(bar.of.swing), false)?;
    bar.beat.scaled(from.plus(place)?)?.plus(bar.start)
}

/// The end of the cell that begins at a time, whichever bar and beat that is the first of.
fn next(bars: &[Bar], time: Time, swing: Option<Swing>) -> Option<Time> {
    let bar = &bars[at(bars, time)?];
    let beats = time.minus(bar.start)?.ratio_to(bar.beat)?;
    let Some((span, first)) = span_at(bar, beats) else { return time.plus(bar.beat) };
    let from = Fraction::new(first, 1)?;
    let within = beats.minus(from)?;
    let places = (0..span.cells).filter_map(|c| grid::place(c, span, swing.or(bar.of.swing)));
    let next = places.filter(|p| *p > within).min().unwrap_or(Fraction::whole(i32::from(span.beats)));
    bar.beat.scaled(from.plus(next)?)?.plus(bar.start)
}

fn put(bars: &[Bar], note: &mut TimedNote, swing: Option<Swing>, rounding: Rounding, moved: &mut Moved) {
    let Some(start) = snapped(bars, note.start, swing) else { return };
    let Some(old_end) = note.start.plus(note.length) else { return };
    let end = snapped(bars, old_end, swing).unwrap_or(old_end);
    // One cell at least.
    let end = if end > start { Some(end) } else { next(bars, start, swing) };
    let (Some(by), Some(length)) = (start.minus(note.start), end.and_then(|e| e.minus(start))) else { return };
    if by != Time::ZERO {
        moved.count += 1;
        let bar = at(bars, note.start).map(|b| &bars[b]);
        let ms = bar.map_or(0.0, |b| ms(b, by).abs());
        let within = rounding.tolerance.numer() as f64 / rounding.tolerance.denom() as f64;
        let rounding_alone = Time::ZERO.minus(by).is_some_and(|b| b.max(by) <= rounding.grain);
        if ms > within + 1e-9 && !rounding_alone {
            moved.far += 1;
            moved.farthest = moved.farthest.max(ms);
        }
        if moved.greatest.as_ref().is_none_or(|g| ms > g.0) {
            let place = bar.and_then(|b| {
                let beat = note.start.minus(b.start)?.ratio_to(b.beat)?.plus(Fraction::ONE)?;
                Some(format!("bar {}, beat {}", b.of.number, mixed(beat)))
            });
            moved.greatest = Some((ms, by, place.unwrap_or_default()));
        }
    }
    (note.start, note.length) = (start, length);
}

fn say(track: &str, moved: &Moved, rounding: Rounding, warnings: &mut Vec<ImportWarning>) {
    if let Some((ms, by, place)) = &moved.greatest {
        let far = match moved.far {
            0 => String::new(),
            1 if moved.count == 1 => format!(", by more than the tolerance of {} ms", rounding.tolerance),
            n => format!(", {n} of them by more than the tolerance of {} ms", rounding.tolerance),
        };
        let message = format!(
            "{} moved to the grid{far}; the largest move is {ms:.2} ms ({by} of a whole note), at {place}",
            were(moved.count, "onset")
        );
        warnings.push(ImportWarning { place: format!("track '{track}'"), message });
    }
    if moved.ends > 0 {
        let message = format!("{} kept the onset but got the length of whole cells", count(moved.ends, "note"));
        warnings.push(ImportWarning { place: format!("track '{track}'"), message });
    }
}
