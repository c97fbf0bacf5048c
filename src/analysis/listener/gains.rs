//! Counterfactuals: what the written beat would regain if one thing were not so. They do not add up; they give an order.

use super::input::Input;
use super::listen;
use super::speeds::in_parallel;

/// One thing that is not so in a counterfactual.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cause {
    /// The cells are too fast to be felt.
    FastCells,
    /// Nothing sounds on beats.
    SilentBeats,
    /// Accents and long gaps lie off the beat.
    Accents,
    /// The attacks form unequal beats.
    UnequalBeats,
    /// The first attack is off the beat.
    FirstAttack,
    /// The tempo is far from where a beat is felt best.
    Tempo,
    Layer(usize),
}

/// What P(written) regains without a cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gain {
    pub(crate) cause: Cause,
    /// P(written) without it less P(written), -1 to 1.
    pub(crate) gain: f64,
}

/// The gains of a groove, greatest first; empty if there is nothing to hear a pulse from.
pub(crate) fn gains(input: &Input) -> Vec<Gain> {
    let Some(base) = listen(input) else { return Vec::new() };
    let mut layers: Vec<usize> = input.attacks.iter().map(|a| a.layer).collect();
    layers.sort_unstable();
    layers.dedup();
    let mut beats: Vec<f64> = input.sections.iter().map(|s| s.meter.beat).collect();
    beats.sort_by(f64::total_cmp);
    let beat = beats.get(beats.len() / 2).copied().unwrap_or(1.0);
    let mut asked: Vec<(Cause, Input)> = Vec::new();
    let mut ask = |cause, change: &dyn Fn(&mut Input)| {
        let mut other = input.clone();
        change(&mut other);
        asked.push((cause, other));
    };
    ask(Cause::FastCells, &|i| {
        i.params.unfelt_cell /= 10.0;
        i.params.felt_cell /= 10.0;
    });
    ask(Cause::SilentBeats, &|i| i.params.silent_beat_cost = 0.0);
    ask(Cause::Accents, &|i| {
        (i.params.accent_weight, i.params.ghost_weight, i.params.grouping_weight) = (1.0, 1.0, 0.0);
    });
    ask(Cause::UnequalBeats, &|i| i.params.unequal_beats_cost = 99.0);
    ask(Cause::FirstAttack, &|i| i.params.first_beat_bonus = 0.0);
    ask(Cause::Tempo, &|i| i.params.best_period = beat / i.speed);
    if layers.len() > 1 {
        for &layer in &layers {
            asked.push((Cause::Layer(layer), input.clone().without(layer)));
        }
    }
    let gain =
        |(cause, other): &(Cause, Input)| Some(Gain { cause: *cause, gain: listen(other)?.written - base.written });
    let mut gains: Vec<Gain> = in_parallel(&asked, gain).into_iter().flatten().collect();
    gains.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    gains
}
