//! Pictures of a groove as SVG and PNG: the grid, the streams, the landings. It must not know where a picture is put, nor fonts of
//! the machine: letters are drawn as outlines.

mod alt;
mod drawing;
pub(super) mod font;
mod grid;
mod key;
mod landings;
pub(super) mod pen;
mod png;
mod raster;
pub(super) mod stamp;
mod streams;
mod strip;
#[cfg(test)]
mod tests;
pub(super) mod theme;

pub use self::png::{MOST_PIXELS, png, usual_scale};
pub use theme::Theme;

use super::Piece;
pub(crate) use drawing::Drawing;
use pen::{Anchor, Pen};
use theme::Ink;

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Kind {
    /// The layers as rows over time, with groups, landings, and the pulses of hearings beneath.
    #[default]
    Grid,
    /// The written beat and the pulses of hearings against time, and where they meet.
    Streams,
    /// How many attacks land where, under the written beat and under hearings.
    Landings,
}

/// How a picture is wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// What it shows.
    pub kind: Kind,
    /// Where it is looked at.
    pub theme: Theme,
    /// Its width in CSS pixels (1/96 inch), 480 to 4000; other numbers are moved into that range.
    pub width: f32,
    /// Begins the names of what is in it, so that several pictures can stand on one page; letters and digits.
    pub id: String,
}

impl Default for Ask {
    fn default() -> Self {
        Self { kind: Kind::default(), theme: Theme::default(), width: 1000.0, id: "p".into() }
    }
}

/// A finished picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// It as SVG 1.1, whole and self-contained.
    pub svg: String,
    /// Its title.
    pub title: String,
    /// What it shows in words.
    pub alt: String,
    /// Its width in CSS pixels.
    pub width: f32,
    /// Its height in CSS pixels.
    pub height: f32,
    /// What the SVG is written from.
    drawing: Drawing,
}

/// Room at the left and right.
const MARGIN: f32 = 14.0;

/// Draws a picture. Hearings that the report has not and a section that is not there are left out. A groove that is too large for one
/// picture is cut after a whole line, and the picture says so.
pub fn picture(piece: &Piece<'_>, ask: &Ask) -> Picture {
    sketch(piece, ask).picture()
}

/// A picture that is not written yet.
#[derive(Debug, Clone)]
pub(crate) struct Sketch {
    pub(crate) drawing: Drawing,
    pub(crate) title: String,
    pub(crate) alt: String,
}

impl Sketch {
    /// It as one SVG.
    pub(crate) fn picture(self) -> Picture {
        let Self { drawing, title, alt } = self;
        let (svg, width, height) = (drawing.svg(&title, &alt), drawing.width, drawing.height);
        Picture { svg, title, alt, width, height, drawing }
    }

    /// Its height in CSS pixels.
    pub(crate) fn height(&self) -> f32 {
        self.drawing.height
    }

    /// It as one SVG for each of its lines, to stand one below the other on one page.
    pub(crate) fn blocks(&self) -> Vec<String> {
        self.drawing.blocks(&self.title, &self.alt)
    }

    /// It as one SVG, whole.
    pub(crate) fn svg(&self) -> String {
        self.drawing.svg(&self.title, &self.alt)
    }
}

/// Draws a picture without writing it.
pub(crate) fn sketch(piece: &Piece<'_>, ask: &Ask) -> Sketch {
    let width = if ask.width.is_finite() { ask.width.clamp(480.0, 4000.0) } else { 1000.0 };
    let mut pen = Pen::new(ask.theme, width, &ask.id);
    let title = title(piece, ask.kind);
    pen.text(Ink::Text, Anchor::Start, MARGIN, 24.0, 15.0, &font::fitted(&title, 15.0, width - 2.0 * MARGIN));
    let sheet = Sheet { left: MARGIN, right: width - MARGIN, top: 34.0 };
    let (height, shown) = match ask.kind {
        Kind::Grid => grid::draw(piece, &mut pen, sheet),
        Kind::Streams => streams::draw(piece, &mut pen, sheet),
        Kind::Landings => landings::draw(piece, &mut pen, sheet),
    };
    let height = height.ceil();
    let alt = alt::words(piece, ask.kind, &shown);
    Sketch { drawing: pen.finish(height), title, alt }
}

/// Room to draw on.
#[derive(Debug, Clone, Copy)]
struct Sheet {
    left: f32,
    right: f32,
    top: f32,
}

/// What a drawing could show, for its words.
#[derive(Debug, Clone, Default, PartialEq)]
struct Shown {
    /// What was left out for want of room; empty if nothing was.
    cut: String,
    /// Where streams meet, in seconds.
    meetings: Vec<f64>,
    /// Start and end of what is shown, in seconds.
    range: (f64, f64),
}

fn title(piece: &Piece<'_>, kind: Kind) -> String {
    let section = piece.section.filter(|_| piece.groove.sections().len() > 1 && kind != Kind::Landings);
    let section = section.and_then(|s| piece.groove.sections().get(s)).map(|s| format!(", section {}", s.name));
    let what = match kind {
        Kind::Grid => "the grid",
        Kind::Streams => "the streams",
        Kind::Landings => "where the attacks land",
    };
    format!("{}: {what}{}", piece.groove.title(), section.unwrap_or_default())
}

/// The sections a piece is about.
fn sections(piece: &Piece<'_>) -> Vec<usize> {
    let all = 0..piece.groove.sections().len();
    all.filter(|s| piece.section.is_none_or(|wanted| wanted == *s)).collect()
}
