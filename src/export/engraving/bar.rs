//! Draws a bar of one layer: heads, stems, beams, flags, dots, ties, rests, tuplets, text.

use super::glyph::{self, BEAM_STEP, BEAM_THICKNESS, HALF_HEAD, Head, STEM_THICKNESS};
use super::{BarColumn, FIRST_ONSET_X, FIRST_TEXT_STEP, StaffLayout, TEXT_SIZE, TEXT_STEP, max_flags, stem_length};
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::theme::StyleClass;
use crate::notation::{Bar, Beam, Tuplet};
use crate::rhythm::{Accent, Time};

/// A bar of one layer at its place.
pub(super) struct PlacedBar<'a> {
    pub(super) layout: &'a StaffLayout<'a>,
    pub(super) bar: &'a Bar,
    pub(super) column: &'a BarColumn<'a>,
    pub(super) left: f32,
    /// Of the staff line.
    pub(super) y: f32,
    /// Factor of all widths.
    pub(super) stretch: f32,
    pub(super) is_first_of_row: bool,
}

impl PlacedBar<'_> {
    fn x_at(&self, time: Time) -> f32 {
        let onsets = &self.column.onsets;
        let found = onsets.binary_search_by(|(onset, _)| onset.cmp(&time));
        self.left + found.map_or(FIRST_ONSET_X, |i| onsets[i].1) * self.stretch
    }

    /// The end of the stems.
    fn top(&self) -> f32 {
        self.y - stem_length(max_flags(self.bar.notes.iter()))
    }

    /// `open_tie` is the start of a tie that has not ended yet.
    pub(super) fn draw(&self, canvas: &mut Canvas, open_tie: &mut Option<f32>) {
        let Self { layout, bar, column, left, y, stretch, is_first_of_row } = *self;
        let top = self.top();
        for (i, note) in bar.notes.iter().enumerate() {
            let at = self.x_at(note.start);
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
            glyph::draw_head(canvas, at, y, glyph::head(head, layout.shape));
            if value.halvings > 0 {
                canvas.rect(StyleClass::Note, at + HALF_HEAD - STEM_THICKNESS, top, STEM_THICKNESS, y - glyph::stem_start(head, layout.shape) - top);
                if note.beams.is_empty() {
                    glyph::flags(canvas, at + HALF_HEAD - STEM_THICKNESS, top, value.flags());
                }
            }
            if sound.tied_from {
                match open_tie.take() {
                    Some(from) => glyph::tie(canvas, from, at - 2.0, y),
                    None if is_first_of_row && i == 0 => glyph::tie(canvas, at - 12.0, at - 2.0, y),
                    None => {}
                }
            }
            *open_tie = sound.tied_to.then_some(at + 2.0);
            if !sound.tied_from {
                match sound.attack.accent {
                    Accent::Accent => glyph::accent(canvas, at, y + 8.0),
                    Accent::Ghost => glyph::parentheses(canvas, at - HALF_HEAD - 0.4, at + HALF_HEAD + 0.4, y),
                    Accent::Plain => {}
                }
                if let Some(pitch) = sound.attack.pitch {
                    let name = sound.spelled_pitch.map_or_else(|| pitch.to_string(), |spelled| spelled.to_string());
                    canvas.text(StyleClass::Faint, Anchor::Middle, at, y + 21.5, 6.5, &name);
                }
            }
        }
        self.draw_beams(canvas);
        for tuplet in &bar.tuplets {
            self.draw_tuplet(canvas, tuplet);
        }
        self.draw_text(canvas);
        let end = column.start.plus(column.length).unwrap_or(column.start);
        for mark in layout.marks {
            for at in mark.pulses_between(bar.section, column.start, end) {
                let x = self.x_at(at.minus(column.start).unwrap_or(Time::ZERO));
                canvas.text(StyleClass::Sign, Anchor::Middle, x, y - layout.pulses_over, TEXT_SIZE, &mark.sign);
            }
        }
    }

    /// The text over and under the notes: groups above landings. Landings are fainter, since both can be numbers.
    fn draw_text(&self, canvas: &mut Canvas) {
        let Self { layout, bar, y, .. } = *self;
        let step = |has_line: bool| if has_line { TEXT_STEP } else { 0.0 };
        let (over, under) = (&layout.notation.over, &layout.notation.under);
        let (high, low) = (y - layout.text_over, y + layout.text_under + FIRST_TEXT_STEP);
        let rows = [(over, high - step(over.has_landings()), high), (under, low, low + step(under.groups))];
        for note in &bar.notes {
            let Some(sound) = note.sound else { continue };
            for (text, groups, landings) in rows {
                let [group, landing] = layout.annotator.labels(text, bar, sound);
                for (text, class, y) in [(group, StyleClass::Text, groups), (landing, StyleClass::Faint, landings)] {
                    canvas.text(class, Anchor::Middle, self.x_at(note.start), y, TEXT_SIZE, &text.unwrap_or_default());
                }
            }
        }
    }

    fn draw_beams(&self, canvas: &mut Canvas) {
        let notes = &self.bar.notes;
        let deepest = notes.iter().map(|n| n.beams.len()).max().unwrap_or(0);
        for level in 0..deepest {
            let y = self.top() + BEAM_STEP * level as f32;
            let mut from = None;
            for note in notes {
                let at = self.x_at(note.start) + HALF_HEAD - STEM_THICKNESS;
                match note.beams.get(level) {
                    Some(Beam::Begin) => from = Some(at),
                    Some(Beam::End) => {
                        if let Some(from) = from.take() {
                            canvas.rect(StyleClass::Note, from, y, at + STEM_THICKNESS - from, BEAM_THICKNESS);
                        }
                    }
                    Some(Beam::Forward) => canvas.rect(StyleClass::Note, at, y, 6.0, BEAM_THICKNESS),
                    Some(Beam::Backward) => {
                        canvas.rect(StyleClass::Note, at + STEM_THICKNESS - 6.0, y, 6.0, BEAM_THICKNESS);
                    }
                    Some(Beam::Continue) | None => {}
                }
            }
        }
    }

    fn draw_tuplet(&self, canvas: &mut Canvas, tuplet: &Tuplet) {
        let notes = &self.bar.notes;
        let (Some(first), Some(last)) = (notes.get(tuplet.first), notes.get(tuplet.last)) else { return };
        // One number suffices if the other is the next smaller power of two.
        let usual = if tuplet.actual > 1 { 1 << (tuplet.actual - 1).ilog2() } else { 1 };
        let label = if usual == tuplet.normal {
            tuplet.actual.to_string()
        } else {
            format!("{}:{}", tuplet.actual, tuplet.normal)
        };
        let (a, b, y) = (self.x_at(first.start) - HALF_HEAD, self.x_at(last.start) + HALF_HEAD + 2.0, self.top() - 5.0);
        let (half, middle) = (font::width(&label, 8.5) / 2.0 + 2.0, f32::midpoint(a, b));
        canvas.text(StyleClass::Text, Anchor::Middle, middle, y + 1.5, 8.5, &label);
        if b - a > 2.0 * half + 2.0 {
            canvas.lines(StyleClass::Bracket, &[(a, y + 3.0), (a, y - 1.5), (middle - half, y - 1.5)]);
            canvas.lines(StyleClass::Bracket, &[(middle + half, y - 1.5), (b, y - 1.5), (b, y + 3.0)]);
        }
    }
}
