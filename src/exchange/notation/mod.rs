//! Notation as SVG: a line for each layer with heads, stems, beams, flags, dots, ties, rests, tuplets and meters, as the spelling
//! says. It must not know how notes are spelled, nor any file.

mod glyph;
#[cfg(test)]
mod tests;

use super::picture::font;
use super::picture::pen::{Anchor, Pen};
use super::picture::theme::Ink;
use super::picture::{Ask, Picture, Sketch};
use super::score::{Bar, Beam, Beaming, Note, Score, Tuplet};
use super::{Piece, Refused};
use crate::analysis::clock::wholes;
use crate::rhythm::{Accent, Section, Time, print_note_value};
use glyph::{BEAM, BEAM_STEP, HEAD, Head, STEM};

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
/// Most notes of a picture; what comes after is left out, line by line.
const MOST_NOTES: usize = 20_000;

/// A bar through all layers: where its onsets stand.
struct Column<'a> {
    bars: Vec<&'a Bar>,
    /// Onset to distance from the bar line.
    at: Vec<(Time, f32)>,
    width: f32,
    first_of_section: bool,
}

/// Draws the notation of a piece.
///
/// # Errors
/// [`Refused`] for what cannot be spelled: cells shorter than 1/1024, a section that is not there.
pub fn notation(piece: &Piece<'_>, ask: &Ask) -> Result<Picture, Refused> {
    Ok(sketch(piece, ask)?.picture())
}

/// Draws the notation of a piece without writing it.
pub(super) fn sketch(piece: &Piece<'_>, ask: &Ask) -> Result<Sketch, Refused> {
    let score = Score::of(piece.groove, piece.section, Beaming::Meter)?;
    let width = if ask.width.is_finite() { ask.width.clamp(480.0, 4000.0) } else { 1000.0 };
    let mut pen = Pen::new(ask.theme, width, &ask.id);
    let (title, columns) = (format!("{}: notation", piece.groove.title()), columns(piece, &score));
    pen.text(Ink::Text, Anchor::Start, MARGIN, 24.0, 15.0, &font::fitted(&title, 15.0, width - 2.0 * MARGIN));
    let room = width - 2.0 * MARGIN - NAMES;
    let (mut y, mut notes, mut cut, mut at) = (32.0, 0, String::new(), 0);
    let heights: Vec<(f32, f32)> = score.staves.iter().map(|s| height(&s.bars)).collect();
    while at < columns.len() {
        let first = &columns[at];
        if notes > MOST_NOTES {
            let section = first.bars.first().map_or(0, |b| b.section);
            let number = first.bars.first().map_or(0, |b| b.number) + 1;
            cut = format!(
                "The notation ends before bar {number} of section {}: the groove is too long for one picture.",
                piece.groove.sections()[section].name
            );
            break;
        }
        if at > 0 {
            pen.part(y + 3.0);
        }
        if first.first_of_section {
            y += 20.0;
            pen.text(
                Ink::Text,
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
        y = system(piece, &mut pen, &columns[at..at + taken], &heights, (y + 8.0, stretch, meter));
        at += taken;
    }
    if !cut.is_empty() {
        y += 16.0;
        pen.text(Ink::Text, Anchor::Start, MARGIN, y, 10.0, &font::fitted(&cut, 10.0, width - 2.0 * MARGIN));
    }
    let height = (y + 14.0).ceil();
    let alt = words(piece, &score, &cut);
    Ok(Sketch { drawing: pen.finish(height), title, alt })
}

/// What the notation shows, in words.
fn words(piece: &Piece<'_>, score: &Score, cut: &str) -> String {
    let staff = |s: &super::score::Staff| {
        let name = &piece.groove.layers()[s.layer].name;
        let attacks = s.bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.sound).filter(|s| !s.tied_from).count();
        format!("{name} ({attacks} attacks)")
    };
    let staves: Vec<String> = score.staves.iter().map(staff).collect();
    let bars = score.staves.first().map_or(0, |s| s.bars.len());
    let space = if cut.is_empty() { "" } else { " " };
    format!(
        "Rhythm notation, {bars} {}, a line for each layer: {}. The attacks are those of the grid.{space}{cut}",
        if bars == 1 { "bar" } else { "bars" },
        staves.join(", ")
    )
}

fn heading(piece: &Piece<'_>, column: &Column<'_>) -> String {
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

/// Room for a section's meter before its first bar.
fn meter_room(piece: &Piece<'_>, column: &Column<'_>) -> f32 {
    let section = &piece.groove.sections()[column.bars.first().map_or(0, |b| b.section)];
    font::width(&upper(section), FIGURES) + 14.0
}

/// Every bar through all layers, with room for each onset by the time to the next one.
fn columns<'a>(piece: &Piece<'_>, score: &'a Score) -> Vec<Column<'a>> {
    let count = score.staves.first().map_or(0, |s| s.bars.len());
    let column = |i: usize| {
        let bars: Vec<&Bar> = score.staves.iter().map(|s| &s.bars[i]).collect();
        let section = bars[0].section;
        let end = piece.groove.sections()[section].meter.bar();
        let mut onsets: Vec<Time> = bars.iter().flat_map(|b| b.notes.iter().map(|n| n.at)).collect();
        onsets.sort_unstable();
        onsets.dedup();
        let mut x = LEAD;
        let mut at = Vec::with_capacity(onsets.len());
        let nexts = onsets.iter().skip(1).copied().chain([end]);
        for (onset, next) in onsets.iter().zip(nexts) {
            at.push((*onset, x));
            // Longer notes get more room, but not in proportion: as much more for each doubling.
            let gap = wholes(next) - wholes(*onset);
            x += APART.max(APART + 6.5 * (gap.max(1e-6).log2() as f32 + 5.0));
        }
        Column { bars, at, width: x + 4.0, first_of_section: i == 0 || score.staves[0].bars[i - 1].section != section }
    };
    (0..count).map(column).collect()
}

/// Beams or flags of the shortest note.
fn most_beams(bars: &[Bar]) -> usize {
    bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.value).map(super::score::Value::flags).max().unwrap_or(0)
}

fn stem(beams: usize) -> f32 {
    STEM_LENGTH + BEAM_STEP * beams.saturating_sub(2) as f32
}

/// Height of a layer's line with all that stands above and below, and how much of that is below.
fn height(bars: &[Bar]) -> (f32, f32) {
    let tuplets = if bars.iter().any(|b| !b.tuplets.is_empty()) { 14.0 } else { 0.0 };
    let pitches = bars.iter().flat_map(|b| &b.notes).any(|n| n.sound.is_some_and(|s| s.attack.pitch.is_some()));
    let below = if pitches { 30.0 } else { 18.0 };
    (stem(most_beams(bars)) + tuplets + 6.0 + below, below)
}

/// One line of the page; gives its end.
fn system(
    piece: &Piece<'_>,
    pen: &mut Pen,
    columns: &[Column<'_>],
    heights: &[(f32, f32)],
    (top, stretch, meter): (f32, f32, f32),
) -> f32 {
    let left = MARGIN + NAMES;
    let right = left + meter + columns.iter().map(|c| c.width * stretch).sum::<f32>();
    let mut y = top + 6.0;
    let mut lines = Vec::new();
    for (i, (tall, below)) in heights.iter().enumerate() {
        let line = y + tall - below;
        y += tall;
        lines.push(line);
        let layer = columns[0].bars.get(i).and_then(|_| piece.groove.layers().get(i));
        let name = layer.map_or("", |l| l.name.as_str());
        pen.text(Ink::Text, Anchor::Start, MARGIN, line + 3.5, 9.5, &font::fitted(name, 9.5, NAMES - 10.0));
        pen.rect(Ink::Staff, left, line - 0.5, right - left, 1.0);
    }
    let (Some(first), Some(last)) = (lines.first().copied(), lines.last().copied()) else { return top + 10.0 };
    let (bar_top, bar_end) = (first - 13.0, last + 13.0);
    pen.rect(Ink::Staff, left, bar_top, 1.2, bar_end - bar_top);
    let number = columns[0].bars[0].number + 1;
    pen.text(Ink::Faint, Anchor::Start, left + 3.0, bar_top - 6.0, 8.0, &number.to_string());
    if meter > 0.0 {
        let section = &piece.groove.sections()[columns[0].bars[0].section];
        let upper = upper(section);
        for line in &lines {
            let middle = left + meter / 2.0 + 2.0;
            pen.text(Ink::Text, Anchor::Middle, middle, line - 2.5, FIGURES, &upper);
            pen.text(Ink::Text, Anchor::Middle, middle, line + 12.0, FIGURES, &section.meter.lower().to_string());
        }
    }
    for (i, line) in lines.iter().enumerate() {
        let mut x = left + meter;
        let mut open: Option<f32> = None;
        for (k, column) in columns.iter().enumerate() {
            let wide = column.width * stretch;
            if let Some(bar) = column.bars.get(i) {
                draw_bar(pen, bar, column, (x, *line, stretch), &mut open, k == 0);
            }
            x += wide;
        }
        if let Some(from) = open {
            glyph::tie(pen, from, right - 2.0, *line);
        }
    }
    let mut x = left + meter;
    for column in columns {
        x += column.width * stretch;
        pen.rect(Ink::Staff, x - 0.6, bar_top, 1.2, bar_end - bar_top);
    }
    y
}

/// A bar of one layer. `open` is where a tie begins that has not ended yet.
fn draw_bar(
    pen: &mut Pen,
    bar: &Bar,
    column: &Column<'_>,
    (left, y, stretch): (f32, f32, f32),
    open: &mut Option<f32>,
    first: bool,
) {
    let x = |n: &Note| {
        let found = column.at.binary_search_by(|(at, _)| at.cmp(&n.at));
        left + found.map_or(LEAD, |i| column.at[i].1) * stretch
    };
    let beams = bar.notes.iter().filter_map(|n| n.value).map(super::score::Value::flags).max().unwrap_or(0);
    let top = y - stem(beams);
    for (i, note) in bar.notes.iter().enumerate() {
        let at = x(note);
        let Some(value) = note.value else {
            glyph::rest(pen, left + column.width * stretch / 2.0, y, 0);
            continue;
        };
        let dot = if value.halvings <= 0 { 10.0 } else { 8.0 };
        if value.dotted {
            glyph::dot(pen, at + dot, y);
        }
        let Some(sound) = note.sound else {
            glyph::rest(pen, at, y, value.halvings);
            continue;
        };
        let head = match value.halvings {
            ..=-1 => Head::Breve,
            0 => Head::Whole,
            1 => Head::Half,
            _ => Head::Full,
        };
        glyph::head(pen, at, y, head);
        if value.halvings > 0 {
            pen.rect(Ink::Note, at + HEAD - STEM, top, STEM, y - 1.2 - top);
            if note.beams.is_empty() {
                glyph::flags(pen, at + HEAD - STEM, top, value.flags());
            }
        }
        if sound.tied_from {
            match open.take() {
                Some(from) => glyph::tie(pen, from, at - 2.0, y),
                None if first && i == 0 => glyph::tie(pen, at - 12.0, at - 2.0, y),
                None => {}
            }
        }
        *open = sound.tied_to.then_some(at + 2.0);
        if !sound.tied_from {
            match sound.attack.accent {
                Accent::Accent => {
                    pen.wedge(Ink::Sign, at, y + 11.0, (3.6, 2.6));
                }
                Accent::Ghost => {
                    pen.text(Ink::Text, Anchor::End, at - HEAD - 0.4, y + 3.6, 11.0, "(");
                    pen.text(Ink::Text, Anchor::Start, at + HEAD + 0.4, y + 3.6, 11.0, ")");
                }
                Accent::Plain => {}
            }
            if let Some(pitch) = sound.attack.pitch {
                pen.text(Ink::Faint, Anchor::Middle, at, y + 21.5, 6.5, &pitch.to_string());
            }
        }
    }
    draw_beams(pen, &bar.notes, top, x);
    for tuplet in &bar.tuplets {
        draw_tuplet(pen, bar, tuplet, top, x);
    }
}

fn draw_beams(pen: &mut Pen, notes: &[Note], top: f32, x: impl Fn(&Note) -> f32) {
    let deepest = notes.iter().map(|n| n.beams.len()).max().unwrap_or(0);
    for level in 0..deepest {
        let y = top + BEAM_STEP * level as f32;
        let mut from = None;
        for note in notes {
            let at = x(note) + HEAD - STEM;
            match note.beams.get(level) {
                Some(Beam::Begin) => from = Some(at),
                Some(Beam::End) => {
                    if let Some(from) = from.take() {
                        pen.rect(Ink::Note, from, y, at + STEM - from, BEAM);
                    }
                }
                Some(Beam::Forward) => pen.rect(Ink::Note, at, y, 6.0, BEAM),
                Some(Beam::Backward) => pen.rect(Ink::Note, at + STEM - 6.0, y, 6.0, BEAM),
                Some(Beam::Continue) | None => {}
            }
        }
    }
}

fn draw_tuplet(pen: &mut Pen, bar: &Bar, tuplet: &Tuplet, top: f32, x: impl Fn(&Note) -> f32) {
    let (Some(first), Some(last)) = (bar.notes.get(tuplet.first), bar.notes.get(tuplet.last)) else { return };
    let usual = if tuplet.actual > 1 { 1 << (tuplet.actual - 1).ilog2() } else { 1 };
    let words =
        if usual == tuplet.normal { tuplet.actual.to_string() } else { format!("{}:{}", tuplet.actual, tuplet.normal) };
    let (a, b, y) = (x(first) - HEAD, x(last) + HEAD + 2.0, top - 5.0);
    let (half, middle) = (font::width(&words, 8.5) / 2.0 + 2.0, f32::midpoint(a, b));
    pen.text(Ink::Text, Anchor::Middle, middle, y + 1.5, 8.5, &words);
    if b - a > 2.0 * half + 2.0 {
        pen.lines(Ink::Bracket, &[(a, y + 3.0), (a, y - 1.5), (middle - half, y - 1.5)]);
        pen.lines(Ink::Bracket, &[(middle + half, y - 1.5), (b, y - 1.5), (b, y + 3.0)]);
    }
}
