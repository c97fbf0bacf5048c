//! What is drawn, shape by shape, and that as SVG: one path for everything of one ink, so that thousands of cells stay a small
//! file. It must not know what the shapes mean.

use super::pen::{escaped, number};
use super::stamp::{Point, Stamp, line, put};
use super::theme::{Ink, Theme};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Shapes that begin relative to the one before, until one begins at a place of its own again: a browser adds up in single
/// precision.
const RELATIVE: usize = 32;

/// Something of one ink, in hundredths of a CSS pixel.
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
    /// An open line through these of the drawing's points.
    Open {
        first: u32,
        end: u32,
    },
    /// A stamp that is drawn in many places.
    Stamp {
        stamp: u32,
        at: Point,
    },
    /// A stamp that is drawn in this one.
    Once {
        stamp: u32,
        at: Point,
    },
}

/// What stands between two places where a page may be turned.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Part {
    top: i32,
    pub(super) inks: BTreeMap<Ink, Vec<Item>>,
    /// Stamps of texts and where they stand, by ink.
    pub(super) texts: BTreeMap<Ink, Vec<(u32, Point)>>,
}

/// A finished drawing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drawing {
    pub(super) theme: Theme,
    pub(super) width: f32,
    pub(super) height: f32,
    id: String,
    pub(super) stamps: Vec<Stamp>,
    /// Which of them are texts.
    texts: Vec<u32>,
    pub(super) points: Vec<Point>,
    pub(super) parts: Vec<Part>,
}

impl Drawing {
    pub(super) fn new(theme: Theme, width: f32, id: String) -> Self {
        let (stamps, texts, points) = (Vec::new(), Vec::new(), Vec::new());
        Self { theme, width, height: 0.0, id, stamps, texts, points, parts: vec![Part::default()] }
    }

    pub(super) fn part(&mut self, top: i32) {
        self.parts.push(Part { top, ..Part::default() });
    }

    fn last(&mut self) -> &mut Part {
        self.parts.last_mut().expect("there is a part from the start")
    }

    pub(super) fn put(&mut self, ink: Ink, item: Item) {
        self.last().inks.entry(ink).or_default().push(item);
    }

    pub(super) fn text(&mut self, ink: Ink, stamp: u32, at: Point) {
        self.last().texts.entry(ink).or_default().push((stamp, at));
    }

    pub(super) fn open(&mut self, points: impl Iterator<Item = Point>) -> Item {
        let first = self.points.len() as u32;
        self.points.extend(points);
        Item::Open { first, end: self.points.len() as u32 }
    }

    pub(super) fn keep(&mut self, stamp: Stamp) -> u32 {
        self.stamps.push(stamp);
        self.stamps.len() as u32 - 1
    }

    pub(super) fn keep_text(&mut self, stamp: Stamp) -> u32 {
        let stamp = self.keep(stamp);
        self.texts.push(stamp);
        stamp
    }

    /// Every ink's shapes, from all parts, in the order of painting.
    pub(super) fn inks(&self) -> BTreeMap<Ink, Vec<&[Item]>> {
        let mut inks: BTreeMap<Ink, Vec<&[Item]>> = BTreeMap::new();
        for (ink, items) in self.parts.iter().flat_map(|p| &p.inks) {
            inks.entry(*ink).or_default().push(items);
        }
        inks
    }

    /// Closed shapes of some inks.
    #[cfg(test)]
    pub(super) fn shapes(&self, which: impl Fn(Ink) -> bool) -> usize {
        let closed = |item: &Item| match *item {
            Item::Rect { .. } => 1,
            Item::Line { .. } | Item::Open { .. } => 0,
            Item::Stamp { stamp, .. } | Item::Once { stamp, .. } => self.stamps[stamp as usize].closed(),
        };
        self.inks().iter().filter(|i| which(*i.0)).flat_map(|i| i.1).flat_map(|i| *i).map(closed).sum()
    }

    /// The drawing as SVG 1.1, whole and self-contained.
    pub(crate) fn svg(&self, title: &str, alt: &str) -> String {
        let mut svg = String::with_capacity(1 << 16);
        self.head(&mut svg, "", (0.0, self.height), title, alt);
        self.defs(&mut svg);
        self.paper(&mut svg, (0.0, self.height));
        for (ink, items) in self.inks() {
            self.ink(&mut svg, ink, items.into_iter().flatten());
        }
        let mut texts: BTreeMap<Ink, Vec<&(u32, Point)>> = BTreeMap::new();
        for (ink, placed) in self.parts.iter().flat_map(|p| &p.texts) {
            texts.entry(*ink).or_default().extend(placed);
        }
        for (ink, placed) in texts {
            self.uses(&mut svg, ink, placed.into_iter());
        }
        svg.push_str("</svg>\n");
        svg
    }

    /// The drawing as one SVG for each of its parts, to stand one below the other on one page: the first has the words, and the
    /// outlines that all of them use.
    pub(crate) fn blocks(&self, title: &str, alt: &str) -> Vec<String> {
        let count = self.parts.len();
        let block = |(k, part): (usize, &Part)| {
            let top = part.top as f32 / 100.0;
            let end = self.parts.get(k + 1).map_or(self.height, |p| p.top as f32 / 100.0);
            let mut svg = String::new();
            if k == 0 {
                self.head(&mut svg, "", (top, end - top), title, alt);
                self.defs(&mut svg);
            } else {
                let (name, number) = (format!("{title}, part {} of {count}", k + 1), format!("p{}", k + 1));
                self.head(&mut svg, &number, (top, end - top), &name, "It is described in its first part.");
            }
            self.paper(&mut svg, (top, end - top));
            for (ink, items) in &part.inks {
                self.ink(&mut svg, *ink, items.iter());
            }
            for (ink, placed) in &part.texts {
                self.uses(&mut svg, *ink, placed.iter());
            }
            svg.push_str("</svg>\n");
            svg
        };
        self.parts.iter().enumerate().map(block).collect()
    }

    fn head(&self, svg: &mut String, which: &str, (top, height): (f32, f32), title: &str, alt: &str) {
        let (w, h, y, id) = (number(self.width), number(height), number(top), &self.id);
        // Writing to a String cannot fail.
        let _ = write!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 {y} {w} {h}\" role=\"img\" \
             aria-labelledby=\"{id}title{which} {id}desc{which}\">\n<title id=\"{id}title{which}\">{}</title>\n\
             <desc id=\"{id}desc{which}\">{}</desc>\n",
            escaped(title),
            escaped(alt)
        );
    }

    fn defs(&self, svg: &mut String) {
        svg.push_str("<defs>");
        for stamp in &self.texts {
            let _ = write!(svg, "<path id=\"{}t{stamp}\" d=\"", self.id);
            let (first, rest, _) = self.stamps[*stamp as usize].relative();
            begin(svg, first, None);
            svg.push_str(rest);
            svg.push_str("\"/>");
        }
        let used = |ink: &Ink| self.parts.iter().any(|p| p.inks.contains_key(ink));
        svg.push_str(&self.theme.patterns(&self.id, used));
        svg.push_str("</defs>\n");
    }

    fn paper(&self, svg: &mut String, (top, height): (f32, f32)) {
        let (w, h, y) = (number(self.width), number(height), number(top));
        let _ = writeln!(svg, "<path fill=\"{}\" d=\"M0 {y}h{w}v{h}h-{w}z\"/>", self.theme.paper());
    }

    fn uses<'a>(&self, svg: &mut String, ink: Ink, placed: impl Iterator<Item = &'a (u32, Point)>) {
        let _ = write!(svg, "<g fill=\"{}\">", self.theme.text(ink));
        for (stamp, at) in placed {
            let _ = write!(svg, "<use href=\"#{}t{stamp}\" x=\"", self.id);
            coordinate(svg, at.0);
            svg.push_str("\" y=\"");
            coordinate(svg, at.1);
            svg.push_str("\"/>");
        }
        svg.push_str("</g>\n");
    }

    fn ink<'a>(&self, svg: &mut String, ink: Ink, items: impl Iterator<Item = &'a Item>) {
        let _ = write!(svg, "<path {} d=\"", self.theme.style(ink, &self.id));
        let mut before: Option<Point> = None;
        for (i, item) in items.enumerate() {
            let pen = before.filter(|_| i % RELATIVE > 0);
            let end = match *item {
                Item::Rect { at, size } => {
                    begin(svg, at, pen);
                    svg.push('h');
                    put(svg, size.0);
                    svg.push('v');
                    put(svg, size.1);
                    svg.push('h');
                    put(svg, -size.0);
                    svg.push('z');
                    at
                }
                Item::Line { from, to } => {
                    begin(svg, from, pen);
                    line(svg, from, to);
                    to
                }
                Item::Open { first, end } => {
                    let points = &self.points[first as usize..end as usize];
                    let Some((start, end)) = points.first().zip(points.last()) else { continue };
                    begin(svg, *start, pen);
                    points.windows(2).for_each(|p| line(svg, p[0], p[1]));
                    *end
                }
                Item::Stamp { stamp, at } | Item::Once { stamp, at } => {
                    let (first, rest, end) = self.stamps[stamp as usize].relative();
                    begin(svg, (at.0 + first.0, at.1 + first.1), pen);
                    svg.push_str(rest);
                    (at.0 + end.0, at.1 + end.1)
                }
            };
            before = Some(end);
        }
        svg.push_str("\"/>\n");
    }
}

/// Begins a shape: relative to where the pen is, or at a place of its own.
fn begin(svg: &mut String, at: Point, pen: Option<Point>) {
    let from = pen.unwrap_or((0, 0));
    svg.push(if pen.is_some() { 'm' } else { 'M' });
    put(svg, at.0 - from.0);
    put(svg, at.1 - from.1);
}

/// A number as the whole of an attribute.
fn coordinate(svg: &mut String, value: i32) {
    let from = svg.len();
    put(svg, value);
    if svg[from..].starts_with(' ') {
        svg.remove(from);
    }
}
