//! Draws a bar of one layer: heads, stems, beams, flags, dots, ties, rests, tuplets, text.

use super::glyph::{self, BEAM, BEAM_STEP, HEAD, Head, STEM};
use super::{Column, FIRST_TEXT, LEAD, Line, TEXT, TEXT_STEP, max_flags, stem};
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::theme::StyleClass;
use crate::notation::{Bar, Beam, Note, Tuplet};
use crate::rhythm::{Accent, Time};

/// `open_tie` is the start of a tie that has not ended yet.
pub(super) fn draw(
    canvas: &mut Canvas,
    line: &Line<'_>,
    (bar, column): (&Bar, &Column<'_>),
    (left, y, stretch): (f32, f32, f32),
    open_tie: &mut Option<f32>,
    first_in_line: bool,
) {
    let place = |t: Time| {
        let found = column.at.binary_search_by(|(at, _)| at.cmp(&t));
        left + found.map_or(LEAD, |i| column.at[i].1) * stretch
    };
    let x = |n: &Note| place(n.start);
    let top = y - stem(max_flags(bar.notes.iter()));
    for (i, note) in bar.notes.iter().enumerate() {
        let at = x(note);
        let Some(value) = note.value else {
            glyph::rest(canvas, left + column.width * stretch / 2.0, y, 0);
            continue;
        };
        if value.dotted {
            glyph::dot(canvas, at + if value.halvings <= 0 { 10.0 } else { 8.0 }, y);
        }
        let Some(sound) = note.sound else {
            glyph::rest(canvas, at, y, value.halvings);
            continue;
        };
        let head = match value.halvings {
            ..=-1 => Head::Breve,
            0 => Head::Whole,
            1 => Head::Half,
            _ => Head::Full,
        };
        glyph::head(canvas, at, y, head, line.shape);
        if value.halvings > 0 {
            canvas.rect(StyleClass::Note, at + HEAD - STEM, top, STEM, y - 1.2 - top);
            if note.beams.is_empty() {
                glyph::flags(canvas, at + HEAD - STEM, top, value.flags());
            }
        }
        if sound.tied_from {
            match open_tie.take() {
                Some(from) => glyph::tie(canvas, from, at - 2.0, y),
                None if first_in_line && i == 0 => glyph::tie(canvas, at - 12.0, at - 2.0, y),
                None => {}
            }
        }
        *open_tie = sound.tied_to.then_some(at + 2.0);
        if !sound.tied_from {
            match sound.attack.accent {
                Accent::Accent => canvas.wedge(StyleClass::Sign, at, y + 11.0, (3.6, 2.6)),
                Accent::Ghost => {
                    canvas.text(StyleClass::Text, Anchor::End, at - HEAD - 0.4, y + 3.6, 11.0, "(");
                    canvas.text(StyleClass::Text, Anchor::Start, at + HEAD + 0.4, y + 3.6, 11.0, ")");
                }
                Accent::Plain => {}
            }
            if let Some(pitch) = sound.attack.pitch {
                let name = sound.spelled_pitch.map_or_else(|| pitch.to_string(), |spelled| spelled.to_string());
                canvas.text(StyleClass::Faint, Anchor::Middle, at, y + 21.5, 6.5, &name);
            }
        }
    }
    draw_beams(canvas, &bar.notes, top, x);
    for tuplet in &bar.tuplets {
        draw_tuplet(canvas, bar, tuplet, top, x);
    }
    text(canvas, line, bar, y, x);
    let end = column.start.plus(column.length).unwrap_or(column.start);
    for mark in line.marks {
        for at in mark.pulses_between(bar.section, column.start, end) {
            let x = place(at.minus(column.start).unwrap_or(Time::ZERO));
            canvas.text(StyleClass::Sign, Anchor::Middle, x, y - line.pulses, TEXT, &mark.sign);
        }
    }
}

/// The text over and under the notes: groups above landings. Landings are fainter, since both can be numbers.
fn text(canvas: &mut Canvas, line: &Line<'_>, bar: &Bar, y: f32, x: impl Fn(&Note) -> f32) {
    let step = |has_line: bool| if has_line { TEXT_STEP } else { 0.0 };
    let (over, under) = (&line.notation.over, &line.notation.under);
    let (high, low) = (y - line.over, y + line.under + FIRST_TEXT);
    let rows = [(over, high - step(over.has_landings()), high), (under, low, low + step(under.groups))];
    for note in &bar.notes {
        let Some(sound) = note.sound else { continue };
        for (text, groups, landings) in rows {
            let [group, landing] = line.annotator.labels(text, bar, sound);
            for (text, class, y) in [(group, StyleClass::Text, groups), (landing, StyleClass::Faint, landings)] {
                canvas.text(class, Anchor::Middle, x(note), y, TEXT, &text.unwrap_or_default());
            }
        }
    }
}

fn draw_beams(canvas: &mut Canvas, notes: &[Note], top: f32, x: impl Fn(&Note) -> f32) {
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
                        canvas.rect(StyleClass::Note, from, y, at + STEM - from, BEAM);
                    }
                }
                Some(Beam::Forward) => canvas.rect(StyleClass::Note, at, y, 6.0, BEAM),
                Some(Beam::Backward) => canvas.rect(StyleClass::Note, at + STEM - 6.0, y, 6.0, BEAM),
                Some(Beam::Continue) | None => {}
            }
        }
    }
}

fn draw_tuplet(canvas: &mut Canvas, bar: &Bar, tuplet: &Tuplet, top: f32, x: impl Fn(&Note) -> f32) {
    let (Some(first), Some(last)) = (bar.notes.get(tuplet.first), bar.notes.get(tuplet.last)) else { return };
    // One number suffices if the other is the next smaller power of two.
    let usual = if tuplet.actual > 1 { 1 << (tuplet.actual - 1).ilog2() } else { 1 };
    let label =
        if usual == tuplet.normal { tuplet.actual.to_string() } else { format!("{}:{}", tuplet.actual, tuplet.normal) };
    let (a, b, y) = (x(first) - HEAD, x(last) + HEAD + 2.0, top - 5.0);
    let (half, middle) = (font::width(&label, 8.5) / 2.0 + 2.0, f32::midpoint(a, b));
    canvas.text(StyleClass::Text, Anchor::Middle, middle, y + 1.5, 8.5, &label);
    if b - a > 2.0 * half + 2.0 {
        canvas.lines(StyleClass::Bracket, &[(a, y + 3.0), (a, y - 1.5), (middle - half, y - 1.5)]);
        canvas.lines(StyleClass::Bracket, &[(middle + half, y - 1.5), (b, y - 1.5), (b, y + 3.0)]);
    }
}
