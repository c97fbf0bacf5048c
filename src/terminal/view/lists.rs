//! What fills the whole screen: the help, the searched list of commands, all hearings and all reasons. It must not know the
//! grid.

use super::pane;
use super::pen::{Pen, Pieces, wrap};
use crate::analysis::{Finding, Hearing, Report};
use crate::terminal::state::State;
use crate::terminal::table::{Group, Row, WORDS_FIT, rows};
use crate::terminal::theme::Theme;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns of the keys in lists.
const KEYS: usize = 23;

/// Lines of the help.
pub(in crate::terminal) fn help_lines() -> usize {
    rows().count() + 2 * Group::ALL.len()
}

pub(super) fn help(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let theme = pen.theme;
    let mut lines: Vec<Pieces> = Vec::new();
    for group in Group::ALL {
        lines.push(vec![(group.words().to_owned(), theme.heading())]);
        for row in rows().filter(|r| r.group == *group) {
            lines.push(command(state, row, theme, false));
        }
        lines.push(Vec::new());
    }
    let height = usize::from(area.height);
    // Where it is wide enough the help stands in columns.
    let columns = (usize::from(area.width) / (KEYS + WORDS_FIT + 2)).max(1);
    for (i, line) in lines.iter().skip(at).take(height * columns).enumerate() {
        pen.pieces(area, i / height * (KEYS + WORDS_FIT + 2), i % height, line);
    }
}

fn command(state: &State, row: &'static Row, theme: Theme, with_group: bool) -> Pieces {
    let keys = state.keymap.shown(row);
    let group = if with_group { format!("  {}", row.group.words()) } else { String::new() };
    let words = if with_group { format!("{:<width$}", row.words, width = WORDS_FIT) } else { row.words.to_owned() };
    vec![(format!(" {keys:<width$}", width = KEYS - 1), theme.key()), (words, Style::new()), (group, theme.faint())]
}

pub(super) fn find(state: &State, pen: &mut Pen<'_>, area: Rect, text: &str, chosen: usize) {
    let theme = pen.theme;
    let found = state.keymap.search(text);
    let x = pen.put(area, 0, 0, "Find a command: ", theme.heading());
    let x = pen.put(area, x, 0, text, Style::new());
    pen.mark(area, x, 0, ' ', theme.cursor());
    pen.put(area, x + 3, 0, &format!("{} found", found.len()), theme.faint());
    let height = usize::from(area.height).saturating_sub(1).max(1);
    let first = (chosen + 1).saturating_sub(height);
    let list = Rect::new(area.x, area.y + 1, area.width, area.height - 1);
    for (i, row) in found.iter().enumerate().skip(first).take(height) {
        pen.pieces(list, 0, i - first, &command(state, row, theme, true));
        if i == chosen {
            pen.row_style(list, i - first, theme.chosen());
        }
    }
}

pub(super) fn hearings(state: &State, pen: &mut Pen<'_>, area: Rect, reasons: bool, chosen: usize) {
    let theme = pen.theme;
    let Some((report, fresh)) = state.report() else {
        pen.put(area, 0, 0, "listening...", theme.faint());
        return;
    };
    let stale = if fresh { "" } else { " (was)" };
    let tab = |on: bool| if on { theme.chosen().patch(theme.bar()) } else { theme.faint() };
    let x = pen.put(area, 0, 0, &format!(" Hearings {}{stale} ", report.hearings.len()), tab(!reasons));
    pen.put(area, x + 1, 0, &format!(" Why it is hard {} ", report.findings.len()), tab(reasons));
    let list = Rect::new(area.x, area.y + 1, area.width, area.height - 1);
    let width = usize::from(list.width);
    let mut blocks: Vec<Vec<Pieces>> = Vec::new();
    if reasons {
        blocks.extend(report.findings.iter().map(|f| finding(state, f, theme, width)));
    } else {
        let current = state.strip().map(|(i, _)| i);
        blocks.extend(
            report.hearings.iter().enumerate().map(|(i, h)| hearing(report, h, theme, width, current == Some(i))),
        );
    }
    if blocks.is_empty() {
        let words = if reasons { "nothing found that makes it hard" } else { "no attacks, no hearing" };
        pen.put(list, 0, 1, words, theme.faint());
        return;
    }
    let height = usize::from(list.height);
    let before: usize = blocks.iter().take(chosen).map(Vec::len).sum();
    let own = blocks.get(chosen).map_or(1, Vec::len);
    let first = (before + own).saturating_sub(height);
    let mut y = 0;
    for (i, block) in blocks.iter().enumerate() {
        for (j, line) in block.iter().enumerate() {
            if y >= first && y - first < height {
                pen.pieces(list, 0, y - first, line);
                if i == chosen && j == 0 {
                    pen.row_style(list, y - first, theme.chosen());
                }
            }
            y += 1;
        }
    }
}

fn hearing(report: &Report, h: &Hearing, theme: Theme, width: usize, current: bool) -> Vec<Pieces> {
    let parts = h.parts;
    let mut lines = vec![pane::hearing(h, report, theme, width, current)];
    let score = format!(
        "100 x explained {:.2} x steady {:.2} x tempo {:.2} x sounded {:.2} x kept {:.2}",
        parts.explained, parts.steady, parts.tempo, parts.sounded, parts.kept
    );
    let total = h.on_pulse + h.astray + h.between.iter().map(|b| b.1).sum::<usize>();
    let between: Vec<String> = h.between.iter().map(|(n, count)| format!(", {count} on 1/{n}")).collect();
    let between = between.concat();
    let astray = if h.astray > 0 { format!(", {} astray", h.astray) } else { String::new() };
    let counts = format!(
        "{} of {total} attacks on the pulse{between}{astray}; {} of {} pulses without one; salience {:.2}",
        h.on_pulse,
        h.silent,
        h.pulses.len(),
        h.salience
    );
    let stretches: Vec<String> = h.stretches.iter().map(|s| format!("{} attacks at {:.1}", s.attacks, s.bpm)).collect();
    let stretches = if stretches.len() > 1 { stretches.join(", ") } else { String::new() };
    let room = width.saturating_sub(4);
    for (text, style) in [(score, theme.faint()), (counts, Style::new()), (stretches, theme.hearing())] {
        lines.extend(wrap(&text, room).into_iter().take(3).map(|l| vec![(format!("    {l}"), style)]));
    }
    lines
}

fn finding(state: &State, finding: &Finding, theme: Theme, width: usize) -> Vec<Pieces> {
    let mut lines: Vec<Pieces> = Vec::new();
    let place = finding.place.and_then(|p| {
        let section = state.groove().sections().get(p.section)?;
        let layer = state.groove().layers().get(p.layer)?;
        let beat = state.groove().written_at(p).ratio_to(section.meter.beat())?.floor().max(0) as usize;
        let beats = section.meter.beats();
        Some(format!("{} {}, bar {} beat {}", layer.name, section.name, beat / beats + 1, beat % beats + 1))
    });
    for (i, line) in wrap(&finding.reason.to_string(), width.saturating_sub(6)).into_iter().enumerate() {
        let weight = if i == 0 { format!("{:>4.0}% ", finding.weight * 100.0) } else { "      ".into() };
        lines.push(vec![(weight, theme.figure()), (line, Style::new())]);
    }
    let place = place.map(|p| format!("; first in {p}")).unwrap_or_default();
    let source = format!("counts from {:.2} on ({}){place}", finding.threshold, finding.source);
    let source = wrap(&source, width.saturating_sub(6));
    lines.extend(source.into_iter().map(|l| vec![(format!("      {l}"), theme.faint())]));
    lines
}
