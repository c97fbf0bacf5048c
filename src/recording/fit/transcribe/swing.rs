//! Swing: every second cell late by the same proportion.

use super::Part;

/// Proportions that are offered, long to short.
const RATIOS: [(u32, u32); 4] = [(4, 3), (3, 2), (5, 3), (2, 1)];
/// Where late cells may stand, as a share of two cells.
const LATE: std::ops::Range<f64> = 0.53..0.72;
/// Shortest pair of cells, in seconds: in a shorter one the detector's errors are as large as a swing.
const SHORTEST_PAIR: f64 = 0.2;
/// Fewest late attacks, and their least share of all.
const MIN_LATE: usize = 8;
const MIN_LATE_SHARE: f64 = 0.15;
/// Attacks on neither of the two places, as a share of all, at most.
const MAX_ELSEWHERE: f64 = 0.10;
/// Attacks within so many standard deviations, or this share of two cells, are on a place.
const NEAR_SIGMAS: f64 = 3.0;
const NEAR_SHARE: f64 = 0.04;
/// Standard errors by which the mean may miss a proportion, and must miss an even one.
const MAX_ERRORS: f64 = 3.0;
/// Bias of a detector's times, in seconds: no proportion is told to better than this.
const LEAST_ERROR: f64 = 0.0015;

/// The cells of a layer in pairs of unequal length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Swing {
    /// Cells in a beat: 2, or 4.
    pub cells: u32,
    /// Proportion of the first to the second cell of a pair.
    pub long: u32,
    /// See `long`.
    pub short: u32,
}

impl Swing {
    /// Length of the first cell of a pair as a share of the pair.
    pub fn share(self) -> f64 {
        f64::from(self.long) / f64::from(self.long + self.short)
    }

    /// Start of a cell in beats, counted from beat 0.
    pub fn position(self, beat: i64, cell: u32) -> f64 {
        let late = if cell % 2 == 1 { self.share() } else { 0.0 };
        beat as f64 + (f64::from(cell / 2) + late) * 2.0 / f64::from(self.cells)
    }

    /// Beat and cell that start nearest to a position in beats.
    pub fn place(self, position: f64) -> (i64, u32) {
        let beat = position.floor() as i64;
        let candidates = (0..self.cells).map(|cell| (beat, cell)).chain([(beat + 1, 0)]);
        let distance = |&(beat, cell): &(i64, u32)| (self.position(beat, cell) - position).abs();
        candidates.min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or((beat, 0))
    }
}

/// The swing of a layer, if all its attacks stand at the start of a pair of cells or late in it, always equally.
pub(super) fn swing(parts: &[Part], sigma: f64) -> Option<Swing> {
    [2, 4].into_iter().find_map(|cells| swing_of(parts, sigma, cells))
}

/// The swing of pairs of cells, so many cells in a beat.
fn swing_of(parts: &[Part], sigma: f64, cells: u32) -> Option<Swing> {
    let pairs = f64::from(cells / 2);
    // Place in its pair and length of the pair of every attack.
    let places: Vec<(f64, f64)> =
        parts.iter().map(|part| ((part.position * pairs).rem_euclid(1.0), part.beat_seconds / pairs)).collect();
    let pair_seconds = crate::recording::fit::onset::median(&places.iter().map(|place| place.1).collect::<Vec<_>>())?;
    let late: Vec<f64> = places.iter().map(|place| place.0).filter(|place| LATE.contains(place)).collect();
    let centre = crate::recording::fit::onset::median(&late).filter(|_| pair_seconds >= SHORTEST_PAIR)?;
    let near = |place: f64, seconds: f64| place.abs() < (NEAR_SIGMAS * sigma / seconds).max(NEAR_SHARE);
    let on_head = |&&(place, seconds): &&(f64, f64)| near(place, seconds) || near(place - 1.0, seconds);
    let on_late = |&&(place, seconds): &&(f64, f64)| near(place - centre, seconds);
    let late: Vec<f64> = places.iter().filter(on_late).map(|place| place.0).collect();
    let heads = places.iter().filter(on_head).count();
    let elsewhere = places.iter().filter(|place| !on_head(place) && !on_late(place)).count();
    let n = late.len() as f64;
    let all = places.len() as f64;
    let is_rare = late.len() < MIN_LATE || heads < MIN_LATE || n < MIN_LATE_SHARE * all;
    if is_rare || elsewhere as f64 > MAX_ELSEWHERE * all {
        return None;
    }
    let mean = late.iter().sum::<f64>() / n;
    let error = (sigma / n.sqrt()).max(LEAST_ERROR) / pair_seconds;
    let swings = RATIOS.map(|(long, short)| Swing { cells, long, short });
    let miss = |swing: &Swing| (swing.share() - mean).abs();
    let nearest = swings.into_iter().min_by(|a, b| miss(a).total_cmp(&miss(b)))?;
    (miss(&nearest) < MAX_ERRORS * error && mean - 0.5 > MAX_ERRORS * error).then_some(nearest)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(cells: u32, share: f64) -> Vec<Part> {
        let pairs = f64::from(cells / 2);
        (0..64)
            .map(|i| {
                let late = if i % 2 == 1 { share } else { 0.0 };
                let wobble = 0.004 * f64::from(i % 3 - 1);
                let position = (f64::from(i / 2) + late) / pairs + wobble;
                Part { onset: 0, strength: 1.0, position, beat_seconds: 0.6 }
            })
            .collect()
    }

    #[test]
    fn the_proportion_and_the_cells_are_found() {
        for (cells, long, short) in [(2, 2, 1), (2, 3, 2), (4, 2, 1), (4, 3, 2)] {
            let share = f64::from(long) / f64::from(long + short);
            assert_eq!(swing(&parts(cells, share), 0.005), Some(Swing { cells, long, short }));
        }
    }

    #[test]
    fn places_are_the_inverse_of_positions() {
        let swing = Swing { cells: 4, long: 3, short: 2 };
        for (beat, cell) in [(-1, 3), (0, 0), (0, 1), (2, 2), (5, 3)] {
            assert_eq!(swing.place(swing.position(beat, cell) + 0.02), (beat, cell));
            assert_eq!(swing.place(swing.position(beat, cell) - 0.02), (beat, cell));
        }
        assert_eq!(swing.position(1, 3), 1.8);
    }

    #[test]
    fn even_cells_and_triplets_are_no_swing() {
        assert_eq!(swing(&parts(2, 0.5), 0.005), None);
        let triplets: Vec<Part> = (0..60)
            .map(|i| Part { onset: 0, strength: 1.0, position: f64::from(i) / 3.0, beat_seconds: 0.6 })
            .collect();
        assert_eq!(swing(&triplets, 0.005), None);
    }
}
