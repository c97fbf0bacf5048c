//! Pictures of a groove as SVG and PNG: the grid, the streams, the landings.
//!
//! Everything of one style is one path and each text one outline that is reused, so that thousands of cells stay a small file. The
//! options decide every byte: there is no clock and no random number.

mod alt;
pub(super) mod canvas;
mod drawing;
pub(super) mod font;
mod grid;
mod landings;
mod legend;
mod png;
mod streams;
mod strip;
pub(super) mod symbol;
#[cfg(test)]
mod tests;
pub(super) mod theme;

pub(crate) use self::png::default_scale;
pub use self::png::png;
pub use theme::Theme;

use super::ExportInput;
use canvas::{Anchor, Canvas};
pub(crate) use drawing::Drawing;
use theme::StyleClass;

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PictureKind {
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
pub struct PictureOptions {
    /// What it shows.
    pub kind: PictureKind,
    /// Where it is looked at.
    pub theme: Theme,
    /// Its width in CSS pixels (1/96 inch), 480 to 4000; other numbers are moved into that range.
    pub width: f32,
    /// Begins the names of what is in it, so that several pictures can stand on one page; letters and digits.
    pub id: String,
}

impl Default for PictureOptions {
    fn default() -> Self {
        Self { kind: PictureKind::default(), theme: Theme::default(), width: 1000.0, id: "p".into() }
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
    theme: Theme,
}

/// Room at the left and right.
const MARGIN: f32 = 14.0;

/// Draws a picture. Hearings that the report has not and a section that is not there are left out. A groove that is too large for one
/// picture is cut after a whole line, and the picture says so.
pub fn picture(piece: &ExportInput<'_>, ask: &PictureOptions) -> Picture {
    layout(piece, ask).picture()
}

/// A picture that is not written yet.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub(crate) drawing: Drawing,
    pub(crate) title: String,
    pub(crate) alt: String,
}

impl Layout {
    /// It as one SVG.
    pub(crate) fn picture(self) -> Picture {
        let Self { drawing, title, alt } = self;
        let svg = drawing.svg(&title, &alt);
        Picture { svg, title, alt, width: drawing.width, height: drawing.height, theme: drawing.theme }
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
pub(crate) fn layout(piece: &ExportInput<'_>, ask: &PictureOptions) -> Layout {
    let width = if ask.width.is_finite() { ask.width.clamp(480.0, 4000.0) } else { 1000.0 };
    let mut canvas = Canvas::new(ask.theme, width, &ask.id);
    let title = title(piece, ask.kind);
    canvas.text(StyleClass::Text, Anchor::Start, MARGIN, 24.0, 15.0, &font::fitted(&title, 15.0, width - 2.0 * MARGIN));
    let page = PageLayout { left: MARGIN, right: width - MARGIN, top: 34.0 };
    let (height, shown) = match ask.kind {
        PictureKind::Grid => grid::draw(piece, &mut canvas, page),
        PictureKind::Streams => streams::draw(piece, &mut canvas, page),
        PictureKind::Landings => landings::draw(piece, &mut canvas, page),
    };
    let height = height.ceil();
    let alt = alt::words(piece, ask.kind, &shown);
    Layout { drawing: canvas.finish(height), title, alt }
}

/// Room to draw on.
#[derive(Debug, Clone, Copy)]
struct PageLayout {
    left: f32,
    right: f32,
    top: f32,
}

/// What a drawing could show, for its words.
#[derive(Debug, Clone, Default, PartialEq)]
struct DrawingSummary {
    /// What was left out for want of room; empty if nothing was.
    cut: String,
    /// Where streams meet, in seconds.
    meetings: Vec<f64>,
    /// Start and end of what is shown, in seconds.
    range: (f64, f64),
}

fn title(piece: &ExportInput<'_>, kind: PictureKind) -> String {
    let section = piece.section.filter(|_| piece.groove.sections().len() > 1 && kind != PictureKind::Landings);
    let section = section.and_then(|s| piece.groove.sections().get(s)).map(|s| format!(", section {}", s.name));
    let what = match kind {
        PictureKind::Grid => "grid",
        PictureKind::Streams => "streams",
        PictureKind::Landings => "landings",
    };
    format!("{}: {what}{}", piece.groove.title(), section.unwrap_or_default())
}

/// The sections a piece is about.
fn sections(piece: &ExportInput<'_>) -> Vec<usize> {
    let all = 0..piece.groove.sections().len();
    all.filter(|s| piece.section.is_none_or(|wanted| wanted == *s)).collect()
}
