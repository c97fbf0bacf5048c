//! Engraves a score as SVG, one line per layer. It must not decide how notes are spelled.

mod bar;
mod glyph;
#[cfg(test)]
mod tests;

use super::ExportInput;
use super::pulses::{self, Marked};
use crate::analysis::clock::wholes;
use crate::export::annotations::{Annotator, NotationOptions};
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::theme::StyleClass;
use crate::export::picture::{Layout, Picture, PictureOptions};
use crate::notation::FormatError;
use crate::notation::{Bar, HeadShape, Note, Score, Staff};
use crate::rhythm::{Accent, Section, Time, print_note_value};
use glyph::BEAM_STEP;
use std::collections::HashSet;

/// Room for the names of layers.
const NAMES: f32 = 88.0;
const MARGIN: f32 = 14.0;
/// Size of a meter's numbers.
const FIGURES: f32 = 13.0;
/// Length of a stem without further beams.
const STEM_LENGTH: f32 = 25.0;
/// From one onset to the next at least.
const APART: f32 = 11.5;
/// Before a bar's first onset.
const LEAD: f32 = 12.0;
/// Size of the text over and under notes.
const TEXT: f32 = 8.5;
/// From one line of it to the next.
const TEXT_STEP: f32 = 10.0;
/// From what stands at a note to the baseline of its first text.
const FIRST_TEXT: f32 = 8.0;
/// Room for the sign of a repeat, of the end of a section or of all.
const REPEAT: f32 = 9.0;
/// Room at each side of a note whose head stands in parentheses.
const PARENTHESES: f32 = 4.0;
/// Room after a note with flags.
const FLAGS: f32 = 4.0;
/// Most notes of a picture; what comes after is left out, line by line.
const MAX_NOTES: usize = 20_000;

/// A bar through all layers: where its onsets stand.
struct Column<'a> {
    bars: Vec<&'a Bar>,
    /// Its start in its section, and its length.
    start: Time,
    length: Time,
    /// Onset to distance from the bar line.
    at: Vec<(Time, f32)>,
    width: f32,
    first_of_section: bool,
    end: End,
}

/// What ends with a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Bar,
    Section,
    Groove,
}

/// A layer's line: what stands in it beside the notes, and how far from the staff line.
struct Line<'a> {
    writing: &'a NotationOptions,
    annotator: Annotator<'a>,
    /// The hearings whose pulses stand over it.
    marks: &'a [Marked],
    shape: HeadShape,
    /// Height of all of it, and how much of that is below the staff line.
    tall: f32,
    below: f32,
    /// From the staff line up to the lowest text and to the pulses, and down to where text begins.
    over: f32,
    pulses: f32,
    under: f32,
}

impl<'a> Line<'a> {
    fn new(piece: &'a ExportInput<'a>, staff: &Staff, writing: &'a NotationOptions, marks: &'a [Marked]) -> Self {
        let tuplets = if staff.bars.iter().any(|b| !b.tuplets.is_empty()) { 14.0 } else { 0.0 };
        let mut notes = staff.bars.iter().flat_map(|b| &b.notes);
        let under = if notes.any(|n| n.sound.is_some_and(|s| s.attack.pitch.is_some())) { 24.0 } else { 15.0 };
        let annotator = Annotator::new(piece, staff.layer);
        let marks = if pulses::layer(piece) == Some(staff.layer) { marks } else { &[] };
        let lines = |text| annotator.lines(text) as f32 * TEXT_STEP;
        let (lines_over, lines_under) = (lines(&writing.over), lines(&writing.under));
        let over = stem(most_beams(&staff.bars)) + tuplets + 4.0;
        let pulses = over + lines_over;
        let below = under + lines_under + if under > 20.0 { 6.0 } else { 3.0 };
        let tall = pulses + if marks.is_empty() { 0.0 } else { TEXT_STEP } + 2.0 + below;
        let shape = staff.shape;
        Self { writing, annotator, marks, shape, tall, below, over, pulses, under }
    }
}

/// Draws the notation of a piece. Chosen hearings whose pulses all fall on written cells or beats are marked over the notes.
///
/// # Errors
/// [`FormatError`] for what cannot be spelled: cells shorter than 1/1024, a section that is not there.
pub fn notation(
    piece: &ExportInput<'_>,
    writing: &NotationOptions,
    ask: &PictureOptions,
) -> Result<Picture, FormatError> {
    Ok(layout(piece, writing, ask)?.picture())
}

/// Draws the notation of a piece without writing it.
pub(super) fn layout(
    piece: &ExportInput<'_>,
    writing: &NotationOptions,
    ask: &PictureOptions,
) -> Result<Layout, FormatError> {
    let score = Score::of(piece.groove, piece.section, writing.beams)?;
    let marks = pulses::marks(piece);
    let width = if ask.width.is_finite() { ask.width.clamp(480.0, 4000.0) } else { 1000.0 };
    let mut canvas = Canvas::new(ask.theme, width, &ask.id);
    let (title, columns) = (format!("{}: notation", piece.groove.title()), columns(piece, &score, &marks));
    canvas.text(StyleClass::Text, Anchor::Start, MARGIN, 24.0, 15.0, &font::fitted(&title, 15.0, width - 2.0 * MARGIN));
    let room = width - 2.0 * MARGIN - NAMES;
    let (mut y, mut notes, mut cut, mut at) = (32.0, 0, String::new(), 0);
    for mark in &marks {
        y += 8.0;
        canvas.text(
            StyleClass::Text,
            Anchor::Start,
            MARGIN,
            y,
            9.5,
            &font::fitted(&mark.words, 9.5, width - 2.0 * MARGIN),
        );
        y += 6.0;
    }
    let lines: Vec<Line<'_>> = score.staves.iter().map(|s| Line::new(piece, s, writing, &marks)).collect();
    while at < columns.len() {
        let first = &columns[at];
        if notes > MAX_NOTES {
            let section = first.bars.first().map_or(0, |b| b.section);
            let number = first.bars.first().map_or(0, |b| b.number) + 1;
            cut = format!(
                "The notation ends before bar {number} of section {}: the groove is too long for one picture.",
                piece.groove.sections()[section].name
            );
            break;
        }
        if at > 0 {
            canvas.part(y + 3.0);
        }
        if first.first_of_section {
            y += 20.0;
            canvas.text(
                StyleClass::Text,
                Anchor::Start,
                MARGIN,
                y,
                10.5,
                &font::fitted(&heading(piece, first), 10.5, width - 2.0 * MARGIN),
            );
        }
        let meter = if first.first_of_section { meter_room(piece, first) } else { 0.0 };
        let mut taken = 1;
        let mut wide = first.width;
        while let Some(next) = columns.get(at + taken).filter(|c| !c.first_of_section && wide + c.width + meter <= room)
        {
            wide += next.width;
            taken += 1;
        }
        let last = columns.get(at + taken).is_none_or(|c| c.first_of_section);
        let stretch = (room - meter) / wide;
        // The last line of a section is not drawn out over the page.
        let stretch = if last { stretch.min(1.35) } else { stretch };
        notes += columns[at..at + taken].iter().flat_map(|c| &c.bars).map(|b| b.notes.len()).sum::<usize>();
        y = system(piece, &mut canvas, &columns[at..at + taken], &lines, (y + 8.0, stretch, meter));
        at += taken;
    }
    if !cut.is_empty() {
        y += 16.0;
        canvas.text(StyleClass::Text, Anchor::Start, MARGIN, y, 10.0, &font::fitted(&cut, 10.0, width - 2.0 * MARGIN));
    }
    let height = (y + 14.0).ceil();
    let alt = words(piece, &score, &lines, writing, &cut);
    Ok(Layout { drawing: canvas.finish(height), title, alt })
}

/// What the notation shows, in words.
fn words(piece: &ExportInput<'_>, score: &Score, lines: &[Line<'_>], writing: &NotationOptions, cut: &str) -> String {
    let staff = |s: &crate::notation::Staff| {
        let name = &piece.groove.layers()[s.layer].name;
        let attacks = s.bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.sound).filter(|s| !s.tied_from).count();
        format!("{name} ({attacks} attacks)")
    };
    let staves: Vec<String> = score.staves.iter().map(staff).collect();
    let bars = score.staves.first().map_or(0, |s| s.bars.len());
    let told = told(piece, lines, writing);
    let space = if cut.is_empty() { "" } else { " " };
    format!(
        "Rhythm notation, {bars} {}, a line for each layer: {}. Attacks as in the grid.{told}{space}{cut}",
        if bars == 1 { "bar" } else { "bars" },
        staves.join(", ")
    )
}

/// What stands at the notes, in words.
fn told(piece: &ExportInput<'_>, lines: &[Line<'_>], writing: &NotationOptions) -> String {
    let mut told: Vec<String> = Vec::new();
    for (side, text) in [("Over", &writing.over), ("Under", &writing.under)] {
        let layers = piece.groove.layers().iter().zip(lines).filter(|(_, line)| line.annotator.lines(text) > 0);
        let names: Vec<&str> = layers.map(|(layer, _)| layer.name.as_str()).collect();
        let mut what = Vec::new();
        what.extend(text.groups.then_some("the lengths of the groups in cells"));
        what.extend(text.has_landings().then_some("landings"));
        if !names.is_empty() {
            told.push(format!(" {side} the notes of {}: {}.", names.join(", "), what.join(" and ")));
        }
    }
    told.extend(lines.iter().flat_map(|l| l.marks).map(|m| format!(" Marked over the notes: {}.", m.words)));
    told.concat()
}

fn heading(piece: &ExportInput<'_>, column: &Column<'_>) -> String {
    let section = &piece.groove.sections()[column.bars.first().map_or(0, |b| b.section)];
    let beat = print_note_value(section.tempo.unit());
    let (times, words) = if section.times > 1 {
        (format!(" ×{}", section.times), format!(", {} times through", section.times))
    } else {
        (String::new(), String::new())
    };
    let swing = section.swing.map(|s| format!(", swing {s}")).unwrap_or_default();
    format!("Section {}{times}: {beat} = {}{swing}{words}", section.name, section.tempo.bpm())
}

/// The upper number of a meter.
fn upper(section: &Section) -> String {
    section.meter.terms().iter().map(u16::to_string).collect::<Vec<_>>().join("+")
}

/// Room for a section's meter before its first bar, and for the sign that it is repeated from here.
fn meter_room(piece: &ExportInput<'_>, column: &Column<'_>) -> f32 {
    let section = &piece.groove.sections()[column.bars.first().map_or(0, |b| b.section)];
    font::width(&upper(section), FIGURES) + 14.0 + if section.times > 1 { REPEAT } else { 0.0 }
}

/// Every bar through all layers, with room for each onset by the time to the next one.
fn columns<'a>(piece: &ExportInput<'_>, score: &'a Score, marks: &[Marked]) -> Vec<Column<'a>> {
    let count = score.staves.first().map_or(0, |s| s.bars.len());
    let column = |i: usize| {
        let bars: Vec<&Bar> = score.staves.iter().map(|s| &s.bars[i]).collect();
        let section = bars[0].section;
        let length = piece.groove.sections()[section].meter.bar();
        let start = length.repeated(bars[0].number).unwrap_or(Time::ZERO);
        let end = start.plus(length).unwrap_or(start);
        let mut onsets: Vec<Time> = bars.iter().flat_map(|b| b.notes.iter().map(|n| n.at)).collect();
        onsets.extend(marks.iter().flat_map(|m| m.within(section, start, end)).filter_map(|t| t.minus(start)));
        onsets.sort_unstable();
        onsets.dedup();
        let softly = |n: &&Note| n.sound.is_some_and(|s| s.attack.accent == Accent::Ghost && !s.tied_from);
        let soft: HashSet<Time> = bars.iter().flat_map(|b| b.notes.iter().filter(softly).map(|n| n.at)).collect();
        let aside = |at: &Time| if soft.contains(at) { PARENTHESES } else { 0.0 };
        let flagged = |n: &&Note| n.sound.is_some() && n.beams.is_empty() && n.value.is_some_and(|v| v.flags() > 0);
        let flags: HashSet<Time> = bars.iter().flat_map(|b| b.notes.iter().filter(flagged).map(|n| n.at)).collect();
        let after = |at: &Time| aside(at).max(if flags.contains(at) { FLAGS } else { 0.0 });
        let mut x = LEAD + onsets.first().map_or(0.0, aside);
        let mut at = Vec::with_capacity(onsets.len());
        let nexts = onsets.iter().skip(1).copied().chain([length]);
        for (onset, next) in onsets.iter().zip(nexts) {
            at.push((*onset, x));
            // Longer notes get more room, but not in proportion: as much more for each doubling.
            let gap = wholes(next) - wholes(*onset);
            x += APART.max(APART + 6.5 * (gap.max(1e-6).log2() as f32 + 5.0)) + after(onset) + aside(&next);
        }
        let end = match score.staves[0].bars.get(i + 1) {
            None => End::Groove,
            Some(next) if next.section != section => End::Section,
            Some(_) => End::Bar,
        };
        Column {
            bars,
            start,
            length,
            at,
            width: x + if end == End::Bar { 4.0 } else { 4.0 + REPEAT },
            end,
            first_of_section: i == 0 || score.staves[0].bars[i - 1].section != section,
        }
    };
    (0..count).map(column).collect()
}

/// Beams or flags of the shortest note.
fn most_beams(bars: &[Bar]) -> usize {
    bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.value).map(crate::notation::Value::flags).max().unwrap_or(0)
}

fn stem(beams: usize) -> f32 {
    STEM_LENGTH + BEAM_STEP * beams.saturating_sub(2) as f32
}

/// Bar lines through all staff lines.
struct Strokes<'a> {
    canvas: &'a mut Canvas,
    lines: &'a [f32],
    top: f32,
    end: f32,
}

impl Strokes<'_> {
    fn stroke(&mut self, x: f32, thick: f32) {
        self.canvas.rect(StyleClass::Staff, x, self.top, thick, self.end - self.top);
    }

    /// A repeat: of what comes after `x` (`way` 1), or of what was before (-1).
    fn again(&mut self, x: f32, way: f32) {
        let back = way < 0.0;
        // What comes after is written to the left of where its notes begin.
        let x = if back { x } else { x - REPEAT };
        self.stroke(if back { x - 2.6 } else { x }, 2.6);
        self.stroke(x + way * 4.4 - if back { 1.2 } else { 0.0 }, 1.2);
        for line in self.lines {
            for y in [line - 3.6, line + 3.6] {
                glyph::point(self.canvas, x + way * 8.2, y);
            }
        }
    }
}

/// One line of the page; gives its end.
fn system(
    piece: &ExportInput<'_>,
    canvas: &mut Canvas,
    columns: &[Column<'_>],
    rows: &[Line<'_>],
    (top, stretch, meter): (f32, f32, f32),
) -> f32 {
    let left = MARGIN + NAMES;
    let right = left + meter + columns.iter().map(|c| c.width * stretch).sum::<f32>();
    let mut y = top + 6.0;
    let mut lines = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        let line = y + row.tall - row.below;
        y += row.tall;
        lines.push(line);
        let layer = columns[0].bars.get(i).and_then(|_| piece.groove.layers().get(i));
        let name = layer.map_or("", |l| l.name.as_str());
        canvas.text(StyleClass::Text, Anchor::Start, MARGIN, line + 3.5, 9.5, &font::fitted(name, 9.5, NAMES - 10.0));
        canvas.rect(StyleClass::Staff, left, line - 0.5, right - left, 1.0);
    }
    let (Some(first), Some(last)) = (lines.first().copied(), lines.last().copied()) else { return top + 10.0 };
    let (bar_top, bar_end) = (first - 13.0, last + 13.0);
    canvas.rect(StyleClass::Staff, left, bar_top, 1.2, bar_end - bar_top);
    let number = columns[0].bars[0].number + 1;
    canvas.text(StyleClass::Faint, Anchor::Start, left + 3.0, bar_top - 6.0, 8.0, &number.to_string());
    if meter > 0.0 {
        let section = &piece.groove.sections()[columns[0].bars[0].section];
        let upper = upper(section);
        for line in &lines {
            let middle = left + (meter - if section.times > 1 { REPEAT } else { 0.0 }) / 2.0 + 2.0;
            canvas.text(StyleClass::Text, Anchor::Middle, middle, line - 2.5, FIGURES, &upper);
            canvas.text(
                StyleClass::Text,
                Anchor::Middle,
                middle,
                line + 12.0,
                FIGURES,
                &section.meter.lower().to_string(),
            );
        }
    }
    for (i, (line, row)) in lines.iter().zip(rows).enumerate() {
        let mut x = left + meter;
        let mut open: Option<f32> = None;
        for (k, column) in columns.iter().enumerate() {
            let wide = column.width * stretch;
            if let Some(bar) = column.bars.get(i) {
                bar::draw(canvas, row, (bar, column), (x, *line, stretch), &mut open, k == 0);
            }
            x += wide;
        }
        if let Some(from) = open {
            glyph::tie(canvas, from, right - 2.0, *line);
        }
    }
    let mut x = left + meter;
    let times = |column: &Column<'_>| piece.groove.sections()[column.bars[0].section].times;
    let mut strokes = Strokes { canvas, lines: &lines, top: bar_top, end: bar_end };
    if meter > 0.0 && times(&columns[0]) > 1 {
        strokes.again(x, 1.0);
    }
    for column in columns {
        x += column.width * stretch;
        match column.end {
            End::Bar => strokes.stroke(x - 0.6, 1.2),
            _ if times(column) > 1 => strokes.again(x, -1.0),
            End::Section => {
                strokes.stroke(x - 4.2, 1.2);
                strokes.stroke(x - 0.6, 1.2);
            }
            End::Groove => {
                strokes.stroke(x - 5.6, 1.2);
                strokes.stroke(x - 2.6, 2.6);
            }
        }
    }
    y
}
