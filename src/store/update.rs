//! Writes a changed groove into the text it was read from: changed values are replaced in place; comments, order and spacing stay.

use super::FORMAT;
use super::cells_field::{self, CELLS_KEYS};
use super::error::ParseError;
use super::fields::Fields;
use super::print::{self, Field};
use super::read::{self, DEFAULT_DIVISION, LAYER_KEYS, PART_KEYS, ROOT_KEYS, SECTION_KEYS};
use super::recording_table;
use crate::rhythm::{Groove, Layer, Part, PartContext, Pitch, Section};
use std::collections::HashMap;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Key, Table, Value};

/// The text of `original` with the changes in `groove`, or a new print if `original` is not a groove.
pub fn update(original: &str, groove: &Groove) -> String {
    // An edit that does not read back as the groove must not be saved.
    let text = edited_text(original, groove).filter(|t| read::groove(t).as_ref() == Ok(groove));
    text.unwrap_or_else(|| print::print(groove))
}

pub(super) fn edited_text(original: &str, groove: &Groove) -> Option<String> {
    let old = read::groove(original).ok()?;
    if old == *groove {
        return Some(original.to_owned());
    }
    let mut document: DocumentMut = original.parse().ok()?;
    let root = document.as_table_mut();
    if old.title() != groove.title() {
        set(root, ROOT_KEYS, "title", print::string(groove.title()));
    }
    if old.note() != groove.note() {
        set_or_remove(root, ROOT_KEYS, "note", Some(groove.note()).filter(|n| !n.is_empty()).map(print::string));
    }
    recording_table::update(root, &old, groove);
    let old_sections = origins(old.sections(), groove.sections(), |s| &s.name);
    let old_layers = origins(old.layers(), groove.layers(), |l| &l.name);

    let count = groove.sections().len();
    let tables = tables_of(root, "section");
    let sections = groove.sections().iter().zip(&old_sections).map(|(new, origin)| {
        let Some(at) = *origin else { return print::section(new, count) };
        let mut table = tables[at].clone();
        let before = print::section_fields(&old.sections()[at], old.sections().len());
        set_fields(&mut table, SECTION_KEYS, before, print::section_fields(new, count));
        table
    });
    replace_tables(root, ROOT_KEYS, "section", sections.collect());

    let tables = tables_of(root, "layer");
    let layers = groove.layers().iter().zip(&old_layers).map(|(new, origin)| {
        let (mut table, origins) = match *origin {
            Some(at) => (tables[at].clone(), &old_sections[..]),
            None => (print::layer(new), &[][..]),
        };
        if let Some(at) = *origin {
            let written = written_division(&table);
            // It stays as long as a section has it.
            let division = if new.divisions.contains(&written) { written } else { new.divisions[0] };
            let before = print::layer_fields(&old.layers()[at], written);
            set_fields(&mut table, LAYER_KEYS, before, print::layer_fields(new, division));
        }
        write_parts(&mut table, &old, groove, new, origins);
        table
    });
    let mut layers: Vec<Table> = layers.collect();
    match (print::format(&old), print::format(groove)) {
        (FORMAT, 1) => {
            let parts = layers.iter_mut().filter_map(|l| l.get_mut("part")?.as_array_of_tables_mut());
            parts.flat_map(ArrayOfTables::iter_mut).for_each(|part| drop(part.remove("division")));
            set(root, ROOT_KEYS, "format", Value::from(1));
        }
        (1, FORMAT) => set(root, ROOT_KEYS, "format", Value::from(FORMAT)),
        _ => {}
    }
    replace_tables(root, ROOT_KEYS, "layer", layers);
    if !is_rising(&old_sections) || !is_rising(&old_layers) {
        forget_positions(root);
    }
    Some(document.to_string())
}

/// Sets the fields that differ; a missing key is added if its value is not the default.
fn set_fields<const N: usize>(table: &mut Table, order: &[&str], old: [Field; N], new: [Field; N]) {
    for (old, new) in old.into_iter().zip(new) {
        let text = |value: &Option<Value>| value.as_ref().map(Value::to_string);
        let changed = if table.contains_key(new.key) { text(&old.value) != text(&new.value) } else { !new.is_default };
        if changed {
            set_or_remove(table, order, new.key, new.value);
        }
    }
}

/// For each new item the index of its old one: the one of the same name, or, if only names changed, the one in its place.
fn origins<T>(old: &[T], new: &[T], name: impl Fn(&T) -> &str) -> Vec<Option<usize>> {
    let mut found: Vec<Option<usize>> = new.iter().map(|n| old.iter().position(|o| name(o) == name(n))).collect();
    let left: Vec<usize> = (0..old.len()).filter(|i| !found.contains(&Some(*i))).collect();
    let open: Vec<usize> = (0..new.len()).filter(|i| found[*i].is_none()).collect();
    if left.len() == open.len() {
        open.into_iter().zip(left).for_each(|(i, o)| found[i] = Some(o));
    }
    found
}

fn is_rising(from: &[Option<usize>]) -> bool {
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

/// Prints the tables in their order in the document instead of the order they were read in.
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

/// Inserts a new key after the last key that precedes it in `order`.
pub(super) fn insert(table: &mut Table, order: &[&str], key: &str, item: Item) {
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

/// Sets a value and keeps the comment after the old one.
pub(super) fn set(table: &mut Table, order: &[&str], key: &str, mut value: Value) {
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

pub(super) fn set_or_remove(table: &mut Table, order: &[&str], key: &str, value: Option<Value>) {
    match value {
        Some(value) => set(table, order, key, value),
        None => drop(table.remove(key)),
    }
}

/// Writes the parts of a layer. `origins` holds the old index of each section, or is empty for a new layer.
pub(super) fn write_parts(table: &mut Table, old: &Groove, groove: &Groove, layer: &Layer, origins: &[Option<usize>]) {
    let sections = groove.sections();
    let own = CELLS_KEYS.iter().any(|key| table.contains_key(key));
    if sections.len() == 1 && (own || !table.contains_key("part")) {
        write_cells(table, LAYER_KEYS, &sections[0], layer.divisions[0], &layer.parts[0]);
        return;
    }
    let written = written_division(table);
    let mut slots: Vec<Option<Table>> = vec![None; sections.len()];
    let mut order = Vec::new();
    let mut old_parts = tables_of(table, "part");
    if own {
        // The groove had one section: the layer's own cells become a part.
        old_parts.insert(0, own_part(table, &old.sections()[0].name));
    }
    for part in old_parts {
        let name = part.get("section").and_then(Item::as_str);
        let index = old.sections().iter().position(|s| Some(s.name.as_str()) == name);
        if let Some(at) = origins.iter().position(|origin| origin.is_some() && *origin == index) {
            slots[at] = Some(part);
            order.push(at);
        }
    }
    for (at, section) in sections.iter().enumerate() {
        match &mut slots[at] {
            Some(part) => {
                if part.get("section").and_then(Item::as_str) != Some(&section.name) {
                    set(part, PART_KEYS, "section", print::string(&section.name));
                }
                let division = layer.divisions[at];
                let value = i64::from(division);
                if part.get("division").and_then(Item::as_integer).unwrap_or(i64::from(written)) != value {
                    let value = Some(value).filter(|_| division != written).map(Value::from);
                    set_or_remove(part, PART_KEYS, "division", value);
                }
                write_cells(part, PART_KEYS, section, division, &layer.parts[at]);
            }
            slot @ None => {
                *slot = print::part(section, written, layer.divisions[at], &layer.parts[at]);
                if slot.is_some() {
                    let place = order.iter().position(|o| *o > at).unwrap_or(order.len());
                    order.insert(place, at);
                }
            }
        }
    }
    let parts = order.into_iter().filter_map(|at| slots[at].take()).collect();
    replace_tables(table, LAYER_KEYS, "part", parts);
}

/// The division in a layer's table.
fn written_division(layer: &Table) -> u16 {
    layer.get("division").and_then(Item::as_integer).map_or(DEFAULT_DIVISION, |n| n as u16)
}

fn own_part(layer: &mut Table, section: &str) -> Table {
    let mut part = Table::new();
    part.insert("section", Item::Value(print::string(section)));
    for key in CELLS_KEYS {
        if let Some((key, item)) = layer.remove_entry(key) {
            part.insert_formatted(&key, item);
        }
    }
    part
}

/// Writes the cells and pitches of a part.
pub(super) fn write_cells(table: &mut Table, order: &[&str], section: &Section, division: u16, part: &Part) {
    let context = read::context(section, division);
    if read_back(table, context, cells_field::read).as_ref() == Ok(part) {
        return;
    }
    let spellings = spellings(table);
    let bare = cells_field::without_pitches(part);
    if read_back(table, context, cells_field::read_cells).as_ref() != Ok(&bare) {
        write_bare_cells(table, order, section, context, &bare);
    }
    let pitches = print::pitches(part, |p| spellings.get(&p).cloned().unwrap_or_else(|| p.to_string()));
    set_or_remove(table, order, "pitches", pitches);
}

type Read = fn(Fields<'_>, PartContext<'_>, u16, &mut i64) -> Result<Part, ParseError>;

fn read_back(table: &Table, context: PartContext<'_>, read: Read) -> Result<Part, ParseError> {
    read(Fields { table, text: None }, context, 1, &mut 0)
}

/// Writes the cells of a part without pitches, in the form they have in the table where it can express them.
fn write_bare_cells(table: &mut Table, order: &[&str], section: &Section, context: PartContext<'_>, part: &Part) {
    let old = cells_field::FORM_KEYS.into_iter().find(|key| table.contains_key(key));
    let groups = if old == Some("groups") { cells_field::groups(part, context.division) } else { None };
    let key = match part {
        Part::Cycled { .. } => "cycle",
        Part::Barred { .. } if groups.is_some() => "groups",
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
        && let Some(value) = table.get(key).and_then(|item| with_marks(item, part))
    {
        let mut edited = table.clone();
        set(&mut edited, order, key, value);
        if read_back(&edited, context, cells_field::read_cells).as_ref() == Ok(part) {
            *table = edited;
            return;
        }
    }
    if let Some(old) = old.filter(|old| *old != key) {
        rename(table, old, key);
    }
    set(table, order, key, groups.map_or_else(|| print::cells(section, context.division, part), Value::from));
}

/// The string with the marks replaced and everything between them kept; `None` if it has escapes or another number of marks.
fn with_marks(item: &Item, part: &Part) -> Option<Value> {
    let Item::Value(Value::String(old)) = item else { return None };
    let raw = old.as_repr()?.as_raw().as_str()?;
    if raw.contains('\\') {
        return None;
    }
    crate::rhythm::cell_notation::replace_cells(raw, part.stored())?.parse().ok()
}

/// Renames a key in place and keeps its comments.
fn rename(table: &mut Table, old: &str, new: &str) {
    let mut keys: Vec<String> = table.iter().map(|(k, _)| k.to_owned()).collect();
    if let Some((key, item)) = table.remove_entry(old) {
        table.insert_formatted(&Key::new(new).with_leaf_decor(key.leaf_decor().clone()), item);
        keys.iter_mut().filter(|k| *k == old).for_each(|k| new.clone_into(k));
        arrange(table, &keys);
    }
}

/// The spellings of the pitches in the table.
fn spellings(table: &Table) -> HashMap<Pitch, String> {
    let text = table.get("pitches").and_then(Item::as_str).unwrap_or_default();
    text.split_whitespace().rev().filter_map(|word| Some((Pitch::parse(word)?, word.to_owned()))).collect()
}
