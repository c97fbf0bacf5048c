//! The streams: the written beat and the pulses of hearings over time, and where they meet.

use super::canvas::{Anchor, Canvas};
use super::strip::{self, Strip};
use super::theme::StyleClass;
use super::{DrawingSummary, PageLayout, font, grid, sections};
use crate::export::ExportInput;

const NAMES: f32 = 150.0;
const ROW: f32 = 26.0;
/// Least distance of two pulses of one stream.
const APART: f64 = 13.0;
/// Most pixels of a second.
const WIDEST: f64 = 160.0;
/// Most lines of the picture.
const MOST_LINES: usize = 8;

pub(super) fn draw(piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout) -> (f32, DrawingSummary) {
    let clock = &piece.report.clock;
    let beats = strip::beats(piece);
    let strips = strip::hearings(piece, &beats);
    let wanted = sections(piece);
    let range = |s: usize| clock.range(s, 0);
    let (from, end) = match (piece.section, wanted.first().and_then(|s| range(*s))) {
        (Some(_), Some(range)) => range,
        _ => (0.0, clock.total()),
    };
    let inside = |t: f64| t >= from - 1e-6 && t < end - 1e-6;
    let gap = |times: &mut dyn Iterator<Item = f64>| {
        let times: Vec<f64> = times.filter(|t| inside(*t)).collect();
        times.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 1e-3).fold(f64::MAX, f64::min)
    };
    let tightest = strips
        .iter()
        .map(|s| gap(&mut s.pulses.iter().map(|p| p.seconds)))
        .fold(gap(&mut beats.iter().copied()), f64::min);
    let room = f64::from(page.right - page.left - NAMES - 10.0);
    let scale =
        (APART / tightest.max(1e-3)).clamp(room / (end - from).max(1e-3), WIDEST.max(room / (end - from).max(1e-3)));
    // As long as it fits one line it is as wide as that; else about as much in every line.
    let total = (end - from) * scale;
    let count = ((total / room) - 1e-6).ceil().max(1.0) as usize;
    let shown_lines = count.min(MOST_LINES);
    let each = (end - from) / count as f64;
    let scale = room / each.max(1e-3);
    let mut shown = DrawingSummary { range: (from, from + each * shown_lines as f64), ..DrawingSummary::default() };
    let mut y = page.top + 4.0;
    for k in 0..shown_lines {
        let start = from + each * k as f64;
        if k > 0 {
            canvas.part(y - 2.0);
        }
        y = line(piece, canvas, page, &beats, &strips, (start, start + each), scale, y, &mut shown);
    }
    if count > shown_lines {
        shown.cut = format!("The first {:.1} of {:.1} seconds are drawn.", each * shown_lines as f64, end - from);
        y += 16.0;
        canvas.text(StyleClass::Text, Anchor::Start, page.left, y, 10.0, &shown.cut);
    }
    y += 18.0;
    let x = page.left + 6.0;
    grid::pin(canvas, 0, true, x, y - 3.0);
    let words = "within 20 ms of the written beat";
    canvas.text(StyleClass::Text, Anchor::Start, x + 10.0, y, 9.0, words);
    let x = x + 10.0 + font::width(words, 9.0) + 20.0;
    grid::pin(canvas, 0, false, x, y - 3.0);
    canvas.text(StyleClass::Text, Anchor::Start, x + 10.0, y, 9.0, "further away");
    (y + 14.0, shown)
}

#[allow(clippy::too_many_arguments, reason = "one line needs all that is drawn in it")]
fn line(
    piece: &ExportInput<'_>,
    canvas: &mut Canvas,
    page: PageLayout,
    beats: &[f64],
    strips: &[Strip],
    (from, to): (f64, f64),
    scale: f64,
    top: f32,
    shown: &mut DrawingSummary,
) -> f32 {
    let left = page.left + NAMES;
    let x = |t: f64| left + ((t - from) * scale) as f32;
    let inside = |t: f64| t >= from - 1e-6 && t < to - 1e-6;
    let row = |i: usize| top + ROW * (i as f32 + 0.5) + 4.0;
    let section = sections(piece).first().copied().unwrap_or(0);
    for i in 0..=strips.len() {
        let y = row(i);
        if let Some(strip) = i.checked_sub(1).and_then(|i| strips.get(i)) {
            grid::strip_name(canvas, strip, page.left + 4.0, y, NAMES - 14.0);
        } else {
            let name = font::fitted(&strip::written(piece, section), 8.5, NAMES - 14.0);
            canvas.text(StyleClass::Text, Anchor::Start, page.left + 4.0, y + 3.0, 8.5, &name);
        }
        canvas.line(StyleClass::Cell, left, y, x(to), y);
    }
    for t in beats.iter().filter(|t| inside(**t)) {
        canvas.rect(StyleClass::Written, x(*t) - 1.2, row(0) - 8.0, 2.4, 16.0);
    }
    for (i, s) in strips.iter().enumerate() {
        for p in s.pulses.iter().filter(|p| inside(p.seconds)) {
            if p.meets {
                canvas.line(StyleClass::Meet, x(p.seconds), row(0), x(p.seconds), row(i + 1));
                if i == 0 {
                    shown.meetings.push(p.seconds);
                }
            }
            grid::pin(canvas, i, p.meets, x(p.seconds), row(i + 1));
        }
    }
    let axis = row(strips.len()) + ROW / 2.0 + 2.0;
    canvas.line(StyleClass::Beat, left, axis, x(to), axis);
    let step = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0].into_iter().find(|s| s * scale >= 38.0).unwrap_or(120.0);
    let mut tick = (from / step - 1e-9).ceil().max(0.0) * step + 0.0;
    while tick <= to + 1e-9 {
        canvas.line(StyleClass::Beat, x(tick), axis, x(tick), axis + 4.0);
        canvas.text(StyleClass::Faint, Anchor::Middle, x(tick), axis + 12.5, 8.0, &format!("{tick:.1} s"));
        tick += step;
    }
    axis + 20.0
}
