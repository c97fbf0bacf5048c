//! Clocks of cells: an even grid followed through the recording, and how well the onsets keep to it.

use super::cells::Placed;
use super::periodicity::Seed;
use crate::recording::fit::clock::{Clock, FitOptions, FitPoint, fit_clock};
use crate::recording::fit::onset::{Onset, seconds_of};
use crate::recording::fit::track::{Direction, TrackOptions, TrackStart, Tracked, track};

/// About so many seconds lie between the knots of the clock.
const KNOT_SPACING: f64 = 0.35;
/// Standard deviation of onsets while following: so many seconds, at most this share of a cell.
const SIGMA: (f64, f64) = (0.016, 0.16);
/// What is followed: probability of detection, share of stray onsets, change of tempo from knot to knot.
const DETECTION: f64 = 0.9;
const SPURIOUS: f64 = 0.3;
const TEMPO_NOISE: f64 = 0.006;
/// Least probability with which a followed onset is a point of the fit.
const MIN_SHARE: f64 = 0.2;
/// Least share of all onsets that must have been followed.
const MIN_FOLLOWED: f64 = 0.4;
/// Farthest from its cell that an onset is still a point, as a share of the cell.
const MAX_OFFSET: f64 = 0.4;
/// Rounds of collecting points and fitting.
const FITS: usize = 2;
/// Share of onsets that keep to the clock, in the likelihood.
const REGULAR: f64 = 0.88;
/// Least standard deviation, in seconds, and its largest share of a cell: beyond it nothing is told apart.
const MIN_SIGMA: f64 = 0.006;
const MAX_SIGMA: f64 = 0.3;
/// Log likelihood of an onset outside the clock.
const OUTSIDE: f64 = -0.7;

/// A clock of cells fitted to the recording. Its score time is counted in cells.
#[derive(Debug, Clone)]
pub(super) struct CellClock {
    clock: Clock,
    /// Seconds per cell, the median.
    pub(super) cell: f64,
    /// Log likelihood against no clock at all, in nats per second of the recording.
    pub(super) evidence: f64,
    /// Onsets that lie on a cell.
    pub(super) placed: Vec<Placed>,
    /// The clock's cell of the first onset placed.
    origin: f64,
}

impl CellClock {
    /// Follows a seed through the recording. `None` if it cannot be followed far.
    pub(super) fn follow(onsets: &[Onset], weights: &[f64], seed: Seed) -> Option<Self> {
        let seconds = seconds_of(onsets);
        let clock = fitted(&seconds, seed)?;
        let cell = seed.period * clock.rate();
        let positions: Vec<f64> = seconds.iter().map(|&t| clock.score(t) / seed.period).collect();
        let errors: Vec<f64> = positions.iter().map(|p| (p - p.round()) * cell).collect();
        let sigma = sigma(&errors, cell);
        let (first, last) = (clock.knots.first()? - 0.1, clock.knots.last()? + 0.1);
        let duration = (seconds.last()? - seconds.first()?).max(1e-9);
        let mut evidence = 0.0;
        let mut placed = Vec::new();
        // A clock in cells instead of seconds.
        let clock = Clock { origin: clock.origin / seed.period, step: clock.step / seed.period, ..clock };
        for (onset, error) in errors.iter().enumerate() {
            let inside = (first..=last).contains(&seconds[onset]);
            let density = (-0.5 * (error / sigma).powi(2)).exp() / (sigma * std::f64::consts::TAU.sqrt()) * cell;
            let likelihood = if inside { (REGULAR * density + 1.0 - REGULAR).ln() } else { OUTSIDE };
            evidence += weights[onset] * likelihood / duration;
            if inside && error.abs() < (MAX_OFFSET * cell).min(crate::recording::fit::track::GATE * sigma) {
                placed.push((onset, positions[onset].round()));
            }
        }
        let origin = placed.iter().map(|p| p.1).reduce(f64::min)?;
        let placed = placed.into_iter().map(|(onset, cell)| Placed { onset, cell: (cell - origin) as usize }).collect();
        Some(Self { clock, cell, evidence, placed, origin })
    }

    /// Seconds of a cell, counted from the first one with an onset.
    pub(super) fn seconds(&self, cell: f64) -> f64 {
        self.clock.seconds(cell + self.origin)
    }
}

/// A clock whose score time is seconds at the seed's period, with cells at its multiples.
fn fitted(seconds: &[f64], seed: Seed) -> Option<Clock> {
    let Seed { period, instant } = seed;
    let step = (KNOT_SPACING / period).round().max(1.0) * period;
    let options = TrackOptions {
        beat: step,
        sigma: SIGMA.0.min(SIGMA.1 * period),
        detection: DETECTION,
        spurious: SPURIOUS,
        tempo_noise: TEMPO_NOISE,
    };
    let nearest = |score: f64| (score / period).round() * period;
    let start = TrackStart { seconds: instant, score: 0.0, rate: 1.0 };
    let followed =
        [Direction::Backward, Direction::Forward].map(|direction| track(seconds, start, direction, nearest, options));
    let mut points: Vec<FitPoint> = followed
        .iter()
        .flatten()
        .filter(|taken| taken.share > MIN_SHARE)
        .map(|&Tracked { onset, score, .. }| FitPoint { position: score, seconds: seconds[onset], weight: 1.0 })
        .collect();
    if (points.len() as f64) < MIN_FOLLOWED * seconds.len() as f64 {
        return None;
    }
    let mut clock = None;
    for _ in 0..FITS {
        let first = points.iter().map(|p| p.position).reduce(f64::min)? - step;
        let last = points.iter().map(|p| p.position).reduce(f64::max)?;
        let intervals = ((last - first) / step) as usize + 2;
        let options = FitOptions { sigma: options.sigma, rounds: 4, ..FitOptions::default() };
        let (fitted, _) = fit_clock(&points, first, step, intervals, options)?;
        let (from, to) = (*fitted.knots.first()?, *fitted.knots.last()?);
        points = seconds
            .iter()
            .filter(|&&t| from <= t && t <= to)
            .map(|&t| (t, fitted.score(t)))
            .filter(|(_, score)| (score - nearest(*score)).abs() < MAX_OFFSET * period)
            .map(|(t, score)| FitPoint { position: nearest(score), seconds: t, weight: 1.0 })
            .collect();
        clock = Some(fitted);
    }
    clock
}

/// Standard deviation of the onsets that keep to the clock.
fn sigma(errors: &[f64], cell: f64) -> f64 {
    let mut spread = SIGMA.0.min(SIGMA.1 * cell);
    for _ in 0..FITS {
        let near: Vec<f64> = errors.iter().map(|e| e.abs()).filter(|e| *e < 3.0 * spread).collect();
        // Of normal errors 1.25 times the mean distance is the standard deviation.
        spread = 1.25 * near.iter().sum::<f64>() / near.len().max(1) as f64;
        spread = spread.clamp(MIN_SIGMA, MAX_SIGMA * cell);
    }
    spread
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slowing_pulse_is_followed_to_its_end() {
        let mut t = 0.0;
        let onsets: Vec<Onset> = (0..120)
            .map(|i| {
                t += 0.2 * (1.0 + 0.0004 * f64::from(i));
                Onset { seconds: t, strength: 1.0, ..Onset::default() }
            })
            .collect();
        let seed = Seed { period: 0.205, instant: onsets[60].seconds };
        let clock = CellClock::follow(&onsets, &vec![1.0; onsets.len()], seed).expect("a regular pulse");
        assert_eq!(clock.placed.len(), onsets.len());
        for placed in &clock.placed {
            assert_eq!(placed.cell, placed.onset);
            assert!((clock.seconds(placed.cell as f64) - onsets[placed.onset].seconds).abs() < 0.004);
        }
    }
}
