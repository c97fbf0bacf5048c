//! Prints a groove as the text of its file.

use super::FORMAT;
use super::read::{self, DEFAULT_DIVISION, DEFAULT_SECTION, PART_KEYS};
use super::recording_table;
use super::update;
use crate::rhythm::{Fraction, Groove, Layer, Part, Pitch, Section, cell_notation, is_hidden, print_note_value};
use std::fmt::Write as _;
use std::sync::Arc;
use toml_edit::{DocumentMut, Item, Table, Value};

/// Longest line of cells or pitches, in characters.
const MAX_WIDTH: usize = 96;

/// A key of a section or layer with its value.
pub(super) struct Field {
    pub(super) key: &'static str,
    /// `None` removes the key.
    pub(super) value: Option<Value>,
    /// Whether the reader assumes this value where the key is missing.
    pub(super) is_default: bool,
}

fn field(key: &'static str, value: impl Into<Value>, is_default: bool) -> Field {
    Field { key, value: Some(value.into()), is_default }
}

fn optional(key: &'static str, value: Option<impl Into<Value>>) -> Field {
    Field { key, is_default: value.is_none(), value: value.map(Into::into) }
}

/// The keys of a section of a groove with this many, in order.
pub(super) fn section_fields(section: &Section, sections: usize) -> [Field; 7] {
    let (tempo, beat) = (section.tempo, section.meter.beat());
    [
        field("name", string(&section.name), sections == 1 && section.name == DEFAULT_SECTION),
        field("meter", section.meter.to_string(), false),
        field("tempo", bpm(tempo.bpm()), false),
        field("beat", print_note_value(tempo.unit()), tempo.unit() == beat),
        field("bars", i64::from(section.bars), false),
        field("times", i64::from(section.times), section.times == 1),
        optional("swing", section.swing.map(|s| s.to_string())),
    ]
}

/// The keys of a layer besides its cells, in order; its parts have their own divisions where they differ from this one.
pub(super) fn layer_fields(layer: &Layer, division: u16) -> [Field; 10] {
    [
        field("name", string(&layer.name), false),
        field("voice", layer.voice.name(), false),
        optional("sound", layer.sound.as_deref().map(string)),
        field("division", i64::from(division), division == DEFAULT_DIVISION),
        field("gain", i64::from(layer.gain), layer.gain == 0),
        optional("accent-depth", layer.depth.map(i64::from)),
        field("pan", i64::from(layer.pan), layer.pan == 0),
        field("mute", layer.mute, !layer.mute),
        field("solo", layer.solo, !layer.solo),
        optional("swing", layer.swing.map(|s| s.to_string())),
    ]
}

/// Prints a groove as a new file: spaces between beats, ` | ` between bars, long cells over several lines of one to four bars.
pub fn print(groove: &Groove) -> String {
    Printer::default().print(groove)
}

/// Prints states of a groove one after the other, and of each only the layers that changed.
#[derive(Debug, Default)]
pub(crate) struct Printer {
    sections: Vec<Section>,
    layers: Vec<(Arc<Layer>, String)>,
}

impl Printer {
    pub(crate) fn print(&mut self, groove: &Groove) -> String {
        if self.sections != groove.sections() {
            self.layers.clear();
            self.sections = groove.sections().to_vec();
        }
        let mut text = head(groove).to_string();
        let printed = |l: &Arc<Layer>| {
            let known = self.layers.iter().find(|(other, _)| Arc::ptr_eq(other, l));
            (l.clone(), known.map_or_else(|| whole_layer(groove, l), |(_, text)| text.clone()))
        };
        self.layers = groove.layers().iter().map(printed).collect();
        for (_, layer) in &self.layers {
            text.push('\n');
            text += layer;
        }
        text
    }
}

/// A layer with its cells, as the only one of a document.
fn whole_layer(groove: &Groove, l: &Layer) -> String {
    let mut table = layer(l);
    update::write_parts(&mut table, groove, groove, l, &[]);
    let mut document = DocumentMut::new();
    document.as_table_mut().insert("layer", Item::ArrayOfTables([table].into_iter().collect()));
    document.to_string()
}

/// The format that a groove needs.
pub(super) fn format(groove: &Groove) -> i64 {
    if groove.layers().iter().all(|l| l.one_division().is_some()) { 1 } else { FORMAT }
}

/// A groove without its layers.
fn head(groove: &Groove) -> DocumentMut {
    let mut document = DocumentMut::new();
    let root = document.as_table_mut();
    put(root, "format", format(groove));
    put(root, "title", string(groove.title()));
    if !groove.note().is_empty() {
        put(root, "note", string(groove.note()));
    }
    if let Some(recording) = groove.recording() {
        root.insert("recording", Item::Table(recording_table::print(recording)));
    }
    let sections = groove.sections().iter().map(|s| section(s, groove.sections().len())).collect();
    root.insert("section", Item::ArrayOfTables(sections));
    document
}

fn put(table: &mut Table, key: &str, value: impl Into<Value>) {
    table.insert(key, Item::Value(value.into()));
}

pub(super) fn section(section: &Section, sections: usize) -> Table {
    new_table(section_fields(section, sections))
}

/// A layer's table without its cells.
pub(super) fn layer(layer: &Layer) -> Table {
    new_table(layer_fields(layer, layer.divisions[0]))
}

fn new_table<const N: usize>(fields: [Field; N]) -> Table {
    let mut table = Table::new();
    // The division is always written, since the cells depend on it.
    for field in fields.into_iter().filter(|f| !f.is_default || f.key == "division") {
        if let Some(value) = field.value {
            put(&mut table, field.key, value);
        }
    }
    table
}

/// The table of a layer's part in one of several sections; `None` for rests at the layer's written division.
pub(super) fn part(section: &Section, written: u16, division: u16, part: &Part) -> Option<Table> {
    if division == written && *part == Part::rests(read::context(section, division)) {
        return None;
    }
    let mut table = Table::new();
    put(&mut table, "section", string(&section.name));
    if division != written {
        put(&mut table, "division", i64::from(division));
    }
    update::write_cells(&mut table, PART_KEYS, section, division, part);
    Some(table)
}

/// A tempo as a number if that is exact, otherwise as a string such as "400/3".
pub(super) fn bpm(bpm: Fraction) -> Value {
    let text = bpm.to_string();
    text.parse().unwrap_or_else(|_| Value::from(text))
}

pub(super) fn cells(section: &Section, division: u16, part: &Part) -> Value {
    let text = cell_notation::print_part(part, &section.meter, division);
    if text.len() <= MAX_WIDTH {
        return Value::from(text);
    }
    if part.is_cycle() {
        let marks: Vec<char> = text.chars().collect();
        return literal(&marks.chunks(MAX_WIDTH).map(String::from_iter).collect::<Vec<_>>().join("\n"));
    }
    let bars: Vec<&str> = text.split(" | ").collect();
    let longest = bars.iter().map(|b| b.len()).max().unwrap_or(0);
    let per_line = [4, 2].into_iter().find(|n| n * (longest + 3) <= MAX_WIDTH).unwrap_or(1);
    literal(&bars.chunks(per_line).map(|bars| bars.join(" | ")).collect::<Vec<_>>().join(" |\n"))
}

/// The pitches of a part's attacks, if any has one.
pub(super) fn pitches(part: &Part, spell: impl Fn(Pitch) -> String) -> Option<Value> {
    let attacks: Vec<_> = part.stored().iter().filter_map(|c| c.attack()).collect();
    if attacks.iter().all(|a| a.pitch.is_none()) {
        return None;
    }
    let mut lines = vec![String::new()];
    for attack in attacks {
        let word = attack.pitch.map_or(".".to_owned(), &spell);
        match lines.last_mut() {
            Some(line) if line.is_empty() => *line = word,
            Some(line) if line.len() + 1 + word.len() <= MAX_WIDTH => line.extend([" ", &word]),
            _ => lines.push(word),
        }
    }
    Some(literal(&lines.join("\n")))
}

/// A string with hidden characters escaped, so that the printed groove is safe to show and still reads back the same.
pub(super) fn string(text: &str) -> Value {
    let is_plain = |c: char| !is_hidden(c) || matches!(c, '\n' | '\t');
    if text.chars().all(is_plain) {
        return Value::from(text);
    }
    let (start, end) = if text.contains('\n') { ("\"\"\"\n", "\"\"\"") } else { ("\"", "\"") };
    let mut basic = start.to_owned();
    for c in text.chars() {
        match c {
            '"' | '\\' => basic.extend(['\\', c]),
            c if is_plain(c) => basic.push(c),
            // Writing to a String cannot fail.
            c if c <= '\u{ffff}' => drop(write!(basic, "\\u{:04X}", u32::from(c))),
            c => drop(write!(basic, "\\U{:08X}", u32::from(c))),
        }
    }
    (basic + end).parse().unwrap_or_else(|_| Value::from(text))
}

/// A string, over several lines if the text has several. The text must not contain quotes or backslashes.
fn literal(text: &str) -> Value {
    if !text.contains('\n') {
        return Value::from(text);
    }
    format!("\"\"\"\n{text}\"\"\"").parse().unwrap_or_else(|_| Value::from(text))
}
