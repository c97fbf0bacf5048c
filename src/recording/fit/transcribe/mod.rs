//! From onsets with known beats to layers of cells.
//!
//! 1. [`kinds`] groups the onsets by their spectra and finds the fewest kinds of sound that explain all groups, as one kind or
//!    several sounding together;
//! 2. [`reading`] says which kinds sound in every onset, and how strongly, with the help of [`mixture`], and of [`steady`] where
//!    one covers another: each kind is a layer;
//! 3. [`divisions`] finds the division of every beat, for all layers together or for one that has its own, and with it the cell of
//!    every attack;
//! 4. [`accents`] sorts a layer's attacks into ghosts, plain ones and accents, [`swing`] looks for cells that are all late.
//!
//! Choices between models are made by description length (Rissanen, *Modeling by shortest data description*, 1978). The constants
//! are ours, chosen on simulated performances, unless a source is named.

mod accents;
mod divisions;
mod kinds;
mod mixture;
mod prototype;
mod reading;
mod sound;
mod steady;
mod swing;
#[cfg(test)]
mod tests;

use crate::recording::fit::clock::Clock;
use crate::recording::fit::onset::Onset;
pub use accents::Accent;
pub use divisions::Division;
use divisions::{Divided, Place};
pub use prototype::{Prototype, Role};
use reading::Reading;
use sound::sounds;
use std::collections::BTreeMap;
pub use swing::Swing;

/// Fewest attacks of a layer that say something about the spread of its timing.
const MIN_ATTACKS: usize = 8;
/// Spread of timing where no layer has enough attacks, in seconds.
const DEFAULT_SIGMA: f64 = 0.015;

/// The cells of all layers together are those of a layer if most of its attacks are within so many standard deviations of them.
/// Otherwise it has cells of its own, as three in the time of four has.
const NEAR: f64 = 3.0;
const MOST: f64 = 0.9;

/// Where bars begin among the beats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bars {
    /// Beats in a bar.
    pub beats: usize,
    /// Index of a beat that begins a bar.
    pub downbeat: usize,
}

/// An attack of a layer, on its cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attack {
    /// Index of the onset.
    pub onset: usize,
    /// Strength of the layer's part in the onset.
    pub strength: f64,
    /// Beat of the cell, an index into the beats; before the first beat negative. Of a division over two beats the first of them.
    pub beat: i64,
    /// Cell within the beat, or within the two beats, from 0 on.
    pub cell: u32,
    /// Division that the cell belongs to.
    pub division: Division,
    /// Seconds after the cell; before it negative.
    pub deviation: f64,
    /// Suggested accent.
    pub accent: Accent,
}

impl Attack {
    /// Position of the cell in beats, its division being even.
    pub fn position(&self) -> f64 {
        self.beat as f64 + f64::from(self.cell) * self.division.cell()
    }
}

/// One kind of sound with its attacks.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// The sound.
    pub prototype: Prototype,
    /// In order of time.
    pub attacks: Vec<Attack>,
    /// Index of the beat of the first division.
    pub first_beat: i64,
    /// Division of every beat from there to the beat of the last attack.
    pub divisions: Vec<Division>,
    /// Suggested swing, with the attacks on its cells.
    pub swung: Option<Swung>,
}

/// A layer read with swing: every attack on a cell of one division.
#[derive(Debug, Clone, PartialEq)]
pub struct Swung {
    /// The swing.
    pub swing: Swing,
    /// The layer's attacks. Their cells are those of the swing, their deviations from its late cells.
    pub attacks: Vec<Attack>,
}

/// What is played, on cells.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Transcription {
    /// One layer per kind of sound.
    pub layers: Vec<Layer>,
    /// Standard deviation of attacks from their cells, in seconds.
    pub sigma: f64,
}

/// Transcribes onsets, in ascending order of time, on beats of ascending seconds. Onsets farther than a beat outside the beats are
/// left out. In an additive meter the beats are its units.
///
/// `bars` helps to tell accents; without it they are told by strength alone.
pub fn transcribe(onsets: &[Onset], beats: &[f64], bars: Option<Bars>) -> Transcription {
    let places = placed(onsets, beats);
    let all = sounds(&places.iter().map(|part| onsets[part.onset]).collect::<Vec<_>>());
    let (parts, sounds): (Vec<Part>, Vec<_>) =
        places.into_iter().zip(all).filter(|(_, sound)| sound.sum() > 0.0).unzip();
    if sounds.is_empty() {
        return Transcription::default();
    }
    let reading = Reading::new(&sounds);
    let mut of_kinds: Vec<Vec<Part>> = vec![Vec::new(); reading.kinds.len()];
    for (part, mixture) in parts.iter().zip(&reading.mixtures) {
        for (kind, energy) in &mixture.parts {
            of_kinds[*kind].push(Part { strength: energy.sqrt(), ..*part });
        }
    }
    layers(Prototype::of_kinds(&reading.kinds).into_iter().zip(of_kinds).collect(), bars)
}

/// Transcribes onsets as [`transcribe`] does, all of them as one kind of sound.
pub fn transcribe_as_one(onsets: &[Onset], beats: &[f64], bars: Option<Bars>) -> Transcription {
    let parts = placed(onsets, beats);
    layers(vec![(Prototype::ANY, parts)], bars)
}

/// Onsets near the beats, with their places.
fn placed(onsets: &[Onset], beats: &[f64]) -> Vec<Part> {
    if beats.len() < 2 {
        return Vec::new();
    }
    let clock = Clock { origin: 0.0, step: 1.0, knots: beats.to_vec() };
    let part = |(index, onset): (usize, &Onset)| {
        let position = clock.score(onset.seconds);
        let beat = position.floor().clamp(0.0, beats.len() as f64 - 2.0);
        let beat_seconds = clock.rate_between(beat, beat + 1.0);
        Part { onset: index, strength: onset.strength, position, beat_seconds }
    };
    onsets.iter().enumerate().filter(|(_, onset)| is_near(onset, beats)).map(part).collect()
}

/// The layers of kinds with their parts.
fn layers(kinds: Vec<(Prototype, Vec<Part>)>, bars: Option<Bars>) -> Transcription {
    let kinds: Vec<(Prototype, Vec<Part>)> = kinds.into_iter().filter(|(_, parts)| !parts.is_empty()).collect();
    if kinds.is_empty() {
        return Transcription::default();
    }
    let sigma = common_sigma(kinds.iter().map(|(_, parts)| parts.as_slice()));
    let all: BTreeMap<usize, Part> =
        kinds.iter().flat_map(|(_, parts)| parts).map(|part| (part.onset, *part)).collect();
    let all: Vec<Part> = all.into_values().collect();
    let together = divisions::divide(&all, sigma);
    let place_together: BTreeMap<usize, Place> =
        all.iter().map(|part| part.onset).zip(together.places.iter().copied()).collect();
    let divided = |parts: &[Part]| {
        let places: Vec<Place> = parts.iter().map(|part| place_together[&part.onset]).collect();
        let is_near = |(part, place): &(&Part, &Place)| part.deviation_from(place.position()).abs() < NEAR * sigma;
        let near = parts.iter().zip(&places).filter(is_near).count();
        if near as f64 >= MOST * parts.len() as f64 {
            Divided { places, ..together.clone() }
        } else {
            divisions::divide(parts, sigma)
        }
    };
    let layers = kinds.iter().map(|(prototype, parts)| layer(*prototype, parts, divided(parts), bars, sigma)).collect();
    Transcription { layers, sigma }
}

/// A layer's part in an onset.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Part {
    onset: usize,
    strength: f64,
    /// In beats.
    position: f64,
    /// Length of a beat there.
    beat_seconds: f64,
}

impl Part {
    /// Seconds after a position in beats.
    fn deviation_from(&self, position: f64) -> f64 {
        (self.position - position) * self.beat_seconds
    }
}

/// Whether an onset is less than a beat outside the beats.
fn is_near(onset: &Onset, beats: &[f64]) -> bool {
    let [first, second, .., before, last] = beats else {
        return beats.len() >= 2;
    };
    (2.0 * first - second..2.0 * last - before).contains(&onset.seconds)
}

/// The median of the layers' spreads of timing, each as often as it has attacks.
fn common_sigma<'p>(parts: impl Iterator<Item = &'p [Part]>) -> f64 {
    let mut spreads: Vec<(f64, usize)> = parts
        .filter(|parts| parts.len() >= MIN_ATTACKS)
        .map(|parts| (divisions::best_sigma(parts), parts.len()))
        .collect();
    spreads.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = spreads.iter().map(|spread| spread.1).sum::<usize>() / 2;
    let mut sum = 0;
    spreads
        .iter()
        .find(|spread| {
            sum += spread.1;
            sum > half
        })
        .map_or(DEFAULT_SIGMA, |spread| spread.0)
}

/// Puts the attacks of one kind of sound on cells.
fn layer(prototype: Prototype, parts: &[Part], divided: Divided, bars: Option<Bars>, sigma: f64) -> Layer {
    let strengths: Vec<f64> = parts.iter().map(|part| part.strength).collect();
    let positions: Vec<f64> = divided.places.iter().map(|place| place.position()).collect();
    let accents = accents::accents(&strengths, &positions, bars);
    let attack = |(part, accent): (&Part, Accent), place: Place, position: f64| Attack {
        onset: part.onset,
        strength: part.strength,
        beat: place.beat,
        cell: place.cell,
        division: place.division,
        deviation: part.deviation_from(position),
        accent,
    };
    let swung = swing::swing(parts, sigma).map(|swing| {
        let division = Division { cells: swing.cells, beats: 1 };
        let put = |(part, accent): (&Part, &Accent)| {
            let (beat, cell) = swing.place(part.position);
            attack((part, *accent), Place { beat, cell, division }, swing.position(beat, cell))
        };
        Swung { swing, attacks: parts.iter().zip(&accents).map(put).collect() }
    });
    let places = divided.places.into_iter().map(|place| (place, place.position()));
    let attacks =
        parts.iter().zip(accents).zip(places).map(|(part, (place, position))| attack(part, place, position)).collect();
    Layer { prototype, attacks, first_beat: divided.first_beat, divisions: divided.divisions, swung }
}
