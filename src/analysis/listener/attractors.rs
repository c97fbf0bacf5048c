//! Where followed pulses end up: every period is started at several phases, and starts that end on the same pulses are one.

use super::best_path::Windows;
use super::follow::{Course, PulseStep, Start};
use super::lanes::{LANES, Lanes, round};
use super::params::{Params, ROUNDING};
use super::pulse_posterior::{Tally, count};
use std::rc::Rc;

/// Two starts whose pulses end up nearer than this part of the period are one.
const PHASE_TOLERANCE: f32 = 0.12;
/// The first start, as a part of the step between starts: no simple fraction, so that no event of a grid lies halfway between pulses.
const FIRST_START: f64 = 0.381_966;
/// Starts per period, and in a loop of more events than that.
const STARTS: (u16, u16) = (8, 4);
const MAX_FINE_EVENTS: usize = 200;

/// A start whose pulses are not those of a better one.
#[derive(Debug, Clone)]
pub(super) struct Attractor<'a> {
    pub(super) start: Start,
    /// Where it has settled: the distance to it at the last event.
    pub(super) settled: f32,
    /// What was counted of its bundle, and its lane in that bundle.
    pub(super) tally: Rc<Tally<'a>>,
    pub(super) lane: usize,
    pub(super) pulses: f32,
    /// Phase of the pulses as a part of their mean period.
    pub(super) phase: f32,
    /// Weight on the pulses.
    gain: f32,
}

/// The attractors of pulses cut into `parts`, those with the most weight first.
pub(super) fn attractors<'a>(
    course: &'a Course,
    windows: &'a Windows,
    periods: &[f64],
    parts: usize,
    params: &Params,
) -> Vec<Attractor<'a>> {
    let per_period = if course.times.len() <= MAX_FINE_EVENTS { STARTS.0 } else { STARTS.1 };
    let start = |period: f64, i: u16| Start {
        period: period as f32,
        sigma: (params.follow_share * period / parts as f64 + params.follow_floor) as f32,
        phase: (period * (f64::from(i) + FIRST_START) / f64::from(per_period)) as f32,
    };
    let slow_enough = |p: &&f64| parts == 1 || **p / parts as f64 >= params.unfelt_cell * (1.0 - ROUNDING);
    let starts: Vec<Start> =
        periods.iter().filter(slow_enough).flat_map(|p| (0..per_period).map(move |i| start(*p, i))).collect();
    let mut all: Vec<Attractor> = Vec::with_capacity(starts.len());
    let mut steps = Vec::new();
    for bundle in starts.chunks(LANES) {
        let settled = course.settle(bundle);
        let tally = Rc::new(count(bundle, settled, parts, course, windows, params, &mut steps));
        let ends = bundle.iter().zip(measure(course, windows.length, &steps)).enumerate();
        all.extend(ends.map(|(lane, (start, End { pulses, phase, gain }))| {
            let tally = Rc::clone(&tally);
            Attractor { start: *start, settled: settled[lane], tally, lane, pulses, phase, gain }
        }));
    }
    all.retain(|a| a.pulses >= 1.0 && params.allows(windows.length / f64::from(a.pulses)));
    all.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let mut kept: Vec<Attractor> = Vec::new();
    for a in all {
        let is_same = |k: &Attractor| {
            let d = (a.phase - k.phase).abs();
            k.pulses == a.pulses && d.min(1.0 - d) < PHASE_TOLERANCE
        };
        if !kept.iter().any(is_same) {
            kept.push(a);
        }
    }
    kept
}

/// What a pulse has come to after a round.
struct End {
    pulses: f32,
    phase: f32,
    gain: f32,
}

/// How much weight each pulse gathers, and where it lies.
#[pulp::with_simd(measure = pulp::Arch::new())]
#[inline(always)]
fn measure_with<'a, S: pulp::Simd>(_: S, course: &'a Course, length: f64, steps: &'a [PulseStep]) -> [End; LANES] {
    let pulses = steps.last().map_or([0.0; LANES], |s| s.index);
    let rate: Lanes = pulses.map(|p| (f64::from(p) / length) as f32);
    let (mut gain, mut sum, mut weight, mut origin) =
        ([0.0_f32; LANES], [0.0_f32; LANES], [0.0_f32; LANES], [f32::NAN; LANES]);
    for ((step, time), c) in steps.iter().zip(&course.times).zip(&course.weights) {
        for i in 0..LANES {
            let g = step.bell[i] + 1e-9;
            let x = (time - step.error[i]) * rate[i] - step.index[i];
            origin[i] = if origin[i].is_nan() && g > 0.1 { x } else { origin[i] };
            let d = if origin[i].is_nan() { 0.0 } else { x - origin[i] };
            gain[i] += step.bell[i] * c;
            sum[i] += g * (d - round(d));
            weight[i] += g;
        }
    }
    std::array::from_fn(|i| {
        let origin = if origin[i].is_nan() { 0.0 } else { origin[i] };
        End {
            pulses: pulses[i],
            phase: (origin + sum[i] / weight[i].max(1e-9)).rem_euclid(1.0),
            // Coarse, so that equal gains are equal and the earlier start stays.
            gain: (gain[i] * 1e3).round(),
        }
    })
}
