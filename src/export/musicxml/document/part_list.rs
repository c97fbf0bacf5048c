//! Writes what stands before the parts: the header, and the instruments of each part.

use super::{CheckedPart, Xml, decimal};
use crate::notation::{StaffKind, general_midi};
use crate::rhythm::{Groove, Layer};

/// Everything before the parts; the list of parts stays open.
pub(super) fn write_header(xml: &mut Xml, groove: &Groove) {
    xml.open("score-partwise", &[("version", "4.0")]);
    xml.wrap("work", &[], |xml| xml.text("work-title", &[], groove.title()));
    xml.open_all(&["identification", "encoding"]);
    xml.text("software", &[], "teeter");
    for element in ["accidental", "beam"] {
        xml.empty_element("supports", &[("element", element), ("type", "yes")]);
    }
    xml.close(1);
    if !groove.note().is_empty() {
        xml.wrap("miscellaneous", &[], |xml| xml.text("miscellaneous-field", &[("name", "note")], groove.note()));
    }
    xml.close(1);
    xml.open("part-list", &[]);
}

/// Declares the part of a layer.
pub(super) fn write_score_part(xml: &mut Xml, layer: &Layer, part: &CheckedPart, id: &str) {
    let instrument_id = instrument_id(id, 0);
    xml.open("score-part", &[("id", id)]);
    xml.text("part-name", &[], &layer.name);
    let instrument = [("id", instrument_id.as_str())];
    xml.wrap("score-instrument", &instrument, |xml| xml.text("instrument-name", &[], layer.voice.name()));
    xml.open("midi-instrument", &instrument);
    match part.kind {
        StaffKind::Pitched(_) => {
            // Channel 10 is percussion.
            let channel = part.layer % 15;
            xml.number("midi-channel", if channel < 9 { channel + 1 } else { channel + 2 });
            xml.number("midi-program", u16::from(general_midi::program(layer.voice)) + 1);
        }
        StaffKind::Line => {
            xml.number("midi-channel", 10);
            if let Some(key) = general_midi::key(layer.voice) {
                xml.number("midi-unpitched", u16::from(key) + 1);
            }
        }
    }
    write_mix(xml, layer);
    xml.close(2);
}

/// The id of an instrument of a part, from 0.
pub(super) fn instrument_id(part: &str, index: usize) -> String {
    format!("{part}-I{}", index + 1)
}

/// The volume and the pan of an instrument.
pub(super) fn write_mix(xml: &mut Xml, layer: &Layer) {
    xml.text("volume", &[], &decimal(100.0 * 10_f64.powf(f64::from(layer.gain.min(0)) / 20.0), 4));
    xml.text("pan", &[], &decimal(f64::from(layer.pan) * 0.9, 1));
}
