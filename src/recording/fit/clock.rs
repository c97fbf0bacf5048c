//! The clock of a performance: seconds of the recording as a piecewise linear function of score time, fitted to strokes.
//!
//! # The fit
//! The seconds `a_j` of evenly spaced knots minimise
//! ```text
//! sum_i w_i (t_i - a(p_i))^2 / s^2 + sum_j v_j (a_j - 2 a_(j+1) + a_(j+2))^2 / (q h)^2
//! ```
//! with points at positions `p_i` and seconds `t_i`, and `h` the mean distance of knots in seconds. It is the smoother of a tempo
//! that makes a random walk (Cemgil and Kappen, *Monte Carlo methods for tempo tracking and rhythm quantization*, 2003, model the
//! tempo so). Both sides have the weights of a Student-t (iteratively reweighted least squares; Lange, Little and Taylor, *Robust
//! statistical modeling using the t distribution*, 1989): `w = (nu + 1) / (nu + (r / s)^2)` and the same for `v`. So a wrong stroke
//! does not bend the clock, and a sudden change of tempo is not smoothed away. The robust second difference is ours.

use crate::recording::fit::banded::Banded;

/// Degrees of freedom of a stroke's error (ours, no source).
const STROKE_FREEDOM: f64 = 4.0;
/// Degrees of freedom of a change of tempo: heavier tails, for sudden changes (ours, no source).
pub(crate) const TEMPO_FREEDOM: f64 = 1.5;
/// Standard deviation of the change of a knot distance, as a fraction of it (ours, no source).
pub(crate) const SMOOTHNESS: f64 = 0.002;
/// No performance and no detector is more exact than this, in seconds (ours, no source).
const MIN_SIGMA: f64 = 0.004;
/// Ratio of a normal distribution's standard deviation to its mean distance from zero.
const SIGMA_OF_MEAN_DISTANCE: f64 = 1.25;
/// Errors from so many standard deviations on do not count in the standard deviation (ours, no source).
const OUTLIER: f64 = 3.5;
/// Below this movement of every knot, in seconds, the fit is done.
const SETTLED: f64 = 1e-4;
/// Pulls a knot that nothing else holds to where it was.
const RIDGE: f64 = 1e-6;

/// A map between score time and the seconds of a recording, linear between evenly spaced knots and beyond the outer ones.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Clock {
    /// Score time of the first knot.
    pub origin: f64,
    /// Score time from knot to knot.
    pub step: f64,
    /// Seconds of the knots, ascending; two or more.
    pub knots: Vec<f64>,
}

impl Clock {
    /// Score time of the last knot.
    pub fn end(&self) -> f64 {
        self.origin + self.step * self.knots.len().saturating_sub(1) as f64
    }

    /// Seconds at a score time.
    pub fn seconds(&self, score: f64) -> f64 {
        let Some(last) = self.knots.len().checked_sub(2) else {
            return self.knots.first().copied().unwrap_or(0.0);
        };
        let knot = (score - self.origin) / self.step;
        let i = (knot.floor().max(0.0) as usize).min(last);
        self.knots[i] + (knot - i as f64) * (self.knots[i + 1] - self.knots[i])
    }

    /// Score time at so many seconds.
    pub fn score(&self, seconds: f64) -> f64 {
        let Some(last) = self.knots.len().checked_sub(2) else {
            return self.origin;
        };
        let i = self.knots.partition_point(|k| *k <= seconds).saturating_sub(1).min(last);
        let span = (self.knots[i + 1] - self.knots[i]).max(f64::MIN_POSITIVE);
        self.origin + (i as f64 + (seconds - self.knots[i]) / span) * self.step
    }

    /// Seconds per score second, the median over the knots: 1 is the written tempo, 2 half of it.
    pub fn rate(&self) -> f64 {
        let spans: Vec<f64> = self.knots.windows(2).map(|k| k[1] - k[0]).collect();
        crate::recording::fit::onset::median(&spans).unwrap_or(self.step) / self.step
    }

    /// Mean seconds per score second between two score times.
    pub fn rate_between(&self, from: f64, to: f64) -> f64 {
        (self.seconds(to) - self.seconds(from)) / (to - from)
    }

    /// Makes every knot later than the one before.
    fn make_ascending(&mut self) {
        let mut least = f64::NEG_INFINITY;
        for knot in &mut self.knots {
            *knot = knot.max(least);
            least = *knot + 1e-6;
        }
    }
}

/// A stroke whose score time is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitPoint {
    /// Where it stands in the score; for [`fit_map`] in knots from the first.
    pub position: f64,
    /// When it sounds in the recording.
    pub seconds: f64,
    /// 1 for an ordinary stroke.
    pub weight: f64,
}

/// How a clock is fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitOptions {
    /// Standard deviation of a stroke in seconds, to begin with.
    pub sigma: f64,
    /// Standard deviation of the change of a knot distance, as a fraction of it.
    pub smoothness: f64,
    /// Rounds of reweighting at most.
    pub rounds: usize,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self { sigma: 0.016, smoothness: SMOOTHNESS, rounds: 6 }
    }
}

/// Knots fitted to points.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Seconds of the knots.
    pub knots: Vec<f64>,
    /// Standard deviation of the points in seconds; the one given if there are fewer than nine points.
    pub sigma: f64,
    /// How far each point was trusted: its own weight, smaller the farther it is from the clock.
    pub weights: Vec<f64>,
}

/// Fits `intervals + 1` knots to points whose positions are counted in knots.
///
/// `None` for fewer than two points, for points all at one place, or for numbers that are not finite.
pub fn fit_map(points: &[FitPoint], intervals: usize, options: FitOptions) -> Option<Fit> {
    let intervals = intervals.max(1);
    let first = points.iter().min_by(|a, b| a.position.total_cmp(&b.position))?;
    let last = points.iter().max_by(|a, b| a.position.total_cmp(&b.position))?;
    let spacing = (last.seconds - first.seconds) / (last.position - first.position);
    if !spacing.is_finite() || spacing == 0.0 {
        return None;
    }
    let mut knots: Vec<f64> = (0..=intervals).map(|k| first.seconds + (k as f64 - first.position) * spacing).collect();
    // Interval of each point, and where between its knots.
    let places: Vec<(usize, f64)> = points
        .iter()
        .map(|p| {
            let i = (p.position.floor().max(0.0) as usize).min(intervals - 1);
            (i, p.position - i as f64)
        })
        .collect();
    let bend_scale = options.smoothness * spacing.abs();
    let mut weights: Vec<f64> = points.iter().map(|p| p.weight).collect();
    let mut bends = vec![1.0; intervals - 1];
    let mut sigma = options.sigma;
    let mut matrix = Banded::new(intervals + 1);
    let mut right = vec![0.0; intervals + 1];
    for round in 0..options.rounds.max(1) {
        matrix.clear();
        for (x, knot) in right.iter_mut().zip(&knots) {
            *x = RIDGE * knot;
        }
        for i in 0..=intervals {
            matrix.add(i, i, RIDGE);
        }
        let inverse = 1.0 / (sigma * sigma);
        for ((p, (i, x)), w) in points.iter().zip(&places).zip(&weights) {
            let w = w * inverse;
            matrix.add_outer(*i, [1.0 - x, *x], w);
            right[*i] += w * (1.0 - x) * p.seconds;
            right[*i + 1] += w * x * p.seconds;
        }
        for (j, v) in bends.iter().enumerate() {
            matrix.add_outer(j, [1.0, -2.0, 1.0], v / (bend_scale * bend_scale));
        }
        if !matrix.solve(&mut right) {
            return None;
        }
        let moved = knots.iter().zip(&right).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        knots.copy_from_slice(&right);
        let error = |(p, (i, x)): (&FitPoint, &(usize, f64))| p.seconds - (knots[*i] * (1.0 - x) + knots[*i + 1] * x);
        let errors: Vec<f64> = points.iter().zip(&places).map(error).collect();
        if points.len() > 8 {
            sigma = spread(points, &errors, sigma);
        }
        for ((w, p), e) in weights.iter_mut().zip(points).zip(&errors) {
            *w = p.weight * (STROKE_FREEDOM + 1.0) / (STROKE_FREEDOM + (e / sigma).powi(2));
        }
        for (v, k) in bends.iter_mut().zip(knots.windows(3)) {
            let bend = (k[0] - 2.0 * k[1] + k[2]) / bend_scale;
            *v = (TEMPO_FREEDOM + 1.0) / (TEMPO_FREEDOM + bend * bend);
        }
        if round > 0 && moved < SETTLED {
            break;
        }
    }
    knots.iter().all(|k| k.is_finite()).then_some(Fit { knots, sigma, weights })
}

/// Standard deviation of errors, those beyond [`OUTLIER`] times the one before left out.
fn spread(points: &[FitPoint], errors: &[f64], before: f64) -> f64 {
    let (mut sum, mut total) = (0.0, 0.0);
    for (p, e) in points.iter().zip(errors) {
        if e.abs() < OUTLIER * before {
            sum += p.weight * e.abs();
            total += p.weight;
        }
    }
    if total > 0.0 { (SIGMA_OF_MEAN_DISTANCE * sum / total).max(MIN_SIGMA) } else { before }
}

/// Fits a clock with `intervals + 1` knots, `step` score seconds apart from `origin` on. Positions are score times.
///
/// Returns the clock with ascending knots and the fit.
pub fn fit_clock(
    points: &[FitPoint],
    origin: f64,
    step: f64,
    intervals: usize,
    options: FitOptions,
) -> Option<(Clock, Fit)> {
    let in_knots: Vec<FitPoint> =
        points.iter().map(|p| FitPoint { position: (p.position - origin) / step, ..*p }).collect();
    let fit = fit_map(&in_knots, intervals, options)?;
    let mut clock = Clock { origin, step, knots: fit.knots.clone() };
    clock.make_ascending();
    Some((clock, fit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(position: f64, seconds: f64) -> FitPoint {
        FitPoint { position, seconds, weight: 1.0 }
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn points_on_a_line_give_that_line(rate in 0.3..3.0f64, start in -5.0..50.0f64, count in 3..60usize) {
            let points: Vec<FitPoint> = (0..count).map(|i| point(i as f64 * 0.7, start + rate * i as f64 * 0.7)).collect();
            let (clock, _) = fit_clock(&points, -1.0, 0.5, 40, FitOptions::default()).expect("more than two points");
            for s in [-1.0, 0.0, 3.3, 20.0, 25.0] {
                prop_assert!((clock.seconds(s) - (start + rate * s)).abs() < 1e-3, "at {s}: {}", clock.seconds(s));
            }
            prop_assert!((clock.rate() - rate).abs() < 1e-3);
        }

        #[test]
        fn score_is_the_inverse_of_seconds(steps in proptest::collection::vec(0.05..2.0f64, 1..30), at in -10.0..60.0f64) {
            let knots: Vec<f64> = std::iter::once(3.0)
                .chain(steps.iter().scan(3.0, |sum, d| { *sum += d; Some(*sum) }))
                .collect();
            let clock = Clock { origin: -2.0, step: 0.5, knots };
            prop_assert!((clock.score(clock.seconds(at)) - at).abs() < 1e-6);
        }
    }

    #[test]
    fn one_wrong_stroke_does_not_bend_the_clock() {
        let mut points: Vec<FitPoint> = (0..60).map(|i| point(f64::from(i), f64::from(i) * 0.5)).collect();
        points[30].seconds += 0.12;
        let fit = fit_map(&points, 60, FitOptions::default()).expect("enough points");
        assert!((fit.knots[30] - 15.0).abs() < 1e-3, "{}", fit.knots[30]);
        assert!(fit.weights[30] < 0.05 && fit.weights[31] > 0.9);
    }

    #[test]
    fn a_sudden_change_of_tempo_is_followed_within_three_milliseconds() {
        let seconds = |i: usize| if i < 40 { i as f64 * 0.5 } else { 20.0 + (i - 40) as f64 * 0.515 };
        let points: Vec<FitPoint> = (0..80).map(|i| point(i as f64, seconds(i))).collect();
        let fit = fit_map(&points, 79, FitOptions::default()).expect("enough points");
        for (i, knot) in fit.knots.iter().enumerate() {
            assert!((knot - seconds(i)).abs() < 3e-3, "knot {i}: {knot}");
        }
    }

    #[test]
    fn points_at_one_place_give_no_clock() {
        assert_eq!(fit_map(&[point(1.0, 1.0), point(1.0, 2.0)], 4, FitOptions::default()), None);
        assert_eq!(fit_map(&[], 4, FitOptions::default()), None);
    }
}
