//! The symbols of notation as outlines about a point of the staff line.

use crate::export::picture::canvas::Canvas;
use crate::export::picture::symbol::Symbol;
use crate::export::picture::theme::StyleClass;
use crate::notation::HeadShape;

/// Half the width of a note-head.
pub(super) const HEAD: f32 = 4.4;
/// Thickness of a beam.
pub(super) const BEAM: f32 = 3.4;
/// From one beam or flag to the next.
pub(super) const BEAM_STEP: f32 = 5.2;
/// Thickness of a stem.
pub(super) const STEM: f32 = 1.1;

/// How a head looks, by its value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Head {
    Breve,
    Whole,
    Half,
    Full,
}

/// A note-head of a voice's own shape; open ones from a half note on, as round ones are.
pub(super) fn shaped(canvas: &mut Canvas, x: f32, y: f32, head: Head, shape: HeadShape) {
    let open = head != Head::Full;
    let name = match shape {
        HeadShape::Round => return self::head(canvas, x, y, head),
        HeadShape::Cross => "cross",
        HeadShape::RingedCross => "ringed",
        HeadShape::Triangle => "triangle",
        HeadShape::Diamond => "diamond-head",
    };
    canvas.symbol(StyleClass::Note, (name, head as i32), x, y, |s| {
        match shape {
            HeadShape::Round => {}
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
                s.lines(&[(-HEAD, 3.6), (0.0, -4.4), (HEAD, 3.6)], true);
                if open {
                    hole(s, &[(-2.5, 2.6), (0.0, -2.2), (2.5, 2.6)]);
                }
            }
            HeadShape::Diamond => {
                s.lines(&[(-HEAD, 0.0), (0.0, -4.2), (HEAD, 0.0), (0.0, 4.2)], true);
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

/// The outline of a cross: how far its arms reach from the middle, aside and up, and half their thickness.
fn cross(far: f32, thick: f32) -> [(f32, f32); 12] {
    let (t, inner) = (thick, thick * std::f32::consts::SQRT_2);
    [
        (0.0, -inner),
        (far - t, -far - t),
        (far + t, -far + t),
        (inner, 0.0),
        (far + t, far - t),
        (far - t, far + t),
        (0.0, inner),
        (-far + t, far + t),
        (-far - t, far - t),
        (-inner, 0.0),
        (-far - t, -far + t),
        (-far + t, -far - t),
    ]
}

/// A closed line the other way round: what it holds is left out.
fn hole(s: &mut Symbol, points: &[(f32, f32)]) {
    let turned: Vec<(f32, f32)> = points.iter().rev().copied().collect();
    s.lines(&turned, true);
}

/// A round note-head.
fn head(canvas: &mut Canvas, x: f32, y: f32, head: Head) {
    let name = match head {
        Head::Breve => "breve",
        Head::Whole => "whole",
        Head::Half => "half",
        Head::Full => "full",
    };
    canvas.symbol(StyleClass::Note, (name, 0), x, y, |s| match head {
        Head::Full => s.ellipse((0.0, 0.0), (HEAD, 3.1), -0.35, false),
        Head::Half => {
            s.ellipse((0.0, 0.0), (HEAD, 3.1), -0.35, false);
            s.ellipse((0.0, 0.0), (3.7, 1.6), -0.6, true);
        }
        Head::Whole | Head::Breve => {
            s.ellipse((0.0, 0.0), (5.6, 3.2), 0.0, false);
            s.ellipse((0.0, 0.0), (2.5, 2.4), 0.5, true);
            if head == Head::Breve {
                for side in [-7.6, 6.6] {
                    s.rect(side, -4.5, 1.0, 9.0);
                }
            }
        }
    });
}

/// A dot, in the space above the line.
pub(super) fn dot(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.symbol(StyleClass::Note, ("dot", 0), x, y, |s| s.ellipse((0.0, -3.2), (1.4, 1.4), 0.0, false));
}

/// A dot of a repeat.
pub(super) fn point(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.symbol(StyleClass::Note, ("point", 0), x, y, |s| s.ellipse((0.0, 0.0), (1.3, 1.3), 0.0, false));
}

/// Flags of a stem that points up and ends here.
pub(super) fn flags(canvas: &mut Canvas, x: f32, top: f32, count: usize) {
    if count == 0 {
        return;
    }
    canvas.symbol(StyleClass::Note, ("flags", count as i32), x, top, |s| {
        for k in 0..count {
            let y = BEAM_STEP * k as f32;
            let long = if k + 1 == count { 14.0 } else { 9.5 };
            s.path(&[
                ('M', &[(0.0, y)]),
                ('C', &[(0.8, y + 4.2), (8.0, y + 6.0), (5.8, y + long)]),
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
        n => hooked(s, usize::try_from(n - 2).unwrap_or(1)),
    });
}

/// A rest below a quarter, with so many hooks.
fn hooked(s: &mut Symbol, count: usize) {
    let top = -2.6 - BEAM_STEP * (count / 2) as f32;
    let bottom = top + BEAM_STEP * (count - 1) as f32 + 11.5;
    // The stem leans to the left on its way down.
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
    canvas.once(StyleClass::Note, 0.0, y + 5.2, |s| {
        s.path(&[
            ('M', &[(from, 0.0)]),
            ('Q', &[(middle, deep * 1.5), (to, 0.0)]),
            ('Q', &[(middle, deep * 1.5 - 2.4), (from, 0.0)]),
            ('Z', &[]),
        ]);
    });
}
