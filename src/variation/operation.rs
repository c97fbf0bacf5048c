//! The operations that make one row of cells from another of the same length.

use super::row::{Group, Row};
use crate::rhythm::{Accent, Attack, Cell, count};
use std::fmt;

/// A change of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Operation {
    /// Starts with another group; the groups before it follow at the end.
    Rotate {
        first: usize,
    },
    /// Moves everything later by some cells, round the row.
    Displace {
        cells: usize,
    },
    /// The groups in reverse order.
    Retrograde,
    /// The groups in this order, as indices.
    Permute {
        order: Vec<usize>,
    },
    /// Two groups exchange their places.
    Swap {
        a: usize,
        b: usize,
    },
    /// One group becomes two, the first of this size.
    Split {
        group: usize,
        first: usize,
    },
    /// A group and the next one become one.
    Join {
        group: usize,
    },
    /// One group becomes longer by a cell and another one shorter.
    MoveCell {
        from: usize,
        to: usize,
    },
    /// All groups of one size get another, and those of the other size get the first.
    Exchange {
        a: usize,
        b: usize,
    },
    /// All groups get other lengths, in this ratio.
    Stretch {
        numer: usize,
        denom: usize,
    },
    /// Strikes the cells without an attack, and no others.
    Complement,
    /// The accents move on by some attacks.
    MoveAccents {
        attacks: usize,
    },
    Thin(Thinning),
    Fill(Filling),
}

/// Which attacks are taken away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Thinning {
    Ghosts,
    OffBeats,
    EverySecond,
}

/// Where attacks are added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Filling {
    SilentBeats,
    GhostsEverywhere,
}

/// The names by which operations are chosen.
pub(crate) const FAMILIES: [&str; 14] = [
    "rotate",
    "displace",
    "retrograde",
    "swap",
    "split",
    "join",
    "exchange",
    "double",
    "halve",
    "stretch",
    "complement",
    "accents",
    "thin",
    "fill",
];
/// The family that has many more variants than the others.
pub(crate) const PERMUTE: &str = "permute";

/// A row and how it lies to the beat.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Source<'a> {
    pub(crate) cells: &'a [Cell],
    /// For each cell whether it is on a beat; empty where the row has no fixed place in the bar.
    pub(crate) on_beat: &'a [bool],
}

impl Operation {
    /// The name of its family.
    pub(crate) fn family(&self) -> &'static str {
        match self {
            Self::Rotate { .. } => "rotate",
            Self::Displace { .. } => "displace",
            Self::Retrograde => "retrograde",
            Self::Permute { .. } => PERMUTE,
            Self::Swap { .. } => "swap",
            Self::Split { .. } => "split",
            Self::Join { .. } => "join",
            Self::MoveCell { .. } | Self::Exchange { .. } => "exchange",
            Self::Stretch { numer: 2, denom: 1 } => "double",
            Self::Stretch { numer: 1, denom: 2 } => "halve",
            Self::Stretch { .. } => "stretch",
            Self::Complement => "complement",
            Self::MoveAccents { .. } => "accents",
            Self::Thin(_) => "thin",
            Self::Fill(_) => "fill",
        }
    }

    /// Every operation that may be applied to a row, but for the orders of its groups.
    pub(crate) fn all(source: Source<'_>) -> Vec<Operation> {
        let row = Row::new(source.cells);
        let n = row.groups.len();
        let size = |i: usize| row.groups[i].size;
        let mut all: Vec<Operation> = (1..n).map(|first| Self::Rotate { first }).collect();
        all.extend((1..source.cells.len()).map(|cells| Self::Displace { cells }));
        all.push(Self::Retrograde);
        let pairs = || (0..n).flat_map(|a| (a + 1..n).map(move |b| (a, b)));
        all.extend((0..n).flat_map(|group| (1..size(group)).map(move |first| Self::Split { group, first })));
        all.extend((1..n).map(|group| Self::Join { group: group - 1 }));
        let mut sizes: Vec<usize> = (0..n).map(size).collect();
        sizes.sort_unstable();
        sizes.dedup();
        let others = sizes.iter().flat_map(|s| [s.saturating_sub(1), s + 1]).filter(|s| *s > 0);
        let mut targets: Vec<usize> = sizes.iter().copied().chain(others).collect();
        targets.sort_unstable();
        targets.dedup();
        for a in &sizes {
            // Two sizes of the row are exchanged only once.
            let others = targets.iter().filter(|b| *b != a && (*b > a || !sizes.contains(b)));
            all.extend(others.map(|b| Self::Exchange { a: *a, b: *b }));
        }
        all.extend([(2, 1), (1, 2), (3, 2), (4, 3)].map(|(numer, denom)| Self::Stretch { numer, denom }));
        all.push(Self::Complement);
        all.extend((1..n).map(|attacks| Self::MoveAccents { attacks }));
        all.extend([Thinning::Ghosts, Thinning::OffBeats, Thinning::EverySecond].map(Self::Thin));
        all.extend([Filling::SilentBeats, Filling::GhostsEverywhere].map(Self::Fill));
        // Last, as their number grows with the square of that of the groups.
        all.extend(pairs().map(|(a, b)| Self::Swap { a, b }));
        all.extend(pairs().flat_map(|(a, b)| [Self::MoveCell { from: a, to: b }, Self::MoveCell { from: b, to: a }]));
        all
    }

    /// The row after the operation; `None` where it cannot be applied or changes nothing.
    pub(crate) fn apply(&self, source: Source<'_>) -> Option<Vec<Cell>> {
        let length = source.cells.len();
        let row = Row::new(source.cells);
        let groups = || row.groups.clone();
        let is_group = |i: &usize| *i < row.groups.len();
        let new = match self {
            Self::Rotate { first } if is_group(first) => {
                let mut groups = groups();
                groups.rotate_left(*first);
                row.with(groups).cells(length)
            }
            Self::Displace { cells } => {
                let mut moved = source.cells.to_vec();
                moved.rotate_right(cells % length.max(1));
                moved
            }
            Self::Retrograde => row.with(row.groups.iter().rev().copied().collect()).cells(length),
            Self::Permute { order } if order.len() == row.groups.len() && order.iter().all(is_group) => {
                row.with(order.iter().map(|i| row.groups[*i]).collect()).cells(length)
            }
            Self::Swap { a, b } if is_group(a) && is_group(b) => {
                let mut groups = groups();
                groups.swap(*a, *b);
                row.with(groups).cells(length)
            }
            Self::Split { group, first } if is_group(group) => {
                let whole = row.groups[*group];
                let second = whole.size.checked_sub(*first).filter(|rest| *rest > 0 && *first > 0)?;
                // The new attack is no accent and no flam.
                let attack = Attack { accent: whole.attack.accent.min(Accent::Plain), flam: false, ..whole.attack };
                let rest = Group { attack, ..whole }.resized(second);
                let mut groups = groups();
                groups.splice(group..=group, [whole.resized(*first), rest]);
                row.with(groups).cells(length)
            }
            Self::Join { group } if is_group(&(group + 1)) => {
                let (first, second) = (row.groups[*group], row.groups[group + 1]);
                let mut groups = groups();
                groups.splice(*group..=group + 1, [first.resized(first.size + second.size)]);
                row.with(groups).cells(length)
            }
            Self::MoveCell { from, to } if is_group(from) && is_group(to) && from != to => {
                let mut groups = groups();
                let shorter = groups[*from].size.checked_sub(1).filter(|s| *s > 0)?;
                groups[*from] = groups[*from].resized(shorter);
                groups[*to] = groups[*to].resized(groups[*to].size + 1);
                row.with(groups).cells(length)
            }
            Self::Exchange { a, b } => {
                let other = |g: &Group| match g.size {
                    s if s == *a => g.resized(*b),
                    s if s == *b => g.resized(*a),
                    _ => *g,
                };
                filled(&row, &row.groups.iter().map(other).collect::<Vec<_>>(), length)?
            }
            Self::Stretch { numer, denom } => {
                let scaled = |g: &Group| {
                    let size = (g.size * numer).checked_div(*denom).filter(|s| s * denom == g.size * numer)?;
                    Some(g.resized(size))
                };
                filled(&row, &row.groups.iter().map(scaled).collect::<Option<Vec<_>>>()?, length)?
            }
            Self::Complement => {
                let pitch = row.groups.first().and_then(|g| g.attack.pitch);
                let plain = Cell::Attack(Attack { pitch, ..Attack::default() });
                source.cells.iter().map(|c| if c.attack().is_some() { Cell::Rest } else { plain }).collect()
            }
            Self::MoveAccents { attacks } => {
                let mut accents: Vec<(Accent, bool)> =
                    row.groups.iter().map(|g| (g.attack.accent, g.attack.flam)).collect();
                let by = attacks % accents.len().max(1);
                accents.rotate_right(by);
                let accented = |(g, (accent, flam)): (&Group, (Accent, bool))| Group {
                    attack: Attack { accent, flam, ..g.attack },
                    ..*g
                };
                row.with(row.groups.iter().zip(accents).map(accented).collect()).cells(length)
            }
            Self::Thin(which) => {
                let mut number = 0;
                let is_kept = |i: usize, a: Attack| match which {
                    Thinning::Ghosts => Some(a.accent != Accent::Ghost),
                    Thinning::OffBeats => source.on_beat.get(i).copied(),
                    Thinning::EverySecond => {
                        number += 1;
                        Some(number % 2 == 1)
                    }
                };
                without(source.cells, is_kept)?
            }
            Self::Fill(which) => {
                let attack = |accent| {
                    let pitch = row.groups.first().and_then(|g| g.attack.pitch);
                    Cell::Attack(Attack { accent, pitch, flam: false })
                };
                let fill = |(i, cell): (usize, &Cell)| match (cell, which) {
                    (Cell::Attack(_), _) => Some(*cell),
                    (_, Filling::GhostsEverywhere) => Some(attack(Accent::Ghost)),
                    (_, Filling::SilentBeats) => {
                        source.on_beat.get(i).map(|on| if *on { attack(Accent::Plain) } else { *cell })
                    }
                };
                source.cells.iter().enumerate().map(fill).collect::<Option<Vec<Cell>>>()?
            }
            _ => return None,
        };
        let has_attack = new.iter().any(|c| c.attack().is_some());
        (has_attack && new != source.cells).then_some(new)
    }
}

/// Groups that come again until the row is full; the last one is cut. `None` without a group.
fn filled(row: &Row, groups: &[Group], length: usize) -> Option<Vec<Cell>> {
    let mut left = length - row.lead.len();
    if groups.iter().all(|g| g.size == 0) {
        return None;
    }
    let mut all = Vec::new();
    for group in groups.iter().cycle() {
        if left == 0 {
            break;
        }
        all.push(group.resized(group.size.min(left)));
        left -= group.size.min(left);
    }
    Some(row.with(all).cells(length))
}

/// The row without some attacks; the sound before goes on instead if it was held up to there.
fn without(cells: &[Cell], mut is_kept: impl FnMut(usize, Attack) -> Option<bool>) -> Option<Vec<Cell>> {
    let mut new = Vec::with_capacity(cells.len());
    let (mut sounding, mut is_dropped) = (false, false);
    for (i, cell) in cells.iter().enumerate() {
        new.push(match cell {
            Cell::Attack(a) if is_kept(i, *a)? => {
                (sounding, is_dropped) = (true, false);
                *cell
            }
            Cell::Attack(_) => {
                is_dropped = true;
                if sounding { Cell::Hold } else { Cell::Rest }
            }
            Cell::Hold if is_dropped && !sounding => Cell::Rest,
            Cell::Hold => Cell::Hold,
            Cell::Rest => {
                sounding = false;
                Cell::Rest
            }
        });
    }
    Some(new)
}

/// The distinct orders of the groups of a row, lazily, in order from the least.
pub(crate) fn orders(row: &Row) -> impl Iterator<Item = Operation> + use<> {
    // Groups that differ in pitch at most have one number, so that their exchange is no other order.
    let unpitched = |g: &Group| Group { attack: Attack { pitch: None, ..g.attack }, ..*g };
    let groups: Vec<Group> = row.groups.iter().map(unpitched).collect();
    let kinds: Vec<usize> = groups.iter().map(|g| groups.iter().position(|o| o == g).unwrap_or(0)).collect();
    let mut sorted = kinds.clone();
    sorted.sort_unstable();
    std::iter::successors(Some(sorted), |last| next_permutation(last)).map(move |numbers| {
        let mut used = vec![false; kinds.len()];
        let order = numbers.iter().map(|kind| {
            let i = (0..kinds.len()).find(|i| kinds[*i] == *kind && !used[*i]).unwrap_or(0);
            used[i] = true;
            i
        });
        Operation::Permute { order: order.collect() }
    })
}

/// The next permutation in lexicographic order (Narayana Pandita's method).
fn next_permutation(numbers: &[usize]) -> Option<Vec<usize>> {
    let pivot = (0..numbers.len().checked_sub(1)?).rev().find(|i| numbers[*i] < numbers[i + 1])?;
    let swap = (pivot + 1..numbers.len()).rev().find(|i| numbers[*i] > numbers[pivot])?;
    let mut next = numbers.to_vec();
    next.swap(pivot, swap);
    next[pivot + 1..].reverse();
    Some(next)
}

/// `1st`, `2nd`, `3rd`, `4th`, from an index.
fn ordinal(index: usize) -> String {
    let n = index + 1;
    let suffix = match (n % 10, n % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{n}{suffix}")
}

/// How a variant was made.
impl fmt::Display for Operation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rotate { first } => write!(f, "starts with the {} group", ordinal(*first)),
            Self::Displace { cells } => write!(f, "moved later by {}", count(*cells, "cell")),
            Self::Retrograde => f.write_str("the groups in reverse order"),
            Self::Permute { order } => {
                let order: Vec<String> = order.iter().map(|i| (i + 1).to_string()).collect();
                write!(f, "the groups in the order {}", order.join(" "))
            }
            Self::Swap { a, b } => write!(f, "the {} and the {} group change places", ordinal(*a), ordinal(*b)),
            Self::Split { group, first } => {
                write!(f, "the {} group split after {}", ordinal(*group), count(*first, "cell"))
            }
            Self::Join { group } => write!(f, "the {} and the {} group joined", ordinal(*group), ordinal(group + 1)),
            Self::MoveCell { from, to } => {
                write!(f, "the {} group a cell shorter, the {} a cell longer", ordinal(*from), ordinal(*to))
            }
            Self::Exchange { a, b } => write!(f, "groups of {a} become {b}, groups of {b} become {a}"),
            Self::Stretch { numer: 2, denom: 1 } => f.write_str("every group twice as long"),
            Self::Stretch { numer: 1, denom: 2 } => f.write_str("every group half as long"),
            Self::Stretch { numer, denom } => write!(f, "every group longer in the ratio {numer}:{denom}"),
            Self::Complement => f.write_str("attacks where there were none, and none where there were"),
            Self::MoveAccents { attacks } => write!(f, "accents moved on by {}", count(*attacks, "attack")),
            Self::Thin(Thinning::Ghosts) => f.write_str("without the ghosts"),
            Self::Thin(Thinning::OffBeats) => f.write_str("without the attacks off the beat"),
            Self::Thin(Thinning::EverySecond) => f.write_str("without every second attack"),
            Self::Fill(Filling::SilentBeats) => f.write_str("with an attack on every silent beat"),
            Self::Fill(Filling::GhostsEverywhere) => f.write_str("with ghosts on all other cells"),
        }
    }
}
