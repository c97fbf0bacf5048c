//! Draws a bar of one voice: symbols, stems, beams, ties, tuplets, text.

use super::TEXT_SIZE;
use super::glyph::{self, BEAM_STEP, BEAM_THICKNESS, HALF_HEAD, STEM_THICKNESS};
use super::plan::{PlannedBar, StaffPlan, TupletShape};
use super::shape::NoteShape;
use super::spacing::{BarColumn, FIRST_ONSET_X};
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::music_font::SPACE;
use crate::export::picture::theme::StyleClass;
use crate::notation::Beam;
use crate::rhythm::Time;

/// Length of a beam that belongs to one note.
const STUB: f32 = 6.0;
/// Thickness of a ledger line.
const LEDGER: f32 = 1.1;
/// Depth of the ends of a bracket.
const HOOK: f32 = 3.5;

/// A bar of one voice at its place.
pub(super) struct PlacedBar<'a> {
    pub(super) plan: &'a StaffPlan<'a>,
    pub(super) planned: &'a PlannedBar<'a>,
    pub(super) column: &'a BarColumn<'a>,
    pub(super) left: f32,
    /// Of the middle line of the staff.
    pub(super) y: f32,
    /// Factor of all widths.
    pub(super) stretch: f32,
}

/// The ties that begin at a note.
pub(super) struct Tie {
    from: f32,
    heights: Vec<f32>,
    above: bool,
}

impl Tie {
    pub(super) fn draw(&self, canvas: &mut Canvas, to: f32) {
        for y in &self.heights {
            glyph::tie(canvas, self.from, to, *y, self.above);
        }
    }
}

impl PlacedBar<'_> {
    fn x_at(&self, time: Time) -> f32 {
        let onsets = &self.column.onsets;
        let found = onsets.binary_search_by(|(onset, _)| onset.cmp(&time));
        self.left + found.map_or(FIRST_ONSET_X, |i| onsets[i].1) * self.stretch
    }

    /// `open_tie` are the ties that have not ended yet.
    pub(super) fn draw(&self, canvas: &mut Canvas, is_first_of_row: bool, open_tie: &mut Option<Tie>) {
        let Self { planned, column, left, y, stretch, .. } = *self;
        for (i, (note, shape)) in planned.bar.notes.iter().zip(&planned.shapes).enumerate() {
            let is_whole_bar = note.value.is_none();
            let x = if is_whole_bar { left + column.width * stretch / 2.0 } else { self.x_at(note.start) };
            self.draw_shape(canvas, shape, x);
            let Some(sound) = note.sound else { continue };
            let heights = || shape.heads.iter().map(|head| head + y).collect();
            if sound.tied_from {
                match open_tie.take() {
                    Some(tie) => tie.draw(canvas, x - 2.0),
                    None if is_first_of_row && i == 0 => {
                        Tie { from: x - 11.0, heights: heights(), above: shape.ties_above }.draw(canvas, x - 2.0);
                    }
                    None => {}
                }
            }
            *open_tie = sound.tied_to.then(|| Tie { from: x + 2.0, heights: heights(), above: shape.ties_above });
        }
        self.draw_beams(canvas);
        planned.tuplets.iter().for_each(|tuplet| self.draw_tuplet(canvas, tuplet));
        for label in &planned.labels {
            let (x, y) = (self.x_at(label.start), y + self.plan.rows[label.row].baseline);
            canvas.text(label.class, Anchor::Middle, x, y, TEXT_SIZE, &label.text);
        }
    }

    fn draw_shape(&self, canvas: &mut Canvas, shape: &NoteShape, x: f32) {
        for sign in &shape.signs {
            canvas.glyph(StyleClass::Note, sign.glyph, x + sign.x, self.y + sign.y);
        }
        for grace in &shape.graces {
            glyph::grace_note(canvas, x + grace.left, self.y + grace.y, grace.shape, grace.is_up);
        }
        if let Some(stem) = shape.stem {
            let (top, end) = (stem.from.min(stem.to), stem.from.max(stem.to));
            canvas.rect(StyleClass::Note, x + stem.x, self.y + top, STEM_THICKNESS, end - top);
        }
        for (left, right, y) in &shape.ledgers {
            canvas.rect(StyleClass::Staff, x + left, self.y + y - LEDGER / 2.0, right - left, LEDGER);
        }
    }

    fn draw_beams(&self, canvas: &mut Canvas) {
        let notes = &self.planned.bar.notes;
        let deepest = notes.iter().map(|n| n.beams.len()).max().unwrap_or(0);
        for level in 0..deepest {
            let mut from = None;
            for (note, shape) in notes.iter().zip(&self.planned.shapes) {
                let depth = BEAM_STEP * level as f32;
                let (offset, y) = if shape.is_up {
                    (HALF_HEAD - STEM_THICKNESS, self.y + shape.end + depth)
                } else {
                    (-HALF_HEAD, self.y + shape.end - depth - BEAM_THICKNESS)
                };
                let at = self.x_at(note.start) + offset;
                let mut beam = |left: f32, right: f32| {
                    canvas.rect(StyleClass::Note, left, y, right - left, BEAM_THICKNESS);
                };
                match note.beams.get(level) {
                    Some(Beam::Begin) => from = Some(at),
                    Some(Beam::End) => {
                        if let Some(from) = from.take() {
                            beam(from, at + STEM_THICKNESS);
                        }
                    }
                    Some(Beam::Forward) => beam(at, at + STUB),
                    Some(Beam::Backward) => beam(at + STEM_THICKNESS - STUB, at + STEM_THICKNESS),
                    Some(Beam::Continue) | None => {}
                }
            }
        }
    }

    fn draw_tuplet(&self, canvas: &mut Canvas, tuplet: &TupletShape) {
        let (notes, shapes) = (&self.planned.bar.notes, &self.planned.shapes);
        let right = shapes[tuplet.last].extent.map_or(HALF_HEAD, |e| e.right.min(2.5 * SPACE));
        let (a, b) = (self.x_at(notes[tuplet.first].start) - HALF_HEAD, self.x_at(notes[tuplet.last].start) + right);
        let y = self.y + tuplet.y;
        let (half, middle) = (font::width(&tuplet.number, TEXT_SIZE) / 2.0 + 2.0, f32::midpoint(a, b));
        canvas.text(StyleClass::Text, Anchor::Middle, middle, y + 3.0, TEXT_SIZE, &tuplet.number);
        if b - a > 2.0 * half + 2.0 {
            let hook = y + if tuplet.is_above { HOOK } else { -HOOK };
            canvas.lines(StyleClass::Bracket, &[(a, hook), (a, y), (middle - half, y)]);
            canvas.lines(StyleClass::Bracket, &[(middle + half, y), (b, y), (b, hook)]);
        }
    }
}
