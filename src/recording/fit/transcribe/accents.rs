//! Ghosts, plain attacks and accents: classes of strength within a layer.
//!
//! What is accented is mostly accented again when the bar comes round, so the attacks at one position of a cycle are judged
//! together: their mean strays far less than a single stroke. Whether they are, and for which cycle, is decided like the number
//! of classes, by the Bayesian information criterion (Schwarz, *Estimating the dimension of a model*, 1978).

use super::Bars;
use std::collections::BTreeMap;

/// How loud an attack is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Accent {
    /// Much fainter than the others.
    Ghost,
    /// Neither.
    Plain,
    /// Louder than the others.
    Accent,
}

/// Most classes, and fewest attacks for each.
const MAX_CLASSES: usize = 3;
const ATTACKS_PER_CLASS: usize = 6;
/// Least distance of two classes as a logarithm of strength, and least share of the attacks.
const MIN_GAP: f64 = 0.33;
const MIN_SHARE: f64 = 0.03;
/// Two classes farther apart than this are ghosts and plain attacks, nearer ones plain attacks and accents.
const GHOST_GAP: f64 = 0.70;
/// Least standard deviation within a class.
const MIN_SIGMA: f64 = 0.08;
/// Share of attacks that are of another class than their position.
const EXCEPTION: f64 = 0.05;
/// Cycles that are tried: bars, and beats where the bar is not known.
const CYCLE_BARS: [usize; 3] = [1, 2, 4];
const CYCLE_BEATS: [usize; 9] = [2, 3, 4, 5, 6, 7, 8, 12, 16];
/// Positions nearer than this fraction of a beat are one.
const POSITIONS_PER_BEAT: f64 = 240.0;
/// Most rounds of estimation, and the gain in nats below which it ends.
const ROUNDS: usize = 25;
const SETTLED: f64 = 0.01;

/// The accent of every attack of a layer. Positions are in beats.
pub(super) fn accents(strengths: &[f64], positions: &[f64], bars: Option<Bars>) -> Vec<Accent> {
    let logs: Vec<f64> = strengths.iter().map(|strength| strength.max(1e-6).ln()).collect();
    let cycles: Vec<usize> = bars.map_or(CYCLE_BEATS.to_vec(), |bars| CYCLE_BARS.map(|n| n * bars.beats).to_vec());
    let every_attack = (0..logs.len()).map(|attack| vec![attack]).collect();
    let groupings = std::iter::once(every_attack).chain(cycles.into_iter().map(|cycle| by_position(positions, cycle)));
    let best = groupings
        .filter_map(|groups| best(&logs, groups))
        .reduce(|best, other| if other.criterion < best.criterion { other } else { best });
    let Some(best) = best else { return vec![Accent::Plain; logs.len()] };
    let names: &[Accent] = match best.mixture.means.as_slice() {
        [low, high] if high - low > GHOST_GAP => &[Accent::Ghost, Accent::Plain],
        [_, _] => &[Accent::Plain, Accent::Accent],
        [_, _, _] => &[Accent::Ghost, Accent::Plain, Accent::Accent],
        _ => &[Accent::Plain],
    };
    best.mixture.classes(&logs, &best.groups).into_iter().map(|class| names[class]).collect()
}

/// Attacks by their position in a cycle of so many beats, in order of position.
fn by_position(positions: &[f64], cycle: usize) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    let length = cycle as i64 * POSITIONS_PER_BEAT as i64;
    for (attack, position) in positions.iter().enumerate() {
        let place = ((position * POSITIONS_PER_BEAT).round() as i64).rem_euclid(length);
        groups.entry(place).or_default().push(attack);
    }
    groups.into_values().collect()
}

/// A number of classes and a grouping, with their description length.
struct Model {
    criterion: f64,
    mixture: Mixture,
    groups: Vec<Vec<usize>>,
}

/// The mixture of one to three classes with the least criterion.
fn best(logs: &[f64], groups: Vec<Vec<usize>>) -> Option<Model> {
    let n = logs.len() as f64;
    let mut sorted = logs.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut best: Option<(f64, Mixture)> = None;
    for classes in 1..=MAX_CLASSES {
        if logs.len() < ATTACKS_PER_CLASS * classes {
            break;
        }
        for means in starts(&sorted, classes) {
            let mixture = Mixture::estimate(logs, &groups, means);
            let is_distinct = mixture.means.windows(2).all(|pair| pair[1] - pair[0] >= MIN_GAP)
                && mixture.shares.iter().all(|share| classes == 1 || *share >= MIN_SHARE);
            let criterion = -mixture.log_likelihood + classes as f64 * n.ln();
            if is_distinct && best.as_ref().is_none_or(|best| criterion < best.0) {
                best = Some((criterion, mixture));
            }
        }
    }
    best.map(|(criterion, mixture)| Model { criterion, mixture, groups })
}

/// Means to start from: evenly among the attacks, evenly over the range, and with a small class at either end.
fn starts(sorted: &[f64], classes: usize) -> Vec<Vec<f64>> {
    let quantile = |q: f64| sorted[((sorted.len() - 1) as f64 * q).round() as usize];
    let even = (0..classes).map(|i| quantile((i as f64 + 0.5) / classes as f64)).collect();
    if classes == 1 {
        return vec![even];
    }
    let (low, high) = (quantile(0.06), quantile(0.94));
    let over_range = (0..classes).map(|i| low + (high - low) * i as f64 / (classes - 1) as f64).collect();
    let ends: [&[f64]; 2] = if classes == 2 { [&[0.5, 0.95], &[0.05, 0.6]] } else { [&[0.1, 0.5, 0.9]; 2] };
    let mut starts = vec![even, over_range];
    starts.extend(ends.map(|ends| ends.iter().map(|q| quantile(*q)).collect()));
    starts.dedup();
    starts
}

/// Classes of log strength with one standard deviation. A group of attacks has a class; each of its attacks is of that class but
/// for exceptions, which are of any.
struct Mixture {
    /// Ascending.
    means: Vec<f64>,
    /// Share of the attacks.
    shares: Vec<f64>,
    sigma: f64,
    log_likelihood: f64,
}

impl Mixture {
    /// Expectation and maximisation from given means (Dempster, Laird and Rubin, *Maximum likelihood from incomplete data via the
    /// EM algorithm*, 1977).
    fn estimate(logs: &[f64], groups: &[Vec<usize>], means: Vec<f64>) -> Self {
        let n = logs.len() as f64;
        let classes = means.len();
        let mean = logs.iter().sum::<f64>() / n;
        let spread = (logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / n).sqrt();
        let mut mixture = Self {
            means,
            shares: vec![1.0 / classes as f64; classes],
            sigma: (spread / classes as f64).max(MIN_SIGMA),
            log_likelihood: f64::NEG_INFINITY,
        };
        for _ in 0..ROUNDS {
            let expected = mixture.expect(logs, groups);
            let gain = expected.log_likelihood - mixture.log_likelihood;
            mixture.log_likelihood = expected.log_likelihood;
            mixture.maximise(logs, &expected.memberships);
            if gain < SETTLED {
                break;
            }
        }
        let mut order: Vec<usize> = (0..classes).collect();
        order.sort_by(|&a, &b| mixture.means[a].total_cmp(&mixture.means[b]));
        mixture.means = order.iter().map(|&class| mixture.means[class]).collect();
        mixture.shares = order.iter().map(|&class| mixture.shares[class]).collect();
        mixture
    }

    /// Density of each class at a log strength.
    fn densities(&self, log: f64) -> [f64; MAX_CLASSES] {
        let mut densities = [0.0; MAX_CLASSES];
        let scale = self.sigma * std::f64::consts::TAU.sqrt();
        for (density, mean) in densities.iter_mut().zip(&self.means) {
            *density = (-0.5 * ((log - mean) / self.sigma).powi(2)).exp() / scale;
        }
        densities
    }

    /// How probable each class is for every attack.
    fn expect(&self, logs: &[f64], groups: &[Vec<usize>]) -> Expectation {
        let classes = self.means.len();
        let mut memberships = vec![[0.0; MAX_CLASSES]; logs.len()];
        let mut log_likelihood = 0.0;
        for group in groups {
            let mut group_logs: [f64; MAX_CLASSES] = [f64::NEG_INFINITY; MAX_CLASSES];
            for (log, share) in group_logs.iter_mut().zip(&self.shares) {
                *log = share.ln();
            }
            for &attack in group {
                let (densities, any) = self.with_any(logs[attack]);
                for class in 0..classes {
                    group_logs[class] += ((1.0 - EXCEPTION) * densities[class] + EXCEPTION * any).ln();
                }
            }
            let largest = group_logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let weights = group_logs.map(|log| (log - largest).exp());
            let sum: f64 = weights.iter().sum();
            log_likelihood += largest + sum.ln();
            for &attack in group {
                let (densities, any) = self.with_any(logs[attack]);
                for (class, weight) in weights.iter().enumerate().take(classes) {
                    let posterior = weight / sum / ((1.0 - EXCEPTION) * densities[class] + EXCEPTION * any);
                    memberships[attack][class] += posterior * (1.0 - EXCEPTION) * densities[class];
                    for (other, share) in self.shares.iter().enumerate() {
                        memberships[attack][other] += posterior * EXCEPTION * share * densities[other];
                    }
                }
            }
        }
        Expectation { memberships, log_likelihood }
    }

    /// Densities of the classes at a log strength, and of any class.
    fn with_any(&self, log: f64) -> ([f64; MAX_CLASSES], f64) {
        let densities = self.densities(log);
        let any: f64 = self.shares.iter().zip(densities).map(|(share, density)| share * density).sum();
        (densities, any.max(1e-12))
    }

    /// Means, shares and standard deviation for given memberships.
    fn maximise(&mut self, logs: &[f64], memberships: &[[f64; MAX_CLASSES]]) {
        let n = logs.len() as f64;
        for class in 0..self.means.len() {
            let weight: f64 = memberships.iter().map(|m| m[class]).sum::<f64>() + 1e-9;
            let sum: f64 = logs.iter().zip(memberships).map(|(log, m)| m[class] * log).sum();
            if weight > 1e-6 {
                self.means[class] = sum / weight;
            }
            self.shares[class] = weight / n;
        }
        let square = |log: f64, m: &[f64; MAX_CLASSES]| -> f64 {
            m.iter().zip(&self.means).map(|(m, mean)| m * (log - mean).powi(2)).sum()
        };
        let squares: f64 = logs.iter().zip(memberships).map(|(log, m)| square(*log, m)).sum();
        self.sigma = (squares / n).sqrt().max(MIN_SIGMA);
    }

    /// The most probable class of every attack.
    fn classes(&self, logs: &[f64], groups: &[Vec<usize>]) -> Vec<usize> {
        let most = |m: [f64; MAX_CLASSES]| {
            (0..MAX_CLASSES).reduce(|best, class| if m[class] > m[best] { class } else { best }).unwrap_or(0)
        };
        self.expect(logs, groups).memberships.into_iter().map(most).collect()
    }
}

/// What a mixture says of attacks.
struct Expectation {
    memberships: Vec<[f64; MAX_CLASSES]>,
    log_likelihood: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted_into(strengths: &[f64]) -> Vec<Accent> {
        let positions: Vec<f64> = (0..strengths.len()).map(|i| i as f64).collect();
        accents(strengths, &positions, None)
    }

    #[test]
    fn equal_strengths_are_plain() {
        assert_eq!(sorted_into(&[0.5; 30]), vec![Accent::Plain; 30]);
        assert_eq!(sorted_into(&[]), vec![]);
        assert_eq!(sorted_into(&[0.1, 3.0]), vec![Accent::Plain; 2]);
    }

    #[test]
    fn position_tells_accents_that_strength_alone_does_not() {
        // Strengths stray by more than the accents differ; the first of four attacks is accented.
        let stray = |i: usize| ((i * 7919 % 101) as f64 / 101.0 - 0.5) * 1.2;
        let strengths: Vec<f64> = (0..160).map(|i| stray(i).exp() * if i % 4 == 0 { 1.0 } else { 0.55 }).collect();
        let positions: Vec<f64> = (0..160).map(f64::from).collect();
        let found = accents(&strengths, &positions, Some(Bars { beats: 4, downbeat: 0 }));
        let right = (0..160).filter(|i| (found[*i] == Accent::Accent) == (i % 4 == 0)).count();
        assert!(right > 150, "{right} of 160");
    }

    #[test]
    fn a_narrow_gap_makes_accents_and_a_wide_one_ghosts() {
        let wobble = |i: usize| 1.0 + 0.02 * (i % 5) as f64;
        let accented: Vec<f64> = (0..32).map(|i| wobble(i) * if i % 4 == 0 { 1.0 } else { 0.6 }).collect();
        let ghosted: Vec<f64> = (0..32).map(|i| wobble(i) * if i % 4 == 0 { 0.6 } else { 0.25 }).collect();
        for i in 0..32 {
            let expected = if i % 4 == 0 { Accent::Accent } else { Accent::Plain };
            assert_eq!(sorted_into(&accented)[i], expected, "attack {i}");
            let expected = if i % 4 == 0 { Accent::Plain } else { Accent::Ghost };
            assert_eq!(sorted_into(&ghosted)[i], expected, "attack {i}");
        }
    }
}
