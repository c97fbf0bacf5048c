//! From the file's text to a groove.

use super::FORMAT;
use super::cells_field;
use super::error::{ParseError, Problem};
use super::fields::Fields;
use crate::rhythm::bounds::{self, ACCENT_DEPTH, BARS, DIVISION, GAIN, NAME, PAN, SOUND_NAME, TEMPO, TIMES};
use crate::rhythm::{
    Fraction, Groove, LOWER_FORM, Layer, METER_FORM, Meter, MeterError, Part, PartContext, Section, Swing, Tempo,
    Voice, parse_note_value, print_note_value,
};
use toml_edit::{Document, Value};

/// Keys of the file itself, in the order in which they are written.
pub(super) const ROOT: &[&str] = &["format", "title", "note", "section", "layer"];
/// Keys of a section.
pub(super) const SECTION: &[&str] = &["name", "meter", "tempo", "beat", "bars", "times", "swing"];
/// Keys of a layer.
pub(super) const LAYER: &[&str] = &[
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
pub(super) const PART: &[&str] = &["section", "cells", "groups", "cycle", "start", "pitches"];
/// The name of a groove's only section where none is written.
pub(super) const ONLY: &str = "A";
/// Greatest lower number of a tempo such as 400/3; keeps the tempo's products with any note value exact.
const TEMPO_PARTS: i64 = Tempo::PARTS;

/// Reads a groove.
pub(super) fn groove(text: &str) -> Result<Groove, ParseError> {
    if let Some(at) = text.find('\0') {
        return Err(ParseError { at: Some(at), problem: Problem::Nul });
    }
    let document = Document::parse(text).map_err(|e| {
        let (words, expected) = e.message().split_once(", expected ").unwrap_or((e.message(), "nothing"));
        let expected = Some(expected.replace('\n', ", ")).filter(|e| e != "nothing");
        let problem = Problem::Syntax(words.replace('\n', ", "), expected);
        ParseError { at: Some(e.span().map_or(text.len(), |s| s.start)), problem }
    })?;
    let root = Fields { table: document.as_table(), text: Some(text) };
    match root.integer("format")? {
        None => return start(Problem::MissingKey("format", "format = 1")),
        Some(n) if !(1..=FORMAT).contains(&n) => return root.fault_at("format", Problem::Format(n)),
        Some(_) => {}
    }
    root.known(ROOT)?;
    let Some(title) = root.string("title")? else {
        return start(Problem::MissingKey("title", "title = \"Half-Tide Winch\""));
    };
    printable(title.text).or_else(|()| title.fault_whole(Problem::Control("title")))?;
    let note = root.string("note")?;
    if let Some(words) = &note {
        printable(&words.text.replace(['\n', '\t', '\r'], " "))
            .or_else(|()| words.fault_whole(Problem::Control("note")))?;
    }
    let tables = root.tables("section", "[[section]] tables")?;
    if tables.is_empty() {
        return start(Problem::MissingKey("section", "[[section]]"));
    }
    count(&tables, &bounds::SECTIONS)?;
    let mut sections: Vec<Section> = Vec::new();
    for table in &tables {
        let section = section(*table, tables.len() == 1)?;
        if sections.iter().any(|s| s.name == section.name) {
            return table.fault_at("name", Problem::NameTaken("section", section.name));
        }
        sections.push(section);
    }
    let tables = root.tables("layer", "[[layer]] tables")?;
    count(&tables, &bounds::LAYERS)?;
    let mut layers: Vec<Layer> = Vec::new();
    for table in &tables {
        let layer = layer(*table, &sections)?;
        if layers.iter().any(|l| l.name == layer.name) {
            return table.fault_at("name", Problem::NameTaken("layer", layer.name));
        }
        layers.push(layer);
    }
    Groove::new(title.text, note.map_or("", |n| n.text), sections, layers)
        .or_else(|e| start(Problem::Invalid(e.to_string())))
}

fn start<T>(problem: Problem) -> Result<T, ParseError> {
    Err(ParseError { at: Some(0), problem })
}

fn count(tables: &[Fields<'_>], bound: &'static bounds::Bound) -> Result<(), ParseError> {
    match (bound.check(tables.len() as i64), tables.get(bound.greatest as usize)) {
        (Err(e), Some(first_too_many)) => first_too_many.fault(Problem::Bound(e)),
        _ => Ok(()),
    }
}

fn printable(text: &str) -> Result<(), ()> {
    if text.chars().any(char::is_control) { Err(()) } else { Ok(()) }
}

fn name(fields: Fields<'_>, kind: &'static str, example: &'static str) -> Result<String, ParseError> {
    let words = fields.needed("name", example)?;
    NAME.check(words.text.chars().count() as i64).map(drop).or_else(|e| words.fault_whole(Problem::Bound(e)))?;
    printable(words.text).or_else(|()| words.fault_whole(Problem::Control(kind)))?;
    Ok(words.text.to_owned())
}

fn section(fields: Fields<'_>, only: bool) -> Result<Section, ParseError> {
    fields.known(SECTION)?;
    let name = if only && !fields.has("name") { ONLY.to_owned() } else { name(fields, "name", "name = \"pull\"")? };
    let words = fields.needed("meter", "meter = \"4/4\"")?;
    let meter = Meter::parse(words.text).or_else(|e| {
        words.fault_whole(match e {
            MeterError::Form(text) => Problem::Form("meter", text, METER_FORM.into()),
            MeterError::Lower(_) => Problem::Form("meter", words.text.to_owned(), LOWER_FORM.into()),
            MeterError::Bound(e) => Problem::Bound(e),
        })
    })?;
    let tempo = tempo(fields, &meter)?;
    let Some(bars) = fields.number("bars", &BARS)? else {
        return fields.fault(Problem::MissingKey("bars", "bars = 4"));
    };
    let times = fields.number("times", &TIMES)?.unwrap_or(1);
    Ok(Section { name, meter, tempo, bars: bars as u16, times: times as u16, swing: swing(fields)? })
}

fn tempo(fields: Fields<'_>, meter: &Meter) -> Result<Tempo, ParseError> {
    const FORM: &str = "a number like 150 or 132.5, or a string like \"400/3\"";
    let unit = match fields.string("beat")? {
        None => meter.beat(),
        Some(words) => {
            // A value that could not be written again as it is would not survive a save.
            let value = parse_note_value(words.text).filter(|v| parse_note_value(&print_note_value(*v)) == Some(*v));
            let form = || Problem::Form("beat", words.text.to_owned(), "a note value like 1/4, 1/4. or 3/8".into());
            value.map_or_else(|| words.fault_whole(form()), Ok)?
        }
    };
    let raw = match fields.value("tempo") {
        None if fields.has("tempo") => return fields.fault_at("tempo", wrong_tempo("a table", FORM)),
        None => return fields.fault(Problem::MissingKey("tempo", "tempo = 150")),
        Some(Value::Integer(n)) => n.value().to_string(),
        // The literal text, since the parser's own number is rounded.
        Some(Value::Float(x)) => {
            let span = x.span().unwrap_or_default();
            let literal = fields.text.and_then(|t| t.get(span)).unwrap_or_default();
            literal.trim_start_matches('+').replace('_', "")
        }
        Some(Value::String(s)) => s.value().clone(),
        Some(Value::Boolean(_)) => return fields.fault_at("tempo", wrong_tempo("true or false", FORM)),
        Some(_) => return fields.fault_at("tempo", wrong_tempo("no number", FORM)),
    };
    let form = || Problem::Form("tempo", raw.clone(), FORM.into());
    let bpm = Fraction::parse(&raw).map_or_else(|| fields.fault_at("tempo", form()), Ok)?;
    let least = Fraction::whole(TEMPO.least as i32);
    let greatest = Fraction::whole(TEMPO.greatest as i32);
    if bpm < least || bpm > greatest {
        return fields.fault_at("tempo", Problem::Tempo(raw));
    }
    if bpm.denom() > TEMPO_PARTS {
        let form = "at most six decimals, or a fraction over at most 1000000".to_owned();
        return fields.fault_at("tempo", Problem::Form("tempo", raw, form));
    }
    Tempo::new(bpm, unit).or_else(|e| fields.fault_at("tempo", Problem::Bound(e)))
}

fn wrong_tempo(found: &'static str, form: &'static str) -> Problem {
    Problem::WrongType("tempo".into(), found, form)
}

fn swing(fields: Fields<'_>) -> Result<Option<Swing>, ParseError> {
    let Some(words) = fields.string("swing")? else { return Ok(None) };
    match Swing::parse(words.text) {
        Some(swing) => Ok(Some(swing)),
        None => words.fault_whole(Problem::Form(
            "swing",
            words.text.to_owned(),
            "a ratio like 2:1 with numbers from 1 to 16".into(),
        )),
    }
}

fn layer(fields: Fields<'_>, sections: &[Section]) -> Result<Layer, ParseError> {
    fields.known(LAYER)?;
    let name = name(fields, "name", "name = \"winch\"")?;
    let words = fields.needed("voice", "voice = \"pluck\"")?;
    let voice =
        Voice::parse(words.text).map_or_else(|| words.fault_whole(Problem::UnknownVoice(words.text.to_owned())), Ok)?;
    let sound = sound(fields)?;
    let division = fields.number("division", &DIVISION)?.unwrap_or(4) as u16;
    let gain = fields.number("gain", &GAIN)?.unwrap_or(0) as i8;
    let depth = fields.number("accent-depth", &ACCENT_DEPTH)?.map(|depth| depth as u8);
    let pan = fields.number("pan", &PAN)?.unwrap_or(0) as i8;
    let (mute, solo) = (fields.flag("mute")?, fields.flag("solo")?);
    let swing = swing(fields)?;
    let parts = parts(fields, sections, division)?;
    Ok(Layer { sound, swing, gain, depth, pan, mute, solo, ..Layer::new(&name, voice, division, parts) })
}

fn sound(fields: Fields<'_>) -> Result<Option<String>, ParseError> {
    let Some(words) = fields.string("sound")? else { return Ok(None) };
    let length = words.text.chars().count() as i64;
    SOUND_NAME.check(length).map(drop).or_else(|e| words.fault_whole(Problem::Bound(e)))?;
    printable(words.text).or_else(|()| words.fault_whole(Problem::Control("sound")))?;
    Ok(Some(words.text.to_owned()))
}

/// What a part drawn in this section has to fill.
pub(super) fn context(section: &Section, division: u16) -> PartContext<'_> {
    PartContext { meter: &section.meter, bars: usize::from(section.bars), division, swing: None }
}

fn parts(fields: Fields<'_>, sections: &[Section], division: u16) -> Result<Vec<Part>, ParseError> {
    let tables = fields.tables("part", "[[layer.part]] tables")?;
    let own = cells_field::KEYS.into_iter().find(|key| fields.has(key));
    if let Some(key) = own
        && (sections.len() > 1 || !tables.is_empty())
    {
        return fields.fault_at_key(key, Problem::CellsOfNoSection(key));
    }
    let mut drawn: Vec<Option<Fields<'_>>> = vec![own.map(|_| fields); sections.len()];
    for table in tables {
        table.known(PART)?;
        let words = table.needed("section", "section = \"pull\"")?;
        let Some(at) = sections.iter().position(|s| s.name == words.text) else {
            let names = sections.iter().map(|s| s.name.clone()).collect();
            return words.fault_whole(Problem::UnknownSection(words.text.to_owned(), names));
        };
        if drawn[at].is_some() {
            return words.fault_whole(Problem::PartTaken(words.text.to_owned()));
        }
        drawn[at] = Some(table);
    }
    let nothing = toml_edit::Table::new();
    let mut spent = 0;
    let mut parts = Vec::new();
    for (section, table) in sections.iter().zip(drawn) {
        let context = context(section, division);
        let part = match table {
            Some(table) => cells_field::read(table, context, section.times, &mut spent)?,
            None => cells_field::read(Fields { table: &nothing, text: None }, context, section.times, &mut spent)
                .or_else(|fault| fields.fault(fault.problem))?,
        };
        parts.push(part);
    }
    Ok(parts)
}
