//! Draws the pane while the user taps along, and the report of the last tapping.

use crate::analysis::tap::{FollowedPulse, MIN_TAPS, TapStretch};
use crate::describe::tap::{self as describe_tap, LineStyle, ReportLine};
use crate::rhythm::{count, print_note_value};
use crate::session::recording::print_place;
use crate::terminal::playback::tapping::{CALIBRATION_TAPS, TapTarget, Tapping};
use crate::terminal::playback::tempo_taps::{MIN_TEMPO_TAPS, TempoTaps};
use crate::terminal::view::{Layout, Pen, StyledLine, styled_lines, wrap};
use crate::terminal::{State, Theme};
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Minimum range of the plot on either side of the pulse, in ms.
const MIN_RANGE: f64 = 60.0;

/// Draws statistics, and next to or below them the last asynchronies.
pub(crate) fn draw_pane(state: &State, pen: &mut Pen<'_>, layout: &Layout) {
    let Some(tapping) = &state.playback.taps.current else { return };
    let (area, theme) = (layout.pane, pen.theme);
    let (width, rows) = (usize::from(area.width), usize::from(area.height));
    let (room, gap) = if layout.pane_right { (width.saturating_sub(2), 1) } else { (width / 2 - 1, 0) };
    let mut lines = vec![vec![(heading(tapping), theme.heading())]];
    lines
        .extend(statistics(state, tapping, theme).into_iter().flat_map(|(text, s)| styled_lines(wrap(&text, room), s)));
    pen.put_lines(area, gap, 0, &lines);
    let Some(stretch) = tapping.report.stretches.last().filter(|s| s.stats.is_some()) else { return };
    let (x, y) = if layout.pane_right { (gap, lines.len() + 1) } else { (room + 2, 0) };
    pen.put_lines(area, x, y, &plot(stretch, room, rows.saturating_sub(y), theme));
}

/// Draws the tempo that is being tapped, and the one that it would replace.
pub(crate) fn draw_tempo_pane(state: &State, pen: &mut Pen<'_>, layout: &Layout, taps: &TempoTaps) {
    let (area, theme) = (layout.pane, pen.theme);
    let section = &state.groove().sections()[state.session.cursor().place.section];
    let (unit, plain) = (print_note_value(section.tempo.unit()), Style::new());
    let mut lines =
        vec![(format!("Tap the tempo of section '{}': {}", section.name, count(taps.count(), "tap")), theme.heading())];
    let intervals = taps.intervals();
    let ms = |seconds: f64| format!("{:.0}", seconds * 1000.0);
    match taps.tempo(section.tempo.unit()) {
        Some(tempo) => {
            let (least, most) = intervals.iter().fold((f64::MAX, 0.0_f64), |(a, b), i| (a.min(*i), b.max(*i)));
            let text = format!(
                "{unit} = {}, from {} of {} to {} ms",
                tempo.bpm(),
                count(intervals.len(), "interval"),
                ms(least),
                ms(most)
            );
            lines.push((text, theme.value()));
        }
        None => lines.push((format!("tap one {unit} after the other, at least {MIN_TEMPO_TAPS} times"), plain)),
    }
    if taps.ignored > 0 {
        let text = format!("{} taps ignored: too fast for a finger (is a key held down?)", taps.ignored);
        lines.push((text, theme.warning()));
    }
    let [set, cancel] = ["tempo-set", "tempo-cancel"].map(|name| state.key(name));
    lines.push((
        format!("now {unit} = {}; {set} sets the tapped tempo, {cancel} keeps this one", section.tempo.bpm()),
        plain,
    ));
    let room = usize::from(area.width).saturating_sub(2);
    let lines: Vec<StyledLine> = lines.into_iter().flat_map(|(text, s)| styled_lines(wrap(&text, room), s)).collect();
    pen.put_lines(area, usize::from(layout.pane_right), 0, &lines);
}

fn heading(tapping: &Tapping) -> String {
    match tapping.target {
        TapTarget::Calibration => format!("Tap with the clicks: {} of {CALIBRATION_TAPS}", tapping.taps.len()),
        TapTarget::Recording => format!("Tap the beats of the recording: {}", count(tapping.taps.len(), "tap")),
        TapTarget::Loop => format!("Tap along: {}", count(tapping.taps.len(), "tap")),
    }
}

fn statistics(state: &State, tapping: &Tapping, theme: Theme) -> Vec<(String, Style)> {
    let plain = Style::new();
    let key = |name| state.key(name);
    if let Some(outcome) = &tapping.calibration {
        let text = outcome.as_ref().unwrap_or_else(|too_uneven| too_uneven).clone();
        let style = if outcome.is_ok() { theme.value() } else { theme.warning() };
        let keys = format!("{} closes, {} measures again", key("tap-end"), key("tap-restart"));
        return vec![(text, style), (keys, plain)];
    }
    if !state.playback.is_playing {
        let why = state.playback.no_sound_reason.as_deref().map(|w| format!(" ({w})")).unwrap_or_default();
        let text = format!("nothing is playing{why}, so taps are not counted; {} tries again", key("tap-restart"));
        return vec![(text, theme.warning())];
    }
    let mut lines = Vec::new();
    if tapping.ignored > 0 {
        let text = format!("{} taps ignored: too fast for a finger (is a key held down?)", tapping.ignored);
        lines.push((text, theme.warning()));
    }
    if tapping.target == TapTarget::Calibration {
        let text = "listen to one bar of clicks, then tap on every click; the median delay becomes the tap offset: output latency plus your habit of tapping early or late";
        lines.push((text.to_owned(), plain));
        return lines;
    }
    if tapping.target == TapTarget::Recording {
        let place = state.session.grid_place().map_or(String::new(), print_place);
        let text = format!(
            "tap on every beat; the first tap is {place}, where the cursor is. {} lays the beats there, moved to the attacks, {} \
             starts again",
            key("tap-end"),
            key("tap-restart")
        );
        lines.push((text, plain));
        return lines;
    }
    let Some(stretch) = tapping.report.stretches.last() else {
        let text = format!("keep tapping: at least {MIN_TAPS} taps are needed to tell which pulse they follow");
        lines.push((text, plain));
        return lines;
    };
    let (groove, report) = (&tapping.setup.groove, &tapping.setup.report);
    lines.push((format!("on {}", describe_tap::follows(groove, report, stretch.follows)), theme.hearing()));
    lines.push((describe_tap::confidence(groove, report, stretch), theme.faint()));
    match &stretch.stats {
        Some(s) => {
            lines.extend([describe_tap::mean(s), describe_tap::spread(s), describe_tap::drift(s)].map(|l| (l, plain)));
        }
        None => lines.push((format!("{:.1} taps a minute", stretch.rate), plain)),
    }
    lines
}

/// The last asynchronies, the newest at the bottom: the pulse is the line in the middle, early taps are to its left.
fn plot(stretch: &TapStretch, width: usize, rows: usize, theme: Theme) -> Vec<StyledLine> {
    let has_plot = stretch.follows != FollowedPulse::None && rows >= 3 && width >= 16;
    let Some(stats) = stretch.stats.as_ref().filter(|_| has_plot) else { return Vec::new() };
    let last = &stats.asynchronies[stats.asynchronies.len().saturating_sub(rows - 1)..];
    let side = last.iter().fold(MIN_RANGE, |m, a| m.max(a.abs()));
    let half = ((width - 1) / 2).min(30);
    let scale = format!("{:<half$}|{:>half$}", format!("-{side:.0} ms early"), format!("late +{side:.0} ms"));
    let mut lines = vec![vec![(scale, theme.faint())]];
    for a in last {
        let at = (half as f64 + a / side * half as f64).round().clamp(0.0, 2.0 * half as f64) as usize;
        let mut row = vec![' '; at.max(half) + 1];
        row[half] = '|';
        row[at] = if at == half { 'X' } else { 'x' };
        let text = |columns: &[char]| columns.iter().collect::<String>();
        let (before, mark, after) = (text(&row[..at]), text(&row[at..=at]), text(&row[at + 1..]));
        lines.push(vec![(before, theme.faint()), (mark, theme.value()), (after, theme.faint())]);
    }
    lines
}

/// Draws the report of the last tapping with one line highlighted.
pub(crate) fn draw_report(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let theme = pen.theme;
    let lines = state.tap_report_lines();
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let style = |l: &ReportLine| match l.style {
        LineStyle::Heading => theme.heading(),
        LineStyle::Plain => Style::new(),
        LineStyle::Faint => theme.faint(),
    };
    let rows = lines.iter().enumerate().flat_map(|(i, line)| {
        let wrapped = wrap(&line.text, width.saturating_sub(line.indent));
        wrapped.into_iter().map(move |text| (i, line, text))
    });
    let rows: Vec<(usize, &ReportLine, String)> = rows.collect();
    let selected = rows.iter().position(|r| r.0 == at.min(lines.len().saturating_sub(1))).unwrap_or(0);
    let first = selected.saturating_sub(height / 2).min(rows.len().saturating_sub(height));
    for (y, (i, line, text)) in rows.iter().skip(first).take(height).enumerate() {
        pen.put(area, line.indent, y, text, style(line));
        if *i == at {
            pen.row_style(area, y, theme.cursor());
        }
    }
}
