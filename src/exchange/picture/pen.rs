//! Shapes, lines and letters put together as one SVG. It must not know what they mean: only where they stand and their ink.

use super::font;
use super::theme::{Ink, Theme};
use std::collections::BTreeMap;
use std::fmt::Write;

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

/// Draws on a sheet. What has one ink is one path, so that thousands of cells stay a small file.
#[derive(Debug)]
pub(crate) struct Pen {
    theme: Theme,
    width: f32,
    inks: BTreeMap<Ink, String>,
    /// Texts by size (in hundredths) and words: number of their outline.
    texts: BTreeMap<(u32, String), usize>,
    outlines: Vec<String>,
    /// Where texts stand, by ink.
    placed: BTreeMap<Ink, String>,
    id: String,
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

impl Pen {
    /// An empty sheet; `id` begins the name of everything in it that has one, so that several pictures can stand on one page.
    pub(crate) fn new(theme: Theme, width: f32, id: &str) -> Self {
        Self {
            theme,
            width,
            inks: BTreeMap::new(),
            texts: BTreeMap::new(),
            outlines: Vec::new(),
            placed: BTreeMap::new(),
            id: id.chars().filter(char::is_ascii_alphanumeric).collect(),
        }
    }

    fn put(&mut self, ink: Ink, data: &str) {
        self.inks.entry(ink).or_default().push_str(data);
    }

    /// Closed lines and curves about a point: each command of a path with its points, moved there.
    pub(crate) fn path(&mut self, ink: Ink, x: f32, y: f32, steps: &[(char, &[(f32, f32)])]) {
        let mut data = String::new();
        for (command, points) in steps {
            data.push(*command);
            for (i, (dx, dy)) in points.iter().enumerate() {
                let space = if i > 0 { " " } else { "" };
                // Writing to a String cannot fail.
                let _ = write!(data, "{space}{} {}", number(x + dx), number(y + dy));
            }
        }
        self.put(ink, &data);
    }

    /// A box.
    pub(crate) fn rect(&mut self, ink: Ink, x: f32, y: f32, w: f32, h: f32) {
        let (x, y, w, h) = (number(x), number(y), number(w), number(h));
        self.put(ink, &format!("M{x} {y}h{w}v{h}h-{w}z"));
    }

    /// A straight line.
    pub(crate) fn line(&mut self, ink: Ink, x: f32, y: f32, to_x: f32, to_y: f32) {
        let (x, y, to_x, to_y) = (number(x), number(y), number(to_x), number(to_y));
        self.put(ink, &format!("M{x} {y}L{to_x} {to_y}"));
    }

    /// A line through points.
    pub(crate) fn lines(&mut self, ink: Ink, points: &[(f32, f32)], closed: bool) {
        let mut data = String::new();
        for (i, (x, y)) in points.iter().enumerate() {
            let command = if i == 0 { 'M' } else { 'L' };
            // Writing to a String cannot fail.
            let _ = write!(data, "{command}{} {}", number(*x), number(*y));
        }
        if closed {
            data.push('z');
        }
        self.put(ink, &data);
    }

    /// A mark about a point, `r` from its middle to its side.
    pub(crate) fn mark(&mut self, ink: Ink, shape: Shape, x: f32, y: f32, r: f32) {
        match shape {
            Shape::Square => self.rect(ink, x - r * 0.9, y - r * 0.9, r * 1.8, r * 1.8),
            Shape::Diamond => {
                let r = r * 1.2;
                self.lines(ink, &[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], true);
            }
            Shape::Disc => {
                let (left, y, r, d) = (number(x - r), number(y), number(r), number(2.0 * r));
                self.put(ink, &format!("M{left} {y}a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0z"));
            }
            Shape::Up => {
                let r = r * 1.1;
                self.lines(ink, &[(x, y - r), (x + r, y + r * 0.8), (x - r, y + r * 0.8)], true);
            }
            Shape::Down => {
                let r = r * 1.1;
                self.lines(ink, &[(x, y + r), (x + r, y - r * 0.8), (x - r, y - r * 0.8)], true);
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
                let turned = arms.map(|(u, v)| (x + (u - v) * 0.78, y + (u + v) * 0.78));
                self.lines(ink, &turned, true);
            }
        }
    }

    /// A text; nothing for an empty one.
    pub(crate) fn text(&mut self, ink: Ink, anchor: Anchor, x: f32, y: f32, size: f32, text: &str) {
        let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        if text.trim().is_empty() {
            return;
        }
        let wide = font::width(&text, size);
        let x = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - wide / 2.0,
            Anchor::End => x - wide,
        };
        let key = ((size * 100.0).round() as u32, text);
        let index = if let Some(index) = self.texts.get(&key) {
            *index
        } else {
            self.outlines.push(font::outline(&key.1, size));
            self.texts.insert(key, self.outlines.len() - 1);
            self.outlines.len() - 1
        };
        let use_it = format!("<use href=\"#{}t{index}\" x=\"{}\" y=\"{}\"/>", self.id, number(x), number(y));
        self.placed.entry(ink).or_default().push_str(&use_it);
    }

    /// Closed shapes of some inks.
    #[cfg(test)]
    pub(super) fn shapes(&self, which: impl Fn(Ink) -> bool) -> usize {
        self.inks.iter().filter(|(ink, _)| which(**ink)).map(|(_, data)| data.matches('z').count()).sum()
    }

    /// Every letter that is drawn.
    #[cfg(test)]
    pub(super) fn letters(&self) -> std::collections::BTreeSet<char> {
        self.texts.keys().flat_map(|(_, text)| text.chars()).collect()
    }

    /// The finished SVG, so high.
    pub(crate) fn finish(self, height: f32, title: &str, alt: &str) -> String {
        let (w, h, id) = (number(self.width), number(height), &self.id);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
             aria-labelledby=\"{id}title {id}desc\">\n<title id=\"{id}title\">{}</title>\n<desc id=\"{id}desc\">{}</desc>\n",
            escaped(title),
            escaped(alt)
        );
        svg.push_str("<defs>");
        for (i, outline) in self.outlines.iter().enumerate() {
            // Writing to a String cannot fail.
            let _ = write!(svg, "<path id=\"{id}t{i}\" d=\"{outline}\"/>");
        }
        let used = |ink: &Ink| self.inks.contains_key(ink);
        svg.push_str(&self.theme.patterns(id, used));
        svg.push_str("</defs>\n");
        let _ = writeln!(svg, "<path fill=\"{}\" d=\"M0 0h{w}v{h}h-{w}z\"/>", self.theme.paper());
        for (ink, data) in &self.inks {
            let _ = writeln!(svg, "<path {} d=\"{data}\"/>", self.theme.style(*ink, id));
        }
        for (ink, texts) in &self.placed {
            let _ = writeln!(svg, "<g fill=\"{}\">{texts}</g>", self.theme.text(*ink));
        }
        svg.push_str("</svg>\n");
        svg
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
