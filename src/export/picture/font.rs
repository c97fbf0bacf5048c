//! Text as outlines of a bundled font, so that pictures look the same everywhere.

use super::symbol::Symbol;
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};
use std::sync::LazyLock;

/// `DejaVu Sans`, reduced to Latin, Greek, Cyrillic and musical symbols; `font/LICENSE.txt` is its licence.
pub(super) static BYTES: &[u8] = include_bytes!("font/DejaVuSans.ttf");

/// Units per em.
const EM: f32 = 2048.0;

static FONT: LazyLock<FontRef<'static>> = LazyLock::new(|| FontRef::new(BYTES).expect("the font is bundled"));

/// The index of a character's glyph; 0 for one that the font lacks.
pub(super) fn glyph(c: char) -> u16 {
    FONT.charmap().map(c).map_or(0, |id| id.to_u32() as u16)
}

/// What a document says about the font, in thousandths of an em.
pub(super) fn metrics() -> FontMetrics {
    let found = FONT.metrics(Size::new(1000.0), LocationRef::default());
    let bounds = found.bounds.unwrap_or_default();
    FontMetrics {
        ascent: found.ascent,
        descent: found.descent,
        cap_height: found.cap_height.unwrap_or(found.ascent),
        bounds: [bounds.x_min, bounds.y_min, bounds.x_max, bounds.y_max],
    }
}

pub(super) struct FontMetrics {
    pub(super) ascent: f32,
    pub(super) descent: f32,
    pub(super) cap_height: f32,
    /// Left, bottom, right and top of all glyphs.
    pub(super) bounds: [f32; 4],
}

#[cfg(test)]
pub(super) fn has(c: char) -> bool {
    FONT.charmap().map(c).is_some()
}

/// End of the characters whose widths are cached: all of Latin, Greek and Cyrillic.
const CACHED: u32 = 0x530;

/// Widths in font units.
static WIDTHS: LazyLock<Vec<f32>> =
    LazyLock::new(|| (0..CACHED).map(|code| char::from_u32(code).map_or(0.0, advance)).collect());

fn advance(c: char) -> f32 {
    let metrics = FONT.glyph_metrics(Size::unscaled(), LocationRef::default());
    metrics.advance_width(FONT.charmap().map(c).unwrap_or(GlyphId::NOTDEF)).unwrap_or(0.0)
}

/// Width of a text, in the unit of `size`. A character that the font lacks is an empty box.
pub(crate) fn width(text: &str, size: f32) -> f32 {
    let widths = &*WIDTHS;
    text.chars().map(|c| widths.get(c as usize).copied().unwrap_or_else(|| advance(c))).sum::<f32>() * size / EM
}

/// The outline of a text whose baseline starts at the origin.
pub(super) fn outline(text: &str, size: f32) -> Symbol {
    let outlines = FONT.outline_glyphs();
    let mut pen = TextPen { symbol: Symbol::default(), scale: size / EM, x: 0.0 };
    for c in text.chars() {
        let glyph = FONT.charmap().map(c).unwrap_or(GlyphId::NOTDEF);
        if let Some(outline) = outlines.get(glyph) {
            // A malformed glyph leaves a gap.
            let _ = outline.draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut pen);
        }
        pen.x += width(c.encode_utf8(&mut [0; 4]), EM);
    }
    pen.symbol
}

/// The start of a text that fits a width, with an ellipsis if it was cut.
pub(crate) fn fit(text: &str, size: f32, room: f32) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut start = String::new();
    let mut used = width("…", size);
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), size);
        if used > room {
            break;
        }
        start.push(c);
    }
    format!("{}…", start.trim_end())
}

/// Draws outlines in font units into a symbol.
pub(super) struct TextPen {
    pub(super) symbol: Symbol,
    /// The unit of the symbol in font units.
    pub(super) scale: f32,
    /// Of the current glyph's origin, in font units.
    pub(super) x: f32,
}

impl TextPen {
    fn at(&self, x: f32, y: f32) -> (f32, f32) {
        ((x + self.x) * self.scale, -y * self.scale)
    }
}

impl OutlinePen for TextPen {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.symbol.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.symbol.line_to(x, y);
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        self.symbol.quad_to(self.at(cx, cy), self.at(x, y));
    }

    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        self.symbol.cubic_to(self.at(ax, ay), self.at(bx, by), self.at(x, y));
    }

    fn close(&mut self) {
        self.symbol.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_have_outlines_widths_and_fit() {
        assert!(outline("3", 10.0).closed == 1 && outline(" ", 10.0).relative().1.is_empty());
        // DejaVu Sans: the digits are 1303 units of 2048 wide.
        assert!((width("33", 2048.0) - 2606.0).abs() < 1e-3);
        assert_eq!(fit("winch", 10.0, 100.0), "winch");
        let cut = fit("a very long name of a layer", 10.0, 60.0);
        assert!(cut.ends_with('…') && width(&cut, 10.0) <= 60.0, "{cut}");
        assert!(has('…') && has('×') && has('é') && has('Ж') && !has('漢'));
    }
}
