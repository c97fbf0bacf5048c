//! Cells as text, `x..x|{5: x.x.x}`: parse and print.

use super::bounds::{Bound, TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Accent, Attack, Cell};
use super::expected::NotationError;
use super::meter::Meter;
use super::part::{Part, Span};

const MARKS: &str = "x attack, X accent, o ghost, - hold, . rest, | between bars, {5: ...} a tuplet";

/// The mark of a cell.
pub fn mark(cell: Cell) -> char {
    match cell {
        Cell::Rest => '.',
        Cell::Hold => '-',
        Cell::Attack(a) => match a.accent {
            Accent::Ghost => 'o',
            Accent::Plain => 'x',
            Accent::Accent => 'X',
        },
    }
}

fn cell_of(mark: char) -> Option<Cell> {
    let attack = |accent| Some(Cell::Attack(Attack { accent, pitch: None }));
    match mark {
        '.' => Some(Cell::Rest),
        '-' => Some(Cell::Hold),
        'x' => attack(Accent::Plain),
        'X' => attack(Accent::Accent),
        'o' => attack(Accent::Ghost),
        _ => None,
    }
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl Reader<'_> {
    fn next(&mut self) -> Option<(usize, char)> {
        loop {
            let c = self.text[self.at..].chars().next()?;
            let at = self.at;
            self.at += c.len_utf8();
            if !c.is_whitespace() {
                return Some((at, c));
            }
        }
    }

    fn number(&mut self) -> Option<i64> {
        let digits = self.text[self.at..].bytes().take_while(u8::is_ascii_digit).count();
        let number = self.text[self.at..self.at + digits].parse().ok();
        self.at += digits;
        number
    }
}

fn error<T>(at: usize, wanted: impl Into<String>, found: impl Into<String>) -> Result<T, NotationError> {
    Err(NotationError::new(at, wanted, found))
}

fn count(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn shown(c: Option<(usize, char)>) -> String {
    c.map_or("the end".into(), |(_, c)| format!("'{}'", c.escape_debug()))
}

/// Bars read so far.
struct PartReader<'a> {
    meter: &'a Meter,
    bars: usize,
    division: u16,
    spans: Vec<Span>,
    cells: Vec<Cell>,
    /// Beats completed.
    beat: usize,
    /// Cells of the beat begun.
    in_beat: u16,
    /// The first cell of the bar.
    bar_start: usize,
}

impl PartReader<'_> {
    fn beats(&self) -> usize {
        self.meter.beats() * self.bars
    }

    fn bar_cells(&self) -> usize {
        self.meter.beats() * usize::from(self.division)
    }

    fn at_bar_line(&self) -> bool {
        self.beat.is_multiple_of(self.meter.beats()) && self.in_beat == 0
    }

    fn close_span(&mut self, span: Span) {
        self.spans.push(span);
        self.beat += usize::from(span.beats);
        self.in_beat = 0;
    }

    /// The length of a bar in words: `16 cells for 4/4 at 4 cells per beat`.
    fn bar_length(&self) -> String {
        let division = count(usize::from(self.division), "cell");
        format!("{} for {} at {division} per beat", count(self.bar_cells(), "cell"), self.meter)
    }

    fn too_many<T>(&self, at: usize) -> Result<T, NotationError> {
        let wanted = count(self.bar_cells() * self.bars, "cell");
        error(at, wanted, format!("more than {}", count(self.bars, "bar")))
    }

    fn wrong_bar<T>(&self, at: usize, bar: usize, cells: usize) -> Result<T, NotationError> {
        let wanted = format!("{}, a tuplet counting as its beats", self.bar_length());
        error(at, wanted, format!("{} in bar {bar}", count(cells, "cell")))
    }
}

/// Parses `bars` bars of `meter` at `division` cells per beat.
///
/// Bar lines may be left out altogether; where one stands, a bar must end.
///
/// # Errors
/// An unknown mark, a bar or a whole of the wrong length, a tuplet that begins within a beat, crosses a bar line or has
/// another number of cells than it says, and a hold after a rest.
pub fn parse_bars(text: &str, meter: &Meter, bars: usize, division: u16) -> Result<Part, NotationError> {
    let (spans, cells) = (Vec::new(), Vec::new());
    let mut b = PartReader { meter, bars, division, spans, cells, beat: 0, in_beat: 0, bar_start: 0 };
    let mut reader = Reader { text, at: 0 };
    let per_bar = meter.beats();
    while let Some((at, c)) = reader.next() {
        if let Some(cell) = cell_of(c) {
            if b.beat == b.beats() {
                return b.too_many(at);
            }
            check_hold(&b.cells, cell, at)?;
            b.cells.push(cell);
            b.in_beat += 1;
            if b.in_beat < division {
                continue;
            }
            b.close_span(Span { beats: 1, cells: division });
            let rest = &text[reader.at..];
            if b.at_bar_line() && b.beat < b.beats() && text.contains('|') && !rest.trim_start().starts_with('|') {
                let more = rest.chars().take_while(|c| *c != '|').filter(|c| !c.is_whitespace()).count();
                return b.wrong_bar(reader.at, b.beat / per_bar, more + b.cells.len() - b.bar_start);
            }
        } else {
            match c {
                '|' if b.at_bar_line() => {}
                '|' => return b.wrong_bar(at, b.beat / per_bar + 1, b.cells.len() - b.bar_start),
                '{' if b.in_beat > 0 => return error(at, "a tuplet at the start of a beat", "a tuplet within a beat"),
                '{' => {
                    let (span, mut inner) = tuplet(&mut reader, &b.cells)?;
                    if b.beat == b.beats() {
                        return b.too_many(at);
                    }
                    let left = per_bar - b.beat % per_bar;
                    if usize::from(span.beats) > left {
                        let wanted = format!("a tuplet within its bar, which has {} left", count(left, "beat"));
                        let found = format!("a tuplet over {}", count(usize::from(span.beats), "beat"));
                        return error(at, wanted, found);
                    }
                    b.cells.append(&mut inner);
                    b.close_span(span);
                }
                _ => return error(at, MARKS, shown(Some((at, c)))),
            }
        }
        if b.at_bar_line() {
            b.bar_start = b.cells.len();
        }
    }
    if b.beat != b.beats() || b.in_beat > 0 {
        let part = if b.in_beat > 0 { " and a part" } else { "" };
        let found = format!("{}{part} of {} beats", b.beat, b.beats());
        return error(text.len(), format!("{} of {}", count(bars, "bar"), b.bar_length()), found);
    }
    Ok(Part::Barred { spans: b.spans, cells: b.cells })
}

fn check_hold(before: &[Cell], cell: Cell, at: usize) -> Result<(), NotationError> {
    if cell == Cell::Hold && before.last() == Some(&Cell::Rest) { hold_after_rest(at) } else { Ok(()) }
}

fn hold_after_rest<T>(at: usize) -> Result<T, NotationError> {
    error(at, "a hold after an attack or another hold", "a hold after a rest")
}

fn tuplet(reader: &mut Reader<'_>, before: &[Cell]) -> Result<(Span, Vec<Cell>), NotationError> {
    let start = reader.at;
    let form = "a tuplet like {5: x.x.x} or {7/2: x..x..x}";
    let number = |reader: &mut Reader<'_>, bound: &'static Bound| {
        let at = reader.at;
        match reader.number() {
            Some(n) => bound.check(n).or_else(|e| error(at, bound.range(), e.value.to_string())),
            None => error(at, form, shown(reader.next())),
        }
    };
    let cells = number(reader, &TUPLET_CELLS)?;
    let beats = if reader.text[reader.at..].starts_with('/') {
        reader.at += 1;
        number(reader, &TUPLET_BEATS)?
    } else {
        1
    };
    match reader.next() {
        Some((_, ':')) => {}
        other => return error(other.map_or(reader.at, |o| o.0), form, shown(other)),
    }
    // Only the last cell before it matters to a hold at its start.
    let mut all: Vec<Cell> = before.last().copied().into_iter().collect();
    let known = all.len();
    loop {
        match reader.next() {
            Some((_, '}')) => break,
            Some((at, c)) => match cell_of(c) {
                Some(cell) => {
                    check_hold(&all, cell, at)?;
                    all.push(cell);
                }
                None => return error(at, "x X o - . or } within a tuplet", shown(Some((at, c)))),
            },
            None => return error(reader.at, "'}' at the end of the tuplet", "the end"),
        }
    }
    let inner = all.split_off(known);
    if inner.len() as i64 != cells {
        return error(start, format!("{cells} cells in the tuplet"), inner.len().to_string());
    }
    Ok((Span { beats: beats as u16, cells: cells as u16 }, inner))
}

/// Parses a cycle: cells only.
///
/// # Errors
/// Any other mark, a hold after a rest, and no cell at all.
pub fn parse_cycle(text: &str) -> Result<Vec<Cell>, NotationError> {
    let mut reader = Reader { text, at: 0 };
    let mut cells = Vec::new();
    while let Some((at, c)) = reader.next() {
        let wanted = "x attack, X accent, o ghost, - hold, . rest (a cycle has no bar lines and no tuplets)";
        let Some(cell) = cell_of(c) else { return error(at, wanted, shown(Some((at, c)))) };
        check_hold(&cells, cell, at)?;
        cells.push(cell);
    }
    if cells.is_empty() {
        return error(0, "at least one cell", "none");
    }
    let part = Part::Cycled { cells, start: 0 };
    if let Some(at) = part.stray_hold() {
        return hold_after_rest(at);
    }
    let Part::Cycled { cells, .. } = part else { unreachable!("made as a cycle above") };
    Ok(cells)
}

/// Prints cells without bar lines or tuplets.
pub fn print_cells(cells: &[Cell]) -> String {
    cells.iter().map(|c| mark(*c)).collect()
}

/// Prints a part as [`parse_bars`] or [`parse_cycle`] reads it; beats are separated by spaces when `spaced`.
pub fn print_part(part: &Part, meter: &Meter, division: u16, spaced: bool) -> String {
    let (spans, cells) = match part {
        Part::Cycled { cells, .. } => return print_cells(cells),
        Part::Barred { spans, cells } => (spans, cells),
    };
    let mut text = String::new();
    let (mut beat, mut first) = (0, 0);
    for span in spans {
        if beat > 0 {
            match (beat % meter.beats(), spaced) {
                (0, true) => text.push_str(" | "),
                (0, false) => text.push('|'),
                (_, true) => text.push(' '),
                _ => {}
            }
        }
        let inner = print_cells(&cells[first..first + usize::from(span.cells)]);
        match (span.beats, span.cells == division) {
            (1, true) => text.push_str(&inner),
            (1, false) => text.extend(["{", &span.cells.to_string(), ": ", &inner, "}"]),
            (beats, _) => text.extend(["{", &span.cells.to_string(), "/", &beats.to_string(), ": ", &inner, "}"]),
        }
        beat += usize::from(span.beats);
        first += usize::from(span.cells);
    }
    text
}
