//! The symbols of notation: which glyph of the font each is.

use crate::export::picture::canvas::Canvas;
use crate::export::picture::music_font::{Glyph, SPACE};
use crate::export::picture::theme::StyleClass;
use crate::notation::{Accidental, Clef, HeadShape};

/// Half the width of a full head.
pub(super) const HALF_HEAD: f32 = 0.59 * SPACE;
pub(super) const BEAM_THICKNESS: f32 = 0.5 * SPACE;
/// From one beam to the next.
pub(super) const BEAM_STEP: f32 = 0.75 * SPACE;
pub(super) const STEM_THICKNESS: f32 = 1.1;

pub(super) const AUGMENTATION_DOT: Glyph = Glyph::new(0xe1e7);
pub(super) const PARENTHESES: [Glyph; 2] = [Glyph::new(0xe0f5), Glyph::new(0xe0f6)];
pub(super) const PERCUSSION_CLEF: Glyph = Glyph::new(0xe069);
const REPEAT_DOT: Glyph = Glyph::new(0xe044);
const PLUS: Glyph = Glyph::new(0xe08c);
const METER_DIGITS: u32 = 0xe080;
/// Rests from a breve to 1/1024.
const RESTS: u32 = 0xe4e2;
/// Flags, alternately for stems that point up and down, from an eighth to 1/1024.
const FLAGS: u32 = 0xe240;

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

/// Where the stem begins at a head that has one, from the middle of the head towards the end of the stem; from the font's metadata.
pub(super) fn stem_start(head: Head, shape: HeadShape, is_up: bool) -> f32 {
    let half = head == Head::Half;
    let spaces = match shape {
        HeadShape::Round => 0.168,
        HeadShape::Cross => 0.412,
        // The base of a triangle is below.
        HeadShape::Triangle => [0.5, 0.46][usize::from(half)] * if is_up { -1.0 } else { 1.0 },
        HeadShape::RingedCross | HeadShape::Diamond => 0.0,
    };
    spaces * SPACE
}

pub(super) fn accidental(accidental: Accidental) -> Glyph {
    match accidental {
        Accidental::Flat => Glyph::new(0xe260),
        Accidental::Natural => Glyph::new(0xe261),
        Accidental::Sharp => Glyph::new(0xe262),
    }
}

/// A clef, the height of its line, and the pitch of the middle line as letters above C of octave 0.
pub(super) fn clef(clef: Clef) -> (Glyph, f32, i32) {
    let (treble, bass) = ((SPACE, 34), (-SPACE, 22));
    match clef {
        Clef::Treble => (Glyph::new(0xe050), treble.0, treble.1),
        Clef::TrebleLow => (Glyph::new(0xe052), treble.0, treble.1 - 7),
        Clef::Bass => (Glyph::new(0xe062), bass.0, bass.1),
        Clef::BassLow => (Glyph::new(0xe064), bass.0, bass.1 - 7),
    }
}

/// An accent, above or below its note.
pub(super) fn accent(above: bool) -> Glyph {
    Glyph::new(if above { 0xe4a0 } else { 0xe4a1 })
}

/// The flags of a stem, and how far the stem reaches beyond their origin; from the font's metadata.
pub(super) fn flag(count: usize, is_up: bool) -> (Glyph, f32) {
    const UP: [f32; 8] = [0.0, 0.0, 0.376, 1.172, 1.9, 2.592, 3.324, 4.064];
    const DOWN: [f32; 8] = [0.0, 0.0, 0.448, 1.244, 2.076, 2.812, 3.608, 4.684];
    let index = count.clamp(1, UP.len()) - 1;
    let code = FLAGS + 2 * index as u32 + u32::from(!is_up);
    (Glyph::new(code), [DOWN, UP][usize::from(is_up)][index] * SPACE)
}

/// A rest by its halvings of a whole note.
pub(super) fn rest(halvings: i8) -> Glyph {
    Glyph::new(RESTS + u32::from((halvings + 1).unsigned_abs()))
}

/// Draws a symbol around a middle.
pub(super) fn centred(canvas: &mut Canvas, glyph: Glyph, x: f32, y: f32) {
    let bounds = glyph.bounds();
    canvas.glyph(StyleClass::Note, glyph, x - f32::midpoint(bounds.left, bounds.right), y);
}

pub(super) fn repeat_dot(canvas: &mut Canvas, x: f32, y: f32) {
    centred(canvas, REPEAT_DOT, x, y);
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

/// The width of a grace note, and of its head.
pub(super) const GRACE_WIDTH: f32 = 1.3 * SPACE;
const GRACE_HEAD: f32 = 0.72 * SPACE;
/// How far its stem and its slash reach from the middle of its head.
pub(super) const GRACE_HEIGHT: f32 = 2.3 * SPACE;
/// How far its head reaches to the other side.
pub(super) const GRACE_DEPTH: f32 = 0.4 * SPACE;

/// The slashed grace note of a flam: its left edge and the middle of its head. Only crosses keep their shape at this size.
pub(super) fn grace_note(canvas: &mut Canvas, left: f32, y: f32, shape: HeadShape, is_up: bool) {
    let is_cross = matches!(shape, HeadShape::Cross | HeadShape::RingedCross);
    let (half, thin) = (GRACE_HEAD / 2.0, 0.14 * SPACE);
    canvas.symbol(StyleClass::Note, ("grace-note", i32::from(is_cross) + 2 * i32::from(is_up)), left, y, |s| {
        if is_cross {
            let (reach, t) = (0.28 * SPACE, thin / 2.0);
            for side in [1.0, -1.0] {
                let (from, to) = ((half - reach, side * reach), (half + reach, -side * reach));
                s.lines(&[(from.0 - t, from.1), (from.0 + t, from.1), (to.0 + t, to.1), (to.0 - t, to.1)], true);
            }
        } else {
            s.ellipse((half, 0.0), (half, 0.27 * SPACE), -0.4, false);
        }
        // The stem, its flag, and the slash through both.
        let stem = GRACE_HEAD - 0.12 * SPACE;
        let side = if is_up { -SPACE } else { SPACE };
        let mut area = |points: [(f32, f32); 4]| {
            s.lines(&points.map(|(x, spaces)| (stem + x * SPACE, spaces * side)), true);
        };
        area([(0.0, 0.1), (0.0, 2.2), (0.1, 2.2), (0.1, 0.1)]);
        area([(0.0, 2.2), (0.55, 1.3), (0.45, 1.2), (0.0, 1.9)]);
        area([(-0.35, 1.0), (0.6, 2.1), (0.6, 1.95), (-0.35, 0.85)]);
    });
}

/// A tie between two heads, below them or above.
pub(super) fn tie(canvas: &mut Canvas, from: f32, to: f32, y: f32, above: bool) {
    let side = if above { -1.0 } else { 1.0 };
    let (middle, deep) = (f32::midpoint(from, to), ((to - from) * 0.22).clamp(3.0, 7.0));
    canvas.shape(StyleClass::Note, 0.0, y + 5.2 * side, |s| {
        s.path(&[
            ('M', &[(from, 0.0)]),
            ('Q', &[(middle, deep * 1.5 * side), (to, 0.0)]),
            ('Q', &[(middle, (deep * 1.5 - 2.4) * side), (from, 0.0)]),
            ('Z', &[]),
        ]);
    });
}
