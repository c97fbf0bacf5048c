//! Follows a performance from one instant on: a Kalman filter over the clock and its rate, with every onset assigned to the nearest
//! place of a grid as far as it is probable that it belongs there.
//!
//! Tempo tracking by a Kalman filter: Cemgil and Kappen, *Monte Carlo methods for tempo tracking and rhythm quantization*, 2003.
//! Soft assignment is the probabilistic data association of Bar-Shalom and Fortmann, *Tracking and Data Association*, 1988.

/// Standard deviation of the clock at the start in seconds (ours, no source).
const START_SIGMA: f64 = 0.020;
/// Standard deviation of the rate at the start, as a fraction of it (ours, no source).
const START_RATE_SIGMA: f64 = 0.006;
/// Onsets beyond so many standard deviations are ignored (ours, no source).
pub(crate) const GATE: f64 = 3.2;
/// Without a hit for so many beats and seconds the performance has ended (ours, no source).
const MAX_DRY_BEATS: f64 = 6.0;
const MAX_DRY_SECONDS: f64 = 4.0;
/// Rates outside are no performance of this score (ours, no source).
const RATES: std::ops::Range<f64> = 0.4..2.5;

/// Which way to follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// To later onsets.
    Forward,
    /// To earlier onsets.
    Backward,
}

/// Where to begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackStart {
    /// Seconds of the recording.
    pub seconds: f64,
    /// Score time there.
    pub score: f64,
    /// Seconds per score second there.
    pub rate: f64,
}

/// What to expect of onsets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackOptions {
    /// Score seconds of a beat; the tempo changes by `tempo_noise` from one to the next.
    pub beat: f64,
    /// Standard deviation of an onset in seconds.
    pub sigma: f64,
    /// Probability that what should sound is detected.
    pub detection: f64,
    /// Onsets that belong nowhere, as a fraction of all.
    pub spurious: f64,
    /// Standard deviation of the change of rate per beat, as a fraction of it.
    pub tempo_noise: f64,
}

impl TrackOptions {
    /// For strokes of a known groove.
    pub fn new(beat: f64) -> Self {
        Self { beat, sigma: 0.016, detection: 0.85, spurious: 0.2, tempo_noise: 0.012 }
    }
}

/// An onset that was taken for a place of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tracked {
    /// Index of the onset.
    pub onset: usize,
    /// Score time of its place.
    pub score: f64,
    /// Probability that it belongs there.
    pub share: f64,
}

/// Follows onsets, whose seconds ascend, from `start` on. `nearest` is the place of the grid nearest to a score time.
///
/// Returns what was taken, in the order it was met: descending in time if backward.
pub fn track(
    seconds: &[f64],
    start: TrackStart,
    direction: Direction,
    nearest: impl Fn(f64) -> f64,
    options: TrackOptions,
) -> Vec<Tracked> {
    let split = seconds.partition_point(|t| *t < start.seconds);
    let (Some(first), Some(last)) = (seconds.first(), seconds.last()) else {
        return Vec::new();
    };
    let density = options.spurious * seconds.len() as f64 / (last - first).max(1e-9);
    let mut filter = Filter::new(start, density, options);
    let mut taken = Vec::new();
    let mut last_hit = start.seconds;
    let mut step = |onset: usize| {
        let t = seconds[onset];
        if let Some((score, share)) = filter.update(t, &nearest) {
            taken.push(Tracked { onset, score, share });
            last_hit = t;
        } else if (t - last_hit).abs() > MAX_DRY_BEATS * options.beat * filter.rate + MAX_DRY_SECONDS {
            return false;
        }
        RATES.contains(&filter.rate)
    };
    match direction {
        Direction::Forward => _ = (split..seconds.len()).all(&mut step),
        Direction::Backward => _ = (0..split).rev().all(&mut step),
    }
    taken
}

struct Filter {
    /// The last place of the grid that was hit, and the clock there.
    place: f64,
    clock: f64,
    rate: f64,
    /// Covariance of clock and rate.
    p11: f64,
    p12: f64,
    p22: f64,
    density: f64,
    options: TrackOptions,
}

impl Filter {
    fn new(start: TrackStart, density: f64, options: TrackOptions) -> Self {
        Self {
            place: start.score,
            clock: start.seconds,
            rate: start.rate,
            p11: START_SIGMA * START_SIGMA,
            p12: 0.0,
            p22: (START_RATE_SIGMA * start.rate).powi(2),
            density,
            options,
        }
    }

    /// The place and probability of an onset at `t`, or `None` if it is nowhere near one.
    fn update(&mut self, t: f64, nearest: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
        let place = nearest(self.place + (t - self.clock) / self.rate);
        let d = place - self.place;
        let noise = (self.options.tempo_noise * self.rate).powi(2) * d.abs() / self.options.beat;
        let p11 = self.p11 + 2.0 * d * self.p12 + d * d * self.p22 + noise * d * d / 3.0;
        let p12 = self.p12 + d * self.p22 + noise * d / 2.0;
        let p22 = self.p22 + noise;
        let variance = p11 + self.options.sigma.powi(2);
        let error = t - (self.clock + d * self.rate);
        if error.abs() >= GATE * variance.sqrt() {
            return None;
        }
        let likelihood = self.options.detection * (-0.5 * error * error / variance).exp()
            / (std::f64::consts::TAU * variance).sqrt();
        let share = likelihood / (likelihood + self.density);
        self.clock += d * self.rate + p11 / variance * share * error;
        self.rate += p12 / variance * share * error;
        self.place = place;
        // Not knowing whether the onset belongs here adds to the variance what the update might have been wrong by.
        let kept = share - share * (1.0 - share) * error * error / variance;
        self.p11 = p11 - kept * p11 * p11 / variance;
        self.p12 = p12 - kept * p11 * p12 / variance;
        self.p22 = p22 - kept * p12 * p12 / variance;
        Some((place, share))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slow_change_of_tempo_is_followed_both_ways() {
        let seconds: Vec<f64> = (0..100).map(|i| f64::from(i) * 0.5 * (1.0 + 0.0005 * f64::from(i))).collect();
        let start = TrackStart { seconds: 25.62, score: 25.0, rate: 1.05 };
        let options = TrackOptions::new(0.5);
        let nearest = |s: f64| (s * 2.0).round() / 2.0;
        for direction in [Direction::Forward, Direction::Backward] {
            let taken = track(&seconds, start, direction, nearest, options);
            assert_eq!(taken.len(), 50, "{direction:?}");
            for t in &taken {
                assert_eq!(t.score, t.onset as f64 * 0.5);
                assert!(t.share > 0.8);
            }
        }
    }

    #[test]
    fn it_ends_where_nothing_is_hit_any_more() {
        let seconds: Vec<f64> = (0..80).map(|i| f64::from(i) * 0.5).collect();
        let start = TrackStart { seconds: -0.001, score: 0.0, rate: 1.0 };
        let nearest = |s: f64| ((s * 2.0).round() / 2.0).min(9.5);
        let taken = track(&seconds, start, Direction::Forward, nearest, TrackOptions::new(0.5));
        assert_eq!(taken.len(), 20);
        assert_eq!(track(&[], start, Direction::Forward, nearest, TrackOptions::new(0.5)), Vec::new());
    }
}
