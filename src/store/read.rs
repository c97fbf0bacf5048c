//! Reads a groove from the text of its file.

use super::FORMAT;
use super::cells_field;
use super::error::{ParseError, Problem};
use super::fields::{Fields, SpannedStr};
use super::recording_table;
use crate::rhythm::bounds::{self, ACCENT_DEPTH, BARS, Bound, DIVISION, GAIN, NAME, PAN, SOUND_NAME, TIMES};
use crate::rhythm::{
    Fraction, Groove, LOWER_FORM, Layer, METER_FORM, Meter, MeterError, Part, PartContext, Section, Swing, Tempo,
    Voice, parse_note_value, print_note_value,
};
use toml_edit::{Document, Table};

/// Keys of the file, in the order they are written.
pub(super) const ROOT_KEYS: &[&str] = &["format", "title", "note", "recording", "section", "layer"];
/// Keys of a section.
pub(super) const SECTION_KEYS: &[&str] = &["name", "meter", "tempo", "beat", "bars", "times", "swing"];
/// Keys of a layer.
pub(super) const LAYER_KEYS: &[&str] = &[
    "name",
    "voice",
    "sound",
    "division",
    "gain",
    "accent-depth",
    "pan",
    "mute",
    "solo",
    "swing",
    "cells",
    "groups",
    "cycle",
    "start",
    "pitches",
    "part",
];
/// Keys of a layer's part in a section.
pub(super) const PART_KEYS: &[&str] = &["section", "division", "cells", "groups", "cycle", "start", "pitches"];
/// Name of a groove's only section if none is written.
pub(super) const DEFAULT_SECTION: &str = "A";
/// Cells per beat of a layer if no division is written. A part without one has the layer's.
pub(super) const DEFAULT_DIVISION: u16 = 4;

pub(super) fn groove(text: &str) -> Result<Groove, ParseError> {
    if let Some(at) = text.find('\0') {
        return Err(ParseError { at: Some(at), problem: Problem::Nul });
    }
    let document = Document::parse(text).map_err(|e| {
        let at = e.span().map_or(text.len(), |s| s.start);
        ParseError { at: Some(at), problem: Problem::Syntax(e.message().replace('\n', ", ")) }
    })?;
    let root = Fields { table: document.as_table(), text: Some(text) };
    let format = match root.integer("format")? {
        None => return Err(error_at_top(Problem::MissingKey("format", "format = 1"))),
        Some(n) if !(1..=FORMAT).contains(&n) => return Err(root.error_at("format", Problem::Format(n))),
        Some(n) => n,
    };
    root.reject_unknown(ROOT_KEYS)?;
    let missing = || error_at_top(Problem::MissingKey("title", "title = \"Half-Tide Winch\""));
    let title = root.string("title")?.ok_or_else(missing)?;
    check_printable(&title, "title", &[])?;
    let note = root.string("note")?;
    if let Some(note) = &note {
        check_printable(note, "note", &['\n', '\t', '\r'])?;
    }
    let recording = recording_table::read(root)?;
    let tables = root.tables("section", "[[section]] tables")?;
    if tables.is_empty() {
        return Err(error_at_top(Problem::MissingKey("section", "[[section]]")));
    }
    check_count(&tables, &bounds::SECTIONS)?;
    let mut sections: Vec<Section> = Vec::new();
    for table in &tables {
        let section = section(*table, tables.len())?;
        if sections.iter().any(|s| s.name == section.name) {
            return Err(table.error_at("name", Problem::NameTaken("section", section.name)));
        }
        sections.push(section);
    }
    let tables = root.tables("layer", "[[layer]] tables")?;
    check_count(&tables, &bounds::LAYERS)?;
    let mut layers: Vec<Layer> = Vec::new();
    for table in &tables {
        let layer = layer(*table, &sections, format)?;
        if layers.iter().any(|l| l.name == layer.name) {
            return Err(table.error_at("name", Problem::NameTaken("layer", layer.name)));
        }
        layers.push(layer);
    }
    Groove::new(title.text, note.map_or("", |n| n.text), sections, layers)
        .and_then(|groove| groove.with_recording(recording))
        .map_err(|e| error_at_top(Problem::Invalid(e.to_string())))
}

fn error_at_top(problem: Problem) -> ParseError {
    ParseError { at: Some(0), problem }
}

fn check_count(tables: &[Fields<'_>], bound: &'static Bound) -> Result<(), ParseError> {
    match (bound.check(tables.len() as i64), tables.get(bound.greatest as usize)) {
        (Err(e), Some(first_too_many)) => Err(first_too_many.error(Problem::Bound(e))),
        _ => Ok(()),
    }
}

/// Rejects control characters besides those in `allowed`.
fn check_printable(string: &SpannedStr<'_>, key: &'static str, allowed: &[char]) -> Result<(), ParseError> {
    let control = string.text.contains(|c: char| c.is_control() && !allowed.contains(&c));
    if control { Err(string.error_at_start(Problem::ControlCharacter(key))) } else { Ok(()) }
}

fn check_name(string: &SpannedStr<'_>, key: &'static str, length: &'static Bound) -> Result<String, ParseError> {
    let characters = string.text.chars().count() as i64;
    length.check(characters).map_err(|e| string.error_at_start(Problem::Bound(e)))?;
    check_printable(string, key, &[])?;
    Ok(string.text.to_owned())
}

fn name(fields: Fields<'_>, example: &'static str) -> Result<String, ParseError> {
    check_name(&fields.required_string("name", example)?, "name", &NAME)
}

fn section(fields: Fields<'_>, sections: usize) -> Result<Section, ParseError> {
    fields.reject_unknown(SECTION_KEYS)?;
    let name = if sections == 1 && !fields.has("name") {
        DEFAULT_SECTION.to_owned()
    } else {
        name(fields, "name = \"pull\"")?
    };
    let string = fields.required_string("meter", "meter = \"4/4\"")?;
    let meter = Meter::parse(string.text).map_err(|e| {
        string.error_at_start(match e {
            MeterError::Form(text) => Problem::Form("meter", text, METER_FORM.into()),
            MeterError::Lower(_) => Problem::Form("meter", string.text.to_owned(), LOWER_FORM.into()),
            MeterError::Bound(e) => Problem::Bound(e),
        })
    })?;
    let tempo = tempo(fields, &meter)?;
    let missing = || fields.error(Problem::MissingKey("bars", "bars = 4"));
    let bars = fields.number("bars", &BARS)?.ok_or_else(missing)? as u16;
    let times = fields.number("times", &TIMES)?.unwrap_or(1) as u16;
    Ok(Section { name, meter, tempo, bars, times, swing: swing(fields)? })
}

fn tempo(fields: Fields<'_>, meter: &Meter) -> Result<Tempo, ParseError> {
    const FORM: &str = "a number like 150 or 132.5, or a string like \"400/3\"";
    let unit = match fields.string("beat")? {
        None => meter.beat(),
        Some(string) => {
            // A value that prints in another form would change on a save.
            let value = parse_note_value(string.text).filter(|v| parse_note_value(&print_note_value(*v)) == Some(*v));
            let form = "a note value like 1/4, 1/4. or 3/8".to_owned();
            let error = || string.error_at_start(Problem::Form("beat", string.text.to_owned(), form));
            value.ok_or_else(error)?
        }
    };
    let error = |problem| fields.error_at("tempo", problem);
    let raw = fields.decimal("tempo", FORM)?;
    let raw = raw.ok_or_else(|| fields.error(Problem::MissingKey("tempo", "tempo = 150")))?;
    let bpm = Fraction::parse(&raw).ok_or_else(|| error(Problem::Form("tempo", raw.clone(), FORM.into())))?;
    let tempo = Tempo::new(bpm, unit).map_err(|_| error(Problem::Tempo(raw.clone())))?;
    if bpm.denom() > Tempo::MAX_DENOMINATOR {
        let form = "at most six decimals, or a fraction over at most 1000000".to_owned();
        return Err(error(Problem::Form("tempo", raw, form)));
    }
    Ok(tempo)
}

fn swing(fields: Fields<'_>) -> Result<Option<Swing>, ParseError> {
    let Some(string) = fields.string("swing")? else { return Ok(None) };
    let form = "a ratio like 2:1 with numbers from 1 to 16";
    let error = || string.error_at_start(Problem::Form("swing", string.text.to_owned(), form.into()));
    Swing::parse(string.text).map(Some).ok_or_else(error)
}

fn layer(fields: Fields<'_>, sections: &[Section], format: i64) -> Result<Layer, ParseError> {
    fields.reject_unknown(LAYER_KEYS)?;
    let name = name(fields, "name = \"winch\"")?;
    let string = fields.required_string("voice", "voice = \"pluck\"")?;
    let unknown = || string.error_at_start(Problem::UnknownVoice(string.text.to_owned()));
    let voice = Voice::parse(string.text).ok_or_else(unknown)?;
    let sound = fields.string("sound")?.map(|s| check_name(&s, "sound", &SOUND_NAME)).transpose()?;
    let division = fields.number("division", &DIVISION)?.map_or(DEFAULT_DIVISION, |n| n as u16);
    let gain = fields.number("gain", &GAIN)?.unwrap_or(0) as i8;
    let depth = fields.number("accent-depth", &ACCENT_DEPTH)?.map(|depth| depth as u8);
    let pan = fields.number("pan", &PAN)?.unwrap_or(0) as i8;
    let (mute, solo) = (fields.flag("mute")?, fields.flag("solo")?);
    let swing = swing(fields)?;
    let (divisions, parts) = parts(fields, sections, division, format)?;
    Ok(Layer { sound, divisions, swing, gain, depth, pan, mute, solo, ..Layer::new(&name, voice, division, parts) })
}

/// The context in which a part is read, which needs no swing.
pub(super) fn context(section: &Section, division: u16) -> PartContext<'_> {
    PartContext { meter: &section.meter, bars: usize::from(section.bars), division, swing: None }
}

/// The divisions and the parts of a layer, one per section.
fn parts(
    fields: Fields<'_>,
    sections: &[Section],
    division: u16,
    format: i64,
) -> Result<(Vec<u16>, Vec<Part>), ParseError> {
    let tables = fields.tables("part", "[[layer.part]] tables")?;
    let own = cells_field::CELLS_KEYS.into_iter().find(|key| fields.has(key));
    if let Some(key) = own
        && (sections.len() > 1 || !tables.is_empty())
    {
        return Err(fields.error_at_key(key, Problem::CellsOutsidePart(key)));
    }
    let mut by_section: Vec<Option<Fields<'_>>> = vec![own.map(|_| fields); sections.len()];
    let mut divisions = vec![division; sections.len()];
    for table in tables {
        table.reject_unknown(PART_KEYS)?;
        let string = table.required_string("section", "section = \"pull\"")?;
        let Some(at) = sections.iter().position(|s| s.name == string.text) else {
            let names = sections.iter().map(|s| s.name.clone()).collect();
            return Err(string.error_at_start(Problem::UnknownSection(string.text.to_owned(), names)));
        };
        if by_section[at].replace(table).is_some() {
            return Err(string.error_at_start(Problem::DuplicatePart(string.text.to_owned())));
        }
        if let Some(n) = table.number("division", &DIVISION)? {
            if format < FORMAT {
                return Err(table.error_at_key("division", Problem::NeedsFormat("division", FORMAT)));
            }
            divisions[at] = n as u16;
        }
    }
    let empty = Table::new();
    let mut spent = 0;
    let parts = sections.iter().zip(by_section).zip(&divisions).map(|((section, table), division)| {
        let context = context(section, *division);
        match table {
            Some(table) => cells_field::read(table, context, section.times, &mut spent),
            None => cells_field::read(Fields { table: &empty, text: None }, context, section.times, &mut spent)
                .map_err(|e| fields.error(e.problem)),
        }
    });
    let parts = parts.collect::<Result<_, _>>()?;
    Ok((divisions, parts))
}
