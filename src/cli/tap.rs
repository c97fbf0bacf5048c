//! Taps of a file against a groove: the report of the editor without it. It must not know who tapped, nor how.

use super::args::Tap;
use super::{Exit, Failure, input};
use crate::analysis::tap::{TapAsk, tap_report};
use crate::analysis::{self, Scope};
use crate::store;
use crate::words::tap::{About, Look, TapOffset, told};
use std::fmt::Write as _;
use std::io::{self, Read, Write};
use std::path::Path;

pub(super) fn run(ask: &Tap) -> Result<Exit, Failure> {
    if ask.file.as_os_str() == "-" && ask.times.as_os_str() == "-" {
        return Err(Failure::new(Exit::Usage, "standard input is named twice, allowed is once"));
    }
    let speed = input::speed(&ask.speed)?;
    if ask.offset_ms.is_some_and(|ms| !(-1000.0..=1000.0).contains(&ms)) {
        let words =
            format!("--offset-ms is {}, allowed is a number from -1000 to 1000 (ms)", ask.offset_ms.unwrap_or(0.0));
        return Err(Failure::new(Exit::Usage, words));
    }
    let limits = input::limits(None)?;
    let groove = input::read(&ask.file).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let layers = input::layers(&groove, &ask.layer).map_err(|words| Failure::new(Exit::Usage, words))?;
    let times = times(&ask.times).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let scope = Scope { layers, region: None };
    let report = analysis::report(&groove, &analysis::Ask { scope, speed, limits });
    let tap_ask = TapAsk {
        speed: report.speed,
        range: (0.0, report.clock.total()),
        offset: ask.offset_ms.unwrap_or(0.0) / 1000.0,
    };
    let taps: Vec<f64> = times.iter().map(|t| t * report.speed).collect();
    let offset = ask.offset_ms.map_or(TapOffset::Unknown, TapOffset::Set);
    let about = About { ask: tap_ask, offset, grain_ms: None, far_line: false };
    let mut text = String::new();
    for (i, line) in told(&groove, &report, &tap_report(&report, &tap_ask, &taps), &about).iter().enumerate() {
        if i > 0 && line.look == Look::Heading {
            text.push('\n');
        }
        let _ = writeln!(text, "{:by$}{}", "", line.words, by = line.by);
    }
    io::stdout().lock().write_all(text.as_bytes())?;
    Ok(Exit::Good)
}

/// The first field of every line, in seconds. Empty lines, lines that begin with `#`, and a heading are passed over.
fn times(path: &Path) -> Result<Vec<f64>, String> {
    let name = if path.as_os_str() == "-" { "standard input".to_owned() } else { path.display().to_string() };
    let cannot = |e: io::Error| format!("{name}: cannot read: {e}");
    let mut text = String::new();
    let read = if path.as_os_str() == "-" {
        io::stdin().lock().take(store::LIMIT + 1).read_to_string(&mut text)
    } else {
        std::fs::File::open(path).map_err(cannot)?.take(store::LIMIT + 1).read_to_string(&mut text)
    };
    read.map_err(cannot)?;
    if text.len() as u64 > store::LIMIT {
        return Err(format!("{name}: found more than {} bytes, allowed are at most that", store::LIMIT));
    }
    let mut times = Vec::new();
    let lines = text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'));
    for (n, (number, line)) in lines.enumerate() {
        let field = line.split(['\t', ',', ';']).next().unwrap_or_default().trim();
        match field.parse::<f64>() {
            Ok(seconds) if seconds.abs() <= 1e6 => times.push(seconds),
            Err(_) if n == 0 => {}
            _ => {
                let found: String = field.chars().take(40).collect();
                return Err(format!(
                    "{name}:{}:1: found '{found}', allowed is a number of seconds up to 1000000",
                    number + 1
                ));
            }
        }
    }
    Ok(times)
}
