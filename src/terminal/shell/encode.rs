//! From changed cells to the fewest bytes that make a terminal show them (ECMA-48 control sequences). It must not know what
//! the cells show, nor where the bytes go.
//!
//! The library's own writer moves the cursor by absolute places, sets colours again for every blank and resets them after
//! every frame; over a slow line these bytes are most of a key press.

use ratatui::buffer::{Buffer, Cell};
use ratatui::style::{Color, Modifier};
use std::io::Write;
use unicode_width::UnicodeWidthStr;

/// The terminal's state as the bytes so far have left it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Encoder {
    style: Look,
    /// Where the cursor stands, if that is sure.
    at: Option<(u16, u16)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Look {
    fg: Color,
    bg: Color,
    mods: Modifier,
}

/// What is kept of a style: the theme uses no other modifiers.
const MODS: [(Modifier, u8, u8); 3] =
    [(Modifier::BOLD, 1, 22), (Modifier::UNDERLINED, 4, 24), (Modifier::REVERSED, 7, 27)];

impl Look {
    fn of(cell: &Cell) -> Self {
        let mods = cell.modifier & (Modifier::BOLD | Modifier::UNDERLINED | Modifier::REVERSED);
        Self { fg: cell.fg, bg: cell.bg, mods }
    }

    /// Whether a cell looks right without a change of style: of a blank only what is seen of it counts.
    fn suits(self, cell: &Cell) -> bool {
        let other = Self::of(cell);
        let seen = Modifier::UNDERLINED | Modifier::REVERSED;
        self == other || (cell.symbol() == " " && !(self.mods | other.mods).intersects(seen) && self.bg == other.bg)
    }
}

impl Encoder {
    /// Clears the screen; nothing is known before.
    pub(crate) fn clear(&mut self, out: &mut Vec<u8>) {
        out.extend_from_slice(b"\x1b[m\x1b[2J");
        *self = Self::default();
    }

    /// Makes a terminal that shows `old` show `new`. Both have one size.
    pub(crate) fn frame(&mut self, old: &Buffer, new: &Buffer, out: &mut Vec<u8>) {
        let width = new.area().width;
        let mut whole_row = (u16::MAX, false);
        for (x, y, cell) in old.diff(new) {
            if whole_row.0 != y {
                // Terminals differ in what becomes of one half of a wide character when the other goes.
                whole_row = (y, wide(old, y) || wide(new, y));
                if whole_row.1 {
                    self.row(new, y, out);
                }
            }
            if !whole_row.1 {
                self.write(new, x, y, cell, width, out);
            }
        }
    }

    /// Erases a row and writes all of it.
    fn row(&mut self, new: &Buffer, y: u16, out: &mut Vec<u8>) {
        let width = new.area().width;
        let _ = write!(out, "\x1b[{};1H\x1b[m\x1b[2K", y + 1);
        (self.style, self.at) = (Look::default(), Some((0, y)));
        let mut x = 0;
        while let Some(cell) = new.cell((x, y)).filter(|_| x < width) {
            if *cell != Cell::EMPTY {
                self.write(new, x, y, cell, width, out);
            }
            x += cell.symbol().width().max(1) as u16;
        }
    }

    fn write(&mut self, new: &Buffer, x: u16, y: u16, cell: &Cell, width: u16, out: &mut Vec<u8>) {
        self.go(new, x, y, out);
        if !self.style.suits(cell) {
            self.restyle(Look::of(cell), out);
        }
        self.put(cell, x, y, width, out);
    }

    fn put(&mut self, cell: &Cell, x: u16, y: u16, width: u16, out: &mut Vec<u8>) {
        out.extend_from_slice(cell.symbol().as_bytes());
        let next = x + cell.symbol().width().max(1) as u16;
        // After the last column terminals differ in where the cursor stands.
        self.at = (next < width).then_some((next, y));
    }

    /// Brings the cursor to a cell: over the cells between where that is shorter, by a step, or by its place.
    fn go(&mut self, new: &Buffer, x: u16, y: u16, out: &mut Vec<u8>) {
        match self.at {
            Some(at) if at == (x, y) => {}
            Some((from, row)) if row == y && from < x => {
                let step = format!("\x1b[{}C", x - from);
                let between: Vec<&Cell> = (from..x).filter_map(|x| new.cell((x, y))).collect();
                let bytes: usize = between.iter().map(|c| c.symbol().len()).sum();
                let plain = |c: &&Cell| c.symbol().width() == 1 && self.style.suits(c);
                if bytes <= step.len() && between.iter().all(plain) {
                    for cell in between {
                        out.extend_from_slice(cell.symbol().as_bytes());
                    }
                } else {
                    out.extend_from_slice(step.as_bytes());
                }
            }
            _ => {
                // Writing to memory cannot fail.
                let _ = write!(out, "\x1b[{};{}H", y + 1, x + 1);
            }
        }
        self.at = Some((x, y));
    }

    /// Changes the style by the shorter of two ways: what differs, or all anew.
    fn restyle(&mut self, to: Look, out: &mut Vec<u8>) {
        let from = self.style;
        let (mut change, mut anew) = (Vec::new(), Vec::new());
        for (modifier, on, off) in MODS {
            match (from.mods.contains(modifier), to.mods.contains(modifier)) {
                (true, false) => change.push(off.to_string()),
                (false, true) => change.push(on.to_string()),
                _ => {}
            }
            if to.mods.contains(modifier) {
                anew.push(on.to_string());
            }
        }
        for (old, new, base) in [(from.fg, to.fg, 30), (from.bg, to.bg, 40)] {
            if old != new {
                change.push(colour(new, base));
            }
            if new != Color::Reset {
                anew.push(colour(new, base));
            }
        }
        let change = change.join(";");
        let anew = if anew.is_empty() { String::new() } else { format!("0;{}", anew.join(";")) };
        let shorter = if anew.len() < change.len() { anew } else { change };
        let _ = write!(out, "\x1b[{shorter}m");
        self.style = to;
    }
}

/// Whether a row holds a character that is two columns wide.
fn wide(buffer: &Buffer, y: u16) -> bool {
    (0..buffer.area().width).filter_map(|x| buffer.cell((x, y))).any(|c| c.symbol().len() > 1 && c.symbol().width() > 1)
}

/// The parameters of a colour; `base` is 30 for the text and 40 for what is behind it.
fn colour(colour: Color, base: u8) -> String {
    let named = |n: u8| if n < 8 { (base + n).to_string() } else { (base + 60 + n - 8).to_string() };
    match colour {
        Color::Reset => (base + 9).to_string(),
        Color::Indexed(n) => format!("{};5;{n}", base + 8),
        Color::Rgb(r, g, b) => format!("{};2;{r};{g};{b}", base + 8),
        Color::Black => named(0),
        Color::Red => named(1),
        Color::Green => named(2),
        Color::Yellow => named(3),
        Color::Blue => named(4),
        Color::Magenta => named(5),
        Color::Cyan => named(6),
        Color::Gray => named(7),
        Color::DarkGray => named(8),
        Color::LightRed => named(9),
        Color::LightGreen => named(10),
        Color::LightYellow => named(11),
        Color::LightBlue => named(12),
        Color::LightMagenta => named(13),
        Color::LightCyan => named(14),
        Color::White => named(15),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use ratatui::layout::Rect;
    use ratatui::style::Style;

    const WIDTH: u16 = 12;
    const HEIGHT: u16 = 4;

    fn non_zero(n: u16) -> std::num::NonZero<u16> {
        std::num::NonZero::new(n).expect("not zero")
    }

    fn vt_colour(colour: Color) -> vt100::Color {
        match colour {
            Color::Indexed(n) => vt100::Color::Idx(n),
            Color::Green => vt100::Color::Idx(2),
            Color::DarkGray => vt100::Color::Idx(8),
            _ => vt100::Color::Default,
        }
    }

    /// A terminal emulator that was fed the bytes shows the cells.
    fn shows(parser: &vt100::Parser, buffer: &Buffer) {
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                let want = &buffer[(x, y)];
                let Some(got) = parser.screen().cell(y, x) else { panic!("no cell {x} {y}") };
                if got.is_wide_continuation() {
                    continue;
                }
                let text = if got.contents().is_empty() { " " } else { got.contents() };
                assert_eq!(text, want.symbol(), "{x} {y}");
                assert_eq!(got.bgcolor(), vt_colour(want.bg), "{x} {y}");
                assert_eq!(got.inverse(), want.modifier.contains(Modifier::REVERSED), "{x} {y}");
                assert_eq!(got.underline(), want.modifier.contains(Modifier::UNDERLINED), "{x} {y}");
                if want.symbol() != " " {
                    assert_eq!(got.fgcolor(), vt_colour(want.fg), "{x} {y}");
                    assert_eq!(got.bold(), want.modifier.contains(Modifier::BOLD), "{x} {y}");
                }
            }
        }
    }

    #[derive(Debug, Clone)]
    struct Stroke(u16, u16, &'static str, Style);

    fn stroke() -> impl Strategy<Value = Stroke> {
        let colour = || {
            prop::sample::select(vec![
                Color::Reset,
                Color::Green,
                Color::DarkGray,
                Color::Indexed(176),
                Color::Indexed(235),
            ])
        };
        let mods = prop::sample::select(vec![
            Modifier::empty(),
            Modifier::BOLD,
            Modifier::REVERSED,
            Modifier::UNDERLINED | Modifier::BOLD,
        ]);
        let text = prop::sample::select(vec!["a", "bc", "   ", "━━", "● 3", "", "漢", "abcdefghijklmn"]);
        (0..WIDTH, 0..HEIGHT, text, colour(), colour(), mods)
            .prop_map(|(x, y, text, fg, bg, m)| Stroke(x, y, text, Style::new().fg(fg).bg(bg).add_modifier(m)))
    }

    proptest! {
        #[test]
        fn a_terminal_shows_what_was_drawn(frames in prop::collection::vec(prop::collection::vec(stroke(), 0..6), 1..8)) {
            let area = Rect::new(0, 0, WIDTH, HEIGHT);
            let mut parser = vt100::Parser::new(non_zero(HEIGHT), non_zero(WIDTH), 0);
            let mut encoder = Encoder::default();
            let mut old = Buffer::empty(area);
            let mut bytes = Vec::new();
            encoder.clear(&mut bytes);
            for strokes in frames {
                let mut new = old.clone();
                for Stroke(x, y, text, style) in strokes {
                    new.set_stringn(x, y, text, usize::from(WIDTH - x), style);
                }
                encoder.frame(&old, &new, &mut bytes);
                parser.process(&std::mem::take(&mut bytes));
                shows(&parser, &new);
                // The same frame again costs nothing.
                encoder.frame(&new, &new, &mut bytes);
                prop_assert!(bytes.is_empty());
                old = new;
            }
        }
    }
}
