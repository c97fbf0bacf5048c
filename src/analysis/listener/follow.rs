//! Pulses that follow the attacks by correcting their phase, several of them side by side.
//!
//! For each event `t` in order, with the pulse at `ph`:
//! ```text
//! z = round((t - ph) / P - tie); ph += z P; index += z; e = t - ph; g = exp(-e^2 / (2 sigma^2)); ph += alpha e g
//! ```
//! (linear phase correction, Repp 2005, that gives less to an attack the farther it is). Kept is only `t - ph`, so that single
//! precision is enough for a loop of any length.

use super::evidence::Event;
use super::lanes::{LANES, Lanes, exp, round};
use super::params::Params;

/// Events on which a pulse settles before it is measured; two rounds of a shorter loop.
const SETTLING_EVENTS: usize = 128;

/// An attack halfway between two pulses belongs to the earlier one, and of two attacks as near to a pulse the later one is on it: by so
/// much more than rounding errors, so that these decide nothing.
const TIE_MARGIN: f32 = 1e-3;

/// Where a pulse starts; in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Start {
    pub(super) period: f32,
    pub(super) sigma: f32,
    pub(super) phase: f32,
}

/// A number of each start; the last one fills the lanes that are left.
fn lanes(starts: &[Start], of: fn(&Start) -> f32) -> Lanes {
    std::array::from_fn(|i| of(&starts[i.min(starts.len() - 1)]))
}

/// What a pulse was at an event: the distance to it in seconds, its number, and the bell `g` of the distance.
#[derive(Debug, Clone, Copy)]
pub(super) struct PulseStep {
    pub(super) error: Lanes,
    pub(super) index: Lanes,
    pub(super) bell: Lanes,
}

/// The events as steps of time, and their weights.
#[derive(Debug, Clone)]
pub(super) struct Course {
    pub(super) times: Vec<f32>,
    pub(super) weights: Vec<f32>,
    /// Seconds from the event before, round the loop.
    steps: Vec<f32>,
    alpha: f32,
}

impl Course {
    pub(super) fn new(events: &[Event], length: f64, params: &Params) -> Self {
        let before = |i: usize| if i == 0 { events[events.len() - 1].time - length } else { events[i - 1].time };
        Self {
            times: events.iter().map(|e| e.time as f32).collect(),
            weights: events.iter().map(|e| e.weight as f32).collect(),
            steps: (0..events.len()).map(|i| (events[i].time - before(i)) as f32).collect(),
            alpha: params.correction as f32,
        }
    }

    /// The distances to up to [`LANES`] pulses at the last event, settled.
    pub(super) fn settle(&self, starts: &[Start]) -> Lanes {
        let n = self.steps.len();
        let short = n <= SETTLING_EVENTS / 2;
        let from = if short { 0 } else { n.saturating_sub(SETTLING_EVENTS) };
        // The start is at the phase itself, before the first event that is settled on.
        let lead = if from == 0 { self.times[0] } else { 0.0 };
        let mut follower = Follower::new(starts, lanes(starts, |s| s.phase).map(|phase| lead - phase), self.alpha);
        let once_more = if short { &self.steps[..] } else { &[] };
        for step in [0.0].iter().chain(&self.steps[from + 1..]).chain(once_more) {
            follower.advance(*step);
        }
        follower.since
    }

    /// Follows up to [`LANES`] pulses once round the loop from where they have settled. If these have one part, of two neighbours on
    /// one pulse the farther one is not on it: its bell is 0.
    pub(super) fn follow(&self, starts: &[Start], settled: Lanes, parts: usize, out: &mut Vec<PulseStep>) {
        follow(self, starts, settled, parts, out);
    }

    /// The same inside of vector code, for what is counted meanwhile: the next event is waited for long enough to count this one.
    #[inline(always)]
    pub(super) fn follow_with(
        &self,
        starts: &[Start],
        settled: Lanes,
        parts: usize,
        out: &mut Vec<PulseStep>,
        count: &mut impl Count,
    ) {
        let mut follower = Follower::new(starts, settled, self.alpha);
        out.clear();
        out.reserve(self.steps.len());
        let mut index = [0.0; LANES];
        let mut before = [0.0; LANES];
        for event in 0..=self.steps.len() {
            if let Some(step) = self.steps.get(event) {
                let mut now = follower.advance(*step);
                index.iter_mut().zip(&now.index).for_each(|(sum, count)| *sum += count);
                now.index = index;
                let bell = now.bell;
                if let Some(last) = out.last_mut().filter(|_| parts == 1) {
                    for lane in 0..LANES {
                        let same = last.index[lane] == index[lane];
                        let nearer = bell[lane] * (1.0 + TIE_MARGIN) >= before[lane];
                        last.bell[lane] = if same && nearer { 0.0 } else { last.bell[lane] };
                        now.bell[lane] = if same && !nearer { 0.0 } else { bell[lane] };
                    }
                }
                // Compared by what they were before any was taken away.
                before = bell;
                out.push(now);
            } else {
                // The loop's return.
                index.iter_mut().zip(&out[0].index).for_each(|(sum, first)| *sum += first);
            }
            if event > 0 {
                count.add(event - 1, &out[event - 1], &index);
            }
        }
    }
}

/// What is counted while pulses are followed.
pub(super) trait Count {
    /// Adds an event with the numbers that the pulses have at the next one.
    fn add(&mut self, event: usize, step: &PulseStep, next: &Lanes);
}

impl Count for () {
    #[inline(always)]
    fn add(&mut self, _: usize, _: &PulseStep, _: &Lanes) {}
}

/// The state of up to [`LANES`] pulses that follow the attacks.
#[derive(Debug, Clone, Copy)]
struct Follower {
    period: Lanes,
    rate: Lanes,
    sharpness: Lanes,
    /// Seconds since the last pulse, as corrected.
    since: Lanes,
    alpha: f32,
}

impl Follower {
    fn new(starts: &[Start], since: Lanes, alpha: f32) -> Self {
        let period = lanes(starts, |s| s.period);
        Self { period, rate: period.map(|p| 1.0 / p), sharpness: lanes(starts, |s| 1.0 / s.sigma), since, alpha }
    }

    /// Goes on to the next event; `index` is the number of pulses passed.
    #[inline(always)]
    fn advance(&mut self, step: f32) -> PulseStep {
        let mut now = PulseStep { error: [0.0; LANES], index: [0.0; LANES], bell: [0.0; LANES] };
        for lane in 0..LANES {
            let x = self.since[lane] + step;
            let z = round(x * self.rate[lane] - TIE_MARGIN);
            let e = x - z * self.period[lane];
            let d = e * self.sharpness[lane];
            let g = exp(-0.5 * d * d);
            self.since[lane] = e - self.alpha * e * g;
            (now.error[lane], now.index[lane], now.bell[lane]) = (e, z, g);
        }
        now
    }
}

#[pulp::with_simd(follow = pulp::Arch::new())]
#[inline(always)]
fn follow_with<'a, S: pulp::Simd>(
    _: S,
    course: &'a Course,
    starts: &'a [Start],
    settled: Lanes,
    parts: usize,
    out: &'a mut Vec<PulseStep>,
) {
    course.follow_with(starts, settled, parts, out, &mut ());
}
