//! Times that were rounded or played to the grids they mean. It must not know formats.

use super::super::draft::{Draft, DraftBar, DraftNote};
use super::super::finding::Remark;
use super::grid::{self, Points, Slack};
use super::mixed;
use crate::rhythm::{Fraction, Span, Swing, Time};

/// How a source's times stand to those they mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rounding {
    /// How far rounding alone may have moved a time: half of the source's finest step.
    pub grain: Time,
    /// How far, in ms, an onset may be moved onto a smaller grid than the exact one.
    pub tolerance: Fraction,
    /// Grids of at most so many cells per beat are looked at before the tolerance is used.
    pub cells: u16,
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
/// Cells per span that ends of notes may ask for; others come from how short notes are played, not from what they are.
const ENDS: [u16; 7] = [1, 2, 3, 4, 6, 8, 12];

/// A bar with what lies in it, in beats from its start.
struct Bar<'a> {
    start: Time,
    beat: Time,
    count: usize,
    of: &'a DraftBar,
    onsets: Vec<Points>,
    both: Vec<Points>,
    spans: Vec<Span>,
}

/// The greatest move of a track, and how many there were.
#[derive(Default)]
struct Moved {
    count: usize,
    far: usize,
    ends: usize,
    greatest: Option<(f64, Time, String)>,
}

/// Puts the notes of every track on the smallest grids that are exact but for the source's rounding; where there is none, on
/// the smallest within the tolerance; where there is none either, on the nearest. What was moved is told per track: how many, and the
/// largest move. Ends of notes follow the grid of the onsets; where `lengths` is false for a track, they count for nothing.
pub fn fit(draft: &mut Draft, lengths: &[bool], rounding: Rounding) -> Vec<Remark> {
    let mut remarks = Vec::new();
    let mut bars: Vec<Bar> = Vec::with_capacity(draft.bars.len());
    let mut start = Time::ZERO;
    for bar in &draft.bars {
        let (length, beat) = (bar.length.unwrap_or_else(|| bar.meter.bar()), bar.meter.beat());
        let count = length.ratio_to(beat).map_or(1, |r| (r.floor() + i64::from(r.denom() != 1)).max(1) as usize);
        bars.push(Bar { start, beat, count, of: bar, onsets: Vec::new(), both: Vec::new(), spans: Vec::new() });
        let Some(next) = start.plus(length) else { break };
        start = next;
    }
    for (t, track) in draft.tracks.iter_mut().enumerate() {
        track.notes.sort_by_key(|n| n.start);
        let filled = gather(&mut bars, &track.notes);
        let lengths = lengths.get(t).copied().unwrap_or(true);
        for &i in &filled {
            let bar = &mut bars[i];
            let swing = track.swing.or(bar.of.swing);
            bar.spans = chosen(bar, swing, rounding, lengths);
        }
        let mut moved = Moved::default();
        for note in &mut track.notes {
            put(&bars, note, track.swing, rounding, &mut moved);
        }
        say(&track.name, &moved, rounding, &mut remarks);
        for bar in filled {
            let bar = &mut bars[bar];
            (bar.onsets, bar.both, bar.spans) = (Vec::new(), Vec::new(), Vec::new());
        }
    }
    remarks
}

fn at(bars: &[Bar], time: Time) -> Option<usize> {
    bars.partition_point(|b| b.start <= time).checked_sub(1)
}

/// Files onsets and ends under their bars and beats; gives the bars that have any, which a track of a long file may have few of.
fn gather(bars: &mut [Bar], notes: &[DraftNote]) -> Vec<usize> {
    let mut filled = Vec::new();
    for (time, onset) in notes.iter().flat_map(|n| [(Some(n.start), true), (n.start.plus(n.length), false)]) {
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
            bar.both.resize(bar.count, Points::new());
        }
        bar.both[beat].push(point);
        if onset {
            bar.onsets[beat].push(point);
        }
    }
    for &i in &filled {
        let bar = &mut bars[i];
        for points in bar.onsets.iter_mut().chain(&mut bar.both) {
            points.sort_unstable();
            points.dedup();
        }
    }
    filled
}

/// The tolerance within a bar, in beats.
fn tolerance(bar: &Bar, rounding: Rounding) -> Fraction {
    let per_ms = bar.of.tempo.wholes_per_minute().over(Fraction::whole(60_000));
    let wholes = per_ms.and_then(|w| w.times(rounding.tolerance)?.over(bar.beat.wholes()));
    wholes.unwrap_or(Fraction::ZERO)
}

/// The spans of a bar.
fn chosen(bar: &Bar, swing: Option<Swing>, rounding: Rounding, lengths: bool) -> Vec<Span> {
    let grain = rounding.grain.ratio_to(bar.beat).unwrap_or(Fraction::ZERO);
    let by = tolerance(bar, rounding);
    // A coarse step of the source is no leave to move more than was asked for.
    let grain = if rounding.own() { grain } else { grain.min(by) };
    let beats = if grain == Fraction::ZERO { Slack::NONE.beats } else { LONGEST };
    let exact = Slack { by: grain, cells: rounding.cells, beats };
    let onsets = grid::spans(&bar.onsets, 1, swing, exact);
    if lengths {
        let both = grid::spans(&bar.both, 1, swing, exact);
        let plain = |s: &Span| ENDS.contains(&s.cells) || onsets.iter().flatten().any(|o| o == s);
        if let Some(both) = both.filter(|b| rounding.own() || b.iter().all(plain)) {
            return both;
        }
    }
    if let Some(onsets) = onsets {
        return onsets;
    }
    let by = by.max(grain);
    let coarsest = by.times(Fraction::whole(COARSER as i32)).and_then(|c| Fraction::ONE.over(c));
    let most = coarsest.map_or(grid::MOST, |c| c.floor().clamp(1, i64::from(grid::MOST)) as u16);
    let near = Slack { by, cells: most, beats: LONGEST };
    grid::spans(&bar.onsets, 1, swing, near).unwrap_or_else(|| {
        let one = |p: &Points| match grid::fewest(std::slice::from_ref(p), swing, near) {
            Some(cells) => Span { beats: 1, cells },
            None => grid::nearest(p, swing, false, most.max(grid::MOST / 4)),
        };
        bar.onsets.iter().map(one).collect()
    })
}

/// The place in a bar's grid that is nearest to a time, and the one after it.
fn snapped(bars: &[Bar], time: Time, swing: Option<Swing>) -> Option<(Time, Time)> {
    let bar = &bars[at(bars, time)?];
    let swing = swing.or(bar.of.swing);
    let beats = time.minus(bar.start)?.ratio_to(bar.beat)?;
    let mut first = 0_i64;
    for span in &bar.spans {
        let end = first + i64::from(span.beats);
        if beats < Fraction::new(end, 1)? {
            let from = Fraction::new(first, 1)?;
            let place = grid::snapped(beats.minus(from)?, *span, swing, false)?;
            let last = Fraction::whole(i32::from(span.beats));
            let places = (0..span.cells).filter_map(|c| grid::place(c, *span, swing)).chain([last]);
            let next = places.filter(|p| *p > place).min().unwrap_or(last.plus(Fraction::ONE)?);
            let time = |p: Fraction| bar.beat.scaled(from.plus(p)?)?.plus(bar.start);
            return Some((time(place)?, time(next)?));
        }
        first = end;
    }
    None
}

fn put(bars: &[Bar], note: &mut DraftNote, swing: Option<Swing>, rounding: Rounding, moved: &mut Moved) {
    let Some((start, next)) = snapped(bars, note.start, swing) else { return };
    let Some(old_end) = note.start.plus(note.length) else { return };
    let end = snapped(bars, old_end, swing).map_or(old_end, |e| e.0);
    // One cell at least; where the onset went to the end of its span, the next beat's grid is not looked at.
    let end = if end > start { end } else { next };
    let (Some(by), Some(length)) = (start.minus(note.start), end.minus(start)) else { return };
    if by != Time::ZERO {
        moved.count += 1;
        let bar = at(bars, note.start).map(|b| &bars[b]);
        let seconds = |b: &Bar| {
            let per_minute = b.of.tempo.wholes_per_minute();
            let wholes = by.numer() as f64 / by.denom() as f64;
            (wholes * 60_000.0 * per_minute.denom() as f64 / per_minute.numer() as f64).abs()
        };
        let ms = bar.map_or(0.0, seconds);
        let within = rounding.tolerance.numer() as f64 / rounding.tolerance.denom() as f64;
        let rounding_alone = Time::ZERO.minus(by).is_some_and(|b| b.max(by) <= rounding.grain);
        if ms > within + 1e-9 && !rounding_alone {
            moved.far += 1;
        }
        if moved.greatest.as_ref().is_none_or(|g| ms > g.0) {
            let place = bar.and_then(|b| {
                let beat = note.start.minus(b.start)?.ratio_to(b.beat)?.plus(Fraction::ONE)?;
                Some(format!("bar {}, beat {}", b.of.number, mixed(beat)))
            });
            moved.greatest = Some((ms, by, place.unwrap_or_default()));
        }
    }
    if length != note.length && by == Time::ZERO {
        moved.ends += 1;
    }
    (note.start, note.length) = (start, length);
}

fn say(track: &str, moved: &Moved, rounding: Rounding, remarks: &mut Vec<Remark>) {
    if let Some((ms, by, place)) = &moved.greatest {
        let far = match moved.far {
            0 => String::new(),
            n => format!(", {n} of them by more than the tolerance of {} ms", rounding.tolerance),
        };
        let words = format!(
            "{} onsets were moved to the grid{far}; the largest move is {ms:.2} ms ({by} of a whole note), at {place}",
            moved.count
        );
        remarks.push(Remark { place: format!("track '{track}'"), words });
    }
    if moved.ends > 0 {
        let words = format!("{} notes whose onset stands got another length, that of whole cells", moved.ends);
        remarks.push(Remark { place: format!("track '{track}'"), words });
    }
}
