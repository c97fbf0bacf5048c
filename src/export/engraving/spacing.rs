//! The positions of onsets in a bar: the space after an onset depends on the time to the next one, and nothing touches.

use super::glyph::HALF_HEAD;
use super::plan::{PlannedBar, StaffPlan};
use super::{ExportInput, TEXT_SIZE};
use crate::analysis::clock::wholes;
use crate::export::picture::font;
use crate::export::pulses::MarkedHearing;
use crate::rhythm::{Section, Time};
use std::collections::HashMap;

/// From one onset to the next at the shortest values.
const MIN_ONSET_DISTANCE: f32 = 11.5;
/// From the bar line to the first onset.
pub(super) const FIRST_ONSET_X: f32 = 12.0;
/// Width of a repeat sign, or of the bar line that ends a section or the groove.
pub(super) const REPEAT_WIDTH: f32 = 9.0;
/// Least distance between symbols, and between texts.
const SYMBOL_GAP: f32 = 2.0;
const TEXT_GAP: f32 = 3.0;
/// From the last symbol to the bar line.
const END_GAP: f32 = 4.0;

/// A bar of all staves, and the positions of its onsets.
pub(super) struct BarColumn<'a> {
    /// Among the written bars.
    pub(super) index: usize,
    /// In its section, from 0.
    pub(super) number: usize,
    pub(super) section_index: usize,
    pub(super) section: &'a Section,
    /// From the start of the section.
    pub(super) start: Time,
    pub(super) length: Time,
    /// With the distance of each from the bar line.
    pub(super) onsets: Vec<(Time, f32)>,
    pub(super) width: f32,
    pub(super) is_first_of_section: bool,
    pub(super) end: BarEnd,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BarEnd {
    Bar,
    Section,
    Groove,
}

impl BarColumn<'_> {
    /// The end of the bar from the start of the section.
    pub(super) fn end_time(&self) -> Time {
        self.start.plus(self.length).unwrap_or(self.start)
    }
}

/// All bars.
pub(super) fn columns<'a>(
    piece: &ExportInput<'a>,
    plans: &[StaffPlan<'_>],
    marks: &[MarkedHearing],
) -> Vec<BarColumn<'a>> {
    let Some(first) = plans.first().and_then(|p| p.voices.first()) else { return Vec::new() };
    let column = |i: usize| {
        let bar = first[i].bar;
        let index = bar.section;
        let section = &piece.groove.sections()[index];
        let length = section.meter.bar();
        let start = length.repeated(bar.number).unwrap_or(Time::ZERO);
        let end = start.plus(length).unwrap_or(start);
        let bars: Vec<(usize, &PlannedBar<'_>)> =
            plans.iter().enumerate().flat_map(|(s, p)| p.voices.iter().map(move |v| (s, &v[i]))).collect();
        let mut onsets: Vec<Time> = bars.iter().flat_map(|(_, b)| &b.bar.notes).map(|n| n.start).collect();
        onsets.extend(marks.iter().flat_map(|m| m.pulses_between(index, start, end)).filter_map(|t| t.minus(start)));
        onsets.sort_unstable();
        onsets.dedup();
        let mut needs = Needs::default();
        for (staff, bar) in &bars {
            needs.add(*staff, bar);
        }
        needs.add_marks(marks, index, (start, end));
        let (placed, wide) = needs.place(&onsets, length);
        let end = match first.get(i + 1) {
            None => BarEnd::Groove,
            Some(next) if next.bar.section != index => BarEnd::Section,
            Some(_) => BarEnd::Bar,
        };
        BarColumn {
            index: i,
            number: bar.number,
            section_index: index,
            section,
            start,
            length,
            onsets: placed,
            width: wide + if end == BarEnd::Bar { 0.0 } else { REPEAT_WIDTH },
            is_first_of_section: i == 0 || first[i - 1].bar.section != index,
            end,
        }
    };
    (0..first.len()).map(column).collect()
}

/// What must not touch: symbols of one staff, and the texts of one row of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Track {
    Staff(usize),
    Text(usize, usize),
    Marks,
}

/// The space that each onset needs.
#[derive(Default)]
struct Needs {
    /// To the left and to the right of an onset.
    sides: HashMap<Time, Vec<(Track, f32, f32)>>,
    /// Least distances from an earlier onset to a later one, by the later one.
    distances: HashMap<Time, Vec<(Time, f32)>>,
}

impl Needs {
    fn add(&mut self, staff: usize, bar: &PlannedBar<'_>) {
        for (note, shape) in bar.bar.notes.iter().zip(&bar.shapes) {
            let Some(extent) = shape.extent else { continue };
            self.sides.entry(note.start).or_default().push((Track::Staff(staff), -extent.left, extent.right));
        }
        for label in &bar.labels {
            let half = label.width() / 2.0;
            self.sides.entry(label.start).or_default().push((Track::Text(staff, label.row), half, half));
        }
        for tuplet in &bar.tuplets {
            let [first, last] = [tuplet.first, tuplet.last].map(|i| bar.bar.notes[i].start);
            let missing = font::width(&tuplet.number, TEXT_SIZE) + TEXT_GAP - 2.0 * HALF_HEAD;
            if first == last {
                let half = missing / 2.0 + HALF_HEAD;
                self.sides.entry(first).or_default().push((Track::Staff(staff), half, half));
            } else {
                self.distances.entry(last).or_default().push((first, missing));
            }
        }
    }

    fn add_marks(&mut self, marks: &[MarkedHearing], section: usize, (start, end): (Time, Time)) {
        for mark in marks {
            let half = font::width(&mark.sign, TEXT_SIZE) / 2.0;
            for at in mark.pulses_between(section, start, end).iter().filter_map(|t| t.minus(start)) {
                self.sides.entry(at).or_default().push((Track::Marks, half, half));
            }
        }
    }

    /// The position of each onset, and the width of the bar.
    fn place(&self, onsets: &[Time], length: Time) -> (Vec<(Time, f32)>, f32) {
        let mut placed: Vec<(Time, f32)> = Vec::with_capacity(onsets.len());
        // The right edge of what each track has so far.
        let mut edges: HashMap<Track, f32> = HashMap::new();
        let mut x = FIRST_ONSET_X;
        let nexts = onsets.iter().skip(1).copied().chain([length]);
        let mut farthest = 0.0_f32;
        for (onset, next) in onsets.iter().zip(nexts) {
            let sides = self.sides.get(onset).map_or(&[][..], Vec::as_slice);
            for (track, left, _) in sides {
                let gap = if matches!(track, Track::Staff(_)) { SYMBOL_GAP } else { TEXT_GAP };
                x = x.max(edges.get(track).copied().unwrap_or(0.0) + gap + left);
            }
            for (from, distance) in self.distances.get(onset).into_iter().flatten() {
                if let Ok(i) = placed.binary_search_by(|p| p.0.cmp(from)) {
                    x = x.max(placed[i].1 + distance);
                }
            }
            for (track, _, right) in sides {
                let edge = edges.entry(*track).or_insert(x + right);
                *edge = edge.max(x + right);
                farthest = farthest.max(*edge);
            }
            placed.push((*onset, x));
            // Each doubling of a duration adds the same space.
            let gap = wholes(next) - wholes(*onset);
            let doublings = gap.max(1e-6).log2() as f32 + 5.0;
            x += MIN_ONSET_DISTANCE + (6.5 * doublings).max(0.0);
        }
        (placed, (x + 4.0).max(farthest + END_GAP))
    }
}
