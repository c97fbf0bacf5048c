//! Periods at which a cell of the rhythm may repeat: a Fourier sum of the onsets over short windows.
//!
//! A window is short enough that a slow change of tempo does not blur the sum, and the mean over all windows takes for each the
//! largest value within a small range of periods, so that a drift does not count against a period.

use crate::recording::fit::onset::Onset;
use std::f64::consts::TAU;

/// Shortest and longest period of a cell, in seconds.
const PERIODS: (f64, f64) = (0.068, 0.62);
/// Step between neighbouring periods, as a logarithm of their ratio.
const STEP: f64 = 0.004;
/// Periods on either side among which a window's largest value counts.
const DRIFT_STEPS: usize = 2;
/// Length of a window in seconds; windows overlap by half.
const WINDOW: f64 = 6.0;
/// Fewest onsets in a window that say something.
const MIN_ONSETS: usize = 5;
/// Periods returned.
const MAX_SEEDS: usize = 14;

/// A period with the instant of one of its pulses, where the onsets agree with it best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seed {
    /// Seconds per cell.
    pub(super) period: f64,
    /// A pulse, in seconds.
    pub(super) instant: f64,
}

/// The sums of one window, one per period.
struct Spectrum {
    centre: f64,
    re: Vec<f32>,
    im: Vec<f32>,
    /// Sum of the squared weights.
    energy: f32,
}

impl Spectrum {
    /// Squared length of the sum at a period, 1 being what one onset alone would give.
    fn power(&self, i: usize) -> f32 {
        (self.re[i] * self.re[i] + self.im[i] * self.im[i]) / self.energy
    }
}

/// The most distinct periods of the onsets, strongest first. `weights` holds one weight per onset.
pub(super) fn seeds(onsets: &[Onset], weights: &[f64]) -> Vec<Seed> {
    let periods = periods();
    let spectra = spectra(onsets, weights, &periods);
    let mut mean = vec![0.0_f64; periods.len()];
    let mut power = vec![0.0_f32; periods.len()];
    for spectrum in &spectra {
        power.iter_mut().enumerate().for_each(|(i, p)| *p = spectrum.power(i));
        for (i, sum) in mean.iter_mut().enumerate() {
            let range = i.saturating_sub(DRIFT_STEPS)..(i + DRIFT_STEPS + 1).min(power.len());
            *sum += f64::from(power[range].iter().copied().fold(0.0, f32::max));
        }
    }
    let mut peaks: Vec<usize> =
        (1..mean.len() - 1).filter(|&i| mean[i] > 0.0 && mean[i] >= mean[i - 1] && mean[i] >= mean[i + 1]).collect();
    peaks.sort_by(|&a, &b| mean[b].total_cmp(&mean[a]).then(a.cmp(&b)));
    peaks.truncate(MAX_SEEDS);
    peaks.into_iter().filter_map(|peak| best_instant(&spectra, &periods, peak)).collect()
}

/// The pulse nearest the middle of the window where the sum around a period is largest.
fn best_instant(spectra: &[Spectrum], periods: &[f64], peak: usize) -> Option<Seed> {
    let range = peak.saturating_sub(DRIFT_STEPS)..(peak + DRIFT_STEPS + 1).min(periods.len());
    let (window, i) = spectra
        .iter()
        .flat_map(|window| range.clone().map(move |i| (window, i)))
        .reduce(|best, other| if other.0.power(other.1) > best.0.power(best.1) { other } else { best })?;
    let turn = f64::from(window.im[i]).atan2(f64::from(window.re[i])) / TAU;
    Some(Seed { period: periods[i], instant: window.centre + turn * periods[i] })
}

/// All periods looked at, in equal ratios.
fn periods() -> Vec<f64> {
    let count = ((PERIODS.1 / PERIODS.0).ln() / STEP).ceil() as usize;
    (0..count).map(|i| PERIODS.0 * (i as f64 * STEP).exp()).collect()
}

/// One spectrum per window that has enough onsets.
fn spectra(onsets: &[Onset], weights: &[f64], periods: &[f64]) -> Vec<Spectrum> {
    let (Some(first), Some(last)) = (onsets.first(), onsets.last()) else { return Vec::new() };
    let (start, end) = (first.seconds + WINDOW / 2.0, last.seconds - WINDOW / 2.0);
    let windows = if end > start { ((end - start) / (WINDOW / 2.0)).floor() as usize + 1 } else { 1 };
    let frequencies: Vec<f32> = periods.iter().map(|period| (1.0 / period) as f32).collect();
    let mut found = Vec::with_capacity(windows);
    for window in 0..windows {
        let centre = start + window as f64 * WINDOW / 2.0;
        let from = onsets.partition_point(|onset| onset.seconds <= centre - WINDOW / 2.0);
        let to = onsets.partition_point(|onset| onset.seconds < centre + WINDOW / 2.0);
        if to < from + MIN_ONSETS {
            continue;
        }
        let mut spectrum = Spectrum { centre, re: vec![0.0; periods.len()], im: vec![0.0; periods.len()], energy: 0.0 };
        for (onset, &weight) in onsets[from..to].iter().zip(&weights[from..to]) {
            let (time, weight) = ((onset.seconds - centre) as f32, weight as f32);
            spectrum.energy += weight * weight;
            for ((frequency, re), im) in frequencies.iter().zip(&mut spectrum.re).zip(&mut spectrum.im) {
                let (sine, cosine) = sine_cosine(time * frequency);
                *re += weight * cosine;
                *im += weight * sine;
            }
        }
        found.push(spectrum);
    }
    found
}

/// Sine and cosine of an angle in turns of less than a million, to about 1e-5: enough for sums of a few dozen terms, and a
/// loop over it is vectorised, which the library functions prevent.
fn sine_cosine(turns: f32) -> (f32, f32) {
    // Adding and taking away 1.5 * 2^23 rounds to a whole number.
    const ROUND: f32 = 12_582_912.0;
    let quarters = (turns * 4.0 + ROUND) - ROUND;
    let angle = (turns - quarters * 0.25) * std::f32::consts::TAU;
    let square = angle * angle;
    // Taylor series up to the fifth and sixth power; the angle is at most an eighth of a turn.
    let sine = angle * (1.0 + square * (-1.0 / 6.0 + square * (1.0 / 120.0)));
    let cosine = 1.0 + square * (-0.5 + square * (1.0 / 24.0 - square * (1.0 / 720.0)));
    let quarter = quarters as i32 & 3;
    let (a, b) = if quarter & 1 == 1 { (cosine, -sine) } else { (sine, cosine) };
    if quarter & 2 == 2 { (-a, -b) } else { (a, b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sine_and_cosine_agree_with_the_library() {
        for i in -4000..4000 {
            let turns = i as f32 * 0.0137;
            let (sine, cosine) = sine_cosine(turns);
            let exact = f64::from(turns) * TAU;
            assert!((f64::from(sine) - exact.sin()).abs() < 5e-5, "sine of {turns} turns: {sine}");
            assert!((f64::from(cosine) - exact.cos()).abs() < 5e-5, "cosine of {turns} turns: {cosine}");
        }
    }

    #[test]
    fn an_even_pulse_gives_its_period_and_an_instant_on_it() {
        let onsets: Vec<Onset> =
            (0..60).map(|i| Onset { seconds: 0.1 + 0.25 * f64::from(i), ..Onset::default() }).collect();
        let seeds = seeds(&onsets, &vec![1.0; onsets.len()]);
        let near = seeds.iter().find(|seed| (seed.period / 0.25 - 1.0).abs() < 0.005).expect("the period of the pulse");
        let offset = (near.instant - 0.1) / 0.25;
        assert!((offset - offset.round()).abs() < 0.02, "pulse at {}", near.instant);
    }

    #[test]
    fn too_few_onsets_give_nothing() {
        let onsets = [Onset::default(); 4];
        assert_eq!(seeds(&onsets, &[1.0; 4]), []);
    }
}
