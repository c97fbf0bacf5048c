//! One groove explained in words, as a teacher would read it. It must not know JSON or how a report is made.

use crate::analysis::{Groups, Hearing, Kind, Landings, Report, Source, stream};
use crate::rhythm::{Fraction, Groove, Place, print_note_value};
use std::fmt::Write;

/// The whole explanation, several lines, ending without a line break.
pub(super) fn explain(groove: &Groove, report: &Report) -> String {
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
        writeln!(t, "  section {}: {} at {beat} = {}, {} bars{times}{swing}", s.name, s.meter, s.tempo.bpm(), s.bars)?;
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
        let place = f.place.map(|p| format!(" [{}]", place(groove, p))).unwrap_or_default();
        writeln!(t, "  {}. {}{place}", i + 1, f.reason)?;
        writeln!(t, "     counts from {}; {}", trimmed(f.threshold), f.source)?;
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
            let value = match m.value {
                Ok(v) if m.detail.is_empty() => trimmed(v),
                Ok(v) => format!("{} ({})", trimmed(v), m.detail),
                Err(why) => format!("not defined here: {why}"),
            };
            writeln!(t, "  {}: {value} [{}]", m.name, m.source)?;
        }
    }
    Ok(())
}

fn names(groove: &Groove, layers: &[usize]) -> String {
    let names: Vec<&str> = layers.iter().map(|l| groove.layers()[*l].name.as_str()).collect();
    names.join(" + ")
}

/// A signed whole number without a negative nought.
fn whole(x: f64) -> String {
    if x.abs() < 0.5 { "0".into() } else { format!("{x:+.0}") }
}

fn trimmed(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn built(t: &mut String, groove: &Groove, layer: &crate::analysis::LayerReport) -> std::fmt::Result {
    let l = &groove.layers()[layer.layer];
    let silent = if groove.heard(layer.layer) { "" } else { ", silenced" };
    writeln!(t, "  {} ({}{silent})", l.name, l.voice)?;
    if layer.landings.total == 0 {
        return writeln!(t, "    no attack");
    }
    for s in &layer.sections {
        let Some(g) = &s.groups else { continue };
        let name =
            if layer.sections.len() > 1 { format!(" in {}", groove.sections()[s.section].name) } else { String::new() };
        writeln!(t, "    groups{name}: {}{}", lead(g), g.text)?;
        if !g.in_cells {
            writeln!(t, "      counted in units of {} of a whole note, the greatest that fits all attacks", g.unit)?;
        }
        let told =
            |f: &&crate::analysis::Figure| f.groups.len() > 1 || f.meets_after_bars > 1 && f.meets_after_figures > 1;
        for f in g.figures.iter().filter(told).take(3) {
            let groups: Vec<String> = f.groups.iter().map(u32::to_string).collect();
            let meets = match f.meets_after_bars {
                1 if f.meets_after_figures == 1 => "fits the bar".to_owned(),
                1 => format!("fits the bar {} times", f.meets_after_figures),
                n if f.meets_after_figures == 1 => format!("fills {n} bars"),
                n => format!("meets the bar again after {n} bars"),
            };
            writeln!(
                t,
                "      figure {} ({} units), {} times in a row; it {meets}",
                groups.join("+"),
                f.units,
                f.times
            )?;
        }
    }
    writeln!(t, "    lands on: {}", landings(&layer.landings))
}

fn lead(g: &Groups) -> String {
    if g.lead == 0 { String::new() } else { format!("after {} of rest, ", g.lead) }
}

fn landings(l: &Landings) -> String {
    let rows: Vec<String> = l
        .rows
        .iter()
        .map(|r| format!("{} {} ({:.0}%)", r.depth, r.count, 100.0 * r.count as f64 / l.total as f64))
        .collect();
    rows.join(", ")
}

fn hearings(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    if let Some(ms) = report.cell_ms {
        writeln!(t, "  the shortest cell its attacks need lasts {ms:.0} ms")?;
    }
    writeln!(t, "     score      BPM  on pulse        wobble  pulse")?;
    for (i, h) in report.hearings.iter().enumerate().filter(|(_, h)| h.score >= 0.05 || h.kind == Kind::Written) {
        writeln!(
            t,
            "  {:>2}  {:>4.0}  {:>7.1}  {:>7.0}%  {:>5.0} ms {:>3.0}%  {}",
            i + 1,
            h.score,
            h.bpm(report.speed),
            h.share() * 100.0,
            h.wobble_ms,
            h.wobble * 100.0,
            kind(groove, report, h)
        )?;
        if h.stretches.len() > 1 {
            writeln!(t, "        {}", stretches(groove, report, h))?;
        }
    }
    let Some(first) = report.hearings.first() else {
        return writeln!(t, "  too few attacks for a pulse");
    };
    let p = first.parts;
    writeln!(
        t,
        "  score of the first = 100 x explained {:.2} x steady {:.2} x tempo {:.2} x sounded {:.2} x kept {:.2}",
        p.explained, p.steady, p.tempo, p.sounded, p.kept
    )?;
    if let ([only], false) = (&first.stretches[..], first.kind.is_counted()) {
        writeln!(
            t,
            "  its attacks come at a mean rate of {:.1} a minute; {} of its {} pulses carry no attack",
            only.mean_bpm,
            first.silent,
            first.pulses.len()
        )?;
    }
    writeln!(t, "  by playing speed: {}", turns(groove, report))
}

/// The hearing's name; of a pulse of cells also how far from the beat it starts.
fn kind(groove: &Groove, report: &Report, h: &Hearing) -> String {
    let off = (h.kind == Kind::Cells).then(|| {
        let m = report.clock.moment(h.pulses[0])?;
        let beat = groove.sections()[m.section].meter.beat();
        let beats = m.wholes * beat.denom() as f64 / beat.numer() as f64;
        let (n, d) = stream::nearest(beats.fract(), 16).filter(|_| beats.fract() > 1e-6)?;
        Some(format!(", {n}/{d} of a beat after the beat"))
    });
    format!("{}{}", h.kind, off.flatten().unwrap_or_default())
}

fn stretches(groove: &Groove, report: &Report, h: &Hearing) -> String {
    let mut parts: Vec<String> = Vec::new();
    for (i, s) in h.stretches.iter().enumerate() {
        if i == 6 && h.stretches.len() > 8 {
            parts.push(format!("and {} more", h.stretches.len() - i));
            break;
        }
        let at = report
            .attacks
            .get(s.first)
            .map(|a| place(groove, Place { layer: a.layer, section: a.section, cell: a.cell }))
            .unwrap_or_default();
        let attacks = if s.attacks == 1 { "1 attack".to_owned() } else { format!("{} attacks", s.attacks) };
        parts.push(format!("{:.1} BPM ({attacks} from {at})", s.bpm));
    }
    parts.join(" -> ")
}

fn turns(groove: &Groove, report: &Report) -> String {
    let written = |percent: u16| {
        let tempo = groove.sections().first().map(|s| s.tempo);
        tempo.map_or(0.0, |t| t.bpm().numer() as f64 / t.bpm().denom() as f64 * f64::from(percent) / 100.0)
    };
    let name = |h: &Hearing| format!("{} ({:.1} at full speed)", h.kind, h.bpm(1.0));
    // Far from the written tempo the first place goes to and fro; what a player practises at is told, the rest is in the JSON.
    let before = report.turns.iter().rposition(|t| t.percent <= SLOWEST).unwrap_or(0);
    let mut words = Vec::new();
    for turn in report.turns.iter().skip(before).filter(|t| t.percent <= FASTEST) {
        let h = &report.hearings[turn.hearing];
        words.push(if words.is_empty() {
            format!("at {SLOWEST}% {}", name(h))
        } else {
            format!("from {}% (written {:.0} BPM) on {}", turn.percent, written(turn.percent), name(h))
        });
    }
    words.join("; ")
}

/// Playing speeds, in percent, between which changes of the first hearing are told.
const SLOWEST: u16 = 40;
const FASTEST: u16 = 120;

/// A place as a player would say it: section, bar, beat, and cell where it is not on the beat.
pub(super) fn place(groove: &Groove, p: Place) -> String {
    let frame = groove.frame(p.layer, p.section);
    let Some(spot) = groove.part(p.layer, p.section).spot(p.cell, frame) else { return String::new() };
    let beats = groove.written_at(p).ratio_to(frame.meter.beat()).map_or(0, Fraction::floor) as usize;
    let (bar, beat) = (beats / frame.meter.beats() + 1, beats % frame.meter.beats() + 1);
    let syllable = crate::analysis::landing::syllable(spot, frame);
    let within = if syllable.parse::<usize>().is_ok() { String::new() } else { format!(" {syllable}") };
    let section =
        if groove.sections().len() > 1 { format!("{} ", groove.sections()[p.section].name) } else { String::new() };
    format!("{section}bar {bar} beat {beat}{within}")
}

fn streams(t: &mut String, groove: &Groove, report: &Report) -> std::fmt::Result {
    let name = |i: usize| match report.streams[i].source {
        Source::Written => "the written beat".to_owned(),
        Source::Hearing(h) => format!("the {} at {:.1}", report.hearings[h].kind, report.hearings[h].bpm(report.speed)),
        Source::Layer(l) => format!("layer {}", groove.layers()[l].name),
    };
    // Every pair of the written beat, the best rival, and the even layers; the rest is in the JSON.
    let told = |i: usize| !matches!(report.streams[i].source, Source::Hearing(h) if h > 0);
    let pairs: Vec<_> = report.pairs.iter().filter(|p| told(p.a) && told(p.b)).collect();
    if pairs.is_empty() {
        return Ok(());
    }
    writeln!(t, "\nHow the streams stand to each other")?;
    for p in pairs {
        let exact = p.exact.map_or_else(|| format!("{:.4}:1", p.ratio), |(n, d)| format!("{n}:{d} exactly"));
        let near = if p.exact == Some(p.simple) {
            String::new()
        } else {
            let heard = if p.audible { "can be told" } else { "cannot be told" };
            format!(", near {}:{} ({:+.1}%, {heard} from it)", p.simple.0, p.simple.1, p.error_percent)
        };
        let meets =
            p.meets_after.map_or("they do not meet in ten minutes".to_owned(), |s| format!("they meet every {s:.2} s"));
        writeln!(t, "  {} to {}: {exact}{near}; {meets}; drift {} ms a bar", name(p.b), name(p.a), whole(p.drift_ms))?;
    }
    Ok(())
}
