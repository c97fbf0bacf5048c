//! Finds the attacks of a prepared signal as it is read.
//!
//! Each of three bands is followed by its energy in steps of 0.5 ms. An attack is a local maximum of the ratio of the energy
//! after to that before, in any band. Its place is then sought in the samples.

use super::feed::Feed;
use super::filter::Biquad;

/// Steps per second of the energy curves.
const STEPS_PER_SECOND: f64 = 2000.0;
/// Steps of which the mean energy is taken, and how many steps before an instant the greatest such mean is sought. The latter
/// exceeds the period of the lowest tones, whose energy pulsates.
const AFTER: usize = 14;
const BEFORE: usize = 60;
/// Steps on either side within which only the greatest ratio counts.
const APART: usize = 30;
/// Steps from a given attack within which one that is found is the same.
const SAME: usize = 50;
/// Least ratio of energies, as a natural logarithm, per band.
const LEAST: [f64; BANDS] = [0.5, 0.5, 0.7];
/// The share of a band's recent greatest energy that counts as silence, and the steps in which that falls to 37 %.
const FLOOR: f64 = 0.003;
const FORGETTING_STEPS: f64 = 3000.0;
const BANDS: usize = 3;

pub(super) struct Transients {
    step: usize,
    filters: Vec<[Biquad; BANDS]>,
    /// The next frame to be analysed.
    next: i64,
    /// Energies of the bands per step, from the step that begins at frame `first`.
    energies: Vec<[f64; BANDS]>,
    first: i64,
    recent: [f64; BANDS],
    /// Means of the energies of the steps from each one on, parallel to `ratios`.
    means: Vec<[f64; BANDS]>,
    /// Ratios of the steps, parallel to `energies`; known for the first ones.
    ratios: Vec<f64>,
    /// Steps up to this one have been searched.
    searched: usize,
    found: Vec<i64>,
    /// Attacks known from elsewhere, in rising order.
    given: Vec<i64>,
}

impl Transients {
    pub(super) fn new(rate: f64, channels: usize, start: i64, given: Vec<i64>) -> Self {
        let bands = [
            Biquad::high_pass(250.0, rate),
            Biquad::high_pass(1200.0_f64.min(0.2 * rate), rate),
            Biquad::high_pass(5000.0_f64.min(0.4 * rate), rate),
        ];
        Self {
            step: ((rate / STEPS_PER_SECOND) as usize).max(1),
            filters: vec![bands; channels],
            next: start,
            energies: Vec::new(),
            first: start,
            recent: [0.0; BANDS],
            means: Vec::new(),
            ratios: Vec::new(),
            searched: 0,
            found: Vec::new(),
            given,
        }
    }

    /// Frames that must be prepared beyond one to know whether there is an attack.
    pub(super) fn lookahead(&self) -> i64 {
        ((APART + AFTER + BEFORE) * self.step) as i64
    }

    /// All attacks before the returned frame are known.
    pub(super) fn known(&self) -> i64 {
        self.first + (self.searched.saturating_sub(APART) * self.step) as i64
    }

    /// The first attack after `at`.
    pub(super) fn after(&self, at: i64) -> Option<i64> {
        let first = |places: &[i64]| places.iter().copied().find(|&place| place > at);
        [first(&self.found), first(&self.given)].into_iter().flatten().min()
    }

    /// Forgets what lies before `at`.
    pub(super) fn forget(&mut self, at: i64) {
        self.found.retain(|&found| found >= at);
        let steps = self.searched.saturating_sub(2 * (BEFORE + APART));
        if steps > 4096 {
            self.energies.drain(..steps);
            self.means.drain(..steps);
            self.ratios.drain(..steps);
            self.searched -= steps;
            self.first += (steps * self.step) as i64;
        }
    }

    /// Analyses what has been prepared.
    pub(super) fn advance(&mut self, feed: &Feed) {
        while self.next + self.step as i64 <= feed.end() {
            let mut sums = [0.0; BANDS];
            for k in 0..self.step as i64 {
                for (x, filters) in feed.frame(self.next + k).iter().zip(&mut self.filters) {
                    for (sum, filter) in sums.iter_mut().zip(filters) {
                        *sum += f64::from(filter.next(*x)).powi(2);
                    }
                }
            }
            self.next += self.step as i64;
            self.energies.push(sums.map(|s| s / self.step as f64));
            self.push_ratio();
        }
        self.search(feed);
    }

    /// The ratio of the step that now has enough steps after it.
    fn push_ratio(&mut self) {
        let Some(at) = self.energies.len().checked_sub(AFTER) else { return };
        let mut mean = [0.0; BANDS];
        for energies in &self.energies[at..] {
            for (mean, energy) in mean.iter_mut().zip(energies) {
                *mean += energy / AFTER as f64;
            }
        }
        let before = &self.means[at.saturating_sub(BEFORE)..at.saturating_sub(AFTER)];
        let mut ratio: f64 = 0.0;
        for band in 0..BANDS {
            let high = mean[band];
            let low = before.iter().map(|m| m[band]).fold(0.0, f64::max);
            self.recent[band] = (self.recent[band] * (1.0 - 1.0 / FORGETTING_STEPS)).max(high);
            let floor = FLOOR * self.recent[band] + 1e-10;
            ratio = ratio.max(((high + floor) / (low + floor)).ln() / LEAST[band]);
        }
        self.means.push(mean);
        self.ratios.push(ratio);
    }

    fn search(&mut self, feed: &Feed) {
        while self.searched + APART < self.ratios.len() {
            let at = self.searched;
            let ratio = self.ratios[at];
            let before = &self.ratios[at.saturating_sub(APART)..at];
            let after = &self.ratios[at + 1..=at + APART];
            if ratio > 1.0 && before.iter().all(|&r| r < ratio) && after.iter().all(|&r| r <= ratio) {
                let place = self.place(feed, self.first + (at * self.step) as i64);
                let near = (SAME * self.step) as i64;
                let is_given = self.given.iter().any(|given| (given - place).abs() < near);
                if !is_given && self.found.last().is_none_or(|&last| place > last) {
                    self.found.push(place);
                }
            }
            self.searched += 1;
        }
    }

    /// The frame near `coarse` where the energy rises most: the greatest ratio of the means of 2.5 ms after and before, at the
    /// end of the plateau that a sound shorter than that gives.
    fn place(&self, feed: &Feed, coarse: i64) -> i64 {
        let window = 5 * self.step as i64;
        let reach = 16 * self.step as i64;
        let from = coarse - reach - window;
        let squares: Vec<f64> = (from..coarse + reach + window)
            .map(|k| feed.frame(k).iter().map(|x| f64::from(*x).powi(2)).sum())
            .collect();
        let mut sums = vec![0.0; squares.len() + 1];
        for (k, square) in squares.iter().enumerate() {
            sums[k + 1] = sums[k] + square;
        }
        let w = window as usize;
        let floor = 1e-12 + 0.02 * w as f64 * sums[squares.len()] / squares.len() as f64;
        let ratio = |k: usize| (sums[k + w] - sums[k] + floor) / (sums[k] - sums[k - w] + floor);
        let range = w..=squares.len() - w;
        let Some(best) = range.clone().max_by(|&a, &b| ratio(a).total_cmp(&ratio(b))) else { return coarse };
        let end = (best..=*range.end()).take_while(|&k| k - best < w && ratio(k) >= 0.98 * ratio(best)).last();
        from + end.unwrap_or(best) as i64
    }
}
