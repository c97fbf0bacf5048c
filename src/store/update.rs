//! A changed groove written into the text it came from: only what changed is written anew, in its old place, and comments,
//! order and the writer's own spacing stay.

use super::cells_field::{self, KEYS};
use super::error::ParseError;
use super::fields::Fields;
use super::print;
use super::read::{self, LAYER, ONLY, PART, ROOT, SECTION};
use crate::rhythm::{Groove, Layer, Part, PartContext, Pitch, Section, print_note_value};
use std::collections::HashMap;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Key, Table, Value};

/// The text of `original` with what `groove` has different; `original` itself, byte for byte, if nothing is.
///
/// A text that is not a groove is replaced by [`print::print`]'s.
pub fn update(original: &str, groove: &Groove) -> String {
    let text = edited(original, groove);
    // What is handed back must be this groove in any case; a new print is the plain way to it.
    text.filter(|t| read::groove(t).as_ref() == Ok(groove)).unwrap_or_else(|| print::print(groove))
}

pub(super) fn edited(original: &str, groove: &Groove) -> Option<String> {
    let old = read::groove(original).ok()?;
    if old == *groove {
        return Some(original.to_owned());
    }
    let mut document: DocumentMut = original.parse().ok()?;
    let root = document.as_table_mut();
    if old.title() != groove.title() {
        set(root, ROOT, "title", Value::from(groove.title()));
    }
    if old.note() != groove.note() {
        set_or_remove(root, ROOT, "note", Some(groove.note()).filter(|n| !n.is_empty()).map(Value::from));
    }
    let names = |g: &Groove| g.sections().iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    let from_section = origins(&names(&old), &names(groove));
    let names = |g: &Groove| g.layers().iter().map(|l| l.name.clone()).collect::<Vec<_>>();
    let from_layer = origins(&names(&old), &names(groove));

    let several = groove.sections().len() > 1;
    let tables = tables_of(root, "section");
    let sections = groove.sections().iter().zip(&from_section).map(|(new, from)| match from {
        Some(from) => {
            let mut table = tables[*from].clone();
            change_section(&mut table, &old.sections()[*from], new, several);
            table
        }
        None => print::section(new, several),
    });
    replace_tables(root, ROOT, "section", sections.collect());

    let tables = tables_of(root, "layer");
    let mut layers = Vec::new();
    for (new, from) in groove.layers().iter().zip(&from_layer) {
        let mut table = match from {
            Some(from) => {
                let mut table = tables[*from].clone();
                change_layer(&mut table, &old.layers()[*from], new);
                table
            }
            None => print::layer(new),
        };
        let came_from: &[Option<usize>] = if from.is_some() { &from_section } else { &[] };
        change_parts(&mut table, &old, groove, new, came_from);
        layers.push(table);
    }
    replace_tables(root, ROOT, "layer", layers);
    if !rising(&from_section) || !rising(&from_layer) {
        forget_positions(root);
    }
    Some(document.to_string())
}

/// Which old one each new one was: the one of its name, or, where only names changed, the one in its place.
fn origins(old: &[String], new: &[String]) -> Vec<Option<usize>> {
    let mut found: Vec<Option<usize>> = new.iter().map(|n| old.iter().position(|o| o == n)).collect();
    let left: Vec<usize> = (0..old.len()).filter(|i| !found.contains(&Some(*i))).collect();
    let open: Vec<usize> = (0..new.len()).filter(|i| found[*i].is_none()).collect();
    if left.len() == open.len() {
        open.into_iter().zip(left).for_each(|(i, o)| found[i] = Some(o));
    }
    found
}

fn rising(from: &[Option<usize>]) -> bool {
    from.iter().flatten().is_sorted()
}

fn tables_of(table: &Table, key: &str) -> Vec<Table> {
    table.get(key).and_then(Item::as_array_of_tables).map_or_else(Vec::new, |t| t.iter().cloned().collect())
}

fn replace_tables(table: &mut Table, order: &[&str], key: &str, tables: Vec<Table>) {
    if tables.is_empty() {
        table.remove(key);
        return;
    }
    let tables = Item::ArrayOfTables(tables.into_iter().collect::<ArrayOfTables>());
    match table.get_mut(key) {
        Some(item) => *item = tables,
        None => insert(table, order, key, tables),
    }
}

/// Lets tables be printed in the order in which they stand in the document, not in the one they were read in.
fn forget_positions(table: &mut Table) {
    for (_, item) in table.iter_mut() {
        if let Some(tables) = item.as_array_of_tables_mut() {
            for table in tables.iter_mut() {
                table.set_position(None);
                forget_positions(table);
            }
        }
    }
}

/// Puts a new key after the last of those that stand before it in `order`.
fn insert(table: &mut Table, order: &[&str], key: &str, item: Item) {
    let rank = |k: &str| order.iter().position(|o| *o == k).unwrap_or(order.len());
    let mut keys: Vec<String> = table.iter().map(|(k, _)| k.to_owned()).collect();
    let at = keys.iter().rposition(|k| rank(k) < rank(key)).map_or(0, |i| i + 1);
    table.insert(key, item);
    keys.insert(at, key.to_owned());
    arrange(table, &keys);
}

fn arrange(table: &mut Table, keys: &[String]) {
    let place = |key: &Key| keys.iter().position(|k| k == key.get());
    table.sort_values_by(|a, _, b, _| place(a).cmp(&place(b)));
}

/// Gives a key a value; the comment behind an old one stays.
fn set(table: &mut Table, order: &[&str], key: &str, mut value: Value) {
    match table.get_mut(key) {
        Some(item) => {
            if let Some(old) = item.as_value() {
                *value.decor_mut() = old.decor().clone();
            }
            *item = Item::Value(value);
        }
        None => insert(table, order, key, Item::Value(value)),
    }
}

fn set_or_remove(table: &mut Table, order: &[&str], key: &str, value: Option<Value>) {
    match value {
        Some(value) => set(table, order, key, value),
        None => drop(table.remove(key)),
    }
}

fn change_section(table: &mut Table, old: &Section, new: &Section, several: bool) {
    let unnamed = !table.contains_key("name") && (several || new.name != ONLY);
    if old.name != new.name || unnamed {
        set(table, SECTION, "name", Value::from(&new.name));
    }
    if old.meter != new.meter {
        set(table, SECTION, "meter", Value::from(new.meter.to_string()));
    }
    if old.tempo.bpm() != new.tempo.bpm() {
        set(table, SECTION, "tempo", print::bpm(new.tempo.bpm()));
    }
    let unit = if table.contains_key("beat") { old.tempo.unit() } else { new.meter.beat() };
    if unit != new.tempo.unit() {
        set(table, SECTION, "beat", Value::from(print_note_value(new.tempo.unit())));
    }
    if old.bars != new.bars {
        set(table, SECTION, "bars", Value::from(i64::from(new.bars)));
    }
    if old.times != new.times {
        set(table, SECTION, "times", Value::from(i64::from(new.times)));
    }
    if old.swing != new.swing {
        set_or_remove(table, SECTION, "swing", new.swing.map(|s| Value::from(s.to_string())));
    }
}

fn change_layer(table: &mut Table, old: &Layer, new: &Layer) {
    if old.name != new.name {
        set(table, LAYER, "name", Value::from(&new.name));
    }
    if old.voice != new.voice {
        set(table, LAYER, "voice", Value::from(new.voice.name()));
    }
    if old.sound != new.sound {
        set_or_remove(table, LAYER, "sound", new.sound.as_ref().map(Value::from));
    }
    if old.depth != new.depth {
        set_or_remove(table, LAYER, "accent-depth", new.depth.map(|d| Value::from(i64::from(d))));
    }
    if old.division != new.division {
        set(table, LAYER, "division", Value::from(i64::from(new.division)));
    }
    for (key, old, new) in [("gain", old.gain, new.gain), ("pan", old.pan, new.pan)] {
        if old != new {
            set(table, LAYER, key, Value::from(i64::from(new)));
        }
    }
    for (key, old, new) in [("mute", old.mute, new.mute), ("solo", old.solo, new.solo)] {
        if old != new {
            set(table, LAYER, key, Value::from(new));
        }
    }
    if old.swing != new.swing {
        set_or_remove(table, LAYER, "swing", new.swing.map(|s| Value::from(s.to_string())));
    }
}

/// Writes the parts of a layer. `from` says which old section each new one was; it is empty for a new layer.
fn change_parts(table: &mut Table, old: &Groove, groove: &Groove, layer: &Layer, from: &[Option<usize>]) {
    let sections = groove.sections();
    let own = KEYS.iter().any(|key| table.contains_key(key));
    if sections.len() == 1 && (own || !table.contains_key("part")) {
        change_drawing(table, LAYER, read::context(&sections[0], layer.division), &sections[0], &layer.parts[0]);
        return;
    }
    let mut slots: Vec<Option<Table>> = vec![None; sections.len()];
    let mut order = Vec::new();
    let mut keep = |slots: &mut Vec<Option<Table>>, before: &str, table: Table| {
        let was = old.sections().iter().position(|s| s.name == before);
        if let Some(at) = from.iter().position(|f| f.is_some() && *f == was) {
            slots[at] = Some(table);
            order.push(at);
        }
    };
    if own {
        // The groove had one section: its cells move from the layer into a part of it.
        let before = &old.sections()[0].name;
        let part = own_part(table, before);
        keep(&mut slots, before, part);
    }
    for part in tables_of(table, "part") {
        let before = part.get("section").and_then(Item::as_str).unwrap_or_default().to_owned();
        keep(&mut slots, &before, part);
    }
    for (at, section) in sections.iter().enumerate() {
        match &mut slots[at] {
            Some(part) => {
                if part.get("section").and_then(Item::as_str) != Some(&section.name) {
                    set(part, PART, "section", Value::from(&section.name));
                }
                change_drawing(part, PART, read::context(section, layer.division), section, &layer.parts[at]);
            }
            slot @ None => {
                *slot = print::part(section, layer.division, &layer.parts[at]);
                if slot.is_some() {
                    let place = order.iter().position(|o| *o > at).unwrap_or(order.len());
                    order.insert(place, at);
                }
            }
        }
    }
    let parts = order.into_iter().filter_map(|at| slots[at].take()).collect();
    replace_tables(table, LAYER, "part", parts);
}

fn own_part(layer: &mut Table, section: &str) -> Table {
    let mut part = Table::new();
    part.insert("section", Item::Value(Value::from(section)));
    for key in KEYS {
        if let Some((key, item)) = layer.remove_entry(key) {
            part.insert_formatted(&key, item);
        }
    }
    part
}

fn change_drawing(table: &mut Table, order: &[&str], context: PartContext<'_>, section: &Section, part: &Part) {
    if read_back(table, context, cells_field::read).as_ref() == Ok(part) {
        return;
    }
    let spellings = spellings(table);
    let bare = cells_field::bare(part);
    if read_back(table, context, cells_field::read_line).as_ref() != Ok(&bare) {
        change_line(table, order, context, section, &bare);
    }
    let pitches = print::pitches(part, |p| spellings.get(&p).cloned().unwrap_or_else(|| p.to_string()));
    set_or_remove(table, order, "pitches", pitches);
}

type Read = fn(Fields<'_>, PartContext<'_>, u16, &mut i64) -> Result<Part, ParseError>;

fn read_back(table: &Table, context: PartContext<'_>, read: Read) -> Result<Part, ParseError> {
    read(Fields { table, text: None }, context, 1, &mut 0)
}

fn change_line(table: &mut Table, order: &[&str], context: PartContext<'_>, section: &Section, part: &Part) {
    let old = cells_field::LINES.into_iter().find(|key| table.contains_key(key));
    let key = match part {
        Part::Cycled { .. } => "cycle",
        Part::Barred { .. } if old == Some("groups") && cells_field::groups(part, context.division).is_some() => {
            "groups"
        }
        Part::Barred { .. } => "cells",
    };
    if key != "cycle" {
        table.remove("start");
    }
    if let Part::Cycled { start, .. } = part {
        let start = i64::from(*start) + 1;
        if table.contains_key("start") || start > 1 {
            set(table, order, "start", Value::from(start));
        }
    }
    if old == Some(key)
        && key != "groups"
        && let Some(value) = table.get(key).and_then(|item| remarked(item, part))
    {
        let mut tried = table.clone();
        set(&mut tried, order, key, value);
        if read_back(&tried, context, cells_field::read_line).as_ref() == Ok(part) {
            *table = tried;
            return;
        }
    }
    let value = match key {
        "groups" => print::groups(part, context.division),
        _ => Some(print::cells(section, context.division, part)),
    };
    if let (Some(old), true) = (old, old != Some(key)) {
        rename(table, old, key);
    }
    set_or_remove(table, order, key, value);
}

/// The old string with other marks in it, everything between them kept; `None` if it has escapes or other lengths.
fn remarked(item: &Item, part: &Part) -> Option<Value> {
    let Item::Value(Value::String(old)) = item else { return None };
    let raw = old.as_repr()?.as_raw().as_str()?;
    if raw.contains('\\') {
        return None;
    }
    cells_field::remark(raw, part.stored())?.parse().ok()
}

/// Gives a value another key in the same place, with the comments that stood with it.
fn rename(table: &mut Table, old: &str, new: &str) {
    let mut keys: Vec<String> = table.iter().map(|(k, _)| k.to_owned()).collect();
    if let Some((key, item)) = table.remove_entry(old) {
        table.insert_formatted(&Key::new(new).with_leaf_decor(key.leaf_decor().clone()), item);
        keys.iter_mut().filter(|k| *k == old).for_each(|k| new.clone_into(k));
        arrange(table, &keys);
    }
}

/// How each pitch is spelled in the table so far.
fn spellings(table: &Table) -> HashMap<Pitch, String> {
    let text = table.get("pitches").and_then(Item::as_str).unwrap_or_default();
    text.split_whitespace().rev().filter_map(|word| Some((Pitch::parse(word)?, word.to_owned()))).collect()
}
