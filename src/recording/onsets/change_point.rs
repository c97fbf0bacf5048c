//! The moment at which the energy of a sound changes: the maximum of the generalised likelihood ratio for a jump of variance
//! (Brandt 1983; Andre-Obrecht 1988), taken over several bands together. As with the arrivals of waves (Maeda 1985), the
//! samples before and after the change are noise of two variances.

use super::envelope::{Envelopes, MAX_BANDS, SAMPLES};
use super::lanes::sum;
use super::signal::Signal;
use crate::analysis::listener::ln;
use std::ops::Range;

/// Seconds before and after the change.
const BEFORE: f64 = 0.010;
const AFTER: f64 = 0.005;
/// Added to all variances: a constant, and a part of the block's mean. Less would find the ringing of the bands before a
/// change, more would miss soft attacks just before loud ones.
const FLOOR: f64 = 1e-8;
const FLOOR_PART: f64 = 0.05;
/// An earlier maximum of at least this part of the greatest one is the attack, if it is less than `MAX_EARLIER` seconds before.
const EARLIER: f32 = 0.45;
const MAX_EARLIER: f64 = 0.030;
/// A very short sound has a flat top as long as the time after the change; its end is the sound. On it, the ratio stays within
/// these parts of the maximum. Going on past a higher one would climb the next attack.
const FLAT: std::ops::RangeInclusive<f32> = 0.90..=1.02;
const MAX_FLAT: usize = 4;

/// A change, and what speaks for it. Bands that the sample rate does not reach have no evidence.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChangePoint {
    /// In seconds.
    pub(super) time: f64,
    /// The log likelihood ratio: the weighted mean over bands, and in each band.
    pub(super) ratio: f64,
    pub(super) bands: [Evidence; MAX_BANDS],
}

/// The change in a band: the log likelihood ratio, and the variances before and after.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Evidence {
    pub(super) ratio: f64,
    pub(super) before: f64,
    pub(super) after: f64,
}

/// Finds changes.
pub(super) struct ChangeDetector {
    /// Envelope samples before and after the change.
    before: usize,
    after: usize,
    /// Weights of the bands, by the root of the bandwidth.
    weights: Vec<f32>,
    /// Sums of the squared envelopes up to each sample.
    sums: Vec<[f64; SAMPLES + 1]>,
    floors: Vec<f64>,
    ratios: Vec<[f32; SAMPLES]>,
    mean: [f32; SAMPLES],
}

impl ChangeDetector {
    pub(super) fn new(envelopes: &Envelopes) -> Self {
        let roots: Vec<f64> = envelopes.bandwidths().map(f64::sqrt).collect();
        let sum: f64 = roots.iter().sum();
        let samples = |seconds: f64| ((seconds / envelopes.step()).round_ties_even() as usize).max(1);
        Self {
            before: samples(BEFORE),
            after: samples(AFTER),
            weights: roots.iter().map(|r| (r / sum) as f32).collect(),
            sums: vec![[0.0; SAMPLES + 1]; roots.len()],
            floors: vec![0.0; roots.len()],
            ratios: vec![[0.0; SAMPLES]; roots.len()],
            mean: [0.0; SAMPLES],
        }
    }

    /// The change in the block around `centre` that is most likely between two times in seconds.
    pub(super) fn find(
        &mut self,
        envelopes: &mut Envelopes,
        signal: &mut Signal,
        centre: f64,
        range: &Range<f64>,
    ) -> Option<ChangePoint> {
        envelopes.move_to(signal, centre);
        let time = |sample: usize| envelopes.start() + sample as f64 * envelopes.step();
        let end = SAMPLES.checked_sub(self.after)?;
        let mut inside = (self.before..end).filter(|k| (range.start..=range.end).contains(&time(*k)));
        let first = inside.next()?;
        let last = inside.next_back().unwrap_or(first);
        let walked = (last + self.after + MAX_FLAT + 1).min(end);
        compare(self, envelopes.squares(), first..walked);

        let ratio = &self.mean;
        let greatest = (first..=last).fold(first, |best, k| if ratio[k] > ratio[best] { k } else { best });
        let is_attack = |k: &usize| {
            ratio[*k] >= ratio[k - 1]
                && ratio[*k] > ratio[k + 1]
                && ratio[*k] > EARLIER * ratio[greatest]
                && time(greatest) - time(*k) < MAX_EARLIER
        };
        let top = (first + 1..greatest).find(is_attack).unwrap_or(greatest);
        let mut flat_end = top;
        while flat_end + 1 < walked
            && (FLAT.start() * ratio[top]..=FLAT.end() * ratio[top]).contains(&ratio[flat_end + 1])
            && flat_end - top < self.after + MAX_FLAT
        {
            flat_end += 1;
        }
        Some(ChangePoint { time: time(flat_end), ratio: ratio[top].into(), bands: self.evidence(top) })
    }

    /// Variances before and after a sample.
    #[inline(always)]
    fn variances(&self, band: usize, sample: usize) -> (f64, f64) {
        let (sums, floor) = (&self.sums[band], self.floors[band]);
        let before = (sums[sample] - sums[sample - self.before]) / self.before as f64;
        let after = (sums[sample + self.after] - sums[sample]) / self.after as f64;
        (before + floor, after + floor)
    }

    fn evidence(&self, sample: usize) -> [Evidence; MAX_BANDS] {
        let mut bands = [Evidence::default(); MAX_BANDS];
        for (band, evidence) in bands.iter_mut().take(self.weights.len()).enumerate() {
            let (before, after) = self.variances(band, sample);
            *evidence = Evidence { ratio: self.ratios[band][sample].into(), before, after };
        }
        bands
    }
}

/// Sums up the envelopes over a range of samples, and takes the floors from all of them.
#[inline(always)]
fn accumulate(squares: &[[f32; SAMPLES]], range: Range<usize>, sums: &mut [[f64; SAMPLES + 1]], floors: &mut [f64]) {
    for ((squares, sums), floor) in squares.iter().zip(sums).zip(floors) {
        let [even, odd] = sum(squares);
        let mut total = 0.0;
        sums[range.start] = total;
        for (square, sum_so_far) in squares[range.clone()].iter().zip(&mut sums[range.start + 1..]) {
            total += f64::from(*square);
            *sum_so_far = total;
        }
        *floor = FLOOR + FLOOR_PART * f64::from(even + odd) / SAMPLES as f64;
    }
}

/// Calculates the log likelihood ratio of squared envelopes at each sample of a range.
#[pulp::with_simd(compare = pulp::Arch::new())]
#[inline(always)]
fn compare_with<'a, S: pulp::Simd>(
    _: S,
    detector: &'a mut ChangeDetector,
    squares: &'a [[f32; SAMPLES]],
    range: Range<usize>,
) {
    let needed = range.start - detector.before..range.end + detector.after;
    accumulate(squares, needed, &mut detector.sums, &mut detector.floors);
    let ChangeDetector { before, after, weights, sums, floors, ratios, mean } = detector;
    let (before, after) = (*before, *after);
    let (per_before, per_after) = (1.0 / before as f64, 1.0 / after as f64);
    // The share of the time after the change.
    let share = after as f32 / (before + after) as f32;
    let mean = &mut mean[range.clone()];
    mean.fill(0.0);
    for (((weight, sums), floor), ratios) in weights.iter().zip(sums).zip(floors).zip(ratios) {
        let now = &sums[range.clone()];
        let past = &sums[range.start - before..range.end - before];
        let coming = &sums[range.start + after..range.end + after];
        let ratios = &mut ratios[range.clone()];
        for (((ratio, now), past), coming) in ratios.iter_mut().zip(now).zip(past).zip(coming) {
            let old = (now - past) * per_before + *floor;
            let new = (coming - now) * per_after + *floor;
            *ratio = (new / old) as f32;
        }
        for (ratio, mean) in ratios.iter_mut().zip(&mut *mean) {
            // ln(r v1 + (1 - r) v2) - r ln v1 - (1 - r) ln v2 with q = v2 / v1; only rises count.
            let q = *ratio;
            let g = ln(1.0 + share * (q - 1.0)) - share * ln(q);
            *ratio = if q > 1.0 { g } else { 0.0 };
            *mean += weight * *ratio;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn find(sound: &[f32], range: Range<f64>) -> ChangePoint {
        let mut envelopes = Envelopes::new(44_100.0, 4096);
        let mut detector = ChangeDetector::new(&envelopes);
        let mut signal = Signal::new(&sound, 44_100);
        detector.find(&mut envelopes, &mut signal, f64::midpoint(range.start, range.end), &range).expect("a range")
    }

    /// Noise from -1 to 1.
    fn noise(len: usize) -> Vec<f32> {
        let mut state = 1_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 8_388_608.0 - 1.0
        };
        (0..len).map(|_| next()).collect()
    }

    /// The bands ring before an attack, so that a change is found a little too early.
    #[test]
    fn a_jump_and_a_click_are_found_within_two_milliseconds() {
        let mut jump = noise(20_000);
        for (i, sample) in jump.iter_mut().enumerate() {
            *sample *= if i < 10_000 { 0.01 } else { 0.2 };
        }
        let mut click = vec![0.0; 20_000];
        click[10_000] = 0.9;
        let time = 10_000.0 / 44_100.0;
        for (sound, from, to) in [(jump, -0.001, 0.0005), (click, -0.0018, -0.0008)] {
            let change = find(&sound, time - 0.025..time + 0.02);
            assert!((from..to).contains(&(change.time - time)), "{}", change.time - time);
            assert!(change.ratio > 0.3 && change.bands.iter().all(|b| b.after > b.before), "{change:?}");
        }
    }

    #[test]
    fn of_two_jumps_alike_the_earlier_one_is_taken() {
        let mut sound = noise(20_000);
        for (i, sample) in sound.iter_mut().enumerate() {
            *sample *= [0.01, 0.14, 0.4][usize::from(i >= 10_000) + usize::from(i >= 10_700)];
        }
        let time = 10_000.0 / 44_100.0;
        let change = find(&sound, time - 0.02..time + 0.02);
        assert!((change.time - time).abs() < 0.002, "{}", change.time - time);
    }

    #[test]
    fn what_only_falls_does_not_change() {
        let sound: Vec<f32> =
            noise(20_000).iter().enumerate().map(|(i, x)| if i < 10_000 { 0.5 * x } else { 0.0 }).collect();
        let time = 10_000.0 / 44_100.0;
        assert!(find(&sound, time - 0.003..time + 0.02).ratio < 0.02);
    }
}
