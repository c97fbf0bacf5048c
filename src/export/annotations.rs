//! The text above and below each note.

pub(crate) use crate::describe::notes::{Landings, parse_beaming};
pub use crate::describe::notes::{NotationOptions, Text};

use super::ExportInput;
use crate::analysis::landing::{depth, syllable};
use crate::notation::{Bar, Strike};
use crate::rhythm::Spot;

/// What can be said at the notes of one layer.
pub(super) struct Annotator<'a> {
    piece: &'a ExportInput<'a>,
    layer: usize,
    told: bool,
    /// The spans of each section.
    spots: Vec<Vec<Spot>>,
}

impl<'a> Annotator<'a> {
    /// For a layer; one that the report's hearings are not found for is told nothing of.
    pub(super) fn new(piece: &'a ExportInput<'a>, layer: usize) -> Self {
        let told = piece.report.focus.contains(&layer);
        let groove = piece.groove;
        let spots = |s: usize| groove.part(layer, s).spots(groove.context(layer, s));
        let sections = if told { groove.sections().len() } else { 0 };
        Self { piece, layer, told, spots: (0..sections).map(spots).collect() }
    }

    /// How many lines a text may have here.
    pub(super) fn lines(&self, text: &Text) -> usize {
        if self.told { usize::from(text.groups) + usize::from(text.has_landings()) } else { 0 }
    }

    /// The lines of a text at a note, the highest first: the group's length, then the landing; nothing where a sound only goes on.
    pub(super) fn at(&self, text: &Text, bar: &Bar, strike: Strike) -> [Option<String>; 2] {
        if strike.tied_from || !self.told {
            return [None, None];
        }
        [self.group(text, bar, strike), self.landing(text, bar, strike)]
    }

    fn group(&self, text: &Text, bar: &Bar, strike: Strike) -> Option<String> {
        let report = self.piece.report.layers.get(self.layer).filter(|_| text.groups)?;
        let section = report.sections.get(bar.section).filter(|s| s.section == bar.section)?;
        Some(section.groups.as_ref()?.cells.get(strike.number)?.to_string())
    }

    fn landing(&self, text: &Text, bar: &Bar, strike: Strike) -> Option<String> {
        if !text.has_landings() {
            return None;
        }
        let context = self.piece.groove.context(self.layer, bar.section);
        let spots = self.spots.get(bar.section)?;
        let spot = *spots.get(spots.partition_point(|s| s.first <= strike.cell).checked_sub(1)?)?;
        let spot = Spot { cell: strike.cell - spot.first, ..spot };
        let told = match &text.landings {
            Landings::At(depths) => depths.contains(&depth(spot, context)),
            _ => true,
        };
        told.then(|| syllable(spot, context))
    }
}
