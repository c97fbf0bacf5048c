//! Cells as text, `x..x|{5: x.x.x}`: parse and print.

use super::bounds::{Bound, TUPLET_BEATS, TUPLET_CELLS};
use super::cell::{Accent, Attack, Cell};
use super::divide::pieces;
use super::meter::Meter;
use super::part::{Part, Span};
use super::text::{NotationError, count};

const MARKS: &str =
    "o s x S X attacks from ghost to accent, / before a flam, - hold, . rest, | between bars, {5: ...} a tuplet";
const CYCLE_MARKS: &str =
    "o s x S X attacks from ghost to accent, / before a flam, - hold, . rest (a cycle has no bar lines and no tuplets)";
const TUPLET_MARKS: &str = "o s x S X, / before a flam, - . or } within a tuplet";
const FLAM_MARKS: &str = "o s x S X after '/', which makes the attack a flam";

/// Stands before the mark of an attack that is a flam.
const FLAM: char = '/';

/// The mark of a cell; a flam has [`FLAM`] before it, see [`print_cell`].
fn mark(cell: Cell) -> char {
    match cell {
        Cell::Rest => '.',
        Cell::Hold => '-',
        Cell::Attack(a) => match a.accent {
            Accent::Ghost => 'o',
            Accent::Soft => 's',
            Accent::Plain => 'x',
            Accent::Strong => 'S',
            Accent::Accent => 'X',
        },
    }
}

fn attack_of(symbol: char) -> Option<Attack> {
    let attack = |accent| Attack { accent, ..Attack::default() };
    Accent::ALL.into_iter().map(attack).find(|a| mark(Cell::Attack(*a)) == symbol)
}

fn cell_of(symbol: char) -> Option<Cell> {
    let silent = [Cell::Rest, Cell::Hold].into_iter().find(|cell| mark(*cell) == symbol);
    silent.or_else(|| attack_of(symbol).map(Cell::Attack))
}

/// Whether a character stands for one cell.
pub(crate) fn is_mark(symbol: char) -> bool {
    cell_of(symbol).is_some()
}

/// Prints one cell.
pub(crate) fn print_cell(cell: Cell) -> String {
    let is_flam = cell.attack().is_some_and(|a| a.flam);
    is_flam.then_some(FLAM).into_iter().chain([mark(cell)]).collect()
}

/// The text with its cells replaced by others; `None` if it has another number of cells.
pub(crate) fn replace_cells(text: &str, cells: &[Cell]) -> Option<String> {
    if text.chars().filter(|c| is_mark(*c)).count() != cells.len() {
        return None;
    }
    let (mut cells, mut replaced, mut within_header) = (cells.iter(), String::with_capacity(text.len()), false);
    for c in text.chars() {
        within_header = c == '{' || within_header && c != ':';
        match c {
            _ if is_mark(c) => replaced.push_str(&print_cell(*cells.next()?)),
            // The slash of `{7/2: ...}` is no flam.
            FLAM if !within_header => {}
            _ => replaced.push(c),
        }
    }
    Some(replaced)
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
    cells: Vec<Cell>,
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

    /// The cell that a character begins, read to its end; `None` for another character.
    fn cell(&mut self, c: char) -> Result<Option<Cell>, NotationError> {
        if c != FLAM {
            return Ok(cell_of(c));
        }
        let next = self.next();
        match next.and_then(|(_, c)| attack_of(c)) {
            Some(attack) => Ok(Some(Cell::Attack(Attack { flam: true, ..attack }))),
            None => error(next.map_or(self.text.len(), |n| n.0), FLAM_MARKS, shown(next)),
        }
    }

    fn push(&mut self, cell: Cell, at: usize) -> Result<(), NotationError> {
        if cell == Cell::Hold && self.cells.last() == Some(&Cell::Rest) {
            return hold_after_rest(at);
        }
        self.cells.push(cell);
        Ok(())
    }

    fn number(&mut self, bound: &'static Bound) -> Result<u16, NotationError> {
        let at = self.at;
        let digits = self.text[at..].bytes().take_while(u8::is_ascii_digit).count();
        self.at += digits;
        match self.text[at..self.at].parse().map(|n| bound.check(n)) {
            Ok(Ok(n)) => Ok(n as u16),
            Ok(Err(e)) => error(at, bound.range(), e.value.to_string()),
            Err(_) => error(at, TUPLET_FORM, shown(self.next())),
        }
    }

    /// Reads a tuplet after its opening brace.
    fn tuplet(&mut self) -> Result<Span, NotationError> {
        let start = self.at;
        let cells = self.number(&TUPLET_CELLS)?;
        let beats = if self.text[self.at..].starts_with('/') {
            self.at += 1;
            self.number(&TUPLET_BEATS)?
        } else {
            1
        };
        match self.next() {
            Some((_, ':')) => {}
            other => return error(other.map_or(self.at, |o| o.0), TUPLET_FORM, shown(other)),
        }
        let first = self.cells.len();
        loop {
            let Some((at, c)) = self.next() else {
                return error(self.at, "'}' at the end of the tuplet", "the end");
            };
            match self.cell(c)? {
                Some(cell) => self.push(cell, at)?,
                None if c == '}' => break,
                None => return error(at, TUPLET_MARKS, shown(Some((at, c)))),
            }
        }
        let found = self.cells.len() - first;
        if found != usize::from(cells) {
            return error(start, format!("{cells} cells in the tuplet"), found.to_string());
        }
        Ok(Span { beats, cells })
    }
}

const TUPLET_FORM: &str = "a tuplet like {5: x.x.x} or {7/2: x..x..x}";

fn error<T>(at: usize, wanted: impl Into<String>, found: impl Into<String>) -> Result<T, NotationError> {
    Err(NotationError::new(at, wanted, found))
}

fn hold_after_rest<T>(at: usize) -> Result<T, NotationError> {
    error(at, "a hold after an attack or another hold", "a hold after a rest")
}

fn shown(c: Option<(usize, char)>) -> String {
    c.map_or("the end".into(), |(_, c)| format!("'{}'", c.escape_debug()))
}

/// Parses `bars` bars of `meter` at `division` cells per beat. Bar lines may be left out altogether.
///
/// # Errors
/// An unknown mark, a bar or part of the wrong length, an invalid tuplet, and a hold after a rest.
pub fn parse_bars(text: &str, meter: &Meter, bars: usize, division: u16) -> Result<Part, NotationError> {
    let (per_bar, beats) = (meter.beats(), meter.beats() * bars);
    let bar_cells = per_bar * usize::from(division);
    let bar_length = || {
        let division = count(usize::from(division), "cell");
        format!("{} for {meter} at {division} per beat", count(bar_cells, "cell"))
    };
    let wrong_bar = |at, bar: usize, cells| {
        let wanted = format!("{} (a tuplet counts as the cells of the beats it replaces)", bar_length());
        error(at, wanted, format!("{} in bar {bar}", count(cells, "cell")))
    };
    let all_bars = || format!("{} of {}", count(bars, "bar"), bar_length());
    let too_many = |at| error(at, all_bars(), format!("more than {}", count(bars, "bar")));

    let mut reader = Reader { text, at: 0, cells: Vec::new() };
    let mut spans = Vec::new();
    // Complete beats, cells of the incomplete beat, and the first cell of the bar.
    let (mut beat, mut in_beat, mut bar_start) = (0_usize, 0, 0);
    while let Some((at, c)) = reader.next() {
        let at_bar_line = beat.is_multiple_of(per_bar) && in_beat == 0;
        let cell = reader.cell(c)?;
        let span = match (c, cell) {
            (_, Some(_)) if beat == beats => return too_many(at),
            (_, Some(cell)) => {
                reader.push(cell, at)?;
                in_beat += 1;
                (in_beat == division).then_some(Span { beats: 1, cells: division })
            }
            ('|', _) if at_bar_line => None,
            ('|', _) => return wrong_bar(at, beat / per_bar + 1, reader.cells.len() - bar_start),
            ('{', _) if in_beat > 0 => return error(at, "a tuplet at the start of a beat", "a tuplet within a beat"),
            ('{', _) => {
                let span = reader.tuplet()?;
                if beat == beats {
                    return too_many(at);
                }
                let left = per_bar - beat % per_bar;
                if usize::from(span.beats) > left {
                    let wanted = format!("a tuplet within its bar, which has {} left", count(left, "beat"));
                    let found = format!("a tuplet over {}", count(usize::from(span.beats), "beat"));
                    return error(at, wanted, found);
                }
                Some(span)
            }
            _ => return error(at, MARKS, shown(Some((at, c)))),
        };
        let Some(span) = span else { continue };
        spans.push(span);
        beat += usize::from(span.beats);
        in_beat = 0;
        if beat.is_multiple_of(per_bar) {
            let rest = &text[reader.at..];
            // A bar of cells with bar lines elsewhere must be followed by one.
            if cell.is_some() && beat < beats && text.contains('|') && !rest.trim_start().starts_with('|') {
                let more = rest.chars().take_while(|c| *c != '|').filter(|c| !c.is_whitespace() && *c != FLAM).count();
                return wrong_bar(reader.at, beat / per_bar, more + reader.cells.len() - bar_start);
            }
            bar_start = reader.cells.len();
        }
    }
    if beat != beats || in_beat > 0 {
        let part = if in_beat > 0 { " and part of the next" } else { "" };
        return error(text.len(), all_bars(), format!("{beat} of {beats} beats{part}"));
    }
    Ok(Part::Barred { spans, cells: reader.cells })
}

/// Parses a cycle, which has neither bar lines nor tuplets.
pub(crate) fn parse_cycle(text: &str) -> Result<Vec<Cell>, NotationError> {
    let mut reader = Reader { text, at: 0, cells: Vec::new() };
    while let Some((at, c)) = reader.next() {
        let Some(cell) = reader.cell(c)? else { return error(at, CYCLE_MARKS, shown(Some((at, c)))) };
        reader.push(cell, at)?;
    }
    if reader.cells.is_empty() {
        return error(0, "at least one cell", "none");
    }
    let part = Part::Cycled { cells: reader.cells, start: 0 };
    match part.stray_hold() {
        Some(at) => hold_after_rest(at),
        None => Ok(part.stored().to_vec()),
    }
}

/// Prints cells without bar lines or tuplets.
pub(crate) fn print_cells(cells: &[Cell]) -> String {
    cells.iter().map(|c| print_cell(*c)).collect()
}

/// Prints a part as [`parse_bars`] or [`parse_cycle`] reads it, with spaces between beats and around bar lines.
pub(crate) fn print_part(part: &Part, meter: &Meter, division: u16) -> String {
    let (spans, cells) = match part {
        Part::Cycled { cells, .. } => return print_cells(cells),
        Part::Barred { spans, cells } => (spans, cells),
    };
    let mut text = String::new();
    let mut beat = 0;
    for (span, piece) in pieces(spans, cells) {
        if beat > 0 {
            text.push_str(if beat % meter.beats() == 0 { " | " } else { " " });
        }
        let (beats, cells, marks) = (span.beats, span.cells, print_cells(piece));
        let printed = match (beats, cells == division) {
            (1, true) => marks,
            (1, false) => format!("{{{cells}: {marks}}}"),
            _ => format!("{{{cells}/{beats}: {marks}}}"),
        };
        text.push_str(&printed);
        beat += usize::from(beats);
    }
    text
}
