//! The full explanation of one groove as plain text.

use super::{self as describe, streams};
use crate::analysis::{Hearing, Report};
use crate::rhythm::{Groove, print_note_value};
use std::fmt::Write;

/// The whole explanation, several lines, ending without a line break.
pub(crate) fn explain(groove: &Groove, report: &Report) -> String {
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
        let bars = describe::bar_count(s.bars);
        writeln!(t, "  section {}: {} at {beat} = {}, {bars}{times}{swing}", s.name, s.meter, s.tempo.bpm())?;
    }
    if report.speed != 1.0 {
        writeln!(t, "  played at {:.0}% of these tempos; all numbers below are for that speed", report.speed * 100.0)?;
    }
    writeln!(t, "\nHow it is built")?;
    for layer in &report.layers {
        structure(t, groove, layer)?;
    }
    if report.attacks.is_empty() {
        return writeln!(t, "\nThe groove has no attacks, so there is no pulse to hear.");
    }
    writeln!(t, "\nPulses a listener may hear ({})", names(groove, &report.focus))?;
    hearings(t, groove, report)?;
    writeln!(t, "\nWhy it is hard")?;
    if report.findings.is_empty() {
        writeln!(t, "  No reason found.")?;
    }
    for (i, f) in report.findings.iter().enumerate() {
        let place = f.place.map(|p| format!(" [{}]", describe::place(groove, p))).unwrap_or_default();
        writeln!(t, "  {}. {}{place}", i + 1, f.reason)?;
        writeln!(t, "     {}; {}", describe::threshold(f), describe::source(f))?;
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

fn structure(t: &mut String, groove: &Groove, layer: &crate::analysis::LayerReport) -> std::fmt::Result {
    let l = &groove.layers()[layer.layer];
    writeln!(t, "  {} ({})", l.name, describe::voice_summary(groove, layer.layer))?;
    for (indent, line) in describe::structure(groove, layer) {
        writeln!(t, "    {:indent$}{line}", "")?;
    }
    Ok(())
}

fn hearings(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    if let Some(ms) = report.cell_ms {
        writeln!(t, "  at least a fifth of the attacks need a cell of {ms:.0} ms")?;
    }
    writeln!(t, "     score      BPM  on pulse     deviation  pulse")?;
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
            describe::hearing_name(groove, report, h)
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
        writeln!(t, "  no clear winner: the top {near} scores are within 10%")?;
    }
    writeln!(t, "  score of the first = {}", describe::score_parts(first))?;
    writeln!(t, "  attacks under it: {}", describe::hearing_landings(first))?;
    if let ([only], false) = (&first.stretches[..], first.kind.is_counted()) {
        writeln!(
            t,
            "  mean rate of its attacks {:.1} per minute; pulses without an attack: {} of {}",
            only.mean_bpm,
            first.silent,
            first.pulses.len()
        )?;
    }
    writeln!(t, "  by playing speed: {}", leaders_by_speed(groove, report))
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

/// The leading hearing by playing speed, in one line.
pub(crate) fn leaders_by_speed(groove: &Groove, report: &Report) -> String {
    let name = |h: &Hearing| format!("{} ({} at full speed)", h.kind, describe::tempos(h, 1.0));
    // Only the speeds at which people practise; the JSON has all of them.
    let before = report.turns.iter().rposition(|t| t.percent <= MIN_SPEED).unwrap_or(0);
    let mut words = Vec::new();
    for turn in report.turns.iter().skip(before).filter(|t| t.percent <= MAX_SPEED) {
        let h = &report.hearings[turn.hearing];
        words.push(if words.is_empty() {
            format!("at {MIN_SPEED}% {}", name(h))
        } else {
            format!(
                "from {}% (written {:.1} BPM) {}",
                turn.percent,
                describe::written_tempo(groove, turn.percent),
                name(h)
            )
        });
    }
    words.join("; ")
}

/// Columns of the picture of streams.
const COLUMNS: usize = 72;
/// Playing speeds in percent between which changes of the leading hearing are listed.
const MIN_SPEED: u16 = 40;
const MAX_SPEED: u16 = 120;

fn streams(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    // Pairs of the written beat, the best rival and the even layers; the JSON has all of them.
    let shown = describe::main_streams(report);
    let pairs: Vec<_> = report.pairs.iter().filter(|p| shown.contains(&p.a) && shown.contains(&p.b)).collect();
    if pairs.is_empty() {
        return Ok(());
    }
    writeln!(t, "\nStreams against each other")?;
    for p in pairs {
        writeln!(t, "  {}", describe::stream_pair(groove, report, p))?;
    }
    for line in streams::draw_report(groove, report, COLUMNS, streams::PLAIN) {
        writeln!(t, "    {line}")?;
    }
    Ok(())
}
