//! Which kinds sound in every onset, found in turns with what the kinds sound like.

use super::kinds::{kinds, without};
use super::mixture::{Mixer, Mixture, Strictness};
use super::sound::{Energies, Sound, typical};
use super::steady::expected;

/// Turns.
const TURNS: usize = 2;
/// Fewest onsets of a kind alone that tell what it sounds like.
const MIN_ALONE: usize = 3;
/// A kind contains another one if so many bands have the other's usual energy, to so many decibels; none has so much less; and
/// some band has so much more.
const SAME_BANDS: usize = 2;
const SAME: f64 = 1.7;
const LESS: f64 = 3.0;
const MORE: f64 = 6.0;
/// Energy of a band that says something, in terms of what may be wrong with it.
const CERTAIN: f64 = 3.0;
/// An onset without the other one has at most this part of its usual energy in these bands.
const ABSENT: f64 = 0.3;
const STRICTNESS: Strictness = Strictness { sigma: 0.6, strength_sigma: 0.8, part: 0.5, missing: 7.0 };

/// The kinds of sound among onsets, and which of them sound in each.
pub(super) struct Reading {
    pub(super) kinds: Vec<Energies>,
    /// One per sound.
    pub(super) mixtures: Vec<Mixture>,
}

impl Reading {
    pub(super) fn new(sounds: &[Sound]) -> Self {
        let kinds = kinds(sounds);
        let mixer = Mixer::new(&kinds, STRICTNESS);
        let mixtures = sounds.iter().map(|sound| mixer.mixture(sound, |_| false)).collect();
        let mut reading = Self { kinds, mixtures };
        for _ in 0..TURNS {
            reading.refine(sounds);
        }
        reading
    }

    /// Finds the kinds' energies from the onsets where they sound, and again which of them sound where.
    fn refine(&mut self, sounds: &[Sound]) {
        let of_kind: Vec<Vec<&Sound>> = (0..self.kinds.len()).map(|kind| self.sounds_of(sounds, kind)).collect();
        // A kind that is hardly ever alone stays as it was found: what it sounds like cannot be heard again.
        let usual: Vec<Option<Sound>> =
            of_kind.iter().map(|of| (of.len() >= MIN_ALONE).then(|| typical(&of.iter().copied()))).collect();
        for (kind, found) in usual.iter().enumerate() {
            let Some(found) = found else { continue };
            let others = usual.iter().enumerate().filter(|(other, _)| *other != kind).filter_map(|(_, o)| o.as_ref());
            let contained = others.filter_map(|other| Some((shared_bands(found, other)?, other)));
            self.kinds[kind] = match contained.max_by_key(|(bands, _)| bands.len()) {
                None => found.energies,
                Some((bands, other)) => parted(found, other, &bands, &of_kind[kind]),
            };
        }
        let expected: Vec<Vec<bool>> = (0..self.kinds.len())
            .map(|kind| expected(sounds, |at| self.mixtures[at].has(kind), &self.kinds[kind]))
            .collect();
        let mixer = Mixer::new(&self.kinds, STRICTNESS);
        self.mixtures =
            sounds.iter().enumerate().map(|(at, sound)| mixer.mixture(sound, |kind| expected[kind][at])).collect();
    }

    /// The sounds of a kind alone.
    fn sounds_of<'s>(&self, sounds: &'s [Sound], kind: usize) -> Vec<&'s Sound> {
        let is_alone = |(_, mixture): &(&Sound, &Mixture)| mixture.is_only(kind);
        sounds.iter().zip(&self.mixtures).filter(is_alone).map(|(sound, _)| sound).collect()
    }
}

/// The bands in which a sound has just the energy of another one, if it contains the other: that its loudness there is the
/// other's to a decibel or two is no coincidence.
fn shared_bands(sound: &Sound, other: &Sound) -> Option<Vec<usize>> {
    let (mut same, mut is_more) = (Vec::new(), false);
    for (band, (a, b)) in sound.heard().iter().zip(other.heard()).enumerate() {
        let decibels = 10.0 * (a / b).log10();
        is_more |= decibels > MORE;
        if other.energies[band] > CERTAIN * other.doubt[band] {
            if decibels < -LESS {
                return None;
            }
            if decibels.abs() < SAME && sound.energies[band] > CERTAIN * sound.doubt[band] {
                same.push(band);
            }
        }
    }
    (is_more && same.len() >= SAME_BANDS).then_some(same)
}

/// The energies of a kind that mostly sounds with another one: those of its onsets without it, or what is left without it.
fn parted(sound: &Sound, other: &Sound, bands: &[usize], of_kind: &[&Sound]) -> Energies {
    let in_bands = |of: &Sound| bands.iter().map(|&band| of.energies[band]).sum::<f64>();
    let most = ABSENT * in_bands(other);
    let clean = of_kind.iter().copied().filter(|one| in_bands(one) < most);
    if clean.clone().count() >= MIN_ALONE {
        typical(&clean).energies
    } else {
        without(&sound.energies, &other.energies, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::super::sound::sounds;
    use super::*;
    use crate::recording::fit::onset::Onset;
    use crate::recording::onsets::Timbre;

    const KICK: [f64; 3] = [1.0, 0.2, 0.02];
    const SNARE: [f64; 3] = [0.05, 0.9, 0.1];
    const HAT: [f64; 3] = [0.003, 0.02, 0.3];

    /// A sound of voices that strike together, each at its own loudness.
    fn together(voices: &[[f64; 3]], place: usize) -> Onset {
        let mut bands = [0.0; 3];
        for (k, voice) in voices.iter().enumerate() {
            let loudness = 1.0 + 0.05 * ((place * (3 + k)) % 7) as f64;
            bands.iter_mut().zip(voice).for_each(|(sum, band)| *sum += (loudness * band).powi(2));
        }
        Onset { seconds: place as f64 * 0.25, timbre: Timbre::of_bands(bands.map(f64::sqrt)), ..Onset::default() }
    }

    #[test]
    fn voices_that_are_never_alone_are_kinds_of_their_own() {
        let bar: [&[[f64; 3]]; 4] = [&[KICK, HAT], &[HAT], &[SNARE, HAT], &[HAT]];
        let onsets: Vec<Onset> = (0..80).map(|place| together(bar[place % 4], place)).collect();
        let reading = Reading::new(&sounds(&onsets));
        assert_eq!(reading.kinds.len(), 3);
        for (place, mixture) in reading.mixtures.iter().enumerate() {
            assert_eq!(mixture.parts.len(), bar[place % 4].len(), "{place}: {mixture:?}");
        }
    }

    #[test]
    fn voices_in_every_combination_are_told_apart() {
        let all: [&[[f64; 3]]; 7] =
            [&[KICK], &[SNARE], &[HAT], &[KICK, SNARE], &[KICK, HAT], &[SNARE, HAT], &[KICK, SNARE, HAT]];
        let onsets: Vec<Onset> = (0..140).map(|place| together(all[place * 3 % 7], place)).collect();
        let reading = Reading::new(&sounds(&onsets));
        assert_eq!(reading.kinds.len(), 3);
        let right =
            reading.mixtures.iter().enumerate().filter(|(at, m)| m.parts.len() == all[at * 3 % 7].len()).count();
        assert!(right >= 133, "{right} of 140");
    }
}
