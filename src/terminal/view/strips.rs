//! Draws the pulses of hearings under the grid, in the same columns as the cells.

use crate::analysis::{Hearing, HearingKind, Report};
use crate::describe;
use crate::rhythm::Time;
use crate::terminal::State;
use crate::terminal::view::grid::playhead;
use crate::terminal::view::{Layout, Pen, Scale, fit};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Maximum distance of an attack from a pulse it agrees with, as a share of the period.
const PULSE_TOLERANCE: f64 = crate::analysis::limits::PULSE_TOLERANCE.value / 100.0;

/// Draws the written beat, the hearing of the strip and, where there is room, the others.
pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout, scale: Scale) {
    let theme = pen.theme;
    let names = Rect::new(0, layout.strips.y, layout.names.width, layout.strips.height);
    let Some((report, _)) = state.report() else { return };
    let mut shown: Vec<(&Hearing, &str, Style)> = Vec::new();
    let strip = state.strip_hearing();
    let is_written = strip.is_some_and(|(_, h)| h.kind == HearingKind::Written);
    let beat = if is_written { "written beat" } else { "beat" };
    shown.extend(state.written_beat().map(|h| (h, beat, theme.written())));
    let selected = strip.filter(|_| !is_written);
    shown.extend(selected.map(|(_, h)| (h, "heard", theme.hearing())));
    let is_other = |(i, h): &(usize, &Hearing)| h.kind != HearingKind::Written && selected.is_none_or(|(c, _)| c != *i);
    let others = report.hearings.iter().enumerate().filter(is_other);
    shown.extend(others.map(|(_, h)| (h, "other", theme.faint())));
    for (row, (h, name, style)) in shown.iter().take(usize::from(layout.strips.height)).enumerate() {
        let room = usize::from(names.width) - 1;
        pen.put(names, 0, row, &fit(&label(state, report, h, name, room), room), *style);
        draw_strip(state, pen, layout, scale, report, (h, row, *style));
    }
    if shown.len() == 1 && layout.strips.height > 1 {
        let text = "no pulse besides the written beat is likely";
        pen.put(layout.strips, 0, 1, &fit(text, usize::from(layout.strips.width)), theme.faint());
    }
    if let Some(x) = playhead(state, layout, scale) {
        pen.column_style(layout.strips, x, theme.playhead());
    }
}

/// The name of a strip, the tempo of its hearing and, where there is room, its likelihood and kind.
fn label(state: &State, report: &Report, hearing: &Hearing, name: &str, room: usize) -> String {
    let bpm = format!("{:.0}", bpm_here(state, report, hearing));
    // A name that is too long for the gutter loses its last word.
    let name = Some(name).filter(|n| n.width() + 1 + bpm.len() <= room).or(name.split(' ').next()).unwrap_or_default();
    let tempo = format!("{name:<5} {bpm:>0$}", 4.min(room.saturating_sub(name.width() + 1)));
    let likely = describe::likelihood(hearing);
    let with_likely = format!("{tempo} {likely:>5}");
    match room {
        0..=24 if with_likely.width() > room => tempo,
        0..=24 => with_likely,
        _ => format!("{with_likely} {}", hearing.kind.short()),
    }
}

/// The pass of the shown section that plays, or the first one.
pub(crate) fn shown_pass(state: &State) -> usize {
    state.pass_of(state.shown_section())
}

/// A hearing's tempo at the cursor, or at the start of another section that is shown: that of its stretch there, or the first
/// stretch before the first pulse.
fn bpm_here(state: &State, report: &Report, hearing: &Hearing) -> f64 {
    let cursor = state.session.cursor();
    let section = state.shown_section();
    let column = if section == cursor.place.section { cursor.column } else { Time::ZERO };
    let at = report.clock.seconds(section, shown_pass(state), column).unwrap_or(0.0);
    let next = hearing.stretches.partition_point(|s| s.start <= at + 1e-6);
    let stretch = hearing.stretches.get(next.saturating_sub(1));
    stretch.map_or_else(|| hearing.bpm(report.speed), |s| 60.0 * report.speed / s.period)
}

fn draw_strip(
    state: &State,
    pen: &mut Pen<'_>,
    layout: &Layout,
    scale: Scale,
    report: &Report,
    (hearing, row, style): (&Hearing, usize, Style),
) {
    let glyphs = pen.theme.glyphs();
    let section = state.shown_section();
    // Also the spaces: with one style in the row, moved pulses take few bytes.
    pen.row_style(layout.strips, row, style);
    let Some(s) = state.shown_groove().sections().get(section) else { return };
    let Some((start, end)) = report.clock.range(section, shown_pass(state)) else { return };
    let Some(per_whole) = report.clock.seconds_per_whole(section) else { return };
    let beat = s.meter.beat();
    let per_beat = per_whole * beat.numer() as f64 / beat.denom() as f64;
    let width = usize::from(layout.strips.width);
    let first = hearing.pulses.partition_point(|p| *p < start - 1e-6);
    for (i, pulse) in hearing.pulses.iter().enumerate().skip(first) {
        if *pulse >= end - 1e-6 {
            break;
        }
        let column = scale.nearest_column((pulse - start) / per_beat);
        if column >= layout.first_column + width {
            break;
        }
        let Some(x) = column.checked_sub(layout.first_column) else { continue };
        let next = hearing.pulses.get(i + 1).or_else(|| hearing.pulses.get(i.wrapping_sub(1)));
        let period = next.map_or(per_beat, |n| (n - pulse).abs());
        let tolerance = period * PULSE_TOLERANCE;
        let attack = report.attacks.partition_point(|a| a.seconds < pulse - tolerance);
        let has_attack = report.attacks.get(attack).is_some_and(|a| a.seconds <= pulse + tolerance);
        let mark = if has_attack { glyphs.pulse_with_attack } else { glyphs.pulse_without_attack };
        pen.put_char(layout.strips, x, row, mark, style);
    }
}
