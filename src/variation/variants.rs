//! The grooves near to a groove: every operation on a figure, a part or a layer, each result once.

use super::operation::{self, Operation, Source};
use super::row::Row;
use crate::analysis::groups::{groups, necklace};
use crate::analysis::landing;
use crate::rhythm::{Attack, Cell, Edit, EditError, Groove, Part, Place, count};
use std::collections::HashMap;
use std::fmt;
use std::ops::Range;

/// Greatest number of orders of the groups that are tried.
const MAX_ORDERS: usize = 20_000;

/// What is varied: cells of one layer in one section, or every coming of its figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Subject {
    pub(crate) layer: usize,
    pub(crate) section: usize,
    /// The first cell of each coming.
    pub(crate) starts: Vec<usize>,
    /// Length of one coming in cells.
    pub(crate) cells: usize,
}

/// Why something cannot be varied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SubjectError {
    NoAttacks,
    NoFigure,
    Tuplets,
    /// A cell that is not there; the number of cells.
    NoSuchCell(usize),
}

impl fmt::Display for SubjectError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAttacks => f.write_str("there is no attack to vary"),
            Self::NoFigure => {
                f.write_str("the layer has no figure that comes again; vary the layer or some cells of it")
            }
            Self::Tuplets => f.write_str("there is a tuplet; variants need cells of one length"),
            Self::NoSuchCell(cells) => write!(f, "expected cells within the {}", count(*cells, "cell")),
        }
    }
}

impl Subject {
    /// All cells of a layer in a section; of a cycle one repetition.
    pub(crate) fn layer(groove: &Groove, layer: usize, section: usize) -> Result<Self, SubjectError> {
        Self::whole(groove, layer, section).checked(groove)
    }

    /// The same, whatever is in the cells.
    fn whole(groove: &Groove, layer: usize, section: usize) -> Self {
        let cells = match groove.part(layer, section) {
            Part::Cycled { cells, .. } => cells.len(),
            Part::Barred { .. } => groove.cells(layer, section),
        };
        Self { layer, section, starts: vec![0], cells }
    }

    /// Some cells of a layer in a section.
    pub(crate) fn cells(
        groove: &Groove,
        layer: usize,
        section: usize,
        range: Range<usize>,
    ) -> Result<Self, SubjectError> {
        let all = groove.cells(layer, section);
        if range.is_empty() || range.end > all {
            return Err(SubjectError::NoSuchCell(all));
        }
        let whole = Self::whole(groove, layer, section);
        if groove.part(layer, section).is_cycle() && range.len() >= whole.cells {
            return whole.checked(groove);
        }
        Self { starts: vec![range.start], cells: range.len(), ..whole }.checked(groove)
    }

    /// Every coming of the figure that covers most of a layer in a section.
    pub(crate) fn figure(groove: &Groove, layer: usize, section: usize) -> Result<Self, SubjectError> {
        let whole = Self::whole(groove, layer, section);
        if groove.part(layer, section).is_cycle() {
            return whole.checked(groove);
        }
        let found = groups(groove, layer, section).ok_or(SubjectError::NoAttacks)?;
        let figures = found.figures.iter().filter(|f| found.in_cells && f.groups.len() > 1);
        let figure = figures.reduce(|a, b| if b.covers > a.covers { b } else { a }).ok_or(SubjectError::NoFigure)?;
        let comings = |head: &u32| {
            let head = *head;
            (0..figure.times).map(move |n| (head + n * figure.units) as usize)
        };
        let starts = figure.heads.iter().flat_map(comings).collect();
        Self { starts, cells: figure.units as usize, ..whole }.checked(groove)
    }

    fn checked(self, groove: &Groove) -> Result<Self, SubjectError> {
        let (part, context) = (groove.part(self.layer, self.section), groove.context(self.layer, self.section));
        let even = (1, context.division);
        let is_in = |first: usize, cells: u16| {
            self.starts.iter().any(|s| first < s + self.cells && first + usize::from(cells) > *s)
        };
        let spots = part.spots(context);
        if spots.iter().any(|s| (s.span.beats, s.span.cells) != even && is_in(s.first, s.span.cells)) {
            return Err(SubjectError::Tuplets);
        }
        let has_attack = self.rows(groove).iter().flatten().any(|c| c.attack().is_some());
        if has_attack { Ok(self) } else { Err(SubjectError::NoAttacks) }
    }

    /// The cells of each coming.
    fn rows(&self, groove: &Groove) -> Vec<Vec<Cell>> {
        let part = groove.part(self.layer, self.section);
        self.starts.iter().map(|s| (*s..s + self.cells).map(|c| part.cell(c)).collect()).collect()
    }

    /// The cells before the first group, and the groups, of the first coming.
    pub(crate) fn line(&self, groove: &Groove) -> (usize, Vec<u32>) {
        let row = self.rows(groove).first().map(|cells| Row::new(cells));
        row.map_or((0, Vec::new()), |row| (row.lead.len(), row.sizes()))
    }

    /// For each cell of a coming whether it is on a beat; empty for a cycle.
    fn on_beat(&self, groove: &Groove, start: usize) -> Vec<bool> {
        let (part, context) = (groove.part(self.layer, self.section), groove.context(self.layer, self.section));
        if part.is_cycle() {
            return Vec::new();
        }
        let on = |cell| part.spot(cell, context).is_some_and(|spot| landing::depth(spot, context).on_beat());
        (start..start + self.cells).map(on).collect()
    }

    /// The groove with other cells in each coming.
    fn replaced(&self, groove: &Groove, rows: &[Vec<Cell>]) -> Result<Groove, EditError> {
        let mut groove = groove.clone();
        for (start, row) in self.starts.iter().zip(rows) {
            let at = Place { layer: self.layer, section: self.section, cell: *start };
            groove = groove.edited(&Edit::Cells(at, row.clone()))?;
        }
        Ok(groove)
    }
}

/// Another groove.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Variant {
    pub(crate) groove: Groove,
    /// The ways to make it, the simplest first.
    pub(crate) made: Vec<Operation>,
    /// The groups of its first coming.
    pub(crate) groups: Vec<u32>,
    /// Cells before the first group.
    pub(crate) lead: usize,
    /// What it is a rotation of, if anything that was made before it.
    pub(crate) rotation_of: Option<RotationOf>,
    /// Cells whose attacks differ from the original's; another accent counts as half, a rest for a hold as a tenth.
    pub(crate) distance: f64,
}

/// What a variant is a rotation of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RotationOf {
    Original,
    /// An earlier variant, as an index.
    Variant(usize),
}

/// The variants of a subject.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Variants {
    /// In the order in which they were made.
    pub(crate) found: Vec<Variant>,
    /// Whether there are more than were asked for.
    pub(crate) has_more: bool,
}

/// The variants of a subject by the operations of some families, at most `most`.
pub(crate) fn variants(groove: &Groove, subject: &Subject, families: &[&str], most: usize) -> Variants {
    let rows = subject.rows(groove);
    let on_beat: Vec<Vec<bool>> = subject.starts.iter().map(|s| subject.on_beat(groove, *s)).collect();
    let part = groove.part(subject.layer, subject.section);
    let goes_round = part.is_cycle() && subject.cells == part.stored().len();
    let sources: Vec<Source<'_>> =
        rows.iter().zip(&on_beat).map(|(cells, on_beat)| Source { cells, on_beat }).collect();
    let mut answer = Variants::default();
    let Some(first) = sources.first() else { return answer };
    let original = Row::new(first.cells);
    let is_wanted = |op: &Operation| families.contains(&op.family());
    // An order may give a line that is known already, so their number is limited too.
    let orders = families.contains(&operation::PERMUTE).then(|| operation::orders(&original).take(MAX_ORDERS));
    // Variants whose pitches alone differ are equal.
    let unpitched = |rows: &[Vec<Cell>]| -> Vec<Vec<Cell>> {
        rows.iter().map(|row| row.iter().map(|c| without_pitch(*c)).collect()).collect()
    };
    let unvaried = unpitched(&rows);
    let mut seen: HashMap<Vec<Vec<Cell>>, usize> = HashMap::new();
    let mut rings: HashMap<Vec<u32>, RotationOf> = HashMap::from([(ring(&original), RotationOf::Original)]);
    for op in Operation::all(*first).into_iter().filter(is_wanted).chain(orders.into_iter().flatten()) {
        // An operation that changes nothing in a coming leaves it as it is.
        let made: Vec<Option<Vec<Cell>>> = sources.iter().map(|s| op.apply(*s)).collect();
        if made[0].is_none() {
            continue;
        }
        let new = made.into_iter().zip(&rows).map(|(new, old)| match new {
            Some(new) if goes_round => new,
            Some(new) => without_leading_holds(new, old),
            None => old.clone(),
        });
        let new: Vec<Vec<Cell>> = new.collect();
        let rhythm = unpitched(&new);
        if rhythm == unvaried {
            continue;
        }
        if let Some(known) = seen.get(&rhythm) {
            answer.found[*known].made.push(op);
            continue;
        }
        if answer.found.len() == most {
            answer.has_more = true;
            break;
        }
        let Ok(varied) = subject.replaced(groove, &new) else { continue };
        if varied == *groove {
            continue;
        }
        let row = Row::new(&new[0]);
        let (index, ring) = (answer.found.len(), ring(&row));
        let rotation_of = rings.get(&ring).copied();
        rings.entry(ring).or_insert(RotationOf::Variant(index));
        let distance = rows.iter().zip(&new).map(|(old, new)| distance(old, new)).sum();
        seen.insert(rhythm, index);
        answer.found.push(Variant {
            groove: varied,
            made: vec![op],
            groups: row.sizes(),
            lead: row.lead.len(),
            rotation_of,
            distance,
        });
    }
    answer
}

/// The groups round the loop, in their least rotation.
fn ring(row: &Row) -> Vec<u32> {
    let mut sizes = row.sizes();
    if let Some(last) = sizes.last_mut() {
        *last += row.lead.len() as u32;
    }
    necklace(&sizes)
}

fn without_pitch(cell: Cell) -> Cell {
    match cell {
        Cell::Attack(attack) => Cell::Attack(Attack { pitch: None, ..attack }),
        cell => cell,
    }
}

/// A row in which nothing sounds before the first attack, unless it did before.
fn without_leading_holds(mut new: Vec<Cell>, old: &[Cell]) -> Vec<Cell> {
    for (new, old) in new.iter_mut().zip(old).take_while(|(new, _)| new.attack().is_none()) {
        if *old != Cell::Hold && *new == Cell::Hold {
            *new = Cell::Rest;
        }
    }
    new
}

/// Distance of a hold from a rest.
const HOLD: f64 = 0.1;

fn distance(old: &[Cell], new: &[Cell]) -> f64 {
    let of = |(a, b): (&Cell, &Cell)| match (a.attack(), b.attack()) {
        (Some(a), Some(b)) if a.accent == b.accent && a.flam == b.flam => 0.0,
        (Some(_), Some(_)) => 0.5,
        (None, None) if a == b => 0.0,
        (None, None) => HOLD,
        _ => 1.0,
    };
    old.iter().zip(new).map(of).sum()
}
