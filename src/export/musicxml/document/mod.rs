//! Writes a score as a document: header, part list, measures.

mod note;

use super::xml::Xml;
use crate::export::ExportInput;
use crate::export::annotations::{Annotator, NotationOptions};
use crate::export::pulses::{self, Marked};
use crate::notation::general_midi;
use crate::notation::{Bar, Clef, HeadShape, Score, Staff, StaffKind, Value};
use crate::rhythm::{Fraction, Groove, Layer, Section, Swing, Tempo, Time};
use num_integer::Integer;

const DOCTYPE: &str = "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\"";

/// Largest number of divisions of a quarter that is written; rounded durations beyond, whose exact values stand in type, dots
/// and time modification.
const MOST: i64 = 1 << 40;

/// The whole document.
pub(super) fn document(piece: &ExportInput<'_>, score: &Score, writing: &NotationOptions) -> Vec<u8> {
    let groove = piece.groove;
    let mut xml = Xml::new(Some(DOCTYPE));
    xml.open("score-partwise", &[("version", "4.0")]);
    xml.open("work", &[]);
    xml.text("work-title", &[], groove.title());
    xml.close();
    xml.open("identification", &[]);
    xml.open("encoding", &[]);
    xml.text("software", &[], "teeter");
    for element in ["accidental", "beam"] {
        xml.empty("supports", &[("element", element), ("type", "yes")]);
    }
    xml.close();
    if !groove.note().is_empty() {
        xml.open("miscellaneous", &[]);
        xml.text("miscellaneous-field", &[("name", "note")], groove.note());
        xml.close();
    }
    xml.close();
    xml.open("part-list", &[]);
    for staff in &score.staves {
        score_part(&mut xml, &groove.layers()[staff.layer], staff);
    }
    let silent = score.staves.is_empty().then(|| rests(piece));
    if silent.is_some() {
        xml.open("score-part", &[("id", "P1")]);
        xml.text("part-name", &[], "rests");
        xml.close();
    }
    xml.close();
    let (marks, marked) = (pulses::marks(piece), pulses::layer(piece));
    for (i, staff) in score.staves.iter().chain(&silent).enumerate() {
        let marks = if marked == Some(staff.layer) { &marks[..] } else { &[] };
        xml.open("part", &[("id", &format!("P{}", i + 1))]);
        let mut part = Part {
            piece,
            writing,
            annotator: Annotator::new(piece, staff.layer),
            staff,
            first: i == 0,
            xml: &mut xml,
            divisions: divisions(staff, marks),
            marks,
            state: State::default(),
        };
        for (b, bar) in staff.bars.iter().enumerate() {
            part.measure(bar, b);
        }
        xml.close();
    }
    xml.finish()
}

/// A staff of rests, for a groove without layers: a score needs a part.
fn rests(piece: &ExportInput<'_>) -> Staff {
    let sections =
        piece.groove.sections().iter().enumerate().filter(|(s, _)| piece.section.is_none_or(|only| only == *s));
    let bars = sections.flat_map(|(section, s)| {
        (0..usize::from(s.bars)).map(move |number| {
            let rest = crate::notation::Note {
                at: Time::ZERO,
                length: s.meter.bar(),
                value: None,
                sound: None,
                tuplet: None,
                beams: Vec::new(),
            };
            Bar { section, number, notes: vec![rest], tuplets: Vec::new() }
        })
    });
    Staff { layer: usize::MAX, kind: StaffKind::Line, shape: HeadShape::Round, bars: bars.collect() }
}

fn score_part(xml: &mut Xml, layer: &Layer, staff: &Staff) {
    let id = format!("P{}", staff.layer + 1);
    let instrument_id = format!("{id}-I1");
    xml.open("score-part", &[("id", &id)]);
    xml.text("part-name", &[], &layer.name);
    xml.open("score-instrument", &[("id", &instrument_id)]);
    xml.text("instrument-name", &[], layer.voice.name());
    xml.close();
    xml.open("midi-instrument", &[("id", &instrument_id)]);
    match staff.kind {
        StaffKind::Pitched(_) => {
            // Channel 10 is percussion.
            let channel = staff.layer % 15;
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
    xml.text("volume", &[], &decimal(100.0 * 10_f64.powf(f64::from(layer.gain.min(0)) / 20.0), 4));
    xml.text("pan", &[], &decimal(f64::from(layer.pan) * 0.9, 1));
    xml.close();
    xml.close();
}

/// A decimal without zeros at its end.
fn decimal(x: f64, places: usize) -> String {
    let text = format!("{x:.places$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text.is_empty() || text == "-0" { "0".into() } else { text.into() }
}

/// A number as a decimal: exact where a short one is.
fn fraction(x: Fraction) -> String {
    let text = x.to_string();
    if text.contains('/') { decimal(x.numer() as f64 / x.denom() as f64, 9) } else { text }
}

/// Divisions of a quarter in which every length of a staff and every mark is whole: the least common multiple; `None` if that is beyond [`MOST`].
fn divisions(staff: &Staff, marks: &[Marked]) -> Option<i64> {
    let mut all = 1_i64;
    let lengths = staff.bars.iter().flat_map(|b| &b.notes).map(|n| n.length);
    for time in lengths.chain(marks.iter().flat_map(|m| &m.at).flatten().copied()) {
        let quarters = time.repeated(4)?;
        let wide = i128::from(all).lcm(&i128::from(quarters.denom()));
        all = i64::try_from(wide).ok().filter(|d| *d <= MOST)?;
    }
    Some(all)
}

/// What is in force where the pen stands.
#[derive(Default)]
struct State {
    meter: Option<crate::rhythm::Meter>,
    tempo: Option<Tempo>,
    swing: Option<Swing>,
    /// Whether it was said what the marks over this part are.
    told: bool,
}

struct Part<'a, 'b> {
    piece: &'a ExportInput<'a>,
    writing: &'a NotationOptions,
    annotator: Annotator<'a>,
    staff: &'a Staff,
    /// Whether this is the top part, which carries what stands for all.
    first: bool,
    xml: &'b mut Xml,
    divisions: Option<i64>,
    /// The hearings whose pulses stand over this part.
    marks: &'a [Marked],
    state: State,
}

impl Part<'_, '_> {
    fn groove(&self) -> &Groove {
        self.piece.groove
    }

    fn measure(&mut self, bar: &Bar, index: usize) {
        let section = self.groove().sections()[bar.section].clone();
        self.xml.open("measure", &[("number", &(index + 1).to_string())]);
        let (first, last) = (bar.number == 0, bar.number + 1 == usize::from(section.bars));
        if first && section.times > 1 {
            self.xml.open("barline", &[("location", "left")]);
            self.xml.text("bar-style", &[], "heavy-light");
            self.xml.empty("repeat", &[("direction", "forward")]);
            self.xml.close();
        }
        self.attributes(&section, index);
        if first {
            self.heads(&section);
        }
        self.notes(bar);
        if last {
            let end = index + 1 == self.staff.bars.len();
            self.xml.open("barline", &[("location", "right")]);
            self.xml.text("bar-style", &[], if end || section.times > 1 { "light-heavy" } else { "light-light" });
            if section.times > 1 {
                self.xml.empty("repeat", &[("direction", "backward"), ("times", &section.times.to_string())]);
            }
            self.xml.close();
        }
        self.xml.close();
    }

    fn attributes(&mut self, section: &Section, index: usize) {
        let meter = (self.state.meter.as_ref() != Some(&section.meter)).then(|| section.meter.clone());
        if index > 0 && meter.is_none() {
            return;
        }
        self.xml.open("attributes", &[]);
        if index == 0 {
            self.xml.number("divisions", self.divisions.unwrap_or(MOST));
            if matches!(self.staff.kind, StaffKind::Pitched(_)) {
                self.xml.open("key", &[]);
                self.xml.number("fifths", 0);
                self.xml.close();
            }
        }
        if let Some(meter) = meter {
            let terms: Vec<String> = meter.terms().iter().map(u16::to_string).collect();
            self.xml.open("time", &[]);
            self.xml.text("beats", &[], &terms.join("+"));
            self.xml.number("beat-type", meter.lower());
            self.xml.close();
            self.state.meter = Some(meter);
        }
        if index == 0 {
            self.clef();
        }
        self.xml.close();
    }

    fn clef(&mut self) {
        let (sign, line, octaves) = match self.staff.kind {
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
        self.xml.close();
        if self.staff.kind == StaffKind::Line {
            self.xml.open("staff-details", &[]);
            self.xml.number("staff-lines", 1);
            self.xml.close();
        }
    }

    /// What stands over the first bar of a section.
    fn heads(&mut self, section: &Section) {
        if self.first {
            self.xml.open("direction", &[("placement", "above")]);
            self.xml.open("direction-type", &[]);
            self.xml.text("rehearsal", &[], &section.name);
            self.xml.close();
            self.xml.close();
        }
        if self.first && section.times > 2 {
            self.words(&format!("{} times", section.times), &[], 0);
        }
        if self.state.tempo != Some(section.tempo) {
            if self.first {
                self.tempo(section.tempo);
            }
            self.state.tempo = Some(section.tempo);
        }
        let layer = self.groove().layers().get(self.staff.layer);
        let swing = layer
            .and_then(|l| l.swing)
            .or(section.swing)
            .filter(|s| s.share() != Fraction::new(1, 2).unwrap_or(Fraction::ZERO));
        if layer.is_some() && swing != self.state.swing {
            let cell = section.meter.beat().divided(layer.map_or(1, |l| usize::from(l.division)));
            self.swing(swing, cell.and_then(Value::plain));
            self.state.swing = swing;
        }
    }

    /// Words over the notes, so many divisions after the place where the pen stands.
    fn words(&mut self, text: &str, look: &[(&str, &str)], offset: i64) {
        self.xml.open("direction", &[("placement", "above")]);
        self.xml.open("direction-type", &[]);
        self.xml.text("words", look, text);
        self.xml.close();
        if offset != 0 {
            self.xml.number("offset", offset);
        }
        self.xml.close();
    }

    /// The metronome mark; where the beat is no note value, that of quarters.
    fn tempo(&mut self, tempo: Tempo) {
        let quarter = Time::new(1, 4).expect("a quarter");
        let quarters = tempo.wholes_per_minute().times(Fraction::whole(4)).unwrap_or(tempo.bpm());
        let (unit, bpm) = Value::of(tempo.unit()).map_or((Value::of(quarter), quarters), |v| (Some(v), tempo.bpm()));
        self.xml.open("direction", &[("placement", "above")]);
        self.xml.open("direction-type", &[]);
        self.xml.open("metronome", &[]);
        if let Some(unit) = unit {
            self.xml.text("beat-unit", &[], unit.name());
            if unit.dotted {
                self.xml.empty("beat-unit-dot", &[]);
            }
        }
        self.xml.text("per-minute", &[], &fraction(bpm));
        self.xml.close();
        self.xml.close();
        self.xml.empty("sound", &[("tempo", &fraction(quarters))]);
        self.xml.close();
    }

    /// The swing in words; for eighths and sixteenths as a playing instruction too.
    fn swing(&mut self, swing: Option<Swing>, cell: Option<Value>) {
        let text = swing.map_or("straight".to_owned(), |s| format!("swing {s}"));
        self.xml.open("direction", &[("placement", "above")]);
        self.xml.open("direction-type", &[]);
        self.xml.text("words", &[], &text);
        self.xml.close();
        let kind = cell.map(Value::name).filter(|n| matches!(*n, "eighth" | "16th"));
        let share = swing.map(Swing::share);
        if share.is_none() || kind.is_some() {
            self.xml.open("sound", &[]);
            self.xml.open("swing", &[]);
            match (share, kind) {
                (Some(share), Some(kind)) => {
                    self.xml.number("first", share.numer());
                    self.xml.number("second", share.denom() - share.numer());
                    self.xml.text("swing-type", &[], kind);
                }
                _ => self.xml.empty("straight", &[]),
            }
            self.xml.close();
            self.xml.close();
        }
        self.xml.close();
    }
}
