//! `teeter onsets`: lists the onsets of a recording.

use super::args::OnsetsArgs;
use super::{CliError, Exit, output, recordings};
use crate::recording::detect::DetectedOnsets;
use crate::recording::onsets::Onset;
use serde_json::json;
use std::fmt::Write as _;
use std::io::{self, Write};

/// Version of the JSON: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

pub(super) fn run(args: &OnsetsArgs) -> Result<Exit, CliError> {
    let found = recordings::detect_onsets(&args.file, args.threshold.value, false)?;
    let text = if args.json {
        let file = args.file.to_string_lossy();
        format!("{}\n", json(&file, args.threshold.value, &found))
    } else if args.csv {
        csv(&found.onsets)
    } else {
        table(&found.onsets)
    };
    io::stdout().lock().write_all(text.as_bytes())?;
    if found.onsets.is_empty() {
        output::warn(format_args!("no onset has a confidence of at least {}", args.threshold.value))?;
    }
    Ok(Exit::Success)
}

fn table(onsets: &[Onset]) -> String {
    let mut text = String::from("       s  confidence  strength dB  low dB  mid dB  high dB\n");
    for o in onsets {
        let _ = writeln!(
            text,
            "{:8.3}  {:10.2}  {:11.1}  {:6.1}  {:6.1}  {:7.1}",
            o.seconds, o.confidence, o.strength_db, o.low_db, o.mid_db, o.high_db
        );
    }
    text
}

fn csv(onsets: &[Onset]) -> String {
    let mut text = String::from("seconds,confidence,strength_db,low_db,mid_db,high_db\n");
    for o in onsets {
        let _ = writeln!(
            text,
            "{:.6},{:.4},{:.2},{:.2},{:.2},{:.2}",
            o.seconds, o.confidence, o.strength_db, o.low_db, o.mid_db, o.high_db
        );
    }
    text
}

fn json(file: &str, threshold: f32, found: &DetectedOnsets) -> String {
    let onset = |o: &Onset| {
        json!({
            "seconds": round(o.seconds, 6),
            "confidence": round(o.confidence.into(), 4),
            "strength_db": round(o.strength_db.into(), 2),
            "low_db": round(o.low_db.into(), 2),
            "mid_db": round(o.mid_db.into(), 2),
            "high_db": round(o.high_db.into(), 2),
        })
    };
    let value = json!({
        "schema": SCHEMA,
        "file": file,
        "seconds": round(found.seconds, 6),
        "sample_rate": found.layout.rate,
        "threshold": round(threshold.into(), 6),
        "warnings": found.warnings,
        "onsets": found.onsets.iter().map(onset).collect::<Vec<_>>(),
    });
    value.to_string()
}

/// Rounds to a number of decimals.
fn round(x: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (x * scale).round() / scale
}
