//! The row of a layer: its cells, the brackets of its groups, its attacks.

use super::{Line, MARK_Y, ROW_HEIGHT};
use crate::analysis::{clock::wholes, landing};
use crate::export::ExportInput;
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::legend::{self, LegendMark};
use crate::export::picture::theme::StyleClass;
use crate::rhythm::{Accent, Attack, Cell, Spot};
use std::collections::BTreeSet;

pub(super) struct RowCell {
    pub(super) start: f64,
    /// The level of an attack's landing.
    level: u32,
    pub(super) cell: Cell,
    pub(super) spot: Spot,
}

/// A layer's row in one section, times in whole notes from the section's start.
pub(super) struct Row {
    pub(super) name: String,
    pub(super) cells: Vec<RowCell>,
    /// Of each attack: cell, end of the sound, what is played.
    attacks: Vec<(usize, f64, Attack)>,
    /// Of each tuplet: start, end, label.
    tuplets: Vec<(f64, f64, String)>,
    pub(super) end: f64,
}

pub(super) fn row(piece: &ExportInput<'_>, layer: usize, section: usize) -> Row {
    let (groove, context) = (piece.groove, piece.groove.context(layer, section));
    let part = groove.part(layer, section);
    let starts: Vec<f64> = part.starts(context).into_iter().map(wholes).collect();
    let (mut cells, mut tuplets) = (Vec::with_capacity(starts.len()), Vec::new());
    let beat = wholes(context.meter.beat());
    for spot in part.spots(context) {
        for cell in 0..usize::from(spot.span.cells) {
            let index = spot.first + cell;
            let spot = Spot { cell, ..spot };
            let cell = part.cell(index);
            let level = if cell.attack().is_some() { landing::depth(spot, context).level() } else { 0 };
            cells.push(RowCell { start: starts[index], level, cell, spot });
        }
        if spot.span.beats != 1 || spot.span.cells != context.division {
            let from = spot.beat as f64 * beat;
            let label = match spot.span.beats {
                1 => spot.span.cells.to_string(),
                beats => format!("{} in {beats} beats", spot.span.cells),
            };
            tuplets.push((from, from + f64::from(spot.span.beats) * beat, label));
        }
    }
    let attacks = part.attacks(context).into_iter().map(|s| (s.cell, wholes(s.end), s.attack)).collect();
    let silent = if groove.is_audible(layer) { "" } else { " (silent)" };
    let name = format!("{}{silent}", groove.layers()[layer].name);
    Row { name, cells, attacks, tuplets, end: wholes(context.length()) }
}

/// Draws the part of a row that lies on a line; returns the number of marks.
pub(super) fn draw(canvas: &mut Canvas, r: &Row, line: Line, y: f32, legend: &mut BTreeSet<LegendMark>) -> usize {
    let first = r.cells.partition_point(|c| c.start < line.from - 1e-9);
    let mid = y + MARK_Y;
    let mut marks = 0;
    let mut narrow = f32::MAX;
    for c in r.cells[first..].iter().take_while(|c| line.has(c.start)) {
        let x = line.x(c.start);
        canvas.line(StyleClass::Cell, x, mid - 2.5, x, mid + 2.5);
        marks += 1;
    }
    for pair in r.cells[first..].windows(2).take_while(|p| line.has(p[0].start)) {
        narrow = narrow.min(line.x(pair[1].start) - line.x(pair[0].start));
    }
    let radius = (narrow * 0.42).clamp(2.6, 5.2);
    for (from, to, label) in r.tuplets.iter().filter(|t| line.has(t.0)) {
        let (a, b) = (line.x(*from) + 1.5, line.x(*to) - 1.5);
        let below = y + ROW_HEIGHT;
        canvas.lines(StyleClass::Bracket, &[(a, below - 5.0), (a, below - 3.0), (b, below - 3.0), (b, below - 5.0)]);
        canvas.text(StyleClass::Faint, Anchor::Middle, f32::midpoint(a, b), below - 4.5, 6.5, label);
    }
    // The last sound before the line may reach into it.
    let before = r.attacks.partition_point(|s| r.cells[s.0].start < line.from - 1e-9);
    for (i, &(cell, end, attack)) in r.attacks.iter().enumerate().skip(before.saturating_sub(1)) {
        let at = r.cells[cell].start;
        if at >= line.to - 1e-9 {
            break;
        }
        let next = r.attacks.get(i + 1).map_or((r.cells.len(), r.end), |s| (s.0, r.cells[s.0].start));
        let (a, b) = (line.x(at.max(line.from)), line.x(next.1.min(line.to)));
        let (opens, closes) = (line.has(at), next.1 <= line.to + 1e-9);
        // A group that is cut has its number on the line with the larger part.
        let here = if opens {
            line.to.min(next.1) - at >= (next.1 - at) / 2.0
        } else {
            next.1 - line.from > (next.1 - at) / 2.0
        };
        bracket(canvas, (a, b), y + 5.0, (opens, closes), here.then(|| (next.0 - cell).to_string()));
        if r.cells.get(cell + 1).is_some_and(|c| c.cell == Cell::Hold) {
            legend.insert(LegendMark::Hold);
            let from = if opens { a } else { line.x(line.from) };
            canvas.rect(StyleClass::Hold, from, mid - 1.6, (line.x(end.min(line.to)) - 2.0 - from).max(1.0), 3.2);
        }
        if !opens {
            continue;
        }
        marks += 1;
        let (level, shape) = (legend::level(r.cells[cell].level), legend::shape(r.cells[cell].level));
        legend.insert(LegendMark::Level(level));
        let x = line.x(at);
        match attack.accent {
            Accent::Ghost => {
                legend.insert(LegendMark::Ghost);
                canvas.mark(StyleClass::Open, shape, x, mid, radius * 0.85);
            }
            Accent::Soft => {
                legend.insert(LegendMark::Soft);
                canvas.mark(StyleClass::Landing(level), shape, x, mid, radius * 0.7);
            }
            Accent::Plain => canvas.mark(StyleClass::Landing(level), shape, x, mid, radius),
            Accent::Strong => {
                legend.insert(LegendMark::Strong);
                canvas.mark(StyleClass::Landing(level), shape, x, mid, radius * 1.06);
                legend::strong_sign(canvas, x, mid + radius + 3.6);
            }
            Accent::Accent => {
                legend.insert(LegendMark::Accent);
                canvas.mark(StyleClass::Landing(level), shape, x, mid, radius * 1.12);
                canvas.wedge(StyleClass::Sign, x + 5.2, mid + radius + 3.6, (3.2, 2.0));
            }
        }
        if attack.flam {
            legend.insert(LegendMark::Flam);
            legend::flam_sign(canvas, x - radius - 2.2, mid);
        }
    }
    marks
}

/// The bracket of a group; an end on another line stays open.
fn bracket(canvas: &mut Canvas, (a, b): (f32, f32), y: f32, (opens, closes): (bool, bool), number: Option<String>) {
    let (a, b) = (a + if opens { 1.2 } else { 0.0 }, b - if closes { 1.2 } else { 0.0 });
    let half = number.as_ref().map_or(0.0, |n| font::width(n, 8.0) / 2.0 + 1.5);
    let middle = f32::midpoint(a, b);
    if b - a > 2.0 * half + 4.0 {
        let (left, right) = ([(a, y + 3.5), (a, y), (middle - half, y)], [(middle + half, y), (b, y), (b, y + 3.5)]);
        canvas.lines(StyleClass::Bracket, &left[usize::from(!opens)..]);
        canvas.lines(StyleClass::Bracket, &right[..2 + usize::from(closes)]);
    }
    if let Some(number) = number {
        canvas.rect(StyleClass::Plate, middle - half + 0.7, y - 3.4, 2.0 * half - 1.4, 7.0);
        canvas.text(StyleClass::Text, Anchor::Middle, middle, y + 3.0, 8.0, &number);
    }
}
