//! The cells of a layer in one section as a table holds them: cells, groups or a cycle, and pitches.

use super::error::{ParseError, Problem};
use super::fields::{Fields, SpannedStr};
use crate::rhythm::bounds::{CELLS_OF_LAYER, CYCLE};
use crate::rhythm::{Accent, Cell, NotationError, Part, PartContext, Pitch, Span, cell_notation, expected, group_line};

/// The keys of the cells; a table has at most one.
pub(super) const FORM_KEYS: [&str; 3] = ["cells", "groups", "cycle"];
/// The keys of a part besides its section.
pub(super) const CELLS_KEYS: [&str; 5] = ["cells", "groups", "cycle", "start", "pitches"];

/// Reads a part; rests if the table has none of its keys. `spent` is the number of the layer's cells so far, over all passes.
pub(super) fn read(
    fields: Fields<'_>,
    context: PartContext<'_>,
    times: u16,
    spent: &mut i64,
) -> Result<Part, ParseError> {
    let mut part = read_cells(fields, context, times, spent)?;
    if let Some(string) = fields.string("pitches")? {
        let pitches = read_pitches(&string)?;
        let attacks = part.stored().iter().filter(|c| c.attack().is_some()).count();
        if attacks != pitches.len() {
            return Err(string.error_at_start(Problem::PitchCount(pitches.len(), attacks)));
        }
        let mut pitches = pitches.into_iter();
        set_pitches(&mut part, || pitches.next().flatten());
    }
    Ok(part)
}

fn set_pitches(part: &mut Part, mut pitch: impl FnMut() -> Option<Pitch>) {
    for cell in part.stored_mut() {
        if let Cell::Attack(attack) = cell {
            attack.pitch = pitch();
        }
    }
}

/// Reads a part without its pitches.
pub(super) fn read_cells(
    fields: Fields<'_>,
    context: PartContext<'_>,
    times: u16,
    spent: &mut i64,
) -> Result<Part, ParseError> {
    let mut forms = FORM_KEYS.into_iter().filter(|key| fields.has(key));
    let (first, second) = (forms.next(), forms.next());
    if let (Some(one), Some(other)) = (first, second) {
        return Err(fields.error_at_key(other, Problem::Conflict(one, other)));
    }
    if fields.has("start") && first != Some("cycle") {
        return Err(fields.error_at_key("start", Problem::Requires("start", "cycle")));
    }
    let even = context.beats() * usize::from(context.division);
    // Checked before the cells are built, so that no text can allocate more than a groove may have.
    let mut spend = |cells: usize| {
        *spent += cells as i64 * i64::from(times);
        CELLS_OF_LAYER.check(*spent).map_err(Problem::Bound)
    };
    let Some(key) = first else {
        spend(even).map_err(|p| fields.error(p))?;
        return Ok(Part::rests(context));
    };
    let string = fields.string(key)?.expect("the key was found above");
    let notation = |e: NotationError| string.error(e.at, Problem::Notation(e.to_string()));
    let marks = string.text.chars().filter(|c| cell_notation::is_mark(*c)).count();
    spend(if key == "cells" { marks } else { even }).map_err(|p| string.error_at_start(p))?;
    match key {
        "cells" => {
            cell_notation::parse_bars(string.text, context.meter, context.bars, context.division).map_err(notation)
        }
        "groups" => {
            let terms = group_line::parse(string.text).map_err(notation)?;
            let groups = group_line::expand(&terms);
            let sum = groups.iter().map(|&g| u64::from(g)).sum::<u64>();
            if sum != even as u64 {
                return Err(string.error_at_start(Problem::GroupSum(sum, even)));
            }
            let mut part = Part::rests(context);
            let mut at = 0;
            for group in groups {
                part.stored_mut()[at] = Cell::ATTACK;
                at += group as usize;
            }
            Ok(part)
        }
        _ => {
            CYCLE.check(marks.max(1) as i64).map_err(|e| string.error_at_start(Problem::Bound(e)))?;
            let cells = cell_notation::parse_cycle(string.text).map_err(notation)?;
            if cells.len() > even {
                return Err(string.error_at_start(Problem::CycleTooLong(cells.len(), even)));
            }
            let start = match fields.integer("start")? {
                None => 0,
                Some(n) if (1..=cells.len() as i64).contains(&n) => (n - 1) as u16,
                Some(n) => {
                    let form = format!("a cell of the cycle, 1 to {}", cells.len());
                    return Err(fields.error_at("start", Problem::Form("start", n.to_string(), form)));
                }
            };
            Ok(Part::Cycled { cells, start })
        }
    }
}

fn read_pitches(string: &SpannedStr<'_>) -> Result<Vec<Option<Pitch>>, ParseError> {
    let mut pitches = Vec::new();
    for word in string.text.split_whitespace() {
        let pitch = Pitch::parse(word);
        if pitch.is_none() && word != "." {
            // The word is a slice of the text.
            let at = word.as_ptr() as usize - string.text.as_ptr() as usize;
            let wanted = "a pitch like E2, C#4 or Bb3, or '.' for none";
            let message = expected(wanted, format!("'{}'", word.escape_debug()));
            return Err(string.error(at, Problem::Notation(message)));
        }
        pitches.push(pitch);
    }
    Ok(pitches)
}

/// The part without its pitches.
pub(super) fn without_pitches(part: &Part) -> Part {
    let mut part = part.clone();
    set_pitches(&mut part, || None);
    part
}

/// The part as a line of groups, if it has only plain attacks without flams and rests, starts with an attack and has no tuplets.
pub(super) fn groups(part: &Part, division: u16) -> Option<String> {
    let Part::Barred { spans, cells } = part else { return None };
    if spans.iter().any(|s| *s != Span { beats: 1, cells: division }) {
        return None;
    }
    let mut groups: Vec<u32> = Vec::new();
    for cell in cells {
        match cell {
            Cell::Attack(attack) if attack.accent == Accent::Plain && !attack.flam => groups.push(1),
            Cell::Rest => *groups.last_mut()? += 1,
            _ => return None,
        }
    }
    Some(group_line::print(&group_line::compress(&groups)))
}
