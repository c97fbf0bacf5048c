//! One groove explained in words, as a teacher would read it. It must not know JSON or how a report is made.

use super::{self as describe, streams};
use crate::analysis::{Hearing, Report};
use crate::rhythm::{Groove, print_note_value};
use std::fmt::Write;

/// The whole explanation, several lines, ending without a line break.
pub fn explain(groove: &Groove, report: &Report) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = write_all(&mut text, groove, report);
    text.trim_end().to_owned()
}

fn write_all(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    writeln!(t, "{}", groove.title())?;
    for s in groove.sections() {
        let beat = print_note_value(s.tempo.unit());
        let times = if s.times > 1 { format!(", {} times through", s.times) } else { String::new() };
        let swing = s.swing.map(|s| format!(", swing {s}")).unwrap_or_default();
        let bars = describe::bars(s.bars);
        writeln!(t, "  section {}: {} at {beat} = {}, {bars}{times}{swing}", s.name, s.meter, s.tempo.bpm())?;
    }
    if report.speed != 1.0 {
        writeln!(t, "  played at {:.0}% of these tempos; every figure below is for that speed", report.speed * 100.0)?;
    }
    writeln!(t, "\nHow it is built")?;
    for layer in &report.layers {
        built(t, groove, layer)?;
    }
    if report.attacks.is_empty() {
        return writeln!(t, "\nThere is no attack, so there is nothing to hear.");
    }
    writeln!(t, "\nWhat the ear may take as the pulse ({})", names(groove, &report.focus))?;
    hearings(t, groove, report)?;
    writeln!(t, "\nWhy it is hard")?;
    if report.findings.is_empty() {
        writeln!(t, "  Nothing was found that makes it hard.")?;
    }
    for (i, f) in report.findings.iter().enumerate() {
        let place = f.place.map(|p| format!(" [{}]", describe::place(groove, p))).unwrap_or_default();
        writeln!(t, "  {}. {}{place}", i + 1, f.reason)?;
        writeln!(t, "     {}; {}", describe::counts(f), describe::source(f))?;
    }
    streams(t, groove, report)?;
    measures(t, groove, report)
}

fn measures(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    writeln!(t, "\nPublished measures of {}", names(groove, &report.focus[..1]))?;
    for (section, measures) in &report.measures {
        if report.measures.len() > 1 {
            writeln!(t, "  in {}", groove.sections()[*section].name)?;
        }
        for m in measures {
            writeln!(t, "  {} [{}]", describe::measure(m), m.source)?;
        }
    }
    Ok(())
}

fn names(groove: &Groove, layers: &[usize]) -> String {
    let names: Vec<&str> = layers.iter().map(|l| groove.layers()[*l].name.as_str()).collect();
    names.join(" + ")
}

fn built(t: &mut String, groove: &Groove, layer: &crate::analysis::LayerReport) -> std::fmt::Result {
    let l = &groove.layers()[layer.layer];
    writeln!(t, "  {} ({})", l.name, describe::sounds(groove, layer.layer))?;
    for (by, line) in describe::built(groove, layer) {
        writeln!(t, "    {:by$}{line}", "")?;
    }
    Ok(())
}

fn hearings(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    if let Some(ms) = report.cell_ms {
        writeln!(t, "  the shortest cell that a fifth of its attacks need lasts {ms:.0} ms")?;
    }
    writeln!(t, "     score      BPM      fits        wobble  pulse")?;
    for (i, h) in report.hearings.iter().enumerate() {
        writeln!(
            t,
            "  {:>2}  {:>4.0}  {:>7.1}  {:>7.0}%  {:>5.0} ms {:>3.0}%  {}",
            i + 1,
            h.score,
            h.bpm(report.speed),
            h.share() * 100.0,
            h.wobble_ms,
            h.wobble * 100.0,
            describe::kind(groove, report, h)
        )?;
        if h.stretches.len() > 1 {
            writeln!(t, "        {}", stretches(groove, report, h))?;
        }
    }
    let Some(first) = report.hearings.first() else {
        return writeln!(t, "  too few attacks for a pulse");
    };
    let near = report.near_the_first();
    if near > 1 {
        writeln!(t, "  none stands out: the first {near} lie within a tenth of one score")?;
    }
    writeln!(t, "  score of the first = {}", describe::parts(first))?;
    writeln!(t, "  its attacks land {}", describe::lands(first))?;
    if let ([only], false) = (&first.stretches[..], first.kind.is_counted()) {
        writeln!(
            t,
            "  its attacks come at a mean rate of {:.1} a minute; pulses without an attack: {} of {}",
            only.mean_bpm,
            first.silent,
            first.pulses.len()
        )?;
    }
    writeln!(t, "  by playing speed: {}", turns(groove, report))
}

fn stretches(groove: &Groove, report: &Report, h: &Hearing) -> String {
    let mut parts: Vec<String> = Vec::new();
    for (i, s) in h.stretches.iter().filter(|s| s.attacks > 0).enumerate() {
        if i == 6 && h.stretches.len() > 8 {
            parts.push(format!("and {} more", h.stretches.len() - i));
            break;
        }
        let at = describe::stretch_place(groove, report, s);
        let attacks = if s.attacks == 1 { "1 attack".to_owned() } else { format!("{} attacks", s.attacks) };
        parts.push(format!("{:.1} BPM ({attacks} from {at})", s.bpm));
    }
    parts.join(" -> ")
}

/// Which hearing is the first at which playing speeds, in one line.
pub fn turns(groove: &Groove, report: &Report) -> String {
    let name = |h: &Hearing| format!("{} ({} at full speed)", h.kind, describe::tempos(h, 1.0));
    // Far from the written tempo the first place goes to and fro; what a player practises at is told, the rest is in the JSON.
    let before = report.turns.iter().rposition(|t| t.percent <= MIN_SPEED).unwrap_or(0);
    let mut words = Vec::new();
    for turn in report.turns.iter().skip(before).filter(|t| t.percent <= MAX_SPEED) {
        let h = &report.hearings[turn.hearing];
        words.push(if words.is_empty() {
            format!("at {MIN_SPEED}% {}", name(h))
        } else {
            format!(
                "from {}% (written {:.1} BPM) on {}",
                turn.percent,
                describe::written(groove, turn.percent),
                name(h)
            )
        });
    }
    words.join("; ")
}

/// Columns of the picture of streams.
const COLUMNS: usize = 72;
/// Playing speeds, in percent, between which changes of the first hearing are told.
const MIN_SPEED: u16 = 40;
const MAX_SPEED: u16 = 120;

fn streams(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    // Every pair of the written beat, the best rival, and the even layers; the rest is in the JSON.
    let told = describe::told_streams(report);
    let pairs: Vec<_> = report.pairs.iter().filter(|p| told.contains(&p.a) && told.contains(&p.b)).collect();
    if pairs.is_empty() {
        return Ok(());
    }
    writeln!(t, "\nHow the streams stand to each other")?;
    for p in pairs {
        writeln!(t, "  {}", describe::pair(groove, report, p))?;
    }
    for line in streams::of_report(groove, report, COLUMNS, streams::PLAIN) {
        writeln!(t, "    {line}")?;
    }
    Ok(())
}
