//! The grid: layers as rows over time, in lines that fit the page, with strips of pulses below.

mod row;

use super::canvas::{Anchor, Canvas, Shape};
use super::font;
use super::legend::{self, LegendMark};
use super::strip::{self, Strip};
use super::theme::StyleClass;
use super::{DrawingSummary, PageLayout, PictureHeading, PictureOptions, Ruler, TimeLine};
use crate::analysis::clock::wholes;
use crate::analysis::landing;
use crate::export::{ExportInput, section_summary};
use crate::rhythm::Section;
use row::Row;
use std::collections::BTreeSet;

const MAX_NAME_WIDTH: f32 = 132.0;
const MIN_NAME_WIDTH: f32 = 60.0;
const MIN_CELL_WIDTH: f32 = 9.0;
const MAX_CELL_WIDTH: f32 = 40.0;
const MIN_BEAT_WIDTH: f32 = 14.0;
/// Height of a row: bracket, mark, accent.
const ROW_HEIGHT: f32 = 32.0;
/// From the upper edge of a row to its marks.
const MARK_Y: f32 = 18.5;
/// Size of the counting syllables.
const COUNT_SIZE: f32 = 8.0;
const STRIP_HEIGHT: f32 = 21.0;
/// A picture ends with the line that exceeds this number of marks.
const MAX_MARKS: usize = 60_000;

#[derive(Debug, Clone, Copy)]
struct Line {
    /// In whole notes from the section's start.
    from: f64,
    to: f64,
    x: f32,
    /// Pixels per whole note.
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

pub(super) fn draw(
    piece: &ExportInput<'_>,
    canvas: &mut Canvas,
    page: PageLayout,
    options: &PictureOptions,
) -> (f32, DrawingSummary) {
    let (y, summary, marks) = body(piece, canvas, page, options);
    (legend::draw(canvas, page, y + 12.0, &marks), summary)
}

/// Draws all but the legend; returns the lower edge, and the marks that the legend has to explain.
pub(super) fn body(
    piece: &ExportInput<'_>,
    canvas: &mut Canvas,
    page: PageLayout,
    options: &PictureOptions,
) -> (f32, DrawingSummary, BTreeSet<LegendMark>) {
    let groove = piece.groove;
    let strips = strip::hearings(piece, &strip::beats(piece));
    let (mut summary, mut y) = (DrawingSummary::default(), page.top);
    let mut grid =
        Grid { piece, canvas, page, ruler: options.ruler, strips: &strips, marks: 0, legend: BTreeSet::new() };
    let sections = piece.sections();
    if groove.layers().is_empty() {
        grid.canvas.text(StyleClass::Faint, Anchor::Start, page.left, y + 16.0, 11.0, "No layers.");
        y += 24.0;
    }
    'sections: for &s in &sections {
        let section = &groove.sections()[s];
        let rows: Vec<Row> = (0..groove.layers().len()).map(|l| row::row(piece, l, s)).collect();
        if s > sections[0] {
            grid.canvas.allow_break(y + 4.0);
        }
        if options.heading == PictureHeading::Title || sections.len() > 1 || section.times > 1 {
            y += 18.0;
            let first_only = if section.times > 1 { " (the first is drawn)" } else { "" };
            let heading = format!("{}{first_only}", section_summary(section));
            grid.canvas.fitted_text(StyleClass::Text, page.left, y, 11.0, &heading, page.right - page.left);
            y += 6.0;
        }
        for (k, line) in lines(section, &rows, page).into_iter().enumerate() {
            if grid.marks > MAX_MARKS {
                summary.cut = format!(
                    "The picture ends before bar {} of section {}: the groove is too large for one picture.",
                    (line.from / wholes(section.meter.bar())).floor() as usize + 1,
                    section.name
                );
                break 'sections;
            }
            if k > 0 {
                grid.canvas.allow_break(y + 4.0);
            }
            y += if k > 0 { 14.0 } else { 4.0 };
            let top = y;
            y = grid.line(s, &rows, line, y);
            summary.time_lines.push(TimeLine {
                section: s,
                block: grid.canvas.block(),
                top: top + 5.0,
                bottom: y,
                points: vec![(line.from, line.x(line.from)), (line.to, line.x(line.to))],
            });
        }
    }
    let legend = grid.legend;
    if !summary.cut.is_empty() {
        y += 18.0;
        canvas.text(StyleClass::Text, Anchor::Start, page.left, y, 11.0, &summary.cut);
    }
    (y, summary, legend)
}

fn name_width(page: PageLayout) -> f32 {
    ((page.right - page.left) * 0.2).clamp(MIN_NAME_WIDTH, MAX_NAME_WIDTH)
}

/// Breaks a section into lines of about equal length: of whole bars, or of whole beats if a bar does not fit.
fn lines(section: &Section, rows: &[Row], page: PageLayout) -> Vec<Line> {
    let room = f64::from(page.right - page.left - name_width(page));
    let (bar, beat) = (wholes(section.meter.bar()), wholes(section.meter.beat()));
    let narrowest = |r: &Row| {
        let ends = r.cells.iter().skip(1).map(|c| c.start).chain([r.end]);
        r.cells.iter().zip(ends).map(|(a, b)| b - a.start).fold(f64::MAX, f64::min)
    };
    let cell = rows.iter().map(narrowest).fold(beat, f64::min).max(1e-6);
    let least = (f64::from(MIN_CELL_WIDTH) / cell).max(f64::from(MIN_BEAT_WIDTH) / beat).min(room / beat);
    let most = (f64::from(MAX_CELL_WIDTH) / cell).max(least);
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
            let at = |k: usize| start + k.min(beats) as f64 * beat;
            cuts.extend((0..beats).step_by(each).map(|k| (at(k), at(k + each))));
        }
        each as f64 * beat
    };
    let scale = (room / longest).min(most);
    cuts.into_iter().map(|(from, to)| Line { from, to, x: page.left + name_width(page), scale }).collect()
}

struct Grid<'a> {
    piece: &'a ExportInput<'a>,
    canvas: &'a mut Canvas,
    page: PageLayout,
    ruler: Ruler,
    strips: &'a [Strip],
    /// The number of marks drawn.
    marks: usize,
    legend: BTreeSet<LegendMark>,
}

impl Grid<'_> {
    /// Draws one line of a section; returns its lower edge.
    fn line(&mut self, s: usize, rows: &[Row], line: Line, top: f32) -> f32 {
        let left = self.page.left;
        let name_width = name_width(self.page);
        let rows_top = top + 24.0;
        let rows_end = rows_top + ROW_HEIGHT * rows.len() as f32;
        for (i, r) in rows.iter().enumerate() {
            let y = rows_top + ROW_HEIGHT * i as f32;
            if i % 2 == 0 {
                self.canvas.rect(StyleClass::Band, left, y, line.x(line.to) - left, ROW_HEIGHT);
            }
            self.canvas.fitted_text(StyleClass::Text, left + 4.0, y + MARK_Y + 4.0, 11.0, &r.name, name_width - 18.0);
            self.marks += row::draw(self.canvas, r, line, y, &mut self.legend);
        }
        let bottom = rows_end + 5.0 + STRIP_HEIGHT * (self.strips.len() + 1) as f32;
        let written = rows_end + 5.0 + STRIP_HEIGHT / 2.0;
        if self.ruler == Ruler::Counting {
            self.count(s, rows, line, top);
        }
        self.beats(s, line, (top, rows_end, bottom), written);
        self.strips(s, line, (rows_top, rows_end), written);
        bottom
    }

    /// Beat and bar lines with their numbers, and the strip of the written beat at height `written`.
    fn beats(&mut self, s: usize, line: Line, (top, rows_end, bottom): (f32, f32, f32), written: f32) {
        let (canvas, meter) = (&mut *self.canvas, &self.piece.groove.sections()[s].meter);
        let (bar, beat, beats) = (wholes(meter.bar()), wholes(meter.beat()), meter.beats());
        let (first, last) = ((line.from / beat).round() as usize, (line.to / beat).round() as usize);
        let name = strip::beat_label(self.piece, s);
        canvas.fitted_text(
            StyleClass::Text,
            self.page.left + 4.0,
            written + 3.0,
            9.0,
            &name,
            name_width(self.page) - 16.0,
        );
        for b in first..=last {
            let at = b as f64 * beat;
            let x = line.x(at);
            let is_downbeat = b % beats == 0;
            let (class, from) = if is_downbeat {
                (StyleClass::Bar, top + 5.0)
            } else {
                (StyleClass::Beat, top + if b == last { 15.0 } else { 17.0 })
            };
            canvas.line(class, x, from, x, rows_end);
            canvas.line(StyleClass::Cell, x, rows_end, x, bottom);
            if b == last {
                break;
            }
            if is_downbeat || b == first {
                let number = ((at / bar + 1e-9).floor() as usize + 1).to_string();
                canvas.text(StyleClass::Text, Anchor::Start, x + 4.0, top + 13.0, 10.5, &number);
            }
            if self.ruler == Ruler::Beats {
                let number = (b % beats + 1).to_string();
                canvas.text(StyleClass::Faint, Anchor::Start, x + 2.5, top + 22.0, 7.5, &number);
            }
            let r = if is_downbeat { 8.0 } else { 5.0 };
            canvas.rect(StyleClass::Written, x - 1.2, written - r, 2.4, 2.0 * r);
        }
    }

    /// The syllables of the cells of the first analysed layer, which are bold where the layer has an attack; a syllable without room
    /// is left out.
    fn count(&mut self, s: usize, rows: &[Row], line: Line, top: f32) {
        let Some(layer) = self.piece.report.focus.first().copied() else { return };
        let (context, mut free) = (self.piece.groove.context(layer, s), f32::MIN);
        for cell in rows[layer].cells.iter().filter(|c| line.has(c.start)) {
            let syllable = landing::syllable(cell.spot, context);
            if syllable == "·" {
                continue;
            }
            let class = if cell.cell.attack().is_some() { StyleClass::Text } else { StyleClass::Faint };
            let (x, half) = (line.x(cell.start), font::width(&syllable, COUNT_SIZE) / 2.0);
            if x - half > free {
                self.canvas.text(class, Anchor::Middle, x, top + 22.0, COUNT_SIZE, &syllable);
                free = x + half + 0.5;
            }
        }
    }

    fn strips(&mut self, s: usize, line: Line, (rows_top, rows_end): (f32, f32), written: f32) {
        let clock = &self.piece.report.clock;
        let start = clock.range(s, 0).map_or(0.0, |r| r.0);
        let per_whole = clock.seconds_per_whole(s).unwrap_or(1.0);
        for (i, strip) in self.strips.iter().enumerate() {
            let y = written + STRIP_HEIGHT * (i + 1) as f32;
            strip_name(self.canvas, strip, self.page.left + 4.0, y, name_width(self.page) - 16.0);
            let from = strip.pulses.partition_point(|p| p.seconds < start + line.from * per_whole - 1e-6);
            for pulse in &strip.pulses[from..] {
                let at = (pulse.seconds - start) / per_whole;
                if at > line.to - 1e-6 {
                    break;
                }
                let x = line.x(at);
                if i == 0 {
                    self.canvas.line(StyleClass::Guide, x, rows_top, x, rows_end);
                    self.legend.insert(LegendMark::Guide);
                }
                if pulse.meets_beat {
                    self.canvas.line(StyleClass::Meet, x, written, x, y);
                    self.legend.insert(LegendMark::Meeting);
                }
                pin(self.canvas, i, pulse.sounded, x, y);
                let mark = if pulse.sounded { LegendMark::PulseWithAttack } else { LegendMark::PulseWithout };
                self.legend.insert(mark);
                self.marks += 1;
            }
        }
    }
}

pub(super) fn strip_name(canvas: &mut Canvas, strip: &Strip, x: f32, y: f32, room: f32) {
    canvas.fitted_text(StyleClass::Text, x, y - 0.5, 8.5, &strip.name, room);
    canvas.fitted_text(StyleClass::Faint, x, y + 8.0, 7.0, &strip.tempo, room);
}

/// A pulse of the hearing with this index: a stem with a head.
pub(super) fn pin(canvas: &mut Canvas, index: usize, filled: bool, x: f32, y: f32) {
    const HEADS: [Shape; 4] = [Shape::Disc, Shape::Diamond, Shape::Square, Shape::Up];
    let n = index as u8;
    canvas.line(StyleClass::Pulse(n), x, y - 7.0, x, y + 7.0);
    let class = if filled { StyleClass::Pulse(n) } else { StyleClass::PulseOpen(n) };
    canvas.mark(class, HEADS[index % HEADS.len()], x, y, 3.2);
}
