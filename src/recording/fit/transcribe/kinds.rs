//! Groups of onsets by their bands: k-medians on logarithms of the bands' shares, their number by description length.

use crate::recording::fit::onset::{Onset, median};

/// Added to a share before its logarithm is taken: below it bands are not told apart.
pub(super) const SHARE_FLOOR: f64 = 0.03;
/// Standard deviation of a logarithm of a share within a kind.
pub(super) const SHARE_SIGMA: f64 = 0.22;
/// Most groups, and fewest onsets for each.
const MAX_GROUPS: usize = 6;
const ONSETS_PER_GROUP: usize = 6;
/// Groups of a smaller share of the onsets are left out.
const MIN_SHARE: f64 = 0.035;
/// Groups nearer than this are one: the number of groups is chosen generously, which divides large ones. Chosen on performances
/// rendered through two soundfonts, whose bands stray more than those of a simulation.
const SAME_KIND: f64 = 1.0;
/// Squared distance of a neighbour, and how many of the farthest onsets are asked for theirs.
const NEIGHBOUR: f64 = 0.25;
const ASKED: usize = 24;
/// Squared distance, in variances, beyond which an onset belongs to no group.
const OUTLIER: f64 = 27.0;
/// Nats per onset and logarithm of the number of groups: to say which group an onset is in.
const CHOICE: f64 = 0.3;
/// Rounds of assigning and moving the medians.
const ROUNDS: usize = 12;

/// Logarithms of the bands' shares.
type Point = [f64; 3];

/// A group of onsets.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cluster {
    /// Median of the bands.
    pub(super) bands: [f64; 3],
    /// Seconds of its onsets.
    pub(super) seconds: Vec<f64>,
}

/// Logarithms of shares that sum to 1.
pub(super) fn logs(shares: [f64; 3]) -> Point {
    shares.map(|share| (share + SHARE_FLOOR).ln())
}

/// The bands as shares of their sum.
pub(super) fn shares(bands: [f64; 3]) -> [f64; 3] {
    let sum = bands.iter().sum::<f64>();
    if sum > 0.0 { bands.map(|band| band / sum) } else { [1.0 / 3.0; 3] }
}

/// Squared distance.
pub(super) fn distance(a: Point, b: Point) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum()
}

/// The groups of onsets that are not rare.
pub(super) fn clusters(onsets: &[Onset]) -> Vec<Cluster> {
    let points: Vec<Point> = onsets.iter().map(|onset| logs(shares(onset.bands()))).collect();
    let groups = merged(&points, best_groups(&points));
    let count = groups.iter().max().map_or(0, |last| last + 1);
    (0..count)
        .filter_map(|group| {
            let members: Vec<&Onset> =
                onsets.iter().zip(&groups).filter(|(_, g)| **g == group).map(|(o, _)| o).collect();
            let bands = medians(&members.iter().map(|onset| onset.bands()).collect::<Vec<_>>());
            let is_common = members.len() as f64 > MIN_SHARE * onsets.len() as f64;
            let is_heard = bands.iter().sum::<f64>() > 0.0;
            let seconds = members.iter().map(|onset| onset.seconds).collect();
            (is_common && is_heard).then_some(Cluster { bands, seconds })
        })
        .collect()
}

/// Joins groups whose medians are so near that they divide one kind.
fn merged(points: &[Point], mut groups: Vec<usize>) -> Vec<usize> {
    let count = groups.iter().max().map_or(0, |last| last + 1);
    let median_of = |groups: &[usize], group: usize| {
        let members: Vec<Point> = points.iter().zip(groups).filter(|(_, g)| **g == group).map(|(p, _)| *p).collect();
        (!members.is_empty()).then(|| medians(&members))
    };
    for group in 1..count {
        for other in 0..group {
            let (Some(a), Some(b)) = (median_of(&groups, group), median_of(&groups, other)) else { continue };
            if distance(a, b) < SAME_KIND.powi(2) {
                groups.iter_mut().filter(|g| **g == group).for_each(|g| *g = other);
            }
        }
    }
    groups
}

/// Group of every point, for the number of groups with the shortest description.
fn best_groups(points: &[Point]) -> Vec<usize> {
    let centres = first_centres(points, MAX_GROUPS.min(points.len() / ONSETS_PER_GROUP + 1));
    let n = points.len() as f64;
    (1..=centres.len())
        .map(|count| {
            let (groups, centres) = settle(points, centres[..count].to_vec());
            let misfit: f64 = points
                .iter()
                .zip(&groups)
                .map(|(point, group)| (distance(*point, centres[*group]) / SHARE_SIGMA.powi(2)).min(OUTLIER) / 2.0)
                .sum();
            let count = count as f64;
            (misfit + 1.5 * count * n.ln() + CHOICE * n * count.ln(), groups)
        })
        .reduce(|best, other| if other.0 < best.0 { other } else { best })
        .map_or(Vec::new(), |best| best.1)
}

/// Starting places: the onset nearest the median of all, then each time, of those farthest from all places so far, the one with
/// most neighbours.
fn first_centres(points: &[Point], count: usize) -> Vec<Point> {
    let middle = medians(points);
    let nearest = points.iter().min_by(|a, b| distance(**a, middle).total_cmp(&distance(**b, middle)));
    let mut centres: Vec<Point> = nearest.into_iter().copied().collect();
    while !centres.is_empty() && centres.len() < count {
        let gap = |point: &Point| centres.iter().map(|c| distance(*point, *c)).fold(f64::INFINITY, f64::min);
        let mut far: Vec<(f64, Point)> = points.iter().map(|point| (gap(point), *point)).collect();
        far.sort_by(|a, b| b.0.total_cmp(&a.0));
        far.truncate((points.len() / 4).clamp(1, ASKED));
        let neighbours = |point: &Point| points.iter().filter(|other| distance(*point, **other) < NEIGHBOUR).count();
        let best = far
            .iter()
            .map(|(_, point)| (neighbours(point), *point))
            .reduce(|best, other| if other.0 > best.0 { other } else { best });
        centres.extend(best.map(|best| best.1));
    }
    centres
}

/// Assigns points to the nearest centre and moves the centres to the medians, until nothing changes.
fn settle(points: &[Point], mut centres: Vec<Point>) -> (Vec<usize>, Vec<Point>) {
    let mut groups = Vec::new();
    for _ in 0..ROUNDS {
        let nearest = |point: &Point| {
            (0..centres.len())
                .min_by(|&a, &b| distance(*point, centres[a]).total_cmp(&distance(*point, centres[b])))
                .unwrap_or(0)
        };
        let assigned: Vec<usize> = points.iter().map(nearest).collect();
        if assigned == groups {
            break;
        }
        groups = assigned;
        for (group, centre) in centres.iter_mut().enumerate() {
            let members: Vec<Point> =
                points.iter().zip(&groups).filter(|(_, g)| **g == group).map(|(point, _)| *point).collect();
            if !members.is_empty() {
                *centre = medians(&members);
            }
        }
    }
    (groups, centres)
}

/// The median of every coordinate.
fn medians(points: &[Point]) -> Point {
    [0, 1, 2].map(|i| median(&points.iter().map(|point| point[i]).collect::<Vec<_>>()).unwrap_or(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn onset(bands: [f64; 3], gain: f64) -> Onset {
        let [low, mid, high] = bands.map(|band| band * gain);
        Onset { seconds: 0.0, strength: low + mid + high, low, mid, high }
    }

    #[test]
    fn three_sounds_of_any_loudness_are_three_groups() {
        let sounds = [[1.0, 0.2, 0.1], [0.3, 0.9, 0.7], [0.02, 0.15, 1.0]];
        let onsets: Vec<Onset> = (0..90).map(|i| onset(sounds[i % 3], 1.0 + (i % 7) as f64 * 0.3)).collect();
        assert_eq!(clusters(&onsets).len(), 3);
    }

    #[test]
    fn one_sound_is_one_group_and_nothing_none() {
        let onsets: Vec<Onset> = (0..40).map(|i| onset([0.4, 0.8 + 0.01 * f64::from(i % 5), 0.3], 1.0)).collect();
        assert_eq!(clusters(&onsets).len(), 1);
        assert_eq!(clusters(&[]), []);
        assert_eq!(clusters(&[Onset::default(); 20]), []);
    }
}
