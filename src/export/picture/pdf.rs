//! Pictures as PDF: the shapes of the SVG on pages of A4, broken between the lines of the picture.

mod document;
mod text;

pub(crate) use document::PdfDocument;
pub(crate) use text::{TextWeight, show};

use super::Picture;
use crate::notation::FormatError;
use pdf_writer::Content;
use pdf_writer::types::LineCapStyle;
use resvg::tiny_skia::{Path, PathSegment, Transform};
use resvg::usvg::{self, Group, Node, Paint, PaintOrder};

/// A4 and its margin, in points.
const PAGE: (f32, f32) = (595.28, 841.89);
const MARGIN: f32 = 34.0;
/// Points per CSS pixel, if the width of the page allows.
const POINTS: f32 = 0.75;
/// Maximum number of tiles of a hatching in one shape.
const MAX_TILES: i32 = 20_000;

/// The picture as PDF 1.7, with as many pages as its height needs. A picture that is wider than a page is scaled down.
///
/// # Errors
/// [`FormatError`] if the SVG cannot be drawn.
pub fn pdf(picture: &Picture) -> Result<Vec<u8>, FormatError> {
    let whole = VectorPicture::new(picture)?;
    let (width, _) = whole.size();
    let scale = POINTS.min((PAGE.0 - 2.0 * MARGIN) / width);
    let mut document = PdfDocument::new();
    for (top, bottom) in whole.parts((PAGE.1 - 2.0 * MARGIN) / scale) {
        let mut out = Content::new();
        // PDF counts upwards from the lower edge.
        out.transform([scale, 0.0, 0.0, -scale, MARGIN, PAGE.1 - MARGIN]);
        whole.draw(&mut out, (top, bottom));
        document.add_page(PAGE, out);
    }
    Ok(document.finish(&picture.title))
}

/// A picture whose shapes can be put on pages.
pub(crate) struct VectorPicture {
    tree: usvg::Tree,
    width: f32,
    height: f32,
    breaks: Vec<f32>,
}

impl VectorPicture {
    /// # Errors
    /// [`FormatError`] if the SVG cannot be drawn.
    pub(crate) fn new(picture: &Picture) -> Result<Self, FormatError> {
        let tree = usvg::Tree::from_str(&picture.svg(), &usvg::Options::default());
        let tree = tree.map_err(|e| FormatError::new("", e.to_string()))?;
        let drawing = &picture.drawing;
        Ok(Self { tree, width: drawing.width, height: drawing.height, breaks: drawing.breaks() })
    }

    /// Width and height in CSS pixels.
    pub(crate) fn size(&self) -> (f32, f32) {
        (self.width, self.height)
    }

    /// The upper and lower edges of its parts, none higher than `room`: as many whole lines in each as fit.
    pub(crate) fn parts(&self, room: f32) -> Vec<(f32, f32)> {
        pages(&self.breaks, self.height, room)
    }

    /// The upper and lower edges of its lines; a line that is higher than `room` is cut.
    pub(crate) fn lines(&self, room: f32) -> Vec<(f32, f32)> {
        let edges: Vec<f32> = [0.0].into_iter().chain(self.breaks.iter().copied()).chain([self.height]).collect();
        let cut = |line: &[f32]| {
            let top = line[0];
            pages(&[], line[1] - top, room).into_iter().map(move |(from, to)| (top + from, top + to))
        };
        edges.windows(2).flat_map(cut).collect()
    }

    /// Draws what lies between two heights, with the upper one at the origin.
    pub(crate) fn draw(&self, out: &mut Content, (top, bottom): (f32, f32)) {
        out.save_state();
        out.transform([1.0, 0.0, 0.0, 1.0, 0.0, -top]);
        out.rect(0.0, top, self.width, bottom - top).clip_nonzero().end_path();
        draw(out, self.tree.root(), (top, bottom));
        out.restore_state();
    }
}

/// The upper and lower edges of the pages: as many whole lines on each as fit; a line higher than a page is cut.
fn pages(breaks: &[f32], height: f32, room: f32) -> Vec<(f32, f32)> {
    let mut pages = Vec::new();
    let mut top = 0.0;
    while height - top > 0.5 {
        let end = breaks.iter().copied().chain([height]).rfind(|b| *b > top + 0.5 && *b <= top + room);
        let end = end.unwrap_or((top + room).min(height));
        pages.push((top, end));
        top = end;
    }
    pages
}

/// Draws what reaches into the heights from `top` to `bottom`.
fn draw(out: &mut Content, group: &Group, (top, bottom): (f32, f32)) {
    for node in group.children() {
        let bounds = node.abs_stroke_bounding_box();
        if bounds.bottom() < top || bounds.top() > bottom {
            continue;
        }
        match node {
            Node::Group(group) => draw(out, group, (top, bottom)),
            Node::Path(path) => shape(out, path, path.abs_transform()),
            Node::Image(_) | Node::Text(_) => {}
        }
    }
}

fn shape(out: &mut Content, path: &usvg::Path, transform: Transform) {
    let Some(data) = path.data().clone().transform(transform) else { return };
    if let Some(fill) = path.fill() {
        match fill.paint() {
            Paint::Color(colour) => {
                let [r, g, b] = channels(*colour);
                out.set_fill_rgb(r, g, b);
                outline(out, &data);
                match fill.rule() {
                    usvg::FillRule::NonZero => out.fill_nonzero(),
                    usvg::FillRule::EvenOdd => out.fill_even_odd(),
                };
            }
            Paint::Pattern(pattern) => {
                out.save_state();
                outline(out, &data);
                out.clip_nonzero().end_path();
                tiles(out, pattern, &data);
                out.restore_state();
            }
            Paint::LinearGradient(_) | Paint::RadialGradient(_) => {}
        }
    }
    if let Some(stroke) = path.stroke()
        && let Paint::Color(colour) = stroke.paint()
    {
        let [r, g, b] = channels(*colour);
        out.set_stroke_rgb(r, g, b)
            .set_line_width(stroke.width().get() * transform.sx)
            .set_line_cap(LineCapStyle::ButtCap);
        let dashes = stroke.dasharray().unwrap_or_default();
        out.set_dash_pattern(dashes.iter().copied(), stroke.dashoffset());
        outline(out, &data);
        out.stroke();
    }
    debug_assert!(path.paint_order() == PaintOrder::FillAndStroke, "pictures fill first");
}

/// Fills the clipped area of a shape with the tiles of a hatching.
fn tiles(out: &mut Content, pattern: &usvg::Pattern, data: &Path) {
    let (tile, area) = (pattern.rect(), data.bounds());
    let first = |from: f32, at: f32, step: f32| ((from - at) / step).floor() as i32;
    let columns = first(area.left(), tile.x(), tile.width())..=first(area.right(), tile.x(), tile.width());
    let rows = first(area.top(), tile.y(), tile.height())..=first(area.bottom(), tile.y(), tile.height());
    for (k, (row, column)) in rows.flat_map(|r| columns.clone().map(move |c| (r, c))).enumerate() {
        if k as i32 > MAX_TILES {
            return;
        }
        let (x, y) = (column as f32 * tile.width(), row as f32 * tile.height());
        for node in pattern.root().children() {
            if let Node::Path(path) = node {
                shape(out, path, path.abs_transform().post_translate(x, y));
            }
        }
    }
}

fn channels(colour: usvg::Color) -> [f32; 3] {
    [colour.red, colour.green, colour.blue].map(|c| f32::from(c) / 255.0)
}

fn outline(out: &mut Content, data: &Path) {
    let mut last = (0.0, 0.0);
    for segment in data.segments() {
        match segment {
            PathSegment::MoveTo(p) => {
                out.move_to(p.x, p.y);
                last = (p.x, p.y);
            }
            PathSegment::LineTo(p) => {
                out.line_to(p.x, p.y);
                last = (p.x, p.y);
            }
            PathSegment::QuadTo(c, p) => {
                // The same curve as a cubic one.
                let towards = |from: f32, to: f32| from + (to - from) * 2.0 / 3.0;
                let (a, b) = ((towards(last.0, c.x), towards(last.1, c.y)), (towards(p.x, c.x), towards(p.y, c.y)));
                out.cubic_to(a.0, a.1, b.0, b.1, p.x, p.y);
                last = (p.x, p.y);
            }
            PathSegment::CubicTo(a, b, p) => {
                out.cubic_to(a.x, a.y, b.x, b.y, p.x, p.y);
                last = (p.x, p.y);
            }
            PathSegment::Close => {
                out.close_path();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_break_between_lines_where_they_can() {
        assert_eq!(pages(&[100.0, 200.0, 300.0], 380.0, 250.0), [(0.0, 200.0), (200.0, 380.0)]);
        assert_eq!(pages(&[], 600.0, 250.0), [(0.0, 250.0), (250.0, 500.0), (500.0, 600.0)]);
        assert_eq!(pages(&[100.0], 90.0, 250.0), [(0.0, 90.0)]);
    }
}
