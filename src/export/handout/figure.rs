//! A picture on a page. Each stands there twice, laid out for a sheet and for a phone; the style sheet shows one of them.

use super::content::TEXT_WIDTH;
use crate::export::picture::Picture;

/// Width of the pictures for a phone, in CSS pixels.
pub(super) const PHONE_WIDTH: f32 = 350.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Layout {
    /// For paper and large screens.
    Sheet,
    /// For small screens.
    Phone,
}

impl Layout {
    /// A name for a picture in this layout, unique on the page.
    pub(super) fn id(self, name: &str) -> String {
        match self {
            Layout::Sheet => name.to_owned(),
            Layout::Phone => format!("{name}phone"),
        }
    }
}

#[derive(Debug, Clone)]
pub(super) struct PageFigure {
    /// Name of the picture, letters and digits.
    pub(super) name: String,
    pub(super) layout: Layout,
    pub(super) picture: Picture,
}

impl PageFigure {
    pub(super) fn new(name: &str, layout: Layout, picture: Picture) -> Self {
        Self { name: name.to_owned(), layout, picture }
    }

    /// The id of its element.
    pub(super) fn element_id(&self) -> String {
        format!("figure-{}", self.layout.id(&self.name))
    }

    /// Height on paper in CSS pixels, with the space below it.
    pub(super) fn printed_height(&self) -> f32 {
        match self.layout {
            Layout::Sheet => self.picture.drawing.height * TEXT_WIDTH / self.picture.drawing.width() + 5.0,
            Layout::Phone => 0.0,
        }
    }
}
