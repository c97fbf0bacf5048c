//! From a groove to the tables of its file, in the form the house writes.

use super::FORMAT;
use super::cells_field;
use super::read::{self, ONLY};
use crate::rhythm::{Fraction, Groove, Layer, Part, Pitch, Section, cell_notation, print_note_value};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, Value};

/// Characters up to which a drawing or a list of pitches stands on one line.
const WIDTH: usize = 96;

/// Prints a groove as a new file: beats apart, ` | ` between bars, long drawings over several lines of one to four bars.
pub fn print(groove: &Groove) -> String {
    let mut document = DocumentMut::new();
    let root = document.as_table_mut();
    put(root, "format", Value::from(FORMAT));
    put(root, "title", Value::from(groove.title()));
    if !groove.note().is_empty() {
        put(root, "note", Value::from(groove.note()));
    }
    let several = groove.sections().len() > 1;
    let mut sections = ArrayOfTables::new();
    groove.sections().iter().for_each(|s| sections.push(section(s, several)));
    root.insert("section", Item::ArrayOfTables(sections));
    if !groove.layers().is_empty() {
        let mut layers = ArrayOfTables::new();
        for l in groove.layers() {
            let mut table = layer(l);
            if several {
                parts(&mut table, groove.sections(), l);
            } else {
                draw(&mut table, &groove.sections()[0], l.division, &l.parts[0]);
            }
            layers.push(table);
        }
        root.insert("layer", Item::ArrayOfTables(layers));
    }
    document.to_string()
}

fn put(table: &mut Table, key: &str, value: Value) {
    table.insert(key, Item::Value(value));
}

/// A section's table.
pub(super) fn section(section: &Section, several: bool) -> Table {
    let mut table = Table::new();
    if several || section.name != ONLY {
        put(&mut table, "name", Value::from(&section.name));
    }
    put(&mut table, "meter", Value::from(section.meter.to_string()));
    put(&mut table, "tempo", bpm(section.tempo.bpm()));
    if section.tempo.unit() != section.meter.beat() {
        put(&mut table, "beat", Value::from(print_note_value(section.tempo.unit())));
    }
    put(&mut table, "bars", Value::from(i64::from(section.bars)));
    if section.times != 1 {
        put(&mut table, "times", Value::from(i64::from(section.times)));
    }
    if let Some(swing) = section.swing {
        put(&mut table, "swing", Value::from(swing.to_string()));
    }
    table
}

/// A layer's table without its cells.
pub(super) fn layer(layer: &Layer) -> Table {
    let mut table = Table::new();
    put(&mut table, "name", Value::from(&layer.name));
    put(&mut table, "voice", Value::from(layer.voice.name()));
    if let Some(sound) = &layer.sound {
        put(&mut table, "sound", Value::from(sound));
    }
    put(&mut table, "division", Value::from(i64::from(layer.division)));
    let gain = Some(i64::from(layer.gain)).filter(|g| *g != 0);
    let pan = Some(i64::from(layer.pan)).filter(|p| *p != 0);
    for (key, number) in [("gain", gain), ("accent-depth", layer.depth.map(i64::from)), ("pan", pan)] {
        if let Some(number) = number {
            put(&mut table, key, Value::from(number));
        }
    }
    for (key, flag) in [("mute", layer.mute), ("solo", layer.solo)] {
        if flag {
            put(&mut table, key, Value::from(true));
        }
    }
    if let Some(swing) = layer.swing {
        put(&mut table, "swing", Value::from(swing.to_string()));
    }
    table
}

fn parts(table: &mut Table, sections: &[Section], layer: &Layer) {
    let mut parts = ArrayOfTables::new();
    for (section, drawn) in sections.iter().zip(&layer.parts) {
        parts.extend(part(section, layer.division, drawn));
    }
    if !parts.is_empty() {
        table.insert("part", Item::ArrayOfTables(parts));
    }
}

/// The table of a layer's part in one of several sections; none for rests.
pub(super) fn part(section: &Section, division: u16, part: &Part) -> Option<Table> {
    if *part == Part::rests(read::context(section, division)) {
        return None;
    }
    let mut table = Table::new();
    put(&mut table, "section", Value::from(&section.name));
    draw(&mut table, section, division, part);
    Some(table)
}

fn draw(table: &mut Table, section: &Section, division: u16, part: &Part) {
    if let Part::Cycled { start, .. } = part {
        put(table, "cycle", cells(section, division, part));
        if *start > 0 {
            put(table, "start", Value::from(i64::from(*start) + 1));
        }
    } else if *part != Part::rests(read::context(section, division)) {
        put(table, "cells", cells(section, division, part));
    }
    if let Some(text) = pitches(part, |pitch| pitch.to_string()) {
        put(table, "pitches", text);
    }
}

/// A tempo: a number where one is exact, else a string such as "400/3".
pub(super) fn bpm(bpm: Fraction) -> Value {
    let text = bpm.to_string();
    if text.contains('/') { Value::from(text) } else { text.parse().unwrap_or_else(|_| Value::from(text)) }
}

/// A part's cells as a string.
pub(super) fn cells(section: &Section, division: u16, part: &Part) -> Value {
    let text = cell_notation::print_part(part, &section.meter, division, true);
    if text.len() <= WIDTH {
        return Value::from(text);
    }
    if part.is_cycle() {
        let marks: Vec<char> = text.chars().collect();
        return literal(&marks.chunks(WIDTH).map(String::from_iter).collect::<Vec<_>>().join("\n"));
    }
    let bars: Vec<&str> = text.split(" | ").collect();
    let longest = bars.iter().map(|b| b.len()).max().unwrap_or(0);
    let per_line = [4, 2].into_iter().find(|n| n * (longest + 3) <= WIDTH).unwrap_or(1);
    literal(&bars.chunks(per_line).map(|bars| bars.join(" | ")).collect::<Vec<_>>().join(" |\n"))
}

/// The pitches of a part's attacks as a string, if any has one.
pub(super) fn pitches(part: &Part, spell: impl Fn(Pitch) -> String) -> Option<Value> {
    let attacks: Vec<_> = part.stored().iter().filter_map(|c| c.attack()).collect();
    if attacks.iter().all(|a| a.pitch.is_none()) {
        return None;
    }
    let mut lines = vec![String::new()];
    for attack in attacks {
        let word = attack.pitch.map_or(".".to_owned(), &spell);
        let line = lines.last_mut().expect("there is a first line");
        if line.is_empty() {
            line.push_str(&word);
        } else if line.len() + 1 + word.len() <= WIDTH {
            line.push(' ');
            line.push_str(&word);
        } else {
            lines.push(word);
        }
    }
    Some(if lines.len() == 1 { Value::from(lines.remove(0)) } else { literal(&lines.join("\n")) })
}

/// A string over several lines. The text has no quotes and no backslashes.
fn literal(text: &str) -> Value {
    if !text.contains('\n') {
        return Value::from(text);
    }
    format!("\"\"\"\n{text}\"\"\"").parse().unwrap_or_else(|_| Value::from(text))
}

/// A line of groups as a string, if the part is one.
pub(super) fn groups(part: &Part, division: u16) -> Option<Value> {
    cells_field::groups(part, division).map(Value::from)
}
