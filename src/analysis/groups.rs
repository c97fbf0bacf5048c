//! How a layer is built: groups between attacks, figures, and where a figure meets the bar again.

use crate::rhythm::group_line::{self, Term};
use crate::rhythm::{Accent, Groove, Time};
use num_integer::Integer;
use std::ops::Range;

/// The groups of a layer in one section, one time through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Groups {
    /// Length of the unit the groups are counted in: the layer's cell, or the common measure of all attacks where tuplets stand.
    pub(crate) unit: Time,
    /// Whether the unit is the layer's cell.
    pub(crate) in_cells: bool,
    /// Units before the first attack.
    pub(crate) lead: u32,
    /// The groups, from each attack to the next, the last one to the section's end.
    pub(crate) line: Vec<u32>,
    /// The groups in cells as they stand on the grid, also where tuplets make cells of unequal length.
    pub cells: Vec<u32>,
    /// Cells before the first attack.
    pub(crate) lead_cells: u32,
    /// The groups in cells in their shortest form with repeats, as they are said; empty without an attack.
    pub(crate) text: String,
    /// The groups from accent to accent, if some of the attacks are accents.
    pub(crate) accents: Option<AccentGroups>,
    /// Printed length of the shortest form of the line in units, a group counting as one character.
    pub(crate) length: usize,
    /// The figures: every line of groups that comes again in that form, outer ones before those within them.
    pub(crate) figures: Vec<Figure>,
}

/// The groups from each accent to the next, the last one to the section's end, in cells as they stand on the grid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AccentGroups {
    /// Cells before the first accent.
    pub(crate) lead_cells: u32,
    /// In their shortest form with repeats.
    pub(crate) text: String,
}

/// A line of groups that comes again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    pub(crate) groups: Vec<u32>,
    /// Its length in units.
    pub(crate) units: u32,
    /// How many times it comes, one after the other.
    pub(crate) times: u32,
    /// Units from the section's start to each place from which on it comes so many times in a row.
    pub(crate) heads: Vec<u32>,
    /// Units it covers, all its comings within outer figures counted.
    pub(crate) covers: u32,
    /// Bars after which its head falls on a downbeat again (least common multiple of figure and bar).
    pub(crate) meets_after_bars: u64,
    /// How many figures that takes.
    pub(crate) meets_after_figures: u64,
    /// Its rotation that comes first in order: equal for figures that are rotations of each other (one necklace).
    pub(crate) necklace: Vec<u32>,
}

impl Figure {
    /// Whether every place from which on it comes is a downbeat.
    pub(crate) fn is_on_downbeats(&self) -> bool {
        let bar = u64::from(self.units) * self.meets_after_figures / self.meets_after_bars.max(1);
        self.heads.iter().all(|head| u64::from(*head).is_multiple_of(bar.max(1)))
    }

    /// Whether it breaks off before its head falls on a downbeat again.
    pub(crate) fn breaks_off(&self) -> bool {
        u64::from(self.times) < self.meets_after_figures
    }
}

/// The groups of a layer in a section; `None` without an attack.
pub fn groups(groove: &Groove, layer: usize, section: usize) -> Option<Groups> {
    groups_through(groove, layer, section..section + 1)
}

/// The groups of a layer through neighbouring sections of one meter, each once through; `None` without an attack.
pub(super) fn groups_through(groove: &Groove, layer: usize, sections: Range<usize>) -> Option<Groups> {
    let context = groove.context(layer, sections.start);
    let cell = context.meter.beat().divided(usize::from(context.division))?;
    let (mut unit, mut end, mut attacks) = (cell, Time::ZERO, Vec::new());
    let (mut walked, mut accents, mut before) = (Vec::new(), Vec::new(), 0);
    for section in sections {
        let (part, context) = (groove.part(layer, section), groove.context(layer, section));
        for sound in part.attacks(context) {
            let at = if end == Time::ZERO { sound.start } else { end.plus(sound.start)? };
            unit = unit.common_measure(at)?;
            attacks.push(at);
            walked.push((before + sound.cell) as u32);
            if sound.attack.accent == Accent::Accent {
                accents.extend(walked.last().copied());
            }
        }
        end = end.plus(context.length())?;
        before += part.len(context);
    }
    let count = |t: Time| t.whole_units(unit).map(|n| n as u32);
    // The unit measures the bar and so the end as well, so that the last place is a whole number of units too.
    let places: Option<Vec<u32>> = attacks.into_iter().chain([end]).map(count).collect();
    let places = places?;
    let lead = *places.first().filter(|_| places.len() > 1)?;
    let line: Vec<u32> = places.windows(2).map(|w| w[1] - w[0]).collect();
    let bar = count(context.meter.bar())?;
    let terms = group_line::compress(&line);
    let cells = lengths(&walked, before as u32);
    let said = if cells == line { group_line::print(&terms) } else { group_line::print(&group_line::compress(&cells)) };
    // One accent, or nothing but accents, makes no other line.
    let accents = (2..walked.len()).contains(&accents.len()).then(|| AccentGroups {
        lead_cells: accents[0],
        text: group_line::print(&group_line::compress(&lengths(&accents, before as u32))),
    });
    let mut figures = Vec::new();
    figures_in(&terms, &[lead], bar, &mut figures);
    Some(Groups {
        unit,
        in_cells: unit == cell,
        lead,
        text: said,
        lead_cells: walked.first().copied().unwrap_or(0),
        cells,
        accents,
        length: group_line::length(&terms),
        figures,
        line,
    })
}

/// From each cell to the next, and from the last one to the end.
fn lengths(cells: &[u32], end: u32) -> Vec<u32> {
    cells.iter().zip(cells.iter().skip(1).chain([&end])).map(|(a, b)| b - a).collect()
}

/// Every line that comes again in the shortest form, outer ones before those within them; `starts` are the places where the terms begin.
fn figures_in(terms: &[Term], starts: &[u32], bar: u32, found: &mut Vec<Figure>) {
    let mut offset = 0;
    for term in terms {
        match term {
            Term::Group(units) => offset += units,
            Term::Repeat(times, inner) => {
                let heads: Vec<u32> = starts.iter().map(|s| s + offset).collect();
                let one = figure(group_line::expand(inner), *times, heads, bar);
                let coming = |head: &u32, n: u32| head + n * one.units;
                let within: Vec<u32> = one.heads.iter().flat_map(|h| (0..*times).map(move |n| coming(h, n))).collect();
                offset += one.units * times;
                found.push(one);
                figures_in(inner, &within, bar, found);
            }
        }
    }
}

fn figure(groups: Vec<u32>, times: u32, heads: Vec<u32>, bar: u32) -> Figure {
    let units: u32 = groups.iter().sum();
    let meet = u64::from(units).lcm(&u64::from(bar.max(1)));
    Figure {
        units,
        times,
        covers: units.saturating_mul(times).saturating_mul(heads.len() as u32),
        heads,
        meets_after_bars: meet / u64::from(bar.max(1)),
        meets_after_figures: meet / u64::from(units.max(1)),
        necklace: necklace(&groups),
        groups,
    }
}

/// The rotation of a line that comes first in order: two lines are one necklace exactly if these are equal
/// (least rotation after Booth 1980, in the two-pointer form).
pub(crate) fn necklace(groups: &[u32]) -> Vec<u32> {
    let n = groups.len();
    let (mut i, mut j, mut k) = (0, 1, 0);
    while i < n && j < n && k < n {
        match groups[(i + k) % n].cmp(&groups[(j + k) % n]) {
            std::cmp::Ordering::Equal => k += 1,
            order => {
                if order.is_gt() {
                    i += k + 1;
                } else {
                    j += k + 1;
                }
                if i == j {
                    j += 1;
                }
                k = 0;
            }
        }
    }
    let first = i.min(j);
    groups.iter().cycle().skip(first).take(n).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_figure_meets_the_bar_after_their_common_multiple() {
        let f = figure(vec![4, 4, 5], 3, vec![0], 16);
        assert_eq!((f.units, f.times), (13, 3));
        assert_eq!((f.meets_after_bars, f.meets_after_figures), (13, 16));
        assert!(f.breaks_off());
        assert!(!figure(vec![4, 4, 5], 16, vec![0], 16).breaks_off());
    }

    #[test]
    fn figures_within_figures_are_found() {
        let terms = group_line::parse("2(3(4+4+3)+3(5))").expect("line");
        let mut found = Vec::new();
        figures_in(&terms, &[2], 16, &mut found);
        assert_eq!(
            found.iter().map(|f| (f.units, f.times, f.covers, f.heads.as_slice())).collect::<Vec<_>>(),
            [(48, 2, 96, [2].as_slice()), (11, 3, 66, &[2, 50]), (5, 3, 30, &[35, 83])]
        );
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn a_figure_stands_in_the_line_at_each_of_its_heads(groups in prop::collection::vec(1_u32..4, 1..40), lead in 0_u32..9) {
            let mut found = Vec::new();
            figures_in(&group_line::compress(&groups), &[lead], 16, &mut found);
            for f in found {
                for head in &f.heads {
                    let before = (0..groups.len()).find(|n| lead + groups[..*n].iter().sum::<u32>() == *head);
                    let whole = f.groups.repeat(f.times as usize);
                    prop_assert!(before.is_some_and(|n| groups[n..].starts_with(&whole)), "{:?}", f);
                }
            }
        }

        #[test]
        fn the_necklace_is_the_least_of_all_rotations(groups in prop::collection::vec(1_u32..4, 1..12)) {
            let all = (0..groups.len()).map(|r| [&groups[r..], &groups[..r]].concat());
            prop_assert_eq!(Some(necklace(&groups)), all.min());
        }
    }
}
