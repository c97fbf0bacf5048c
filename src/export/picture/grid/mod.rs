//! The grid: layers as rows over time, in lines that fit the page, with the pulses of hearings below.

mod row;

use super::canvas::{Anchor, Canvas, Shape};
use super::font;
use super::legend::{self, LegendUse};
use super::strip::{self, Strip};
use super::theme::StyleClass;
use super::{DrawingSummary, PageLayout, sections};
use crate::analysis::clock::wholes;
use crate::describe;
use crate::export::ExportInput;
use crate::rhythm::print_note_value;
use row::Row;

/// Room for the names of rows.
const NAMES: f32 = 132.0;
/// Narrowest cell.
const CELL: f32 = 9.0;
/// Widest cell.
const WIDEST: f32 = 40.0;
/// Narrowest beat.
const BEAT: f32 = 14.0;
/// Height of a row: bracket, mark, accent.
const ROW: f32 = 32.0;
/// Where the marks stand in a row.
const MIDDLE: f32 = 18.5;
/// Height of a strip.
const STRIP: f32 = 21.0;
/// Most marks of a picture; what comes after is left out, line by line.
const MOST_MARKS: usize = 60_000;

/// One line of the picture: from and to, in whole notes, and the x of the start and pixels per whole note.
#[derive(Debug, Clone, Copy)]
struct Line {
    from: f64,
    to: f64,
    x: f32,
    scale: f64,
}

impl Line {
    fn x(&self, at: f64) -> f32 {
        self.x + ((at - self.from) * self.scale) as f32
    }

    fn has(&self, at: f64) -> bool {
        at >= self.from - 1e-9 && at < self.to - 1e-9
    }
}

pub(super) fn draw(piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout) -> (f32, DrawingSummary) {
    let (y, shown, seen) = body(piece, canvas, page);
    (legend::draw(canvas, page, y + 12.0, &seen), shown)
}

/// All but the key; gives where it ends and what the key has to explain.
pub(super) fn body(piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout) -> (f32, DrawingSummary, LegendUse) {
    let groove = piece.groove;
    let beats = strip::beats(piece);
    let strips = strip::hearings(piece, &beats);
    let (mut y, mut marks, mut shown) = (page.top, 0, DrawingSummary::default());
    let mut seen = LegendUse::default();
    let wanted = sections(piece);
    if groove.layers().is_empty() {
        canvas.text(StyleClass::Faint, Anchor::Start, page.left, y + 16.0, 11.0, "No layers.");
        y += 24.0;
    }
    'sections: for &s in &wanted {
        let section = &groove.sections()[s];
        let rows: Vec<Row> = (0..groove.layers().len()).map(|l| row::row(piece, l, s)).collect();
        if s > wanted[0] {
            canvas.part(y + 4.0);
        }
        y += 18.0;
        let room = page.right - page.left;
        canvas.text(StyleClass::Text, Anchor::Start, page.left, y, 11.0, &font::fitted(&heading(piece, s), 11.0, room));
        y += 6.0;
        for (k, line) in lines(piece, s, &rows, page).into_iter().enumerate() {
            if marks > MOST_MARKS {
                shown.cut = format!(
                    "The picture ends before bar {} of section {}: the groove is too large for one picture.",
                    (line.from / wholes(section.meter.bar())).floor() as usize + 1,
                    section.name
                );
                break 'sections;
            }
            if k > 0 {
                canvas.part(y + 4.0);
            }
            y += if k > 0 { 14.0 } else { 4.0 };
            y = system(piece, canvas, s, &rows, &strips, line, page, y, &mut marks, &mut seen);
        }
    }
    if !shown.cut.is_empty() {
        y += 18.0;
        canvas.text(StyleClass::Text, Anchor::Start, page.left, y, 11.0, &shown.cut);
    }
    (y, shown, seen)
}

fn heading(piece: &ExportInput<'_>, s: usize) -> String {
    let section = &piece.groove.sections()[s];
    let beat = print_note_value(section.tempo.unit());
    let bars = describe::bar_count(section.bars);
    let (times, first) = if section.times > 1 {
        (format!(" ×{}", section.times), format!(", {} times through (the first is drawn)", section.times))
    } else {
        (String::new(), String::new())
    };
    let swing = section.swing.map(|s| format!(", swing {s}")).unwrap_or_default();
    let (name, meter, bpm) = (&section.name, &section.meter, section.tempo.bpm());
    format!("Section {name}{times}: {meter} at {beat} = {bpm}, {bars}{swing}{first}")
}

/// Breaks a section into lines: whole bars where one fits, else whole beats; about as many in every line.
fn lines(piece: &ExportInput<'_>, s: usize, rows: &[Row], page: PageLayout) -> Vec<Line> {
    let section = &piece.groove.sections()[s];
    let room = f64::from(page.right - page.left - NAMES);
    let (bar, beat) = (wholes(section.meter.bar()), wholes(section.meter.beat()));
    let narrowest = |r: &Row| {
        let ends = r.cells.iter().skip(1).map(|c| c.x).chain([r.end]);
        r.cells.iter().zip(ends).map(|(a, b)| b - a.x).fold(f64::MAX, f64::min)
    };
    let cell = rows.iter().map(narrowest).fold(beat, f64::min).max(1e-6);
    let least = (f64::from(CELL) / cell).max(f64::from(BEAT) / beat).min(room / beat);
    let most = (f64::from(WIDEST) / cell).max(least);
    let per_line = (room / (least * bar) + 1e-9).floor() as usize;
    let mut cuts: Vec<(f64, f64)> = Vec::new();
    let bars = usize::from(section.bars);
    let longest = if per_line >= 1 {
        let each = bars.div_ceil(bars.div_ceil(per_line));
        cuts.extend((0..bars).step_by(each).map(|b| (b as f64 * bar, (b + each).min(bars) as f64 * bar)));
        each as f64 * bar
    } else {
        let beats = section.meter.beats();
        let fit = ((room / (least * beat) + 1e-9).floor() as usize).max(1);
        let each = beats.div_ceil(beats.div_ceil(fit));
        for b in 0..bars {
            let start = b as f64 * bar;
            cuts.extend(
                (0..beats)
                    .step_by(each)
                    .map(|k| (start + k as f64 * beat, start + (k + each).min(beats) as f64 * beat)),
            );
        }
        each as f64 * beat
    };
    let scale = (room / longest).min(most);
    cuts.into_iter().map(|(from, to)| Line { from, to, x: page.left + NAMES, scale }).collect()
}

#[allow(clippy::too_many_arguments, reason = "one line needs all that is drawn in it")]
fn system(
    piece: &ExportInput<'_>,
    canvas: &mut Canvas,
    s: usize,
    rows: &[Row],
    strips: &[Strip],
    line: Line,
    page: PageLayout,
    top: f32,
    marks: &mut usize,
    seen: &mut LegendUse,
) -> f32 {
    let section = &piece.groove.sections()[s];
    let (bar, beat) = (wholes(section.meter.bar()), wholes(section.meter.beat()));
    let beats = section.meter.beats();
    let first = (line.from / beat).round() as usize;
    let last = (line.to / beat).round() as usize;
    let rows_top = top + 24.0;
    let rows_end = rows_top + ROW * rows.len() as f32;
    let bottom = rows_end + 5.0 + STRIP * (strips.len() + 1) as f32;
    for (i, r) in rows.iter().enumerate() {
        let y = rows_top + ROW * i as f32;
        if i % 2 == 0 {
            canvas.rect(StyleClass::Band, page.left, y, line.x(line.to) - page.left, ROW);
        }
        canvas.text(
            StyleClass::Text,
            Anchor::Start,
            page.left + 4.0,
            y + MIDDLE + 4.0,
            11.0,
            &font::fitted(&r.name, 11.0, NAMES - 18.0),
        );
        *marks += row::draw(canvas, r, line, y, seen);
    }
    for b in first..=last {
        let at = b as f64 * beat;
        let x = line.x(at);
        let head = b % beats == 0;
        if head || b == last {
            canvas.line(
                if head { StyleClass::Bar } else { StyleClass::Beat },
                x,
                if head { top + 5.0 } else { top + 15.0 },
                x,
                rows_end,
            );
        } else {
            canvas.line(StyleClass::Beat, x, top + 17.0, x, rows_end);
        }
        canvas.line(StyleClass::Cell, x, rows_end, x, bottom);
        if b < last {
            if head || b == first {
                canvas.text(
                    StyleClass::Text,
                    Anchor::Start,
                    x + 4.0,
                    top + 13.0,
                    10.5,
                    &format!("{}", (at / bar + 1e-9).floor() as usize + 1),
                );
            }
            canvas.text(StyleClass::Faint, Anchor::Start, x + 2.5, top + 22.0, 7.5, &format!("{}", b % beats + 1));
        }
    }
    let written = rows_end + 5.0 + STRIP / 2.0;
    let name = font::fitted(&strip::written(piece, s), 9.0, NAMES - 16.0);
    canvas.text(StyleClass::Text, Anchor::Start, page.left + 4.0, written + 3.0, 9.0, &name);
    for b in first..last {
        let x = line.x(b as f64 * beat);
        let r = if b % beats == 0 { 8.0 } else { 5.0 };
        canvas.rect(StyleClass::Written, x - 1.2, written - r, 2.4, 2.0 * r);
    }
    let (start, per_whole) =
        (piece.report.clock.range(s, 0).map_or(0.0, |r| r.0), piece.report.clock.seconds_per_whole(s).unwrap_or(1.0));
    for (i, strip) in strips.iter().enumerate() {
        let y = written + STRIP * (i + 1) as f32;
        strip_name(canvas, strip, page.left + 4.0, y, NAMES - 16.0);
        let from = strip.pulses.partition_point(|p| p.seconds < start + line.from * per_whole - 1e-6);
        for pulse in &strip.pulses[from..] {
            let at = (pulse.seconds - start) / per_whole;
            if at > line.to - 1e-6 {
                break;
            }
            let x = line.x(at);
            if i == 0 {
                canvas.line(StyleClass::Guide, x, rows_top, x, rows_end);
            }
            if pulse.meets {
                seen.meets = true;
                canvas.line(StyleClass::Meet, x, written, x, y);
            }
            pin(canvas, i, pulse.sounded, x, y);
            seen.pulses[usize::from(pulse.sounded)] = true;
            *marks += 1;
        }
    }
    bottom
}

/// What a strip shows, and its tempos under that.
pub(super) fn strip_name(canvas: &mut Canvas, strip: &Strip, x: f32, y: f32, room: f32) {
    canvas.text(StyleClass::Text, Anchor::Start, x, y - 0.5, 8.5, &font::fitted(&strip.name, 8.5, room));
    canvas.text(StyleClass::Faint, Anchor::Start, x, y + 8.0, 7.0, &font::fitted(&strip.tempo, 7.0, room));
}

/// A pulse: a stem with a head, filled where an attack falls on it.
pub(super) fn pin(canvas: &mut Canvas, which: usize, filled: bool, x: f32, y: f32) {
    const HEADS: [Shape; 4] = [Shape::Disc, Shape::Diamond, Shape::Square, Shape::Up];
    let which8 = which as u8;
    canvas.line(StyleClass::Pulse(which8), x, y - 7.0, x, y + 7.0);
    let class = if filled { StyleClass::Pulse(which8) } else { StyleClass::PulseOpen(which8) };
    canvas.mark(class, HEADS[which % HEADS.len()], x, y, 3.2);
}
