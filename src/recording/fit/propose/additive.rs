//! Beats of unequal length: cycles of groups that differ by one unit.

use super::Excerpt;
use super::cells::{Cells, fold};
use super::hypothesis::{BEAT, BEATS, Cycle, Hypothesis, LOW_HEAD, REPETITION, REST, Reading, beginning, preference};
use std::sync::LazyLock;

/// Shortest and longest unit, in seconds.
const UNITS: (f64, f64) = (0.085, 0.4);
/// Shortest and longest cycle, in seconds: a shorter one is a beat cut long and short.
const CYCLES: (f64, f64) = (0.9, 4.5);
/// Longest mean of the beats, in seconds.
const LONGEST_MEAN: f64 = 1.2;
/// Cost of unequal beats, in nats.
const UNEQUAL: f64 = 2.0;
/// Cost of a cycle that four even beats divide as well: 3+3+2 is a syncopation of four until somebody says otherwise.
const SQUARE: f64 = 3.0;
/// Cost of groups of three units and more.
const LONG_GROUPS: f64 = 0.5;
/// Strength expected on a unit that begins no group.
const UNIT: f64 = 0.9;
/// Factor of the strength expected on the first group.
const FIRST_GROUP: f64 = 1.25;

/// All cycles of two sizes of groups, in every rotation: two to five groups of 2 and 3 units, two or three of 3 and 4 or of 4
/// and 5.
static GROUPS: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let mut all = Vec::new();
    for (size, most) in [(2_u8, 5), (3, 3), (4, 3)] {
        for count in 2..=most {
            for pattern in 1..(1_u32 << count) - 1 {
                all.push((0..count).map(|i| size + u8::from(pattern >> i & 1 == 1)).collect());
            }
        }
    }
    all
});

/// All additive readings of the cells.
pub(super) fn hypotheses(cells: &Cells, excerpt: Excerpt, found: &mut Vec<Hypothesis>) {
    let beginning = beginning(excerpt);
    for unit in 1..=(UNITS.1 / cells.length) as usize {
        if unit as f64 * cells.length < UNITS.0 {
            continue;
        }
        // Cycles of one length share the folded cells.
        let mut cycles: Vec<Option<(Cycle, Vec<f64>)>> = Vec::new();
        for groups in GROUPS.iter() {
            let sum: usize = groups.iter().map(|&g| usize::from(g)).sum();
            let length = sum * unit;
            let seconds = length as f64 * cells.length;
            let mean = seconds / groups.len() as f64;
            let shortest = f64::from(groups.iter().copied().min().unwrap_or(0)) * unit as f64 * cells.length;
            let too_long = length > cells.longest_cycle() || mean > LONGEST_MEAN;
            if too_long || shortest < BEATS.0 || !(CYCLES.0..=CYCLES.1).contains(&seconds) {
                continue;
            }
            if cycles.len() <= sum {
                cycles.resize_with(sum + 1, || None);
            }
            let (cycle, low) = cycles[sum].get_or_insert_with(|| (Cycle::new(cells, length), fold(&cells.low, length)));
            rotations(cells, cycle, low, Layout { unit, groups, beginning }, found);
        }
    }
}

/// A cycle of groups of a unit of cells, and what it is worth that the first onset begins it.
#[derive(Clone, Copy)]
struct Layout {
    unit: usize,
    groups: &'static [u8],
    beginning: f64,
}

/// One cycle of groups at every phase.
fn rotations(cells: &Cells, cycle: &Cycle, low: &[f64], layout: Layout, found: &mut Vec<Hypothesis>) {
    let Layout { unit, groups, beginning } = layout;
    let length = low.len();
    let count = groups.len() as f64;
    let heads: Vec<usize> = groups
        .iter()
        .scan(0, |position, &group| {
            let head = *position;
            *position += usize::from(group) * unit;
            Some(head)
        })
        .collect();
    let mut expected = vec![REST; length];
    for strength in expected.iter_mut().step_by(unit) {
        *strength = UNIT;
    }
    for &head in &heads {
        expected[head] = BEAT;
    }
    expected[0] *= FIRST_GROUP;
    let square = (length / unit).is_multiple_of(4);
    let same_for_all = REPETITION * cells.repetition[length] + preference(length as f64 * cells.length / count)
        - UNEQUAL
        - if square { SQUARE } else { 0.0 }
        - if groups[0] > 2 { LONG_GROUPS } else { 0.0 }
        - 0.5 * (length as f64).ln()
        - 0.5 * count.ln();
    for (phase, score) in cycle.likelihoods(&expected, &heads).into_iter().enumerate() {
        let on_heads: f64 = heads.iter().map(|head| low[(phase + head) % length]).sum();
        let low_head = low[phase] - on_heads / count;
        let begins = (cells.first + length - phase).is_multiple_of(length);
        let score = score + same_for_all + 0.5 * LOW_HEAD * low_head * count + if begins { beginning } else { 0.0 };
        found.push(Hypothesis { score, phase: phase as f64, reading: Reading::Additive { unit, groups } });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_of_two_sizes_and_each_cycle_comes_once() {
        assert_eq!(GROUPS.len(), 2 + 6 + 14 + 30 + 2 * (2 + 6));
        for groups in GROUPS.iter() {
            let least = groups.iter().min().copied().expect("no cycle is empty");
            assert!(groups.iter().any(|&g| g == least + 1), "{groups:?}");
            assert_eq!(GROUPS.iter().filter(|other| *other == groups).count(), 1, "{groups:?}");
        }
    }
}
