//! Reads one part: its notes at exact times.

mod measure_items;
mod note;
mod part_list;

pub(super) use part_list::head;

use super::directions;
use super::document::{Measure, Part};
use super::dom::{Children, Element, error_at};
use super::warnings::Warnings;
use crate::notation::{FormatError, count};
use crate::rhythm::{Fraction, Meter, Time, expected};
use std::collections::HashMap;

/// Staff and voice as written.
type Voice = (u32, String);

/// What the reader carries through a part.
struct PartReader<'a> {
    warnings: &'a mut Warnings,
    part: &'a mut Part,
    /// Where a measure's facts go; the same for all parts.
    measures: &'a mut Vec<Measure>,
    divisions: Fraction,
    meter: Option<Meter>,
    /// Semitones from what is written to what sounds, by staff (0 for all).
    transpose: HashMap<u32, i32>,
    /// Notes tied to what follows: by key (or place on the staff) and instrument, the staff and voice of each that is open and its
    /// index into the part's notes.
    tied: HashMap<(i32, u32), Vec<(Voice, usize)>>,
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

/// Reads the measures of a part.
pub(super) fn read(
    warnings: &mut Warnings,
    part: &mut Part,
    measures: &mut Vec<Measure>,
    found: &[Element<'_>],
) -> Result<(), FormatError> {
    let mut reader = PartReader {
        warnings,
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
    for (index, element) in found.iter().copied().enumerate() {
        reader.measure(index, element)?;
    }
    let Counts { grace, cue, chord, micro } = reader.counts;
    let rows = [
        (grace, "grace note", "dropped"),
        (cue, "cue note", "dropped"),
        (chord, "note", "of chords moved to layers of their own"),
        (micro, "note", "between semitones moved to the nearest"),
    ];
    for (n, what, message) in rows.into_iter().filter(|r| r.0 > 0) {
        let place = format!("part '{}'", reader.part.name);
        reader.warnings.add(place, format!("{} {message}", count(n, what)));
    }
    Ok(())
}

impl PartReader<'_> {
    fn measure(&mut self, index: usize, element: Element<'_>) -> Result<(), FormatError> {
        self.index = index;
        (self.now, self.reach, self.last, self.rounded) = (Time::ZERO, Time::ZERO, Time::ZERO, false);
        self.known.clear();
        if self.measures.len() <= index {
            let number = element.attribute("number").unwrap_or_default().to_owned();
            self.measures.push(Measure { number, ..Measure::default() });
        }
        let mut stops = false;
        for child in element.children() {
            match child.tag_name().name() {
                "note" => self.note(child)?,
                "backup" => self.moved(child, true)?,
                "forward" => self.moved(child, false)?,
                "attributes" => self.attributes(child)?,
                "direction" => self.direction(child),
                "sound" => {
                    self.sound(child);
                    self.tempo(None, child.attribute("tempo").and_then(directions::decimal));
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
                    let message = format!(
                        "part '{}' has the meter {meter}, an earlier part {other}; the earlier one is used",
                        self.part.name
                    );
                    let place = format!("measure {}", measure.number);
                    self.warnings.add(place, message);
                }
                Some(_) => {}
            }
        }
        Ok(())
    }
}

/// The number in the first child of a name.
fn number(parent: Element<'_>, name: &str) -> Result<Option<Fraction>, FormatError> {
    let Some(child) = parent.child(name) else { return Ok(None) };
    let text = child.trimmed();
    let parsed = Fraction::parse(text).filter(|_| !text.contains('/'));
    parsed.map(Some).ok_or_else(|| error_at(child, expected(format!("a number in <{name}>"), format!("{text:?}"))))
}
