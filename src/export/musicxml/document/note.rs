//! Writes the notes of a measure.

use super::{Heads, Part, instrument_id};
use crate::notation::{Accidental, Bar, Beam, HeadShape, Note, NoteSound, StaffKind, Stroke, Tuplet, general_midi};
use crate::rhythm::{Accent, Time};

/// The style of text over the notes.
const SMALL_TEXT: (&str, &str) = ("font-size", "8");

/// A note on the line of a percussion clef, which counts as E4, as the lowest line under a treble clef does.
const ONLY_LINE: i32 = -4;

/// One head of a note.
#[derive(Clone, Copy)]
struct Head {
    /// Of the part's layers.
    index: usize,
    sound: NoteSound,
    shape: HeadShape,
    /// In steps above the middle line, without a pitch.
    step: i32,
    /// Divisions by which it ends later than the note.
    release: i64,
}

impl Part<'_, '_> {
    /// The heads of a note; none of a rest.
    fn heads(&self, heads: Heads<'_>, bar: &Bar, note: &Note) -> Vec<Head> {
        let Some(sound) = note.sound else { return Vec::new() };
        match heads {
            Heads::Layer(shape) => vec![Head { index: 0, sound, shape, step: ONLY_LINE, release: 0 }],
            Heads::Kit(voice) => {
                let groove = self.piece.groove;
                let head = |stroke: &Stroke| {
                    let (shape, step) = stroke.head(groove);
                    let sound = NoteSound { attack: stroke.attack, number: stroke.number, cell: stroke.cell, ..sound };
                    let index = self.layers.iter().position(|l| *l == stroke.layer).unwrap_or(0);
                    let release = self.shared.and_then(|s| s.release(groove, bar, note, stroke));
                    Head { index, sound, shape, step, release: release.unwrap_or(0) }
                };
                voice.strokes(bar.section, sound.number).iter().map(head).collect()
            }
        }
    }

    /// The notes of a voice, from 0.
    pub(super) fn notes(&mut self, bar: &Bar, heads: Heads<'_>, voice: usize) {
        for (i, note) in bar.notes.iter().enumerate() {
            let heads = self.heads(heads, bar, note);
            // The first direction is set nearest to the notes.
            for head in &heads {
                let [group, landing] = self.annotators[head.index].labels(&self.notation.over, bar, head.sound);
                for (text, style) in [(landing, "italic"), (group, "normal")] {
                    if let Some(text) = text {
                        self.words(&text, &[SMALL_TEXT, ("font-style", style)], 0);
                    }
                }
            }
            if voice == 0 {
                self.pulses(bar, note);
            }
            if !std::mem::replace(&mut self.state.marks_explained, true) {
                self.marks.iter().for_each(|m| self.words(&m.description, &[SMALL_TEXT, ("font-style", "normal")], 0));
            }
            if heads.is_empty() {
                self.note(bar, i, note, None, voice);
            }
            let flams = heads.iter().filter(|h| h.sound.attack.flam && !h.sound.tied_from);
            for (k, head) in flams.enumerate() {
                self.grace_note(head, k == 0, voice);
            }
            for (k, head) in heads.iter().enumerate() {
                self.note(bar, i, note, Some((k, head)), voice);
            }
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
    pub(super) fn to_divisions(&self, t: Time) -> i64 {
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

    /// A rest, or one head of a note with its number from 0.
    fn note(&mut self, bar: &Bar, index: usize, note: &Note, head: Option<(usize, &Head)>, voice: usize) {
        let sound = head.map(|h| h.1.sound);
        let is_first = head.is_none_or(|h| h.0 == 0);
        let percent = sound.filter(|s| !s.tied_from).and_then(|s| dynamics(s.attack.accent));
        let release = head.map_or(0, |h| h.1.release).to_string();
        let mut attributes: Vec<(&str, &str)> = percent.iter().map(|p| ("dynamics", p.as_str())).collect();
        attributes.extend((release != "0").then_some(("release", release.as_str())));
        self.xml.open("note", &attributes);
        if !is_first {
            self.xml.empty_element("chord", &[]);
        }
        match head {
            None if note.value.is_none() => self.xml.empty_element("rest", &[("measure", "yes")]),
            None => self.xml.empty_element("rest", &[]),
            Some((_, head)) => self.head(head),
        }
        self.xml.number("duration", self.duration(note));
        let ties = sound.into_iter().flat_map(|s| [(s.tied_from, "stop"), (s.tied_to, "start")]);
        let ties: Vec<&str> = ties.filter(|t| t.0).map(|t| t.1).collect();
        for kind in &ties {
            self.xml.empty_element("tie", &[("type", kind)]);
        }
        if let Some((_, head)) = head {
            self.instrument(head);
        }
        self.xml.number("voice", voice + 1);
        if let Some(value) = note.value {
            self.xml.text("type", &[], value.name());
            if value.dotted {
                self.xml.empty_element("dot", &[]);
            }
        }
        if let Some(accidental) = sound.and_then(|s| s.spelled_pitch).and_then(|p| p.accidental) {
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
        if self.kind == StaffKind::Line && note.value.is_some_and(|v| v.halvings > 0) && sound.is_some() {
            // On a line of its own, stems leave the space over the heads to the text; on a shared staff those of the feet point down.
            let is_down = match self.shared {
                Some(_) => voice > 0,
                None => self.annotators.iter().any(|a| a.max_labels(&self.notation.over) > 0),
            };
            self.xml.text("stem", &[], if is_down { "down" } else { "up" });
        }
        if let Some((_, head)) = head {
            self.notehead(head, head.sound.attack.accent == Accent::Ghost);
        }
        for (level, beam) in note.beams.iter().enumerate().filter(|_| is_first) {
            let text = match beam {
                Beam::Begin => "begin",
                Beam::Continue => "continue",
                Beam::End => "end",
                Beam::Forward => "forward hook",
                Beam::Backward => "backward hook",
            };
            self.xml.text("beam", &[("number", &(level + 1).to_string())], text);
        }
        self.notations(bar, index, sound, tuplet.filter(|_| is_first), &ties);
        let under =
            head.map_or([None, None], |(_, h)| self.annotators[h.index].labels(&self.notation.under, bar, h.sound));
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
    fn grace_note(&mut self, head: &Head, is_first: bool, voice: usize) {
        let velocity = general_midi::grace_velocity(general_midi::velocity(head.sound.attack.accent));
        self.xml.open("note", &[("dynamics", &percent_of_plain(velocity))]);
        self.xml.empty_element("grace", &[("slash", "yes")]);
        if !is_first {
            self.xml.empty_element("chord", &[]);
        }
        self.head(head);
        self.instrument(head);
        self.xml.number("voice", voice + 1);
        self.xml.text("type", &[], "eighth");
        self.notehead(head, false);
        self.xml.close(1);
    }

    /// The instrument of a head on a shared staff.
    fn instrument(&mut self, head: &Head) {
        if self.shared.is_some() {
            let id = instrument_id(&format!("P{}", self.number), head.index);
            self.xml.empty_element("instrument", &[("id", &id)]);
        }
    }

    fn head(&mut self, head: &Head) {
        if let Some(p) = head.sound.spelled_pitch {
            self.xml.open("pitch", &[]);
            self.xml.text("step", &[], &p.letter.to_string());
            if p.alter != 0 {
                self.xml.number("alter", p.alter);
            }
            self.xml.number("octave", p.octave);
        } else {
            // The middle line counts as B4, as under a treble clef: 34 steps above C0.
            let step = 34 + head.step;
            let letter = ["C", "D", "E", "F", "G", "A", "B"][step.rem_euclid(7) as usize];
            self.xml.open("unpitched", &[]);
            self.xml.text("display-step", &[], letter);
            self.xml.number("display-octave", step.div_euclid(7));
        }
        self.xml.close(1);
    }

    fn notehead(&mut self, head: &Head, ghost: bool) {
        let head = match head.shape {
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

    fn notations(&mut self, bar: &Bar, index: usize, sound: Option<NoteSound>, tuplet: Option<&Tuplet>, ties: &[&str]) {
        let edge = tuplet.filter(|t| t.first == index || t.last == index);
        let accent = sound.is_some_and(|s| s.attack.accent == Accent::Accent && !s.tied_from);
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
