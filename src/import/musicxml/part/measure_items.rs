//! Reads attributes, directions, sound elements and bar lines.

use super::{PartReader, number};
use crate::import::musicxml::directions;
use crate::import::musicxml::dom::{Children, Element, error_at};
use crate::notation::FormatError;
use crate::rhythm::{Fraction, Time, expected};

impl PartReader<'_> {
    pub(super) fn attributes(&mut self, element: Element<'_>) -> Result<(), FormatError> {
        if let Some(divisions) = number(element, "divisions")? {
            if divisions <= Fraction::ZERO || divisions.numer() > 1 << 44 || divisions.denom() > 1_000_000 {
                return Err(error_at(element, expected("a number of divisions above 0", divisions)));
            }
            self.divisions = divisions;
        }
        if let Some(time) = element.child("time") {
            self.meter = directions::meter(time)?;
            if self.meter.is_none() {
                let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
                self.warnings.add(place, "unmetered music: every measure is as long as its content".into());
            }
        }
        for transpose in element.all("transpose") {
            let chromatic = number(transpose, "chromatic")?.unwrap_or(Fraction::ZERO).round();
            let octaves = number(transpose, "octave-change")?.unwrap_or(Fraction::ZERO).round();
            let staff = transpose.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(0);
            self.transpose.insert(staff, (chromatic.clamp(-60, 60) + 12 * octaves.clamp(-5, 5)) as i32);
        }
        Ok(())
    }

    pub(super) fn direction(&mut self, element: Element<'_>) {
        for kind in element.all("direction-type") {
            if let Some(mark) = kind.child("rehearsal").map(Children::trimmed).filter(|t| !t.is_empty()) {
                self.measures[self.index].mark.get_or_insert_with(|| mark.to_owned());
            }
            for words in kind.all("words") {
                if directions::about_swing(words.trimmed()) {
                    self.part.swings.push((self.index, None));
                }
            }
        }
        let sound = element.child("sound");
        if let Some(sound) = sound {
            self.sound(sound);
        }
        let mark = element.all("direction-type").find_map(|k| k.child("metronome"));
        let tempo = mark.and_then(directions::metronome);
        let told = sound.and_then(|s| s.attribute("tempo")).and_then(directions::decimal);
        self.tempo(tempo, told);
    }

    pub(super) fn sound(&mut self, sound: Element<'_>) {
        for jump in ["dacapo", "dalsegno", "tocoda", "fine"] {
            if sound.attribute(jump).is_some() {
                let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
                self.warnings
                    .add(place, format!("the jump '{jump}' is not followed; measures keep their written order"));
            }
        }
        if let Some(swing) = sound.child("swing") {
            self.part.swings.retain(|s| s.0 != self.index);
            self.part.swings.push((self.index, directions::swing(swing)));
        }
    }

    /// A written mark is taken before the number of quarters for playing, unless they are far apart.
    pub(super) fn tempo(&mut self, written: Option<crate::rhythm::Tempo>, quarters: Option<Fraction>) {
        let Some(tempo) = directions::tempo(written, quarters, self.meter.as_ref()) else { return };
        if self.now != Time::ZERO {
            let place = format!("part '{}', measure {}", self.part.name, self.measures[self.index].number);
            let message = format!(
                "the tempo changes within the measure, at {} of a whole note; it was moved to the start of the measure",
                self.now
            );
            self.warnings.add(place, message);
        }
        let held = &mut self.measures[self.index].tempo;
        if held.is_none() || written.is_some() {
            *held = Some(tempo);
        }
    }

    /// Whether the ending that is open stops after this measure.
    pub(super) fn barline(&mut self, element: Element<'_>) -> Result<bool, FormatError> {
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
                        return Err(error_at(repeat, expected("a repeat count from 1 to 64", "another")));
                    }
                    measure.backward = Some(times.and_then(Result::ok).unwrap_or(2));
                }
                _ => {}
            }
        }
        Ok(stops)
    }
}
