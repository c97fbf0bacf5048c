//! Draws shapes, lines and text.

use super::drawing::{Drawing, Item};
use super::font;
use super::symbol::{Point, Symbol, hundredths};
use super::theme::{StyleClass, Theme};
use std::collections::{BTreeMap, HashMap};

/// Which side of a text its place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// Its start.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// The form of a mark, told apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    Square,
    Diamond,
    Disc,
    Up,
    Down,
    Cross,
}

/// What a symbol is known by: its kind and its size or number.
pub(crate) type Key = (&'static str, i32);

/// Draws on a page.
#[derive(Debug)]
pub(crate) struct Canvas {
    drawing: Drawing,
    /// Number of the symbol of a key.
    symbols: HashMap<Key, u32>,
    /// By size (in hundredths) and words: number of the text's symbol.
    texts: BTreeMap<i32, HashMap<String, u32>>,
}

/// A number with at most two decimals, as short as it can be.
pub(crate) fn number(x: f32) -> String {
    let hundredths = (f64::from(x) * 100.0).round() as i64;
    let (sign, whole, rest) = (if hundredths < 0 { "-" } else { "" }, hundredths.abs() / 100, hundredths.abs() % 100);
    match rest {
        0 => format!("{sign}{whole}"),
        r if r % 10 == 0 => format!("{sign}{whole}.{}", r / 10),
        r => format!("{sign}{whole}.{r:02}"),
    }
}

/// Text for XML: what would be markup written as references, control characters and other letters that XML 1.0 forbids
/// (section 2.2, Char) replaced.
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
    /// An empty page; `id` begins the name of everything in it that has one, so that several pictures can stand on one page.
    pub(crate) fn new(theme: Theme, width: f32, id: &str) -> Self {
        let id = id.chars().filter(char::is_ascii_alphanumeric).collect();
        Self { drawing: Drawing::new(theme, width, id), symbols: HashMap::new(), texts: BTreeMap::new() }
    }

    /// What is drawn from here on stands below a height, all before above it: a page may be turned here.
    pub(crate) fn part(&mut self, top: f32) {
        self.drawing.part(hundredths(top));
    }

    fn put(&mut self, class: StyleClass, item: Item) {
        self.drawing.put(class, item);
    }

    /// A shape about a point that is made once for its key.
    pub(crate) fn symbol(&mut self, class: StyleClass, key: Key, x: f32, y: f32, make: impl FnOnce(&mut Symbol)) {
        let symbol = *self.symbols.entry(key).or_insert_with(|| {
            let mut symbol = Symbol::default();
            make(&mut symbol);
            self.drawing.keep(symbol)
        });
        self.put(class, Item::Symbol { symbol, at: point(x, y) });
    }

    /// A shape about a point that is drawn only here.
    pub(crate) fn once(&mut self, class: StyleClass, x: f32, y: f32, make: impl FnOnce(&mut Symbol)) {
        let mut symbol = Symbol::default();
        make(&mut symbol);
        let symbol = self.drawing.keep(symbol);
        self.put(class, Item::Symbol { symbol, at: point(x, y) });
    }

    /// A box.
    pub(crate) fn rect(&mut self, class: StyleClass, x: f32, y: f32, w: f32, h: f32) {
        self.put(class, Item::Rect { at: point(x, y), size: point(w, h) });
    }

    /// A straight line.
    pub(crate) fn line(&mut self, class: StyleClass, x: f32, y: f32, to_x: f32, to_y: f32) {
        self.put(class, Item::Line { from: point(x, y), to: point(to_x, to_y) });
    }

    /// A line through points.
    pub(crate) fn lines(&mut self, class: StyleClass, points: &[(f32, f32)]) {
        for pair in points.windows(2) {
            debug_assert!(
                pair[0].0 == pair[1].0 || pair[0].1 == pair[1].1,
                "only upright and level lines are joined well"
            );
        }
        let item = self.drawing.open(points.iter().map(|p| point(p.0, p.1)));
        self.put(class, item);
    }

    /// A mark about a point, `r` from its middle to its side.
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
        self.symbol(class, (name, r), x, y, |symbol| outline(symbol, shape, r as f32 / 100.0));
    }

    /// The sign of an accent, a wedge open to the left, its middle at a point, from the middle to its ends so much.
    pub(crate) fn wedge(&mut self, class: StyleClass, x: f32, y: f32, (wide, high): (f32, f32)) {
        let key = ("wedge", hundredths(wide) * 10_000 + hundredths(high));
        self.symbol(class, key, x, y, |s| s.lines(&[(-wide, -high), (wide, 0.0), (-wide, high)], false));
    }

    /// A text; nothing for an empty one.
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
            let symbol = self.drawing.keep_text(font::outline(text, size));
            texts.insert(text.to_owned(), symbol);
            symbol
        };
        self.drawing.text(class, symbol, point(x, y));
    }

    /// Closed shapes of some classes.
    #[cfg(test)]
    pub(super) fn shapes(&self, which: impl Fn(StyleClass) -> bool) -> usize {
        self.drawing.shapes(which)
    }

    /// Every letter that is drawn.
    #[cfg(test)]
    pub(super) fn letters(&self) -> std::collections::BTreeSet<char> {
        self.texts.values().flat_map(HashMap::keys).flat_map(|text| text.chars()).collect()
    }

    /// The finished drawing, so high.
    pub(crate) fn finish(mut self, height: f32) -> Drawing {
        self.drawing.height = height;
        self.drawing
    }
}

fn point(x: f32, y: f32) -> Point {
    (hundredths(x), hundredths(y))
}

fn outline(symbol: &mut Symbol, shape: Shape, r: f32) {
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
            let arms = [
                (-a, -b),
                (-b, -b),
                (-b, -a),
                (b, -a),
                (b, -b),
                (a, -b),
                (a, b),
                (b, b),
                (b, a),
                (-b, a),
                (-b, b),
                (-a, b),
            ];
            // Turned by an eighth, so that it is no plus sign on the grid's lines.
            symbol.lines(&arms.map(|(u, v)| ((u - v) * 0.78, (u + v) * 0.78)), true);
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
