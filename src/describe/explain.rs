//! The full explanation of one groove as plain text.

use super::{self as describe, streams};
use crate::analysis::{Hearing, HearingKind, Leader, LostSpeeds, Report};
use crate::rhythm::{Groove, count};
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
        writeln!(t, "  {}", describe::section_summary(s))?;
    }
    if let Some(muted) = describe::muted_layers(groove) {
        writeln!(t, "  {muted}")?;
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
    writeln!(t, "\nPulses a listener may take as the beat, a model's estimate")?;
    hearings(t, groove, report)?;
    if let Some(answer) = &report.answer {
        let hardness = describe::hardness(answer);
        if report.findings.is_empty() {
            writeln!(t, "\nNo reason reported ({hardness})")?;
        } else {
            writeln!(t, "\nWhy it is hard ({hardness})")?;
            reasons(t, groove, report)?;
        }
    }
    streams(t, groove, report)?;
    measures(t, groove, report)
}

fn measures(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    writeln!(t, "\nPublished measures of {}", describe::layer_names(groove, &report.focus[..1]))?;
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

fn structure(t: &mut String, groove: &Groove, layer: &crate::analysis::LayerReport) -> std::fmt::Result {
    let l = &groove.layers()[layer.layer];
    writeln!(t, "  {} ({})", l.name, describe::voice_summary(groove, layer.layer))?;
    for (indent, line) in describe::structure(groove, layer) {
        writeln!(t, "    {:indent$}{line}", "")?;
    }
    Ok(())
}

fn reasons(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    let mut part = None;
    for (i, f) in report.findings.iter().enumerate() {
        if f.part != part
            && let (Some(own), Some(answer)) = (f.part, &report.answer)
        {
            writeln!(t, "  {own}, {:.2}", answer.hardness_parts.get(own))?;
        }
        part = f.part;
        let place = f.place.map(|p| format!(" [{}]", describe::place(groove, p))).unwrap_or_default();
        writeln!(t, "  {}. {}{place}", i + 1, f.reason)?;
        writeln!(t, "     {}; {}", describe::threshold(f), f.source)?;
    }
    Ok(())
}

fn hearings(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    for line in describe::whose_beat(groove, report) {
        writeln!(t, "  {line}")?;
    }
    if report.answer.is_some() {
        writeln!(
            t,
            "  these percentages are drawn closer together, because the model is overconfident; the hardness is not adjusted"
        )?;
    }
    if let Some(ms) = report.cell_ms {
        writeln!(t, "  at least a fifth of the attacks start or end a group that needs cells as short as {ms:.0} ms")?;
    }
    let Some(first) = report.hearings.first() else {
        return writeln!(t, "  {}", describe::no_hearing_reason(report));
    };
    writeln!(
        t,
        "     likely      BPM  on pulse     deviation  pulse heard when following {}",
        describe::layer_names(groove, &report.focus)
    )?;
    for (i, h) in report.hearings.iter().enumerate() {
        writeln!(
            t,
            "  {:>2}  {:>5}  {:>7.1}  {:>7.0}%  {:>5.0} ms {:>3.0}%  {}",
            i + 1,
            describe::likelihood(h),
            h.bpm(report.speed),
            h.share() * 100.0,
            h.deviation_ms,
            h.deviation * 100.0,
            describe::hearing_name(h)
        )?;
        if h.tempos(report.speed).len() > 1 {
            writeln!(t, "        {}", stretches(groove, report, h))?;
        }
    }
    if let Some(family) = describe::written_family(report) {
        writeln!(t, "  {family}")?;
    }
    match describe::about_as_likely(report) {
        0 | 1 => {}
        2 => writeln!(t, "  the two likeliest are about equally likely")?,
        n => writeln!(t, "  the {n} likeliest are about equally likely")?,
    }
    writeln!(t, "  attacks under the likeliest hearing: {}", describe::hearing_landings(first))?;
    if let ([only], false) = (&first.stretches[..], first.keeps_written()) {
        writeln!(
            t,
            "  the attacks come at {:.1} per minute; pulses without an attack: {} of {}",
            only.attack_rate,
            first.silent,
            first.pulses.len()
        )?;
    }
    let Some(speeds) = &report.speeds else { return Ok(()) };
    writeln!(t, "  likeliest, by playing speed: {}", leaders_by_speed(groove, report))?;
    writeln!(t, "  hardness by playing speed: {}", describe::hardness_by_speed(speeds))
}

fn stretches(groove: &Groove, report: &Report, h: &Hearing) -> String {
    let mut parts: Vec<String> = Vec::new();
    for (i, s) in h.stretches.iter().enumerate().filter(|(_, s)| s.attacks > 0) {
        if parts.len() == 6 && h.stretches.len() > 8 {
            parts.push(format!("and {} more", h.stretches.len() - parts.len()));
            break;
        }
        let (tempo, at) = (describe::stretch_tempo(h, i), describe::stretch_place(groove, report, s));
        parts.push(format!("{tempo} ({} from {at})", count(s.attacks, "attack")));
    }
    parts.join(" -> ")
}

/// The leading hearing by playing speed on one line; empty if the report has no speeds.
pub(crate) fn leaders_by_speed(groove: &Groove, report: &Report) -> String {
    let Some(speeds) = &report.speeds else { return String::new() };
    let mut words = Vec::new();
    for (i, change) in speeds.changes.iter().enumerate() {
        let mut leader = describe::leader_name(speeds, change.leader, f64::from(change.percent) / 100.0);
        if change.leader == Leader::Written {
            let end = speeds.changes.get(i + 1).map_or(u16::MAX, |next| next.percent);
            leader += match speeds.lost_between(change.percent, end) {
                LostSpeeds::Nowhere => "",
                LostSpeeds::Somewhere => ", at some of these speeds less likely than not",
                LostSpeeds::Everywhere => ", though less likely than not",
            };
        }
        let written = describe::written_tempo_text(groove, change.percent);
        words.push(match words.len() {
            0 if speeds.changes.len() == 1 && change.leader != Leader::Written => {
                let is_average = speeds.hearing(change.leader).is_some_and(|h| h.kind == HearingKind::Average);
                let like = if is_average { "a pulse of this kind" } else { "much the same pulse" };
                format!("at 40%: {leader}, and {like} at every speed up to 120%")
            }
            0 if speeds.changes.len() == 1 => format!("from 40% to 120%: {leader}"),
            0 => format!("from {}%: {leader}", change.percent),
            _ => format!("from {}% ({written}): {leader}", change.percent),
        });
    }
    words.join("; ")
}

/// Columns of the picture of streams.
const COLUMNS: usize = 72;

fn streams(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    // Pairs of the written beat, the best rival and the even layers; the JSON has all of them.
    let shown = describe::main_streams(report);
    let pairs: Vec<_> = report.pairs.iter().filter(|p| shown.contains(&p.a) && shown.contains(&p.b)).collect();
    if pairs.is_empty() {
        return Ok(());
    }
    writeln!(t, "\nStreams compared")?;
    for p in pairs {
        writeln!(t, "  {}", describe::stream_pair(groove, report, p))?;
    }
    for line in streams::draw_streams(groove, report, &shown, COLUMNS, streams::PLAIN) {
        writeln!(t, "    {line}")?;
    }
    Ok(())
}
