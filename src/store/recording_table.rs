//! The `[recording]` table of a groove's file.

use super::error::{ParseError, Problem};
use super::fields::Fields;
use super::print::{bpm, string};
use crate::rhythm::bounds::{self, ANCHOR_BAR, ANCHOR_PASS, FILE_NAME};
use crate::rhythm::{Anchor, Fraction, GridPlace, Groove, Micros, Recording};
use toml_edit::{Array, InlineTable, Item, Table, Value};

/// Keys of the recording, in the order they are written.
pub(super) const RECORDING_KEYS: &[&str] = &["file", "fingerprint", "anchors"];
const ANCHOR_KEYS: &[&str] = &["pass", "bar", "beat", "at"];
const AT_FORM: &str = "seconds with at most six decimals, like 12.345";
const BEAT_FORM: &str = "a number like 2 or 2.5, or a string like \"7/3\"";
/// Greatest denominator of an anchor's beat.
const MAX_BEAT_DENOMINATOR: i64 = 1000;
const MICROS_PER_SECOND: i32 = 1_000_000;

pub(super) fn read(root: Fields<'_>) -> Result<Option<Recording>, ParseError> {
    let Some(fields) = root.table_of("recording")? else { return Ok(None) };
    fields.reject_unknown(RECORDING_KEYS)?;
    let file = fields.required_string("file", "file = \"winch.flac\"")?;
    let characters = file.text.chars().count() as i64;
    FILE_NAME.check(characters).map_err(|e| file.error_at_start(Problem::Bound(e)))?;
    if file.text.contains(char::is_control) {
        return Err(file.error_at_start(Problem::ControlCharacter("file")));
    }
    let fingerprint = fields.string("fingerprint")?.map(|text| {
        let hexadecimal = text.text.len() == 64 && text.text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
        let form = "64 hexadecimal digits".to_owned();
        let error = || text.error_at_start(Problem::Form("fingerprint", text.text.to_owned(), form));
        if hexadecimal { Ok(text.text.to_owned()) } else { Err(error()) }
    });
    let fingerprint = fingerprint.transpose()?;
    let mut anchors: Vec<Anchor> = Vec::new();
    for value in fields.array("anchors", "an array of anchors like { bar = 1, at = 0.5 }")?.into_iter().flatten() {
        let wrong =
            || fields.error_at_value(value, Problem::WrongType("anchors", value.type_name(), "{ bar = 1, at = 0.5 }"));
        let table = value.as_inline_table().ok_or_else(wrong)?.clone().into_table();
        let anchor = anchor(Fields { table: &table, text: fields.text })
            .map_err(|e| ParseError { at: e.at.filter(|at| *at > 0).or_else(|| value.span().map(|s| s.start)), ..e })?;
        if let Some(last) = anchors.last()
            && (last.place >= anchor.place || last.at >= anchor.at)
        {
            let order = "anchors in the order of both their places and their times".to_owned();
            let found = value.to_string().trim().to_owned();
            return Err(fields.error_at_value(value, Problem::Form("anchors", found, order)));
        }
        anchors.push(anchor);
    }
    bounds::ANCHORS.check(anchors.len() as i64).map_err(|e| fields.error_at("anchors", Problem::Bound(e)))?;
    Ok(Some(Recording::new(file.text, fingerprint).with_anchors(anchors)))
}

fn anchor(fields: Fields<'_>) -> Result<Anchor, ParseError> {
    fields.reject_unknown(ANCHOR_KEYS)?;
    let pass = fields.number("pass", &ANCHOR_PASS)?.unwrap_or(1);
    let missing = |key, example| fields.error(Problem::MissingKey(key, example));
    let bar = fields.number("bar", &ANCHOR_BAR)?.ok_or_else(|| missing("bar", "bar = 1"))?;
    let one = Fraction::ONE;
    let beat = match fields.decimal("beat", BEAT_FORM)? {
        None => Fraction::ZERO,
        Some(raw) => {
            let beat = Fraction::parse(&raw).filter(|b| b.denom() <= MAX_BEAT_DENOMINATOR && *b >= one);
            let from_zero = beat.and_then(|b| b.minus(one));
            from_zero.ok_or_else(|| fields.error_at("beat", Problem::Form("beat", raw, BEAT_FORM.into())))?
        }
    };
    bounds::ANCHOR_BEAT.check(beat.floor() + 1).map_err(|e| fields.error_at("beat", Problem::Bound(e)))?;
    let raw = fields.decimal("at", AT_FORM)?.ok_or_else(|| missing("at", "at = 0.5"))?;
    let micros = Fraction::parse(&raw).and_then(|s| s.times(Fraction::whole(MICROS_PER_SECOND)));
    let at = micros.filter(|m| m.denom() == 1 && !raw.contains('/')).map(Fraction::numer);
    let at = at.ok_or_else(|| fields.error_at("at", Problem::Form("at", raw, AT_FORM.into())))?;
    let at = Micros(at).checked().map_err(|e| fields.error_at("at", Problem::Bound(e)))?;
    Ok(Anchor { place: GridPlace { pass: (pass - 1) as u32, bar: (bar - 1) as u32, beat }, at })
}

/// The table of a new file.
pub(super) fn print(recording: &Recording) -> Table {
    let mut table = Table::new();
    table.insert("file", Item::Value(string(&recording.file)));
    if let Some(fingerprint) = &recording.fingerprint {
        table.insert("fingerprint", Item::Value(Value::from(fingerprint)));
    }
    if !recording.anchors().is_empty() {
        table.insert("anchors", Item::Value(anchors(recording.anchors()).into()));
    }
    table
}

/// The anchors, one a line.
fn anchors(anchors: &[Anchor]) -> Array {
    let mut array: Array = anchors.iter().map(|a| Value::from(print_anchor(a)).decorated("\n  ", "")).collect();
    array.set_trailing_comma(true);
    array.set_trailing("\n");
    array
}

fn print_anchor(anchor: &Anchor) -> InlineTable {
    let GridPlace { pass, bar, beat } = anchor.place;
    let mut table = InlineTable::new();
    if pass > 0 {
        table.insert("pass", i64::from(pass + 1).into());
    }
    table.insert("bar", i64::from(bar + 1).into());
    if beat != Fraction::ZERO {
        let from_one = beat.plus(Fraction::ONE).map(bpm);
        table.insert("beat", from_one.unwrap_or_else(|| Value::from(1)));
    }
    let (whole, part) = (anchor.at.0 / i64::from(MICROS_PER_SECOND), anchor.at.0 % i64::from(MICROS_PER_SECOND));
    let text = format!("{whole}.{part:06}");
    let short = text.trim_end_matches('0');
    let text = if short.ends_with('.') { format!("{short}0") } else { short.to_owned() };
    table.insert("at", text.parse().unwrap_or_else(|_| Value::from(text)));
    table
}

/// Writes a changed recording into a file's root table and keeps the comments and the order of what stays.
pub(super) fn update(root: &mut Table, old: &Groove, new: &Groove) {
    use super::update::{insert, set, set_or_remove};
    let (old, new) = (old.recording(), new.recording());
    if old == new {
        return;
    }
    let Some(recording) = new else {
        root.remove("recording");
        return;
    };
    match root.get_mut("recording").and_then(Item::as_table_mut) {
        None => insert(root, super::read::ROOT_KEYS, "recording", Item::Table(print(recording))),
        Some(table) => {
            let old = old.cloned().unwrap_or_else(|| Recording::new("", None));
            if old.file != recording.file {
                set(table, RECORDING_KEYS, "file", string(&recording.file));
            }
            if old.fingerprint != recording.fingerprint {
                let value = recording.fingerprint.as_ref().map(Value::from);
                set_or_remove(table, RECORDING_KEYS, "fingerprint", value);
            }
            if old.anchors() != recording.anchors() {
                let all = Some(anchors(recording.anchors()).into()).filter(|_| !recording.anchors().is_empty());
                set_or_remove(table, RECORDING_KEYS, "anchors", all);
            }
        }
    }
}
