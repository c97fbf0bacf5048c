//! Kinds of sound: groups of onsets that are not other kinds sounding together.

use super::companion::Companion;
use super::kinds::{Cluster, logs, shares};
use super::sounding::{least_squares, mix};
use crate::recording::fit::onset::Onset;

/// Most kinds.
const MAX_KINDS: usize = 4;
/// Least part of each of two kinds that make a mixture, and how near the logarithms of its shares come.
const MIXTURE_PART: f64 = 0.1;
const MIXTURE_DISTANCE: f64 = 0.3;
/// A louder group with the strongest band of another one is that one with another sound, which never sounds alone: by so much
/// louder, at most this share of what could be the other one taken away, and so much left over.
const LOUDER: f64 = 1.6;
const TAKEN: f64 = 0.95;
const LEFT: f64 = 0.36;
/// What is left is a kind that is known if the logarithms of its shares come so near.
const KNOWN_DISTANCE: f64 = 0.8;
/// What was left of a group is replaced by a group that comes so near.
const ALONE_DISTANCE: f64 = 0.6;
/// Decibels of the starting rule for roles. They fit isolated drums of one sample library.
const KICK_LOW: f64 = 8.0;
const HAT_HIGH: f64 = 2.0;
const TOM_LOW: f64 = -6.0;

/// What instrument a kind of sound suggests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Low.
    Kick,
    /// Middle, with little below.
    Snare,
    /// Middle and low.
    Tom,
    /// High: hats, cymbals, shakers.
    Hat,
}

/// A kind of sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prototype {
    /// Shares of the low, middle and high band.
    pub bands: [f64; 3],
    /// Suggested instrument. The rule was not validated on recordings.
    pub role: Role,
}

impl Prototype {
    /// A kind with such bands, as linear strengths.
    pub fn new(bands: [f64; 3]) -> Self {
        let bands = shares(bands);
        Self { bands, role: role(bands) }
    }
}

/// The instrument that the proportions of the bands suggest.
fn role([low, mid, high]: [f64; 3]) -> Role {
    let decibels = |a: f64, b: f64| 20.0 * (a.max(1e-9) / b.max(1e-9)).log10();
    if decibels(low, mid) > KICK_LOW {
        Role::Kick
    } else if decibels(high, mid) > HAT_HIGH {
        Role::Hat
    } else if decibels(low, mid) > TOM_LOW {
        Role::Tom
    } else {
        Role::Snare
    }
}

/// A kind on the way: its shares, its usual strength and the onsets where it sounds.
struct Kind {
    bands: [f64; 3],
    loudness: f64,
    /// Onsets of its group.
    count: usize,
    /// Whether it is what was left of a group.
    is_rest: bool,
    companion: Option<Companion>,
}

/// The kinds behind groups of onsets, the purest first.
pub(super) fn prototypes(clusters: &[Cluster], onsets: &[Onset]) -> Vec<Prototype> {
    let all: Vec<(f64, [f64; 3])> = onsets.iter().map(|onset| (onset.seconds, onset.bands())).collect();
    let mut sorted: Vec<&Cluster> = clusters.iter().collect();
    let purity = |cluster: &Cluster| shares(cluster.bands).into_iter().fold(0.0, f64::max);
    sorted.sort_by(|a, b| purity(b).total_cmp(&purity(a)));
    let mut kinds: Vec<Kind> = Vec::new();
    for cluster in sorted {
        let found = shares(cluster.bands);
        let known: Vec<[f64; 3]> = kinds.iter().map(|kind| kind.bands).collect();
        if kinds.len() == MAX_KINDS || is_mixture(found, &known) {
            continue;
        }
        let loudness: f64 = cluster.bands.iter().sum();
        let count = cluster.seconds.len();
        match kinds.iter().find_map(|kind| rest(cluster, kind)) {
            None => {
                let companion = Companion::new(&cluster.seconds, cluster.bands, &all);
                // The sound alone tells its bands better than what was left of it.
                kinds.retain(|kind| !kind.is_rest || largest_difference(kind.bands, found) >= ALONE_DISTANCE);
                kinds.push(Kind { bands: found, loudness, count, is_rest: false, companion });
            }
            Some(rest) if kinds.iter().all(|kind| largest_difference(kind.bands, rest) >= KNOWN_DISTANCE) => {
                kinds.push(Kind { bands: rest, loudness, count, is_rest: true, companion: None });
            }
            Some(_) => {}
        }
    }
    remove_mixtures(&mut kinds);
    kinds.into_iter().map(|kind| Prototype::new(kind.bands)).collect()
}

/// Removes kinds that are two others sounding together, less often than each of them alone: of two kinds the less pure one may
/// have been found after their mixture.
fn remove_mixtures(kinds: &mut Vec<Kind>) {
    let mut index = 0;
    while index < kinds.len() {
        let kind = kinds.remove(index);
        let more_common: Vec<[f64; 3]> = kinds.iter().filter(|k| k.count > kind.count).map(|k| k.bands).collect();
        if !is_mixture(kind.bands, &more_common) {
            kinds.insert(index, kind);
            index += 1;
        }
    }
}

/// Whether two kinds add up to these shares.
fn is_mixture(found: [f64; 3], kinds: &[[f64; 3]]) -> bool {
    (0..kinds.len()).any(|i| {
        (0..i).any(|j| {
            let columns = [kinds[i], kinds[j]];
            least_squares(&columns, found).is_some_and(|parts| {
                parts.iter().all(|part| *part > MIXTURE_PART)
                    && largest_difference(mix(&columns, &parts), found) < MIXTURE_DISTANCE
            })
        })
    })
}

/// Shares of what is left of a group without another kind, if that kind sounds in it and what is left is a sound of its own.
fn rest(cluster: &Cluster, kind: &Kind) -> Option<[f64; 3]> {
    let found = shares(cluster.bands);
    let loudness: f64 = cluster.bands.iter().sum();
    let is_louder_twin = strongest(kind.bands) == strongest(found) && loudness > LOUDER * kind.loudness;
    let companion = kind.companion.as_ref();
    let expected = companion.and_then(|companion| {
        let strength = companion.strength_through(cluster.bands, &cluster.seconds)?;
        Some(strength / kind.bands[companion.band()])
    });
    if !is_louder_twin && expected.is_none() {
        return None;
    }
    let most = (0..3).map(|band| found[band] / kind.bands[band].max(1e-3)).fold(f64::INFINITY, f64::min);
    let part = (TAKEN * most).min(expected.unwrap_or(kind.loudness) / loudness);
    let rest = [0, 1, 2].map(|band| found[band] - part * kind.bands[band]);
    (rest.iter().sum::<f64>() > LEFT).then(|| shares(rest))
}

/// Index of the strongest band.
pub(super) fn strongest(bands: [f64; 3]) -> usize {
    (0..3).reduce(|best, band| if bands[band] > bands[best] { band } else { best }).unwrap_or(0)
}

/// Largest difference of the logarithms of shares.
fn largest_difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    logs(a).iter().zip(logs(b)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roles_follow_the_proportions_of_the_bands() {
        for (bands, role) in [
            ([1.0, 0.2, 0.1], Role::Kick),
            ([0.3, 0.9, 0.7], Role::Snare),
            ([0.7, 0.6, 0.2], Role::Tom),
            ([0.02, 0.15, 1.0], Role::Hat),
        ] {
            assert_eq!(Prototype::new(bands).role, role, "{bands:?}");
        }
    }

    #[test]
    fn a_kick_and_a_hat_together_are_no_kind_of_their_own() {
        let groups =
            [[1.0, 0.2, 0.1], [0.02, 0.15, 1.0], [1.02, 0.35, 1.1]].map(|bands| Cluster { bands, seconds: Vec::new() });
        assert_eq!(prototypes(&groups, &[]).len(), 2);
    }

    #[test]
    fn a_snare_that_never_sounds_without_the_hat_is_found() {
        let groups = [[0.02, 0.15, 1.0], [0.32, 1.05, 1.7]].map(|bands| Cluster { bands, seconds: Vec::new() });
        let kinds = prototypes(&groups, &[]);
        assert_eq!(kinds.iter().map(|kind| kind.role).collect::<Vec<_>>(), vec![Role::Hat, Role::Snare]);
    }
}
