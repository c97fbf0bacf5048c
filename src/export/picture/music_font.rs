//! Musical symbols as outlines of a bundled font, at the size of a staff.

use super::font::TextPen;
use super::symbol::Symbol;
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::DrawSettings;
use skrifa::{FontRef, GlyphId, MetadataProvider};
use std::collections::HashMap;
use std::sync::LazyLock;

/// `Bravura` 1.392, a font of the Standard Music Font Layout (`SMuFL` 1.4), reduced to the symbols that notation uses and renamed, since
/// its licence reserves its name; `font/OFL.txt` is the licence.
static BYTES: &[u8] = include_bytes!("font/TeeterNotation.otf");

static FONT: LazyLock<FontRef<'static>> = LazyLock::new(|| FontRef::new(BYTES).expect("the font is bundled"));

/// From one line of a staff to the next, in CSS pixels.
pub(crate) const SPACE: f32 = 7.0;

/// CSS pixels per font unit: four spaces are an em (`SMuFL` 1.4, "Metrics and glyph registration").
const SCALE: f32 = SPACE * 4.0 / 1000.0;

static OUTLINES: LazyLock<HashMap<u32, Symbol>> = LazyLock::new(|| {
    let glyphs = FONT.outline_glyphs();
    let outline = |(code, glyph): (u32, GlyphId)| {
        let mut pen = TextPen { symbol: Symbol::default(), scale: SCALE, x: 0.0 };
        let settings = DrawSettings::unhinted(Size::unscaled(), LocationRef::default());
        glyphs.get(glyph)?.draw(settings, &mut pen).ok()?;
        Some((code, pen.symbol))
    };
    FONT.charmap().mappings().filter_map(outline).collect()
});

/// A symbol of the font.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Glyph(u32);

/// The edges of a shape, relative to its origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bounds {
    pub(crate) left: f32,
    pub(crate) top: f32,
    pub(crate) right: f32,
    pub(crate) bottom: f32,
}

impl Glyph {
    /// The symbol with a code of `SMuFL`; the font must have it.
    pub(crate) const fn new(code: u32) -> Self {
        Self(code)
    }

    pub(super) fn code(self) -> u32 {
        self.0
    }

    pub(super) fn outline(self) -> &'static Symbol {
        static EMPTY: LazyLock<Symbol> = LazyLock::new(Symbol::default);
        debug_assert!(OUTLINES.contains_key(&self.0), "{:x} is not in the font", self.0);
        OUTLINES.get(&self.0).unwrap_or(&EMPTY)
    }

    pub(crate) fn bounds(self) -> Bounds {
        let ((left, top), (right, bottom)) = self.outline().corners().unwrap_or_default();
        let [left, top, right, bottom] = [left, top, right, bottom].map(|x| x as f32 / 100.0);
        Bounds { left, top, right, bottom }
    }

    pub(crate) fn width(self) -> f32 {
        let bounds = self.bounds();
        bounds.right - bounds.left
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_have_the_sizes_that_the_layout_prescribes() {
        // SMuFL 1.4: a note-head is one space high, and the digits of a meter two spaces, centred at the origin.
        let head = Glyph::new(0xe0a4).bounds();
        assert!((head.bottom - head.top - SPACE).abs() < 0.05, "{head:?}");
        for digit in 0xe080..=0xe089 {
            let digit = Glyph::new(digit).bounds();
            assert!((digit.top + SPACE).abs() < 0.3 && (digit.bottom - SPACE).abs() < 0.3, "{digit:?}");
        }
    }

    #[test]
    fn the_font_has_no_reserved_name() {
        use skrifa::string::StringId;
        for id in [StringId::FAMILY_NAME, StringId::FULL_NAME, StringId::POSTSCRIPT_NAME, StringId::UNIQUE_ID] {
            let names: Vec<String> = FONT.localized_strings(id).map(|s| s.to_string()).collect();
            assert!(!names.is_empty() && names.iter().all(|n| !n.contains("Bravura")), "{names:?}");
        }
        let notice = include_str!("font/OFL.txt");
        assert!(notice.contains("Reserved Font Name") && notice.contains("SIL OPEN FONT LICENSE Version 1.1"));
    }
}
