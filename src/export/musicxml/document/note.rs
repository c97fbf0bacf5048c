//! Writes the notes of a measure.

use super::Part;
use crate::notation::{Accidental, Bar, Beam, HeadShape, Note, NoteSound, StaffKind, Tuplet, general_midi};
use crate::rhythm::{Accent, Attack, Time};

/// The style of text over the notes.
const SMALL_TEXT: (&str, &str) = ("font-size", "8");

impl Part<'_, '_> {
    pub(super) fn notes(&mut self, bar: &Bar) {
        for (i, note) in bar.notes.iter().enumerate() {
            // The first direction is set nearest to the notes.
            if let Some(sound) = note.sound {
                let [group, landing] = self.annotator.labels(&self.notation.over, bar, sound);
                for (text, style) in [(landing, "italic"), (group, "normal")] {
                    if let Some(text) = text {
                        self.words(&text, &[SMALL_TEXT, ("font-style", style)], 0);
                    }
                }
            }
            self.pulses(bar, note);
            if !std::mem::replace(&mut self.state.marks_explained, true) {
                self.marks.iter().for_each(|m| self.words(&m.description, &[SMALL_TEXT, ("font-style", "normal")], 0));
            }
            self.note(bar, i, note);
        }
    }

    /// The marks of pulses within a note.
    fn pulses(&mut self, bar: &Bar, note: &Note) {
        let start = self.piece.groove.sections()[bar.section].meter.bar().repeated(bar.number);
        let times = start.and_then(|s| s.plus(note.start)).and_then(|s| Some((s, s.plus(note.length)?)));
        let Some((start, end)) = times else { return };
        for mark in self.marks {
            for at in mark.pulses_between(bar.section, start, end) {
                let offset = at.minus(start).map_or(0, |t| self.to_divisions(t));
                self.words(&mark.sign, &[SMALL_TEXT, ("font-style", "normal")], offset);
            }
        }
    }

    /// Rounded to the nearest division.
    fn to_divisions(&self, t: Time) -> i64 {
        let quarters = t.repeated(4).unwrap_or(Time::ZERO).wholes();
        let product = i128::from(quarters.numer()) * i128::from(self.divisions);
        let half = i128::from(quarters.denom()) / 2;
        i64::try_from((product + half).div_euclid(i128::from(quarters.denom()))).unwrap_or(0)
    }

    /// In divisions: the difference of two rounded positions, so that the durations of a bar add up.
    fn duration(&self, note: &Note) -> i64 {
        let end = note.start.plus(note.length).unwrap_or(note.start);
        self.to_divisions(end) - self.to_divisions(note.start)
    }

    fn note(&mut self, bar: &Bar, index: usize, note: &Note) {
        if let Some(sound) = note.sound.filter(|s| s.attack.flam && !s.tied_from) {
            self.grace_note(sound);
        }
        match note.sound.filter(|s| !s.tied_from).and_then(|s| dynamics(s.attack.accent)) {
            Some(percent) => self.xml.open("note", &[("dynamics", &percent)]),
            None => self.xml.open("note", &[]),
        }
        match note.sound {
            None if note.value.is_none() => self.xml.empty_element("rest", &[("measure", "yes")]),
            None => self.xml.empty_element("rest", &[]),
            Some(sound) => self.head(sound),
        }
        self.xml.number("duration", self.duration(note));
        let ties = note.sound.into_iter().flat_map(|s| [(s.tied_from, "stop"), (s.tied_to, "start")]);
        let ties: Vec<&str> = ties.filter(|t| t.0).map(|t| t.1).collect();
        for kind in &ties {
            self.xml.empty_element("tie", &[("type", kind)]);
        }
        self.xml.number("voice", 1);
        if let Some(value) = note.value {
            self.xml.text("type", &[], value.name());
            if value.dotted {
                self.xml.empty_element("dot", &[]);
            }
        }
        if let Some(accidental) = note.sound.and_then(|s| s.spelled_pitch).and_then(|p| p.accidental) {
            let name = match accidental {
                Accidental::Sharp => "sharp",
                Accidental::Flat => "flat",
                Accidental::Natural => "natural",
            };
            self.xml.text("accidental", &[], name);
        }
        let tuplet = note.tuplet.and_then(|t| bar.tuplets.get(t));
        if let Some(t) = tuplet {
            self.xml.open("time-modification", &[]);
            self.xml.number("actual-notes", t.actual);
            self.xml.number("normal-notes", t.normal);
            if note.value != Some(t.unit) {
                self.xml.text("normal-type", &[], t.unit.name());
            }
            self.xml.close(1);
        }
        if self.staff.kind == StaffKind::Line && note.value.is_some_and(|v| v.halvings > 0) && note.sound.is_some() {
            // Stems leave the space over the heads to the text.
            let has_text = self.annotator.max_labels(&self.notation.over) > 0;
            self.xml.text("stem", &[], if has_text { "down" } else { "up" });
        }
        if let Some(sound) = note.sound {
            self.notehead(sound);
        }
        for (level, beam) in note.beams.iter().enumerate() {
            let text = match beam {
                Beam::Begin => "begin",
                Beam::Continue => "continue",
                Beam::End => "end",
                Beam::Forward => "forward hook",
                Beam::Backward => "backward hook",
            };
            self.xml.text("beam", &[("number", &(level + 1).to_string())], text);
        }
        self.notations(bar, index, note, tuplet, &ties);
        let under = note.sound.map_or([None, None], |s| self.annotator.labels(&self.notation.under, bar, s));
        for (line, text) in under.iter().enumerate().filter_map(|(line, text)| Some((line, text.as_ref()?))) {
            let number = if self.notation.under.groups { line + 1 } else { 1 };
            self.xml.open("lyric", &[("number", &number.to_string())]);
            self.xml.text("syllabic", &[], "single");
            self.xml.text("text", &[], text);
            self.xml.close(1);
        }
        self.xml.close(1);
    }

    /// The grace note of a flam: softer, with a slash.
    fn grace_note(&mut self, sound: NoteSound) {
        let velocity = general_midi::grace_velocity(general_midi::velocity(sound.attack.accent));
        self.xml.open("note", &[("dynamics", &percent_of_plain(velocity))]);
        self.xml.empty_element("grace", &[("slash", "yes")]);
        self.head(sound);
        self.xml.number("voice", 1);
        self.xml.text("type", &[], "eighth");
        self.notehead(NoteSound { attack: Attack { accent: Accent::Plain, ..sound.attack }, ..sound });
        self.xml.close(1);
    }

    fn head(&mut self, sound: NoteSound) {
        if let Some(p) = sound.spelled_pitch {
            self.xml.open("pitch", &[]);
            self.xml.text("step", &[], &p.letter.to_string());
            if p.alter != 0 {
                self.xml.number("alter", p.alter);
            }
            self.xml.number("octave", p.octave);
        } else {
            // The only line of the staff counts as its lowest: E4, as under a treble clef.
            self.xml.open("unpitched", &[]);
            self.xml.text("display-step", &[], "E");
            self.xml.number("display-octave", 4);
        }
        self.xml.close(1);
    }

    fn notehead(&mut self, sound: NoteSound) {
        let ghost = sound.attack.accent == Accent::Ghost;
        let head = match self.staff.shape {
            HeadShape::Round => "normal",
            HeadShape::Cross => "x",
            HeadShape::RingedCross => "circle-x",
            HeadShape::Triangle => "triangle",
            HeadShape::Diamond => "diamond",
        };
        if ghost || head != "normal" {
            let style: &[(&str, &str)] = if ghost { &[("parentheses", "yes")] } else { &[] };
            self.xml.text("notehead", style, head);
        }
    }

    fn notations(&mut self, bar: &Bar, index: usize, note: &Note, tuplet: Option<&Tuplet>, ties: &[&str]) {
        let edge = tuplet.filter(|t| t.first == index || t.last == index);
        let accent = note.sound.is_some_and(|s| s.attack.accent == Accent::Accent && !s.tied_from);
        if edge.is_none() && !accent && ties.is_empty() {
            return;
        }
        self.xml.open("notations", &[]);
        for kind in ties {
            self.xml.empty_element("tied", &[("type", kind)]);
        }
        if let Some(t) = edge {
            if t.first == index {
                self.tuplet_start(bar, t);
            } else {
                self.xml.empty_element("tuplet", &[("type", "stop"), ("number", "1")]);
            }
        }
        if accent {
            self.xml.wrap("articulations", &[], |xml| xml.empty_element("accent", &[]));
        }
        self.xml.close(1);
    }

    /// The bracket is omitted if one beam joins the tuplet; the second number is shown if it is not the next smaller power of two.
    fn tuplet_start(&mut self, bar: &Bar, t: &Tuplet) {
        let beams = |i: usize| bar.notes[i].beams.first();
        let one_beam = beams(t.first) == Some(&Beam::Begin)
            && beams(t.last) == Some(&Beam::End)
            && (t.first + 1..t.last).all(|i| bar.notes[i].sound.is_none() || beams(i) == Some(&Beam::Continue));
        let usual = u32::from(t.normal) == 1 << u32::from(t.actual).ilog2();
        self.xml.open(
            "tuplet",
            &[
                ("type", "start"),
                ("number", "1"),
                ("bracket", if one_beam { "no" } else { "yes" }),
                ("show-number", if usual { "actual" } else { "both" }),
            ],
        );
        for (element, number) in [("tuplet-actual", t.actual), ("tuplet-normal", t.normal)] {
            self.xml.wrap(element, &[], |xml| {
                xml.number("tuplet-number", number);
                xml.text("tuplet-type", &[], t.unit.name());
            });
        }
        self.xml.close(1);
    }
}

/// The dynamics of what has no sign of its own, in percent of a plain note.
fn dynamics(accent: Accent) -> Option<String> {
    matches!(accent, Accent::Soft | Accent::Strong).then(|| percent_of_plain(general_midi::velocity(accent)))
}

fn percent_of_plain(velocity: u8) -> String {
    (f64::from(velocity) * 100.0 / f64::from(general_midi::velocity(Accent::Plain))).to_string()
}
