//! The constants of the model as one value, so that a groove can be heard again with one of them changed.

use crate::analysis::limits::{self, Limits};

/// In seconds, in pulses, or relative: more than rounding errors, so that these decide nothing, and far less than is heard.
pub(super) const ROUNDING: f64 = 1e-6;

fn ms(value: f64) -> f64 {
    value / 1000.0
}

fn percent(value: f64) -> f64 {
    value / 100.0
}

fn nats(value: f64) -> f64 {
    value
}

fn ratio(value: f64) -> f64 {
    value
}

/// Declares each constant with its value and unit, what it is, how firmly it is grounded, and where it comes from or what it was
/// chosen on: `Published` is within the range of a source, `Fitted` is chosen so that the model meets data, `Ours` is a judgement.
macro_rules! params {
    ($($name:ident: $unit:ident($value:literal), $what:literal, $status:ident, $source:literal;)*) => {
        /// The constants of the model, one set for every groove and every speed; times in seconds.
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub(crate) struct Params {
            $(#[doc = concat!($what, ": ", $value, " ", stringify!($unit), " (", stringify!($status), "; ", $source, ").")]
            pub(super) $name: f64,)*
            /// The longest cell that is not felt.
            pub(super) unfelt_cell: f64,
            /// The shortest cell that is felt with ease.
            pub(super) felt_cell: f64,
        }

        impl Params {
            /// The model's constants with the player's own fastest cell.
            pub(crate) fn new(limits: Limits) -> Self {
                Self {
                    $($name: $unit($value),)*
                    unfelt_cell: ms(limits.cell_ms),
                    felt_cell: ms(limits.cell_ms) * limits::EASY_CELL.value / limits::FASTEST_CELL.value,
                }
            }
        }
    };
}

params! {
    best_period: ms(550.0), "the preferred period of a beat", Published, "van Noorden & Moelants 1999: 500 to 550; Parncutt 1994: 600 to 700";
    period_spread: nats(0.4), "the spread of that preference, as a natural logarithm", Published, "Parncutt 1994, 0.2 in log10 is 0.46; rounded down";
    shortest_beat: ms(200.0), "the shortest period heard as a beat", Published, "London 2004: the fastest beat lasts 200 to 250";
    longest_beat: ms(2000.0), "the longest period heard as a beat", Published, "Fraisse 1982: 1500 to 2000";
    cell_tolerance: ms(6.0), "how far an attack may be from its cell", Published, "Friberg & Sundberg 1995, just noticeable below 240 ms";
    head_weight: ratio(8.0), "expected attacks at the start of a cycle", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
    beat_weight: ratio(4.0), "expected attacks on a beat", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
    cut_weight: ratio(2.0), "expected attacks on a subdivision of a beat", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
    rest_weight: ratio(1.0), "expected attacks elsewhere", Ours, "the unit of these expectations";
    stray_weight: ratio(0.3), "expected attacks off a followed pulse without subdivisions", Ours, "no source";
    accent_weight: ratio(2.0), "weight of an accented attack over a plain one", Ours, "no source";
    ghost_weight: ratio(0.4), "weight of a ghost attack over a plain one", Ours, "no source";
    grouping_weight: ratio(0.6), "weight added to an attack accented by grouping", Fitted, "where: Povel & Okkerman 1981; size on Povel & Essens 1985";
    low_voice_weight: ratio(1.5), "weight of a bass drum or bass", Ours, "direction of the effect: Hove et al. 2014, from memory";
    high_voice_weight: ratio(0.7), "weight of a hat, ride or shaker", Ours, "direction of the effect: Hove et al. 2014, from memory";
    silent_beat_cost: nats(1.3), "cost of a beat without an attack", Fitted, "Povel & Essens 1985 weigh silence; size on their patterns";
    first_beat_bonus: nats(2.0), "bonus for a beat on the first attack", Ours, "strong beat early, Lerdahl & Jackendoff 1983, MPR 2";
    unequal_beats_cost: nats(2.5), "cost of unequal beats", Fitted, "a few grooves and rotated patterns of Povel & Essens 1985";
    swung_cut_cost: nats(1.0), "cost of a beat divided into long and short", Ours, "no source";
    three_cost: nats(0.3), "cost of a division by three, of the beat or of the bar", Ours, "no source";
    bar_cost: nats(0.5), "cost of a bar above the beat", Ours, "no source";
    odd_bar_cost: nats(1.5), "cost of a bar of five or seven beats", Ours, "no source";
    change_cost: nats(5.0), "cost of a change of pulse", Fitted, "tap data and figures whose pulse changes";
    present_length: ms(4000.0), "how much of the past a listener weighs", Fitted, "psychological present of 3 to 8 s; tap data and Povel & Essens 1985";
    follow_share: percent(5.0), "tolerance of a followed pulse, part of its shortest interval", Ours, "no source";
    follow_floor: ms(20.0), "tolerance of a followed pulse, constant part", Ours, "no source";
    correction: ratio(0.5), "share of an asynchrony corrected at the next tap", Published, "Repp 2005: about 0.3 to 0.6, from memory";
    interval_spread: percent(20.0), "spread of intervals with one attack per pulse", Published, "van der Werff 2025: 20 to 25";
    skipped_share: percent(10.0), "share of intervals that hold two pulses", Ours, "no source";
    stray_share: percent(5.0), "share of intervals that hold no pulse", Ours, "no source";
    evenness_bonus: nats(0.5), "bonus per attack for an even stream over a random one", Fitted, "tap data and figures of fours and threes";
    shortest_cell: ms(40.0), "the shortest cell looked for", Ours, "no source";
    longest_cell: ms(260.0), "a cell above this is halved", Ours, "no source";
    slowest_unit: ms(500.0), "the slowest unit of unequal beats", Ours, "no source";
    longest_cycle: ms(6000.0), "the longest cycle of unequal beats", Ours, "no source";
}

impl Default for Params {
    fn default() -> Self {
        Self::new(Limits::default())
    }
}

impl Params {
    /// The same with every time multiplied by `factor`.
    #[must_use]
    #[cfg(test)]
    pub(crate) fn scaled(self, factor: f64) -> Self {
        Self {
            best_period: self.best_period * factor,
            shortest_beat: self.shortest_beat * factor,
            longest_beat: self.longest_beat * factor,
            present_length: self.present_length * factor,
            unfelt_cell: self.unfelt_cell * factor,
            felt_cell: self.felt_cell * factor,
            follow_floor: self.follow_floor * factor,
            cell_tolerance: self.cell_tolerance * factor,
            shortest_cell: self.shortest_cell * factor,
            longest_cell: self.longest_cell * factor,
            slowest_unit: self.slowest_unit * factor,
            longest_cycle: self.longest_cycle * factor,
            ..self
        }
    }

    /// How well cells of so many seconds are felt, 0 to 1.
    pub(super) fn feel(&self, cell: f64) -> f64 {
        limits::felt_share(cell, self.unfelt_cell, self.felt_cell)
    }

    /// Log prior of a beat of so many seconds: log-normal around the best period (Parncutt 1994, the shape).
    pub(super) fn prior(&self, period: f64) -> f64 {
        -0.5 * ((period / self.best_period).ln() / self.period_spread).powi(2)
    }

    /// Whether a beat may last so many seconds: 30 to 300 in a minute.
    pub(super) fn allows(&self, period: f64) -> bool {
        period >= self.shortest_beat * (1.0 - ROUNDING) && period <= self.longest_beat * (1.0 + ROUNDING)
    }
}
