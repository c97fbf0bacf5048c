//! The attacks of a groove and the pulses of its hearings as tables for other programs: CSV (RFC 4180) and JSON.

use super::ExportInput;
use crate::analysis::{Answer, Hearing, landing};
use crate::describe;
use crate::notation::{FormatError, passes};
use crate::rhythm::{Event, Spot, Time};
use serde_json::{Map, Value, json};
use std::fmt::Write;

/// The columns of an attack, before those of the hearings. Times count from the start of what is exported: exact ones in whole
/// notes, those in seconds at full speed.
const COLUMNS: [&str; 15] = [
    "layer",
    "voice",
    "section",
    "pass",
    "bar",
    "beat",
    "start",
    "seconds",
    "length",
    "length_seconds",
    "accent",
    "flam",
    "pitch",
    "landing",
    "cells_to_next",
];

type Row = Map<String, Value>;

/// One row per attack, layer by layer. Each chosen hearing has a column with the distance to its nearest pulse in milliseconds,
/// negative before the pulse.
///
/// # Errors
/// [`FormatError`] if the section does not exist or the groove is too long for exact times.
pub(super) fn csv(piece: &ExportInput<'_>) -> Result<String, FormatError> {
    let rows = rows(piece)?;
    let hearings: Vec<String> = hearings(piece).map(|(index, _)| deviation_column(index)).collect();
    let columns: Vec<&str> = COLUMNS.into_iter().chain(hearings.iter().map(String::as_str)).collect();
    let mut text = columns.join(",") + "\r\n";
    for row in rows {
        let fields: Vec<String> = columns.iter().map(|c| field(&row[*c])).collect();
        // Writing to a String cannot fail.
        let _ = write!(text, "{}\r\n", fields.join(","));
    }
    Ok(text)
}

/// The same attacks, the beats, and the chosen hearings with their pulses.
///
/// # Errors
/// As for [`csv`].
pub(super) fn json(piece: &ExportInput<'_>) -> Result<String, FormatError> {
    let rows = rows(piece)?;
    let report = piece.report;
    let (from, to) = range(piece);
    let inside = |seconds: &[f64]| -> Vec<Value> {
        seconds.iter().filter(|s| (from..to).contains(*s)).map(|s| rounded(s - from)).collect()
    };
    let hearing = |(index, h): (usize, &Hearing)| {
        json!({
            "number": index + 1,
            "name": describe::hearing_name(h),
            "bpm": h.tempos(1.0),
            "probability": h.probability,
            "pulses": inside(&h.pulses),
        })
    };
    let document = json!({
        "schema": 1,
        "title": piece.groove.title(),
        "seconds": rounded(to - from),
        "attacks": rows,
        "beats": inside(&super::picture::beats(piece)),
        "hearings": hearings(piece).map(hearing).collect::<Vec<_>>(),
        "hardness": report.answer.as_ref().map(Answer::hardness),
    });
    let text = serde_json::to_string_pretty(&document).map_err(|e| FormatError::new("", e.to_string()))?;
    Ok(text + "\n")
}

fn hearings<'a>(piece: &'a ExportInput<'_>) -> impl Iterator<Item = (usize, &'a Hearing)> {
    piece.hearings.iter().filter_map(|h| Some((*h, piece.report.hearings.get(*h)?)))
}

fn deviation_column(index: usize) -> String {
    format!("hearing_{}_ms", index + 1)
}

/// Start and end of the exported sections, in seconds of the groove.
fn range(piece: &ExportInput<'_>) -> (f64, f64) {
    let clock = &piece.report.clock;
    let mut ranges = clock.passes().filter(|(s, _)| piece.has_section(*s)).filter_map(|(s, p)| clock.range(s, p));
    let first = ranges.next().unwrap_or((0.0, 0.0));
    (first.0, ranges.last().unwrap_or(first).1)
}

fn rows(piece: &ExportInput<'_>) -> Result<Vec<Row>, FormatError> {
    let groove = piece.groove;
    if piece.section.is_some_and(|s| s >= groove.sections().len()) {
        return Err(FormatError::new("", "no such section"));
    }
    let too_long = || FormatError::new("", "the groove is too long to export with exact times");
    let passes = passes(groove, piece.section).ok_or_else(too_long)?;
    let mut rows = Vec::new();
    for layer in 0..groove.layers().len() {
        let events: Vec<Event> = groove.events(layer).into_iter().filter(|e| piece.has_section(e.section)).collect();
        for (i, event) in events.iter().enumerate() {
            let next = events.get(i + 1).filter(|n| (n.section, n.pass) == (event.section, event.pass));
            let start = passes.iter().filter(|p| p.section == event.section).nth(event.pass).map(|p| p.start);
            let at = start.and_then(|s| s.plus(event.offset)).ok_or_else(too_long)?;
            rows.push(row(piece, layer, event, at, next.map(|n| n.cell)));
        }
    }
    Ok(rows)
}

fn row(piece: &ExportInput<'_>, layer: usize, event: &Event, at: Time, next_cell: Option<usize>) -> Row {
    let (groove, clock) = (piece.groove, &piece.report.clock);
    let (section, context) = (&groove.sections()[event.section], groove.context(layer, event.section));
    let part = groove.part(layer, event.section);
    let spot = part.spot(event.cell, context);
    let beats = section.meter.beats();
    let seconds = |offset| clock.seconds(event.section, event.pass, offset).unwrap_or(0.0);
    let start = seconds(event.offset);
    let beat = |s: &Spot| s.beat + s.cell * usize::from(s.span.beats) / usize::from(s.span.cells);
    let length = event.offset.plus(event.length).map_or(0.0, |end| seconds(end) - start);
    let values: [Value; COLUMNS.len()] = [
        json!(groove.layers()[layer].name),
        json!(groove.layers()[layer].voice.name()),
        json!(section.name),
        json!(event.pass + 1),
        json!(spot.as_ref().map(|s| beat(s) / beats + 1)),
        json!(spot.as_ref().map(|s| beat(s) % beats + 1)),
        json!(at.to_string()),
        rounded(start - range(piece).0),
        json!(event.length.to_string()),
        rounded(length),
        json!(event.attack.accent.name()),
        json!(event.attack.flam),
        json!(event.attack.pitch.map(|p| p.to_string())),
        json!(spot.map(|s| landing::depth(s, context).to_string())),
        json!(next_cell.unwrap_or(part.len(context)) - event.cell),
    ];
    let mut row: Row = COLUMNS.into_iter().map(str::to_owned).zip(values).collect();
    for (index, hearing) in hearings(piece) {
        row.insert(deviation_column(index), deviation(&hearing.pulses, start, clock.total()));
    }
    row
}

/// The signed distance in milliseconds to the nearest of some ascending pulses, which re-enter after `total` seconds.
fn deviation(pulses: &[f64], at: f64, total: f64) -> Value {
    let next = pulses.partition_point(|p| *p < at);
    let before = next.checked_sub(1).map(|i| pulses[i]).or(pulses.last().map(|p| p - total));
    let after = pulses.get(next).copied().or(pulses.first().map(|p| p + total));
    let nearest = before.into_iter().chain(after).map(|p| at - p).min_by(|a, b| a.abs().total_cmp(&b.abs()));
    nearest.map_or(Value::Null, |d| json!((d * 1e6).round() / 1e3))
}

/// To a tenth of a microsecond.
fn rounded(seconds: f64) -> Value {
    json!((seconds * 1e7).round() / 1e7)
}

/// A value as a field of CSV.
fn field(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) if text.contains(['"', ',', '\r', '\n']) => format!("\"{}\"", text.replace('"', "\"\"")),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{AnalysisOptions, report};
    use crate::rhythm::tests::grooves;
    use proptest::prelude::*;

    #[test]
    fn a_field_is_quoted_as_rfc_4180_says() {
        // Section 2, rules 6 and 7.
        for (text, quoted) in [("a", "a"), ("a,b", "\"a,b\""), ("say \"1\"", "\"say \"\"1\"\"\""), ("a\nb", "\"a\nb\"")]
        {
            assert_eq!(field(&json!(text)), quoted);
        }
        assert_eq!([field(&Value::Null), field(&json!(0.5))], ["", "0.5"]);
    }

    #[test]
    fn a_distance_is_to_the_nearest_pulse_also_across_the_loop() {
        let pulses = [0.1, 0.5, 0.9];
        for (at, ms) in [(0.12, 20.0), (0.45, -50.0), (0.99, 90.0), (1.05, -50.0)] {
            assert_eq!(deviation(&pulses, at, 1.0), json!(ms), "{at}");
        }
        assert_eq!(deviation(&[], 0.1, 1.0), Value::Null);
    }

    fn read(time: &str) -> Option<Time> {
        let (numer, denom) = time.split_once('/')?;
        Time::new(numer.parse().ok()?, denom.parse().ok()?)
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(32))]
        #[test]
        fn every_attack_has_a_row_with_its_times(groove in grooves()) {
            let report = report(&groove, &AnalysisOptions::default());
            let hearings = (0..report.hearings.len().min(2)).collect();
            let piece = ExportInput { groove: &groove, report: &report, hearings, section: None };
            let rows = rows(&piece).map_err(|e| TestCaseError::fail(e.to_string()))?;
            let events: usize = (0..groove.layers().len()).map(|l| groove.events(l).len()).sum();
            prop_assert_eq!(rows.len(), events);
            for row in &rows {
                // Seconds from the exact time: without a change of tempo they are proportional.
                if groove.sections().len() == 1 {
                    let exact = row["start"].as_str().and_then(read).ok_or_else(|| TestCaseError::fail("no time"))?;
                    let expected = crate::analysis::clock::wholes(exact) * report.clock.seconds_per_whole(0).unwrap_or(0.0);
                    let seconds = row["seconds"].as_f64().unwrap_or(f64::NAN);
                    prop_assert!((seconds - expected).abs() < 1e-6, "{seconds} {expected}");
                }
            }
            let lines = csv(&piece).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert!(lines.matches("\r\n").count() > events);
            let document: Value = serde_json::from_str(&json(&piece).map_err(|e| TestCaseError::fail(e.to_string()))?)
                .map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert_eq!(document["attacks"].as_array().map(Vec::len), Some(events));
        }
    }
}
