//! The forms of landings and the key that says what a picture's marks mean. It must not know grooves.

use super::pin;
use crate::exchange::picture::Sheet;
use crate::exchange::picture::font;
use crate::exchange::picture::pen::{Anchor, Pen, Shape};
use crate::exchange::picture::theme::{Ink, LEVELS};

/// The form of a landing's mark, by its level.
pub(in crate::exchange::picture) fn shape(level: u32) -> Shape {
    match level {
        0 => Shape::Square,
        1 => Shape::Diamond,
        2 => Shape::Disc,
        3 => Shape::Up,
        4 => Shape::Down,
        _ => Shape::Cross,
    }
}

/// A landing's level as inks count it.
pub(in crate::exchange::picture) fn level(level: u32) -> u8 {
    level.min(u32::from(LEVELS) - 1) as u8
}

/// What a level is called in the key.
const LEVEL_WORDS: [&str; LEVELS as usize] =
    ["downbeat", "strong beat", "beat", "half, third or fifth of the beat", "quarter or sixth", "deeper"];

/// What the marks mean; gives the end of the picture.
pub(super) fn key(pen: &mut Pen, sheet: Sheet, top: f32, levels: &[bool], pulses: bool) -> f32 {
    let (mut x, mut y) = (sheet.left + 6.0, top + 8.0);
    let mut entry = |pen: &mut Pen, words: &str, draw: &dyn Fn(&mut Pen, f32, f32)| {
        let wide = 16.0 + font::width(words, 9.0) + 16.0;
        if x + wide > sheet.right {
            x = sheet.left + 6.0;
            y += 17.0;
        }
        draw(pen, x, y);
        pen.text(Ink::Text, Anchor::Start, x + 11.0, y + 3.2, 9.0, words);
        x += wide;
    };
    for (n, words) in LEVEL_WORDS.iter().enumerate().filter(|(n, _)| levels[*n]) {
        entry(pen, words, &|pen, x, y| pen.mark(Ink::Landing(n as u8), shape(n as u32), x, y, 4.2));
    }
    if levels.contains(&true) {
        entry(pen, "ghost: outline only", &|pen, x, y| pen.mark(Ink::Open, Shape::Disc, x, y, 3.6));
        entry(pen, "accent", &|pen, x, y| pen.wedge(Ink::Sign, x, y, (3.2, 2.0)));
        entry(pen, "goes on sounding", &|pen, x, y| pen.rect(Ink::Hold, x - 6.0, y - 1.6, 12.0, 3.2));
    }
    if pulses {
        entry(pen, "pulse with an attack", &|pen, x, y| pin(pen, 0, true, x, y));
        entry(pen, "pulse without", &|pen, x, y| pin(pen, 0, false, x, y));
        entry(pen, "joined to the beat: both within 20 ms", &|pen, x, y| pen.line(Ink::Meet, x, y - 6.0, x, y + 6.0));
    }
    y + 18.0
}
