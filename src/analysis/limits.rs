//! The limits of hearing that the analysis leans on, each with its unit, range and source.

/// One perceptual constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limit {
    pub(crate) value: f64,
    /// Least value the source gives.
    pub(crate) low: f64,
    /// Greatest value the source gives.
    pub(crate) high: f64,
    /// Where it comes from.
    pub(crate) source: &'static str,
}

macro_rules! limits {
    ($($name:ident: $what:literal, $value:literal, $low:literal, $high:literal, $unit:literal, $source:literal;)*) => {
        $(#[doc = concat!($what, ": ", $value, " ", $unit, " (", $source, ").")]
        pub(crate) const $name: Limit = Limit { value: $value, low: $low, high: $high, source: $source };)*
    };
}

limits! {
    FASTEST_CELL: "the fastest subdivision that can be felt", 100.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    EASY_CELL: "the shortest subdivision that is felt with ease", 130.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    FASTEST_BEAT: "the fastest pulse that can be a beat", 225.0, 200.0, 250.0, "ms", "London 2004, Hearing in Time, pp. 34-35";
    SLOWEST_BEAT: "the slowest pulse that can be kept without counting in between", 1800.0, 1500.0, 2000.0, "ms", "Repp 2006, Advances in Cognitive Psychology 2 (abstract only)";
    PULSE_TOLERANCE: "how far an attack may be from a pulse and still agree with it", 17.5, 17.5, 17.5, "percent of the period", "continuity tolerance of beat evaluation, Hainsworth 2004; Davies, Degara & Plumbley 2009";
    NOISE: "how far attacks may be from a pulse without being noticed as uneven", 5.0, 2.5, 6.0, "percent of the period", "Weber fraction of click rates, Frontiers in Psychology 2014 (abstract only)";
    TEMPO_CHANGE: "the smallest difference between two tempos that is noticed", 3.0, 1.5, 6.0, "percent", "Drake & Botte 1993, Perception & Psychophysics 54 (abstract only)";
    COINCIDENCE: "the longest gap at which two attacks are heard as one", 20.0, 20.0, 20.0, "ms", "Hirsh 1959, temporal order";
    TAP_SPREAD: "how far taps spread around a pulse that is followed", 5.0, 3.0, 8.0, "percent of the period", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory; the value is chosen by teeter";
    TAP_SPREAD_MIN: "how far taps spread at fast rates", 20.0, 10.0, 25.0, "ms", "Wing & Kristofferson 1973, Perception & Psychophysics 14, from memory; the value is chosen by teeter";
    TAP_EARLY: "how far before a pulse taps commonly fall", 80.0, 20.0, 80.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory: some tens of ms";
    TAP_FASTEST: "the shortest interval of tapping with one finger", 150.0, 100.0, 200.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory";
}

/// How one player listens: the published limits, with the fastest cell set to the player's own ear where asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The fastest subdivision this player feels, in ms, 20 to 1000.
    pub(crate) cell_ms: f64,
    /// How the player starts a section or a region.
    pub(crate) carry: Carry,
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
    pub(crate) fn with_cell(ms: f64) -> Option<Self> {
        (20.0..=1000.0).contains(&ms).then(|| Self { cell_ms: ms, ..Self::default() })
    }

    /// Limits from the user's settings, as far as they are set and in range.
    pub(crate) fn from_settings(cell_ms: Option<f64>, listens_cold: Option<bool>) -> Self {
        let carry = if listens_cold == Some(true) { Carry::Nothing } else { Carry::Pulse };
        Self { carry, ..cell_ms.and_then(Self::with_cell).unwrap_or_default() }
    }

    /// How well a subdivision of `ms` is felt, 0 to 1: nothing up to the fastest cell, all from the easy cell on, a straight
    /// line between. The easy cell keeps its published distance from the fastest one.
    pub(crate) fn feel(self, ms: f64) -> f64 {
        felt_share(ms, self.cell_ms, self.cell_ms * EASY_CELL.value / FASTEST_CELL.value)
    }
}

/// How well a cell is felt, 0 to 1: nothing up to `unfelt`, all from `felt` on.
pub(super) fn felt_share(cell: f64, unfelt: f64, felt: f64) -> f64 {
    // A cell of exactly the limit counts as too fast, also when it was computed a hair longer.
    let share = (cell - unfelt) / (felt - unfelt);
    if share < 1e-6 { 0.0 } else { share.min(1.0) }
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
