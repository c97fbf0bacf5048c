//! From onsets with known beats to layers of cells.
//!
//! 1. [`kinds`] groups the onsets by their bands, [`prototype`] turns the groups into kinds of sound, leaving out groups that are
//!    two kinds sounding together, with the help of [`companion`];
//! 2. [`sounding`] says which kinds sound in every onset, and how strongly: each kind is a layer;
//! 3. [`divisions`] finds the division of every beat of a layer, and with it the cell of every attack;
//! 4. [`accents`] sorts a layer's attacks into ghosts, plain ones and accents, [`swing`] looks for cells that are all late.
//!
//! Choices between models are made by description length (Rissanen, *Modeling by shortest data description*, 1978). The constants
//! are ours, chosen on simulated performances, unless a source is named.

mod accents;
mod companion;
mod divisions;
mod kinds;
mod prototype;
mod sounding;
mod swing;
#[cfg(test)]
mod tests;

use crate::recording::fit::clock::Clock;
use crate::recording::fit::onset::Onset;
pub use accents::Accent;
pub use divisions::Division;
use divisions::Place;
pub use prototype::{Prototype, Role};
pub use swing::Swing;

/// Fewest attacks of a layer that say something about the spread of its timing.
const MIN_ATTACKS: usize = 8;
/// Spread of timing where no layer has enough attacks, in seconds.
const DEFAULT_SIGMA: f64 = 0.015;

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

/// Kinds of sound among onsets, the purest first.
pub fn prototypes(onsets: &[Onset]) -> Vec<Prototype> {
    prototype::prototypes(&kinds::clusters(onsets), onsets)
}

/// Transcribes onsets, in ascending order of time, on beats of ascending seconds. Onsets farther than a beat outside the beats are
/// left out. In an additive meter the beats are its units.
///
/// `bars` helps to tell accents; without it they are told by strength alone.
pub fn transcribe(onsets: &[Onset], beats: &[f64], bars: Option<Bars>) -> Transcription {
    let inside: Vec<Onset> = onsets.iter().filter(|onset| is_near(onset, beats)).copied().collect();
    transcribe_with(onsets, beats, bars, &prototypes(&inside))
}

/// Transcribes onsets into given kinds of sound, such as those of [`prototypes`] after some were merged or divided.
pub fn transcribe_with(onsets: &[Onset], beats: &[f64], bars: Option<Bars>, prototypes: &[Prototype]) -> Transcription {
    if beats.len() < 2 || prototypes.is_empty() {
        return Transcription::default();
    }
    let clock = Clock { origin: 0.0, step: 1.0, knots: beats.to_vec() };
    let sets = sounding::sets(prototypes.len());
    let mut parts: Vec<Vec<Part>> = vec![Vec::new(); prototypes.len()];
    for (index, onset) in onsets.iter().enumerate().filter(|(_, onset)| is_near(onset, beats)) {
        let position = clock.score(onset.seconds);
        let last = beats.len() as f64 - 2.0;
        let beat = position.floor().clamp(0.0, last);
        let beat_seconds = clock.rate_between(beat, beat + 1.0);
        for (kind, strength) in sounding::sounding(onset, prototypes, &sets) {
            parts[kind].push(Part { onset: index, strength, position, beat_seconds });
        }
    }
    let sigma = common_sigma(&parts);
    let layers = prototypes
        .iter()
        .zip(&parts)
        .filter(|(_, parts)| !parts.is_empty())
        .map(|(&prototype, parts)| layer(prototype, parts, bars, sigma))
        .collect();
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

/// Whether an onset is less than a beat outside the beats.
fn is_near(onset: &Onset, beats: &[f64]) -> bool {
    let [first, second, .., before, last] = beats else {
        return beats.len() >= 2;
    };
    (2.0 * first - second..2.0 * last - before).contains(&onset.seconds)
}

/// The median of the layers' spreads of timing, each as often as it has attacks.
fn common_sigma(parts: &[Vec<Part>]) -> f64 {
    let mut spreads: Vec<(f64, usize)> = parts
        .iter()
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
fn layer(prototype: Prototype, parts: &[Part], bars: Option<Bars>, sigma: f64) -> Layer {
    let divided = divisions::divide(parts, sigma);
    let strengths: Vec<f64> = parts.iter().map(|part| part.strength).collect();
    let positions: Vec<f64> = divided.places.iter().map(|place| place.position()).collect();
    let accents = accents::accents(&strengths, &positions, bars);
    let attack = |(part, accent): (&Part, Accent), place: Place, position: f64| Attack {
        onset: part.onset,
        strength: part.strength,
        beat: place.beat,
        cell: place.cell,
        division: place.division,
        deviation: (part.position - position) * part.beat_seconds,
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
