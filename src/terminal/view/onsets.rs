//! The marks of the recording's onsets: in the lane, and in the cells that they fall into.

use crate::jobs::{Band, Onset};
use crate::rhythm::{PartContext, Spot};
use crate::terminal::transcription::section_onsets::{CellOnset, PlacedOnset, in_spots};
use crate::terminal::view::theme::Glyphs;
use crate::terminal::view::{Layout, Scale};
use crate::terminal::{State, Theme};
use ratatui::style::{Modifier, Style};
use std::ops::Range;

/// Confidence from which an onset is marked strongly, and from which it is not faint.
const SURE: f32 = 0.8;
const LIKELY: f32 = 0.5;

/// The mark of an onset that is only a suggestion.
pub(super) fn suggestion(theme: Theme, onset: &Onset) -> char {
    let Glyphs { onset_low, onset_mid, onset_high, .. } = *theme.glyphs();
    match onset.band() {
        Band::Low => onset_low,
        Band::Mid => onset_mid,
        Band::High => onset_high,
    }
}

/// The mark of an onset in the lane: its shape and colour for the band, its intensity for the confidence.
pub(super) fn lane_mark(theme: Theme, onset: &Onset) -> (char, Style) {
    let glyphs = theme.glyphs();
    let (mark, style) = match onset.band() {
        Band::Low => (glyphs.sure_low, theme.written()),
        Band::Mid => (glyphs.sure_mid, theme.value()),
        Band::High => (glyphs.sure_high, theme.key()),
    };
    match onset.confidence {
        SURE.. => (mark, style.add_modifier(Modifier::BOLD)),
        LIKELY..SURE => (mark, style),
        _ => (suggestion(theme, onset), theme.faint()),
    }
}

/// The onsets around the bars that a system shows, to be marked in all of its layers.
pub(super) fn visible_onsets<'a>(state: &'a State, layout: &Layout, scale: Scale) -> Vec<PlacedOnset<'a>> {
    let section = state.shown_section();
    let Some(onsets) = state.shown_onsets(section, state.pass_of(section)) else { return Vec::new() };
    let last = scale.bar_of(layout.first_column + usize::from(layout.cells.width));
    let beats = |bar: usize| (bar * scale.beats) as f64;
    // Cells of the bars next to these say where the first and the last one end.
    onsets.between(beats(scale.bar_of(layout.first_column)) - scale.beats as f64..beats(last + 2))
}

/// The onsets of some spans of a layer, which are asked for from left to right.
pub(super) struct CellMarks<'a>(std::iter::Peekable<std::vec::IntoIter<CellOnset<'a>>>);

impl<'a> CellMarks<'a> {
    pub(super) fn new(
        onsets: &[PlacedOnset<'a>],
        spots: &[Spot],
        visible: Range<usize>,
        context: PartContext<'_>,
        band: Option<Band>,
    ) -> Self {
        let found = if onsets.is_empty() { Vec::new() } else { in_spots(onsets, spots, visible, context, band) };
        Self(found.into_iter().peekable())
    }

    /// The most certain onset in a cell.
    pub(super) fn at(&mut self, cell: usize) -> Option<&'a Onset> {
        while self.0.next_if(|found| found.cell < cell).is_some() {}
        let mut best: Option<&Onset> = None;
        while let Some(found) = self.0.next_if(|found| found.cell == cell) {
            if best.is_none_or(|best| best.confidence < found.onset.confidence) {
                best = Some(found.onset);
            }
        }
        best
    }
}
