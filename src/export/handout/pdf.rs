//! A page as PDF: blocks, pieces of them that stay together, sheets of paper.

mod layout;
mod sheets;
mod table;
mod wrap;

use super::content::TEXT_WIDTH;
use super::figure::Layout;
use super::{Handout, Reader, blocks};
use crate::export::picture::font;
use crate::export::picture::pdf::{PdfDocument, TextWeight, VectorPicture, show};
use crate::notation::FormatError;
use layout::{Mark, Piece, Style};
use pdf_writer::Content;

/// The paper of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 mm x 297 mm.
    #[default]
    A4,
    /// 8.5 in x 11 in.
    Letter,
}

impl Paper {
    /// Width and height in points.
    fn size(self) -> (f32, f32) {
        match self {
            Paper::A4 => (595.28, 841.89),
            Paper::Letter => (612.0, 792.0),
        }
    }
}

/// Points per CSS pixel.
const POINTS: f32 = 0.75;
/// Upper and lower margin in CSS pixels: 12 mm, as the style sheet has it.
const MARGIN: f32 = 45.35;
const FOOTER_SIZE: f32 = 9.0;
/// Width of a character in preformatted text, in parts of its size.
pub(super) const CELL: f32 = 0.62;

/// A page for a reader as PDF. The pictures are shapes, the rest is text.
///
/// # Errors
/// [`FormatError`] if a picture cannot be drawn.
pub fn pdf(handout: &Handout<'_>, reader: Reader, paper: Paper) -> Result<Vec<u8>, FormatError> {
    let (width, height) = paper.size();
    let left = (width / POINTS - TEXT_WIDTH) / 2.0;
    let room = height / POINTS - 2.0 * MARGIN;
    let (mut pieces, mut pictures) = (Vec::new(), Vec::new());
    let style = Style::of(reader);
    for block in &blocks(handout, reader, &[Layout::Sheet]) {
        layout::add(&mut pieces, &mut pictures, block, &style, room)?;
    }
    let sheets = sheets::fill(&pieces, room);
    let mut document = PdfDocument::new();
    let title = handout.piece.groove.title();
    for (number, sheet) in sheets.iter().enumerate() {
        let mut out = Content::new();
        out.transform([POINTS, 0.0, 0.0, -POINTS, left * POINTS, height - MARGIN * POINTS]);
        for (top, piece) in sheet {
            draw(&mut document, &mut out, &pictures, &pieces[*piece], *top);
        }
        if sheets.len() > 1 {
            let footer = format!("{} of {}", number + 1, sheets.len());
            let at = (TEXT_WIDTH - font::width(&footer, FOOTER_SIZE), room + MARGIN / 2.0);
            show(&mut document, &mut out, &footer, at, FOOTER_SIZE, TextWeight::Regular, 1.0);
            let name = font::fit(title, FOOTER_SIZE, TEXT_WIDTH - 100.0);
            show(&mut document, &mut out, &name, (0.0, at.1), FOOTER_SIZE, TextWeight::Regular, 1.0);
        }
        document.add_page((width, height), out);
    }
    Ok(document.finish(title))
}

fn draw(document: &mut PdfDocument, out: &mut Content, pictures: &[VectorPicture], piece: &Piece, top: f32) {
    for mark in &piece.marks {
        match mark {
            Mark::Text { x, y, size, weight, text } => {
                show(document, out, text, (*x, top + y), *size, *weight, 1.0);
            }
            Mark::Cells { x, y, size, text } => {
                let cell = CELL * size;
                let mut one = [0; 4];
                for (k, c) in text.chars().enumerate().filter(|(_, c)| *c != ' ') {
                    let c: &str = c.encode_utf8(&mut one);
                    let wide = font::width(c, *size);
                    let stretch = (cell / wide).min(1.0);
                    let at = x + k as f32 * cell + (cell - wide * stretch) / 2.0;
                    show(document, out, c, (at, top + y), *size, TextWeight::Regular, stretch);
                }
            }
            Mark::Rule { x, y, width, height } => {
                out.rect(*x, top + y, *width, *height).fill_nonzero();
            }
            Mark::Box { x, y, size } => {
                out.set_line_width(0.8).set_dash_pattern([], 0.0);
                out.rect(*x, top + y, *size, *size).stroke();
            }
            Mark::Picture { index, part, scale } => {
                out.save_state();
                out.transform([*scale, 0.0, 0.0, *scale, 0.0, top]);
                pictures[*index].draw(out, *part);
                out.restore_state();
            }
        }
    }
}

#[cfg(test)]
mod tests;
