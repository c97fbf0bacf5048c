//! The text above and below the notes.

pub use crate::describe::notes::{KitStaves, NotationOptions, Text};

use super::ExportInput;
use crate::analysis::landing::{depth, syllable};
use crate::describe::notes::LandingFilter;
use crate::notation::{Bar, NoteSound};
use crate::rhythm::Spot;

pub(super) struct Annotator<'a> {
    piece: &'a ExportInput<'a>,
    layer: usize,
    /// The spans of each section; `None` for a layer outside the report's focus, which has no text.
    spots: Option<Vec<Vec<Spot>>>,
}

impl<'a> Annotator<'a> {
    pub(super) fn new(piece: &'a ExportInput<'a>, layer: usize) -> Self {
        let groove = piece.groove;
        let spots = |s: usize| groove.part(layer, s).spots(groove.context(layer, s));
        let focused = piece.report.focus.contains(&layer);
        Self { piece, layer, spots: focused.then(|| (0..groove.sections().len()).map(spots).collect()) }
    }

    /// The most labels that a note of this layer has.
    pub(super) fn max_labels(&self, text: &Text) -> usize {
        if self.spots.is_some() { usize::from(text.groups) + usize::from(text.has_landings()) } else { 0 }
    }

    /// The labels of a note, from the top: the group's length, the landing. A note tied from another has none.
    pub(super) fn labels(&self, text: &Text, bar: &Bar, sound: NoteSound) -> [Option<String>; 2] {
        match &self.spots {
            Some(spots) if !sound.tied_from => {
                [self.group(text, bar, sound), self.landing(text, bar, sound, spots.get(bar.section))]
            }
            _ => [None, None],
        }
    }

    fn group(&self, text: &Text, bar: &Bar, sound: NoteSound) -> Option<String> {
        let report = self.piece.report.layers.get(self.layer).filter(|_| text.groups)?;
        let section = report.sections.get(bar.section).filter(|s| s.section == bar.section)?;
        Some(section.groups.as_ref()?.cells.get(sound.number)?.to_string())
    }

    fn landing(&self, text: &Text, bar: &Bar, sound: NoteSound, spots: Option<&Vec<Spot>>) -> Option<String> {
        let context = self.piece.groove.context(self.layer, bar.section);
        let spots = spots?;
        let spot = *spots.get(spots.partition_point(|s| s.first <= sound.cell).checked_sub(1)?)?;
        let spot = Spot { cell: sound.cell - spot.first, ..spot };
        let shown = match &text.landings {
            LandingFilter::None => false,
            LandingFilter::All => true,
            LandingFilter::At(depths) => depths.contains(&depth(spot, context)),
        };
        shown.then(|| syllable(spot, context))
    }
}
