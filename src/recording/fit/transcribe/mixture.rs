//! Which kinds of sound an onset is made of.

use super::sound::{Energies, Sound};

/// Most kinds in one onset.
const MAX_PARTS: usize = 3;
/// Rounds in which the parts of several kinds, and of one, are estimated.
const ROUNDS: usize = 12;
const ROUNDS_ALONE: usize = 5;
/// Squared distance, in variances, beyond which a band says no more, and the same for a part's strength.
const OUTLIER: f64 = 9.0;
const STRENGTH_OUTLIER: f64 = 24.0;

/// How strictly onsets are compared with kinds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strictness {
    /// Standard deviation of a logarithm of energy in one band.
    pub(super) sigma: f64,
    /// Standard deviation of the logarithm of a kind's energy from stroke to stroke.
    pub(super) strength_sigma: f64,
    /// Nats for every kind that sounds.
    pub(super) part: f64,
    /// Nats for every kind that does not although it was expected.
    pub(super) missing: f64,
}

/// The kinds found in an onset, with the energy of each, and how badly they explain it, in nats.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mixture {
    pub(super) parts: Vec<(usize, f64)>,
    pub(super) cost: f64,
}

impl Mixture {
    pub(super) fn has(&self, kind: usize) -> bool {
        self.parts.iter().any(|part| part.0 == kind)
    }

    /// Whether a kind sounds and no other does.
    pub(super) fn is_only(&self, kind: usize) -> bool {
        self.parts.len() == 1 && self.has(kind)
    }
}

/// Kinds as shares of energy, with their usual energy, and the sets of them that may sound together.
pub(super) struct Mixer {
    shares: Vec<Energies>,
    usual: Vec<f64>,
    sets: Vec<Vec<usize>>,
    strictness: Strictness,
}

impl Mixer {
    pub(super) fn new<'k>(kinds: impl IntoIterator<Item = &'k Energies>, strictness: Strictness) -> Self {
        let (shares, usual): (Vec<Energies>, Vec<f64>) = kinds
            .into_iter()
            .map(|kind| {
                let sum = kind.iter().sum::<f64>().max(f64::MIN_POSITIVE);
                (kind.map(|energy| energy / sum), sum)
            })
            .unzip();
        Self { sets: sets(shares.len()), shares, usual, strictness }
    }

    /// The set of kinds that explains a sound best. `is_expected` tells of every kind whether it should be in it.
    pub(super) fn mixture(&self, sound: &Sound, is_expected: impl Fn(usize) -> bool) -> Mixture {
        let heard = sound.heard();
        let missing: Vec<f64> =
            (0..self.shares.len()).map(|kind| if is_expected(kind) { self.strictness.missing } else { 0.0 }).collect();
        let all_missing: f64 = missing.iter().sum();
        let mut best = Mixture { parts: Vec::new(), cost: f64::INFINITY };
        for set in &self.sets {
            let (parts, misfit) = self.fitted(set, sound, &heard);
            let strange = |(&kind, part): (&usize, &f64)| {
                let distance = ((part.max(f64::MIN_POSITIVE)) / self.usual[kind]).ln() / self.strictness.strength_sigma;
                distance.powi(2).min(STRENGTH_OUTLIER) / 2.0 + self.strictness.part - missing[kind]
            };
            let cost = misfit + all_missing + set.iter().zip(&parts).map(strange).sum::<f64>();
            if cost < best.cost {
                best = Mixture { parts: set.iter().copied().zip(parts).collect(), cost };
            }
        }
        best
    }

    /// The energies of given kinds in a sound, and what they leave unexplained.
    ///
    /// The multiplicative rule for the Itakura-Saito divergence, which compares energies by their quotients (Févotte, Bertin and
    /// Durrieu, *Nonnegative matrix factorization with the Itakura-Saito divergence*, 2009).
    fn fitted(&self, set: &[usize], sound: &Sound, heard: &Energies) -> (Vec<f64>, f64) {
        let mut parts = vec![sound.sum() / set.len() as f64; set.len()];
        let mut sum = self.sum(set, &parts, &sound.doubt);
        for _ in 0..if set.len() > 1 { ROUNDS } else { ROUNDS_ALONE } {
            for (part, kind) in parts.iter_mut().zip(set) {
                let (mut up, mut down) = (0.0, 0.0);
                for ((share, sum), heard) in self.shares[*kind].iter().zip(&sum).zip(heard) {
                    up += share * heard / (sum * sum);
                    down += share / sum;
                }
                *part *= (up / down.max(f64::MIN_POSITIVE)).sqrt();
            }
            sum = self.sum(set, &parts, &sound.doubt);
        }
        let square = |(sum, heard): (&f64, &f64)| ((sum / heard).ln() / self.strictness.sigma).powi(2).min(OUTLIER);
        let misfit = sum.iter().zip(heard).map(square).sum::<f64>() / 2.0;
        (parts, misfit)
    }

    fn sum(&self, set: &[usize], parts: &[f64], doubt: &Energies) -> Energies {
        let mut sum = *doubt;
        for (kind, part) in set.iter().zip(parts) {
            sum.iter_mut().zip(&self.shares[*kind]).for_each(|(sum, share)| *sum += part * share);
        }
        sum
    }
}

/// Every set of one to three kinds out of so many.
fn sets(count: usize) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = (0..count).map(|kind| vec![kind]).collect();
    let mut first = 0;
    for _ in 1..MAX_PARTS {
        let smaller = first..sets.len();
        first = sets.len();
        for set in smaller {
            let next = sets[set].last().map_or(0, |last| last + 1);
            for kind in next..count {
                let larger = sets[set].iter().copied().chain([kind]).collect();
                sets.push(larger);
            }
        }
    }
    sets
}

#[cfg(test)]
mod tests {
    use super::super::sound::sounds;
    use super::*;
    use crate::recording::fit::onset::Onset;
    use crate::recording::onsets::Timbre;

    const STRICT: Strictness = Strictness { sigma: 0.6, strength_sigma: 0.8, part: 0.5, missing: 4.0 };

    fn sound(bands: [f64; 3]) -> Sound {
        sounds(&[Onset { timbre: Timbre::of_bands(bands), ..Onset::default() }]).remove(0)
    }

    #[test]
    fn sets_hold_one_to_three_kinds() {
        assert_eq!(sets(2), vec![vec![0], vec![1], vec![0, 1]]);
        assert_eq!(sets(4).len(), 4 + 6 + 4);
        assert_eq!(sets(5).len(), 5 + 10 + 10);
    }

    #[test]
    fn energies_of_two_kinds_are_parted() {
        let kinds = [[1.0, 0.2, 0.02], [0.03, 0.9, 0.5], [0.01, 0.05, 0.5]].map(|bands| sound(bands).energies);
        let mixer = Mixer::new(&kinds, STRICT);
        let mut both = sound([1.0, 0.2, 0.02]);
        both.energies.iter_mut().zip(&kinds[2]).for_each(|(sum, energy)| *sum += 2.0 * energy);
        let mixture = mixer.mixture(&both, |_| false);
        assert_eq!(mixture.parts.iter().map(|part| part.0).collect::<Vec<_>>(), vec![0, 2]);
        let hat: f64 = kinds[2].iter().sum();
        assert!((mixture.parts[1].1 / hat - 2.0).abs() < 0.2, "{mixture:?}");
        assert!(mixer.mixture(&sound([0.5, 0.1, 0.01]), |_| false).is_only(0));
    }

    #[test]
    fn a_covered_kind_is_there_if_it_is_expected() {
        let kinds = [[0.03, 0.9, 2.0], [0.01, 0.05, 0.5]].map(|bands| sound(bands).energies);
        let mixer = Mixer::new(&kinds, STRICT);
        let mut both = sound([0.03, 0.9, 2.0]);
        both.energies.iter_mut().zip(&kinds[1]).for_each(|(sum, energy)| *sum += energy);
        assert!(mixer.mixture(&both, |_| false).is_only(0));
        assert!(mixer.mixture(&both, |kind| kind == 1).has(1));
        // Where its band is silent it does not sound.
        assert!(mixer.mixture(&sound([1.0, 0.0, 0.0]), |kind| kind == 1).parts.len() == 1);
    }
}
