//! One part of a document to notes at exact times. It must not know repeats, sections or layers.

use super::mark;
use super::place::Reading;
use super::tree::Element;
use super::written::{Instrument, Measure, Note, Part};
use crate::exchange::finding::Refused;
use crate::exchange::score::Value;
use crate::rhythm::{Fraction, Meter, Time};
use std::collections::HashMap;

/// Most places of a measure among which the one that a rounded step means is looked for.
const CROWD: usize = 4096;
/// Most instruments of a part.
const INSTRUMENTS: usize = 256;

/// What the pen carries through a part.
struct Pen<'a, 'b> {
    reading: &'a mut Reading<'b>,
    part: &'a mut Part,
    /// Where a measure's facts go; the same for all parts.
    measures: &'a mut Vec<Measure>,
    divisions: Fraction,
    meter: Option<Meter>,
    /// Semitones from what is written to what sounds, by staff (0 for all).
    transpose: HashMap<u32, i32>,
    /// Notes tied to what follows: by key (or place on the staff) and voice, index into the part's notes.
    tied: HashMap<(i32, u32), usize>,
    index: usize,
    now: Time,
    /// The furthest point reached.
    reach: Time,
    /// Start of the last note, for chords.
    last: Time,
    /// Onsets and ends in this measure, where durations are rounded.
    known: Vec<Time>,
    rounded: bool,
    ending: Vec<usize>,
    counts: Counts,
}

/// What was left out of a part, to be told once.
#[derive(Default)]
struct Counts {
    grace: usize,
    cue: usize,
    chord: usize,
    micro: usize,
}

/// Whether sums of such times stay far within 64 bits.
fn holds(t: Time) -> bool {
    t.denom() <= 1 << 40 && t.numer() <= 1 << 46
}

/// Reads the measures of a part.
pub(super) fn read(
    reading: &mut Reading<'_>,
    part: &mut Part,
    measures: &mut Vec<Measure>,
    found: &[&Element],
) -> Result<(), Refused> {
    let mut pen = Pen {
        reading,
        part,
        measures,
        divisions: Fraction::ONE,
        meter: None,
        transpose: HashMap::new(),
        tied: HashMap::new(),
        index: 0,
        now: Time::ZERO,
        reach: Time::ZERO,
        last: Time::ZERO,
        known: Vec::new(),
        rounded: false,
        ending: Vec::new(),
        counts: Counts::default(),
    };
    for (index, element) in found.iter().enumerate() {
        pen.measure(index, element)?;
    }
    let Counts { grace, cue, chord, micro } = pen.counts;
    let rows = [
        (grace, "grace notes, which have no length: left out"),
        (cue, "cue notes, which are not played: left out"),
        (chord, "notes in chords: each further note of a chord comes on a layer of its own"),
        (micro, "notes between the semitones: put on the nearest"),
    ];
    for (count, words) in rows.into_iter().filter(|r| r.0 > 0) {
        let place = format!("part '{}'", pen.part.name);
        pen.reading.remark(place, format!("found {count} {words}"));
    }
    Ok(())
}

impl Pen<'_, '_> {
    fn refuse(&self, element: &Element, words: impl Into<String>) -> Refused {
        self.reading.refuse(element, words)
    }

    fn measure(&mut self, index: usize, element: &Element) -> Result<(), Refused> {
        self.index = index;
        (self.now, self.reach, self.last, self.rounded) = (Time::ZERO, Time::ZERO, Time::ZERO, false);
        self.known.clear();
        if self.measures.len() <= index {
            let number = element.attribute("number").unwrap_or_default().to_owned();
            self.measures.push(Measure { number, ..Measure::default() });
        }
        let mut stops = false;
        for child in &element.children {
            match &*child.name {
                "note" => self.note(child)?,
                "backup" => self.moved(child, true)?,
                "forward" => self.moved(child, false)?,
                "attributes" => self.attributes(child)?,
                "direction" => self.direction(child),
                "sound" => {
                    self.sound(child);
                    self.tempo(None, child.attribute("tempo").and_then(mark::decimal));
                }
                "barline" => stops |= self.barline(child)?,
                _ => {}
            }
        }
        let endings = self.ending.clone();
        let measure = &mut self.measures[index];
        if measure.endings.is_empty() {
            measure.endings = endings;
        }
        if stops {
            self.ending.clear();
        }
        measure.length = measure.length.max(self.reach);
        if let Some(meter) = &self.meter {
            match &measure.meter {
                None => measure.meter = Some(meter.clone()),
                Some(other) if other != meter => {
                    let words = format!(
                        "part '{}' has the meter {meter}, the parts above {other}, which is taken",
                        self.part.name
                    );
                    let place = format!("measure {}", measure.number);
                    self.reading.remark(place, words);
                }
                Some(_) => {}
            }
        }
        Ok(())
    }

    fn number(&self, parent: &Element, name: &str) -> Result<Option<Fraction>, Refused> {
        let Some(child) = parent.child(name) else { return Ok(None) };
        let text = child.text.trim();
        let parsed = Fraction::parse(text).filter(|_| !text.contains('/'));
        parsed.map(Some).ok_or_else(|| self.refuse(child, format!("found {text:?} as <{name}>, expected a number")))
    }

    /// A duration in whole notes.
    fn duration(&self, element: &Element) -> Result<Option<Time>, Refused> {
        let Some(count) = self.number(element, "duration")? else { return Ok(None) };
        if count < Fraction::ZERO {
            return Err(self.refuse(element, "found a negative duration"));
        }
        let quarters = count.over(self.divisions).and_then(|q| q.over(Fraction::whole(4)));
        let time = quarters.and_then(|q| Time::new(q.numer(), q.denom())).filter(|t| holds(*t));
        time.map(Some).ok_or_else(|| self.refuse(element, "found a duration that cannot be held exactly"))
    }

    /// The length that type, dots and tuplet say, where the duration is that rounded to a division.
    fn length(&self, element: &Element, duration: Time) -> (Time, bool) {
        let told = || {
            let value = Value::named(element.said("type")?)?.length();
            let dots = element.all("dot").count().min(4) as u32;
            let dotted = value.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
            let Some(change) = element.child("time-modification") else { return Some(dotted) };
            let whole = |name: &str| change.said(name)?.parse::<i64>().ok().filter(|n| (1..=1000).contains(n));
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

    fn moved(&mut self, element: &Element, back: bool) -> Result<(), Refused> {
        let by = self.duration(element)?.unwrap_or(Time::ZERO);
        let to = if back { self.now.minus(by) } else { self.now.plus(by) };
        let mut to =
            to.ok_or_else(|| self.refuse(element, "found a time that cannot be held exactly"))?.max(Time::ZERO);
        if self.rounded && self.known.len() < CROWD {
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

    fn note(&mut self, element: &Element) -> Result<(), Refused> {
        let chord = element.has("chord");
        if element.has("grace") {
            self.counts.grace += 1;
            return Ok(());
        }
        let Some(duration) = self.duration(element)? else {
            return Err(self.refuse(element, "found a note without duration"));
        };
        let (length, rounded) = self.length(element, duration);
        self.rounded |= rounded;
        let at = if chord { self.last } else { self.now };
        let end = at.plus(length).filter(|t| holds(*t));
        let end = end.ok_or_else(|| self.refuse(element, "found a time that cannot be held exactly"))?;
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
        let staff = element.said("staff").and_then(|s| s.parse::<u32>().ok()).unwrap_or(1);
        let key = self.key(element, staff)?;
        let instrument = element.child("instrument").and_then(|i| i.attribute("id"));
        let instrument = instrument.and_then(|id| self.part.instruments.iter().position(|i| i.id == id));
        let tie = |kind: &str| element.all("tie").any(|t| t.attribute("type") == Some(kind));
        let tuplet = element.has("time-modification");
        let same = (key.map_or_else(|| -1 - line(element), i32::from), instrument.map_or(0, |i| i as u32 + 1));
        let joined = tie("stop").then(|| self.tied.remove(&same)).flatten();
        let index = if let Some(index) = joined {
            let note = &mut self.part.notes[index];
            let sum = note.length.plus(length).filter(|t| t.numer() <= 1 << 50);
            note.length =
                sum.ok_or_else(|| self.reading.refuse(element, "found a time that cannot be held exactly"))?;
            note.in_tuplet.1 = tuplet;
            index
        } else {
            let voice = (staff, element.said("voice").unwrap_or("1").to_owned());
            let accent = mark::accent(element);
            let note =
                Note { measure: self.index, at, length, key, accent, voice, instrument, in_tuplet: (tuplet, tuplet) };
            self.part.notes.push(note);
            self.part.notes.len() - 1
        };
        if tie("start") {
            self.tied.insert(same, index);
        }
        Ok(())
    }

    fn key(&mut self, element: &Element, staff: u32) -> Result<Option<u8>, Refused> {
        let Some(pitch) = element.child("pitch") else { return Ok(None) };
        let step = match pitch.said("step").unwrap_or_default() {
            "C" => 0,
            "D" => 2,
            "E" => 4,
            "F" => 5,
            "G" => 7,
            "A" => 9,
            "B" => 11,
            other => {
                return Err(self.refuse(pitch, format!("found {other:?} as a step, expected a letter from A to G")));
            }
        };
        let octave = self.number(pitch, "octave")?.filter(|o| o.denom() == 1 && (-2..=10).contains(&o.numer()));
        let Some(octave) = octave else {
            return Err(self.refuse(pitch, "found a pitch without an octave from 0 to 9"));
        };
        let alter = self.number(pitch, "alter")?.unwrap_or(Fraction::ZERO);
        self.counts.micro += usize::from(alter.denom() != 1);
        let moved = self.transpose.get(&staff).or_else(|| self.transpose.get(&0)).copied().unwrap_or(0);
        let key = (octave.numer() + 1) * 12 + step + alter.round().clamp(-24, 24) + i64::from(moved);
        let key = u8::try_from(key).ok().filter(|k| *k < 128);
        key.map(Some).ok_or_else(|| self.refuse(pitch, "found a pitch beyond the keys 0 to 127"))
    }

    fn attributes(&mut self, element: &Element) -> Result<(), Refused> {
        if let Some(divisions) = self.number(element, "divisions")? {
            if divisions <= Fraction::ZERO || divisions.numer() > 1 << 44 || divisions.denom() > 1_000_000 {
                return Err(self
                    .refuse(element, format!("found {divisions} divisions of a quarter, expected a number above 0")));
            }
            self.divisions = divisions;
        }
        if let Some(time) = element.child("time") {
            self.meter = mark::meter(self.reading, time)?;
            if self.meter.is_none() {
                let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
                self.reading
                    .remark(place, "music without a meter: every measure is as long as what stands in it".into());
            }
        }
        for transpose in element.all("transpose") {
            let chromatic = self.number(transpose, "chromatic")?.unwrap_or(Fraction::ZERO).round();
            let octaves = self.number(transpose, "octave-change")?.unwrap_or(Fraction::ZERO).round();
            let staff = transpose.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(0);
            self.transpose.insert(staff, (chromatic.clamp(-60, 60) + 12 * octaves.clamp(-5, 5)) as i32);
        }
        Ok(())
    }

    fn direction(&mut self, element: &Element) {
        for kind in element.all("direction-type") {
            if let Some(mark) = kind.child("rehearsal").map(|r| r.text.trim()).filter(|t| !t.is_empty()) {
                self.measures[self.index].mark.get_or_insert_with(|| mark.to_owned());
            }
            for words in kind.all("words") {
                if mark::about_swing(&words.text) {
                    self.part.swings.push((self.index, None));
                }
            }
        }
        let sound = element.child("sound");
        if let Some(sound) = sound {
            self.sound(sound);
        }
        let mark = element.all("direction-type").find_map(|k| k.child("metronome"));
        let tempo = mark.and_then(mark::metronome);
        let told = sound.and_then(|s| s.attribute("tempo")).and_then(mark::decimal);
        self.tempo(tempo, told);
    }

    fn sound(&mut self, sound: &Element) {
        for jump in ["dacapo", "dalsegno", "tocoda", "fine"] {
            if sound.attribute(jump).is_some() {
                let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
                self.reading.remark(
                    place,
                    format!("found the jump '{jump}', which is not followed; the measures come in the order written"),
                );
            }
        }
        if let Some(swing) = sound.child("swing") {
            self.part.swings.retain(|s| s.0 != self.index);
            self.part.swings.push((self.index, mark::swing(swing)));
        }
    }

    /// A written mark is taken before the number of quarters for playing, unless they are far apart.
    fn tempo(&mut self, written: Option<crate::rhythm::Tempo>, quarters: Option<Fraction>) {
        let Some(tempo) = mark::tempo(written, quarters, self.meter.as_ref()) else { return };
        if self.now != Time::ZERO {
            let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
            let words = format!(
                "the tempo changes within the measure, at {} of a whole note; it is taken from its start",
                self.now
            );
            self.reading.remark(place, words);
        }
        let held = &mut self.measures[self.index].tempo;
        if held.is_none() || written.is_some() {
            *held = Some(tempo);
        }
    }

    /// Whether the ending that is open stops after this measure.
    fn barline(&mut self, element: &Element) -> Result<bool, Refused> {
        let mut stops = false;
        if let Some(ending) = element.child("ending") {
            match ending.attribute("type") {
                Some("start") => {
                    let numbers = ending.attribute("number").unwrap_or_default();
                    let list = numbers.split([',', ' ']).filter(|n| !n.is_empty());
                    self.ending =
                        list.filter_map(|n| n.trim_end_matches('.').parse().ok()).filter(|n| *n <= 64).collect();
                }
                _ => stops = true,
            }
        }
        if let Some(repeat) = element.child("repeat") {
            let measure = &mut self.measures[self.index];
            match repeat.attribute("direction") {
                Some("forward") => measure.forward = true,
                Some("backward") => {
                    let times = repeat.attribute("times").map(str::parse::<usize>);
                    if times.as_ref().is_some_and(|t| t.as_ref().map_or(true, |t| !(1..=64).contains(t))) {
                        return Err(self
                            .reading
                            .refuse(repeat, "found a repeat whose times are no number from 1 to 64"));
                    }
                    measure.backward = Some(times.and_then(Result::ok));
                }
                _ => {}
            }
        }
        Ok(stops)
    }
}

/// The place of an unpitched note on the staff, so that ties find their own line.
fn line(element: &Element) -> i32 {
    let Some(place) = element.child("unpitched") else { return 0 };
    let step = place.said("display-step").and_then(|s| "CDEFGAB".find(s)).unwrap_or(0) as i32;
    let octave: i32 =
        place.said("display-octave").and_then(|o| o.parse().ok()).filter(|o| (0..10).contains(o)).unwrap_or(0);
    octave * 7 + step
}

/// The instruments, gain and place that a part's head tells.
pub(super) fn head(element: &Element) -> Part {
    let text = |name: &str| element.said(name).unwrap_or_default().to_owned();
    let mut instruments: Vec<Instrument> = element
        .all("score-instrument")
        .take(INSTRUMENTS)
        .map(|i| Instrument {
            id: i.attribute("id").unwrap_or_default().into(),
            name: i.said("instrument-name").unwrap_or_default().into(),
            ..Instrument::default()
        })
        .collect();
    let (mut gain, mut pan) = (None, None);
    for midi in element.all("midi-instrument") {
        let id = midi.attribute("id").unwrap_or_default();
        let number = |name: &str| midi.said(name).and_then(|t| t.parse::<f64>().ok()).filter(|x| x.is_finite());
        if let Some(found) = instruments.iter_mut().find(|i| i.id == id) {
            found.program = number("midi-program").filter(|x| (1.0..=128.0).contains(x)).map(|x| x as u8);
            found.key = number("midi-unpitched").filter(|x| (1.0..=128.0).contains(x)).map(|x| x as u8 - 1);
        }
        gain = gain.or(number("volume")
            .filter(|x| (0.0..=100.0).contains(x))
            .map(|x| (20.0 * (x / 100.0).log10()).round().max(-60.0) as i8));
        pan = pan.or(number("pan")
            .filter(|x| (-180.0..=180.0).contains(x))
            .map(|x| (x / 0.9).round().clamp(-100.0, 100.0) as i8));
    }
    Part { name: text("part-name"), gain, pan, instruments, ..Part::default() }
}
