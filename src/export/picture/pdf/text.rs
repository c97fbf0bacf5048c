//! Text that can be searched and copied, in coordinates that count downwards.

use super::document::{FONT_NAME, PdfDocument};
use crate::export::picture::font;
use pdf_writer::types::TextRenderingMode;
use pdf_writer::{Content, Str};

/// The bundled font has one weight; the bold one adds an outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TextWeight {
    Regular,
    Bold,
}

/// Width of the outline of bold text, in parts of its size.
const BOLD_OUTLINE: f32 = 0.035;

/// Writes a text whose baseline starts at a point, `stretch` times as wide as the font has it.
pub(crate) fn show(
    document: &mut PdfDocument,
    out: &mut Content,
    text: &str,
    (x, y): (f32, f32),
    size: f32,
    weight: TextWeight,
    stretch: f32,
) {
    let mut bytes = Vec::with_capacity(2 * text.len());
    for c in text.chars() {
        let glyph = font::glyph(c);
        document.glyphs.entry(glyph).or_insert(c);
        bytes.extend(glyph.to_be_bytes());
    }
    out.begin_text().set_font(FONT_NAME, size).set_text_matrix([stretch, 0.0, 0.0, -1.0, x, y]);
    if weight == TextWeight::Bold {
        out.set_line_width(size * BOLD_OUTLINE).set_dash_pattern([], 0.0);
        out.set_text_rendering_mode(TextRenderingMode::FillStroke);
    } else {
        out.set_text_rendering_mode(TextRenderingMode::Fill);
    }
    out.show(Str(&bytes)).end_text();
}
