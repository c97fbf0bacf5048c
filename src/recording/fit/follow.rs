//! Follows beats of a known tempo through a recording, from one of them on.

use super::clock::{Clock, FitOptions, FitPoint, fit_clock};
use super::onset::{Onset, seconds_of};
use super::track::{Direction, TrackOptions, TrackStart, track};

/// Least probability of an onset to belong to a cell that is used (ours, no source).
const MIN_SHARE: f64 = 0.3;
/// Fewest onsets on cells that tell more than the tempo that is given.
const MIN_POINTS: usize = 8;
/// Standard deviation of onsets at the start, in seconds, and its largest fraction of a cell (ours, no source).
const SIGMA: f64 = 0.016;
const MAX_SIGMA_SHARE: f64 = 0.16;
/// Standard deviation of the change of tempo per beat, as a fraction of it (ours, no source).
const TEMPO_NOISE: f64 = 0.006;
/// Shortest cell in seconds (ours, no source).
const MIN_CELL: f64 = 0.068;
/// Share of onsets on cells when divisions are compared (ours, no source).
const ON_GRID: f64 = 0.88;

/// Seconds of beats `0..=count`, the first of them at `first` and a beat lasting `period` seconds there. The division of the beats
/// that the onsets keep to best is taken from `divisions`; where no onset says otherwise, the tempo goes on.
pub fn follow_beats(onsets: &[Onset], first: f64, period: f64, count: usize, divisions: &[u32]) -> Vec<f64> {
    let even = |beat: usize| first + period * beat as f64;
    let followed = divisions.iter().filter_map(|division| follow(onsets, first, period, count, *division));
    let best = followed.reduce(|best, other| if other.0 > best.0 { other } else { best });
    match best {
        Some((_, clock)) => (0..=count).map(|beat| clock.seconds(beat as f64)).collect(),
        None => (0..=count).map(even).collect(),
    }
}

/// The clock of one division with its evidence: the mean log likelihood of all onsets.
fn follow(onsets: &[Onset], first: f64, period: f64, count: usize, division: u32) -> Option<(f64, Clock)> {
    let cells = f64::from(division);
    let cell = period / cells;
    if cell < MIN_CELL || count == 0 {
        return None;
    }
    let seconds = seconds_of(onsets);
    // Rates of the tracker are relative, so that beats count in seconds of the given tempo.
    let start = TrackStart { seconds: first - 1e-3, score: 0.0, rate: 1.0 };
    let nearest = |score: f64| (score / cell).round() * cell;
    let options = TrackOptions {
        sigma: SIGMA.min(MAX_SIGMA_SHARE * cell),
        detection: 0.9,
        spurious: 0.3,
        tempo_noise: TEMPO_NOISE,
        ..TrackOptions::new(period)
    };
    let both = [Direction::Backward, Direction::Forward].map(|way| track(&seconds, start, way, nearest, options));
    let mut points: Vec<FitPoint> = both
        .iter()
        .flatten()
        .filter(|t| t.share > MIN_SHARE)
        .map(|t| FitPoint { position: t.score / period, seconds: seconds[t.onset], weight: 1.0 })
        .collect();
    if points.len() < MIN_POINTS {
        return None;
    }
    points.sort_by(|a, b| a.position.total_cmp(&b.position));
    let origin = points[0].position.min(0.0).floor();
    let end = points[points.len() - 1].position.max(count as f64).ceil();
    let (clock, fit) = fit_clock(
        &points,
        origin,
        1.0,
        (end - origin) as usize,
        FitOptions { sigma: options.sigma, ..FitOptions::default() },
    )?;
    let sigma = fit.sigma.min(0.3 * cell);
    let height = ON_GRID * cell / (sigma * std::f64::consts::TAU.sqrt());
    let sum: f64 = seconds
        .iter()
        .map(|t| {
            let place = clock.score(*t) * cells;
            let error = (place - place.round()) * cell / sigma;
            (height * (-0.5 * error * error).exp() + 1.0 - ON_GRID).ln()
        })
        .sum();
    Some((sum / seconds.len() as f64, clock))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tempo_that_is_not_exact_is_corrected_and_drift_is_followed() {
        // 0.4% slower than said at the start, and 3% faster in the end.
        let at = |beat: f64| 2.0 + 0.502 * beat * (1.0 - 0.00015 * beat);
        let onsets: Vec<Onset> = (0..400)
            .filter(|i| i % 4 != 3)
            .map(|i| Onset { seconds: at(f64::from(i) / 4.0), strength: 1.0, ..Onset::default() })
            .collect();
        let beats = follow_beats(&onsets, 2.004, 0.5, 99, &[4, 2, 3, 1]);
        for (beat, seconds) in beats.iter().enumerate() {
            assert!((seconds - at(beat as f64)).abs() < 0.004, "beat {beat}: {seconds}");
        }
    }

    #[test]
    fn without_onsets_the_tempo_goes_on() {
        assert_eq!(follow_beats(&[], 1.0, 0.5, 3, &[4]), [1.0, 1.5, 2.0, 2.5]);
    }
}
