//! Steady hearings that are not bound to the cells: one period and phase for everything.

use super::{Draft, Kind, changing};
use crate::analysis::attacks::TimedAttack;
use realfft::RealFftPlanner;

/// Most pulses closing with the loop that are fitted.
const MOST_CLOSED: usize = 8;
/// Least agreement (length of the mean phase vector, 0 to 1) of a closing pulse that is fitted.
const LEAST_AGREEMENT: f64 = 0.45;

/// Pulses that close with the loop (a whole number of them in it), and pulses fitted by least squares to the attacks, to the
/// accented ones, and to the long ones.
pub(super) fn drafts(attacks: &[TimedAttack], range: (f64, f64)) -> Vec<Draft> {
    let times: Vec<f64> = attacks.iter().map(|a| a.seconds).collect();
    let mut drafts = closed(&times, range);
    for line in changing::lines(attacks, range) {
        drafts.extend(changing::steady(&line, range));
    }
    drafts
}

/// Pulses of which a whole number `m` fills the loop, where the attacks' phases agree:
/// ```text
/// agreement(m) = | sum over attacks of exp(2 pi i m t / T) | / attacks
/// ```
/// (the vector strength of Goldberg & Brown 1969), found for all `m` at once by a Fourier transform of the attacks laid out
/// over the loop; local maxima only.
fn closed(times: &[f64], range: (f64, f64)) -> Vec<Draft> {
    let total = range.1 - range.0;
    let n = times.len();
    if total <= 0.0 || n < 3 {
        return Vec::new();
    }
    let most = 2 * n;
    let bins = (16 * n).next_power_of_two().max(256);
    let mut train = vec![0.0_f64; bins];
    for t in times {
        let at = ((t - range.0) / total * bins as f64 + 1e-6).round() as usize % bins;
        train[at] += 1.0;
    }
    let transform = RealFftPlanner::<f64>::new().plan_fft_forward(bins);
    let mut spectrum = transform.make_output_vec();
    if transform.process(&mut train, &mut spectrum).is_err() {
        return Vec::new();
    }
    // Whole millionths, so that equal strengths are equal.
    let strength = |m: usize| (spectrum.get(m).map_or(0.0, |c| c.norm()) / n as f64 * 1e6).round() / 1e6;
    let least = (n / 4).max(1);
    let mut peaks: Vec<usize> = (least..=most.min(bins / 2 - 2))
        .filter(|&m| {
            strength(m) >= LEAST_AGREEMENT
                && strength(m) >= strength(m + 1)
                && (m == least || strength(m) > strength(m - 1))
        })
        .collect();
    peaks.sort_by(|a, b| strength(*b).total_cmp(&strength(*a)).then(a.cmp(b)));
    peaks.truncate(MOST_CLOSED);
    peaks
        .into_iter()
        .map(|m| {
            let period = total / m as f64;
            let phase = mean_phase(times, range.0, period);
            let first = range.0 + phase;
            Draft {
                kind: Kind::Steady,
                pulses: (0..m).map(|k| first + k as f64 * period).collect(),
                stretches: vec![(0, period)],
                exact: false,
            }
        })
        .collect()
}

/// The mean phase of the attacks in a pulse, in seconds from `start`, within one period.
fn mean_phase(times: &[f64], start: f64, period: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for t in times {
        let angle = std::f64::consts::TAU * (t - start) / period;
        re += angle.cos();
        im += angle.sin();
    }
    let phase = im.atan2(re) / std::f64::consts::TAU;
    // A phase a hair before the loop's start is the start.
    let phase = if phase < -1e-6 { phase + 1.0 } else { phase.max(0.0) };
    phase * period
}
