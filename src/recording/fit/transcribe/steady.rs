//! Sounds that go on: a steady layer goes on through the strokes of the others.
//!
//! A snare covers the hat, so its bands cannot tell whether there is one. But if the hat may be heard before and after the stroke at
//! its usual distance, it can be expected there too (common practice, no source: a time-keeping layer is rarely interrupted for a
//! stroke of another limb).

use super::sound::{Energies, Sound};

/// Distance before and after a stroke may differ by this share of it.
const TOLERANCE: f64 = 0.15;
/// A steady layer's strokes that have the next one at its usual distance, at least.
const STEADY: f64 = 0.4;
/// Fewest strokes of a layer that may be steady.
const MIN_STROKES: usize = 6;
/// Bands with this part of the strongest one's energy make out a sound.
const MAIN: f64 = 0.1;
/// An onset may contain a sound if these bands have so much of its usual energy, in the mean and in each.
const ROOM: f64 = 0.3;
const ROOM_IN_EACH: f64 = 0.075;

/// Whether a sound may contain one of such energies.
fn has_room(sound: &Sound, energies: &Energies) -> bool {
    let least = MAIN * energies.iter().copied().fold(0.0, f64::max);
    let (mut sum, mut weights) = (0.0, 0.0);
    for (heard, energy) in sound.heard().iter().zip(energies).filter(|(_, energy)| **energy > least) {
        let room = heard / energy;
        if room < ROOM_IN_EACH {
            return false;
        }
        sum += energy * room.ln();
        weights += energy;
    }
    sum > ROOM.ln() * weights
}

/// The distance in seconds that most strokes have from the next, if many have.
fn usual_distance(strokes: &[f64]) -> Option<f64> {
    if strokes.len() < MIN_STROKES {
        return None;
    }
    let mut distances: Vec<f64> = strokes.windows(2).map(|pair| pair[1] - pair[0]).filter(|d| *d > 0.0).collect();
    distances.sort_by(f64::total_cmp);
    let within = |limit: f64| distances.partition_point(|distance| *distance < limit);
    let span = |distance: f64| within(distance * (1.0 - TOLERANCE))..within(distance * (1.0 + TOLERANCE));
    let near = distances.iter().map(|distance| span(*distance)).max_by_key(ExactSizeIterator::len)?;
    (near.len() as f64 >= STEADY * distances.len() as f64).then(|| distances[near.start + near.len() / 2])
}

/// Of every sound whether a kind of such energies, which is heard in some of them, can be expected.
pub(super) fn expected(sounds: &[Sound], is_heard: impl Fn(usize) -> bool, energies: &Energies) -> Vec<bool> {
    let strokes: Vec<f64> = (0..sounds.len()).filter(|&at| is_heard(at)).map(|at| sounds[at].seconds).collect();
    let Some(distance) = usual_distance(&strokes) else { return vec![false; sounds.len()] };
    let is_possible: Vec<bool> =
        sounds.iter().enumerate().map(|(at, sound)| is_heard(at) || has_room(sound, energies)).collect();
    let places: Vec<f64> =
        sounds.iter().zip(&is_possible).filter(|(_, possible)| **possible).map(|(sound, _)| sound.seconds).collect();
    let reach = TOLERANCE * distance;
    let has_one = |at: f64| {
        let next = places.partition_point(|place| *place < at - reach);
        places.get(next).is_some_and(|place| *place < at + reach)
    };
    let goes_on = |at: f64| has_one(at - distance) && has_one(at + distance);
    sounds.iter().zip(is_possible).map(|(sound, possible)| possible && goes_on(sound.seconds)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::sound::sounds;
    use super::*;
    use crate::recording::fit::onset::Onset;

    const HAT: [f64; 3] = [0.02, 0.15, 1.0];
    const KICK: [f64; 3] = [1.0, 0.2, 0.02];
    const SNARE: [f64; 3] = [0.3, 0.9, 1.5];

    /// Strokes at distances of 1 s, and which of them may be expected to have a hat; hats are heard where nothing else is.
    fn expected_among(strokes: &[[f64; 3]]) -> Vec<bool> {
        let onset = |(i, bands): (usize, &[f64; 3])| Onset {
            seconds: i as f64,
            timbre: crate::recording::onsets::Timbre::of_bands(*bands),
            ..Onset::default()
        };
        let sounds = sounds(&strokes.iter().enumerate().map(onset).collect::<Vec<_>>());
        let hat = strokes.iter().position(|bands| *bands == HAT).expect("a hat");
        expected(&sounds, |at| strokes[at] == HAT, &sounds[hat].energies)
    }

    #[test]
    fn a_steady_layer_goes_on_where_there_is_room_for_it() {
        let strokes = [HAT, HAT, SNARE, HAT, HAT, HAT, KICK, HAT, HAT, HAT];
        let found = expected_among(&strokes);
        assert!(found[2] && found[4] && !found[6], "{found:?}");
    }

    #[test]
    fn a_layer_between_the_strokes_does_not_sound_on_them() {
        // Plain strokes on every second beat, bright ones on the others: the layer is off the beat.
        let strokes: Vec<[f64; 3]> = (0..24).map(|i| [KICK, HAT, SNARE, HAT][i % 4]).collect();
        let found = expected_among(&strokes);
        assert!(strokes.iter().zip(found).all(|(bands, found)| *bands != SNARE || !found));
    }

    #[test]
    fn a_layer_without_a_usual_distance_is_not_expected() {
        let strokes: Vec<f64> = (0..12).map(|i| f64::from(i * i)).collect();
        assert_eq!(usual_distance(&strokes), None);
        assert_eq!(usual_distance(&[0.0, 1.0, 2.0, 3.1, 5.0, 6.0, 7.0]), Some(1.0));
    }
}
