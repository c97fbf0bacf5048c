//! Reads the notes of a part, backups and forwards, pitches and ties.

use super::{PartReader, number};
use crate::import::musicxml::directions;
use crate::import::musicxml::document::Note;
use crate::import::musicxml::dom::{Children, Element, error_at};
use crate::notation::FormatError;
use crate::notation::Value;
use crate::rhythm::{Fraction, Meter, Time, expected};

/// Most places of a measure among which the one that a rounded step means is looked for.
const MAX_KNOWN_TIMES: usize = 4096;
/// Whether sums of such times stay far within 64 bits.
fn holds(t: Time) -> bool {
    t.denom() <= 1 << 40 && t.numer() <= 1 << 46
}

impl PartReader<'_> {
    /// A duration in whole notes.
    fn duration(&self, element: Element<'_>) -> Result<Option<Time>, FormatError> {
        let Some(count) = number(element, "duration")? else { return Ok(None) };
        if count < Fraction::ZERO {
            return Err(error_at(element, "negative duration"));
        }
        let quarters = count.over(self.divisions).and_then(|q| q.over(Fraction::whole(4)));
        let time = quarters.and_then(|q| Time::new(q.numer(), q.denom())).filter(|t| holds(*t));
        time.map(Some).ok_or_else(|| error_at(element, "the duration does not fit a 64-bit fraction"))
    }

    /// The length that type, dots and tuplet say, where the duration is that rounded to a division.
    fn length(&self, element: Element<'_>, duration: Time) -> (Time, bool) {
        let told = || {
            let value = Value::named(element.child_text("type")?)?.length();
            let dots = element.all("dot").count().min(4) as u32;
            let dotted = value.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
            let Some(change) = element.child("time-modification") else { return Some(dotted) };
            let whole = |name: &str| change.child_text(name)?.parse::<i64>().ok().filter(|n| (1..=1000).contains(n));
            dotted.scaled(Fraction::new(whole("normal-notes")?, whole("actual-notes")?)?)
        };
        let Some(told) = told() else { return (duration, false) };
        let division = Fraction::ONE.over(self.divisions).and_then(|d| d.over(Fraction::whole(4)));
        let apart = told
            .minus(duration)
            .map(Time::wholes)
            .and_then(|d| if d < Fraction::ZERO { Fraction::ZERO.minus(d) } else { Some(d) });
        match (apart, division) {
            (Some(apart), Some(division)) if apart < division => (told, told != duration),
            _ => (duration, false),
        }
    }

    fn advance(&mut self, to: Time) {
        self.now = to;
        self.reach = self.reach.max(to);
        self.known.push(to);
    }

    pub(super) fn moved(&mut self, element: Element<'_>, back: bool) -> Result<(), FormatError> {
        let by = self.duration(element)?.unwrap_or(Time::ZERO);
        let to = if back { self.now.minus(by) } else { self.now.plus(by) };
        let mut to = to.ok_or_else(|| error_at(element, "the time does not fit a 64-bit fraction"))?.max(Time::ZERO);
        if self.rounded && self.known.len() < MAX_KNOWN_TIMES {
            // Sums of rounded durations miss the exact places by less than a division or two.
            let slack = Fraction::whole(2)
                .over(self.divisions)
                .and_then(|d| d.over(Fraction::whole(4)))
                .unwrap_or(Fraction::ZERO);
            let far =
                |t: Time| t.minus(to).map(Time::wholes).map_or(slack, |d| d.max(Fraction::ZERO.minus(d).unwrap_or(d)));
            let near =
                self.known.iter().copied().chain([Time::ZERO]).filter(|t| far(*t) < slack).min_by_key(|t| far(*t));
            to = near.unwrap_or(to);
        }
        // A step forward may run past the bar's end where nothing follows it; only what sounds or rests makes a bar longer.
        let reach = self.reach;
        self.advance(to);
        let bar = self.meter.as_ref().map_or(to, Meter::bar);
        self.reach = reach.max(to.min(bar));
        Ok(())
    }

    pub(super) fn note(&mut self, element: Element<'_>) -> Result<(), FormatError> {
        let chord = element.has("chord");
        if element.has("grace") {
            self.counts.grace += 1;
            return Ok(());
        }
        let Some(duration) = self.duration(element)? else {
            return Err(error_at(element, expected("a note with a duration", "none")));
        };
        let (length, rounded) = self.length(element, duration);
        self.rounded |= rounded;
        let at = if chord { self.last } else { self.now };
        let end = at.plus(length).filter(|t| holds(*t));
        let end = end.ok_or_else(|| error_at(element, "the time does not fit a 64-bit fraction"))?;
        self.last = at;
        if !chord {
            self.known.push(at);
            self.advance(end);
        }
        if element.has("rest") {
            return Ok(());
        }
        if element.has("cue") {
            self.counts.cue += 1;
            return Ok(());
        }
        self.counts.chord += usize::from(chord);
        let staff = element.child_text("staff").and_then(|s| s.parse::<u32>().ok()).unwrap_or(1);
        let key = self.key(element, staff)?;
        let instrument = element.child("instrument").and_then(|i| i.attribute("id"));
        let instrument = instrument.and_then(|id| self.part.instruments.iter().position(|i| i.id == id));
        let tie = |kind: &str| element.all("tie").any(|t| t.attribute("type") == Some(kind));
        let tuplet = element.has("time-modification");
        let same = (key.map_or_else(|| -1 - line(element), i32::from), instrument.map_or(0, |i| i as u32 + 1));
        let voice = (staff, element.child_text("voice").unwrap_or("1").to_owned());
        let joined = tie("stop").then(|| self.joined(same, &voice)).flatten();
        let index = if let Some(index) = joined {
            let note = &mut self.part.notes[index];
            let sum = note.length.plus(length).filter(|t| t.numer() <= 1 << 50);
            note.length = sum.ok_or_else(|| error_at(element, "the time does not fit a 64-bit fraction"))?;
            note.in_tuplet.1 = tuplet;
            index
        } else {
            let (measure, accent, in_tuplet) = (self.index, directions::accent(element), (tuplet, tuplet));
            let voice = voice.clone();
            self.part.notes.push(Note { measure, at, length, key, accent, voice, instrument, in_tuplet });
            self.part.notes.len() - 1
        };
        if tie("start") {
            let open = self.tied.entry(same).or_default();
            open.retain(|o| o.0 != voice);
            open.push((voice, index));
        }
        Ok(())
    }

    /// The note that a tie ends on: the voice's own, or else, since ties may change voices, the first that is open.
    fn joined(&mut self, same: (i32, u32), voice: &(u32, String)) -> Option<usize> {
        let open = self.tied.get_mut(&same)?;
        let own = open.iter().position(|o| o.0 == *voice).unwrap_or(0);
        (own < open.len()).then(|| open.remove(own).1)
    }

    fn key(&mut self, element: Element<'_>, staff: u32) -> Result<Option<u8>, FormatError> {
        let Some(pitch) = element.child("pitch") else { return Ok(None) };
        let step = match pitch.child_text("step").unwrap_or_default() {
            "C" => 0,
            "D" => 2,
            "E" => 4,
            "F" => 5,
            "G" => 7,
            "A" => 9,
            "B" => 11,
            other => {
                return Err(error_at(pitch, expected("a step from A to G", format!("{other:?}"))));
            }
        };
        let octave = number(pitch, "octave")?.filter(|o| o.denom() == 1 && (-2..=10).contains(&o.numer()));
        let Some(octave) = octave else {
            return Err(error_at(pitch, expected("a pitch with an octave from 0 to 9", "none")));
        };
        let alter = number(pitch, "alter")?.unwrap_or(Fraction::ZERO);
        self.counts.micro += usize::from(alter.denom() != 1);
        let moved = self.transpose.get(&staff).or_else(|| self.transpose.get(&0)).copied().unwrap_or(0);
        let key = (octave.numer() + 1) * 12 + step + alter.round().clamp(-24, 24) + i64::from(moved);
        let key = u8::try_from(key).ok().filter(|k| *k < 128);
        key.map(Some).ok_or_else(|| error_at(pitch, expected("a pitch within the MIDI keys 0 to 127", "another")))
    }
}

/// The place of an unpitched note on the staff, so that ties find their own line.
fn line(element: Element<'_>) -> i32 {
    let Some(place) = element.child("unpitched") else { return 0 };
    let step = place.child_text("display-step").and_then(|s| "CDEFGAB".find(s)).unwrap_or(0) as i32;
    let octave: i32 =
        place.child_text("display-octave").and_then(|o| o.parse().ok()).filter(|o| (0..10).contains(o)).unwrap_or(0);
    octave * 7 + step
}
