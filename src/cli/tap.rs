//! Taps of a file against a groove: the report of the editor without it. It must not know who tapped, nor how a list is read.

use super::args::Tap;
use super::{Exit, Failure, input, times};
use crate::analysis::tap::{TapOptions, tap_report};
use crate::analysis::{self, Scope};
use crate::describe::tap::{LineStyle, TapContext, TapOffset, report_lines};
use std::fmt::Write as _;
use std::io::{self, Write};

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
    let groove = input::read(&ask.file).map_err(|words| not_a_groove(ask, &words))?;
    let layers = input::layers(&groove, &ask.layer).map_err(|words| Failure::new(Exit::Usage, words))?;
    let (times, heading) = times::read(&ask.times).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    if let Some(words) = heading {
        writeln!(io::stderr().lock(), "{words}")?;
    }
    let scope = Scope { layers, region: None };
    let report = analysis::report(&groove, &analysis::Ask { scope, speed, limits });
    let tap_ask = TapOptions {
        speed: report.speed,
        range: (0.0, report.clock.total()),
        offset: ask.offset_ms.unwrap_or(0.0) / 1000.0,
    };
    let taps: Vec<f64> = times.iter().map(|t| t * report.speed).collect();
    let offset = ask.offset_ms.map_or(TapOffset::Unknown, TapOffset::Set);
    let about = TapContext { options: tap_ask, offset, buffer_ms: None, over_ssh: false };
    let mut text = String::new();
    for (i, line) in report_lines(&groove, &report, &tap_report(&report, &tap_ask, &taps), &about).iter().enumerate() {
        if i > 0 && line.style == LineStyle::Heading {
            text.push('\n');
        }
        let _ = writeln!(text, "{:by$}{}", "", line.text, by = line.indent);
    }
    io::stdout().lock().write_all(text.as_bytes())?;
    Ok(Exit::Good)
}

/// Says what is wrong with the groove; of two files named in the wrong order, that they are.
fn not_a_groove(ask: &Tap, words: &str) -> Failure {
    let swapped = ask.times.as_os_str() != "-" && input::read(&ask.times).is_ok();
    if !swapped {
        return Failure::new(Exit::BadGroove, words);
    }
    let (file, times) = (ask.file.display(), ask.times.display());
    let words =
        format!("{file} is no groove and {times} is one, allowed is the groove first: teeter tap {times} {file}");
    Failure::new(Exit::Usage, words)
}
