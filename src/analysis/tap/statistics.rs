//! Statistics of taps that follow one pulse, and the latency calibration.

use super::TapOptions;
use super::follow::PAUSE_PULSES;
use super::pulses::TapPulses;
use crate::analysis::limits;

/// A tap that is missing, doubled or off the pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    /// Position of the pulse, in seconds from the groove's start at full speed.
    pub at: f64,
    /// Pass of the loop, from 0.
    pub pass: u64,
    /// The tap, from 0; `None` where one is missing.
    pub tap: Option<usize>,
    /// Kind of slip.
    pub kind: SlipKind,
}

/// Kind of slip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SlipKind {
    /// The tap is this many ms from the stretch's usual asynchrony, more than [`limits::PULSE_TOLERANCE`]; positive is late.
    Off(f64),
    /// The pulse has no tap.
    Missed,
    /// This many consecutive pulses have no tap.
    Pause(u32),
    /// The pulse has a second tap.
    Double,
}

/// Statistics of taps that follow a pulse. An asynchrony is tap time minus pulse time, in ms of real time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TapStats {
    /// Mean asynchrony in ms; negative is early.
    pub mean_ms: f64,
    /// Its standard error in ms: `s / sqrt(n) * sqrt((1 + r) / (1 - r))` with `s` the spread, `n` the taps that did not slip and `r`, 0
    /// to 0.9, the correlation of neighbouring asynchronies (Bayley & Hammersley 1946).
    pub error_ms: f64,
    /// Spread: standard deviation of the asynchronies in ms, `n - 1` in the divisor.
    pub spread_ms: f64,
    /// The same as a share of the pulse's period.
    pub spread: f64,
    /// Drift in ms per pulse, by least squares; positive is falling behind.
    pub drift_ms: f64,
    /// Its standard error in ms.
    pub drift_error_ms: f64,
    /// The drift as a tempo difference in percent; positive is faster than the pulse.
    pub tempo_percent: f64,
    /// The slips, in order of time.
    pub slips: Vec<Slip>,
    /// The asynchrony of every tap in ms, in order.
    pub asynchronies: Vec<f64>,
}

/// Statistics of taps on a pulse; `shifts` holds the asynchrony that the search assigned to each tap.
pub(super) fn tap_stats(
    pulses: &TapPulses,
    taps: &[f64],
    shifts: &[f64],
    options: &TapOptions,
    first: usize,
) -> TapStats {
    let numbers: Vec<i64> = taps.iter().zip(shifts).map(|(t, s)| pulses.nearest(t - s)).collect();
    let off: Vec<f64> = taps.iter().zip(&numbers).map(|(t, k)| (t - pulses.at(*k)) * 1000.0).collect();
    let from_shift: Vec<f64> = off.iter().zip(shifts).map(|(o, s)| o - s * 1000.0).collect();
    let middle = median(&from_shift).unwrap_or(0.0);
    let deviation = |i: usize| from_shift[i] - middle;
    let tolerance = limits::PULSE_TOLERANCE.value * 10.0 * pulses.period();

    let length = (options.range.1 - options.range.0) / options.speed;
    let slip = |k: i64, tap: Option<usize>, kind: SlipKind| {
        let time = pulses.at(k);
        let pass = (time / length + 1e-9).floor();
        let at = options.range.0 + (time - pass * length).max(0.0) * options.speed;
        Slip { at, pass: pass.max(0.0) as u64, tap: tap.map(|t| first + t), kind }
    };
    let mut slips = Vec::new();
    let mut slipped = vec![false; taps.len()];
    for i in 0..taps.len() {
        let by = if i > 0 { numbers[i] - numbers[i - 1] } else { 1 };
        if by <= 0 {
            // Of two taps on one pulse the farther one is the extra one.
            let extra = if deviation(i).abs() >= deviation(i - 1).abs() || slipped[i - 1] { i } else { i - 1 };
            slipped[extra] = true;
            slips.retain(|s: &Slip| s.tap != Some(first + extra));
            slips.push(slip(numbers[i], Some(extra), SlipKind::Double));
        }
        if by > PAUSE_PULSES + 1 {
            slips.push(slip(numbers[i - 1] + 1, None, SlipKind::Pause((by - 1).min(i64::from(u32::MAX)) as u32)));
        } else {
            slips.extend((1..by).map(|n| slip(numbers[i] - by + n, None, SlipKind::Missed)));
        }
        if deviation(i).abs() > tolerance && !slipped[i] {
            slipped[i] = true;
            slips.push(slip(numbers[i], Some(i), SlipKind::Off(deviation(i))));
        }
    }
    let regular: Vec<(f64, f64)> =
        (0..taps.len()).filter(|i| !slipped[*i]).map(|i| ((numbers[i] - numbers[0]) as f64, off[i])).collect();
    let line = Regression::new(&regular);
    let period = pulses.period() * 1000.0;
    TapStats {
        mean_ms: line.mean,
        error_ms: line.error,
        spread_ms: line.spread,
        spread: line.spread / period,
        drift_ms: line.slope,
        drift_error_ms: line.slope_error,
        tempo_percent: 100.0 * (period / (period + line.slope).max(1e-3) - 1.0),
        slips,
        asynchronies: off,
    }
}

/// Mean, spread and trend of values at places.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Regression {
    mean: f64,
    error: f64,
    spread: f64,
    slope: f64,
    slope_error: f64,
}

impl Regression {
    /// All zeros without points; spreads and errors are 0 where they are undefined.
    fn new(points: &[(f64, f64)]) -> Self {
        let n = points.len() as f64;
        if points.is_empty() {
            return Self::default();
        }
        let (x, y) = points.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
        let sum = |f: &dyn Fn(f64, f64) -> f64| points.iter().map(|p| f(p.0 - x, p.1 - y)).sum::<f64>();
        let (xx, xy, yy) = (sum(&|a, _| a * a), sum(&|a, b| a * b), sum(&|_, b| b * b));
        let spread = if n > 1.0 { (yy / (n - 1.0)).sqrt() } else { 0.0 };
        let lag_one: f64 = points.windows(2).map(|w| (w[0].1 - y) * (w[1].1 - y)).sum();
        let r = if yy > 0.0 { (lag_one / yy).clamp(0.0, 0.9) } else { 0.0 };
        let slope = if xx > 0.0 { xy / xx } else { 0.0 };
        let residual = (yy - slope * xy).max(0.0);
        let slope_error = if n > 2.0 && xx > 0.0 { (residual / (n - 2.0) / xx).sqrt() } else { 0.0 };
        Self { mean: y, error: spread / n.sqrt() * ((1.0 + r) / (1.0 - r)).sqrt(), spread, slope, slope_error }
    }
}

/// The median; of an even number of values the mean of the middle two. `None` if there are none.
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    let mut order = values.to_vec();
    order.sort_by(f64::total_cmp);
    let n = order.len();
    Some((order.get(n.checked_sub(1)? / 2)? + order.get(n / 2)?) / 2.0)
}

/// Seconds per tap by least squares. Each interval counts as its nearest whole number of median intervals, so a missing tap counts
/// as two and a double one as none. At least a millisecond.
pub(super) fn step(taps: &[f64]) -> f64 {
    let gaps: Vec<f64> = taps.windows(2).map(|w| w[1] - w[0]).collect();
    let middle = median(&gaps).unwrap_or(1.0).max(1e-3);
    let counts = gaps.iter().scan(0.0, |count, gap| {
        *count += (gap / middle).round();
        Some(*count)
    });
    let counts: Vec<f64> = std::iter::once(0.0).chain(counts).collect();
    let n = taps.len().max(1) as f64;
    let (x, y) = (counts.iter().sum::<f64>() / n, taps.iter().sum::<f64>() / n);
    let xx: f64 = counts.iter().map(|c| (c - x).powi(2)).sum();
    let xy: f64 = counts.iter().zip(taps).map(|(c, t)| (c - x) * (t - y)).sum();
    if xx > 0.0 { (xy / xx).max(1e-3) } else { middle }
}

/// Latency and the player's habitual asynchrony together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Median asynchrony in ms; positive is late.
    pub(crate) ms: f64,
    /// Its standard error in ms: 1.2533 times that of the mean, with the spread estimated from the median absolute deviation.
    pub(crate) error_ms: f64,
    /// Number of taps measured.
    pub(crate) taps: usize,
}

/// Measures the offset of taps, in seconds of real time, to a pulse that starts at 0 with `period` seconds. Offsets are reported
/// between a quarter of the period early and three quarters late. `None` without a tap.
pub(crate) fn calibrate(taps: &[f64], period: f64) -> Option<Offset> {
    let angle = |t: &f64| (t / period).rem_euclid(1.0) * std::f64::consts::TAU;
    let (sine, cosine) = taps.iter().fold((0.0, 0.0), |s, t| (s.0 + angle(t).sin(), s.1 + angle(t).cos()));
    let centre = sine.atan2(cosine) / std::f64::consts::TAU * period;
    let centred: Vec<f64> =
        taps.iter().map(|t| (t - centre + period / 2.0).rem_euclid(period) - period / 2.0).collect();
    let middle = median(&centred)?;
    let deviations: Vec<f64> = centred.iter().map(|a| (a - middle).abs()).collect();
    let spread = 1.4826 * median(&deviations)?;
    let offset = (middle + centre + period / 4.0).rem_euclid(period) - period / 4.0;
    let error = 1.2533 * spread / (taps.len() as f64).sqrt();
    Some(Offset { ms: offset * 1000.0, error_ms: error * 1000.0, taps: taps.len() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn missing_and_double_taps_do_not_change_the_step(
            period in 0.2_f64..1.5, jitter in prop::collection::vec(-0.03_f64..0.03, 24), missing in 3_usize..20, double in 3_usize..20,
        ) {
            let mut taps: Vec<f64> = jitter.iter().enumerate().map(|(k, j)| (k as f64 + j) * period).collect();
            taps.insert(double, taps[double] - 0.1 * period);
            taps.sort_by(f64::total_cmp);
            taps.remove(missing);
            // The greatest error of the slope through 23 points: 0.03 times the sum of the distances from the middle over the sum of
            // their squares, plus the effect of the double tap.
            prop_assert!((step(&taps) / period - 1.0).abs() < 0.006, "{} for {period}", step(&taps));
        }

    #[test]
        fn the_regression_solves_the_normal_equations(points in prop::collection::vec((0.0_f64..400.0, -150.0_f64..150.0), 3..60)) {
            let line = Regression::new(&points);
            let n = points.len() as f64;
            // The normal equations, solved directly.
            let (sx, sy) = (points.iter().map(|p| p.0).sum::<f64>(), points.iter().map(|p| p.1).sum::<f64>());
            let (sxx, sxy) = (points.iter().map(|p| p.0 * p.0).sum::<f64>(), points.iter().map(|p| p.0 * p.1).sum::<f64>());
            let slope = (n * sxy - sx * sy) / (n * sxx - sx * sx);
            prop_assume!((n * sxx - sx * sx).abs() > 1.0);
            prop_assert!((line.slope - slope).abs() < 1e-6 * (1.0 + slope.abs()));
            let at = (sy - slope * sx) / n;
            let residual: f64 = points.iter().map(|p| (p.1 - at - slope * p.0).powi(2)).sum();
            let mean_x = sx / n;
            let error = (residual / (n - 2.0) / points.iter().map(|p| (p.0 - mean_x).powi(2)).sum::<f64>()).sqrt();
            prop_assert!((line.slope_error - error).abs() < 1e-6 * (1.0 + error));
            let variance = points.iter().map(|p| (p.1 - sy / n).powi(2)).sum::<f64>() / (n - 1.0);
            prop_assert!((line.spread - variance.sqrt()).abs() < 1e-9 * (1.0 + variance));
            prop_assert!((line.mean - sy / n).abs() < 1e-9);
            prop_assert!(line.error >= line.spread / n.sqrt() - 1e-9);
        }

        #[test]
        fn calibration_finds_the_offset(offset in -0.129_f64..0.429, jitter in prop::collection::vec(-0.02_f64..0.02, 16)) {
            let taps: Vec<f64> = jitter.iter().enumerate().map(|(i, j)| i as f64 * 0.6 + offset + j).collect();
            let found = calibrate(&taps, 0.6).expect("taps");
            prop_assert!((found.ms / 1000.0 - offset).abs() <= 0.02, "{} for {offset}", found.ms);
            prop_assert!(found.error_ms < 20.0 && found.taps == 16);
        }
    }

    #[test]
    fn empty_input_gives_no_result() {
        assert_eq!(calibrate(&[], 0.6), None);
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0]), Some(2.5));
        assert_eq!(Regression::new(&[]), Regression::default());
        assert_eq!(Regression::new(&[(1.0, 5.0)]).mean, 5.0);
    }
}
