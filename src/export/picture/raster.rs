//! A drawing as rows of pixels, band by band, so that a tall picture needs little memory. It must not know any file format.
//!
//! Upright and level lines and boxes are covered exactly. Other shapes are covered by tiny-skia once for each place within a pixel,
//! in quarters of it, and that cover is laid down wherever the shape stands.

use super::drawing::{Drawing, Item};
use super::stamp::{Point, Stamp, Step};
use super::theme::{Fill, Ink, Look};
use resvg::tiny_skia::{FillRule, Mask, Path, PathBuilder, Stroke, Transform};
use std::collections::HashMap;

/// Rows of a band.
const BAND: usize = 128;
/// Places within a pixel, each way.
const PLACES: i32 = 4;

/// Where a shape covers pixels, and how much, from a pixel on.
struct Cover {
    left: i32,
    top: i32,
    width: usize,
    data: Vec<u8>,
}

/// A stamp's cover: the stamp, the bits of its stroke's width (0 for what is inside), its place within a pixel.
type CoverKey = (u32, u32, u8, u8);

/// Something to be painted.
#[derive(Clone, Copy)]
struct Task<'a> {
    look: Look,
    item: &'a Item,
}

/// Whether a drawing has no ink that this cannot paint.
pub(super) fn can(drawing: &Drawing) -> bool {
    drawing.parts.iter().flat_map(|p| p.inks.keys()).all(|ink| !matches!(ink, Ink::Hatch(_)))
}

/// Paints a drawing, so many pixels wide and high, each of `C` channels (1 for grey), and hands out its bands from the top.
///
/// # Errors
/// What the receiver of the bands returns.
pub(super) fn bands<const C: usize, E>(
    drawing: &Drawing,
    (w, h): (usize, usize),
    mut receive: impl FnMut(&[u8]) -> Result<(), E>,
) -> Result<(), E> {
    let scale = (w as f32 / drawing.width, h as f32 / drawing.height);
    let mut painter = Painter { drawing, scale, covers: HashMap::new() };
    // Texts are stamps that come last.
    let texts: Vec<(Ink, Item)> = texts(drawing);
    let mut tasks: Vec<Task<'_>> = Vec::new();
    for (ink, items) in drawing.inks() {
        let look = drawing.theme.look(ink);
        tasks.extend(items.into_iter().flatten().map(|item| Task { look, item }));
    }
    tasks.extend(texts.iter().map(|(ink, item)| {
        let look = Look { fill: Fill::Colour(drawing.theme.text(*ink)), stroke: None };
        Task { look, item }
    }));
    let count = h.div_ceil(BAND);
    let mut by_band: Vec<Vec<u32>> = vec![Vec::new(); count];
    for (i, task) in tasks.iter().enumerate() {
        let (top, end) = painter.reach(task);
        let band = |y: f32| ((y / BAND as f32).floor().max(0.0) as usize).min(count - 1);
        for of in &mut by_band[band(top)..=band(end)] {
            of.push(i as u32);
        }
    }
    let paper = channels::<C>(drawing.theme.paper());
    let mut band = Band::<C> { width: w, top: 0, data: Vec::new() };
    for (k, inside) in by_band.iter().enumerate() {
        let rows = BAND.min(h - k * BAND);
        band.top = (k * BAND) as i32;
        band.data.clear();
        band.data.resize(rows * w * C, paper[0]);
        if C > 1 {
            band.data.chunks_exact_mut(C).for_each(|p| p.copy_from_slice(&paper));
        }
        for i in inside {
            painter.paint(&mut band, tasks[*i as usize]);
        }
        receive(&band.data)?;
    }
    Ok(())
}

fn texts(drawing: &Drawing) -> Vec<(Ink, Item)> {
    let mut all: Vec<(Ink, Item)> = Vec::new();
    for (ink, placed) in drawing.parts.iter().flat_map(|p| &p.texts) {
        all.extend(placed.iter().map(|(stamp, at)| (*ink, Item::Stamp { stamp: *stamp, at: *at })));
    }
    all.sort_by_key(|(ink, _)| *ink);
    all
}

/// The channels of a colour written `#rrggbb`; the first one alone where all are the same.
fn channels<const C: usize>(colour: &str) -> [u8; C] {
    std::array::from_fn(|i| colour.get(1 + 2 * i..3 + 2 * i).and_then(|s| u8::from_str_radix(s, 16).ok()).unwrap_or(0))
}

struct Painter<'a> {
    drawing: &'a Drawing,
    scale: (f32, f32),
    covers: HashMap<CoverKey, Cover>,
}

impl Painter<'_> {
    fn pixels(&self, p: Point) -> (f32, f32) {
        (p.0 as f32 / 100.0 * self.scale.0, p.1 as f32 / 100.0 * self.scale.1)
    }

    /// First and last row that something may reach, with a little to spare.
    fn reach(&self, task: &Task<'_>) -> (f32, f32) {
        let (top, end) = match *task.item {
            Item::Rect { at, size } => (at.1, at.1 + size.1),
            Item::Line { from, to } => (from.1.min(to.1), from.1.max(to.1)),
            Item::Open { first, end } => {
                let ys = || self.drawing.points[first as usize..end as usize].iter().map(|p| p.1);
                (ys().min().unwrap_or(0), ys().max().unwrap_or(0))
            }
            Item::Stamp { stamp, at } | Item::Once { stamp, at } => {
                let (top, end) = self.drawing.stamps[stamp as usize].reach();
                (at.1 + top, at.1 + end)
            }
        };
        // The corner of a stroked outline stands out by at most four times half its width.
        let more = task.look.stroke.map_or(0.0, |s| 2.0 * s.1) * self.scale.1 + 1.0;
        (top as f32 / 100.0 * self.scale.1 - more, end as f32 / 100.0 * self.scale.1 + more)
    }

    fn paint<const C: usize>(&mut self, band: &mut Band<C>, task: Task<'_>) {
        let fill = if let Fill::Colour(colour) = task.look.fill { Some(channels::<C>(colour)) } else { None };
        let stroke = task.look.stroke.map(|(colour, width, dash)| (channels::<C>(colour), width, dash));
        match *task.item {
            Item::Rect { at, size } => {
                let ((x, y), (to_x, to_y)) = (self.pixels(at), self.pixels((at.0 + size.0, at.1 + size.1)));
                if let Some(colour) = fill {
                    band.rect((x.min(to_x), y.min(to_y), x.max(to_x), y.max(to_y)), colour);
                }
                if let Some((colour, width, None)) = stroke {
                    let corners = [(0, 0), (size.0, 0), size, (0, size.1), (0, 0), (size.0, 0)];
                    let points: Vec<Point> = corners.iter().map(|c| (at.0 + c.0, at.1 + c.1)).collect();
                    self.open(band, &points[..5], (colour, width));
                }
            }
            Item::Line { from, to } => match stroke {
                Some((colour, width, None)) => self.open(band, &[from, to], (colour, width)),
                Some((colour, width, Some(dash))) => self.dashed(band, from, to, (colour, width), dash),
                None => {}
            },
            Item::Open { first, end } => {
                if let Some((colour, width, _)) = stroke {
                    let drawing = self.drawing;
                    self.open(band, &drawing.points[first as usize..end as usize], (colour, width));
                }
            }
            Item::Stamp { stamp, at } => {
                let (x, y) = self.pixels(at);
                let quarters = |v: f32| (v * PLACES as f32).round() as i32;
                let (x, y) = (quarters(x), quarters(y));
                let place = (x.rem_euclid(PLACES) as u8, y.rem_euclid(PLACES) as u8);
                let (x, y) = (x.div_euclid(PLACES), y.div_euclid(PLACES));
                let part = |n: u8| f32::from(n) / PLACES as f32;
                let inks = [fill.map(|c| (c, 0.0)), stroke.map(|s| (s.0, s.1))];
                for (colour, width) in inks.into_iter().flatten() {
                    let key = (stamp, width.to_bits(), place.0, place.1);
                    let (drawing, scale) = (self.drawing, self.scale);
                    let cover = self.covers.entry(key).or_insert_with(|| {
                        let shift = Transform::from_row(scale.0, 0.0, 0.0, scale.1, part(place.0), part(place.1));
                        cover(&drawing.stamps[stamp as usize], width, scale, shift)
                    });
                    band.lay(cover, (x, y), colour);
                }
            }
            Item::Once { stamp, at } => {
                let (x, y) = self.pixels(at);
                let shift = Transform::from_row(self.scale.0, 0.0, 0.0, self.scale.1, x, y);
                let inks = [fill.map(|c| (c, 0.0)), stroke.map(|s| (s.0, s.1))];
                for (colour, width) in inks.into_iter().flatten() {
                    band.lay(&cover(&self.drawing.stamps[stamp as usize], width, self.scale, shift), (0, 0), colour);
                }
            }
        }
    }

    /// Upright and level lines one after the other, the level ones drawn out to fill the corners; other lines as outlines.
    fn open<const C: usize>(&self, band: &mut Band<C>, points: &[Point], (colour, width): ([u8; C], f32)) {
        let half = (width / 2.0 * self.scale.0, width / 2.0 * self.scale.1);
        let closed = points.len() > 2 && points.first() == points.last();
        let last = points.len().saturating_sub(2);
        for (i, pair) in points.windows(2).enumerate() {
            let ((x, y), (to_x, to_y)) = (self.pixels(pair[0]), self.pixels(pair[1]));
            let (starts, ends) = (i > 0 || closed, i < last || closed);
            let joint = |is: bool, by: f32| if is { by } else { 0.0 };
            if pair[0].1 == pair[1].1 {
                let (a, b) = if x <= to_x {
                    (joint(starts, half.0), joint(ends, half.0))
                } else {
                    (joint(ends, half.0), joint(starts, half.0))
                };
                band.rect((x.min(to_x) - a, y - half.1, x.max(to_x) + b, y + half.1), colour);
            } else if pair[0].0 == pair[1].0 {
                let (a, b) = if y <= to_y {
                    (joint(starts, half.1), joint(ends, half.1))
                } else {
                    (joint(ends, half.1), joint(starts, half.1))
                };
                band.rect((x - half.0, y.min(to_y) + a, x + half.0, y.max(to_y) - b), colour);
            } else {
                let mut line = Stamp::default();
                line.lines(&[pair[0], pair[1]].map(|p| (p.0 as f32 / 100.0, p.1 as f32 / 100.0)), false);
                let shift = Transform::from_scale(self.scale.0, self.scale.1);
                band.lay(&cover(&line, width, self.scale, shift), (0, 0), colour);
            }
        }
    }

    /// A line of dashes.
    fn dashed<const C: usize>(
        &self,
        band: &mut Band<C>,
        from: Point,
        to: Point,
        ink: ([u8; C], f32),
        (on, off): (f32, f32),
    ) {
        let (x, y) = ((to.0 - from.0) as f32 / 100.0, (to.1 - from.1) as f32 / 100.0);
        let length = x.hypot(y);
        let at = |along: f32| {
            let part = along.min(length) / length * 100.0;
            (from.0 + (x * part).round() as i32, from.1 + (y * part).round() as i32)
        };
        let mut along = 0.0;
        while along < length {
            self.open(band, &[at(along), at(along + on)], ink);
            along += on + off;
        }
    }
}

/// What a stamp covers inside, or along its outline if a width is given, moved and enlarged.
fn cover(stamp: &Stamp, width: f32, scale: (f32, f32), shift: Transform) -> Cover {
    let nothing = Cover { left: 0, top: 0, width: 0, data: Vec::new() };
    let outline = || {
        let path = path(stamp)?;
        let path =
            if width > 0.0 { path.stroke(&Stroke { width, ..Stroke::default() }, scale.0.max(scale.1))? } else { path };
        path.transform(shift)
    };
    let Some(path) = outline() else { return nothing };
    let bounds = path.bounds();
    let (left, top) = (bounds.left().floor(), bounds.top().floor());
    let (wide, high) = (bounds.right().ceil() - left + 1.0, bounds.bottom().ceil() - top + 1.0);
    let Some(mut mask) = Mask::new(wide as u32, high as u32) else { return nothing };
    mask.fill_path(&path, FillRule::Winding, true, Transform::from_translate(-left, -top));
    Cover { left: left as i32, top: top as i32, width: wide as usize, data: mask.take() }
}

fn path(stamp: &Stamp) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let of = |p: Point| (p.0 as f32 / 100.0, p.1 as f32 / 100.0);
    for step in stamp.steps() {
        match *step {
            Step::Move(p) => builder.move_to(of(p).0, of(p).1),
            Step::Line(p) => builder.line_to(of(p).0, of(p).1),
            Step::Quad(a, p) => builder.quad_to(of(a).0, of(a).1, of(p).0, of(p).1),
            Step::Cubic(a, b, p) => builder.cubic_to(of(a).0, of(a).1, of(b).0, of(b).1, of(p).0, of(p).1),
            Step::Close => builder.close(),
        }
    }
    builder.finish()
}

/// Rows of pixels, from one on.
struct Band<const C: usize> {
    width: usize,
    top: i32,
    data: Vec<u8>,
}

impl<const C: usize> Band<C> {
    fn rows(&self) -> i32 {
        (self.data.len() / (self.width * C)) as i32
    }

    /// A box in pixels of the whole picture, its sides anywhere within them.
    fn rect(&mut self, (left, top, right, bottom): (f32, f32, f32, f32), colour: [u8; C]) {
        let (left, right) = (left.clamp(0.0, self.width as f32), right.clamp(0.0, self.width as f32));
        let (first, last) = (left.floor() as usize, (right.ceil() as usize).min(self.width));
        let from = (top.floor() as i32).max(self.top);
        let to = (bottom.ceil() as i32).min(self.top + self.rows());
        if first >= last {
            return;
        }
        for y in from..to {
            let high = (bottom.min((y + 1) as f32) - top.max(y as f32)).clamp(0.0, 1.0);
            let start = (y - self.top) as usize * self.width;
            let row = &mut self.data[(start + first) * C..(start + last) * C];
            if high >= 1.0 && left.fract() == 0.0 && right.fract() == 0.0 {
                row.chunks_exact_mut(C).for_each(|p| p.copy_from_slice(&colour));
                continue;
            }
            let inner = (high * 255.0 + 0.5) as u8;
            let edge = |x: usize| {
                (((right.min((x + 1) as f32) - left.max(x as f32)) * high).clamp(0.0, 1.0) * 255.0 + 0.5) as u8
            };
            let end = last - first - 1;
            for (i, pixel) in row.chunks_exact_mut(C).enumerate() {
                blend(pixel, colour, if i == 0 || i == end { edge(first + i) } else { inner });
            }
        }
    }

    /// A cover with its own point at a pixel of the whole picture.
    fn lay(&mut self, cover: &Cover, (x, y): (i32, i32), colour: [u8; C]) {
        if cover.width == 0 {
            return;
        }
        let (left, top) = (x + cover.left, y + cover.top);
        let high = (cover.data.len() / cover.width) as i32;
        let skip = (-left).max(0) as usize;
        let wide = cover.width.min((self.width as i32 - left).max(0) as usize);
        if skip >= wide {
            return;
        }
        for row in (self.top - top).max(0)..high.min(self.top + self.rows() - top) {
            let from = row as usize * cover.width;
            let start = (top + row - self.top) as usize * self.width + (left + skip as i32) as usize;
            let covers = &cover.data[from + skip..from + wide];
            let pixels = self.data[start * C..].chunks_exact_mut(C);
            for (pixel, cover) in pixels.zip(covers).filter(|(_, cover)| **cover > 0) {
                blend(pixel, colour, *cover);
            }
        }
    }
}

/// Paints over a pixel, as much as it is covered.
fn blend<const C: usize>(pixel: &mut [u8], colour: [u8; C], cover: u8) {
    for (under, over) in pixel.iter_mut().zip(colour) {
        let mixed = u32::from(*under) * u32::from(255 - cover) + u32::from(over) * u32::from(cover);
        *under = ((mixed + 127) / 255) as u8;
    }
}
