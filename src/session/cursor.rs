//! The cursor and its motions.

use super::command::Motion;
use crate::rhythm::{Groove, Place, Time};

/// The place of the next entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Cursor {
    /// In a groove without layers, layer 0.
    pub place: Place,
    /// The time from the section's start, without swing, which motions between layers keep.
    pub column: Time,
    /// Whether an entry has filled the last cell of the groove.
    pub past_end: bool,
}

impl Default for Cursor {
    fn default() -> Self {
        Self { place: Place::default(), column: Time::ZERO, past_end: false }
    }
}

impl Cursor {
    /// The cursor at a place, or at the nearest that exists.
    pub(crate) fn at(groove: &Groove, place: Place) -> Self {
        let section = place.section.min(groove.sections().len().saturating_sub(1));
        let layer = place.layer.min(groove.layers().len().saturating_sub(1));
        if groove.layers().is_empty() {
            return Self { place: Place { layer, section, cell: 0 }, ..Self::default() };
        }
        let cell = place.cell.min(groove.cells(layer, section).saturating_sub(1));
        let place = Place { layer, section, cell };
        Self { place, column: groove.written_at(place), past_end: false }
    }

    /// The cursor in a groove that has changed under it: the nearest layer and section, at the same time.
    #[must_use]
    pub(crate) fn settled(self, groove: &Groove) -> Self {
        let section = self.place.section.min(groove.sections().len().saturating_sub(1));
        let layer = self.place.layer.min(groove.layers().len().saturating_sub(1));
        if groove.layers().is_empty() {
            return Self { place: Place { layer, section, cell: 0 }, ..self };
        }
        let cell = groove.part(layer, section).cell_at(self.column, groove.context(layer, section));
        Self { place: Place { layer, section, cell }, ..self }
    }

    #[must_use]
    pub(crate) fn moved(self, groove: &Groove, motion: Motion) -> Self {
        let Place { layer, section, cell } = self.place;
        let sections = groove.sections().len();
        let layers = groove.layers().len();
        let to = |section, cell| Self::at(groove, Place { layer, section, cell });
        if layers == 0 {
            return match motion {
                Motion::NextSection => to((section + 1).min(sections - 1), 0),
                Motion::PreviousSection => to(section.saturating_sub(1), 0),
                Motion::GrooveStart => to(0, 0),
                Motion::GrooveEnd => to(sections - 1, 0),
                Motion::To(place) => Self::at(groove, place),
                _ => self,
            };
        }
        match motion {
            Motion::Left if cell > 0 => to(section, cell - 1),
            Motion::Left if section > 0 => to(section - 1, usize::MAX),
            Motion::Left | Motion::SectionStart => to(section, 0),
            Motion::Right => self.forward(groove, cell + 1),
            Motion::Up => {
                Self { place: Place { layer: layer.saturating_sub(1), ..self.place }, ..self }.settled(groove)
            }
            Motion::Down => Self { place: Place { layer: layer + 1, ..self.place }, ..self }.settled(groove),
            Motion::BeatLeft => self.unit_left(groove, groove.sections()[section].meter.beat()),
            Motion::BarLeft => self.unit_left(groove, groove.sections()[section].meter.bar()),
            Motion::BeatRight => self.unit_right(groove, groove.sections()[section].meter.beat()),
            Motion::BarRight => self.unit_right(groove, groove.sections()[section].meter.bar()),
            Motion::NextAttack => next_attack(groove, self.place).map_or(self, |p| Self::at(groove, p)),
            Motion::PreviousAttack => previous_attack(groove, self.place).map_or(self, |p| Self::at(groove, p)),
            Motion::SectionEnd => to(section, usize::MAX),
            Motion::GrooveStart => to(0, 0),
            Motion::GrooveEnd => to(sections - 1, usize::MAX),
            Motion::NextSection if section + 1 < sections => to(section + 1, 0),
            Motion::NextSection => self,
            Motion::PreviousSection => to(section.saturating_sub(1), 0),
            Motion::To(place) => Self::at(groove, place),
        }
    }

    /// Moves to a cell of this section, or else to the next section, or else to the last cell.
    fn forward(self, groove: &Groove, cell: usize) -> Self {
        let Place { layer, section, .. } = self.place;
        if cell < groove.cells(layer, section) {
            Self::at(groove, Place { cell, ..self.place })
        } else if section + 1 < groove.sections().len() {
            Self::at(groove, Place { layer, section: section + 1, cell: 0 })
        } else {
            Self { past_end: self.past_end, ..Self::at(groove, Place { cell, ..self.place }) }
        }
    }

    fn unit_right(self, groove: &Groove, unit: Time) -> Self {
        let Place { layer, section, cell } = self.place;
        let now = groove.written_at(self.place);
        let next = now.ratio_to(unit).and_then(|r| unit.repeated(r.floor().max(0) as usize + 1));
        match next {
            Some(next) if next < groove.sections()[section].length() => {
                let found = groove.part(layer, section).cell_at(next, groove.context(layer, section));
                self.forward(groove, found.max(cell + 1))
            }
            _ => self.forward(groove, usize::MAX),
        }
    }

    fn unit_left(self, groove: &Groove, unit: Time) -> Self {
        let Place { layer, section, cell } = self.place;
        if cell == 0 {
            return match section {
                0 => self,
                _ => Self::at(groove, Place { layer, section: section - 1, cell: usize::MAX })
                    .unit_left(groove, groove.sections()[section - 1].meter.beat()),
            };
        }
        let now = groove.written_at(self.place);
        let target = now.ratio_to(unit).and_then(|r| {
            let whole = if r.denom() == 1 { r.floor() - 1 } else { r.floor() };
            unit.repeated(whole.max(0) as usize)
        });
        let found = groove.part(layer, section).cell_at(target.unwrap_or(Time::ZERO), groove.context(layer, section));
        Self::at(groove, Place { cell: found.min(cell - 1), ..self.place })
    }
}

pub(super) fn next_attack(groove: &Groove, from: Place) -> Option<Place> {
    let layer = from.layer;
    (from.section..groove.sections().len()).find_map(|section| {
        let first = if section == from.section { from.cell + 1 } else { 0 };
        (first..groove.cells(layer, section))
            .map(|cell| Place { layer, section, cell })
            .find(|p| groove.cell(*p).attack().is_some())
    })
}

pub(super) fn previous_attack(groove: &Groove, from: Place) -> Option<Place> {
    let layer = from.layer;
    (0..=from.section).rev().find_map(|section| {
        let end = if section == from.section { from.cell } else { groove.cells(layer, section) };
        (0..end).rev().map(|cell| Place { layer, section, cell }).find(|p| groove.cell(*p).attack().is_some())
    })
}
