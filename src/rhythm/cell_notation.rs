//! Cells drawn as text, `x..x|{5: x.x.x}`: read and printed. It must not know files, only offsets in the text.

use super::bounds::{TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Accent, Attack, Cell};
use super::meter::Meter;
use super::part::{Part, Span};
use std::fmt;

/// What is wrong with a drawing, and where (byte offset from 0).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellNotationError {
    /// Byte offset in the text.
    pub at: usize,
    /// What was found.
    pub found: String,
    /// What is allowed there.
    pub allowed: String,
}

impl fmt::Display for CellNotationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found {}, allowed is {}", self.found, self.allowed)
    }
}

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

fn error<T>(at: usize, found: impl Into<String>, allowed: impl Into<String>) -> Result<T, CellNotationError> {
    Err(CellNotationError { at, found: found.into(), allowed: allowed.into() })
}

fn many(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn shown(c: Option<(usize, char)>) -> String {
    c.map_or("the end".into(), |(_, c)| format!("'{}'", c.escape_debug()))
}

/// Reads a drawing of `bars` bars of `meter` at `division` cells per beat.
///
/// Bar lines may be left out altogether; where one stands, a bar must end.
///
/// # Errors
/// [`CellNotationError`] with the place, for an unknown mark, a bar or a drawing of wrong length, a tuplet that begins within a
/// beat, crosses a bar line or has not the number of cells it says, and a hold after a rest.
pub fn parse_bars(text: &str, meter: &Meter, bars: usize, division: u16) -> Result<Part, CellNotationError> {
    let (mut spans, mut cells): (Vec<Span>, Vec<Cell>) = (Vec::new(), Vec::new());
    let (mut beat, mut in_beat) = (0_usize, 0_u16);
    let per_bar = meter.beats();
    let want = per_bar * usize::from(division);
    let mut bar_start = 0;
    let mut reader = Reader { text, at: 0 };
    let lengths = |cells: usize, b: usize| {
        (
            format!("bar {b} with {}", many(cells, "cell")),
            format!(
                "{} for {meter} at {} per beat, a tuplet counting as its beats",
                many(want, "cell"),
                many(usize::from(division), "cell")
            ),
        )
    };
    while let Some((at, c)) = reader.next() {
        if let Some(cell) = cell_of(c) {
            if beat == per_bar * bars {
                return error(at, format!("more cells than {}", many(bars, "bar")), format!("{} cells", want * bars));
            }
            holds_something(&cells, cell, at)?;
            cells.push(cell);
            in_beat += 1;
            if in_beat == division {
                spans.push(Span { beats: 1, cells: division });
                (beat, in_beat) = (beat + 1, 0);
                if beat.is_multiple_of(per_bar)
                    && !text[reader.at..].trim_start().starts_with('|')
                    && text.contains('|')
                    && beat < per_bar * bars
                {
                    let found = lengths(
                        text[reader.at..].chars().take_while(|c| *c != '|').filter(|c| !c.is_whitespace()).count()
                            + cells.len()
                            - bar_start,
                        beat / per_bar,
                    );
                    return error(reader.at, found.0, found.1);
                }
                if beat.is_multiple_of(per_bar) {
                    bar_start = cells.len();
                }
            }
            continue;
        }
        match c {
            '|' if beat.is_multiple_of(per_bar) && in_beat == 0 => {}
            '|' => {
                let (found, allowed) = lengths(cells.len() - bar_start, beat / per_bar + 1);
                return error(at, found, allowed);
            }
            '{' if in_beat > 0 => {
                return error(at, "a tuplet within a beat", "a tuplet at the start of a beat");
            }
            '{' => {
                let (span, mut inner) = tuplet(&mut reader, &cells)?;
                if beat == per_bar * bars {
                    return error(
                        at,
                        format!("more cells than {}", many(bars, "bar")),
                        format!("{} cells", want * bars),
                    );
                }
                let left = per_bar - beat % per_bar;
                if usize::from(span.beats) > left {
                    let found = format!("a tuplet over {}", many(usize::from(span.beats), "beat"));
                    return error(at, found, format!("a tuplet within its bar, which has {} left", many(left, "beat")));
                }
                cells.append(&mut inner);
                spans.push(span);
                beat += usize::from(span.beats);
                if beat.is_multiple_of(per_bar) {
                    bar_start = cells.len();
                }
            }
            _ => return error(at, shown(Some((at, c))), MARKS),
        }
    }
    if beat != per_bar * bars || in_beat > 0 {
        let found = format!(
            "{} of {} beats",
            if in_beat > 0 { format!("{beat} and a part") } else { beat.to_string() },
            per_bar * bars
        );
        return error(
            text.len(),
            found,
            format!(
                "{} of {} for {meter} at {} per beat",
                many(bars, "bar"),
                many(want, "cell"),
                many(usize::from(division), "cell")
            ),
        );
    }
    Ok(Part::Barred { spans, cells })
}

fn holds_something(before: &[Cell], cell: Cell, at: usize) -> Result<(), CellNotationError> {
    if cell == Cell::Hold && before.last() == Some(&Cell::Rest) {
        return error(at, "a hold after a rest", "a hold after an attack or another hold");
    }
    Ok(())
}

fn tuplet(reader: &mut Reader<'_>, before: &[Cell]) -> Result<(Span, Vec<Cell>), CellNotationError> {
    let start = reader.at;
    let form = "a tuplet like {5: x.x.x} or {7/2: x..x..x}";
    let number = |reader: &mut Reader<'_>, bound: &'static super::bounds::Bound| {
        let at = reader.at;
        match reader.number() {
            Some(n) => bound.check(n).map_err(|e| CellNotationError {
                at,
                found: e.value.to_string(),
                allowed: e.bound.allowed(),
            }),
            None => error(at, shown(reader.next()), form),
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
        other => return error(other.map_or(reader.at, |o| o.0), shown(other), form),
    }
    // Only the last cell before it matters to a hold at its start.
    let mut all: Vec<Cell> = before.last().copied().into_iter().collect();
    let known = all.len();
    loop {
        match reader.next() {
            Some((_, '}')) => break,
            Some((at, c)) => match cell_of(c) {
                Some(cell) => {
                    holds_something(&all, cell, at)?;
                    all.push(cell);
                }
                None => return error(at, shown(Some((at, c))), "x X o - . or } within a tuplet"),
            },
            None => return error(reader.at, "the end", "'}' at the end of a tuplet"),
        }
    }
    let inner = all.split_off(known);
    if inner.len() as i64 != cells {
        return error(start, format!("{} cells in a tuplet of {cells}", inner.len()), format!("{cells} cells"));
    }
    Ok((Span { beats: beats as u16, cells: cells as u16 }, inner))
}

/// Reads the drawing of a cycle: cells only.
///
/// # Errors
/// [`CellNotationError`] with the place, for any other mark, and if there is no cell.
pub fn parse_cycle(text: &str) -> Result<Vec<Cell>, CellNotationError> {
    let mut reader = Reader { text, at: 0 };
    let mut cells = Vec::new();
    while let Some((at, c)) = reader.next() {
        match cell_of(c) {
            Some(cell) => {
                holds_something(&cells, cell, at)?;
                cells.push(cell);
            }
            None => {
                return error(
                    at,
                    shown(Some((at, c))),
                    "x attack, X accent, o ghost, - hold, . rest (a cycle has no bar lines and no tuplets)",
                );
            }
        }
    }
    if cells.is_empty() {
        return error(0, "no cell", "at least one cell");
    }
    let part = Part::Cycled { cells, start: 0 };
    if let Some(at) = part.stray_hold() {
        return error(at, "a hold after a rest", "a hold after an attack or another hold");
    }
    let Part::Cycled { cells, .. } = part else { unreachable!("made as a cycle above") };
    Ok(cells)
}

/// Prints cells without bar lines or tuplets.
pub fn print_cells(cells: &[Cell]) -> String {
    cells.iter().map(|c| mark(*c)).collect()
}

/// Prints a part in the form [`parse_bars`] or [`parse_cycle`] reads; beats are told apart by spaces when `spaced`.
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
