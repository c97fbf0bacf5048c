//! Lays out blocks as pieces of a page. Lengths are CSS pixels.

use super::wrap::wrap;
use super::{CELL, table};
use crate::export::handout::Reader;
use crate::export::handout::content::{Block, TEXT_WIDTH};
use crate::export::picture::font;
use crate::export::picture::pdf::{TextWeight, VectorPicture};
use crate::notation::FormatError;

/// Something that is drawn in a piece, from its upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// `y` is the baseline.
    Text {
        x: f32,
        y: f32,
        size: f32,
        weight: TextWeight,
        text: String,
    },
    /// Text with characters of equal width.
    Cells {
        x: f32,
        y: f32,
        size: f32,
        text: String,
    },
    Rule {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
    },
    /// A box to tick.
    Box {
        x: f32,
        y: f32,
        size: f32,
    },
    /// The part of a picture between two of its own heights.
    Picture {
        index: usize,
        part: (f32, f32),
        scale: f32,
    },
}

/// What no page break divides.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Piece {
    pub(super) height: f32,
    /// Space above it, except at the top of a sheet.
    pub(super) gap: f32,
    pub(super) stays_with_next: bool,
    /// Index of the piece that is repeated above it at the top of a sheet.
    pub(super) header: Option<usize>,
    pub(super) marks: Vec<Mark>,
}

/// Sizes of text, heights of lines, and spaces.
pub(super) struct Style {
    title: f32,
    title_line: f32,
    heading: f32,
    heading_line: f32,
    heading_gap: f32,
    heading_rule: f32,
    text: f32,
    line: f32,
    pub(super) small: f32,
    pub(super) small_line: f32,
    /// Above a paragraph, a list, a table or a picture.
    pub(super) gap: f32,
    /// Above an item of a list.
    item_gap: f32,
}

const STUDENT: Style = Style {
    title: 21.0,
    title_line: 26.0,
    heading: 13.0,
    heading_line: 17.0,
    heading_gap: 7.0,
    heading_rule: 1.0,
    text: 11.0,
    line: 15.0,
    small: 9.5,
    small_line: 13.0,
    gap: 4.0,
    item_gap: 1.0,
};

const TEACHER: Style = Style {
    title: 25.0,
    title_line: 31.0,
    heading: 16.0,
    heading_line: 22.0,
    heading_gap: 20.0,
    heading_rule: 1.5,
    text: 12.0,
    line: 17.0,
    small: 10.5,
    small_line: 14.5,
    gap: 9.0,
    item_gap: 3.0,
};

impl Style {
    pub(super) fn of(reader: Reader) -> Self {
        match reader {
            Reader::Student => STUDENT,
            Reader::Teacher => TEACHER,
        }
    }

    pub(super) fn small_baseline(&self) -> f32 {
        baseline(self.small, self.small_line)
    }
}

/// The sign of an item without a number.
const DASH: &str = "\u{2013}";
/// Of the text beside the number or sign of an item.
const INDENT: f32 = 20.0;
const PREFORMATTED_SIZE: f32 = 10.0;
const PREFORMATTED_LINE: f32 = 13.0;
/// Room that a picture leaves to a heading above it.
const HEADING_ROOM: f32 = 50.0;
const TICK_SIZE: f32 = 9.0;

/// The baseline of a text in a line of a height: capitals (0.73 of the size) stand in its middle.
fn baseline(size: f32, line: f32) -> f32 {
    f32::midpoint(line, 0.73 * size)
}

/// The lines of a paragraph, from a height on.
fn lines(text: &str, (x, top): (f32, f32), (size, line): (f32, f32), weight: TextWeight) -> (Vec<Mark>, f32) {
    let wrapped = wrap(text, size, TEXT_WIDTH - x);
    let bottom = top + wrapped.len() as f32 * line;
    let mark = |(k, text)| Mark::Text { x, y: top + k as f32 * line + baseline(size, line), size, weight, text };
    (wrapped.into_iter().enumerate().map(mark).collect(), bottom)
}

fn paragraph(text: &str, x: f32, size: (f32, f32), weight: TextWeight) -> Piece {
    let (marks, height) = lines(text, (x, 0.0), size, weight);
    Piece { height, marks, ..Piece::default() }
}

/// An item of a list after its number or sign, with an explanation below it.
fn item(sign: &str, text: &str, more: Option<&str>, style: &Style) -> Piece {
    let size = (style.text, style.line);
    let mut piece = paragraph(text, INDENT, size, TextWeight::Regular);
    let x = INDENT - 6.0 - font::width(sign, style.text);
    let y = baseline(style.text, style.line);
    piece.marks.push(Mark::Text { x, y, size: style.text, weight: TextWeight::Regular, text: sign.to_owned() });
    if let Some(more) = more {
        let (marks, bottom) = lines(more, (INDENT, piece.height), (style.small, style.small_line), TextWeight::Regular);
        piece.marks.extend(marks);
        piece.height = bottom;
    }
    piece
}

/// Adds the pieces of a block, none higher than a sheet has room for.
pub(super) fn add(
    pieces: &mut Vec<Piece>,
    pictures: &mut Vec<VectorPicture>,
    block: &Block<'_>,
    style: &Style,
    room: f32,
) -> Result<(), FormatError> {
    let (text, small) = ((style.text, style.line), (style.small, style.small_line));
    let gap = style.gap;
    let mut items = |all: &mut dyn Iterator<Item = Piece>| {
        pieces.extend(all.enumerate().map(|(k, p)| Piece { gap: if k == 0 { gap } else { style.item_gap }, ..p }));
    };
    match block {
        Block::Title(words) => {
            items(&mut std::iter::once(paragraph(words, 0.0, (style.title, style.title_line), TextWeight::Bold)));
        }
        Block::Heading(words) => {
            let piece = paragraph(words, 0.0, (style.heading, style.heading_line), TextWeight::Bold);
            let height = piece.height + style.heading_rule;
            let rule = Mark::Rule { x: 0.0, y: piece.height, width: TEXT_WIDTH, height: style.heading_rule };
            let marks = piece.marks.into_iter().chain([rule]).collect();
            pieces.push(Piece { height, gap: style.heading_gap, stays_with_next: true, marks, ..piece });
        }
        Block::Text(words) => items(&mut std::iter::once(paragraph(words, 0.0, text, TextWeight::Regular))),
        Block::Small(words) => items(&mut std::iter::once(paragraph(words, 0.0, small, TextWeight::Regular))),
        Block::List(all) => items(&mut all.iter().map(|i| item(DASH, i, None, style))),
        Block::Steps(all) => {
            items(&mut all.iter().enumerate().map(|(k, i)| item(&format!("{}.", k + 1), i, None, style)));
        }
        Block::Numbered(all) => {
            let one = |(k, (i, more)): (usize, &(String, String))| item(&format!("{}.", k + 1), i, Some(more), style);
            items(&mut all.iter().enumerate().map(one));
        }
        Block::Sound(take) => items(&mut std::iter::once(item(DASH, &take.label(), None, style))),
        Block::Table(heads, rows) => table::add(pieces, heads, rows, style),
        Block::Preformatted(words) => preformatted(pieces, words, style, room),
        Block::TickBoxes(all) => pieces.push(Piece { gap, ..tick_boxes(all, style) }),
        Block::Picture(figure) => {
            let picture = VectorPicture::new(&figure.picture)?;
            let (width, height) = picture.size();
            let scale = TEXT_WIDTH / width;
            let room = room - HEADING_ROOM;
            let parts = if height * scale <= room { vec![(0.0, height)] } else { picture.lines(room / scale) };
            let index = pictures.len();
            pictures.push(picture);
            for (k, part) in parts.into_iter().enumerate() {
                let marks = vec![Mark::Picture { index, part, scale }];
                let gap = if k == 0 { gap } else { 0.0 };
                pieces.push(Piece { height: (part.1 - part.0) * scale, gap, marks, ..Piece::default() });
            }
        }
        // Paper does not play, and need not say so.
        Block::Player(_) => {}
    }
    Ok(())
}

/// Lines in characters of equal width, together if a sheet has room for them.
fn preformatted(pieces: &mut Vec<Piece>, text: &str, style: &Style, room: f32) {
    let columns = ((TEXT_WIDTH - INDENT) / (CELL * PREFORMATTED_SIZE)) as usize;
    let mut rows: Vec<String> = Vec::new();
    for line in text.lines() {
        let characters: Vec<char> = line.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        rows.extend(characters.chunks(columns).map(|c| c.iter().collect::<String>()));
        if characters.is_empty() {
            rows.push(String::new());
        }
    }
    let most = (room / PREFORMATTED_LINE) as usize;
    for rows in rows.chunks(most.max(1)) {
        let height = rows.len() as f32 * PREFORMATTED_LINE;
        let mut marks = vec![Mark::Rule { x: 0.0, y: 0.0, width: 2.0, height }];
        marks.extend(rows.iter().enumerate().map(|(k, text)| {
            let y = k as f32 * PREFORMATTED_LINE + baseline(PREFORMATTED_SIZE, PREFORMATTED_LINE);
            Mark::Cells { x: INDENT / 2.0, y, size: PREFORMATTED_SIZE, text: text.clone() }
        }));
        pieces.push(Piece { height, gap: style.gap, marks, ..Piece::default() });
    }
}

/// Boxes with their texts, as many in a line as fit.
fn tick_boxes(items: &[String], style: &Style) -> Piece {
    let (mut marks, mut x, mut line) = (Vec::new(), 0.0, 0);
    for item in items {
        let width = TICK_SIZE + 5.0 + font::width(item, style.text);
        if x > 0.0 && x + width > TEXT_WIDTH {
            (x, line) = (0.0, line + 1);
        }
        let y = line as f32 * style.line;
        marks.push(Mark::Box { x: x + 0.5, y: y + (style.line - TICK_SIZE) / 2.0, size: TICK_SIZE });
        let (at, size, weight) = (x + TICK_SIZE + 5.0, style.text, TextWeight::Regular);
        let text = font::fit(item, size, TEXT_WIDTH - TICK_SIZE - 5.0);
        marks.push(Mark::Text { x: at, y: y + baseline(size, style.line), size, weight, text });
        x += width + 18.0;
    }
    Piece { height: (line + 1) as f32 * style.line, marks, ..Piece::default() }
}
