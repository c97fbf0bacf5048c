//! The limits of hearing that the analysis leans on, each with its unit, range and source.

/// One perceptual constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limit {
    /// What it limits, in a few words.
    pub what: &'static str,
    /// The value used.
    pub value: f64,
    /// Least value the source gives.
    pub low: f64,
    /// Greatest value the source gives.
    pub high: f64,
    /// Unit of the three numbers.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

macro_rules! limits {
    ($($name:ident: $what:literal, $value:literal, $low:literal, $high:literal, $unit:literal, $source:literal;)*) => {
        $(#[doc = concat!($what, ": ", $value, " ", $unit, " (", $source, ").")]
        pub(crate) const $name: Limit = Limit { what: $what, value: $value, low: $low, high: $high, unit: $unit, source: $source };)*
    };
}

limits! {
    FASTEST_CELL: "the fastest subdivision that can be felt", 100.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    EASY_CELL: "the shortest subdivision that is felt with ease", 130.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    FASTEST_BEAT: "the fastest pulse that can be a beat", 225.0, 200.0, 250.0, "ms", "London 2004, Hearing in Time, pp. 34-35";
    SLOWEST_BEAT: "the slowest pulse that can be kept without counting in between", 1800.0, 1500.0, 2000.0, "ms", "Repp 2006, Advances in Cognitive Psychology 2, abstract";
    AGREES: "how far an attack may be from a pulse and still agree with it", 17.5, 17.5, 17.5, "percent of the period", "continuity tolerance of beat evaluation, Hainsworth 2004; Davies, Degara & Plumbley 2009";
    NOISE: "how far attacks may be from a pulse without being noticed as uneven", 5.0, 2.5, 6.0, "percent of the period", "Weber fraction of click rates, Frontiers in Psychology 2014, abstract";
    TEMPO_CHANGE: "the smallest difference between two tempos that is noticed", 3.0, 1.5, 6.0, "percent", "Drake & Botte 1993, Perception & Psychophysics 54, abstract";
    TOGETHER: "the longest gap at which two attacks are heard as one", 20.0, 20.0, 20.0, "ms", "Hirsh 1959, temporal order";
    TAP_SPREAD: "how far taps spread around a pulse that is followed", 5.0, 3.0, 8.0, "percent of the period", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory; the value is chosen by teeter";
    TAP_SPREAD_MIN: "how far taps spread at fast rates", 20.0, 10.0, 25.0, "ms", "Wing & Kristofferson 1973, Perception & Psychophysics 14, from memory; the value is chosen by teeter";
    TAP_EARLY: "how far before a pulse taps commonly fall", 80.0, 20.0, 80.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory: some tens of ms";
    TAP_FASTEST: "the shortest interval of tapping with one finger", 150.0, 100.0, 200.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory";
}

/// How one player listens: the published limits, with the fastest cell set to the player's own ear where asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The fastest subdivision this player feels, in ms, 20 to 1000.
    pub cell_ms: f64,
    /// How the player starts a section or a region.
    pub carry: Carry,
}

/// How the listener starts a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Carry {
    /// With the pulse heard before, which goes on unless another one is clearly likelier.
    #[default]
    Pulse,
    /// Without a pulse.
    Nothing,
}

impl Default for Limits {
    fn default() -> Self {
        Self { cell_ms: FASTEST_CELL.value, carry: Carry::Pulse }
    }
}

impl Limits {
    /// Limits with the player's own fastest cell in ms; `None` outside 20 to 1000.
    pub fn with_cell(ms: f64) -> Option<Self> {
        (20.0..=1000.0).contains(&ms).then(|| Self { cell_ms: ms, ..Self::default() })
    }

    /// Limits from the user's settings, as far as they are set and in range.
    pub(crate) fn from_settings(cell_ms: Option<f64>, listens_cold: Option<bool>) -> Self {
        let carry = if listens_cold == Some(true) { Carry::Nothing } else { Carry::Pulse };
        Self { carry, ..cell_ms.and_then(Self::with_cell).unwrap_or_default() }
    }

    /// How well a subdivision of `ms` is felt, 0 to 1: nothing up to the fastest cell, all from the easy cell on, a straight
    /// line between. The easy cell keeps its published distance from the fastest one.
    pub fn feel(self, ms: f64) -> f64 {
        let easy = self.cell_ms * EASY_CELL.value / FASTEST_CELL.value;
        // A cell of exactly the limit counts as too fast, also when it was computed a hair longer.
        let share = (ms - self.cell_ms) / (easy - self.cell_ms);
        if share < 1e-6 { 0.0 } else { share.min(1.0) }
    }
}

/// Constants of the listener model: one set for every groove and every speed.
pub(crate) mod listener {
    /// How firmly a constant is grounded.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub(crate) enum Status {
        /// Within the range a source gives.
        Published,
        /// Chosen so that the model meets data.
        Fitted,
        /// A judgement.
        Ours,
    }

    #[derive(Debug, Clone, Copy, PartialEq)]
    pub(crate) struct Constant {
        /// What it is, in a few words.
        pub what: &'static str,
        /// The value used.
        pub value: f64,
        /// Its unit.
        pub unit: &'static str,
        /// How firmly it is grounded.
        pub status: Status,
        /// Where it comes from, or what it was chosen on.
        pub source: &'static str,
    }

    macro_rules! constants {
        ($($name:ident: $what:literal, $value:literal, $unit:literal, $status:ident, $source:literal;)*) => {
            $(#[doc = concat!($what, ": ", $value, " ", $unit, " (", $source, ").")]
            pub(crate) const $name: Constant =
                Constant { what: $what, value: $value, unit: $unit, status: Status::$status, source: $source };)*
        };
    }

    constants! {
        MU: "the preferred period of a beat", 550.0, "ms", Published, "van Noorden & Moelants 1999: 500 to 550; Parncutt 1994: 600 to 700";
        SIGMA: "the spread of that preference", 0.4, "ln", Published, "Parncutt 1994, 0.2 in log10 is 0.46; rounded down";
        SHORTEST_BEAT: "the shortest period heard as a beat", 200.0, "ms", Published, "London 2004: the fastest beat lasts 200 to 250";
        LONGEST_BEAT: "the longest period heard as a beat", 2000.0, "ms", Published, "Fraisse 1982: 1500 to 2000";
        EXACT_CELL: "how far an attack may be from its cell", 6.0, "ms", Published, "Friberg & Sundberg 1995, just noticeable below 240 ms";
        HEAD_WEIGHT: "expected attacks at the start of a cycle", 8.0, "ratio", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
        BEAT_WEIGHT: "expected attacks on a beat", 4.0, "ratio", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
        CUT_WEIGHT: "expected attacks on a subdivision of a beat", 2.0, "ratio", Ours, "levels halve as in Lerdahl & Jackendoff 1983";
        REST_WEIGHT: "expected attacks elsewhere", 1.0, "ratio", Ours, "the unit of these expectations";
        STRAY_WEIGHT: "expected attacks off a followed pulse without subdivisions", 0.3, "ratio", Ours, "no source";
        ACCENT: "weight of an accented attack", 2.0, "plain attacks", Ours, "no source";
        GHOST: "weight of a ghost attack", 0.4, "plain attacks", Ours, "no source";
        GROUPING: "weight added to an attack accented by grouping", 0.6, "ratio", Fitted, "where: Povel & Okkerman 1981; size on Povel & Essens 1985";
        LOW_VOICE: "weight of a bass drum or bass", 1.5, "ratio", Ours, "direction of the effect: Hove et al. 2014, from memory";
        HIGH_VOICE: "weight of a hat or shaker", 0.7, "ratio", Ours, "direction of the effect: Hove et al. 2014, from memory";
        SILENT_BEAT: "cost of a beat without an attack", 1.3, "nats", Fitted, "Povel & Essens 1985 weigh silence; size on their patterns";
        FIRST_BEAT: "bonus for a beat on the first attack", 2.0, "nats", Ours, "strong beat early, Lerdahl & Jackendoff 1983, MPR 2";
        UNEQUAL_BEATS: "cost of unequal beats", 2.5, "nats", Fitted, "a few grooves and rotated patterns of Povel & Essens 1985";
        SWUNG_CUT: "cost of a beat divided into long and short", 1.0, "nats", Ours, "no source";
        THREE: "cost of a division by three, of the beat or of the bar", 0.3, "nats", Ours, "no source";
        BAR_LEVEL: "cost of a bar above the beat", 0.5, "nats", Ours, "no source";
        ODD_BAR: "cost of a bar of five or seven beats", 1.5, "nats", Ours, "no source";
        PULSE_CHANGE: "cost of a change of pulse", 5.0, "nats", Fitted, "tap data and figures whose pulse changes";
        PRESENT: "how much of the past a listener weighs", 4000.0, "ms", Fitted, "psychological present of 3 to 8 s; tap data and Povel & Essens 1985";
        FOLLOW_SHARE: "tolerance of a followed pulse, part of its shortest interval", 5.0, "percent", Ours, "no source";
        FOLLOW_FLOOR: "tolerance of a followed pulse, constant part", 20.0, "ms", Ours, "no source";
        CORRECTION: "share of an asynchrony corrected at the next tap", 0.5, "ratio", Published, "Repp 2005: about 0.3 to 0.6, from memory";
        INTERVAL_SPREAD: "spread of intervals with one attack per pulse", 20.0, "percent", Published, "van der Werff 2025: 20 to 25";
        SKIPPED: "share of intervals that hold two pulses", 10.0, "percent", Ours, "no source";
        STRAY: "share of intervals that hold no pulse", 5.0, "percent", Ours, "no source";
        EVENNESS: "bonus for an even stream over a random one", 0.5, "nats per attack", Fitted, "tap data and figures of fours and threes";
        SHORTEST_CELL: "the shortest cell looked for", 40.0, "ms", Ours, "no source";
        LONGEST_CELL: "a cell above this is halved", 260.0, "ms", Ours, "no source";
        SLOWEST_UNIT: "the slowest unit of unequal beats", 500.0, "ms", Ours, "no source";
        LONGEST_CYCLE: "the longest cycle of unequal beats", 6000.0, "ms", Ours, "no source";
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn feeling_runs_from_the_fastest_to_the_easy_cell() {
        let limits = Limits::default();
        assert_eq!(
            (limits.feel(60.0), limits.feel(100.0), limits.feel(130.0), limits.feel(400.0)),
            (0.0, 0.0, 1.0, 1.0)
        );
        assert!((limits.feel(115.0) - 0.5).abs() < 1e-6);
        assert_eq!(Limits::with_cell(5.0), None);
    }
}
