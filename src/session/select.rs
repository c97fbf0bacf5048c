//! The selection: layers over a time of one section.

use crate::rhythm::{Groove, Place, Region, Time};

/// The fixed end of the selection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Anchor {
    layer: usize,
    section: usize,
    from: Time,
    to: Time,
}

/// The region a command works on without a selection; `None` in a groove without layers.
pub(super) type Fallback = fn(&Groove, Place) -> Option<Region>;

pub(super) fn anchor(groove: &Groove, place: Place) -> Option<Anchor> {
    let region = cell(groove, place)?;
    Some(Anchor { layer: place.layer, section: place.section, from: region.from, to: region.to })
}

/// The region from the anchor to the cursor, both included.
pub(super) fn region(groove: &Groove, anchor: Anchor, cursor: Place) -> Option<Region> {
    let here = cell(groove, cursor)?;
    if anchor.section != cursor.section || anchor.layer >= groove.layers().len() {
        return None;
    }
    Some(Region {
        layers: anchor.layer.min(cursor.layer)..anchor.layer.max(cursor.layer) + 1,
        section: cursor.section,
        from: anchor.from.min(here.from),
        to: anchor.to.max(here.to),
    })
}

pub(super) fn cell(groove: &Groove, place: Place) -> Option<Region> {
    if place.layer >= groove.layers().len() || place.section >= groove.sections().len() {
        return None;
    }
    Some(Region {
        layers: place.layer..place.layer + 1,
        section: place.section,
        from: groove.written_at(place),
        to: groove.written_at(Place { cell: place.cell + 1, ..place }),
    })
}

/// The bar around a place, in its layer.
pub(super) fn bar(groove: &Groove, place: Place) -> Option<Region> {
    let here = cell(groove, place)?;
    let bar = groove.sections()[place.section].meter.bar();
    let number = here.from.ratio_to(bar)?.floor().max(0) as usize;
    Some(Region { from: bar.repeated(number)?, to: bar.repeated(number + 1)?, ..here })
}

/// The section of a place, in its layer.
pub(super) fn section(groove: &Groove, place: Place) -> Option<Region> {
    let here = cell(groove, place)?;
    Some(Region { from: Time::ZERO, to: groove.sections()[place.section].length(), ..here })
}
