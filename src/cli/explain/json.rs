//! One groove explained for programs: JSON of a documented, versioned schema (README).

use crate::analysis::attacks::TimedAttack;
use crate::analysis::{Answer, HardnessPart, Hearing, Landings, Leader, Report, SpeedReport, StreamSource};
use crate::rhythm::{Groove, Place};
use serde_json::{Value, json};

/// Version of the schema: raised when a key goes or changes its meaning, not when one is added.
pub(super) const SCHEMA: u32 = 2;

/// The whole explanation. Numbers are rounded to six decimals.
pub(super) fn explain(file: &str, groove: &Groove, report: &Report) -> Value {
    json!({
        "schema": SCHEMA,
        "file": file,
        "title": groove.title(),
        "speed_percent": round(report.speed * 100.0),
        "cell_ms": report.cell_ms.map(round),
        "sections": groove.sections().iter().map(|s| json!({
            "name": s.name,
            "meter": s.meter.to_string(),
            "bpm": s.tempo.bpm().to_string(),
            "beat": s.tempo.unit().to_string(),
            "bars": s.bars,
            "times": s.times,
            "swing": s.swing.map(|s| s.to_string()),
        })).collect::<Vec<_>>(),
        "layers": report.layers.iter().map(|l| layer(groove, l)).collect::<Vec<_>>(),
        "focus": report.focus.iter().map(|l| groove.layers()[*l].name.clone()).collect::<Vec<_>>(),
        "attacks": report.attacks.len(),
        "answer": report.answer.as_ref().map(answer),
        "hearings": report.hearings.iter().map(|h| hearing(groove, report.speed, &report.attacks, h)).collect::<Vec<_>>(),
        "all_layers": report.all.as_ref().map(|all| json!({
            "answer": answer(&all.answer),
            "hearings": all.hearings.iter().map(|h| hearing(groove, report.speed, &all.attacks, h)).collect::<Vec<_>>(),
            "two_streams": all.stream_difference.zip(all.main_hearings(&report.hearings)).map(|(difference, (followed, of_all))| json!({
                "difference": round(difference),
                "followed_bpm": round(followed.bpm(report.speed)),
                "all_bpm": round(of_all.bpm(report.speed)),
                "ratio": round(followed.bpm(1.0) / of_all.bpm(1.0)),
            })),
        })),
        "speeds": report.speeds.as_deref().map(speeds),
        "streams": report.streams.iter().map(|s| stream(groove, &s.source, s.period)).collect::<Vec<_>>(),
        "pairs": report.pairs.iter().map(|p| json!({
            "a": p.a,
            "b": p.b,
            "ratio": round(p.ratio),
            "exact": p.exact.map(|(n, d)| [n, d]),
            "simple": [p.simple.0, p.simple.1],
            "error_percent": round(p.error_percent),
            "audible": p.audible,
            "meets_after_s": p.meets_after.map(round),
            "apart_s": p.apart.map(round),
            "shared_s": p.shared.map(|s| round(s.seconds)),
            "coincidences": p.shared.map(|s| s.coincidences),
            "again_after_s": p.again_after.map(round),
            "drift_ms_per_bar": round(p.drift_ms),
        })).collect::<Vec<_>>(),
        "measures": report.measures.iter().map(|(section, measures)| json!({
            "section": groove.sections()[*section].name,
            "layer": report.focus.first().map(|l| groove.layers()[*l].name.clone()),
            "values": measures.iter().map(|m| json!({
                "name": m.name,
                "source": m.source,
                "value": m.value.ok().map(round),
                "not_defined": m.value.err(),
                "detail": m.detail,
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "findings": report.findings.iter().map(|f| json!({
            "reason": f.reason.name(),
            "part": f.part.map(HardnessPart::name),
            "words": f.reason.to_string(),
            "threshold": round(f.threshold),
            "source": f.source,
            "place": f.place.map(|p| place(groove, p)),
            "weight": round(f.weight),
        })).collect::<Vec<_>>(),
    })
}

/// Version of a line of a groove that fulfils a condition.
const FOUND_SCHEMA: u32 = 1;

/// A groove that fulfils a condition, with the numbers that the condition is about.
pub(super) fn found(file: &str, found: &super::Match) -> Value {
    let mut value = json!({ "schema": FOUND_SCHEMA, "file": file, "title": found.title });
    for (quantity, numbers) in &found.numbers {
        value[quantity.key()] = json!(numbers.iter().map(|x| round(*x)).collect::<Vec<_>>());
    }
    value
}

fn round(x: f64) -> f64 {
    (x * 1e6).round() / 1e6 + 0.0
}

fn answer(a: &Answer) -> Value {
    let split =
        HardnessPart::ALL.iter().map(|p| (p.name().to_owned(), json!(round(a.hardness_parts.get(*p))))).collect();
    json!({
        "written": round(a.written),
        "shown_written": round(a.shown_written),
        "hardness": round(a.hardness()),
        "split": Value::Object(split),
        "meter_load": round(a.meter_load()),
    })
}

fn speeds(s: &SpeedReport) -> Value {
    json!({
        "hardness": s.points.iter().map(|(percent, hardness)| json!([percent, round(*hardness)])).collect::<Vec<_>>(),
        "leaders": s.changes.iter().map(|c| {
            let leader = s.hearing(c.leader);
            json!({
                "from_percent": c.percent,
                "kind": match c.leader {
                    Leader::Unclear => "none clearly".to_owned(),
                    _ => leader.map_or_else(|| "written beat".to_owned(), |h| h.kind.to_string()),
                },
                "bpm_at_full_speed": leader.map(|h| h.tempos(1.0).into_iter().map(round).collect::<Vec<_>>()),
            })
        }).collect::<Vec<_>>(),
    })
}

fn place(groove: &Groove, p: Place) -> Value {
    json!({ "layer": groove.layers()[p.layer].name, "section": groove.sections()[p.section].name, "cell": p.cell, "words": crate::describe::place(groove, p) })
}

fn landings(l: &Landings) -> Value {
    l.rows.iter().map(|r| json!({ "depth": r.depth.to_string(), "level": r.depth.level(), "count": r.count, "share": round(r.count as f64 / l.total.max(1) as f64) })).collect()
}

fn layer(groove: &Groove, layer: &crate::analysis::LayerReport) -> Value {
    let l = &groove.layers()[layer.layer];
    json!({
        "name": l.name,
        "voice": l.voice.name(),
        "heard": groove.is_audible(layer.layer),
        "landings": landings(&layer.landings),
        "sections": layer.sections.iter().map(|s| json!({
            "section": groove.sections()[s.section].name,
            "landings": landings(&s.landings),
            "groups": s.groups.as_ref().map(|g| json!({
                "unit": g.unit.to_string(),
                "in_cells": g.in_cells,
                "lead": g.lead,
                "line": g.line,
                "cells": g.cells,
                "lead_cells": g.lead_cells,
                "text": g.text,
                "accents": g.accents.as_ref().map(|a| json!({ "lead_cells": a.lead_cells, "text": a.text })),
                "figures": g.figures.iter().map(|f| json!({
                    "groups": f.groups,
                    "units": f.units,
                    "times": f.times,
                    "heads": f.heads,
                    "meets_after_bars": f.meets_after_bars,
                    "meets_after_figures": f.meets_after_figures,
                    "necklace": f.necklace,
                })).collect::<Vec<_>>(),
            })),
        })).collect::<Vec<_>>(),
    })
}

fn hearing(groove: &Groove, speed: f64, attacks: &[TimedAttack], h: &Hearing) -> Value {
    json!({
        "kind": h.kind.to_string(),
        "probability": round(h.probability),
        "shown": h.shown.map(round),
        "keeps_written": h.keeps_written(),
        "closes": h.closes,
        "bpm": round(h.bpm(speed)),
        "share": round(h.share()),
        "deviation_ms": round(h.deviation_ms),
        "deviation": round(h.deviation),
        "pulses": h.pulses.len(),
        "silent": h.silent,
        "unsounded": h.unsounded,
        "on_pulse": h.on_pulse,
        "between": h.between.iter().map(|(n, count)| json!({ "parts": n, "count": count })).collect::<Vec<_>>(),
        "off_pulse": h.off_pulse,
        "stretches": h.stretches.iter().map(|s| json!({
            "first": s.first,
            "place": attacks.get(s.first).map(|a| place(groove, Place { layer: a.layer, section: a.section, cell: a.cell })),
            "attacks": s.attacks,
            "start_s": round(s.start / speed),
            "bpm": round(s.bpm),
            "attacks_per_minute": round(s.attack_rate),
            "pulses": s.pulses,
            "deviation_ms": round(s.deviation_ms),
            "deviation": round(s.deviation),
        })).collect::<Vec<_>>(),
    })
}

fn stream(groove: &Groove, source: &StreamSource, period: f64) -> Value {
    let (what, index, stretch) = match source {
        StreamSource::Written => (json!("written beat"), None, None),
        StreamSource::Hearing { hearing, stretch } => (json!("hearing"), Some(*hearing), *stretch),
        StreamSource::Layer(l) => (json!(groove.layers()[*l].name), Some(*l), None),
    };
    json!({
        "source": what,
        "index": index,
        "stretch": stretch,
        "period_ms": round(period * 1000.0),
        "bpm": round(60.0 / period),
    })
}
