//! The live pane: groups, landings, tempos as heard, why it is hard.

use super::grid;
use super::pen::{Pen, Pieces, fit, wrap};
use crate::analysis::{Finding, Hearing, Kind, Report, SectionReport};
use crate::describe;
use crate::describe::ladder;
use crate::terminal::playback::practice;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::state::State;
use crate::terminal::view::layout::Layout;
use crate::terminal::view::theme::Theme;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Under so many columns the deviation is left to the full view.
const NARROW: usize = 34;

/// Under so many columns the steps of a ladder leave the beat's value to the top of the screen.
const BARE: usize = 48;

/// Under so many columns of the window its two halves are not alike.
const FEW: usize = 72;
/// Columns in which landings can be shown: name, bar, number, share.
const MIN_LANDINGS_WIDTH: usize = 26;

/// Most hearings of the pane; the full view has them all.
const MAX_HEARINGS: usize = 12;
/// Most of them below the grid: a glance, since every edit sends their figures anew.
const MAX_HEARINGS_BELOW: usize = 6;
/// From so many on one of them is the written beat.
const WITH_WRITTEN: usize = 3;

/// Draws the pane: in one column beside the grid, in two below it.
pub(crate) fn pane(state: &State, pen: &mut Pen<'_>, layout: &Layout) {
    let area = layout.pane;
    if layout.beside {
        for y in 0..usize::from(area.height) {
            let line = Rect::new(area.x - 1, area.y, 1, area.height);
            pen.mark(line, 0, y, pen.theme.glyphs().bar_line, pen.theme.faint());
        }
    }
    let Some((report, fresh)) = state.report() else {
        pen.put(area, 1, 0, "analysing...", pen.theme.faint());
        return;
    };
    let theme = pen.theme;
    let width = usize::from(area.width);
    let rows = usize::from(area.height);
    if layout.beside {
        let inner = width.saturating_sub(2);
        // Each block keeps its rows, so that an edit changes figures and moves nothing.
        let mut lines = groups(state, report, theme, inner, fresh, 3);
        lines.resize(6, Vec::new());
        lines.extend(built(state, report, theme, inner, 7));
        lines.resize(14, Vec::new());
        // A third of what is left, with a heading, the columns' names, the turn and a blank line; the reasons have the rest.
        let most = (rows.saturating_sub(lines.len()) / 3).saturating_sub(4).clamp(4, MAX_HEARINGS);
        lines.extend(hearings(state, report, theme, inner, most));
        lines.resize(14 + most + 4, Vec::new());
        lines.extend(reasons(state, theme, inner, rows.saturating_sub(lines.len())));
        for (y, line) in lines.iter().take(rows).enumerate() {
            pen.pieces(area, 1, y, line);
        }
        return;
    }
    // Where there are few columns, names of hearings and reasons need them more than bars do.
    let split = if width < FEW { MIN_LANDINGS_WIDTH } else { width / 2 - 1 };
    let right_width = width.saturating_sub(split + 2);
    let mut left = groups(state, report, theme, split, fresh, if rows > 12 { 2 } else { 1 });
    let kept = match rows {
        13.. => 5,
        10.. => 4,
        _ => 2,
    };
    left.resize(kept, Vec::new());
    // Steps that are only read cannot be gone through: they come before the groups where there is no room for both.
    if practice::shown(state).is_some_and(|(l, at)| at.is_none() && l.speeds.len() + 1 > rows.saturating_sub(kept)) {
        left.clear();
    }
    left.extend(built(state, report, theme, split, rows.saturating_sub(left.len())));
    // On few rows the first hearing and the first reason come before everything else.
    let (heard, turn) = match rows {
        0..=6 => (1, 0),
        7 => (2, 0),
        8..=9 => (3, 0),
        _ => ((rows / 2).saturating_sub(4).clamp(4, MAX_HEARINGS_BELOW), 1),
    };
    let mut right = hearings(state, report, theme, right_width, heard);
    right.resize(heard + 2 + turn, Vec::new());
    right.extend(reasons(state, theme, right_width, rows.saturating_sub(right.len())));
    for (x, lines) in [(0, left), (split + 2, right)] {
        for (y, line) in lines.iter().take(rows).enumerate() {
            pen.pieces(area, x, y, line);
        }
    }
}

fn section<'a>(state: &State, report: &'a Report) -> Option<&'a SectionReport> {
    let place = state.session.cursor().place;
    report.layers.get(place.layer)?.sections.get(place.section)
}

fn groups(state: &State, report: &Report, theme: Theme, width: usize, fresh: bool, most: usize) -> Vec<Pieces> {
    let place = state.session.cursor().place;
    let name = state.groove().layers().get(place.layer).map_or("", |l| &l.name);
    // One mark, so that it costs little to show it for the blink of an eye.
    let stale = if fresh { "" } else { "…" };
    let heading = fit(&format!("Groups of {name}"), width.saturating_sub(1));
    let mut lines = vec![vec![(heading, theme.heading()), (stale.to_owned(), Style::new())]];
    let Some(groups) = section(state, report).and_then(|s| s.groups.as_ref()) else {
        let words = wrap("no attacks in this section yet", width);
        lines.extend(words.into_iter().map(|l| vec![(l, theme.faint())]));
        return lines;
    };
    let lead = if groups.lead_cells > 0 { format!("({}) ", groups.lead_cells) } else { String::new() };
    let text = format!("{lead}{}", line(&groups.text, grid::apart(state.groove(), place.layer, place.section)));
    let mut wrapped = wrap(&text, width);
    if wrapped.len() > most {
        wrapped.truncate(most);
        if let Some(last) = wrapped.last_mut() {
            *last = fit(&format!("{last}....."), width.saturating_sub(1));
        }
    }
    lines.extend(wrapped.into_iter().map(|l| vec![(l, theme.bar())]));
    if let Some(f) = groups.figures.iter().find(|f| describe::is_notable(f)) {
        let units = if groups.in_cells { "cells" } else { "units" };
        let meets = describe::bar_relation(f);
        let text = format!("figure of {} {units}, {} times; {meets}", f.units, f.times);
        lines.extend(wrap(&text, width).into_iter().take(2).map(|l| vec![(l, Style::new())]));
    }
    lines
}

/// A line of groups, its last one told by itself where it only runs to the end.
fn line(text: &str, apart: Option<usize>) -> String {
    let Some(cells) = apart else { return text.to_owned() };
    match text.strip_suffix(&cells.to_string()) {
        Some("") => format!("{cells} to the end"),
        Some(before) if before.ends_with('+') => format!("{}, then {cells} to the end", before.trim_end_matches('+')),
        _ => text.to_owned(),
    }
}

/// Where the attacks land; while a ladder is climbed, or read, its steps.
fn built(state: &State, report: &Report, theme: Theme, width: usize, most: usize) -> Vec<Pieces> {
    match practice::shown(state) {
        Some((ladder, at)) => steps(state, report, theme, (width, most), ladder, at),
        None => landings(state, report, theme, width, most),
    }
}

/// The steps of a ladder around the one that is heard: tempo, the hearing that becomes the first, cells too short to be felt.
fn steps(
    state: &State,
    report: &Report,
    theme: Theme,
    (width, most): (usize, usize),
    climbed: &Ladder,
    at: Option<usize>,
) -> Vec<Pieces> {
    let changes = ladder::changes(report, state.limits, &climbed.speeds);
    let section = &state.groove().sections()[state.session.cursor().place.section];
    let mut lines = vec![vec![(fit(&format!("Ladder {}", climbed.words()), width), theme.heading())]];
    let mut rows = most.saturating_sub(1);
    if let Some(words) = state.progress.as_ref().filter(|_| rows > 3) {
        lines.push(vec![(fit(words, width), theme.faint())]);
        rows -= 1;
    }
    let first = (at.unwrap_or(0) + 1).saturating_sub(rows.div_ceil(2)).min(climbed.speeds.len().saturating_sub(rows));
    for (k, (&speed, change)) in climbed.speeds.iter().zip(&changes).enumerate().skip(first).take(rows) {
        let mark = if at == Some(k) { theme.glyphs().here } else { ' ' };
        let tempo = ladder::tempo_of(section, speed);
        let tempo = tempo.split_once("= ").filter(|_| width < BARE).map_or(tempo.as_str(), |(_, bpm)| bpm);
        let room = if width < BARE { 5 } else { 11 };
        let (percent, value) = (ladder::percent(speed), ladder::value(speed));
        let leader = |index: Option<usize>| {
            let of = index.zip(report.speeds.as_deref()).and_then(|(i, s)| s.hearings.get(i));
            of.map_or_else(
                || "written beat".to_owned(),
                |h| format!("{} {}", h.kind.short(), describe::tempo_row(&h.tempos(value))),
            )
        };
        let first = change.leader.map(leader);
        let style = if at == Some(k) { theme.figure() } else { Style::new() };
        let row = |cells: &str| {
            let said: Vec<&str> = change.unfelt_cell_ms.map(|_| cells).into_iter().chain(first.as_deref()).collect();
            format!("{mark}{:>2} {percent:>4} {tempo:<room$} {}", k + 1, said.join(", ")).trim_end().to_owned()
        };
        let text = Some(row("cells too fast")).filter(|r| r.width() <= width).unwrap_or_else(|| row("too fast"));
        lines.push(vec![(fit(&text, width), style)]);
    }
    lines
}

fn landings(state: &State, report: &Report, theme: Theme, width: usize, most: usize) -> Vec<Pieces> {
    let Some(section) = section(state, report) else { return Vec::new() };
    let landings = &section.landings;
    if landings.total == 0 || most == 0 {
        return Vec::new();
    }
    let mut lines = vec![vec![("Landings".to_owned(), theme.heading())]];
    let depth = |r: &crate::analysis::Landing| {
        let words = r.depth.to_string();
        if width < 36 { words.replace(" of the beat", "") } else { words }
    };
    let label = landings.rows.iter().map(|r| depth(r).len()).max().unwrap_or(0).max(8);
    let room = width.saturating_sub(label + 11).max(4);
    let top = landings.rows.iter().map(|r| r.count).max().unwrap_or(1).max(1);
    let shown = landings.rows.len().min(most.saturating_sub(1));
    for row in landings.rows.iter().take(shown) {
        let eighths = row.count * room * 2 / top;
        let glyphs = theme.glyphs();
        let mut bar: String = std::iter::repeat_n(glyphs.full, eighths / 2).collect();
        if eighths % 2 == 1 || eighths == 0 {
            bar.push(glyphs.half);
        }
        let percent = 100.0 * row.count as f64 / landings.total as f64;
        let style = if row.depth.on_beat() { theme.written() } else { theme.hearing() };
        let bar = format!("{bar:<room$}");
        lines.push(vec![
            (format!("{:<label$} ", depth(row)), Style::new()),
            (bar, style),
            (format!("{:>4} {percent:>3.0}%", row.count), Style::new()),
        ]);
    }
    lines
}

fn hearings(state: &State, report: &Report, theme: Theme, width: usize, most: usize) -> Vec<Pieces> {
    let (of, fresh) = state.heard_in().unwrap_or_default();
    let stale = if fresh { "" } else { "…" };
    let heading = beat_heading(&of, report, width.saturating_sub(1));
    let heading = fit(&heading, width.saturating_sub(1));
    let mut lines = vec![vec![(heading, theme.heading()), (stale.to_owned(), Style::new())]];
    if report.hearings.is_empty() {
        lines.push(vec![(describe::no_hearing_reason(report).into(), theme.faint())]);
        return lines;
    }
    let names = if width < NARROW { "likely   BPM   on" } else { "likely   BPM    dev   on" };
    let more = match report.hearings.len().saturating_sub(most) {
        0 => String::new(),
        n => format!("  h: {n} more"),
    };
    let head = Some(format!("{names}{more}")).filter(|t| t.width() <= width);
    lines.push(vec![(head.unwrap_or_else(|| names.to_owned()), theme.faint())]);
    let chosen = state.strip().map(|(i, _)| i);
    for i in glance(&report.hearings, most) {
        lines.push(hearing(&report.hearings[i], report, theme, width, chosen == Some(i)));
    }
    lines.extend(turn(state, report, width).map(|text| vec![(text, theme.faint())]));
    lines
}

/// Whose beat is told, how likely it is the written one, and what else has room.
fn beat_heading(of: &str, report: &Report, width: usize) -> String {
    let mut heading = format!("Heard in {of}");
    let beat = report.answer.map(|a| format!(": beat {}", describe::share(a.shown_written)));
    let all = report.all.as_ref().map(|a| format!(", all layers {}", describe::share(a.answer.shown_written)));
    let cell = report.cell_ms.map(|ms| format!(", cell {ms:.0} ms"));
    let doubt = (describe::about_as_likely(report) > 1).then(|| ", no clear winner".to_owned());
    for more in [beat, all, doubt, cell].into_iter().flatten() {
        if heading.width() + more.width() <= width {
            heading.push_str(&more);
        }
    }
    fit(&heading, width)
}

/// From which speed the hearing leads that leads at the playing speed, or where the next one takes over.
fn turn(state: &State, report: &Report, width: usize) -> Option<String> {
    let speeds = report.speeds.as_deref()?;
    let next = speeds.changes.get(1)?;
    let now = speeds.change_at(report.speed * 100.0).filter(|c| c.percent > speeds.changes[0].percent);
    let change = now.unwrap_or(*next);
    let leader = change.leader.and_then(|h| speeds.hearings.get(h));
    let name = leader.map_or_else(|| "written beat".to_owned(), |h| h.kind.short());
    let bpm = leader.map(|h| describe::tempo_row(&h.tempos(f64::from(change.percent) / 100.0)));
    // As long as the chart is that of an older groove it is marked.
    let stale = if state.has_stale_details() { "…" } else { "" };
    let forms = [
        format!("first from {}% speed: {name} {}{stale}", change.percent, bpm.unwrap_or_default()),
        format!("first from {}% speed: {name}{stale}", change.percent),
        format!("first from {}%: {name}{stale}", change.percent),
    ];
    Some(fit(forms.iter().find(|f| f.trim_end().width() <= width).unwrap_or(&forms[2]).trim_end(), width))
}

/// The hearings of a glance: the best, and the written beat where there is room for it.
fn glance(hearings: &[Hearing], most: usize) -> Vec<usize> {
    let mut shown: Vec<usize> = (0..hearings.len().min(most)).collect();
    let written = hearings.iter().position(|h| h.kind == Kind::Written);
    if let (Some(written), Some(last)) = (written.filter(|w| *w >= most && most >= WITH_WRITTEN), shown.last_mut()) {
        *last = written;
    }
    shown
}

/// One hearing in a row: how likely, tempo, deviation, share, what it is.
fn hearing(h: &Hearing, report: &Report, theme: Theme, width: usize, chosen: bool) -> Pieces {
    let style = if chosen { theme.hearing() } else { Style::new() };
    let deviation = if width < NARROW {
        String::new()
    } else if h.deviation_ms < 0.5 {
        "   -   ".to_owned()
    } else {
        format!("{:>4.0} ms", h.deviation_ms)
    };
    let likely = describe::likelihood(h);
    let figures = format!("{likely:>6} {:>5.1}{deviation} {:>3.0}% ", h.bpm(report.speed), h.share() * 100.0);
    let mark = if chosen { theme.glyphs().here } else { ' ' };
    let what = format!("{mark}{}", h.kind.short());
    let what = fit(&what, width.saturating_sub(figures.len()));
    vec![(figures, style), (what, style)]
}

fn reasons(state: &State, theme: Theme, width: usize, rows: usize) -> Vec<Pieces> {
    let findings = state.findings();
    if findings.is_empty() || rows < 2 {
        return Vec::new();
    }
    let mut lines = vec![vec![("Why it is hard".to_owned(), theme.heading())]];
    for finding in findings {
        let wrapped = reason(finding, width.saturating_sub(2));
        let room = rows - lines.len();
        // Only the first is cut where it does not fit; the full view has them all.
        if room == 0 || (wrapped.len() > room && lines.len() > 1) {
            break;
        }
        let mut wrapped = wrapped;
        if wrapped.len() > room {
            wrapped.truncate(room);
            if let Some(last) = wrapped.last_mut() {
                last.push('…');
            }
        }
        for (i, line) in wrapped.into_iter().enumerate() {
            lines.push(vec![(if i == 0 { "- ".into() } else { "  ".into() }, theme.faint()), (line, Style::new())]);
        }
    }
    lines
}

fn reason(finding: &Finding, width: usize) -> Vec<String> {
    wrap(&finding.reason.to_string(), width)
}
