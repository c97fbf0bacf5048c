//! Pictures of a groove as SVG and PNG: the grid, the streams, the landings.
//!
//! All shapes of one style form one path, and equal texts share one outline, so that thousands of cells make a small file. The output
//! depends on the input and the options only.

mod alt;
pub(super) mod canvas;
mod drawing;
pub(super) mod font;
mod grid;
mod landings;
mod legend;
pub(super) mod music_font;
pub(super) mod pdf;
mod png;
mod streams;
mod strip;
pub(super) mod symbol;
#[cfg(test)]
mod tests;
pub(super) mod theme;

pub use self::pdf::pdf;
pub(crate) use self::png::default_scale;
pub use self::png::png;
pub use theme::Theme;

use super::ExportInput;
use canvas::Canvas;
#[cfg(test)]
pub(crate) use drawing::BoxKind;
pub(crate) use drawing::Drawing;
pub(super) use strip::beats;
use theme::StyleClass;

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PictureKind {
    /// The layers as rows over time, with groups and landings, and the pulses of hearings below.
    #[default]
    Grid,
    /// The written beat and the pulses of hearings against time, and where they meet.
    Streams,
    /// The number of attacks per landing, under the written beat and under hearings.
    Landings,
}

/// What stands above the cells of a grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ruler {
    /// The numbers of the beats.
    #[default]
    Beats,
    /// The syllables that players count on the cells of the first analysed layer.
    Counting,
}

/// What stands above a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PictureHeading {
    /// Its title.
    #[default]
    Title,
    /// Nothing: the page around it says what it shows. The only section has no heading either.
    None,
}

/// Which layers notation has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Staves {
    /// All of them.
    #[default]
    All,
    /// The analysed ones.
    Analysed,
}

/// Options of a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureOptions {
    /// What it shows.
    pub kind: PictureKind,
    /// Its colours.
    pub theme: Theme,
    /// Its width in CSS pixels (1/96 inch), clamped to 320 to 4000.
    pub width: f32,
    /// What stands above the cells of a grid.
    pub ruler: Ruler,
    /// What stands above it.
    pub heading: PictureHeading,
    /// The staves of notation.
    pub staves: Staves,
    /// Prefix of the ids in it, letters and digits, so that several pictures can share a page.
    pub id: String,
}

impl PictureOptions {
    /// An empty page with a title.
    pub(super) fn page(&self, title: &str) -> (Canvas, PageLayout) {
        self.wide_page(title, 0.0)
    }

    /// The same with at least some room between its margins.
    pub(super) fn wide_page(&self, title: &str, room: f32) -> (Canvas, PageLayout) {
        let width = if self.width.is_finite() { self.width.clamp(320.0, 4000.0) } else { 1000.0 };
        let width = width.max((room + 2.0 * MARGIN).ceil());
        let mut canvas = Canvas::new(self.theme, width, &self.id);
        let (margin, top) = match self.heading {
            PictureHeading::Title => {
                canvas.fitted_text(StyleClass::Text, MARGIN, 24.0, 15.0, title, width - 2.0 * MARGIN);
                (MARGIN, 34.0)
            }
            PictureHeading::None => (NARROW_MARGIN, 0.0),
        };
        (canvas, PageLayout { left: margin, right: width - margin, top })
    }
}

impl Default for PictureOptions {
    fn default() -> Self {
        Self {
            kind: PictureKind::default(),
            theme: Theme::default(),
            width: 1000.0,
            ruler: Ruler::default(),
            heading: PictureHeading::default(),
            staves: Staves::default(),
            id: "p".into(),
        }
    }
}

/// A drawing with its title and its text alternative.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    pub(crate) drawing: Drawing,
    /// Its title.
    pub title: String,
    /// Its text alternative.
    pub alt: String,
    /// Where times are on it, in order of position; empty for pictures that do not run through the groove.
    pub(crate) time_lines: Vec<TimeLine>,
}

/// The part of a section that stands on one line of a picture, for a cursor that moves along it. Positions in CSS pixels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TimeLine {
    pub(crate) section: usize,
    /// Index of its SVG in [`Picture::blocks`].
    pub(crate) block: usize,
    pub(crate) top: f32,
    pub(crate) bottom: f32,
    /// Whole notes from the start of the section, ascending, and horizontal positions; linear between them.
    pub(crate) points: Vec<(f64, f32)>,
}

impl Picture {
    /// The whole picture as self-contained SVG 1.1.
    pub fn svg(&self) -> String {
        self.drawing.svg(&self.title, &self.alt)
    }

    /// One SVG per line, for a page that shows them one below the other.
    pub(crate) fn blocks(&self) -> Vec<String> {
        self.drawing.blocks(&self.title, &self.alt)
    }
}

/// Left and right margin.
const MARGIN: f32 = 14.0;
/// The same for a picture without a heading, which the page around it sets off.
const NARROW_MARGIN: f32 = 2.0;

/// Draws a picture. Hearings and sections that do not exist are ignored. A groove that is too large for one picture is cut after a
/// whole line, and the picture says so.
pub fn picture(piece: &ExportInput<'_>, options: &PictureOptions) -> Picture {
    let title = title(piece, options.kind);
    let (mut canvas, page) = options.page(&title);
    let (height, summary) = match options.kind {
        PictureKind::Grid => grid::draw(piece, &mut canvas, page, options),
        PictureKind::Streams => streams::draw(piece, &mut canvas, page),
        PictureKind::Landings => landings::draw(piece, &mut canvas, page),
    };
    let alt = alt::text(piece, options.kind, &summary);
    Picture { drawing: canvas.finish(height.ceil()), title, alt, time_lines: summary.time_lines }
}

/// The edges of the area below the title.
#[derive(Debug, Clone, Copy)]
pub(super) struct PageLayout {
    pub(super) left: f32,
    pub(super) right: f32,
    pub(super) top: f32,
}

/// Facts about a drawing, for its text alternative.
#[derive(Debug, Clone, Default, PartialEq)]
struct DrawingSummary {
    /// What was left out for lack of room; empty if nothing was.
    cut: String,
    /// The seconds at which the first hearing meets the written beat.
    meetings: Vec<f64>,
    /// The seconds shown.
    range: (f64, f64),
    time_lines: Vec<TimeLine>,
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
