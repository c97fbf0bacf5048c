//! Draws shapes, lines and text on a page.

use super::drawing::{Drawing, Item};
use super::font;
use super::music_font::Glyph;
use super::symbol::{Point, Symbol, hundredths};
use super::theme::{StyleClass, Theme};
use std::collections::{BTreeMap, HashMap};

/// The part of a text that its position refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// The shapes of marks, distinct without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    Square,
    Diamond,
    Disc,
    Up,
    Down,
    Cross,
}

/// Identifies a symbol: its name, and its size or number.
pub(crate) type SymbolKey = (&'static str, i32);

#[derive(Debug)]
pub(crate) struct Canvas {
    drawing: Drawing,
    /// Indices into the drawing's symbols.
    symbols: HashMap<SymbolKey, u32>,
    /// The same for texts, by size in hundredths and text.
    texts: BTreeMap<i32, HashMap<String, u32>>,
}

/// A number with at most two decimals, without trailing zeros.
pub(crate) fn number(x: f32) -> String {
    let hundredths = (f64::from(x) * 100.0).round() as i64;
    let (sign, whole, rest) = (if hundredths < 0 { "-" } else { "" }, hundredths.abs() / 100, hundredths.abs() % 100);
    match rest {
        0 => format!("{sign}{whole}"),
        r if r % 10 == 0 => format!("{sign}{whole}.{}", r / 10),
        r => format!("{sign}{whole}.{r:02}"),
    }
}

/// Text for XML: markup is escaped, and characters that XML 1.0 forbids (section 2.2, Char) are replaced.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

impl Canvas {
    /// `id` is the prefix of all ids in the drawing, so that several drawings can share a page.
    pub(crate) fn new(theme: Theme, width: f32, id: &str) -> Self {
        let id = id.chars().filter(char::is_ascii_alphanumeric).collect();
        Self { drawing: Drawing::new(theme, width, id), symbols: HashMap::new(), texts: BTreeMap::new() }
    }

    /// Allows a page break at a height: whatever was drawn before lies above it, and everything after it below.
    pub(crate) fn allow_break(&mut self, top: f32) {
        self.drawing.begin_block(hundredths(top));
    }

    /// Index of the block that is drawn now, from 0.
    pub(crate) fn block(&self) -> usize {
        self.drawing.last_block()
    }

    fn put(&mut self, class: StyleClass, item: Item) {
        self.drawing.put(class, item);
    }

    /// Draws a symbol, which is made once per key.
    pub(crate) fn symbol(&mut self, class: StyleClass, key: SymbolKey, x: f32, y: f32, make: impl FnOnce(&mut Symbol)) {
        let symbol = *self.symbols.entry(key).or_insert_with(|| {
            let mut symbol = Symbol::default();
            make(&mut symbol);
            self.drawing.add_symbol(symbol)
        });
        self.put(class, Item::Symbol { symbol, at: point(x, y) });
    }

    /// Draws a musical symbol whose origin is at a point.
    pub(crate) fn glyph(&mut self, class: StyleClass, glyph: Glyph, x: f32, y: f32) {
        self.symbol(class, ("glyph", glyph.code() as i32), x, y, |s| s.clone_from(glyph.outline()));
    }

    /// Draws a shape that does not recur.
    pub(crate) fn shape(&mut self, class: StyleClass, x: f32, y: f32, make: impl FnOnce(&mut Symbol)) {
        let mut symbol = Symbol::default();
        make(&mut symbol);
        let symbol = self.drawing.add_symbol(symbol);
        self.put(class, Item::Symbol { symbol, at: point(x, y) });
    }

    pub(crate) fn rect(&mut self, class: StyleClass, x: f32, y: f32, w: f32, h: f32) {
        self.put(class, Item::Rect { at: point(x, y), size: point(w, h) });
    }

    pub(crate) fn line(&mut self, class: StyleClass, x: f32, y: f32, to_x: f32, to_y: f32) {
        self.put(class, Item::Line { from: point(x, y), to: point(to_x, to_y) });
    }

    /// A line through points, with horizontal and vertical segments only.
    pub(crate) fn lines(&mut self, class: StyleClass, points: &[(f32, f32)]) {
        for pair in points.windows(2) {
            debug_assert!(pair[0].0 == pair[1].0 || pair[0].1 == pair[1].1, "other segments are not joined well");
        }
        let item = self.drawing.open(points.iter().map(|p| point(p.0, p.1)));
        self.put(class, item);
    }

    /// `r` is the distance from the centre to a side.
    pub(crate) fn mark(&mut self, class: StyleClass, shape: Shape, x: f32, y: f32, r: f32) {
        let r = hundredths(r);
        let name = match shape {
            Shape::Square => "square",
            Shape::Diamond => "diamond",
            Shape::Disc => "disc",
            Shape::Up => "up",
            Shape::Down => "down",
            Shape::Cross => "cross",
        };
        self.symbol(class, (name, r), x, y, |symbol| mark_outline(symbol, shape, r as f32 / 100.0));
    }

    /// An accent sign: a wedge open to the left, with its half width and half height.
    pub(crate) fn wedge(&mut self, class: StyleClass, x: f32, y: f32, (wide, high): (f32, f32)) {
        let key = ("wedge", hundredths(wide) * 10_000 + hundredths(high));
        self.symbol(class, key, x, y, |s| s.lines(&[(-wide, -high), (wide, 0.0), (-wide, high)], false));
    }

    /// The start of a text that fits a width, with an ellipsis if it was cut.
    pub(crate) fn fitted_text(&mut self, class: StyleClass, x: f32, y: f32, size: f32, text: &str, room: f32) {
        self.text(class, Anchor::Start, x, y, size, &font::fit(text, size, room));
    }

    pub(crate) fn text(&mut self, class: StyleClass, anchor: Anchor, x: f32, y: f32, size: f32, text: &str) {
        if text.contains(char::is_control) {
            let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            return self.text(class, anchor, x, y, size, &text);
        }
        if text.trim().is_empty() {
            return;
        }
        let x = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - font::width(text, size) / 2.0,
            Anchor::End => x - font::width(text, size),
        };
        let texts = self.texts.entry(hundredths(size)).or_default();
        let symbol = if let Some(symbol) = texts.get(text) {
            *symbol
        } else {
            let symbol = self.drawing.add_text(font::outline(text, size));
            texts.insert(text.to_owned(), symbol);
            symbol
        };
        self.drawing.text(class, symbol, point(x, y));
    }

    /// The number of closed shapes of some classes.
    #[cfg(test)]
    pub(super) fn shapes(&self, which: impl Fn(StyleClass) -> bool) -> usize {
        self.drawing.shapes(which)
    }

    #[cfg(test)]
    pub(super) fn texts(&self) -> impl Iterator<Item = &String> {
        self.texts.values().flat_map(HashMap::keys)
    }

    pub(crate) fn finish(mut self, height: f32) -> Drawing {
        self.drawing.height = height;
        self.drawing
    }
}

fn point(x: f32, y: f32) -> Point {
    (hundredths(x), hundredths(y))
}

fn mark_outline(symbol: &mut Symbol, shape: Shape, r: f32) {
    match shape {
        Shape::Square => symbol.rect(-r * 0.9, -r * 0.9, r * 1.8, r * 1.8),
        Shape::Diamond => {
            let r = r * 1.2;
            symbol.lines(&[(0.0, -r), (r, 0.0), (0.0, r), (-r, 0.0)], true);
        }
        Shape::Disc => symbol.ellipse((0.0, 0.0), (r, r), 0.0, false),
        Shape::Up => {
            let r = r * 1.1;
            symbol.lines(&[(0.0, -r), (r, r * 0.8), (-r, r * 0.8)], true);
        }
        Shape::Down => {
            let r = r * 1.1;
            symbol.lines(&[(0.0, r), (r, -r * 0.8), (-r, -r * 0.8)], true);
        }
        Shape::Cross => {
            let (a, b) = (r, r * 0.42);
            let arm = [(-a, -b), (-b, -b), (-b, -a), (b, -a), (b, -b), (a, -b)];
            let arms = [arm, arm.map(|(u, v)| (-u, -v))].concat();
            // Rotated by 45 degrees, so that it differs from the lines of the grid.
            let points: Vec<(f32, f32)> = arms.into_iter().map(|(u, v)| ((u - v) * 0.78, (u + v) * 0.78)).collect();
            symbol.lines(&points, true);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        let rows =
            [(0.0, "0"), (-0.001, "0"), (1.5, "1.5"), (-2.25, "-2.25"), (3.004, "3"), (10.05, "10.05"), (-0.5, "-0.5")];
        for (x, text) in rows {
            assert_eq!(number(x), text);
        }
    }

    #[test]
    fn nothing_that_xml_forbids_gets_through() {
        assert_eq!(escaped("a<b>&\"c'\u{1}\u{0}\u{ffff}\n"), "a&lt;b&gt;&amp;&quot;c&#39;\u{fffd}\u{fffd}\u{fffd} ");
    }
}
