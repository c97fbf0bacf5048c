//! Reads attributes, directions, sound elements and bar lines.

use super::{PartReader, number};
use crate::import::musicxml::directions::{self, Metronome};
use crate::import::musicxml::dom::{Element, ElementExt, error_at};
use crate::notation::FormatError;
use crate::rhythm::{Fraction, Swing, Time, expected};

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
                self.warn("unmetered music: every measure is as long as its content");
            }
        }
        for transpose in element.children_named("transpose") {
            let chromatic = number(transpose, "chromatic")?.unwrap_or(Fraction::ZERO).round();
            let octaves = number(transpose, "octave-change")?.unwrap_or(Fraction::ZERO).round();
            let staff = transpose.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(0);
            self.transpose.insert(staff, (chromatic.clamp(-60, 60) + 12 * octaves.clamp(-5, 5)) as i32);
        }
        Ok(())
    }

    pub(super) fn direction(&mut self, element: Element<'_>) {
        let sound = element.child("sound");
        for kind in element.children_named("direction-type") {
            if let Some(mark) = kind.child("rehearsal").map(ElementExt::trimmed_text).filter(|t| !t.is_empty()) {
                self.measures[self.measure_index].rehearsal_mark.get_or_insert_with(|| mark.to_owned());
            }
            for words in kind.children_named("words") {
                // Our own words have no note value, so they only end the swing before; a playback instruction sets one.
                let text = words.trimmed_text();
                let swing = text.strip_prefix("swing ").and_then(Swing::parse);
                if swing.is_none() && text != "straight" {
                    continue;
                }
                self.part.swings[self.measure_index] = None;
                if let Some(swing) = swing.filter(|_| sound.is_none_or(|s| !s.has_child("swing"))) {
                    self.warn(format!("'swing {swing}' is written in words only; read as straight"));
                }
            }
        }
        if let Some(sound) = sound {
            self.sound(sound);
        }
        let mark = element.children_named("direction-type").find_map(|k| k.child("metronome"));
        let quarters = sound.and_then(|s| s.attribute("tempo")).and_then(directions::parse_unrounded);
        self.tempo(mark.and_then(directions::metronome), quarters);
    }

    pub(super) fn sound(&mut self, sound: Element<'_>) {
        for jump in ["dacapo", "dalsegno", "tocoda", "fine"] {
            if sound.attribute(jump).is_some() {
                self.warn(format!("the jump '{jump}' is not followed; measures keep their written order"));
            }
        }
        if let Some(swing) = sound.child("swing") {
            self.part.swings[self.measure_index] = directions::swing(swing);
        }
    }

    /// Sets the tempo from a written mark and from a number of quarters per minute, either of which may be missing.
    pub(super) fn tempo(&mut self, written: Option<Metronome>, quarters: Option<Fraction>) {
        let is_written = written.is_some();
        let Some(tempo) = directions::tempo(written, quarters, self.meter.as_ref()) else { return };
        if self.position != Time::ZERO {
            self.warn(format!(
                "the tempo changes within the measure, at {} of a whole note; it was moved to the start of the measure",
                self.position
            ));
        }
        let of_measure = &mut self.measures[self.measure_index].tempo;
        if of_measure.is_none() || is_written {
            *of_measure = Some(tempo);
        }
    }

    /// Reads a bar line and returns whether an ending stops at it.
    pub(super) fn barline(&mut self, element: Element<'_>) -> Result<bool, FormatError> {
        let mut ending_stops = false;
        if let Some(ending) = element.child("ending") {
            if ending.attribute("type") == Some("start") {
                let numbers = ending.attribute("number").unwrap_or_default().split([',', ' ']);
                let passes = numbers.filter_map(|n| n.trim_end_matches('.').parse::<usize>().ok());
                self.ending_passes = passes.filter(|n| *n <= 64).collect();
            } else {
                ending_stops = true;
            }
        }
        if let Some(repeat) = element.child("repeat") {
            let measure = &mut self.measures[self.measure_index];
            match repeat.attribute("direction") {
                Some("forward") => measure.repeat_start = true,
                Some("backward") => {
                    let text = repeat.attribute("times").unwrap_or("2");
                    let times = text.parse::<usize>().ok().filter(|t| (1..=64).contains(t));
                    let invalid = || error_at(repeat, expected("a repeat count from 1 to 64", format!("{text:?}")));
                    measure.repeat_count = Some(times.ok_or_else(invalid)?);
                }
                _ => {}
            }
        }
        Ok(ending_stops)
    }
}
