//! Reads one part: its notes at exact times.

mod measure_items;
mod note;
mod part_list;

pub(super) use part_list::read_declaration;

use super::directions;
use super::document::{Measure, Part, VoiceId};
use super::dom::{Element, ElementExt, error_at};
use crate::import::Warnings;
use crate::notation::FormatError;
use crate::rhythm::{Fraction, Meter, Time, count, expected};
use std::collections::HashMap;

struct PartReader<'a> {
    warnings: &'a mut Warnings,
    part: &'a mut Part,
    measures: &'a mut Vec<Measure>,
    /// Per quarter.
    divisions: Fraction,
    meter: Option<Meter>,
    /// Semitones from written to sounding pitch, by staff (0 for all).
    transpose: HashMap<u32, i32>,
    open_ties: HashMap<TieKey, Vec<OpenTie>>,
    /// The grace notes since the last note or rest.
    graces: Vec<GraceNote>,
    /// Those before the last note and the other notes of its chord.
    chord_graces: Vec<GraceNote>,
    /// From 0.
    measure_index: usize,
    /// From the start of the measure.
    position: Time,
    /// The furthest position reached.
    end: Time,
    /// Of the last note, for chords.
    last_onset: Time,
    /// Onsets and ends in this measure, to which rounded durations are matched.
    known_times: Vec<Time>,
    has_rounded_duration: bool,
    ending_passes: Vec<usize>,
    counts: Counts,
}

#[derive(PartialEq, Eq, Hash)]
struct TieKey {
    /// The MIDI key, or the place on the staff below zero.
    key: i32,
    instrument: Option<usize>,
}

#[derive(PartialEq, Eq)]
struct GraceNote {
    /// As that of a tie.
    key: i32,
    instrument: Option<usize>,
    voice: VoiceId,
    has_slash: bool,
}

struct OpenTie {
    voice: VoiceId,
    /// Index into the part's notes.
    note: usize,
}

/// Notes that were changed or dropped.
#[derive(Default)]
struct Counts {
    grace: usize,
    cue: usize,
    chord: usize,
    microtone: usize,
}

/// Reads the measures of a part; facts about a measure go to `measures`, which all parts share.
pub(super) fn read(
    warnings: &mut Warnings,
    part: &mut Part,
    measures: &mut Vec<Measure>,
    elements: &[Element<'_>],
) -> Result<(), FormatError> {
    let mut reader = PartReader {
        warnings,
        part,
        measures,
        divisions: Fraction::ONE,
        meter: None,
        transpose: HashMap::new(),
        open_ties: HashMap::new(),
        graces: Vec::new(),
        chord_graces: Vec::new(),
        measure_index: 0,
        position: Time::ZERO,
        end: Time::ZERO,
        last_onset: Time::ZERO,
        known_times: Vec::new(),
        has_rounded_duration: false,
        ending_passes: Vec::new(),
        counts: Counts::default(),
    };
    for (index, element) in elements.iter().copied().enumerate() {
        reader.measure(index, element)?;
    }
    reader.drop_graces();
    let Counts { grace, cue, chord, microtone } = reader.counts;
    let rows = [
        (grace, "grace note", "dropped"),
        (cue, "cue note", "dropped"),
        (chord, "note", "of chords moved to layers of their own"),
        (microtone, "note", "between semitones moved to the nearest"),
    ];
    for (n, what, message) in rows.into_iter().filter(|r| r.0 > 0) {
        reader.warnings.add(format!("part '{}'", reader.part.name), format!("{} {message}", count(n, what)));
    }
    Ok(())
}

impl PartReader<'_> {
    fn measure(&mut self, index: usize, element: Element<'_>) -> Result<(), FormatError> {
        self.measure_index = index;
        (self.position, self.end, self.last_onset, self.has_rounded_duration) =
            (Time::ZERO, Time::ZERO, Time::ZERO, false);
        self.known_times.clear();
        self.part.swings.push(self.part.swings.last().copied().flatten());
        if self.measures.len() <= index {
            let number = element.attribute("number").unwrap_or_default().to_owned();
            self.measures.push(Measure { number, ..Measure::default() });
        }
        let mut ending_stops = false;
        for child in element.children() {
            match child.tag_name().name() {
                "note" => self.note(child)?,
                "backup" => self.move_position(child, PositionMove::Backup)?,
                "forward" => self.move_position(child, PositionMove::Forward)?,
                "attributes" => self.attributes(child)?,
                "direction" => self.direction(child),
                "sound" => {
                    self.sound(child);
                    self.tempo(None, child.attribute("tempo").and_then(directions::parse_unrounded));
                }
                "barline" => ending_stops |= self.barline(child)?,
                _ => {}
            }
        }
        let measure = &mut self.measures[index];
        if measure.endings.is_empty() {
            measure.endings.clone_from(&self.ending_passes);
        }
        if ending_stops {
            self.ending_passes.clear();
        }
        measure.length = measure.length.max(self.end);
        let Some(meter) = &self.meter else { return Ok(()) };
        let earlier = measure.meter.get_or_insert_with(|| meter.clone());
        if *earlier != *meter {
            let name = &self.part.name;
            let message =
                format!("part '{name}' has the meter {meter}, but an earlier part has {earlier}, which is used");
            self.warnings.add(format!("measure {}", measure.number), message);
        }
        Ok(())
    }

    fn warn(&mut self, message: impl std::fmt::Display) {
        let place = format!("part '{}', measure {}", self.part.name, self.measures[self.measure_index].number);
        self.warnings.add(place, message);
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum PositionMove {
    Backup,
    Forward,
}

/// The number in the first child of a name.
fn number(parent: Element<'_>, name: &str) -> Result<Option<Fraction>, FormatError> {
    let Some(child) = parent.child(name) else { return Ok(None) };
    let text = child.trimmed_text();
    let found = || format!("{text:?}");
    directions::parse_decimal(text)
        .map(Some)
        .ok_or_else(|| error_at(child, expected(format!("a number in <{name}>"), found())))
}
