//! The staff that drums share: which layers, their swing, and how long each stroke sounds.

use super::swing::{self, Edge, StatedSwing};
use super::{CheckedPart, Xml, divisions, instrument_id, write_mix};
use crate::describe::notes::{NotationOptions, NoteLengths};
use crate::export::ExportInput;
use crate::export::pulses::MarkedHearing;
use crate::notation::{Bar, FormatError, Kit, KitVoice, Note, Score, StaffKind, Stroke, general_midi};
use crate::rhythm::{Fraction, Groove, PartContext, SoundedAttack, Swing, Time};

pub(super) struct SharedStaff {
    kit: Kit,
    /// Ascending.
    pub(super) layers: Vec<usize>,
    /// Over each bar.
    pub(super) swing: Vec<StatedSwing>,
    /// Of a quarter: every stroke ends on one.
    pub(super) divisions: i64,
    /// The attacks without swing, by layer of the groove and section; `None` if notes last to the next one.
    written: Option<Vec<Vec<Vec<SoundedAttack>>>>,
}

impl SharedStaff {
    /// The staff for the drums that share one in pictures, if a score can state all of it: each layer has attacks, all have the
    /// same swing, which can be stated for all of them, and the end of every stroke is a whole number of divisions. `None` also for
    /// a groove of which not all notes are kept.
    pub(super) fn of_parts(
        piece: &ExportInput<'_>,
        notation: &NotationOptions,
        parts: &mut [CheckedPart],
        marks: &[MarkedHearing],
    ) -> Result<Option<Self>, FormatError> {
        let groove = piece.groove;
        if parts.iter().any(|p| p.kept.is_none()) {
            return Ok(None);
        }
        let has_attacks = |p: &CheckedPart| {
            p.kept.iter().flat_map(|s| &s.bars).flat_map(|b| &b.notes).any(|note| note.sound.is_some())
        };
        let drums = parts.iter_mut().filter(|p| p.kind == StaffKind::Line && has_attacks(p));
        let score = Score { staves: drums.filter_map(|p| p.kept.take()).collect() };
        let kit = Kit::of_score(&score, groove, piece.section, notation.spelling);
        for staff in score.staves {
            let part = &mut parts[staff.layer];
            part.kept = Some(staff);
        }
        let Some(kit) = kit? else { return Ok(None) };
        let mut layers: Vec<usize> = kit.layers().collect();
        layers.sort_unstable();
        let swing = |layer: usize, section: usize| groove.context(layer, section).swing.map(Swing::share);
        let has_one_swing =
            piece.sections().into_iter().all(|s| layers.iter().all(|l| swing(*l, s) == swing(layers[0], s)));
        if !has_one_swing {
            return Ok(None);
        }
        let straight = |layer: usize, section: usize| {
            let context = PartContext { swing: None, ..groove.context(layer, section) };
            groove.part(layer, section).attacks(context)
        };
        let of_layer = |layer: usize| {
            let is_shared = layers.contains(&layer);
            let sections = 0..groove.sections().len();
            sections.map(|s| if is_shared { straight(layer, s) } else { Vec::new() }).collect()
        };
        let written: Vec<Vec<Vec<SoundedAttack>>> = (0..groove.layers().len()).map(of_layer).collect();
        let lengths = kit.voices.iter().flatten().flat_map(|v| &v.bars).flat_map(|b| &b.notes).map(|n| n.length);
        let ends = written.iter().flatten().flatten().map(|a| a.end);
        let Some(divisions) = divisions(lengths.chain(ends), marks) else { return Ok(None) };
        let written = Some(written).filter(|_| notation.spelling.lengths == NoteLengths::Cells);
        let mut shared = Self { kit, layers, swing: Vec::new(), divisions, written };
        let mut remarks = Vec::new();
        let bars = shared.voices().next().map(|v| &v.bars[..]).unwrap_or_default();
        shared.swing = swing::plan_swing_of(groove, shared.layers[0], bars, &mut remarks, |bars, context| {
            shared.edges(groove, bars, context)
        });
        Ok(Some(shared).filter(|_| remarks.is_empty()))
    }

    pub(super) fn voices(&self) -> impl Iterator<Item = &KitVoice> {
        self.kit.voices.iter().flatten()
    }

    /// The onsets and ends of all strokes of a section, by bar.
    fn edges(&self, groove: &Groove, bars: &[Bar], context: PartContext<'_>) -> Vec<Vec<Edge>> {
        let (section, bar) = (bars[0].section, context.meter.bar());
        let attacks = |layer: &usize| groove.part(*layer, section).attacks(groove.context(*layer, section));
        let sounding: Vec<Vec<SoundedAttack>> = self.layers.iter().map(attacks).collect();
        let mut all: Vec<Vec<Edge>> = bars.iter().map(|_| Vec::new()).collect();
        let mut add = |number: usize, written: Time, sounding: Time, in_tuplet: bool| {
            let start = bar.repeated(number);
            let edge =
                start.and_then(|s| Some(Edge { written: written.minus(s)?, sounding: sounding.minus(s)?, in_tuplet }));
            if let Some(of_bar) = all.get_mut(number) {
                of_bar.extend(edge);
            }
        };
        for voice in self.voices() {
            let of_section = voice.bars.iter().filter(|b| b.section == section);
            for (of_bar, note) in of_section.flat_map(|b| b.notes.iter().map(move |n| (b, n))) {
                let Some(sound) = note.sound else { continue };
                for stroke in voice.strokes(section, sound.number) {
                    let Some(layer) = self.layers.iter().position(|l| *l == stroke.layer) else { continue };
                    let sounded = sounding[layer][stroke.number];
                    let in_tuplet = note.tuplet.is_some();
                    let start = bar.repeated(of_bar.number).and_then(|s| s.plus(note.start));
                    if let Some(start) = start.filter(|_| !sound.tied_from) {
                        add(of_bar.number, start, sounded.start, in_tuplet);
                    }
                    let end = self.written.as_ref().map(|w| w[stroke.layer][section][stroke.number].end);
                    if let Some(end) = end.filter(|_| !sound.tied_to) {
                        // The end of a bar belongs to it.
                        let bars = end.ratio_to(bar).map_or(1, |r| (r.numer() + r.denom() - 1) / r.denom());
                        add(usize::try_from(bars - 1).unwrap_or(0), end, sounded.end, in_tuplet);
                    }
                }
            }
        }
        all
    }

    /// The divisions by which a stroke ends later than its note, if this is the last note of it.
    pub(super) fn release(&self, groove: &Groove, bar: &Bar, note: &Note, stroke: &Stroke) -> Option<i64> {
        note.sound.filter(|s| !s.tied_to)?;
        let end = self.written.as_ref()?[stroke.layer][bar.section][stroke.number].end;
        let start = groove.sections()[bar.section].meter.bar().repeated(bar.number)?;
        let noted = start.plus(note.start)?.plus(note.length)?;
        let quarters = |t: Time| Some(t.repeated(4)?.wholes());
        let divisions = Fraction::new(self.divisions, 1)?;
        let later = quarters(end)?.minus(quarters(noted)?)?.times(divisions)?;
        debug_assert!(later.denom() == 1, "every end is a whole number of divisions");
        Some(later.round())
    }

    /// The declaration of the part: an instrument named after each layer.
    pub(super) fn write_score_part(&self, xml: &mut Xml, groove: &Groove, id: &str) {
        xml.open("score-part", &[("id", id)]);
        xml.text("part-name", &[], "drums");
        let instruments = || self.layers.iter().enumerate().map(|(k, l)| (instrument_id(id, k), &groove.layers()[*l]));
        for (instrument, layer) in instruments() {
            xml.wrap("score-instrument", &[("id", &instrument)], |xml| xml.text("instrument-name", &[], &layer.name));
        }
        for (instrument, layer) in instruments() {
            xml.open("midi-instrument", &[("id", &instrument)]);
            xml.number("midi-channel", u16::from(general_midi::PERCUSSION_CHANNEL) + 1);
            if let Some(key) = general_midi::key(layer.voice) {
                xml.number("midi-unpitched", u16::from(key) + 1);
            }
            write_mix(xml, layer);
            xml.close(1);
        }
        xml.close(1);
    }
}
