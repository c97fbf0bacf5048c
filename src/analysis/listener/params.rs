//! The constants of the model as one value, so that a groove can be heard again with one of them changed.

use crate::analysis::limits::{self, Limits, listener as l};

/// In seconds, in pulses, or relative: more than rounding errors, so that these decide nothing, and far less than is heard.
pub(super) const ROUNDING: f64 = 1e-6;

/// The constants of the model; times in seconds, costs in nats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Params {
    pub(super) best_period: f64,
    pub(super) period_spread: f64,
    pub(super) shortest: f64,
    pub(super) longest: f64,
    pub(super) head: f64,
    pub(super) beat: f64,
    pub(super) cut: f64,
    pub(super) rest: f64,
    pub(super) stray_weight: f64,
    pub(super) accent: f64,
    pub(super) ghost: f64,
    pub(super) grouping: f64,
    pub(super) silent: f64,
    pub(super) first: f64,
    pub(super) unequal: f64,
    pub(super) swung: f64,
    pub(super) three: f64,
    pub(super) bar: f64,
    pub(super) odd: f64,
    pub(super) change: f64,
    pub(super) present: f64,
    pub(super) unfelt: f64,
    pub(super) felt: f64,
    pub(super) follow_share: f64,
    pub(super) follow_floor: f64,
    pub(super) correction: f64,
    pub(super) spread: f64,
    pub(super) skipped: f64,
    pub(super) stray: f64,
    pub(super) evenness: f64,
    pub(super) exact: f64,
    pub(super) shortest_cell: f64,
    pub(super) longest_cell: f64,
    pub(super) slowest_unit: f64,
    pub(super) longest_cycle: f64,
}

impl Default for Params {
    fn default() -> Self {
        Self::new(Limits::default())
    }
}

impl Params {
    /// The model's constants with the player's own fastest cell.
    pub(crate) fn new(limits: Limits) -> Self {
        let seconds = |c: l::Constant| c.value / 1000.0;
        let share = |c: l::Constant| c.value / 100.0;
        Self {
            best_period: seconds(l::MU),
            period_spread: l::SIGMA.value,
            shortest: seconds(l::SHORTEST_BEAT),
            longest: seconds(l::LONGEST_BEAT),
            head: l::HEAD_WEIGHT.value,
            beat: l::BEAT_WEIGHT.value,
            cut: l::CUT_WEIGHT.value,
            rest: l::REST_WEIGHT.value,
            stray_weight: l::STRAY_WEIGHT.value,
            accent: l::ACCENT.value,
            ghost: l::GHOST.value,
            grouping: l::GROUPING.value,
            silent: l::SILENT_BEAT.value,
            first: l::FIRST_BEAT.value,
            unequal: l::UNEQUAL_BEATS.value,
            swung: l::SWUNG_CUT.value,
            three: l::THREE.value,
            bar: l::BAR_LEVEL.value,
            odd: l::ODD_BAR.value,
            change: l::PULSE_CHANGE.value,
            present: seconds(l::PRESENT),
            unfelt: limits.cell_ms / 1000.0,
            felt: limits.cell_ms / 1000.0 * limits::EASY_CELL.value / limits::FASTEST_CELL.value,
            follow_share: share(l::FOLLOW_SHARE),
            follow_floor: seconds(l::FOLLOW_FLOOR),
            correction: l::CORRECTION.value,
            spread: share(l::INTERVAL_SPREAD),
            skipped: share(l::SKIPPED),
            stray: share(l::STRAY),
            evenness: l::EVENNESS.value,
            exact: seconds(l::EXACT_CELL),
            shortest_cell: seconds(l::SHORTEST_CELL),
            longest_cell: seconds(l::LONGEST_CELL),
            slowest_unit: seconds(l::SLOWEST_UNIT),
            longest_cycle: seconds(l::LONGEST_CYCLE),
        }
    }

    /// The same with every time multiplied by `factor`.
    #[must_use]
    #[cfg(test)]
    pub(crate) fn scaled(self, factor: f64) -> Self {
        Self {
            best_period: self.best_period * factor,
            shortest: self.shortest * factor,
            longest: self.longest * factor,
            present: self.present * factor,
            unfelt: self.unfelt * factor,
            felt: self.felt * factor,
            follow_floor: self.follow_floor * factor,
            exact: self.exact * factor,
            shortest_cell: self.shortest_cell * factor,
            longest_cell: self.longest_cell * factor,
            slowest_unit: self.slowest_unit * factor,
            longest_cycle: self.longest_cycle * factor,
            ..self
        }
    }

    /// How well cells of so many seconds are felt, 0 to 1.
    pub(super) fn feel(&self, cell: f64) -> f64 {
        let share = (cell - self.unfelt) / (self.felt - self.unfelt);
        // A cell of exactly the limit counts as too fast, also when it was computed a hair longer.
        if share < 1e-6 { 0.0 } else { share.min(1.0) }
    }

    /// Log prior of a beat of so many seconds: log-normal around the best period (Parncutt 1994, the shape).
    pub(super) fn prior(&self, period: f64) -> f64 {
        -0.5 * ((period / self.best_period).ln() / self.period_spread).powi(2)
    }

    /// Whether a beat may last so many seconds: 30 to 300 in a minute.
    pub(super) fn allows(&self, period: f64) -> bool {
        period >= self.shortest * (1.0 - ROUNDING) && period <= self.longest * (1.0 + ROUNDING)
    }
}
