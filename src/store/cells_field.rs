//! One layer's cells in one section as a table holds them: cells, groups or a cycle, and pitches.

use super::error::{ParseError, Problem};
use super::fields::{Fields, Words};
use crate::rhythm::bounds::{CELLS_OF_LAYER, CYCLE};
use crate::rhythm::{Attack, Cell, Part, PartContext, Pitch, Span, cell_notation, expected, group_line};

/// The keys that say which cells there are; one of them at most.
pub(super) const LINES: [&str; 3] = ["cells", "groups", "cycle"];
/// All keys of a drawing.
pub(super) const KEYS: [&str; 5] = ["cells", "groups", "cycle", "start", "pitches"];

/// Reads the part a table draws; rests if it draws none. `spent` counts the layer's cells so far, times through counted.
pub(super) fn read(
    fields: Fields<'_>,
    context: PartContext<'_>,
    times: u16,
    spent: &mut i64,
) -> Result<Part, ParseError> {
    let mut part = read_line(fields, context, times, spent)?;
    if let Some(words) = fields.string("pitches")? {
        let pitches = read_pitches(&words)?;
        let (Part::Barred { cells, .. } | Part::Cycled { cells, .. }) = &mut part;
        let attacks = cells.iter().filter(|c| c.attack().is_some()).count();
        if attacks != pitches.len() {
            return words.fault_whole(Problem::PitchCount(pitches.len(), attacks));
        }
        let mut pitches = pitches.into_iter();
        for cell in cells.iter_mut() {
            if let Cell::Attack(attack) = cell {
                attack.pitch = pitches.next().flatten();
            }
        }
    }
    Ok(part)
}

/// Reads the cells alone, without pitches.
pub(super) fn read_line(
    fields: Fields<'_>,
    context: PartContext<'_>,
    times: u16,
    spent: &mut i64,
) -> Result<Part, ParseError> {
    let mut lines = LINES.into_iter().filter(|key| fields.has(key));
    let (first, second) = (lines.next(), lines.next());
    if let (Some(one), Some(other)) = (first, second) {
        return fields.fault_at_key(other, Problem::Both(one, other));
    }
    if fields.has("start") && first != Some("cycle") {
        return fields.fault_at_key("start", Problem::Without("start", "cycle"));
    }
    let even = context.beats() * usize::from(context.division);
    // Counted before anything is made of them, so that no text can ask for more memory than a groove may take.
    let mut spend = |cells: usize| {
        *spent += cells as i64 * i64::from(times);
        CELLS_OF_LAYER.check(*spent).map(drop).map_err(Problem::Bound)
    };
    let Some(key) = first else {
        spend(even).or_else(|p| fields.fault(p))?;
        return Ok(Part::rests(context));
    };
    let words = fields.string(key)?.expect("the key was found above");
    match key {
        "cells" => {
            spend(marks(words.text)).or_else(|p| words.fault_whole(p))?;
            cell_notation::parse_bars(words.text, context.meter, context.bars, context.division)
                .or_else(|e| words.fault(e.at, Problem::Drawing(e.to_string())))
        }
        "groups" => {
            spend(even).or_else(|p| words.fault_whole(p))?;
            let terms =
                group_line::parse(words.text).or_else(|e| words.fault(e.at, Problem::Drawing(e.to_string())))?;
            let groups = group_line::expand(&terms);
            let sum = groups.iter().map(|&g| u64::from(g)).sum::<u64>();
            if sum != even as u64 {
                return words.fault_whole(Problem::GroupSum(sum, even));
            }
            let mut cells = vec![Cell::Rest; even];
            let mut at = 0;
            for group in groups {
                cells[at] = Cell::ATTACK;
                at += group as usize;
            }
            Ok(Part::Barred { spans: vec![Span { beats: 1, cells: context.division }; context.beats()], cells })
        }
        _ => {
            spend(even).or_else(|p| words.fault_whole(p))?;
            let count = marks(words.text);
            CYCLE.check(count.max(1) as i64).map(drop).or_else(|e| words.fault_whole(Problem::Bound(e)))?;
            let cells = cell_notation::parse_cycle(words.text)
                .or_else(|e| words.fault(e.at, Problem::Drawing(e.to_string())))?;
            if cells.len() > even {
                return words.fault_whole(Problem::CycleTooLong(cells.len(), even));
            }
            let start = match fields.integer("start")? {
                None => 0,
                Some(n) if (1..=cells.len() as i64).contains(&n) => (n - 1) as u16,
                Some(n) => {
                    let form = format!("a cell of the cycle, 1 to {}", cells.len());
                    return fields.fault_at("start", Problem::Form("start", n.to_string(), form));
                }
            };
            Ok(Part::Cycled { cells, start })
        }
    }
}

fn read_pitches(words: &Words<'_>) -> Result<Vec<Option<Pitch>>, ParseError> {
    let mut pitches = Vec::new();
    for word in words.text.split_whitespace() {
        let pitch = Pitch::parse(word);
        if pitch.is_none() && word != "." {
            // The word is a slice of the text, so its place is the difference of their addresses.
            let at = word.as_ptr() as usize - words.text.as_ptr() as usize;
            let wanted = "a pitch like E2, C#4 or Bb3, or '.' for none";
            let message = expected(wanted, format!("'{}'", word.escape_debug()));
            return words.fault(at, Problem::Drawing(message));
        }
        pitches.push(pitch);
    }
    Ok(pitches)
}

fn is_mark(c: char) -> bool {
    matches!(c, 'x' | 'X' | 'o' | '-' | '.')
}

fn marks(text: &str) -> usize {
    text.chars().filter(|c| is_mark(*c)).count()
}

/// The same drawing with the marks of other cells, everything between them kept; `None` if there are not as many.
pub(super) fn remark(text: &str, cells: &[Cell]) -> Option<String> {
    if marks(text) != cells.len() {
        return None;
    }
    let mut cells = cells.iter();
    Some(
        text.chars()
            .map(|c| if is_mark(c) { cells.next().map_or(c, |cell| cell_notation::mark(*cell)) } else { c })
            .collect(),
    )
}

/// The part without its pitches.
pub(super) fn bare(part: &Part) -> Part {
    let mut part = part.clone();
    let (Part::Barred { cells, .. } | Part::Cycled { cells, .. }) = &mut part;
    for cell in cells.iter_mut() {
        if let Cell::Attack(a) = cell {
            *cell = Cell::Attack(Attack { pitch: None, ..*a });
        }
    }
    part
}

/// The part as a line of groups, if it is nothing but plain attacks and rests from the first cell on, without tuplets.
pub(super) fn groups(part: &Part, division: u16) -> Option<String> {
    let Part::Barred { spans, cells } = part else { return None };
    let even = spans.iter().all(|s| *s == Span { beats: 1, cells: division });
    let mut groups: Vec<u32> = Vec::new();
    for cell in &bare(part).stored()[..cells.len()] {
        if *cell == Cell::ATTACK {
            groups.push(1);
        } else if *cell == Cell::Rest {
            *groups.last_mut()? += 1;
        } else {
            return None;
        }
    }
    even.then(|| group_line::print(&group_line::compress(&groups)))
}
