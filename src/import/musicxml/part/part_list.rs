//! Reads a part's name, instruments, gain and pan from the part list.

use crate::import::musicxml::document::{Instrument, Part};
use crate::import::musicxml::dom::{Element, ElementExt};
use std::ops::RangeInclusive;

const MAX_INSTRUMENTS: usize = 256;

pub(crate) fn read_declaration(element: Element<'_>) -> Part {
    let text = |name: &str| element.child_text(name).unwrap_or_default().to_owned();
    let mut instruments: Vec<Instrument> = element
        .children_named("score-instrument")
        .take(MAX_INSTRUMENTS)
        .map(|i| Instrument {
            id: i.attribute("id").unwrap_or_default().into(),
            name: i.child_text("instrument-name").unwrap_or_default().into(),
            ..Instrument::default()
        })
        .collect();
    for midi in element.children_named("midi-instrument") {
        let id = midi.attribute("id").unwrap_or_default();
        let number = |name: &str, range: RangeInclusive<f64>| {
            midi.child_text(name).and_then(|t| t.parse().ok()).filter(|x| range.contains(x))
        };
        let volume = number("volume", 0.0..=100.0);
        if let Some(found) = instruments.iter_mut().find(|i| i.id == id) {
            found.program = number("midi-program", 1.0..=128.0).map(|x| x as u8);
            found.key = number("midi-unpitched", 1.0..=128.0).map(|x| x as u8 - 1);
            found.gain = volume.map(|x: f64| (20.0 * (x / 100.0).log10()).round().max(-60.0) as i8);
            found.pan = number("pan", -180.0..=180.0).map(|x| (x / 0.9).round().clamp(-100.0, 100.0) as i8);
        }
    }
    Part { name: text("part-name"), instruments, ..Part::default() }
}
