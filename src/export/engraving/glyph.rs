//! The symbols of notation as outlines relative to a point on the staff line.

use crate::export::picture::canvas::Canvas;
use crate::export::picture::symbol::Symbol;
use crate::export::picture::theme::StyleClass;
use crate::notation::HeadShape;

pub(super) const HALF_HEAD: f32 = 4.4;
pub(super) const BEAM_THICKNESS: f32 = 3.4;
/// From one beam or flag to the next.
pub(super) const BEAM_STEP: f32 = 5.2;
pub(super) const STEM_THICKNESS: f32 = 1.1;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Head {
    Breve,
    Whole,
    Half,
    Full,
}

/// A note-head; open for a half note and longer.
pub(super) fn head(canvas: &mut Canvas, x: f32, y: f32, head: Head, shape: HeadShape) {
    let open = head != Head::Full;
    let name = match shape {
        HeadShape::Round => "round-head",
        HeadShape::Cross => "cross-head",
        HeadShape::RingedCross => "ringed-head",
        HeadShape::Triangle => "triangle-head",
        HeadShape::Diamond => "diamond-head",
    };
    canvas.symbol(StyleClass::Note, (name, head as i32), x, y, |s| {
        match shape {
            HeadShape::Round => match head {
                Head::Full => s.ellipse((0.0, 0.0), (HALF_HEAD, 3.1), -0.35, false),
                Head::Half => {
                    s.ellipse((0.0, 0.0), (HALF_HEAD, 3.1), -0.35, false);
                    s.ellipse((0.0, 0.0), (3.7, 1.6), -0.6, true);
                }
                Head::Whole | Head::Breve => {
                    s.ellipse((0.0, 0.0), (5.6, 3.2), 0.0, false);
                    s.ellipse((0.0, 0.0), (2.5, 2.4), 0.5, true);
                }
            },
            HeadShape::Cross => {
                s.lines(&cross(3.6, if open { 1.5 } else { 0.8 }), true);
                if open {
                    hole(s, &cross(2.9, 0.6));
                }
            }
            HeadShape::RingedCross => {
                s.ellipse((0.0, 0.0), (4.8, 4.8), 0.0, false);
                s.ellipse((0.0, 0.0), if open { (3.4, 3.4) } else { (4.1, 4.1) }, 0.0, true);
                s.lines(&cross(2.4, 0.5), true);
            }
            HeadShape::Triangle => {
                s.lines(&[(-HALF_HEAD, 3.6), (0.0, -4.4), (HALF_HEAD, 3.6)], true);
                if open {
                    hole(s, &[(-2.5, 2.6), (0.0, -2.2), (2.5, 2.6)]);
                }
            }
            HeadShape::Diamond => {
                s.lines(&[(-HALF_HEAD, 0.0), (0.0, -4.2), (HALF_HEAD, 0.0), (0.0, 4.2)], true);
                if open {
                    hole(s, &[(-2.6, 0.0), (0.0, -2.4), (2.6, 0.0), (0.0, 2.4)]);
                }
            }
        }
        if head == Head::Breve {
            for side in [-7.6, 6.6] {
                s.rect(side, -4.5, 1.0, 9.0);
            }
        }
    });
}

/// A diagonal cross: the reach of its arms from the middle, sideways and up, and half their thickness.
fn cross(reach: f32, half: f32) -> [(f32, f32); 12] {
    let inner = half * std::f32::consts::SQRT_2;
    let (near, far) = (reach - half, reach + half);
    [
        (0.0, -inner),
        (near, -far),
        (far, -near),
        (inner, 0.0),
        (far, near),
        (near, far),
        (0.0, inner),
        (-near, far),
        (-far, near),
        (-inner, 0.0),
        (-far, -near),
        (-near, -far),
    ]
}

/// A closed line in the opposite direction, which cuts its area out of the shape around it.
fn hole(s: &mut Symbol, points: &[(f32, f32)]) {
    let reversed: Vec<(f32, f32)> = points.iter().rev().copied().collect();
    s.lines(&reversed, true);
}

/// An augmentation dot, in the space above the line.
pub(super) fn dot(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.symbol(StyleClass::Note, ("dot", 0), x, y, |s| s.ellipse((0.0, -3.2), (1.4, 1.4), 0.0, false));
}

pub(super) fn repeat_dot(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.symbol(StyleClass::Note, ("repeat-dot", 0), x, y, |s| s.ellipse((0.0, 0.0), (1.3, 1.3), 0.0, false));
}

/// The flags of a stem that points up, from its end.
pub(super) fn flags(canvas: &mut Canvas, x: f32, top: f32, count: usize) {
    if count == 0 {
        return;
    }
    canvas.symbol(StyleClass::Note, ("flags", count as i32), x, top, |s| {
        for k in 0..count {
            let y = BEAM_STEP * k as f32;
            let length = if k + 1 == count { 14.0 } else { 9.5 };
            s.path(&[
                ('M', &[(0.0, y)]),
                ('C', &[(0.8, y + 4.2), (8.0, y + 6.0), (5.8, y + length)]),
                ('C', &[(6.2, y + 8.6), (2.8, y + 6.8), (0.0, y + 5.4)]),
                ('Z', &[]),
            ]);
        }
    });
}

/// A rest by its halvings of a whole note; below a quarter with as many hooks as the note would have flags.
pub(super) fn rest(canvas: &mut Canvas, x: f32, y: f32, halvings: i8) {
    canvas.symbol(StyleClass::Note, ("rest", i32::from(halvings.max(-1))), x, y, |s| match halvings {
        ..=-1 => s.rect(-2.0, -7.0, 4.0, 7.0),
        0 => s.rect(-4.5, 0.0, 9.0, 3.6),
        1 => s.rect(-4.5, -3.6, 9.0, 3.6),
        2 => s.path(&[
            ('M', &[(-2.2, -9.5)]),
            ('L', &[(3.2, -3.0)]),
            ('C', &[(0.2, 0.0), (1.0, 2.2), (3.8, 5.2)]),
            ('C', &[(-0.2, 3.6), (-1.8, 6.0), (0.8, 9.4)]),
            ('C', &[(-4.4, 6.4), (-4.2, 2.4), (0.2, 3.2)]),
            ('L', &[(-3.2, -0.8)]),
            ('C', &[(0.2, -3.6), (0.2, -6.0), (-2.2, -9.5)]),
            ('Z', &[]),
        ]),
        n => short_rest(s, usize::try_from(n - 2).unwrap_or(1)),
    });
}

fn short_rest(s: &mut Symbol, count: usize) {
    let top = -2.6 - BEAM_STEP * (count / 2) as f32;
    let bottom = top + BEAM_STEP * (count - 1) as f32 + 11.5;
    // The stem leans to the right.
    let lean = |at: f32| 3.6 - 0.27 * (at - top);
    let (foot, wide) = (lean(bottom), 1.3);
    s.lines(&[(lean(top), top), (foot, bottom), (foot - wide, bottom), (lean(top) - wide, top)], true);
    for k in 0..count {
        let at = top + BEAM_STEP * k as f32;
        let right = lean(at);
        s.ellipse((right - 5.8, at + 0.6), (1.9, 1.9), 0.0, false);
        s.path(&[
            ('M', &[(right, at)]),
            ('C', &[(right - 1.4, at + 2.4), (right - 3.4, at + 3.4), (right - 6.0, at + 2.4)]),
            ('L', &[(right - 5.6, at + 1.3)]),
            ('C', &[(right - 3.4, at + 2.0), (right - 2.0, at + 1.4), (right - 1.2, at)]),
            ('Z', &[]),
        ]);
    }
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
