//! Many grooves as a table, a line each.

use crate::analysis::Report;
use crate::describe::{self, visible};
use crate::rhythm::Groove;
use std::fmt::Write;
use std::path::Path;
use unicode_width::UnicodeWidthStr;

const HEADINGS: [&str; 8] = ["file", "cell", "hardness", "meter load", "likeliest", "BPM", "written", "why it is hard"];

pub(super) fn row(path: &Path, groove: &Groove, report: &Report) -> [String; 8] {
    let first = report.hearings.first();
    let written = report.written().map(|w| &report.hearings[w]);
    // Without a hearing there is no pulse to compare with.
    let percent = (report.speed * 100.0).round() as u16;
    let written = written.map_or_else(
        || format!("{:.1}", describe::written_tempo(groove, percent)),
        |h| describe::tempos(h, report.speed),
    );
    [
        visible(&path.display().to_string()).into_owned(),
        report.cell_ms.map(|ms| format!("{ms:.0} ms")).unwrap_or_default(),
        report.answer.map(|a| format!("{:.2}", a.hardness().max(0.0))).unwrap_or_default(),
        report.answer.map(|a| format!("{:.2}", a.meter_load().max(0.0))).unwrap_or_default(),
        first.map_or_else(|| "no pulse".into(), |h| h.kind.short()),
        first.map(|h| describe::tempos(h, report.speed)).unwrap_or_default(),
        written,
        report.findings.first().map_or_else(|| "no reason reported".into(), |f| f.reason.to_string()),
    ]
}

/// The table with its heading.
pub(super) fn print(rows: &[[String; 8]]) -> String {
    let mut widths = HEADINGS.map(UnicodeWidthStr::width);
    for row in rows {
        for (w, cell) in widths.iter_mut().zip(row) {
            *w = (*w).max(cell.width());
        }
    }
    let mut text = String::new();
    let mut line = |cells: &[String; 8]| {
        let padded: Vec<String> =
            cells.iter().zip(widths).map(|(c, w)| format!("{c}{}", " ".repeat(w - c.width()))).collect();
        let _ = writeln!(text, "{}", padded.join("  ").trim_end());
    };
    line(&HEADINGS.map(String::from));
    rows.iter().for_each(line);
    text
}
