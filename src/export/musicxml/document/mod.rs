//! Writes a score as a document: header, part list, measures.

mod note;
mod part_list;
mod shared;
mod swing;

use super::xml::Xml;
use crate::describe::notes::{KitStaves, NotationOptions};
use crate::export::annotations::Annotator;
use crate::export::pulses::{self, MarkedHearing};
use crate::export::{ExportError, ExportInput};
use crate::notation::{Bar, Clef, HeadShape, KitVoice, Note, NoteValue, Staff, StaffKind, SwungValue, section_range};
use crate::rhythm::{Fraction, Meter, Section, Tempo, Time};
use num_integer::Integer;
use part_list::{instrument_id, write_header, write_mix, write_score_part};
use shared::SharedStaff;
use std::io::Write;
use swing::StatedSwing;

const DOCTYPE: &str = "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\"";

/// Maximum divisions of a quarter. Durations that need more are rounded; type, dots and time modification remain exact.
const MAX_DIVISIONS: i64 = 1 << 40;

/// Most notes and rests that are kept between the check of the groove and the writing; more are spelled again.
const MAX_KEPT_NOTES: usize = 100_000;

/// A layer that was spelled without an error.
struct CheckedPart {
    layer: usize,
    kind: StaffKind,
    /// Over each bar.
    swing: Vec<StatedSwing>,
    /// What the swing does not state.
    remarks: Vec<String>,
    kept: Option<Staff>,
}

/// Writes a partwise document in UTF-8, part by part, so that a long one needs little memory. Returns a sentence for each section of
/// a layer whose swing the score cannot state.
///
/// # Errors
/// [`ExportError::Format`] for a cell shorter than 1/1024, or a section that does not exist: nothing is written then.
pub fn write(
    piece: &ExportInput<'_>,
    notation: &NotationOptions,
    out: &mut dyn Write,
) -> Result<Vec<String>, ExportError> {
    let groove = piece.groove;
    let sections = section_range(groove, piece.section)?;
    let spell = |layer| Staff::spell(groove, layer, sections.clone(), notation.spelling);
    let (marks, marked) = (pulses::marked_hearings(piece), pulses::marked_layer(piece));
    let mut room = MAX_KEPT_NOTES;
    let mut parts = Vec::with_capacity(groove.layers().len());
    for layer in 0..groove.layers().len() {
        let staff = spell(layer)?;
        let mut remarks = Vec::new();
        let swing = swing::plan_swing(groove, &staff, notation.spelling.lengths, &mut remarks);
        let notes = staff.bars.iter().map(|b| b.notes.len()).sum();
        let kept = room.checked_sub(notes);
        room = kept.unwrap_or(room);
        parts.push(CheckedPart { layer, kind: staff.kind, swing, remarks, kept: kept.map(|_| staff) });
    }
    let shared = match notation.kit {
        KitStaves::Shared => SharedStaff::of_parts(piece, notation, &mut parts, &marks)?,
        KitStaves::Separate => None,
    };
    // The shared staff stands where its first layer would.
    let is_shared = |layer: usize| shared.as_ref().is_some_and(|s| s.layers.contains(&layer));
    let first_shared = shared.as_ref().and_then(|s| s.layers.first().copied());
    parts.retain(|p| !is_shared(p.layer) || first_shared == Some(p.layer));
    let mut xml = Xml::new(Some(DOCTYPE));
    write_header(&mut xml, groove);
    let mut remarks = Vec::new();
    for (i, part) in parts.iter_mut().enumerate() {
        let id = format!("P{}", i + 1);
        match &shared {
            Some(shared) if is_shared(part.layer) => shared.write_score_part(&mut xml, groove, &id),
            _ => {
                remarks.append(&mut part.remarks);
                write_score_part(&mut xml, &groove.layers()[part.layer], part, &id);
            }
        }
    }
    if parts.is_empty() {
        xml.wrap("score-part", &[("id", "P1")], |xml| xml.text("part-name", &[], "rests"));
        let staff = rest_staff(piece);
        let (layer, kind) = (staff.layer, staff.kind);
        parts.push(CheckedPart { layer, kind, swing: Vec::new(), remarks: Vec::new(), kept: Some(staff) });
    }
    xml.close(1);
    for (i, CheckedPart { layer, kind, swing, kept, .. }) in parts.into_iter().enumerate() {
        let shared = shared.as_ref().filter(|_| is_shared(layer));
        let staff = if shared.is_some() { None } else { Some(kept.map_or_else(|| spell(layer), Ok)?) };
        let layers = shared.map_or(vec![layer], |s| s.layers.clone());
        let marks = if marked.is_some_and(|l| layers.contains(&l)) { &marks[..] } else { &[] };
        let voices: Vec<Voice<'_>> = match (shared, &staff) {
            (Some(shared), _) => shared.voices().map(|kit| Voice { bars: &kit.bars, heads: Heads::Kit(kit) }).collect(),
            (None, Some(staff)) => vec![Voice { bars: &staff.bars, heads: Heads::Layer(staff.shape) }],
            (None, None) => Vec::new(),
        };
        let lengths = voices.iter().flat_map(|v| v.bars).flat_map(|b| &b.notes).map(|n| n.length);
        let divisions = divisions(lengths, marks).unwrap_or(MAX_DIVISIONS);
        xml.open("part", &[("id", &format!("P{}", i + 1))]);
        let mut part = Part {
            piece,
            notation,
            number: i + 1,
            annotators: layers.iter().map(|l| Annotator::new(piece, *l)).collect(),
            layers,
            kind,
            shared,
            swing: shared.map_or(&swing, |s| &s.swing),
            is_top: i == 0,
            xml: &mut xml,
            divisions: shared.map_or(divisions, |s| s.divisions),
            marks,
            state: PartState::default(),
        };
        for index in 0..voices.first().map_or(0, |v| v.bars.len()) {
            part.measure(&voices, index);
            part.xml.flush(out)?;
        }
        xml.close(1);
    }
    xml.finish(out)?;
    Ok(remarks)
}

/// A staff of rests, for a groove without layers: a score needs a part.
fn rest_staff(piece: &ExportInput<'_>) -> Staff {
    let bars = piece.sections().into_iter().flat_map(|section| {
        let s = &piece.groove.sections()[section];
        let (start, length) = (Time::ZERO, s.meter.bar());
        let rest = Note { start, length, value: None, sound: None, tuplet: None, beams: Vec::new() };
        let bar = move |number| Bar { section, number, notes: vec![rest.clone()], tuplets: Vec::new() };
        (0..usize::from(s.bars)).map(bar)
    });
    Staff { layer: usize::MAX, kind: StaffKind::Line, shape: HeadShape::Round, bars: bars.collect() }
}

/// A decimal without trailing zeros.
fn decimal(x: f64, places: usize) -> String {
    let text = format!("{x:.places$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text.is_empty() || text == "-0" { "0".into() } else { text.into() }
}

/// A decimal, exact if the number has a short one.
fn exact_decimal(x: Fraction) -> String {
    let text = x.to_string();
    if text.contains('/') { decimal(x.numer() as f64 / x.denom() as f64, 9) } else { text }
}

/// A decimal of at most six significant digits, for people to read; the playback tempo is exact.
fn rounded_decimal(x: Fraction) -> String {
    let whole_digits = x.floor().max(1).ilog10() as usize + 1;
    decimal(x.numer() as f64 / x.denom() as f64, 6_usize.saturating_sub(whole_digits))
}

/// The smallest number of divisions of a quarter that makes all lengths and marks whole; `None` above [`MAX_DIVISIONS`].
fn divisions(lengths: impl Iterator<Item = Time>, marks: &[MarkedHearing]) -> Option<i64> {
    let mut all = 1_i64;
    for time in lengths.chain(marks.iter().flat_map(|m| &m.pulses).flatten().copied()) {
        let quarters = time.repeated(4)?;
        let wide = i128::from(all).lcm(&i128::from(quarters.denom()));
        all = i64::try_from(wide).ok().filter(|d| *d <= MAX_DIVISIONS)?;
    }
    Some(all)
}

/// What is in force at the current position.
#[derive(Default)]
struct PartState {
    meter: Option<Meter>,
    tempo: Option<Tempo>,
    swing: StatedSwing,
    /// Whether the marks of pulses were explained.
    marks_explained: bool,
}

/// One line of notes of a staff.
struct Voice<'b> {
    bars: &'b [Bar],
    heads: Heads<'b>,
}

#[derive(Clone, Copy)]
enum Heads<'b> {
    /// One per note.
    Layer(HeadShape),
    /// One for every stroke.
    Kit(&'b KitVoice),
}

struct Part<'a, 'b> {
    piece: &'a ExportInput<'a>,
    notation: &'a NotationOptions,
    /// From 1.
    number: usize,
    layers: Vec<usize>,
    /// Of each layer.
    annotators: Vec<Annotator<'a>>,
    kind: StaffKind,
    shared: Option<&'b SharedStaff>,
    /// Over each bar.
    swing: &'b [StatedSwing],
    /// The top part has the directions for all parts.
    is_top: bool,
    xml: &'b mut Xml,
    /// Of a quarter.
    divisions: i64,
    /// The hearings whose pulses are marked over this part.
    marks: &'b [MarkedHearing],
    state: PartState,
}

impl Part<'_, '_> {
    fn measure(&mut self, voices: &[Voice<'_>], index: usize) {
        let (bar, bars) = (&voices[0].bars[index], voices[0].bars.len());
        let section = self.piece.groove.sections()[bar.section].clone();
        self.xml.open("measure", &[("number", &(index + 1).to_string())]);
        let (first, last) = (bar.number == 0, bar.number + 1 == usize::from(section.bars));
        if first && section.times > 1 {
            self.xml.open("barline", &[("location", "left")]);
            self.xml.text("bar-style", &[], "heavy-light");
            self.xml.empty_element("repeat", &[("direction", "forward")]);
            self.xml.close(1);
        }
        self.attributes(&section, index);
        if first {
            self.section_start(&section);
        }
        let swing = self.swing.get(index).copied().unwrap_or_default();
        if swing != self.state.swing {
            self.swing_change(swing);
            self.state.swing = swing;
        }
        for (number, voice) in voices.iter().enumerate() {
            if number > 0 {
                let length = self.to_divisions(section.meter.bar());
                self.xml.wrap("backup", &[], |xml| xml.number("duration", length));
            }
            self.notes(&voice.bars[index], voice.heads, number);
        }
        if last {
            let end = index + 1 == bars;
            self.xml.open("barline", &[("location", "right")]);
            self.xml.text("bar-style", &[], if end || section.times > 1 { "light-heavy" } else { "light-light" });
            if section.times > 1 {
                self.xml.empty_element("repeat", &[("direction", "backward"), ("times", &section.times.to_string())]);
            }
            self.xml.close(1);
        }
        self.xml.close(1);
    }

    fn attributes(&mut self, section: &Section, index: usize) {
        let meter = (self.state.meter.as_ref() != Some(&section.meter)).then(|| section.meter.clone());
        if index > 0 && meter.is_none() {
            return;
        }
        self.xml.open("attributes", &[]);
        if index == 0 {
            self.xml.number("divisions", self.divisions);
            if matches!(self.kind, StaffKind::Pitched(_)) {
                self.xml.wrap("key", &[], |xml| xml.number("fifths", 0));
            }
        }
        if let Some(meter) = meter {
            let terms: Vec<String> = meter.terms().iter().map(u16::to_string).collect();
            self.xml.open("time", &[]);
            self.xml.text("beats", &[], &terms.join("+"));
            self.xml.number("beat-type", meter.lower());
            self.xml.close(1);
            self.state.meter = Some(meter);
        }
        if index == 0 {
            self.clef();
        }
        self.xml.close(1);
    }

    fn clef(&mut self) {
        let (sign, line, octaves) = match self.kind {
            StaffKind::Line => ("percussion", None, 0),
            StaffKind::Pitched(Clef::Treble) => ("G", Some(2), 0),
            StaffKind::Pitched(Clef::TrebleLow) => ("G", Some(2), -1),
            StaffKind::Pitched(Clef::Bass) => ("F", Some(4), 0),
            StaffKind::Pitched(Clef::BassLow) => ("F", Some(4), -1),
        };
        self.xml.open("clef", &[]);
        self.xml.text("sign", &[], sign);
        if let Some(line) = line {
            self.xml.number("line", line);
        }
        if octaves != 0 {
            self.xml.number("clef-octave-change", octaves);
        }
        self.xml.close(1);
        if self.kind == StaffKind::Line && self.shared.is_none() {
            self.xml.wrap("staff-details", &[], |xml| xml.number("staff-lines", 1));
        }
    }

    /// The directions over the first bar of a section.
    fn section_start(&mut self, section: &Section) {
        if self.is_top {
            self.direction(|xml| xml.text("rehearsal", &[], &section.name));
            self.xml.close(1);
            if section.times > 2 {
                self.words(&format!("{} times", section.times), &[], 0);
            }
            if self.state.tempo != Some(section.tempo) {
                self.tempo(section.tempo);
                self.state.tempo = Some(section.tempo);
            }
        }
    }

    /// Opens a direction above the staff and writes its type.
    fn direction(&mut self, kind: impl FnOnce(&mut Xml)) {
        self.xml.open("direction", &[("placement", "above")]);
        self.xml.open("direction-type", &[]);
        kind(self.xml);
        self.xml.close(1);
    }

    /// Words over the notes, at an offset in divisions from the current position.
    fn words(&mut self, text: &str, style: &[(&str, &str)], offset: i64) {
        self.direction(|xml| xml.text("words", style, text));
        if offset != 0 {
            self.xml.number("offset", offset);
        }
        self.xml.close(1);
    }

    /// A metronome mark, in quarters if the beat is not a note value.
    fn tempo(&mut self, tempo: Tempo) {
        let quarters = tempo.wholes_per_minute().times(Fraction::whole(4)).unwrap_or(tempo.bpm());
        let (unit, bpm) = match NoteValue::from_length(tempo.unit()) {
            Some(unit) => (unit, tempo.bpm()),
            None => (NoteValue::QUARTER, quarters),
        };
        self.direction(|xml| {
            xml.open("metronome", &[]);
            xml.text("beat-unit", &[], unit.name());
            if unit.dotted {
                xml.empty_element("beat-unit-dot", &[]);
            }
            xml.text("per-minute", &[], &rounded_decimal(bpm));
            xml.close(1);
        });
        self.xml.empty_element("sound", &[("tempo", &exact_decimal(quarters))]);
        self.xml.close(1);
    }

    fn swing_change(&mut self, swing: StatedSwing) {
        let words = swing.words.map_or("straight".to_owned(), |s| format!("swing {s}"));
        self.direction(|xml| xml.text("words", &[], &words));
        if let Some(SwungValue { swing, value }) = swing.playback {
            let share = swing.share();
            self.xml.open_all(&["sound", "swing"]);
            self.xml.number("first", share.numer());
            self.xml.number("second", share.denom() - share.numer());
            self.xml.text("swing-type", &[], NoteValue::undotted(value).unwrap_or(NoteValue::QUARTER).name());
            self.xml.close(2);
        } else if swing.words.is_none() {
            self.xml.wrap("sound", &[], |xml| xml.wrap("swing", &[], |xml| xml.empty_element("straight", &[])));
        }
        self.xml.close(1);
    }
}
