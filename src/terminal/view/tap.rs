//! The pane while one taps along, and the report that stays after it.

use super::pen::{Pen, Pieces, wrap};
use crate::analysis::tap::{FollowedPulse, MIN_TAPS, TapStretch};
use crate::describe::tap::{self as tap_words, LineStyle, ReportLine};
use crate::terminal::playback::tapping::{CALIBRATING, Tapping, To};
use crate::terminal::state::State;
use crate::terminal::view::layout::Layout;
use crate::terminal::view::theme::Theme;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Least width of the picture on either side of the pulse, in ms.
const SIDE: f64 = 60.0;

/// Draws the pane: figures, and beside or below them the last asynchronies.
pub(crate) fn pane(state: &State, pen: &mut Pen<'_>, layout: &Layout) {
    let Some(tapping) = &state.taps.now else { return };
    let (area, theme) = (layout.pane, pen.theme);
    let (width, rows) = (usize::from(area.width), usize::from(area.height));
    let (room, gap) = if layout.beside { (width.saturating_sub(2), 1) } else { (width / 2 - 1, 0) };
    let mut lines = vec![vec![(heading(tapping), theme.heading())]];
    for (words, style) in figures(state, tapping, theme) {
        lines.extend(wrap(&words, room).into_iter().map(|l| vec![(l, style)]));
    }
    for (y, line) in lines.iter().take(rows).enumerate() {
        pen.pieces(area, gap, y, line);
    }
    let Some(stretch) = now(tapping).filter(|s| s.stats.is_some()) else { return };
    let (x, y) = if layout.beside { (gap, lines.len() + 1) } else { (room + 2, 0) };
    let left = rows.saturating_sub(y);
    for (i, line) in picture(stretch, room, left, theme).iter().enumerate() {
        pen.pieces(area, x, y + i, line);
    }
}

fn heading(tapping: &Tapping) -> String {
    match tapping.to {
        To::Clicks => format!("Tap with the clicks: {} of {CALIBRATING}", tapping.taps.len()),
        To::Loop if tapping.taps.len() == 1 => "Tap along: 1 tap".to_owned(),
        To::Loop => format!("Tap along: {} taps", tapping.taps.len()),
    }
}

/// The stretch that goes on.
fn now(tapping: &Tapping) -> Option<&TapStretch> {
    tapping.live.stretches.last()
}

fn figures(state: &State, tapping: &Tapping, theme: Theme) -> Vec<(String, Style)> {
    let plain = Style::new();
    let mut lines = Vec::new();
    if let Some((words, good)) = &tapping.done {
        lines.push((words.clone(), if *good { theme.figure() } else { theme.warning() }));
        let (leave, again) = (state.keymap.first("tap-end"), state.keymap.first("tap-again"));
        lines.push((format!("{leave} closes, {again} measures again"), plain));
        return lines;
    }
    if !state.play.on {
        let why = state.play.silent.as_deref().map(|w| format!(" ({w})")).unwrap_or_default();
        let again = state.keymap.first("tap-again");
        lines.push((format!("nothing is playing{why}, so taps are not counted; {again} tries again"), theme.warning()));
        return lines;
    }
    if tapping.held > 0 {
        let words = format!("{} taps ignored: too fast for a finger (is a key held down?)", tapping.held);
        lines.push((words, theme.warning()));
    }
    if matches!(tapping.to, To::Clicks) {
        let words = "listen to one bar of clicks, then tap on each; the median is the offset of this machine and you";
        lines.push((words.to_owned(), plain));
        return lines;
    }
    let Some(stretch) = now(tapping) else {
        lines.push((format!("keep tapping: it takes {MIN_TAPS} taps to see what they follow"), plain));
        return lines;
    };
    let (groove, report) = tapping.groove_and_report();
    lines.push((format!("on {}", tap_words::follows(groove, report, stretch.follows)), theme.hearing()));
    lines.push((tap_words::confidence(groove, report, stretch), theme.faint()));
    match &stretch.stats {
        Some(f) => {
            lines.push((tap_words::mean(f), plain));
            lines.push((tap_words::spread(f), plain));
            lines.push((tap_words::drift(f), plain));
        }
        None => lines.push((format!("{:.1} taps a minute", stretch.rate), plain)),
    }
    lines
}

/// The last asynchronies, the newest at the bottom: the pulse is the line in the middle, early stands left of it.
fn picture(stretch: &TapStretch, width: usize, rows: usize, theme: Theme) -> Vec<Pieces> {
    let Some(f) = stretch.stats.as_ref().filter(|_| stretch.follows != FollowedPulse::None) else {
        return Vec::new();
    };
    if rows < 3 || width < 16 {
        return Vec::new();
    }
    let last = &f.asynchronies[f.asynchronies.len().saturating_sub(rows - 1)..];
    let side = last.iter().fold(SIDE, |m, a| m.max(a.abs()));
    let half = ((width - 1) / 2).min(30);
    let scale = format!("{:<half$}|{:>half$}", format!("-{side:.0} ms early"), format!("late +{side:.0} ms"));
    let mut lines = vec![vec![(scale, theme.faint())]];
    for a in last {
        let at = (half as f64 + a / side * half as f64).round().clamp(0.0, 2.0 * half as f64) as usize;
        let (before, mark, after) = match at.cmp(&half) {
            std::cmp::Ordering::Less => (" ".repeat(at), "x".to_owned(), format!("{}|", " ".repeat(half - at - 1))),
            std::cmp::Ordering::Equal => (" ".repeat(half), "X".to_owned(), String::new()),
            std::cmp::Ordering::Greater => {
                (format!("{}|{}", " ".repeat(half), " ".repeat(at - half - 1)), "x".to_owned(), String::new())
            }
        };
        lines.push(vec![(before, theme.faint()), (mark, theme.figure()), (after, theme.faint())]);
    }
    lines
}

/// Draws the report of the last tapping with a line of it marked.
pub(crate) fn report(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let theme = pen.theme;
    let told = state.taps.last.as_ref().map(|t| t.lines(state)).unwrap_or_default();
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let style = |l: &ReportLine| match l.style {
        LineStyle::Heading => theme.heading(),
        LineStyle::Plain => Style::new(),
        LineStyle::Faint => theme.faint(),
    };
    let mut rows: Vec<(usize, String, Style)> = Vec::new();
    for (i, line) in told.iter().enumerate() {
        let broken = wrap(&line.text, width.saturating_sub(line.indent));
        rows.extend(broken.into_iter().map(|l| (i, format!("{:by$}{l}", "", by = line.indent), style(line))));
    }
    let marked = rows.iter().position(|r| r.0 == at.min(told.len().saturating_sub(1))).unwrap_or(0);
    let first = marked.saturating_sub(height / 2).min(rows.len().saturating_sub(height));
    for (y, (i, words, style)) in rows.iter().skip(first).take(height).enumerate() {
        pen.put(area, 0, y, words, *style);
        if *i == at {
            pen.row_style(area, y, theme.chosen());
        }
    }
}
