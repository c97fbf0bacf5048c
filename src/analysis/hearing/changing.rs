//! Hearings that change from stretch to stretch: an exact search for the cheapest cut into stretches.
//!
//! # The cost
//! Attacks `t_i` are given pulse numbers `k_i` by a class: the steps `k_i - k_(i-1)`, whole numbers from 1 on, the same
//! wherever a stretch begins. A stretch of attacks is fitted by least squares, `t = a + p k`, and costs
//! ```text
//! PRICE + SILENT * (pulses without an attack) + sum of squared residuals / (2 (NOISE * P)^2)
//! ```
//! with `P` the class's mean period. The cut of least total cost is found by dynamic programming over all cuts and all classes,
//! with stretches of at most [`WINDOW`] attacks; after it, neighbours of one class are joined where that costs less.

use super::score::HAIR;
use super::{Draft, Kind};
use crate::analysis::attacks::TimedAttack;
use crate::analysis::limits;
use crate::rhythm::Accent;

/// Price of a stretch, in natural units of information: period, phase and place, about three numbers worth knowing to one part
/// in fourteen (ours, no source).
pub(super) const PRICE: f64 = 8.0;
/// Price of a pulse without an attack (ours, no source).
pub(super) const SILENT: f64 = 1.0;
/// What two costs may differ by that are equal before rounding.
const TIE: f64 = 1e-6;
/// Most attacks in a stretch before joining.
pub(super) const WINDOW: usize = 128;
/// Most classes tried.
const MOST_CLASSES: usize = 6;
/// Pulse lengths tried, as parts of the mean inter-onset interval.
const LENGTHS: [f64; 10] = [1.0, 0.8, 0.667, 0.57, 0.5, 0.45, 0.4, 0.333, 0.28, 0.25];

/// One way to number pulses: the step from each attack to the next.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Class {
    /// Pulses from attack `i` to attack `i + 1`, at least 1.
    pub steps: Vec<u32>,
    /// Mean period in seconds: the whole time over all steps.
    pub period: f64,
}

/// A stretch of a cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Segment {
    /// First attack.
    pub from: usize,
    /// End, not included.
    pub to: usize,
    /// Its class.
    pub class: usize,
}

/// The classes of some attacks: steps got by rounding each inter-onset interval to whole pulses of each length tried, those
/// alike (up to a common factor) once, the ones whose steps fit best first.
pub(crate) fn classes(times: &[f64]) -> Vec<Class> {
    let gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let total: f64 = gaps.iter().sum();
    if gaps.is_empty() || total <= 0.0 {
        return vec![Class { steps: Vec::new(), period: 1.0 }];
    }
    let mean = total / gaps.len() as f64;
    let mut found: Vec<(f64, Class)> = Vec::new();
    for length in LENGTHS {
        let pulse = mean * length;
        let mut steps: Vec<u32> = gaps.iter().map(|g| ((g / pulse + HAIR).round() as u32).max(1)).collect();
        let common = steps.iter().copied().fold(0, num_integer::gcd).max(1);
        for s in &mut steps {
            *s /= common;
        }
        if found.iter().any(|(_, c)| c.steps == steps) {
            continue;
        }
        let count: u32 = steps.iter().sum();
        let period = total / f64::from(count);
        // How far single intervals are from whole pulses, and how many pulses are silent: a cheap guess at the cost.
        let misfit: f64 = gaps
            .iter()
            .zip(&steps)
            .map(|(g, s)| ((g / period - f64::from(*s)) / (limits::NOISE.value / 100.0)).powi(2) / 4.0)
            .sum();
        let silent = SILENT * (count as usize - gaps.len()) as f64;
        found.push((misfit + silent, Class { steps, period }));
    }
    found.sort_by_key(|f| (f.0 / 1e-6).round() as i64);
    found.truncate(MOST_CLASSES);
    found.into_iter().map(|(_, c)| c).collect()
}

/// Sums from which the least-squares line through a stretch follows, counted from its first attack.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    n: f64,
    k: f64,
    t: f64,
    kk: f64,
    kt: f64,
    tt: f64,
    last: u32,
}

impl Sums {
    fn add(&mut self, k: u32, t: f64) {
        let x = f64::from(k);
        self.n += 1.0;
        self.k += x;
        self.t += t;
        self.kk += x * x;
        self.kt += x * t;
        self.tt += t * t;
        self.last = k;
    }

    fn squares(&self) -> f64 {
        let (kk, kt, tt) = (
            self.kk - self.k * self.k / self.n,
            self.kt - self.k * self.t / self.n,
            self.tt - self.t * self.t / self.n,
        );
        if kk <= 0.0 { 0.0 } else { (tt - kt * kt / kk).max(0.0) }
    }

    fn line(&self) -> Option<(f64, f64)> {
        let kk = self.kk - self.k * self.k / self.n;
        let slope = (self.kt - self.k * self.t / self.n) / kk;
        (kk > 0.0).then(|| ((self.t - slope * self.k) / self.n, slope))
    }

    fn cost(&self, period: f64) -> f64 {
        let noise = limits::NOISE.value / 100.0 * period;
        SILENT * (f64::from(self.last) - (self.n - 1.0)) + self.squares() / (2.0 * noise * noise)
    }
}

fn sums(times: &[f64], class: &Class, from: usize, to: usize) -> Sums {
    let (mut sums, mut k) = (Sums::default(), 0);
    for i in from..to {
        if i > from {
            k += class.steps[i - 1];
        }
        sums.add(k, times[i] - times[from]);
    }
    sums
}

/// Cost of one stretch without its price.
pub(super) fn stretch_cost(times: &[f64], class: &Class, from: usize, to: usize) -> f64 {
    sums(times, class, from, to).cost(class.period)
}

/// The cheapest cut of the attacks into stretches, none longer than `window` attacks.
///
/// A start is given up for a class as soon as its cost alone reaches the best known cost of the attacks so far: squared
/// residuals and silent pulses only grow with a stretch and never shrink by cutting, so it can lead to nothing cheaper (the
/// pruning of Killick, Fearnhead & Eckley 2012). The answer is that of the full search.
pub(crate) fn segment(times: &[f64], classes: &[Class], window: usize) -> Vec<Segment> {
    let n = times.len();
    let mut best = vec![f64::INFINITY; n + 1];
    let mut back = vec![(0_usize, 0_usize); n + 1];
    best[0] = 0.0;
    for from in 0..n {
        for (c, class) in classes.iter().enumerate() {
            let (mut sums, mut k) = (Sums::default(), 0);
            for to in from + 1..=(from + window.max(1)).min(n) {
                let i = to - 1;
                if i > from {
                    k += class.steps[i - 1];
                }
                sums.add(k, times[i] - times[from]);
                let cost = best[from] + sums.cost(class.period);
                if cost + PRICE < best[to] - TIE {
                    best[to] = cost + PRICE;
                    back[to] = (from, c);
                }
                if cost >= best[to] + TIE {
                    break;
                }
            }
        }
    }
    let mut cut = Vec::new();
    let mut to = n;
    while to > 0 {
        let (from, class) = back[to];
        cut.push(Segment { from, to, class });
        to = from;
    }
    cut.reverse();
    cut
}

/// Joins neighbours of one class where the joined stretch costs less than the two.
pub(super) fn join(times: &[f64], classes: &[Class], cut: Vec<Segment>) -> Vec<Segment> {
    let mut joined: Vec<(Segment, f64)> = Vec::new();
    for segment in cut {
        let cost = stretch_cost(times, &classes[segment.class], segment.from, segment.to);
        if let Some((last, before)) = joined.last_mut()
            && last.class == segment.class
        {
            let together = stretch_cost(times, &classes[segment.class], last.from, segment.to);
            if together <= *before + cost + PRICE + TIE {
                (last.to, *before) = (segment.to, together);
                continue;
            }
        }
        joined.push((segment, cost));
    }
    joined.into_iter().map(|(s, _)| s).collect()
}

/// The changing hearings: of all attacks, of the accented ones, and of the ones with a long gap after them.
pub(super) fn drafts(attacks: &[TimedAttack], range: (f64, f64)) -> Vec<Draft> {
    lines(attacks, range)
        .into_iter()
        .filter_map(|times| {
            let classes = classes(&times);
            let cut = join(&times, &classes, segment(&times, &classes, WINDOW));
            (cut.len() > 1).then(|| draft(&times, &classes, &cut, range))
        })
        .collect()
}

/// The lines of attacks a pulse may be carried by: all; the accented ones, where some are and some are not; those followed by a
/// gap longer than the middle one (the durational accent of Parncutt 1994).
pub(super) fn lines(attacks: &[TimedAttack], range: (f64, f64)) -> Vec<Vec<f64>> {
    let all: Vec<f64> = attacks.iter().map(|a| a.seconds).collect();
    let accented: Vec<f64> = attacks.iter().filter(|a| a.accent == Accent::Accent).map(|a| a.seconds).collect();
    let mut gaps: Vec<f64> = all.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.extend(all.first().zip(all.last()).map(|(f, l)| range.1 - range.0 + f - l));
    let mut ordered = gaps.clone();
    ordered.sort_by(f64::total_cmp);
    let middle = ordered.get(ordered.len() / 2).copied().unwrap_or(0.0);
    let long: Vec<f64> = all.iter().zip(&gaps).filter(|(_, g)| **g > middle * 1.001).map(|(t, _)| *t).collect();
    let mut lines = vec![all];
    for line in [accented, long] {
        if line.len() >= 4 && line.len() < lines[0].len() && !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.retain(|l| l.len() >= 3);
    lines
}

fn draft(times: &[f64], classes: &[Class], cut: &[Segment], range: (f64, f64)) -> Draft {
    let end_of = |i: usize| cut.get(i + 1).map_or(range.1, |next| times[next.from]);
    let fits: Vec<(f64, f64)> =
        cut.iter().enumerate().map(|(i, s)| fitted(times, &classes[s.class], *s, end_of(i) - times[s.from])).collect();
    let mut pulses: Vec<f64> = Vec::new();
    let mut stretches = Vec::new();
    for (i, &(fit, period)) in fits.iter().enumerate() {
        // A fitted first pulse may lie a little before the stretch's first attack, but not before the last pulse.
        let last = pulses.last().copied().unwrap_or(f64::NEG_INFINITY);
        let start = if fit > last + HAIR { fit } else { fit + (((last - fit) / period).floor() + 1.0) * period };
        // The next stretch's first pulse takes the place of one that is nearer to it than half a period.
        let end = fits.get(i + 1).map_or(range.1, |next| next.0);
        stretches.push((pulses.len(), period));
        pulses.push(start);
        let mut k = 1.0;
        while start + k * period < end - period * 0.5 - HAIR {
            pulses.push(start + k * period);
            k += 1.0;
        }
    }
    Draft { kind: if cut.len() > 1 { Kind::Changing } else { Kind::Steady }, pulses, stretches, exact: false }
}

/// First pulse and period of a stretch by least squares; of one or two attacks by their distance or by the time left.
fn fitted(times: &[f64], class: &Class, segment: Segment, left: f64) -> (f64, f64) {
    match sums(times, class, segment.from, segment.to).line() {
        Some((start, period)) if period > 0.0 => (times[segment.from] + start, period),
        _ => (times[segment.from], left.max(1e-3)),
    }
}

/// The same line as one stretch of each class: the steady hearings of least squares.
pub(super) fn steady(times: &[f64], range: (f64, f64)) -> Vec<Draft> {
    let classes = classes(times);
    let whole = |class| Segment { from: 0, to: times.len(), class };
    (0..classes.len())
        .map(|c| {
            let mut draft = draft(times, &classes, &[whole(c)], range);
            // The pulse also runs before the first attack.
            let (first, period) = (draft.pulses[0], draft.stretches[0].1);
            let before = ((first - range.0) / period + 1e-9).floor().max(0.0) as usize;
            draft.pulses.splice(0..0, (1..=before).rev().map(|k| first - k as f64 * period));
            // It ends before its own first pulse of the next time through, not before the loop's return.
            let (first, last) = (draft.pulses[0], draft.pulses[draft.pulses.len() - 1]);
            let left = first + (range.1 - range.0) - last;
            let after = (left / period - 0.5 - HAIR).floor().max(0.0) as usize;
            draft.pulses.extend((1..=after).map(|k| last + k as f64 * period).filter(|p| *p < range.1 - HAIR));
            draft
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn total(times: &[f64], classes: &[Class], cut: &[Segment]) -> f64 {
        cut.iter().map(|s| PRICE + stretch_cost(times, &classes[s.class], s.from, s.to)).sum()
    }

    /// Every cut and every choice of classes, one by one.
    fn exhaustive(times: &[f64], classes: &[Class], window: usize) -> f64 {
        let n = times.len();
        let mut least = f64::INFINITY;
        for mask in 0..1_u32 << (n - 1) {
            let mut starts: Vec<usize> =
                std::iter::once(0).chain((1..n).filter(|i| mask >> (i - 1) & 1 == 1)).collect();
            starts.push(n);
            if starts.windows(2).any(|w| w[1] - w[0] > window) {
                continue;
            }
            let cost: f64 = starts
                .windows(2)
                .map(|w| {
                    PRICE + classes.iter().map(|c| stretch_cost(times, c, w[0], w[1])).fold(f64::INFINITY, f64::min)
                })
                .sum();
            least = least.min(cost);
        }
        least
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn the_cut_is_the_cheapest_of_all(gaps in prop::collection::vec(1_u32..9, 2..11), window in 3_usize..14) {
            let mut times = vec![0.0];
            for g in gaps {
                times.push(times[times.len() - 1] + f64::from(g) * 0.1);
            }
            let classes = classes(&times);
            let found = total(&times, &classes, &segment(&times, &classes, window));
            let least = exhaustive(&times, &classes, window);
            prop_assert!((found - least).abs() < 1e-4, "{found} against {least}");
        }

        #[test]
        fn joining_never_costs_more(gaps in prop::collection::vec(1_u32..9, 2..60)) {
            let times: Vec<f64> = std::iter::once(0.0).chain(gaps.iter().scan(0.0, |t, g| { *t += f64::from(*g) * 0.1; Some(*t) })).collect();
            let classes = classes(&times);
            let cut = segment(&times, &classes, 5);
            let joined = join(&times, &classes, cut.clone());
            prop_assert!(total(&times, &classes, &joined) <= total(&times, &classes, &cut) + 1e-4);
        }
    }
}
