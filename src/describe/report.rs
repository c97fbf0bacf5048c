//! Sentences and phrases about a report.

use crate::analysis::listener::{ABOUT_AS_LIKELY, distinct_tempos};
use crate::analysis::{
    AccentGroups, Answer, Figure, Hearing, HearingKind, Landings, LayerReport, Report, SpeedReport, StreamPair,
    StreamSource, Stretch, landing, limits,
};
use crate::analysis::{percent, tempo_row};
use crate::rhythm::{Fraction, Groove, Place, Section, count, print_note_value};

/// Maximum number of a figure's starts that are listed.
const MAX_HEADS: usize = 4;

/// A number with at most two decimals and no trailing zeros.
pub(crate) fn short_decimal(x: f64) -> String {
    // Without the sign of a negative zero.
    let text = format!("{:.2}", if x.abs() < 0.005 { 0.0 } else { x });
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A section's name, meter, tempo, length, swing and passes: `section A: 4/4 at 1/4 = 120, 2 bars, 3 times through`.
pub(crate) fn section_summary(section: &Section) -> String {
    let Section { name, meter, tempo, bars, times, swing } = section;
    let (beat, bars) = (print_note_value(tempo.unit()), count(usize::from(*bars), "bar"));
    let swing = swing.map(|s| format!(", swing {s}")).unwrap_or_default();
    let passes = if *times > 1 { format!(", {times} times through") } else { String::new() };
    format!("section {name}: {meter} at {beat} = {}, {bars}{swing}{passes}", tempo.bpm())
}

/// What precedes a line of groups whose first attack comes after some cells: `after 3 cells of rest, `.
pub(crate) fn rest_lead(cells: usize) -> String {
    if cells == 0 { String::new() } else { format!("after {} of rest, ", count(cells, "cell")) }
}

/// A layer's voice, its own swing, and whether it is muted.
pub(crate) fn voice_summary(groove: &Groove, layer: usize) -> String {
    let Some(l) = groove.layers().get(layer) else { return String::new() };
    let swing = l.swing.map(|s| format!(", own swing {s}")).unwrap_or_default();
    let silent = if groove.is_audible(layer) { "" } else { ", muted" };
    format!("{}{swing}{silent}", l.voice)
}

/// Names the layers that do not sound, which are analyzed all the same; `None` if all sound.
pub(crate) fn muted_layers(groove: &Groove) -> Option<String> {
    let layers = groove.layers().iter().enumerate().filter(|(layer, _)| !groove.is_audible(*layer));
    let muted: Vec<&str> = layers.map(|(_, layer)| layer.name.as_str()).collect();
    (!muted.is_empty()).then(|| format!("muted: {}; not heard, but analyzed like the others", muted.join(", ")))
}

pub(crate) fn no_hearing_reason(report: &Report) -> &'static str {
    if report.attacks.is_empty() {
        "no attacks"
    } else {
        "too few attacks, or a region too short, for a pulse to be heard"
    }
}

/// A position as players say it: section if there are several, bar, beat, and cell if it is off the beat. Empty for a position
/// outside the groove.
pub(crate) fn place(groove: &Groove, p: Place) -> String {
    if p.layer >= groove.layers().len() || p.section >= groove.sections().len() {
        return String::new();
    }
    let context = groove.context(p.layer, p.section);
    let Some(spot) = groove.part(p.layer, p.section).spot(p.cell, context) else { return String::new() };
    let beats = groove.written_at(p).ratio_to(context.meter.beat()).map_or(0, Fraction::floor) as usize;
    let (bar, beat) = (beats / context.meter.beats() + 1, beats % context.meter.beats() + 1);
    let syllable = landing::syllable(spot, context);
    let within = match syllable.as_str() {
        // Without a syllable the cell is numbered.
        "·" if spot.span.beats > 1 => {
            format!(", cell {} of {} in {} beats", spot.cell + 1, spot.span.cells, spot.span.beats)
        }
        "·" => format!(", cell {} of {}", spot.cell + 1, spot.span.cells),
        number if number.parse::<usize>().is_ok() => String::new(),
        syllable => format!(" {syllable}"),
    };
    let section =
        if groove.sections().len() > 1 { format!("{} ", groove.sections()[p.section].name) } else { String::new() };
    format!("{section}bar {bar} beat {beat}{within}")
}

/// How a layer is built: groups, figures and landings, one line each with its indentation.
pub(crate) fn structure(groove: &Groove, layer: &LayerReport) -> Vec<(usize, String)> {
    if layer.landings.total == 0 {
        return vec![(0, "no attacks".into())];
    }
    let mut lines = Vec::new();
    for s in &layer.sections {
        let Some(g) = &s.groups else { continue };
        let section = groove.sections().get(s.section).filter(|_| layer.sections.len() > 1);
        let name = section.map(|s| format!(" in {}", s.name)).unwrap_or_default();
        lines.push((0, format!("groups{name}: {}{}", rest_lead(g.lead_cells as usize), g.text)));
        if let Some(accents) = &g.accents {
            lines.push((2, format!("from accent to accent: {}", accent_groups(accents))));
        }
        if !g.in_cells {
            lines.push((2, "in cells of different lengths".into()));
        }
        // Figures in units other than cells cannot be recognised in the line.
        let mut shown: Vec<&Figure> = Vec::new();
        for f in g.figures.iter().filter(|f| g.in_cells && is_notable(f)) {
            if shown.len() < 3 && !shown.iter().any(|t| t.groups == f.groups) {
                shown.push(f);
            }
        }
        lines.extend(shown.into_iter().map(|f| (2, figure(f, &heads(groove, layer.layer, s.section, f)))));
    }
    lines.push((0, format!("landings: {}", landings(&layer.landings))));
    lines
}

/// The groups from accent to accent, with the cells before the first one.
pub(crate) fn accent_groups(accents: &AccentGroups) -> String {
    let before = match accents.lead_cells {
        0 => String::new(),
        n => format!("after {}, ", count(n as usize, "cell")),
    };
    format!("{before}{}", accents.text)
}

/// Whether a figure deserves a line of its own: the line of groups already shows a single group that repeats and fits the bar.
pub(crate) fn is_notable(f: &Figure) -> bool {
    f.groups.len() > 1 || f.meets_after_bars > 1 && f.meets_after_figures > 1
}

/// How a figure relates to the bar, as a verb phrase.
pub(crate) fn bar_relation(f: &Figure) -> String {
    match f.meets_after_bars {
        1 if f.meets_after_figures == 1 => "fits the bar".to_owned(),
        1 => format!("fits into the bar {} times", f.meets_after_figures),
        n if f.meets_after_figures == 1 => format!("fills {n} bars"),
        n if !f.is_on_downbeats() && f.breaks_off() => {
            format!("would return to the same place in the bar after {n} bars")
        }
        n if !f.is_on_downbeats() => format!("returns to the same place in the bar after {n} bars"),
        n if f.breaks_off() => format!("would start on a downbeat again after {n} bars"),
        n => format!("starts on a downbeat again after {n} bars"),
    }
}

fn figure(f: &Figure, heads: &str) -> String {
    let groups: Vec<String> = f.groups.iter().map(u32::to_string).collect();
    let condition = if f.meets_after_bars > 1 && f.breaks_off() { "if continued, " } else { "" };
    format!(
        "figure {} ({} cells), {} times in a row, starting at {heads}; {condition}it {}",
        groups.join("+"),
        f.units,
        f.times,
        bar_relation(f)
    )
}

/// The positions where the repetitions of a figure start.
fn heads(groove: &Groove, layer: usize, section: usize, f: &Figure) -> String {
    let position = |head: &u32| place(groove, Place { layer, section, cell: *head as usize });
    let mut places: Vec<String> = f.heads.iter().take(MAX_HEADS).map(position).collect();
    if f.heads.len() > MAX_HEADS {
        places.push(format!("{} more positions", f.heads.len() - MAX_HEADS));
    }
    match places.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        _ => places.concat(),
    }
}

fn landings(l: &Landings) -> String {
    let row = |r: &landing::Landing| format!("{} {} ({})", r.depth, r.count, percent_of(r.count, l.total));
    l.rows.iter().map(row).collect::<Vec<_>>().join(", ")
}

fn percent_of(part: usize, all: usize) -> String {
    percent(part as f64 / all.max(1) as f64)
}

/// The name of a hearing. A pulse that does not fit the loop, or what is repeated in it, a whole number of times starts again with
/// each, and the name says so.
pub(crate) fn hearing_name(h: &Hearing) -> String {
    let intervals = || h.pulses.windows(2).map(|w| w[1] - w[0]);
    let (longest, shortest) = (intervals().fold(0.0, f64::max), intervals().fold(f64::INFINITY, f64::min));
    let re_enters = match h.kind {
        _ if h.closes || h.stretches.len() > 1 => "",
        HearingKind::Average | HearingKind::Changing | HearingKind::Unequal { .. } => " (re-enters each loop)",
        _ if longest > shortest * 1.05 => " (re-enters each repeat)",
        _ => " (re-enters each loop)",
    };
    format!("{}{re_enters}", h.kind)
}

/// The percentage of a hearing, tempered (chapter `hearings`); `-` if it is too small to show.
pub(crate) fn likelihood(h: &Hearing) -> String {
    h.shown.map_or_else(|| "-".to_owned(), percent)
}

/// The number of hearings about as likely as the first, where the written beat and those that keep it count as one.
pub(crate) fn about_as_likely(report: &Report) -> usize {
    let Some(answer) = &report.answer else { return 0 };
    let others = report.hearings.iter().filter(|h| !h.keeps_written()).map(|h| h.probability);
    let mut entries: Vec<f64> = others.chain([answer.written]).collect();
    entries.sort_by(|a, b| b.total_cmp(a));
    entries.iter().take_while(|p| **p > 0.0 && entries[0] <= **p * ABOUT_AS_LIKELY).count()
}

/// Which hearings keep the written beat and so count as one, with what is shown of them together; `None` if it is only the written beat itself.
pub(crate) fn written_family(report: &Report) -> Option<String> {
    let shown = report.answer.as_ref()?.shown_written;
    let is_listed = |h: &Hearing| h.keeps_written() && h.shown.is_some();
    let keeping: Vec<_> = report.hearings.iter().enumerate().filter(|(_, h)| is_listed(h)).collect();
    let numbers: Vec<String> = keeping.iter().map(|(i, _)| (i + 1).to_string()).collect();
    let is_always = report.hearings.iter().filter(|h| h.keeps_written()).all(|h| h.written_share > 0.99);
    match &numbers[..] {
        [] if shown >= 0.005 => Some(format!(
            "pulses that the model gives less than 1% each keep the written beat: {} together",
            percent(shown)
        )),
        [] => None,
        [one] => {
            let is_other = report.written().is_none_or(|w| report.hearings[w].shown.is_none());
            let mostly = if is_always { "" } else { " at least half the time" };
            let is_all = keeping.first().is_some_and(|h| likelihood(h.1) == percent(shown));
            let rest = if is_all { "" } else { ", including pulses that the model gives less than 1% each" };
            is_other.then(|| format!("hearing {one} keeps the written beat{mostly}: {}{rest}", percent(shown)))
        }
        [first @ .., last] => {
            let (first, shown) = (first.join(", "), percent(shown));
            let mostly = if is_always { "" } else { " (some only part of the time)" };
            Some(format!("hearings {first} and {last} keep the written beat{mostly} and count as one: {shown}"))
        }
    }
}

/// `kick + snare`.
pub(crate) fn layer_names(groove: &Groove, layers: &[usize]) -> String {
    let names: Vec<&str> = layers.iter().filter_map(|l| groove.layers().get(*l)).map(|l| l.name.as_str()).collect();
    names.join(" + ")
}

/// How likely the written beat is kept, for a listener who follows the analysed layers and for one who hears all layers.
pub(crate) fn whose_beat(groove: &Groove, report: &Report) -> Vec<String> {
    let line = |who: String, answer: &Answer, hearings: &[Hearing]| {
        let first = hearings.first().filter(|h| !h.keeps_written()).map(|h| {
            let more = if h.probability > ABOUT_AS_LIKELY * answer.written { "more" } else { "about as" };
            let is_unequal = |i: usize| h.kind == HearingKind::Changing && !h.is_even_in(i);
            let stretches = h.stretches.iter().enumerate().filter(|(i, s)| s.attacks > 0 && is_unequal(*i));
            let unequal = match tempo_row(&distinct_tempos(stretches.map(|(_, s)| s.period), report.speed)) {
                tempos if tempos.is_empty() => String::new(),
                tempos => format!(", with unequal beats at {tempos} BPM"),
            };
            format!("; {more} likely: {}, {} BPM{unequal}", h.kind, tempos(h, report.speed))
        });
        format!(
            "{who} is {} likely to keep the written beat{}",
            percent(answer.shown_written),
            first.unwrap_or_default()
        )
    };
    let mut lines = Vec::new();
    if let Some(answer) = &report.answer {
        lines.push(line(
            format!("a listener following {}", layer_names(groove, &report.focus)),
            answer,
            &report.hearings,
        ));
    }
    if let Some(all) = &report.all {
        lines.push(line("a listener hearing all layers together".to_owned(), &all.answer, &all.hearings));
    }
    lines
}

/// The hardness and its parts, as probabilities.
pub(crate) fn hardness(answer: &Answer) -> String {
    let named = answer.parts();
    let mut parts: Vec<String> = named.iter().map(|(part, p)| format!("{part} {p:.2}")).collect();
    // So that the parts add up as they are printed.
    let other = answer.hardness() - named.iter().map(|(_, p)| p).sum::<f64>();
    parts.extend(Some(format!("other {other:.2}")).filter(|_| other >= 0.005 && !named.is_empty()));
    let parts = if parts.is_empty() { String::new() } else { format!(": {}", parts.join(", ")) };
    let mean = if answer.is_mean { ", the mean of its values at each written tempo" } else { "" };
    format!("hardness {:.2} out of 1{mean}{parts}", answer.hardness().max(0.0))
}

/// The number of attacks on the pulse of a hearing, on its subdivisions, and off it.
pub(crate) fn hearing_landings(h: &Hearing) -> String {
    let all = h.on_pulse + h.off_pulse + h.between.iter().map(|b| b.1).sum::<usize>();
    let one = |count: usize, where_to: &str| format!("{count} {where_to} ({})", percent_of(count, all));
    let mut words = vec![one(h.on_pulse, "on the pulse")];
    words.extend(h.between.iter().map(|(n, count)| one(*count, &format!("on its {}", subdivisions(*n)))));
    if h.off_pulse > 0 {
        words.push(one(h.off_pulse, "off the pulse"));
    }
    words.join(", ")
}

/// `halves`, `thirds`, ...
pub(crate) fn subdivisions(parts: u16) -> String {
    match (parts, landing::part_name(parts)) {
        (2, _) => "halves".to_owned(),
        (_, Some(name)) => format!("{name}s"),
        (n, None) => format!("{n}ths"),
    }
}

/// The hardness in steps of ten percent of the tempo: `40% 0.02, 50% 0.05`.
pub(crate) fn hardness_by_speed(speeds: &SpeedReport) -> String {
    let steps = (0..=20).map(|k| k * 10);
    let of = |percent: u16| Some(format!("{percent}% {:.2}", speeds.hardness_at(f64::from(percent))?.max(0.0)));
    let mut rows: Vec<String> = steps.filter_map(of).collect();
    // Between the steps it may be greater.
    let listed = (0..=20).filter_map(|k| speeds.hardness_at(f64::from(k * 10))).fold(0.0, f64::max);
    let hardest = speeds.points.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    rows.extend(hardest.filter(|h| h.1 > listed + 0.05).map(|(percent, h)| format!("maximum {h:.2} at {percent}%")));
    rows.join(", ")
}

/// The hardness as a row of bars from the slowest to the fastest speed analysed, one bar per five percent of the tempo; `ramp` holds
/// the glyphs from the lowest bar to the highest.
pub(crate) fn hardness_chart(speeds: &SpeedReport, ramp: &[char]) -> String {
    let (Some(first), Some(last)) = (speeds.points.first(), speeds.points.last()) else { return String::new() };
    let glyph = |h: f64| ramp[((h.clamp(0.0, 1.0) * ramp.len() as f64) as usize).min(ramp.len() - 1)];
    let row: String =
        (first.0..=last.0).step_by(5).filter_map(|p| speeds.hardness_at(f64::from(p))).map(glyph).collect();
    format!("{}% {row} {}%", first.0, last.0)
}

/// The pulses of a hearing without an attack.
pub(crate) fn silent_pulses(h: &Hearing) -> String {
    let nothing = match h.unsounded {
        0 => String::new(),
        n => format!(", {n} of them in all layers"),
    };
    format!("{} of {} pulses silent{nothing}", h.silent, h.pulses.len())
}

pub(crate) fn stretch_place(groove: &Groove, report: &Report, s: &Stretch) -> String {
    let attack = report.attacks.get(s.first);
    let at = attack.map(|a| place(groove, Place { layer: a.layer, section: a.section, cell: a.cell }));
    at.unwrap_or_default()
}

/// The tempos of a hearing's stretches at a playing speed.
pub(crate) fn tempos(h: &Hearing, speed: f64) -> String {
    tempo_row(&h.tempos(speed))
}

/// The tempo of a stretch, by its index: `122.4 BPM`, or `122.4 BPM, unequal` for one of several whose pulses are not even.
pub(crate) fn stretch_tempo(h: &Hearing, stretch: usize) -> String {
    let is_even = h.stretches.len() == 1 || h.is_even_in(stretch);
    format!("{:.1} BPM{}", h.stretches[stretch].bpm, if is_even { "" } else { ", unequal" })
}

/// A stretch of a hearing, by its index: its tempo, the rate of its attacks, their number, position and deviation.
pub(crate) fn stretch(groove: &Groove, report: &Report, h: &Hearing, stretch: usize) -> String {
    let s = &h.stretches[stretch];
    format!(
        "{}: {} from {} ({:.1} per minute), deviation {:.0} ms {:.0}%",
        stretch_tempo(h, stretch),
        count(s.attacks, "attack"),
        stretch_place(groove, report, s),
        s.attack_rate,
        s.deviation_ms,
        s.deviation * 100.0
    )
}

/// The written tempo of the first section at a playing speed in percent, in its own unit: `1/8 = 122.2`.
pub(crate) fn written_tempo_text(groove: &Groove, percent: u16) -> String {
    let unit = groove.sections().first().map(|s| print_note_value(s.tempo.unit())).unwrap_or_default();
    format!("{unit} = {:.1}", written_tempo(groove, percent))
}

/// The tempo of the first section at a playing speed in percent, in the unit of its tempo.
pub(crate) fn written_tempo(groove: &Groove, percent: u16) -> f64 {
    let bpm = groove.sections().first().map(|s| s.tempo.bpm());
    bpm.map_or(0.0, |b| b.numer() as f64 / b.denom() as f64 * f64::from(percent) / 100.0)
}

/// The main streams: the written beat, the likeliest other hearing with its stretches, and the layers of even attacks.
pub(crate) fn main_streams(report: &Report) -> Vec<usize> {
    let of = |i: usize| match report.streams[i].source {
        StreamSource::Hearing { hearing, .. } => Some(hearing),
        _ => None,
    };
    let rival = (0..report.streams.len()).find_map(of);
    (0..report.streams.len()).filter(|i| of(*i).is_none() || of(*i) == rival).collect()
}

/// The name of a stream, by its index in the report.
pub(crate) fn stream_name(groove: &Groove, report: &Report, index: usize) -> String {
    match report.streams.get(index).map(|s| &s.source) {
        Some(StreamSource::Written) => "the written beat".to_owned(),
        Some(StreamSource::Hearing { hearing, stretch }) => {
            let Some(h) = report.hearings.get(*hearing) else { return String::new() };
            match stretch.and_then(|s| Some((s, h.stretches.get(s)?))) {
                Some((i, s)) => format!("stretch {} of the changing pulse at {:.1} BPM", i + 1, s.bpm),
                None => format!("the pulse at {:.1} BPM ({})", h.bpm(report.speed), h.kind.short()),
            }
        }
        Some(StreamSource::Layer(l)) => {
            format!("layer {}", groove.layers().get(*l).map_or("", |l| l.name.as_str()))
        }
        None => String::new(),
    }
}

/// Greatest term of a ratio that players count.
const MAX_TERM: u32 = 32;

/// Whether a stream is a pulse that follows attacks, whose rate is a mean.
fn is_followed(report: &Report, stream: usize) -> bool {
    let Some(StreamSource::Hearing { hearing, .. }) = report.streams.get(stream).map(|s| &s.source) else {
        return false;
    };
    report.hearings.get(*hearing).is_some_and(|h| matches!(h.kind, HearingKind::Average | HearingKind::Changing))
}

pub(crate) fn stream_pair(groove: &Groove, report: &Report, p: &StreamPair) -> String {
    // A mean rate is in a ratio of large numbers by chance.
    let is_mean = [p.a, p.b].into_iter().any(|s| is_followed(report, s));
    let exact_terms = p.exact.filter(|(n, d)| *n.max(d) <= MAX_TERM || !is_mean);
    let exact = exact_terms.map_or_else(|| format!("{:.4}:1", p.ratio), |(n, d)| format!("{n}:{d} exactly"));
    let is_small = p.exact.is_some_and(|(n, d)| n.max(d) <= MAX_TERM);
    let ratio = if is_small {
        String::new()
    } else {
        let audible = if p.audible { ", audibly different" } else { "" };
        format!(", near {}:{} ({:+.1}%{audible})", p.simple.0, p.simple.1, p.error_percent)
    };
    let distance = p.apart.map(|s| format!("they never coincide; the shortest distance is {:.0} ms", s * 1000.0));
    let again = p.again_after.filter(|_| exact_terms.is_some());
    let meets = match (p.shared, p.meets_after, again) {
        (Some(s), ..) if s.coincidences == 0 => {
            let distance =
                p.apart.filter(|d| d.is_finite()).map(|d| format!("; the shortest distance is {:.0} ms", d * 1000.0));
            format!("they do not coincide in the {:.1} s when both sound{}", s.seconds, distance.unwrap_or_default())
        }
        (Some(s), ..) => {
            let times = if s.coincidences == 1 { "once".to_owned() } else { format!("{} times", s.coincidences) };
            format!("they coincide {times} in the {:.1} s when both sound", s.seconds)
        }
        // They coincide once per common period.
        (_, Some(meets), Some(again)) if (meets - again).abs() < 1e-6 => format!("they coincide every {meets:.2} s"),
        (_, Some(meets), Some(again)) => {
            format!(
                "they coincide (to within {:.0} ms) after {meets:.2} s and repeat exactly after {again:.2} s",
                limits::COINCIDENCE.value
            )
        }
        (_, Some(meets), None) => {
            format!("they coincide (to within {:.0} ms) after {meets:.2} s", limits::COINCIDENCE.value)
        }
        (_, None, _) => distance.unwrap_or_default(),
    };
    let drift = if is_small || p.shared.is_some() {
        String::new()
    } else if p.drift_ms.abs() < 0.5 {
        "; drift 0 ms per bar".to_owned()
    } else {
        format!("; drift {:+.0} ms per bar", p.drift_ms)
    };
    let (a, b) = (stream_name(groove, report, p.a), stream_name(groove, report, p.b));
    format!("{b} against {a}: {exact}{ratio}; {meets}{drift}")
}
