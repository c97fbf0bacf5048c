//! The text above and below the notes.

pub use crate::describe::notes::{NotationOptions, Text};

use super::ExportInput;
use crate::analysis::landing::{depth, syllable};
use crate::describe::notes::LandingFilter;
use crate::notation::{Bar, Strike};
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

    /// The most lines that a note of this layer has.
    pub(super) fn lines(&self, text: &Text) -> usize {
        if self.spots.is_some() { usize::from(text.groups) + usize::from(text.has_landings()) } else { 0 }
    }

    /// The lines at a note, from the top: the group's length, the landing. A note tied from another has none.
    pub(super) fn at(&self, text: &Text, bar: &Bar, strike: Strike) -> [Option<String>; 2] {
        match &self.spots {
            Some(spots) if !strike.tied_from => {
                [self.group(text, bar, strike), self.landing(text, bar, strike, spots.get(bar.section))]
            }
            _ => [None, None],
        }
    }

    fn group(&self, text: &Text, bar: &Bar, strike: Strike) -> Option<String> {
        let report = self.piece.report.layers.get(self.layer).filter(|_| text.groups)?;
        let section = report.sections.get(bar.section).filter(|s| s.section == bar.section)?;
        Some(section.groups.as_ref()?.cells.get(strike.number)?.to_string())
    }

    fn landing(&self, text: &Text, bar: &Bar, strike: Strike, spots: Option<&Vec<Spot>>) -> Option<String> {
        let context = self.piece.groove.context(self.layer, bar.section);
        let spots = spots?;
        let spot = *spots.get(spots.partition_point(|s| s.first <= strike.cell).checked_sub(1)?)?;
        let spot = Spot { cell: strike.cell - spot.first, ..spot };
        let shown = match &text.landings {
            LandingFilter::None => false,
            LandingFilter::All => true,
            LandingFilter::At(depths) => depths.contains(&depth(spot, context)),
        };
        shown.then(|| syllable(spot, context))
    }
}
