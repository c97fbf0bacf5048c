//! The shapes of a picture, and its SVG: one path per style, so that thousands of cells stay a small file.

use super::canvas::{escaped, number};
use super::symbol::{Point, Symbol, line, put};
use super::theme::{StyleClass, Theme};
use std::collections::BTreeMap;
use std::fmt::Write;

/// One shape in 32 starts at an absolute position: browsers add relative ones in single precision, and errors grow.
const ABSOLUTE_EVERY: usize = 32;

/// A shape, in hundredths of a CSS pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Item {
    Rect {
        at: Point,
        size: Point,
    },
    Line {
        from: Point,
        to: Point,
    },
    /// An open line through a range of the drawing's points.
    Open {
        first: u32,
        end: u32,
    },
    Symbol {
        symbol: u32,
        at: Point,
    },
}

/// The part of a drawing between two page breaks.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Block {
    top: i32,
    classes: BTreeMap<StyleClass, Vec<Item>>,
    /// Symbols and positions.
    texts: BTreeMap<StyleClass, Vec<(u32, Point)>>,
}

/// What a shape is, for tests of its place.
#[cfg(test)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum BoxKind {
    Text,
    Rect(StyleClass),
    Symbol(StyleClass),
    /// In notation the only shapes with quadratic curves.
    Tie,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drawing {
    pub(super) theme: Theme,
    pub(super) width: f32,
    pub(crate) height: f32,
    id: String,
    symbols: Vec<Symbol>,
    /// Indices of the symbols that are texts.
    texts: Vec<u32>,
    points: Vec<Point>,
    /// At least one.
    blocks: Vec<Block>,
}

impl Drawing {
    pub(super) fn new(theme: Theme, width: f32, id: String) -> Self {
        let (symbols, texts, points) = (Vec::new(), Vec::new(), Vec::new());
        Self { theme, width, height: 0.0, id, symbols, texts, points, blocks: vec![Block::default()] }
    }

    pub(super) fn begin_block(&mut self, top: i32) {
        self.blocks.push(Block { top, ..Block::default() });
    }

    /// The heights at which a page may break, ascending.
    pub(super) fn breaks(&self) -> Vec<f32> {
        self.blocks.iter().skip(1).map(|b| b.top as f32 / 100.0).collect()
    }

    pub(crate) fn width(&self) -> f32 {
        self.width
    }

    pub(super) fn last_block(&self) -> usize {
        self.blocks.len() - 1
    }

    fn last(&mut self) -> &mut Block {
        self.blocks.last_mut().expect("there is a block from the start")
    }

    pub(super) fn put(&mut self, class: StyleClass, item: Item) {
        self.last().classes.entry(class).or_default().push(item);
    }

    pub(super) fn text(&mut self, class: StyleClass, symbol: u32, at: Point) {
        self.last().texts.entry(class).or_default().push((symbol, at));
    }

    pub(super) fn open(&mut self, points: impl Iterator<Item = Point>) -> Item {
        let first = self.points.len() as u32;
        self.points.extend(points);
        Item::Open { first, end: self.points.len() as u32 }
    }

    pub(super) fn add_symbol(&mut self, symbol: Symbol) -> u32 {
        self.symbols.push(symbol);
        self.symbols.len() as u32 - 1
    }

    pub(super) fn add_text(&mut self, outline: Symbol) -> u32 {
        let symbol = self.add_symbol(outline);
        self.texts.push(symbol);
        symbol
    }

    /// The shapes of all blocks by class, in the order of painting.
    fn classes(&self) -> BTreeMap<StyleClass, Vec<&[Item]>> {
        let mut classes: BTreeMap<StyleClass, Vec<&[Item]>> = BTreeMap::new();
        for (class, items) in self.blocks.iter().flat_map(|b| &b.classes) {
            classes.entry(*class).or_default().push(items);
        }
        classes
    }

    /// The number of closed shapes of some classes.
    #[cfg(test)]
    pub(super) fn shapes(&self, which: impl Fn(StyleClass) -> bool) -> usize {
        let closed = |item: &Item| match *item {
            Item::Rect { .. } => 1,
            Item::Line { .. } | Item::Open { .. } => 0,
            Item::Symbol { symbol, .. } => self.symbols[symbol as usize].closed,
        };
        self.classes().iter().filter(|i| which(*i.0)).flat_map(|i| i.1).flat_map(|i| *i).map(closed).sum()
    }

    /// The edges of every text and of every other shape with an area: left, top, right, bottom.
    #[cfg(test)]
    pub(crate) fn boxes(&self) -> Vec<(BoxKind, [f32; 4])> {
        let symbol = |symbol: u32, at: Point| {
            let ((left, top), (right, bottom)) = self.symbols[symbol as usize].corners()?;
            Some([left + at.0, top + at.1, right + at.0, bottom + at.1].map(|x| x as f32 / 100.0))
        };
        let mut boxes = Vec::new();
        for block in &self.blocks {
            for (class, items) in &block.classes {
                boxes.extend(items.iter().filter_map(|item| match *item {
                    Item::Rect { at, size } => {
                        let edges = [at.0, at.1, at.0 + size.0, at.1 + size.1].map(|x| x as f32 / 100.0);
                        Some((BoxKind::Rect(*class), edges))
                    }
                    Item::Symbol { symbol: index, at } => {
                        let is_curved = self.symbols[index as usize].relative().1.contains('q');
                        Some((if is_curved { BoxKind::Tie } else { BoxKind::Symbol(*class) }, symbol(index, at)?))
                    }
                    Item::Line { .. } | Item::Open { .. } => None,
                }));
            }
            let texts = block.texts.values().flatten();
            boxes.extend(texts.filter_map(|(index, at)| Some((BoxKind::Text, symbol(*index, *at)?))));
        }
        boxes
    }

    /// The whole drawing as SVG 1.1.
    pub(crate) fn svg(&self, title: &str, alt: &str) -> String {
        let mut svg = String::with_capacity(1 << 16);
        self.head(&mut svg, "", (0.0, self.height), title, alt);
        self.defs(&mut svg);
        self.paper(&mut svg, (0.0, self.height));
        for (class, items) in self.classes() {
            self.class(&mut svg, class, items.into_iter().flatten());
        }
        let mut texts: BTreeMap<StyleClass, Vec<&(u32, Point)>> = BTreeMap::new();
        for (class, placed) in self.blocks.iter().flat_map(|b| &b.texts) {
            texts.entry(*class).or_default().extend(placed);
        }
        for (class, placed) in texts {
            self.uses(&mut svg, class, placed.into_iter());
        }
        svg.push_str("</svg>\n");
        svg
    }

    /// One SVG per block, for a page that shows them one below the other: the first has the description, and the outlines of texts
    /// that all of them use.
    pub(crate) fn blocks(&self, title: &str, alt: &str) -> Vec<String> {
        let count = self.blocks.len();
        let svg = |(k, block): (usize, &Block)| {
            let top = block.top as f32 / 100.0;
            let end = self.blocks.get(k + 1).map_or(self.height, |p| p.top as f32 / 100.0);
            let mut svg = String::new();
            if k == 0 {
                self.head(&mut svg, "", (top, end - top), title, alt);
                self.defs(&mut svg);
            } else {
                let (name, number) = (format!("{title}, part {} of {count}", k + 1), format!("p{}", k + 1));
                self.head(&mut svg, &number, (top, end - top), &name, "See the description of the first part.");
            }
            self.paper(&mut svg, (top, end - top));
            for (class, items) in &block.classes {
                self.class(&mut svg, *class, items.iter());
            }
            for (class, placed) in &block.texts {
                self.uses(&mut svg, *class, placed.iter());
            }
            svg.push_str("</svg>\n");
            svg
        };
        self.blocks.iter().enumerate().map(svg).collect()
    }

    fn head(&self, svg: &mut String, suffix: &str, (top, height): (f32, f32), title: &str, alt: &str) {
        let (w, h, y, id) = (number(self.width), number(height), number(top), &self.id);
        // Writing to a String cannot fail.
        let _ = write!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 {y} {w} {h}\" role=\"img\" \
             aria-labelledby=\"{id}title{suffix} {id}desc{suffix}\">\n<title id=\"{id}title{suffix}\">{}</title>\n\
             <desc id=\"{id}desc{suffix}\">{}</desc>\n",
            escaped(title),
            escaped(alt)
        );
    }

    fn defs(&self, svg: &mut String) {
        svg.push_str("<defs>");
        for symbol in &self.texts {
            let _ = write!(svg, "<path id=\"{}t{symbol}\" d=\"", self.id);
            let (first, rest, _) = self.symbols[*symbol as usize].relative();
            begin(svg, first, None);
            svg.push_str(rest);
            svg.push_str("\"/>");
        }
        let used = |class: &StyleClass| self.blocks.iter().any(|b| b.classes.contains_key(class));
        svg.push_str(&self.theme.patterns(&self.id, used));
        svg.push_str("</defs>\n");
    }

    fn paper(&self, svg: &mut String, (top, height): (f32, f32)) {
        let (w, h, y) = (number(self.width), number(height), number(top));
        let _ = writeln!(svg, "<path fill=\"{}\" d=\"M0 {y}h{w}v{h}h-{w}z\"/>", self.theme.paper());
    }

    fn uses<'a>(&self, svg: &mut String, class: StyleClass, placed: impl Iterator<Item = &'a (u32, Point)>) {
        let _ = write!(svg, "<g fill=\"{}\">", self.theme.text(class));
        for (symbol, at) in placed {
            let _ = write!(svg, "<use href=\"#{}t{symbol}\" x=\"", self.id);
            coordinate(svg, at.0);
            svg.push_str("\" y=\"");
            coordinate(svg, at.1);
            svg.push_str("\"/>");
        }
        svg.push_str("</g>\n");
    }

    fn class<'a>(&self, svg: &mut String, class: StyleClass, items: impl Iterator<Item = &'a Item>) {
        let _ = write!(svg, "<path {} d=\"", self.theme.style(class, &self.id));
        let mut before: Option<Point> = None;
        for (i, item) in items.enumerate() {
            let from = before.filter(|_| i % ABSOLUTE_EVERY > 0);
            before = Some(match *item {
                Item::Rect { at, size } => {
                    begin(svg, at, from);
                    svg.push('h');
                    put(svg, size.0);
                    svg.push('v');
                    put(svg, size.1);
                    svg.push('h');
                    put(svg, -size.0);
                    svg.push('z');
                    at
                }
                Item::Line { from: start, to } => {
                    begin(svg, start, from);
                    line(svg, start, to);
                    to
                }
                Item::Open { first, end } => {
                    let points = &self.points[first as usize..end as usize];
                    let Some((start, end)) = points.first().zip(points.last()) else { continue };
                    begin(svg, *start, from);
                    points.windows(2).for_each(|p| line(svg, p[0], p[1]));
                    *end
                }
                Item::Symbol { symbol, at } => {
                    let (first, rest, end) = self.symbols[symbol as usize].relative();
                    begin(svg, (at.0 + first.0, at.1 + first.1), from);
                    svg.push_str(rest);
                    (at.0 + end.0, at.1 + end.1)
                }
            });
        }
        svg.push_str("\"/>\n");
    }
}

/// Begins a shape, relative to the end of the one before if `from` is given.
fn begin(svg: &mut String, at: Point, from: Option<Point>) {
    svg.push(if from.is_some() { 'm' } else { 'M' });
    let from = from.unwrap_or_default();
    put(svg, at.0 - from.0);
    put(svg, at.1 - from.1);
}

/// Writes a number as the value of an attribute.
fn coordinate(svg: &mut String, value: i32) {
    let from = svg.len();
    put(svg, value);
    if svg[from..].starts_with(' ') {
        svg.remove(from);
    }
}
