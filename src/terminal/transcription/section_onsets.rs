//! The onsets of the recording around a pass of a section, and the cells that they fall into.

use crate::jobs::{Band, Onset};
use crate::rhythm::{AnchorMap, Groove, PartContext, Spot, Time};
use std::ops::Range;

const NANOS: f64 = 1e9;

/// The onsets around a pass of a section, whose beats the anchors tie to the recording.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SectionOnsets<'a> {
    onsets: &'a [Onset],
    map: &'a AnchorMap,
    section: usize,
    /// Score time of the start of the pass, in nanoseconds, and of a beat.
    start: i64,
    beat: f64,
}

/// An onset, and how many beats it is from the start of the section.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PlacedOnset<'a> {
    /// Its number among all onsets.
    index: usize,
    onset: &'a Onset,
    at: f64,
}

/// An onset and the cell whose start is nearest to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CellOnset<'a> {
    pub cell: usize,
    /// Its number among all onsets.
    pub index: usize,
    pub onset: &'a Onset,
    /// Beats from the start of the section to that of the cell, with swing.
    beats: f64,
}

impl<'a> SectionOnsets<'a> {
    pub(super) fn new(
        groove: &Groove,
        onsets: &'a [Onset],
        map: &'a AnchorMap,
        (section, pass): (usize, usize),
    ) -> Option<Self> {
        let s = groove.sections().get(section)?;
        let start = groove.score_time(section, pass, Time::ZERO)?;
        let end = groove.score_time(section, pass, s.length())?;
        Some(Self { onsets, map, section, start, beat: (end - start) as f64 / s.beats() as f64 })
    }

    /// Seconds in the recording at a number of beats from the start of the section.
    pub(crate) fn seconds(&self, beats: f64) -> f64 {
        self.map.recording_time(self.start + (beats * self.beat).round() as i64) as f64 / NANOS
    }

    /// Beats from the start of the section to an onset.
    fn beats(&self, onset: &Onset) -> f64 {
        (self.map.score_time((onset.seconds * NANOS).round() as i64) - self.start) as f64 / self.beat
    }

    /// Milliseconds from the start of its cell to an onset, negative if it is early.
    pub(crate) fn deviation_ms(&self, found: &CellOnset<'_>) -> f64 {
        1000.0 * (found.onset.seconds - self.seconds(found.beats))
    }

    /// The onsets in cells of a layer, in order of time: each in the cell whose start is nearest. With a band those that sound in it.
    pub(crate) fn in_cells(
        &self,
        groove: &Groove,
        layer: usize,
        cells: Range<usize>,
        band: Option<Band>,
    ) -> impl Iterator<Item = CellOnset<'a>> + use<'a> {
        let context = groove.context(layer, self.section);
        let spots = groove.part(layer, self.section).spots(context);
        let first = spots.partition_point(|s| s.first + usize::from(s.span.cells) <= cells.start);
        let last = spots.partition_point(|s| s.first < cells.end);
        // A cell more at either end says where the next one begins, and may be as long as a bar.
        let bar = context.meter.beats() as f64;
        let beat = |at: usize| spots.get(at).map_or(0.0, |s| s.beat as f64);
        let last_beat = last.checked_sub(1).map_or(0.0, beat);
        let placed = self.between(beat(first) - 2.0 * bar..last_beat + 3.0 * bar);
        in_spots(&placed, &spots, first..last, context, band)
            .into_iter()
            .filter(move |found| cells.contains(&found.cell))
    }

    /// The onsets between two numbers of beats from the start of the section.
    pub(crate) fn between(&self, beats: Range<f64>) -> Vec<PlacedOnset<'a>> {
        let (from, to) = (self.index_at(beats.start), self.index_at(beats.end));
        let place =
            |index: usize| PlacedOnset { index, onset: &self.onsets[index], at: self.beats(&self.onsets[index]) };
        (from..to).map(place).collect()
    }

    /// The number of onsets before a number of beats from the start of the section.
    fn index_at(&self, beats: f64) -> usize {
        let seconds = self.seconds(beats);
        self.onsets.partition_point(|onset| onset.seconds < seconds)
    }
}

/// Which of some onsets fall into the cells of some spans of a layer, in order of time: each in the cell whose start is nearest. With a
/// band those that sound in it. The onsets must reach as far as the spans next to these.
pub(crate) fn in_spots<'a>(
    placed: &[PlacedOnset<'a>],
    spots: &[Spot],
    range: Range<usize>,
    context: PartContext<'_>,
    band: Option<Band>,
) -> Vec<CellOnset<'a>> {
    let near = &spots[range.start.saturating_sub(1)..(range.end + 1).min(spots.len())];
    let (Some(front), Some(back)) = (near.first(), near.last()) else { return Vec::new() };
    let half = |spot: &Spot| f64::from(spot.span.beats) / f64::from(spot.span.cells.max(1)) / 2.0;
    let end = (back.beat + usize::from(back.span.beats)) as f64;
    let from = placed.partition_point(|onset| onset.at < front.beat as f64 - half(front));
    let to = placed.partition_point(|onset| onset.at < end - half(back)).max(from);
    let sounds = |placed: &&PlacedOnset<'_>| band.is_none_or(|band| placed.onset.sounds_in(band));
    let mut onsets = placed[from..to].iter().filter(sounds).peekable();
    let mut found = Vec::with_capacity(to - from);
    let cells = near.iter().flat_map(|spot| (0..usize::from(spot.span.cells)).map(|cell| Spot { cell, ..*spot }));
    let mut starts = cells.map(|spot| (spot.first + spot.cell, start_in_beats(spot, context))).peekable();
    while let (Some((cell, beats)), Some(_)) = (starts.next(), onsets.peek()) {
        let limit = starts.peek().map_or(f64::INFINITY, |next| f64::midpoint(beats, next.1));
        while let Some(PlacedOnset { index, onset, .. }) = onsets.next_if(|onset| onset.at < limit) {
            found.push(CellOnset { cell, index: *index, onset, beats });
        }
    }
    found
}

/// The start of a cell with swing, in beats from the start of its section.
fn start_in_beats(spot: Spot, context: PartContext<'_>) -> f64 {
    let cell = f64::from(spot.span.beats) / f64::from(spot.span.cells.max(1));
    let cells = match context.swing {
        Some(swing) if spot.span.cells.is_multiple_of(2) && spot.cell % 2 == 1 => {
            let share = swing.share();
            (spot.cell - 1) as f64 + 2.0 * share.numer() as f64 / share.denom() as f64
        }
        _ => spot.cell as f64,
    };
    spot.beat as f64 + cells * cell
}
