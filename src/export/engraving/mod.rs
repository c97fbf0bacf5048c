//! Engraves a score as SVG, one staff per layer. It must not decide how notes are spelled.

mod bar;
mod glyph;
#[cfg(test)]
mod tests;

use super::pulses::{self, MarkedHearing};
use super::{ExportInput, section_summary};
use crate::analysis::clock::wholes;
use crate::describe::notes::NotationOptions;
use crate::export::annotations::Annotator;
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::music_font::SPACE;
use crate::export::picture::theme::StyleClass;
use crate::export::picture::{Picture, PictureHeading, PictureOptions, Staves, TimeLine};
use crate::notation::{Bar, FormatError, HeadShape, Note, NoteValue, Score, Staff};
use crate::rhythm::{Accent, Section, Time};
use bar::PlacedBar;
use glyph::BEAM_STEP;
use std::collections::HashSet;

const MAX_NAME_WIDTH: f32 = 88.0;
const MIN_NAME_WIDTH: f32 = 48.0;
const STEM_LENGTH: f32 = 25.0;
const MIN_ONSET_DISTANCE: f32 = 11.5;
/// From the bar line to the first onset.
const FIRST_ONSET_X: f32 = 12.0;
/// Size of the text over and under the notes.
const TEXT_SIZE: f32 = 8.5;
/// From one line of that text to the next.
const TEXT_STEP: f32 = 10.0;
/// From a note to the baseline of the first line of text under it.
const FIRST_TEXT_STEP: f32 = 8.0;
/// Width of a repeat sign, or of the bar line that ends a section or the groove.
const REPEAT_WIDTH: f32 = 9.0;
/// At each side of a head.
const PARENTHESIS_SPACE: f32 = 4.0;
const FLAG_SPACE: f32 = 4.0;
/// A picture ends with the line that exceeds this number of notes.
const MAX_NOTES: usize = 20_000;

/// A bar of all layers, and the positions of its onsets.
struct BarColumn<'a> {
    bars: Vec<&'a Bar>,
    section: &'a Section,
    /// From the start of the section.
    start: Time,
    length: Time,
    /// With the distance of each from the bar line.
    onsets: Vec<(Time, f32)>,
    width: f32,
    first_of_section: bool,
    end: BarEnd,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum BarEnd {
    Bar,
    Section,
    Groove,
}

/// The staff of a layer. Lengths are measured from the staff line.
struct StaffLayout<'a> {
    notation: &'a NotationOptions,
    annotator: Annotator<'a>,
    /// The hearings whose pulses are marked over the notes.
    marks: &'a [MarkedHearing],
    shape: HeadShape,
    name: &'a str,
    height: f32,
    below_line: f32,
    /// Up to the lowest text and to the marks of pulses, and down to the text.
    text_over: f32,
    pulses_over: f32,
    text_under: f32,
}

impl<'a> StaffLayout<'a> {
    fn new(
        piece: &'a ExportInput<'a>,
        staff: &Staff,
        notation: &'a NotationOptions,
        marks: &'a [MarkedHearing],
    ) -> Self {
        let tuplets = if staff.bars.iter().any(|b| !b.tuplets.is_empty()) { 14.0 } else { 0.0 };
        let mut notes = staff.bars.iter().flat_map(|b| &b.notes);
        let text_under = if notes.any(|n| n.sound.is_some_and(|s| s.attack.pitch.is_some())) { 24.0 } else { 15.0 };
        let annotator = Annotator::new(piece, staff.layer);
        let name = &piece.groove.layers()[staff.layer].name;
        let marks = if pulses::marked_layer(piece) == Some(staff.layer) { marks } else { &[] };
        let lines = |text| annotator.max_labels(text) as f32 * TEXT_STEP;
        let (lines_over, lines_under) = (lines(&notation.over), lines(&notation.under));
        let text_over = stem_length(max_flags(staff.bars.iter().flat_map(|b| &b.notes))) + tuplets + 4.0;
        let pulses_over = text_over + lines_over;
        let below_line = text_under + lines_under + if text_under > 20.0 { 6.0 } else { 3.0 };
        let height = pulses_over + if marks.is_empty() { 0.0 } else { TEXT_STEP } + 2.0 + below_line;
        let shape = staff.shape;
        Self { notation, annotator, marks, shape, name, height, below_line, text_over, pulses_over, text_under }
    }
}

/// Draws the notation of a groove. The pulses of chosen hearings are marked over the notes if all of them fall on written cells or
/// beats.
///
/// # Errors
/// [`FormatError`] for a cell shorter than 1/1024, or a section that does not exist.
pub fn notation(
    piece: &ExportInput<'_>,
    notation: &NotationOptions,
    options: &PictureOptions,
) -> Result<Picture, FormatError> {
    let mut score = Score::spell(piece.groove, piece.section, notation.beams)?;
    if options.staves == Staves::Analysed {
        score.staves.retain(|s| piece.report.focus.contains(&s.layer));
    }
    let marks = pulses::marked_hearings(piece);
    let columns = columns(piece, &score, &marks);
    let lines: Vec<StaffLayout<'_>> =
        score.staves.iter().map(|s| StaffLayout::new(piece, s, notation, &marks)).collect();
    let title = format!("{}: notation", piece.groove.title());
    let (mut canvas, page) = options.page(&title);
    let width = page.right - page.left;
    let mut y = page.top - 2.0;
    for mark in &marks {
        canvas.fitted_text(StyleClass::Text, page.left, y + 8.0, 9.5, &mark.description, width);
        y += 14.0;
    }
    let name_width = (width * 0.14).clamp(MIN_NAME_WIDTH, MAX_NAME_WIDTH);
    let room = width - name_width;
    let mut time_lines = Vec::new();
    let (mut notes, mut cut, mut rest) = (0, String::new(), &columns[..]);
    while let [first, ..] = rest {
        if notes > MAX_NOTES {
            let (number, section) = (first.bars[0].number + 1, &first.section.name);
            cut = format!(
                "The notation ends before bar {number} of section {section}: the groove is too long for one picture."
            );
            break;
        }
        if rest.len() < columns.len() {
            canvas.allow_break(y + 3.0);
        }
        let is_named = options.heading == PictureHeading::Title || piece.sections().len() > 1;
        if first.first_of_section && is_named {
            y += 20.0;
            canvas.fitted_text(StyleClass::Text, page.left, y, 10.5, &section_summary(first.section), width);
        }
        let meter = if first.first_of_section { meter_width(first.section) } else { 0.0 };
        let (mut taken, mut wide) = (1, first.width);
        while let Some(next) = rest.get(taken).filter(|c| !c.first_of_section && wide + c.width + meter <= room) {
            wide += next.width;
            taken += 1;
        }
        let (now, later) = rest.split_at(taken);
        // The last line of a section is not stretched to the full width.
        let is_last = later.first().is_none_or(|c| c.first_of_section);
        let stretch = ((room - meter) / wide).min(if is_last { 1.35 } else { f32::INFINITY });
        notes += now.iter().flat_map(|c| &c.bars).map(|b| b.notes.len()).sum::<usize>();
        let system = StaffRow { columns: now, lines: &lines, left: page.left + name_width, meter, stretch };
        let top = y;
        y = system.draw(&mut canvas, page.left, y + 8.0);
        let points = system.points();
        let section = now[0].bars[0].section;
        time_lines.push(TimeLine { section, block: canvas.block(), top: top + 8.0, bottom: y, points });
        rest = later;
    }
    if !cut.is_empty() {
        y += 16.0;
        canvas.fitted_text(StyleClass::Text, page.left, y, 10.0, &cut, width);
    }
    let alt = alt(&score, &lines, notation, &cut);
    Ok(Picture { drawing: canvas.finish((y + 14.0).ceil()), title, alt, time_lines })
}

fn alt(score: &Score, lines: &[StaffLayout<'_>], notation: &NotationOptions, cut: &str) -> String {
    let staff = |(staff, line): (&Staff, &StaffLayout<'_>)| {
        let sounds = staff.bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.sound);
        format!("{} ({} attacks)", line.name, sounds.filter(|s| !s.tied_from).count())
    };
    let staves: Vec<String> = score.staves.iter().zip(lines).map(staff).collect();
    let bars = crate::rhythm::count(score.staves.first().map_or(0, |s| s.bars.len()), "bar");
    let staves = staves.join(", ");
    let mut sentences =
        vec![format!("Rhythm notation, {bars}, a line for each layer: {staves}. Attacks as in the grid.")];
    for (side, text) in [("Over", &notation.over), ("Under", &notation.under)] {
        let annotated = lines.iter().filter(|line| line.annotator.max_labels(text) > 0);
        let names: Vec<&str> = annotated.map(|line| line.name).collect();
        let groups = text.groups.then_some("the lengths of the groups in cells");
        let content: Vec<&str> = groups.into_iter().chain(text.has_landings().then_some("landings")).collect();
        if !names.is_empty() {
            sentences.push(format!("{side} the notes of {}: {}.", names.join(", "), content.join(" and ")));
        }
    }
    let marks = lines.iter().flat_map(|l| l.marks);
    sentences.extend(marks.map(|m| format!("Marked over the notes: {}.", m.description)));
    sentences.extend(Some(cut.to_owned()).filter(|c| !c.is_empty()));
    sentences.join(" ")
}

/// The upper number of a meter.
fn meter_upper(section: &Section) -> String {
    section.meter.terms().iter().map(u16::to_string).collect::<Vec<_>>().join("+")
}

/// Width of a section's meter, and of the sign that begins its repeat.
fn meter_width(section: &Section) -> f32 {
    glyph::meter_width(&meter_upper(section)) + 14.0 + if section.times > 1 { REPEAT_WIDTH } else { 0.0 }
}

/// All bars; the space after an onset depends on the time to the next one.
fn columns<'a>(piece: &ExportInput<'a>, score: &'a Score, marks: &[MarkedHearing]) -> Vec<BarColumn<'a>> {
    let Some(first) = score.staves.first() else { return Vec::new() };
    let column = |i: usize| {
        let bars: Vec<&Bar> = score.staves.iter().map(|s| &s.bars[i]).collect();
        let index = bars[0].section;
        let section = &piece.groove.sections()[index];
        let length = section.meter.bar();
        let start = length.repeated(bars[0].number).unwrap_or(Time::ZERO);
        let end = start.plus(length).unwrap_or(start);
        let notes = || bars.iter().flat_map(|b| &b.notes);
        let mut onsets: Vec<Time> = notes().map(|n| n.start).collect();
        onsets.extend(marks.iter().flat_map(|m| m.pulses_between(index, start, end)).filter_map(|t| t.minus(start)));
        onsets.sort_unstable();
        onsets.dedup();
        let is_ghost = |n: &&Note| n.sound.is_some_and(|s| s.attack.accent == Accent::Ghost && !s.tied_from);
        let ghosts: HashSet<Time> = notes().filter(is_ghost).map(|n| n.start).collect();
        let side_space = |at: &Time| if ghosts.contains(at) { PARENTHESIS_SPACE } else { 0.0 };
        let has_flags = |n: &&Note| n.sound.is_some() && n.beams.is_empty() && n.value.is_some_and(|v| v.flags() > 0);
        let flagged: HashSet<Time> = notes().filter(has_flags).map(|n| n.start).collect();
        let after = |at: &Time| side_space(at).max(if flagged.contains(at) { FLAG_SPACE } else { 0.0 });
        let mut x = FIRST_ONSET_X + onsets.first().map_or(0.0, side_space);
        let mut placed = Vec::with_capacity(onsets.len());
        let nexts = onsets.iter().skip(1).copied().chain([length]);
        for (onset, next) in onsets.iter().zip(nexts) {
            placed.push((*onset, x));
            // Each doubling of a duration adds the same space.
            let gap = wholes(next) - wholes(*onset);
            let doublings = gap.max(1e-6).log2() as f32 + 5.0;
            x += MIN_ONSET_DISTANCE + (6.5 * doublings).max(0.0) + after(onset) + side_space(&next);
        }
        let end = match first.bars.get(i + 1) {
            None => BarEnd::Groove,
            Some(next) if next.section != index => BarEnd::Section,
            Some(_) => BarEnd::Bar,
        };
        let width = x + if end == BarEnd::Bar { 4.0 } else { 4.0 + REPEAT_WIDTH };
        let first_of_section = i == 0 || first.bars[i - 1].section != index;
        BarColumn { bars, section, start, length, onsets: placed, width, first_of_section, end }
    };
    (0..first.bars.len()).map(column).collect()
}

/// Beams or flags of the shortest note.
fn max_flags<'a>(notes: impl Iterator<Item = &'a Note>) -> usize {
    notes.filter_map(|n| n.value).map(NoteValue::flags).max().unwrap_or(0)
}

fn stem_length(beams: usize) -> f32 {
    STEM_LENGTH + BEAM_STEP * beams.saturating_sub(2) as f32
}

/// Bars of all layers in one row of the page.
struct StaffRow<'a> {
    /// At least one, as well as `lines`.
    columns: &'a [BarColumn<'a>],
    lines: &'a [StaffLayout<'a>],
    left: f32,
    /// Width of the meter; 0 if it is not shown.
    meter: f32,
    /// Factor of all widths.
    stretch: f32,
}

impl StaffRow<'_> {
    /// The times of its onsets and its end, in whole notes from the start of the section, and where they are.
    fn points(&self) -> Vec<(f64, f32)> {
        let (mut points, mut x) = (Vec::new(), self.left + self.meter);
        for column in self.columns {
            let start = wholes(column.start);
            points.extend(column.onsets.iter().map(|(at, offset)| (start + wholes(*at), x + offset * self.stretch)));
            x += column.width * self.stretch;
        }
        let last = self.columns.last().and_then(|c| c.start.plus(c.length));
        points.extend(last.map(|end| (wholes(end), x)));
        points
    }

    /// Returns the lower edge.
    fn draw(&self, canvas: &mut Canvas, name_x: f32, top: f32) -> f32 {
        let Self { columns, lines, left, meter, stretch } = *self;
        let start = left + meter;
        let right = start + columns.iter().map(|c| c.width * stretch).sum::<f32>();
        let mut y = top + 6.0;
        let mut staves = Vec::new();
        for line in lines {
            y += line.height;
            let staff = y - line.below_line;
            staves.push(staff);
            canvas.fitted_text(StyleClass::Text, name_x, staff + 3.5, 9.5, line.name, left - name_x - 10.0);
            canvas.rect(StyleClass::Staff, left, staff - 0.5, right - left, 1.0);
        }
        let (first, last) = (staves[0], staves[staves.len() - 1]);
        let (line_top, line_end) = (first - 13.0, last + 13.0);
        // Offsets and thicknesses of the strokes of a bar line, and the offset of its repeat dots.
        let mut bar_line = |x: f32, strokes: &[(f32, f32)], dots: Option<f32>| {
            for (offset, thickness) in strokes {
                canvas.rect(StyleClass::Staff, x + offset, line_top, *thickness, line_end - line_top);
            }
            if let Some(offset) = dots {
                for y in staves.iter().flat_map(|staff| [staff - SPACE / 2.0, staff + SPACE / 2.0]) {
                    glyph::repeat_dot(canvas, x + offset, y);
                }
            }
        };
        bar_line(left, &[(0.0, 1.2)], None);
        let mut x = start;
        if meter > 0.0 && columns[0].section.times > 1 {
            bar_line(x - REPEAT_WIDTH, &[(0.0, 2.6), (4.4, 1.2)], Some(8.2));
        }
        for column in columns {
            x += column.width * stretch;
            match column.end {
                BarEnd::Bar => bar_line(x, &[(-0.6, 1.2)], None),
                _ if column.section.times > 1 => bar_line(x, &[(-2.6, 2.6), (-5.6, 1.2)], Some(-8.2)),
                BarEnd::Section => bar_line(x, &[(-4.2, 1.2), (-0.6, 1.2)], None),
                BarEnd::Groove => bar_line(x, &[(-5.6, 1.2), (-2.6, 2.6)], None),
            }
        }
        let number = (columns[0].bars[0].number + 1).to_string();
        canvas.text(StyleClass::Faint, Anchor::End, left - 3.0, first - 8.0, 8.0, &number);
        if meter > 0.0 {
            let section = columns[0].section;
            let middle = left + (meter - if section.times > 1 { REPEAT_WIDTH } else { 0.0 }) / 2.0 + 2.0;
            let (upper, lower) = (meter_upper(section), section.meter.lower().to_string());
            for staff in &staves {
                glyph::meter_number(canvas, middle, staff - SPACE, &upper);
                glyph::meter_number(canvas, middle, staff + SPACE, &lower);
            }
        }
        for (i, (staff, line)) in staves.iter().zip(lines).enumerate() {
            let (mut x, mut open_tie) = (start, None);
            for (k, column) in columns.iter().enumerate() {
                let (bar, is_first_of_row) = (column.bars[i], k == 0);
                let bar = PlacedBar { layout: line, bar, column, left: x, y: *staff, stretch, is_first_of_row };
                bar.draw(canvas, &mut open_tie);
                x += column.width * stretch;
            }
            if let Some(from) = open_tie {
                glyph::tie(canvas, from, right - 2.0, *staff);
            }
        }
        y
    }
}
