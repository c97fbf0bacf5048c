//! What of a layer is varied: the selection, the bar, the section or the figure.

use crate::jobs::variants::{Subject, SubjectError};
use crate::rhythm::{Fraction, Groove};
use crate::terminal::State;

/// Most cells of a section that is varied as a whole where nothing is selected.
const MAX_SECTION_CELLS: usize = 64;

/// What of a layer is varied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum VariedScope {
    Selection,
    Bar,
    Section,
    Figure,
}

impl VariedScope {
    /// The selection or, without one, the section if it is short or a cycle, and otherwise the bar.
    pub(super) fn of_cursor(state: &State) -> Self {
        let (groove, at) = (state.groove(), state.session.cursor().place);
        let is_short =
            groove.part(at.layer, at.section).is_cycle() || groove.cells(at.layer, at.section) <= MAX_SECTION_CELLS;
        match state.session.selection() {
            Some(_) => Self::Selection,
            None if is_short => Self::Section,
            None => Self::Bar,
        }
    }
}

/// Whether a whole repetition of a cycle is varied.
pub(super) fn is_whole_cycle(groove: &Groove, subject: &Subject) -> bool {
    let part = groove.part(subject.layer, subject.section);
    part.is_cycle() && subject.cells == part.stored().len()
}

/// The cells that are varied, with their name, or a sentence that says what to change.
pub(super) fn subject(state: &State, scope: VariedScope) -> Result<(Subject, String), String> {
    let (groove, at) = (state.groove(), state.session.cursor().place);
    let (layer, section) = (&groove.layers()[at.layer].name, &groove.sections()[at.section]);
    let region = state.session.selection_or_bar();
    let cells = region.as_ref().map(|region| groove.cells_in(at.layer, region)).unwrap_or_default();
    let what = match scope {
        VariedScope::Selection if cells.len() == 1 => format!("cell {} of {layer}", cells.start + 1),
        VariedScope::Selection => format!("cells {} to {} of {layer}", cells.start + 1, cells.end),
        VariedScope::Bar => {
            let bar = region.and_then(|region| region.from.ratio_to(section.meter.bar()));
            format!("bar {} of {layer}", bar.map_or(0, Fraction::floor) + 1)
        }
        VariedScope::Section => format!("{layer} in section {}", section.name),
        VariedScope::Figure => format!("the figure of {layer}"),
    };
    let found = match scope {
        VariedScope::Selection | VariedScope::Bar => Subject::cells(groove, at.layer, at.section, cells),
        VariedScope::Section => Subject::layer(groove, at.layer, at.section),
        VariedScope::Figure => Subject::figure(groove, at.layer, at.section),
    };
    let advice = match scope {
        VariedScope::Selection => "select more cells",
        VariedScope::Bar => "move to a bar with attacks, or select cells",
        VariedScope::Section | VariedScope::Figure => "enter some first",
    };
    let of_cycle = |subject: &Subject| is_whole_cycle(groove, subject).then(|| format!("the cycle of {layer}"));
    found.map(|subject| (subject.clone(), of_cycle(&subject).unwrap_or_else(|| what.clone()))).map_err(|error| {
        match error {
            SubjectError::NoAttacks => format!("no attacks to vary in {what}; {advice}"),
            SubjectError::Tuplets => {
                format!("a tuplet is in {what}, and variants need cells of one length; select cells without it")
            }
            other => other.to_string(),
        }
    })
}
