//! Pulses that follow the attacks by correcting their phase, several hypotheses side by side.
//!
//! For each event `t` in order, with the pulse at `ph`:
//! ```text
//! z = round((t - ph) / P); ph += z P; index += z; e = t - ph; g = exp(-e^2 / (2 sigma^2)); ph += alpha e g
//! ```
//! (linear phase correction, Repp 2005, that gives less to an attack the farther it is). Kept is only `t - ph`, so that single
//! precision is enough for a loop of any length.

use super::evidence::Event;
use super::lanes::{LANES, Lanes, exp, round};
use super::params::Params;

/// Events on which a pulse settles before it is measured; two rounds of a shorter loop.
const SETTLE: usize = 128;

/// Hypotheses that run side by side.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bundle {
    pub(super) period: Lanes,
    pub(super) sigma: Lanes,
    /// Time since the pulse nearest the last event.
    since: Lanes,
}

/// What a pulse was at an event: the distance to it, its number, and how near it is, 0 to 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub(super) error: Lanes,
    pub(super) index: Lanes,
    pub(super) near: Lanes,
}

/// The events as steps of time, and their weights.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Seconds from the event before, round the loop.
    steps: Vec<f32>,
    pub(super) weights: Vec<f32>,
    first: f32,
    alpha: f32,
}

impl Course {
    pub(super) fn new(events: &[Event], length: f64, params: &Params) -> Self {
        let before = |i: usize| if i == 0 { events[events.len() - 1].time - length } else { events[i - 1].time };
        Self {
            steps: (0..events.len()).map(|i| (events[i].time - before(i)) as f32).collect(),
            weights: events.iter().map(|e| e.weight as f32).collect(),
            first: events[0].time as f32,
            alpha: params.correction as f32,
        }
    }

    /// Pulses of some periods, tolerances and starting phases in seconds, settled: they stand at the loop's end.
    pub(super) fn settled(&self, period: Lanes, sigma: Lanes, phase: Lanes) -> Bundle {
        let mut bundle = Bundle { period, sigma, since: [0.0; LANES] };
        let n = self.steps.len();
        let from = if n <= SETTLE / 2 { 0 } else { n.saturating_sub(SETTLE) };
        let rounds = if n <= SETTLE / 2 { 2 } else { 1 };
        // The start is at the phase itself, before the first event that is settled on.
        let lead = if from == 0 { self.first } else { 0.0 };
        for (since, phase) in bundle.since.iter_mut().zip(phase) {
            *since = lead - phase;
        }
        for pass in 0..rounds {
            for (i, step) in self.steps.iter().enumerate().skip(from) {
                let step = if pass == 0 && i == from { 0.0 } else { *step };
                self.advance(&mut bundle, step);
            }
        }
        bundle
    }

    #[inline]
    fn advance(&self, bundle: &mut Bundle, step: f32) -> (Lanes, Lanes, Lanes) {
        let (mut error, mut count, mut near) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        for lane in 0..LANES {
            let x = bundle.since[lane] + step;
            let z = round(x / bundle.period[lane]);
            let e = x - z * bundle.period[lane];
            let d = e / bundle.sigma[lane];
            let g = exp(-0.5 * d * d);
            bundle.since[lane] = e - self.alpha * e * g;
            (error[lane], count[lane], near[lane]) = (e, z, g);
        }
        (error, count, near)
    }

    /// One round of the loop, event by event. With `single`, of two neighbours on one pulse the farther is not near it.
    pub(super) fn round(&self, mut bundle: Bundle, single: bool, steps: &mut Vec<Step>) {
        steps.clear();
        let mut index = [0.0; LANES];
        for step in &self.steps {
            let (error, count, near) = self.advance(&mut bundle, *step);
            for lane in 0..LANES {
                index[lane] += count[lane];
            }
            steps.push(Step { error, index, near });
        }
        if single {
            // Compared by what they were before any was taken away.
            let mut before = steps.first().map_or([0.0; LANES], |s| s.near);
            for i in 1..steps.len() {
                let now = steps[i].near;
                for lane in 0..LANES {
                    if steps[i].index[lane] == steps[i - 1].index[lane] {
                        let nearer = now[lane] >= before[lane];
                        let gone = if nearer { i - 1 } else { i };
                        steps[gone].near[lane] = 0.0;
                    }
                }
                before = now;
            }
        }
    }
}
