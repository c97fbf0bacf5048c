//! An alignment for programs.

use crate::jobs::grid::alignment::{self, FoundGroove};
use crate::recording::fit::align::{Alternative, Anchor, Hit};
use serde_json::json;

/// Version of the schema: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

pub(super) fn alignment(file: Option<&str>, recording: &str, found: &FoundGroove<'_>) -> String {
    let a = found.alignment;
    let onset = |index: usize| round(found.onsets[index].seconds);
    let anchor = |(k, anchor): (usize, &Anchor)| {
        json!({
            "pass": anchor.pass + 1,
            "bar": anchor.bar + 1,
            "seconds": round(anchor.seconds),
            "computed": anchor.is_extrapolated,
            "bpm": a.rates.get(k).map(|r| round(found.bpm(r.bar, r.rate))),
        })
    };
    let hit = |h: &Hit| {
        json!({
            "seconds": onset(h.onset),
            "place": alignment::place(found, h.score),
            "deviation_ms": round(1000.0 * h.deviation),
        })
    };
    let reading = |(i, o): (usize, &Alternative)| {
        json!({
            "number": i + 1,
            "tempo_ratio": round(1.0 / o.ratio),
            "shift_beats": round(o.shift / found.beat()),
            "gap": round(o.gap),
            "words": alignment::reading(found, o),
        })
    };
    let value = json!({
        "schema": SCHEMA,
        "file": file,
        "recording": recording,
        "from_s": round(a.range.0),
        "to_s": round(a.range.1),
        "tempo_ratio": round(1.0 / a.rate),
        "deviation_ms": round(1000.0 * a.sigma),
        "share": round(a.share),
        "evidence": round(a.total),
        "ambiguous": a.is_ambiguous(),
        "anchors": a.anchors.iter().enumerate().map(anchor).collect::<Vec<_>>(),
        "strokes": a.hits.iter().map(hit).collect::<Vec<_>>(),
        "missing": a.missing.iter().map(|m| json!({
            "seconds": round(m.seconds),
            "place": alignment::place(found, m.score),
        })).collect::<Vec<_>>(),
        "extra": a.extra.iter().map(|e| onset(*e)).collect::<Vec<_>>(),
        "remarks": alignment::remarks(found),
        "readings": a.alternatives.iter().enumerate().map(reading).collect::<Vec<_>>(),
    });
    format!("{value}\n")
}

fn round(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}
