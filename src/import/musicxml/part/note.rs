//! Reads the notes of a part, backups and forwards, pitches and ties.

use super::{GraceNote, OpenTie, PartReader, PositionMove, TieKey, number};
use crate::import::assemble::magnitude;
use crate::import::musicxml::directions;
use crate::import::musicxml::document::{Note, VoiceId};
use crate::import::musicxml::dom::{Element, ElementExt, error_at, place_of};
use crate::notation::FormatError;
use crate::notation::NoteValue;
use crate::rhythm::{Fraction, Meter, Time, expected, semitones};

/// Most known times of a measure that a rounded time is matched to.
const MAX_KNOWN_TIMES: usize = 4096;

/// Whether sums of such times stay far within 64 bits.
fn is_summable(t: Time) -> bool {
    t.denom() <= 1 << 40 && t.numer() <= 1 << 46
}

fn too_fine_error(element: Element<'_>) -> FormatError {
    crate::import::too_fine_error(place_of(element))
}

impl PartReader<'_> {
    fn divisions_in_wholes(&self, count: Fraction) -> Option<Fraction> {
        count.over(self.divisions)?.over(Fraction::whole(4))
    }

    fn duration(&self, element: Element<'_>) -> Result<Option<Time>, FormatError> {
        let Some(count) = number(element, "duration")? else { return Ok(None) };
        if count < Fraction::ZERO {
            return Err(error_at(element, "negative duration"));
        }
        let time =
            self.divisions_in_wholes(count).and_then(|w| Time::new(w.numer(), w.denom())).filter(|t| is_summable(*t));
        time.map(Some).ok_or_else(|| error_at(element, "the duration is too fine to represent exactly"))
    }

    /// The length that type, dots and tuplet write, if it is less than a division from the duration.
    fn written_length(&self, element: Element<'_>, duration: Time) -> Option<Time> {
        let value = NoteValue::from_name(element.child_text("type")?)?.length();
        let dots = element.children_named("dot").count().min(4) as u32;
        let mut length = value.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
        if let Some(change) = element.child("time-modification") {
            let whole = |name: &str| change.child_text(name)?.parse::<i64>().ok().filter(|n| (1..=1000).contains(n));
            length = length.scaled(Fraction::new(whole("normal-notes")?, whole("actual-notes")?)?)?;
        }
        let difference = magnitude(length.minus(duration)?.wholes());
        (difference < self.divisions_in_wholes(Fraction::ONE)?).then_some(length)
    }

    /// The length of a note that is released earlier or later than it is written. Drums that share a stem have one value, and may sound
    /// longer or shorter than it.
    fn released_length(&self, element: Element<'_>, length: Time) -> Option<Time> {
        let later = directions::parse_decimal(element.attribute("release")?)?;
        let wholes = self.divisions_in_wholes(later)?.plus(length.wholes())?;
        Time::new(wholes.numer(), wholes.denom()).filter(|t| *t > Time::ZERO && is_summable(*t))
    }

    fn advance(&mut self, to: Time) {
        self.position = to;
        self.end = self.end.max(to);
        self.known_times.push(to);
    }

    pub(super) fn move_position(&mut self, element: Element<'_>, direction: PositionMove) -> Result<(), FormatError> {
        let by = self.duration(element)?.unwrap_or(Time::ZERO);
        let to = if direction == PositionMove::Backup { self.position.minus(by) } else { self.position.plus(by) };
        let mut to = to.ok_or_else(|| too_fine_error(element))?.max(Time::ZERO);
        if self.has_rounded_duration && self.known_times.len() < MAX_KNOWN_TIMES {
            // Sums of rounded durations miss the exact times by less than a division or two.
            let slack = self.divisions_in_wholes(Fraction::whole(2)).unwrap_or(Fraction::ZERO);
            let distance = |t: &Time| t.minus(to).map_or(slack, |d| magnitude(d.wholes()));
            let known = self.known_times.iter().copied().chain([Time::ZERO]);
            to = known.filter(|t| distance(t) < slack).min_by_key(distance).unwrap_or(to);
        }
        // A forward may run past the bar's end where nothing follows; only notes and rests make a bar longer.
        let reach = self.end;
        self.advance(to);
        let bar = self.meter.as_ref().map_or(to, Meter::bar);
        self.end = reach.max(to.min(bar));
        Ok(())
    }

    pub(super) fn note(&mut self, element: Element<'_>) -> Result<(), FormatError> {
        if let Some(grace) = element.child("grace") {
            let has_slash = grace.attribute("slash") == Some("yes");
            let voice = voice(element);
            let key = if has_slash { self.key(element, voice.staff)? } else { None };
            let instrument = self.instrument(element);
            self.graces.push(GraceNote { key: line_key(element, key), instrument, voice, has_slash });
            return Ok(());
        }
        let Some(duration) = self.duration(element)? else {
            return Err(error_at(element, expected("a note with a duration", "none")));
        };
        let length = self.written_length(element, duration).unwrap_or(duration);
        self.has_rounded_duration |= length != duration;
        let is_chord = element.has_child("chord");
        let at = if is_chord { self.last_onset } else { self.position };
        let end = at.plus(length).filter(|t| is_summable(*t)).ok_or_else(|| too_fine_error(element))?;
        self.last_onset = at;
        if !is_chord {
            self.known_times.push(at);
            self.advance(end);
        }
        if element.has_child("rest") {
            self.drop_graces();
            return Ok(());
        }
        if element.has_child("cue") {
            self.drop_graces();
            self.counts.cue += 1;
            return Ok(());
        }
        let voice = voice(element);
        let key = self.key(element, voice.staff)?;
        let instrument = self.instrument(element);
        let has_own_track = key.is_none() && instrument.is_some() && self.part.instruments.len() > 1;
        self.counts.chord += usize::from(is_chord && !has_own_track);
        let has_tie = |kind: &str| element.children_named("tie").any(|t| t.attribute("type") == Some(kind));
        let in_tuplet = element.has_child("time-modification");
        let tie = TieKey { key: line_key(element, key), instrument };
        let tied = if has_tie("stop") { self.end_tie(&tie, &voice) } else { None };
        if !is_chord {
            self.drop_chord_graces();
            self.chord_graces.append(&mut self.graces);
        }
        // A flam: one slashed grace note of the same drum or pitch.
        let is_grace = |g: &GraceNote| {
            let same_sound = g.key == tie.key && g.instrument.is_none_or(|i| Some(i) == instrument);
            same_sound && g.has_slash && g.voice == voice
        };
        let flam = tied.is_none() && self.chord_graces.iter().filter(|g| is_grace(g)).count() == 1;
        if flam {
            self.chord_graces.retain(|g| !is_grace(g));
        }
        let index = if let Some(index) = tied {
            let note = &mut self.part.notes[index];
            let sum = note.length.plus(length).filter(|t| t.numer() <= 1 << 50);
            note.length = sum.ok_or_else(|| too_fine_error(element))?;
            note.ends_in_tuplet = in_tuplet;
            index
        } else {
            self.part.notes.push(Note {
                measure: self.measure_index,
                start: at,
                length,
                key,
                accent: directions::accent(element),
                flam,
                voice: voice.clone(),
                instrument,
                starts_in_tuplet: in_tuplet,
                ends_in_tuplet: in_tuplet,
            });
            self.part.notes.len() - 1
        };
        if key.is_none()
            && let Some(end) = self.released_length(element, self.part.notes[index].length)
        {
            self.part.notes[index].length = end;
        }
        if has_tie("start") {
            let open = self.open_ties.entry(tie).or_default();
            open.retain(|o| o.voice != voice);
            open.push(OpenTie { voice, note: index });
        }
        Ok(())
    }

    /// Drops grace notes that make no flam.
    pub(super) fn drop_graces(&mut self) {
        self.drop_chord_graces();
        self.counts.grace += self.graces.len();
        self.graces.clear();
    }

    fn drop_chord_graces(&mut self) {
        self.counts.grace += self.chord_graces.len();
        self.chord_graces.clear();
    }

    /// The index of a note's instrument.
    fn instrument(&self, element: Element<'_>) -> Option<usize> {
        let id = element.child("instrument").and_then(|i| i.attribute("id"))?;
        self.part.instruments.iter().position(|i| i.id == id)
    }

    /// Removes the open tie that ends at a note, and returns the note where it began: in the same voice, or else, because ties may
    /// change voices, the first.
    fn end_tie(&mut self, tie: &TieKey, voice: &VoiceId) -> Option<usize> {
        let open = self.open_ties.get_mut(tie)?;
        let index = open.iter().position(|o| o.voice == *voice).unwrap_or(0);
        (index < open.len()).then(|| open.remove(index).note)
    }

    fn key(&mut self, element: Element<'_>, staff: u32) -> Result<Option<u8>, FormatError> {
        let Some(pitch) = element.child("pitch") else { return Ok(None) };
        let name = pitch.child_text("step").unwrap_or_default();
        let step = name.parse().ok().and_then(semitones).map(i64::from);
        let step = step.ok_or_else(|| error_at(pitch, expected("a step from A to G", format!("{name:?}"))))?;
        let octave = number(pitch, "octave")?.filter(|o| o.denom() == 1 && (-2..=10).contains(&o.numer()));
        let Some(octave) = octave else {
            let found = pitch.child_text("octave").unwrap_or("none");
            return Err(error_at(pitch, expected("a pitch with an octave from -2 to 10", found)));
        };
        let alter = number(pitch, "alter")?.unwrap_or(Fraction::ZERO);
        self.counts.microtone += usize::from(alter.denom() != 1);
        let transposed = self.transpose.get(&staff).or_else(|| self.transpose.get(&0)).copied().unwrap_or(0);
        let key = (octave.numer() + 1) * 12 + step + alter.round().clamp(-24, 24) + i64::from(transposed);
        let midi = u8::try_from(key).ok().filter(|k| *k < 128);
        midi.map(Some).ok_or_else(|| error_at(pitch, expected("a pitch within the MIDI keys 0 to 127", key)))
    }
}

fn voice(element: Element<'_>) -> VoiceId {
    let staff = element.child_text("staff").and_then(|s| s.parse().ok()).unwrap_or(1);
    VoiceId { staff, voice: element.child_text("voice").unwrap_or("1").to_owned() }
}

/// The MIDI key, or the place on the staff below zero.
fn line_key(element: Element<'_>, key: Option<u8>) -> i32 {
    key.map_or_else(|| -1 - staff_line(element), i32::from)
}

/// The place of an unpitched note on the staff, from 0.
fn staff_line(element: Element<'_>) -> i32 {
    let Some(place) = element.child("unpitched") else { return 0 };
    let step = place.child_text("display-step").and_then(|s| "CDEFGAB".find(s)).unwrap_or(0) as i32;
    let octave: i32 =
        place.child_text("display-octave").and_then(|o| o.parse().ok()).filter(|o| (0..10).contains(o)).unwrap_or(0);
    octave * 7 + step
}
