//! The symbols of notation: which glyph of the font each is, and how they are placed.

use crate::export::picture::canvas::Canvas;
use crate::export::picture::music_font::{Glyph, SPACE};
use crate::export::picture::theme::StyleClass;
use crate::notation::HeadShape;

/// Half the width of a full head.
pub(super) const HALF_HEAD: f32 = 0.59 * SPACE;
pub(super) const BEAM_THICKNESS: f32 = 0.5 * SPACE;
/// From one beam to the next.
pub(super) const BEAM_STEP: f32 = 0.75 * SPACE;
pub(super) const STEM_THICKNESS: f32 = 1.1;

const REPEAT_DOT: Glyph = Glyph::new(0xe044);
const AUGMENTATION_DOT: Glyph = Glyph::new(0xe1e7);
const ACCENT: Glyph = Glyph::new(0xe4a1);
const PLUS: Glyph = Glyph::new(0xe08c);
const PARENTHESES: [Glyph; 2] = [Glyph::new(0xe0f5), Glyph::new(0xe0f6)];
/// Rests from a breve to 1/1024.
const RESTS: u32 = 0xe4e2;
/// Flags, alternately for stems that point up and down, from an eighth to 1/1024.
const FLAGS: u32 = 0xe240;
const METER_DIGITS: u32 = 0xe080;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Head {
    Breve,
    Whole,
    Half,
    Full,
}

/// A note-head; open for a half note and longer.
pub(super) fn head(head: Head, shape: HeadShape) -> Glyph {
    let codes = match shape {
        HeadShape::Round => [0xe0a0, 0xe0a2, 0xe0a3, 0xe0a4],
        HeadShape::Cross => [0xe0a6, 0xe0a7, 0xe0a8, 0xe0a9],
        HeadShape::RingedCross => [0xe0b0, 0xe0b1, 0xe0b2, 0xe0b3],
        HeadShape::Triangle => [0xe0ba, 0xe0bb, 0xe0bc, 0xe0be],
        HeadShape::Diamond => [0xe0d7, 0xe0d8, 0xe0d9, 0xe0db],
    };
    Glyph::new(codes[head as usize])
}

/// Where the stem that points up begins at a head with a stem, above the middle of the head; from the font's metadata.
pub(super) fn stem_start(head: Head, shape: HeadShape) -> f32 {
    let half = head == Head::Half;
    let spaces = match shape {
        HeadShape::Round => 0.168,
        HeadShape::Cross => 0.412,
        HeadShape::Triangle if half => -0.46,
        HeadShape::Triangle => -0.5,
        HeadShape::RingedCross | HeadShape::Diamond => 0.0,
    };
    spaces * SPACE
}

/// Draws a head whose middle is at a point.
pub(super) fn draw_head(canvas: &mut Canvas, x: f32, y: f32, glyph: Glyph) {
    let bounds = glyph.bounds();
    canvas.glyph(StyleClass::Note, glyph, x - f32::midpoint(bounds.left, bounds.right), y);
}

pub(super) fn parentheses(canvas: &mut Canvas, left: f32, right: f32, y: f32) {
    let [open, close] = PARENTHESES;
    canvas.glyph(StyleClass::Note, open, left - open.bounds().right, y);
    canvas.glyph(StyleClass::Note, close, right - close.bounds().left, y);
}

/// An accent below a height.
pub(super) fn accent(canvas: &mut Canvas, x: f32, y: f32) {
    draw_head(canvas, x, y, ACCENT);
}

/// An augmentation dot, in the space above the line.
pub(super) fn dot(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.glyph(StyleClass::Note, AUGMENTATION_DOT, x, y - SPACE / 2.0);
}

pub(super) fn repeat_dot(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.glyph(StyleClass::Note, REPEAT_DOT, x - REPEAT_DOT.width() / 2.0, y);
}

/// The flags of a stem that points up, from its end.
pub(super) fn flags(canvas: &mut Canvas, x: f32, top: f32, count: usize) {
    if count > 0 {
        canvas.glyph(StyleClass::Note, Glyph::new(FLAGS + 2 * (count as u32 - 1)), x, top);
    }
}

/// A rest by its halvings of a whole note.
pub(super) fn rest(canvas: &mut Canvas, x: f32, y: f32, halvings: i8) {
    let glyph = Glyph::new(RESTS + u32::from((halvings + 1).unsigned_abs()));
    draw_head(canvas, x, y, glyph);
}

/// The width of a number of a meter.
pub(super) fn meter_width(number: &str) -> f32 {
    number.chars().map(|c| meter_glyph(c).bounds().right).sum()
}

/// The upper or lower number of a meter around a middle.
pub(super) fn meter_number(canvas: &mut Canvas, middle: f32, y: f32, number: &str) {
    let mut x = middle - meter_width(number) / 2.0;
    for c in number.chars() {
        canvas.glyph(StyleClass::Note, meter_glyph(c), x, y);
        x += meter_glyph(c).bounds().right;
    }
}

fn meter_glyph(c: char) -> Glyph {
    c.to_digit(10).map_or(PLUS, |digit| Glyph::new(METER_DIGITS + digit))
}

/// A tie below two heads.
pub(super) fn tie(canvas: &mut Canvas, from: f32, to: f32, y: f32) {
    let (middle, deep) = (f32::midpoint(from, to), ((to - from) * 0.22).clamp(3.0, 7.0));
    canvas.shape(StyleClass::Note, 0.0, y + 5.2, |s| {
        s.path(&[
            ('M', &[(from, 0.0)]),
            ('Q', &[(middle, deep * 1.5), (to, 0.0)]),
            ('Q', &[(middle, deep * 1.5 - 2.4), (from, 0.0)]),
            ('Z', &[]),
        ]);
    });
}
