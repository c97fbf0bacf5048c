//! The letters of pictures as outlines of one font that is part of the program, so that a picture looks alike everywhere. It
//! must not know what is written.

use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};
use std::fmt::Write;
use std::sync::LazyLock;

/// The font `DejaVu Sans`, cut to Latin, Greek, Cyrillic and the signs of the trade; its licence stands beside it.
static BYTES: &[u8] = include_bytes!("font/DejaVuSans.ttf");

/// Units of an em.
const EM: f32 = 2048.0;

static FONT: LazyLock<FontRef<'static>> =
    LazyLock::new(|| FontRef::new(BYTES).expect("the font is part of the program"));

/// Whether the font has a letter.
#[cfg(test)]
pub(super) fn has(c: char) -> bool {
    FONT.charmap().map(c).is_some()
}

/// Width of a text at a size, in the size's unit. A letter that the font has not is an empty box.
pub(crate) fn width(text: &str, size: f32) -> f32 {
    let metrics = FONT.glyph_metrics(Size::unscaled(), LocationRef::default());
    let glyph = |c| FONT.charmap().map(c).unwrap_or(GlyphId::NOTDEF);
    text.chars().map(|c| metrics.advance_width(glyph(c)).unwrap_or(0.0)).sum::<f32>() * size / EM
}

/// The outline of a text as the data of an SVG path, its baseline from the origin to the right.
pub(super) fn outline(text: &str, size: f32) -> String {
    let metrics = FONT.glyph_metrics(Size::unscaled(), LocationRef::default());
    let outlines = FONT.outline_glyphs();
    let mut pen = Pen { data: String::new(), scale: size / EM, x: 0.0 };
    for c in text.chars() {
        let glyph = FONT.charmap().map(c).unwrap_or(GlyphId::NOTDEF);
        if let Some(outline) = outlines.get(glyph) {
            // A glyph that cannot be drawn is left out; the width stays.
            let _ = outline.draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut pen);
        }
        pen.x += metrics.advance_width(glyph).unwrap_or(0.0);
    }
    pen.data
}

/// The start of a text that fits a width, with an ellipsis where something is cut off.
pub(crate) fn fitted(text: &str, size: f32, room: f32) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = width("…", size);
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), size);
        if used > room {
            break;
        }
        kept.push(c);
    }
    format!("{}…", kept.trim_end())
}

struct Pen {
    data: String,
    scale: f32,
    x: f32,
}

impl Pen {
    fn put(&mut self, command: char, points: &[(f32, f32)]) {
        self.data.push(command);
        for (i, (x, y)) in points.iter().enumerate() {
            let (x, y) = ((x + self.x) * self.scale, -y * self.scale);
            let space = if i > 0 { " " } else { "" };
            // Writing to a String cannot fail.
            let _ = write!(self.data, "{space}{} {}", super::pen::number(x), super::pen::number(y));
        }
    }
}

impl OutlinePen for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.put('M', &[(x, y)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.put('L', &[(x, y)]);
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        self.put('Q', &[(cx, cy), (x, y)]);
    }

    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        self.put('C', &[(ax, ay), (bx, by), (x, y)]);
    }

    fn close(&mut self) {
        self.data.push('Z');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_have_outlines_widths_and_fit() {
        assert!(outline("3", 10.0).starts_with('M') && outline(" ", 10.0).is_empty());
        // DejaVu Sans: the digits are 1303 units of 2048 wide.
        assert!((width("33", 2048.0) - 2606.0).abs() < 1e-3);
        assert_eq!(fitted("winch", 10.0, 100.0), "winch");
        let cut = fitted("a very long name of a layer", 10.0, 60.0);
        assert!(cut.ends_with('…') && width(&cut, 10.0) <= 60.0, "{cut}");
        assert!(has('…') && has('×') && has('é') && has('Ж') && !has('漢'));
    }
}
