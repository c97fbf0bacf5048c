//! The kinds of sound of a recording: of groups of like onsets, and of what one group has that another has not, the fewest that
//! explain all groups as one kind or several together.

use super::mixture::{Mixer, Strictness};
use super::sound::{Energies, Sound, typical};
use crate::recording::onsets::ENERGIES;

/// Onsets are alike if the logarithms of their energies differ by no more, as a root of the mean square.
const ALIKE: f64 = 0.9;
/// Part of the energy below which a band does not tell onsets apart.
const LEAST_PART: f64 = 1e-4;
/// Fewest onsets in a group, and their least share of all.
const MIN_GROUP: usize = 4;
const MIN_SHARE: f64 = 0.03;
/// Onsets that are grouped at most: of more, every so many.
const MOST_GROUPED: usize = 1200;
/// Most kinds.
const MAX_KINDS: usize = 6;
/// How much of a group may belong to another: as much as all but this share of its bands have room for, if that is enough to be it.
const WITHOUT_ROOM: f64 = 0.15;
const ENOUGH: f64 = 0.25;
/// Least part of a group that is left without the other one, and what is left of a band at least.
const MIN_REST: f64 = 0.15;
pub(super) const MIN_LEFT: f64 = 0.02;
/// Nats by which another kind must explain more than it costs, and rounds in which kinds are exchanged.
const GAIN: f64 = 1.0;
const ROUNDS: usize = 3;
/// Groups are compared with kinds more generously than single onsets.
const STRICTNESS: Strictness = Strictness { sigma: 0.9, strength_sigma: 1.0, part: 0.5, missing: 0.0 };

/// Onsets that sound alike.
struct Group {
    sound: Sound,
    count: f64,
}

/// The kinds of sound among onsets, as their energies; one if no onsets are alike.
pub(super) fn kinds(sounds: &[Sound]) -> Vec<Energies> {
    let groups = groups(sounds);
    let candidates = candidates(&groups);
    let cost = |kinds: &[Energies]| {
        let mixer = Mixer::new(kinds, STRICTNESS);
        let misfit: f64 = groups.iter().map(|group| group.count * mixer.mixture(&group.sound, |_| false).cost).sum();
        // Every energy of a kind is a number to be told (Rissanen 1978).
        misfit + (kinds.len() * ENERGIES) as f64 * (sounds.len() as f64).ln()
    };
    let mut kinds: Vec<Energies> = Vec::new();
    let mut least = f64::INFINITY;
    while kinds.len() < MAX_KINDS && improve(&mut kinds, &mut least, &candidates, None, &cost) {
        for _ in 0..ROUNDS {
            let mut is_changed = false;
            for at in (0..kinds.len()).rev() {
                let without: Vec<Energies> = [&kinds[..at], &kinds[at + 1..]].concat();
                let cost_without = if without.is_empty() { f64::INFINITY } else { cost(&without) };
                if cost_without < least {
                    (kinds, least, is_changed) = (without, cost_without, true);
                } else {
                    is_changed |= improve(&mut kinds, &mut least, &candidates, Some(at), &cost);
                }
            }
            if !is_changed {
                break;
            }
        }
    }
    if kinds.is_empty() {
        kinds.push(typical(&sounds.iter()).energies);
    }
    kinds
}

/// Adds the candidate that explains most, or puts it in the place of a kind, if that costs less than before.
fn improve(
    kinds: &mut Vec<Energies>,
    least: &mut f64,
    candidates: &[Energies],
    place: Option<usize>,
    cost: &dyn Fn(&[Energies]) -> f64,
) -> bool {
    let at = place.unwrap_or(kinds.len());
    let mut tried = kinds.clone();
    if place.is_none() {
        tried.push([0.0; ENERGIES]);
    }
    let mut best: Option<(f64, Energies)> = None;
    for candidate in candidates.iter().filter(|candidate| !kinds.contains(candidate)) {
        tried[at] = *candidate;
        let cost = cost(&tried);
        if best.is_none_or(|best| cost < best.0) {
            best = Some((cost, *candidate));
        }
    }
    let Some((cost, candidate)) = best.filter(|best| best.0 < *least - GAIN) else { return false };
    *least = cost;
    tried[at] = candidate;
    *kinds = tried;
    true
}

/// The energies of the groups, and of what is left of each without another.
fn candidates(groups: &[Group]) -> Vec<Energies> {
    let mut candidates: Vec<Energies> = groups.iter().map(|group| group.sound.energies).collect();
    for group in groups {
        let all = group.sound.heard();
        for other in groups.iter().filter(|other| !std::ptr::eq(*other, group)) {
            let mut room: Vec<f64> = all.iter().zip(other.sound.heard()).map(|(all, other)| all / other).collect();
            room.sort_by(f64::total_cmp);
            let part = room[(WITHOUT_ROOM * (room.len() - 1) as f64).round() as usize].min(1.0);
            let rest = without(&group.sound.energies, &other.sound.energies, part);
            if part >= ENOUGH && rest.iter().sum::<f64>() >= MIN_REST * group.sound.sum() {
                candidates.push(rest);
            }
        }
    }
    candidates
}

/// What is left of energies without a part of others.
pub(super) fn without(energies: &Energies, others: &Energies, part: f64) -> Energies {
    std::array::from_fn(|band| (energies[band] - part * others[band]).max(MIN_LEFT * energies[band]))
}

/// Groups of onsets that sound alike, the largest first: each time the onset with most others like it, and these.
fn groups(sounds: &[Sound]) -> Vec<Group> {
    let step = sounds.len().div_ceil(MOST_GROUPED).max(1);
    let grouped: Vec<&Sound> = sounds.iter().step_by(step).collect();
    let points: Vec<Energies> = grouped.iter().map(|sound| logs(sound)).collect();
    let distance = |a: &Energies, b: &Energies| a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>();
    let most = ALIKE.powi(2) * ENERGIES as f64;
    let alike: Vec<Vec<usize>> = points
        .iter()
        .map(|point| (0..points.len()).filter(|&other| distance(point, &points[other]) < most).collect())
        .collect();
    let fewest = (MIN_SHARE * grouped.len() as f64).max(MIN_GROUP as f64);
    let mut is_left = vec![true; grouped.len()];
    let mut groups = Vec::new();
    loop {
        let free = |onset: usize| alike[onset].iter().filter(|&&other| is_left[other]).count();
        let centre = (0..grouped.len())
            .filter(|&onset| is_left[onset])
            .map(|onset| (free(onset), onset))
            .reduce(|best, other| if other.0 > best.0 { other } else { best });
        let Some((_, centre)) = centre.filter(|centre| centre.0 as f64 >= fewest) else { return groups };
        let members: Vec<usize> = alike[centre].iter().copied().filter(|&other| is_left[other]).collect();
        for &member in &members {
            is_left[member] = false;
        }
        let sound = typical(&members.iter().map(|&member| grouped[member]));
        groups.push(Group { sound, count: (members.len() * step) as f64 });
    }
}

/// Logarithms of the parts of a sound's energy.
fn logs(sound: &Sound) -> Energies {
    let heard = sound.heard();
    let sum: f64 = heard.iter().sum();
    heard.map(|energy| (energy / sum).max(LEAST_PART).ln())
}
