//! The streams: the written beat and the pulses of hearings over time, and where they meet.

use super::canvas::{Anchor, Canvas};
use super::strip::{self, Strip};
use super::theme::StyleClass;
use super::{DrawingSummary, PageLayout, font, grid};
use crate::export::ExportInput;

const NAME_WIDTH: f32 = 150.0;
const ROW_HEIGHT: f32 = 26.0;
/// Pixels between the two closest pulses of a stream, unless [`MAX_SECOND_WIDTH`] is exceeded.
const PULSE_DISTANCE: f64 = 13.0;
const MAX_SECOND_WIDTH: f64 = 160.0;
const MAX_LINES: usize = 8;

pub(super) fn draw(piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout) -> (f32, DrawingSummary) {
    let clock = &piece.report.clock;
    let beats = strip::beats(piece);
    let strips = strip::hearings(piece, &beats);
    let section = piece.section.and_then(|s| clock.range(s, 0));
    let (from, end) = section.unwrap_or((0.0, clock.total()));
    let gap = |times: &mut dyn Iterator<Item = f64>| {
        let times: Vec<f64> = times.filter(|t| is_inside(*t, (from, end))).collect();
        times.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 1e-3).fold(f64::MAX, f64::min)
    };
    let gaps = strips.iter().map(|s| gap(&mut s.pulses.iter().map(|p| p.seconds)));
    let smallest = gaps.fold(gap(&mut beats.iter().copied()), f64::min);
    let room = f64::from(page.right - page.left - NAME_WIDTH - 10.0);
    let fitting = room / (end - from).max(1e-3);
    let scale = (PULSE_DISTANCE / smallest.max(1e-3)).clamp(fitting, MAX_SECOND_WIDTH.max(fitting));
    // All lines are equally long and fill the width.
    let count = ((end - from) * scale / room - 1e-6).ceil().max(1.0) as usize;
    let drawn = count.min(MAX_LINES);
    let each = (end - from) / count as f64;
    let meetings = strips.first().into_iter().flat_map(|s| &s.pulses).filter(|p| p.meets_beat).map(|p| p.seconds);
    let range = (from, from + each * drawn as f64);
    let meetings = meetings.filter(|t| is_inside(*t, range)).collect();
    let mut summary = DrawingSummary { meetings, range, ..DrawingSummary::default() };
    let mut y = page.top + 4.0;
    for k in 0..drawn {
        if k > 0 {
            canvas.allow_break(y - 2.0);
        }
        let start = from + each * k as f64;
        let line =
            Line { left: page.left + NAME_WIDTH, top: y, from: start, to: start + each, scale: room / each.max(1e-3) };
        line.names(piece, canvas, page, &strips);
        y = line.draw(canvas, &beats, &strips);
    }
    if count > drawn {
        summary.cut = format!("The first {:.1} of {:.1} seconds are drawn.", each * drawn as f64, end - from);
        y += 16.0;
        canvas.text(StyleClass::Text, Anchor::Start, page.left, y, 10.0, &summary.cut);
    }
    y += 18.0;
    let mut x = page.left + 6.0;
    for (filled, label) in [(true, "within 20 ms of the written beat"), (false, "further away")] {
        grid::pin(canvas, 0, filled, x, y - 3.0);
        canvas.text(StyleClass::Text, Anchor::Start, x + 10.0, y, 9.0, label);
        x += 10.0 + font::width(label, 9.0) + 20.0;
    }
    (y + 14.0, summary)
}

fn is_inside(t: f64, (from, to): (f64, f64)) -> bool {
    t >= from - 1e-6 && t < to - 1e-6
}

struct Line {
    left: f32,
    top: f32,
    /// In seconds.
    from: f64,
    to: f64,
    /// Pixels per second.
    scale: f64,
}

impl Line {
    fn x(&self, t: f64) -> f32 {
        self.left + ((t - self.from) * self.scale) as f32
    }

    /// The height of a stream: 0 is the written beat.
    fn row(&self, index: usize) -> f32 {
        self.top + ROW_HEIGHT * (index as f32 + 0.5) + 4.0
    }

    fn names(&self, piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout, strips: &[Strip]) {
        let section = piece.sections().first().copied().unwrap_or(0);
        let beat = strip::beat_label(piece, section);
        let (x, room) = (page.left + 4.0, NAME_WIDTH - 14.0);
        canvas.fitted_text(StyleClass::Text, x, self.row(0) + 3.0, 8.5, &beat, room);
        for (i, strip) in strips.iter().enumerate() {
            grid::strip_name(canvas, strip, x, self.row(i + 1), room);
        }
    }

    /// Returns the lower edge.
    fn draw(&self, canvas: &mut Canvas, beats: &[f64], strips: &[Strip]) -> f32 {
        let is_inside = |t: f64| is_inside(t, (self.from, self.to));
        for y in (0..=strips.len()).map(|i| self.row(i)) {
            canvas.line(StyleClass::Cell, self.left, y, self.x(self.to), y);
        }
        for t in beats.iter().filter(|t| is_inside(**t)) {
            canvas.rect(StyleClass::Written, self.x(*t) - 1.2, self.row(0) - 8.0, 2.4, 16.0);
        }
        for (i, strip) in strips.iter().enumerate() {
            for p in strip.pulses.iter().filter(|p| is_inside(p.seconds)) {
                let x = self.x(p.seconds);
                if p.meets_beat {
                    canvas.line(StyleClass::Meet, x, self.row(0), x, self.row(i + 1));
                }
                grid::pin(canvas, i, p.meets_beat, x, self.row(i + 1));
            }
        }
        let axis = self.row(strips.len()) + ROW_HEIGHT / 2.0 + 2.0;
        canvas.line(StyleClass::Beat, self.left, axis, self.x(self.to), axis);
        let steps = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0];
        let step = steps.into_iter().find(|s| s * self.scale >= 38.0).unwrap_or(120.0);
        let mut tick = (self.from / step - 1e-9).ceil().max(0.0) * step + 0.0;
        while tick <= self.to + 1e-9 {
            let x = self.x(tick);
            canvas.line(StyleClass::Beat, x, axis, x, axis + 4.0);
            canvas.text(StyleClass::Faint, Anchor::Middle, x, axis + 12.5, 8.0, &format!("{tick:.1} s"));
            tick += step;
        }
        axis + 20.0
    }
}
