//! The posterior of one followed pulse. The density of a pulse, its cuts and its heads is a bell of the tolerance `sigma` round
//! each; its mean is taken over the loop:
//! ```text
//! lambda = rest + (wbeat - rest) g + (wcut - rest) h + (whead - wbeat) g [index = o mod q]
//! mean   = rest + ((wbeat - rest) + (s - 1)(wcut - rest) + (whead - wbeat)[q > 1] / q) b / P,   b = min(sigma sqrt(2 pi), P / s)
//! ```

use super::attractors::Attractor;
use super::best_path::Windows;
use super::follow::{Count, Course, PulseStep, Start};
use super::hypothesis::sum_of_logs;
use super::lanes::{LANES, Lanes, exp, ln, low_bits, round};
use super::params::Params;

/// A pulse of which the events stand off by more than this part of the period is an average one (ours, no source).
const MAX_EVEN_DEVIATION: f64 = 0.02;
/// An event with a bell above this is on a pulse.
pub(super) const MIN_HIT_BELL: f32 = 0.5;
/// Bars looked at: 1 to 4 pulses; their heads follow from sums by index modulo 12.
const BARS: [usize; 4] = [1, 2, 3, 4];
const INDEX_PERIOD: usize = 12;
/// Room for them, as a power of two.
const SLOTS: usize = 16;

/// A pulse that was followed once round the loop.
#[derive(Debug, Clone)]
pub(super) struct PulsePosterior {
    pub(super) start: Start,
    /// Where it has settled: the distance to it at the last event.
    pub(super) settled: f32,
    pub(super) parts: usize,
    pub(super) pulses: f32,
    /// Phase of the pulses as a part of their mean period.
    pub(super) phase: f64,
    /// Whether its pulses stand off an even stream, so that the events themselves are its pulses.
    pub(super) is_average: bool,
    /// Log posterior summed over bars.
    pub(super) log: f64,
    /// Log prior without bars, and the log likelihood without bars in each window and in the whole.
    pub(super) prior: f64,
    pub(super) shares: Vec<f64>,
}

/// The densities of up to [`LANES`] pulses.
#[derive(Debug)]
pub(super) struct Densities {
    rest: f32,
    beat: f32,
    cut: f32,
    head: f32,
    /// Seconds from cut to cut, their inverse, and that of the tolerance.
    spacing: Lanes,
    cells: Lanes,
    sharpness: Lanes,
    silent: f32,
    /// Mean without bars and its log, and what bars of one pulse would add to the mean.
    mean: [f64; LANES],
    log_mean: Lanes,
    of_heads: [f64; LANES],
}

impl Densities {
    pub(super) fn new(starts: &[Start], parts: usize, params: &Params) -> Self {
        let lane = |i: usize| &starts[i.min(starts.len() - 1)];
        let rest = (if parts == 1 { params.stray_weight } else { params.rest_weight }) as f32;
        let (beat, head) = (params.beat_weight as f32 - rest, (params.head_weight - params.beat_weight) as f32);
        let cut = if parts == 1 { 0.0 } else { params.cut_weight as f32 - rest };
        let share = |i: usize| bell(lane(i), parts) / f64::from(lane(i).period);
        let cuts = (parts - 1) as f64 * f64::from(cut);
        let mean: [f64; LANES] = std::array::from_fn(|i| f64::from(rest) + (f64::from(beat) + cuts) * share(i));
        Self {
            rest,
            beat,
            cut,
            head,
            spacing: std::array::from_fn(|i| lane(i).period / parts as f32),
            cells: std::array::from_fn(|i| parts as f32 / lane(i).period),
            sharpness: std::array::from_fn(|i| 1.0 / lane(i).sigma),
            silent: params.silent_beat_cost as f32,
            mean,
            log_mean: mean.map(|m| m.ln() as f32),
            of_heads: std::array::from_fn(|i| f64::from(head) * share(i)),
        }
    }

    /// Log density at an event, off the head of a bar and on it.
    #[inline(always)]
    fn logs(&self, step: &PulseStep) -> (Lanes, Lanes) {
        let (mut off, mut on) = ([0.0; LANES], [0.0; LANES]);
        for (density, bell) in off.iter_mut().zip(&step.bell) {
            *density = self.rest + self.beat * bell;
        }
        if self.cut != 0.0 {
            for (i, density) in off.iter_mut().enumerate() {
                let k = round(step.error[i] * self.cells[i]);
                let d = (step.error[i] - k * self.spacing[i]) * self.sharpness[i];
                let of_cut = if k == 0.0 { 0.0 } else { self.cut };
                *density += of_cut * exp(-0.5 * d * d);
            }
        }
        for i in 0..LANES {
            on[i] = ln(off[i] + self.head * step.bell[i]);
            off[i] = ln(off[i]);
        }
        (off, on)
    }

    /// An event's share of the log likelihood without bars: what it says, less the pulses left silent before the next one.
    #[inline(always)]
    fn share(&self, step: &PulseStep, weight: f32, off: &Lanes, next: &Lanes) -> Lanes {
        std::array::from_fn(|i| {
            weight * (off[i] - self.log_mean[i]) - self.silent * (next[i] - step.index[i] - 1.0).max(0.0)
        })
    }

    /// The shares of every event.
    pub(super) fn shares(&self, course: &Course, steps: &[PulseStep], mut each: impl FnMut(usize, &Lanes)) {
        let returned = std::array::from_fn(|i| steps[0].index[i] + steps[steps.len() - 1].index[i]);
        let next = steps[1..].iter().map(|s| &s.index).chain([&returned]);
        for (event, ((step, weight), next)) in steps.iter().zip(&course.weights).zip(next).enumerate() {
            each(event, &self.share(step, *weight, &self.logs(step).0, next));
        }
    }
}

/// Width in seconds of the bell round a pulse.
fn bell(start: &Start, parts: usize) -> f64 {
    (f64::from(start.sigma) * std::f64::consts::TAU.sqrt()).min(f64::from(start.period) / parts as f64)
}

/// What is counted of up to [`LANES`] pulses, event by event.
#[derive(Debug)]
pub(super) struct Tally<'a> {
    densities: Densities,
    course: &'a Course,
    windows: &'a Windows,
    /// Sums of the events' shares by window.
    shares: Vec<[f64; LANES]>,
    /// Weight times log density off heads, and what heads add, by index modulo 12.
    plain: [f64; LANES],
    heads: [[f64; SLOTS]; LANES],
    /// Weight on the pulse times squared distance, and the weight.
    squares: [f64; LANES],
    weight: [f64; LANES],
    /// Pulses that were hit, and the number of the last one.
    hit: Lanes,
    last: Lanes,
    /// The kernel values of the first event.
    first: Lanes,
}

impl Count for Tally<'_> {
    #[inline(always)]
    fn add(&mut self, event: usize, step: &PulseStep, next: &Lanes) {
        let weight = self.course.weights[event];
        let (off, on) = self.densities.logs(step);
        // Short loops with plain choices, so that they become vector code.
        let (index, bell, error) = (&step.index, &step.bell, &step.error);
        for i in 0..LANES {
            self.plain[i] += f64::from(weight * off[i]);
            self.squares[i] += f64::from(weight * bell[i] * error[i] * error[i]);
            self.weight[i] += f64::from(weight * bell[i]);
        }
        if event == 0 {
            self.first = *bell;
        }
        let mut slot = [0_u32; LANES];
        for i in 0..LANES {
            let hit = if bell[i] > MIN_HIT_BELL { 1.0 } else { 0.0 };
            self.hit[i] += if index[i] == self.last[i] { 0.0 } else { hit };
            self.last[i] = if bell[i] > MIN_HIT_BELL { index[i] } else { self.last[i] };
            let period = INDEX_PERIOD as f32;
            slot[i] = low_bits(index[i] - period * round((index[i] - 5.5) * (1.0 / period)));
        }
        for i in 0..LANES {
            self.heads[i][slot[i] as usize % SLOTS] += f64::from(weight * (on[i] - off[i]));
        }
        if !self.shares.is_empty() {
            self.windows.add(&mut self.shares, event, &self.densities.share(step, weight, &off, next));
        }
    }
}

/// Follows up to [`LANES`] pulses from where they have settled, and counts what the events say of each.
#[pulp::with_simd(follow = pulp::Arch::new())]
#[inline(always)]
fn follow_with<'a, 'b, S: pulp::Simd>(
    _: S,
    starts: &'b [Start],
    settled: Lanes,
    parts: usize,
    mut tally: Tally<'a>,
    steps: &'b mut Vec<PulseStep>,
) -> Tally<'a> {
    tally.course.follow_with(starts, settled, parts, steps, &mut tally);
    tally
}

/// Follows up to [`LANES`] pulses cut into `parts` from where they have settled; leaves their steps.
pub(super) fn count<'a>(
    starts: &[Start],
    settled: Lanes,
    parts: usize,
    course: &'a Course,
    windows: &'a Windows,
    params: &Params,
    steps: &mut Vec<PulseStep>,
) -> Tally<'a> {
    let tally = Tally {
        densities: Densities::new(starts, parts, params),
        course,
        windows,
        shares: vec![[0.0; LANES]; windows.count()],
        plain: [0.0; LANES],
        heads: [[0.0; SLOTS]; LANES],
        squares: [0.0; LANES],
        weight: [0.0; LANES],
        hit: [0.0; LANES],
        last: [f32::NAN; LANES],
        first: [0.0; LANES],
    };
    follow(starts, settled, parts, tally, steps)
}

impl PulsePosterior {
    /// The posterior of an attractor of pulses cut into `parts`; `weight` is that of all events.
    pub(super) fn new(a: &Attractor<'_>, parts: usize, weight: f64, length: f64, params: &Params) -> Self {
        let (c, i) = (&a.tally, a.lane);
        let period = f64::from(a.start.period);
        let mean_period = length / f64::from(a.pulses);
        let scale = params.present_length / length;
        let felt = if parts == 1 { 0.0 } else { params.feel(period / parts as f64).max(1e-3).ln() };
        let base = params.prior(mean_period)
            - params.silent_beat_cost * f64::from((a.pulses - c.hit[i]).max(0.0)) * scale
            + params.first_beat_bonus * f64::from(c.first[i])
            + felt
            - if parts == 3 { params.three_cost } else { 0.0 };
        let bell = bell(&a.start, parts);
        let mut logs = Vec::with_capacity(10);
        for bar in BARS {
            let mean = c.densities.mean[i] + if bar > 1 { c.densities.of_heads[i] / bar as f64 } else { 0.0 };
            let closes = (a.pulses as usize).is_multiple_of(bar);
            let constant = -weight * mean.ln() - if closes { 0.0 } else { params.change_cost };
            let prior = base
                - (bar as f64 * period / bell).ln()
                - if bar == 3 { params.three_cost } else { 0.0 }
                - if bar > 1 { params.bar_cost } else { 0.0 };
            for o in 0..bar {
                let heads: f64 =
                    if bar > 1 { c.heads[i][..INDEX_PERIOD].iter().skip(o).step_by(bar).sum() } else { 0.0 };
                logs.push((c.plain[i] + heads + constant) * scale + prior);
            }
        }
        Self {
            start: a.start,
            settled: a.settled,
            parts,
            pulses: a.pulses,
            phase: f64::from(a.phase),
            is_average: (c.squares[i] / c.weight[i].max(1e-9)).sqrt() > MAX_EVEN_DEVIATION * period,
            log: sum_of_logs(&logs),
            prior: params.prior(mean_period) - (period / bell).ln(),
            shares: c.shares.iter().map(|s| s[i]).collect(),
        }
    }
}
