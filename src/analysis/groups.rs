//! How a layer is built: groups between attacks, figures, and where a figure meets the bar again. It must not know tempo.

use crate::rhythm::{Groove, Time, line};
use num_integer::Integer;

/// The groups of a layer in one section, one time through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Groups {
    /// Length of the unit the groups are counted in: the layer's cell, or the common measure of all attacks where tuplets stand.
    pub unit: Time,
    /// Whether the unit is the layer's cell.
    pub in_cells: bool,
    /// Units before the first attack.
    pub lead: u32,
    /// The groups, from each attack to the next, the last one to the section's end.
    pub line: Vec<u32>,
    /// The line in its shortest form with repeats, as it is said; empty without an attack.
    pub text: String,
    /// The figure the line begins with, if a line of groups comes at least twice in a row from the first attack on.
    pub figure: Option<Figure>,
}

/// A line of groups that comes again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// Its groups.
    pub groups: Vec<u32>,
    /// Its length in units.
    pub units: u32,
    /// How many times it comes whole, one after the other.
    pub times: u32,
    /// Bars after which its head falls on a downbeat again (least common multiple of figure and bar).
    pub meets_after_bars: u64,
    /// How many figures that takes.
    pub meets_after_figures: u64,
    /// Its rotation that comes first in order: equal for figures that are rotations of each other (one necklace).
    pub necklace: Vec<u32>,
}

/// The groups of a layer in a section; `None` without an attack.
pub fn groups(groove: &Groove, layer: usize, section: usize) -> Option<Groups> {
    let (part, frame) = (groove.part(layer, section), groove.frame(layer, section));
    let starts = part.starts(frame);
    let end = *starts.last()?;
    let attacks: Vec<Time> =
        (0..starts.len() - 1).filter(|i| part.cell(*i).attack().is_some()).map(|i| starts[i]).collect();
    let cell = frame.meter.beat().divided(usize::from(frame.division))?;
    let mut unit = cell;
    for time in &attacks {
        unit = unit.common_measure(*time)?;
    }
    let count = |t: Time| t.ratio_to(unit).map(|r| r.floor() as u32);
    let first = *attacks.first()?;
    let ends = attacks.iter().skip(1).chain([&end]);
    let line: Option<Vec<u32>> = attacks.iter().zip(ends).map(|(a, b)| count(b.minus(*a)?)).collect();
    let line = line?;
    let bar = count(frame.meter.bar())?;
    Some(Groups {
        unit,
        in_cells: unit == cell,
        lead: count(first)?,
        text: line::print(&line::compress(&line)),
        figure: figure(&line, bar),
        line,
    })
}

/// The figure a line of groups begins with: of all lines that come at least twice in a row from the start, the one that
/// covers most of it, the shortest of those.
pub fn figure(groups: &[u32], bar: u32) -> Option<Figure> {
    let mut best: Option<(usize, usize)> = None;
    // Matches of the line with itself from the start (Z function of Gusfield 1997), so that long lines stay fast.
    let z = self_matches(groups);
    for length in 1..=groups.len() / 2 {
        let times = 1 + z[length] / length;
        if times >= 2 && best.is_none_or(|(l, t)| length * times > l * t) {
            best = Some((length, times));
        }
    }
    let (length, times) = best?;
    let groups = groups[..length].to_vec();
    let units: u32 = groups.iter().sum();
    let meet = u64::from(units).lcm(&u64::from(bar.max(1)));
    Some(Figure {
        units,
        times: times as u32,
        meets_after_bars: meet / u64::from(bar.max(1)),
        meets_after_figures: meet / u64::from(units.max(1)),
        necklace: necklace(&groups),
        groups,
    })
}

fn self_matches(groups: &[u32]) -> Vec<usize> {
    let n = groups.len();
    let mut z = vec![0; n];
    let (mut left, mut right) = (0, 0);
    for i in 1..n {
        if i < right {
            z[i] = z[i - left].min(right - i);
        }
        while i + z[i] < n && groups[z[i]] == groups[i + z[i]] {
            z[i] += 1;
        }
        if i + z[i] > right {
            (left, right) = (i, i + z[i]);
        }
    }
    z
}

/// The rotation of a line that comes first in order: two lines are one necklace exactly if these are equal
/// (least rotation after Booth 1980, in the two-pointer form).
pub fn necklace(groups: &[u32]) -> Vec<u32> {
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
        let f = figure(&[4, 4, 5, 4, 4, 5, 4, 4, 5, 4, 4, 4], 16).expect("figure");
        assert_eq!((f.groups.as_slice(), f.units, f.times), ([4, 4, 5].as_slice(), 13, 3));
        assert_eq!((f.meets_after_bars, f.meets_after_figures), (13, 16));
        assert_eq!(figure(&[3, 4, 5], 16), None);
    }

    proptest! {
        #[test]
        fn the_necklace_is_the_least_of_all_rotations(groups in prop::collection::vec(1_u32..4, 1..12)) {
            let all = (0..groups.len()).map(|r| [&groups[r..], &groups[..r]].concat());
            prop_assert_eq!(Some(necklace(&groups)), all.min());
        }

        #[test]
        fn the_figure_is_the_one_that_covers_most(groups in prop::collection::vec(1_u32..3, 2..14)) {
            let slow = (1..=groups.len() / 2)
                .map(|l| (l, groups.chunks_exact(l).take_while(|c| *c == &groups[..l]).count()))
                .filter(|(_, t)| *t >= 2)
                .max_by_key(|(l, t)| (l * t, std::cmp::Reverse(*l)));
            let fast = figure(&groups, 8).map(|f| (f.groups.len(), f.times as usize));
            prop_assert_eq!(fast, slow);
        }
    }
}
