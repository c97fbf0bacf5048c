//! The division of every beat of a layer, by shortest description.
//!
//! A path through the beats chooses one of the divisions for each. A finer division has to be paid for with every attack, as one
//! cell out of more has to be named; a change of division and a rare one cost once. The number of nats is that of a code for
//! cells and deviations (Rissanen 1978; Temperley, *Music and Probability*, 2007, weighs meters in the same way).

use super::Part;

/// Divisions with their cost in nats when one begins.
const DIVISIONS: [(Division, f64); 10] = [
    (Division { cells: 4, beats: 1 }, 0.0),
    (Division { cells: 2, beats: 1 }, 0.3),
    (Division { cells: 1, beats: 1 }, 0.7),
    (Division { cells: 3, beats: 1 }, 0.7),
    (Division { cells: 6, beats: 1 }, 1.2),
    (Division { cells: 8, beats: 1 }, 1.2),
    (Division { cells: 5, beats: 1 }, 2.0),
    (Division { cells: 3, beats: 2 }, 2.5),
    (Division { cells: 5, beats: 2 }, 3.0),
    (Division { cells: 7, beats: 2 }, 3.5),
];
/// Cost of a change.
const CHANGE: f64 = 4.5;
/// Share of attacks that stand on no cell, and their likelihood: a stray costs no more than the logarithm of its inverse.
const STRAY: f64 = 0.08;
const STRAY_LIKELIHOOD: f64 = 0.01;
/// Spreads of timing that are tried, in seconds.
const SIGMAS: [f64; 7] = [0.005, 0.007, 0.010, 0.013, 0.017, 0.022, 0.028];

/// So many equal cells in so many beats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Division {
    /// Cells.
    pub cells: u32,
    /// One or two beats.
    pub beats: u32,
}

impl Division {
    /// Length of a cell in beats.
    pub fn cell(self) -> f64 {
        f64::from(self.beats) / f64::from(self.cells)
    }
}

/// A cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) beat: i64,
    pub(super) cell: u32,
    pub(super) division: Division,
}

impl Place {
    /// In beats.
    pub(super) fn position(self) -> f64 {
        self.beat as f64 + f64::from(self.cell) * self.division.cell()
    }
}

/// A layer's attacks on cells.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Divided {
    pub(super) first_beat: i64,
    /// One per beat.
    pub(super) divisions: Vec<Division>,
    /// One per attack.
    pub(super) places: Vec<Place>,
}

/// A division, and for one over two beats whether it begins on odd beats.
#[derive(Debug, Clone, Copy)]
struct State {
    division: Division,
    cost: f64,
    odd: bool,
}

impl State {
    /// Every division, those over two beats twice.
    fn all() -> Vec<Self> {
        let states = |(division, cost): (Division, f64)| {
            let odd = [false, true].into_iter().take(division.beats as usize);
            odd.map(move |odd| Self { division, cost, odd })
        };
        DIVISIONS.into_iter().flat_map(states).collect()
    }

    /// Whether a group of beats of this division can begin on a beat.
    fn begins_on(self, beat: i64) -> bool {
        self.division.beats == 1 || (beat.rem_euclid(2) == 1) == self.odd
    }

    /// The nearest cell.
    fn place(self, position: f64) -> Place {
        let mut beat = position.floor() as i64;
        if !self.begins_on(beat) {
            beat -= 1;
        }
        let mut cell = ((position - beat as f64) / self.division.cell()).round() as u32;
        if cell == self.division.cells {
            (beat, cell) = (beat + i64::from(self.division.beats), 0);
        }
        Place { beat, cell, division: self.division }
    }
}

/// The attacks' distances from the cells of every state.
struct Distances {
    states: Vec<State>,
    first_beat: i64,
    beats: usize,
    /// Per attack the beat from the first, and per state the seconds from the cell and the length of a cell in seconds.
    attacks: Vec<(usize, Vec<(f64, f64)>)>,
}

impl Distances {
    fn new(parts: &[Part]) -> Self {
        let states = State::all();
        let beat = |part: &Part| part.position.floor() as i64;
        let first_beat = parts.iter().map(beat).min().unwrap_or(0);
        let beats = parts.iter().map(|part| beat(part) - first_beat + 1).max().unwrap_or(0) as usize;
        let attacks = parts
            .iter()
            .map(|part| {
                let distance = |state: &State| {
                    let error = part.position - state.place(part.position).position();
                    (error * part.beat_seconds, state.division.cell() * part.beat_seconds)
                };
                ((beat(part) - first_beat) as usize, states.iter().map(distance).collect())
            })
            .collect();
        Self { states, first_beat, beats, attacks }
    }

    /// The cheapest state of every beat, and the cost of all.
    fn path(&self, sigma: f64) -> (Vec<usize>, f64) {
        let count = self.states.len();
        let mut costs = vec![0.0; self.beats * count];
        for (beat, distances) in &self.attacks {
            for (cost, (error, cell)) in costs[beat * count..].iter_mut().zip(distances) {
                let density = (-0.5 * (error / sigma).powi(2)).exp() / (sigma * std::f64::consts::TAU.sqrt());
                *cost -= ((1.0 - STRAY) * density * cell + STRAY_LIKELIHOOD).ln();
            }
        }
        let mut reached: Vec<f64> = self.states.iter().zip(&costs).map(|(state, cost)| state.cost + cost).collect();
        // A path may begin within a division over two beats: its first beat is then not among those of the layer.
        let mut came_from = vec![0_usize; self.beats * count];
        for beat in 1..self.beats {
            let number = self.first_beat + beat as i64;
            let leaves = |state: &usize| self.states[*state].begins_on(number);
            let cheapest = (0..count)
                .filter(leaves)
                .reduce(|best, state| if reached[state] < reached[best] { state } else { best })
                .unwrap_or(0);
            let change = reached[cheapest] + CHANGE;
            for (state, before) in self.states.iter().zip(0..) {
                let here = beat * count + before;
                let enters = state.begins_on(number) && change + state.cost < reached[before];
                came_from[here] = if enters { cheapest } else { before };
                reached[before] = costs[here] + if enters { change + state.cost } else { reached[before] };
            }
        }
        let last = (0..count).reduce(|best, state| if reached[state] < reached[best] { state } else { best });
        let Some(last) = last else { return (Vec::new(), 0.0) };
        let cost = reached[last];
        let mut path = vec![last; self.beats];
        for beat in (1..self.beats).rev() {
            path[beat - 1] = came_from[beat * count + path[beat]];
        }
        (path, cost)
    }
}

/// The spread of timing with the shortest description.
pub(super) fn best_sigma(parts: &[Part]) -> f64 {
    let distances = Distances::new(parts);
    SIGMAS
        .into_iter()
        .map(|sigma| (distances.path(sigma).1, sigma))
        .reduce(|best, other| if other.0 < best.0 { other } else { best })
        .map_or(super::DEFAULT_SIGMA, |best| best.1)
}

/// The division of every beat, and the cell of every attack.
pub(super) fn divide(parts: &[Part], sigma: f64) -> Divided {
    let distances = Distances::new(parts);
    let (path, _) = distances.path(sigma);
    let places = parts
        .iter()
        .zip(&distances.attacks)
        .map(|(part, (beat, _))| distances.states[path[*beat]].place(part.position))
        .collect();
    let divisions = path.iter().map(|state| distances.states[*state].division).collect();
    Divided { first_beat: distances.first_beat, divisions, places }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(positions: &[f64]) -> Vec<Part> {
        let part = |&position: &f64| Part { onset: 0, strength: 1.0, position, beat_seconds: 0.5 };
        positions.iter().map(part).collect()
    }

    fn division(cells: u32, beats: u32) -> Division {
        Division { cells, beats }
    }

    #[test]
    fn each_kind_of_division_is_found() {
        for (cells, beats) in [(1, 1), (2, 1), (3, 1), (4, 1), (5, 1), (6, 1), (8, 1), (3, 2), (5, 2), (7, 2)] {
            let cell = f64::from(beats) / f64::from(cells);
            let positions: Vec<f64> = (0..cells * 12 / beats).map(|i| f64::from(i) * cell + 0.003).collect();
            let divided = divide(&parts(&positions), 0.007);
            let found = divided.divisions.iter().filter(|d| **d == division(cells, beats)).count();
            assert!(found + 1 >= divided.divisions.len(), "{cells} in {beats}: {:?}", divided.divisions);
            for (place, position) in divided.places.iter().zip(&positions) {
                assert!((place.position() - position).abs() < 0.004, "{place:?} for {position}");
            }
        }
    }

    #[test]
    fn a_tuplet_over_two_beats_may_begin_on_an_odd_beat() {
        let mut positions: Vec<f64> = (0..21).map(|i| f64::from(i) * 0.25).collect();
        positions.retain(|p| *p < 5.0);
        positions.extend((0..12).map(|i| 5.0 + f64::from(i) * 2.0 / 3.0));
        let divided = divide(&parts(&positions), 0.01);
        assert_eq!(divided.divisions[4..7], [division(4, 1), division(3, 2), division(3, 2)]);
        assert_eq!(divided.places[22], Place { beat: 5, cell: 2, division: division(3, 2) });
    }

    #[test]
    fn an_early_stroke_belongs_to_the_next_beat() {
        let divided = divide(&parts(&[0.0, 0.98, 2.01, 2.99]), 0.01);
        let beats: Vec<(i64, u32)> = divided.places.iter().map(|place| (place.beat, place.cell)).collect();
        assert_eq!(beats, vec![(0, 0), (1, 0), (2, 0), (3, 0)]);
    }

    #[test]
    fn the_spread_of_timing_is_estimated() {
        // Deviations of 12 ms either way.
        let positions: Vec<f64> =
            (0..64).map(|i| f64::from(i) * 0.5 + if i % 3 == 0 { 0.024 } else { -0.024 }).collect();
        assert!((0.010..=0.013).contains(&best_sigma(&parts(&positions))));
    }
}
