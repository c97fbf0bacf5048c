//! The limits of hearing that the analysis leans on, each with its unit, range and source. It must not know any groove.

/// One perceptual constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
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
        pub const $name: Limit = Limit { what: $what, value: $value, low: $low, high: $high, unit: $unit, source: $source };)*
        /// Every limit, in the order of the documentation.
        pub const ALL: &[Limit] = &[$($name),*];
    };
}

limits! {
    FASTEST_CELL: "the fastest subdivision that can be felt", 100.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    EASY_CELL: "the subdivision from which on it is felt with ease", 130.0, 100.0, 130.0, "ms", "London 2004, Hearing in Time, pp. 27-42";
    FASTEST_BEAT: "the fastest pulse that can be a beat", 225.0, 200.0, 250.0, "ms", "London 2004, Hearing in Time, pp. 34-35";
    SLOWEST_BEAT: "the slowest pulse that can be kept without counting between", 1800.0, 1500.0, 2000.0, "ms", "Repp 2006, Advances in Cognitive Psychology 2, abstract";
    AGREES: "how far an attack may stand from a pulse and agree with it", 17.5, 17.5, 17.5, "percent of the period", "continuity tolerance of beat evaluation, Hainsworth 2004; Davies, Degara & Plumbley 2009";
    NOISE: "how far attacks stand from a pulse without being noticed as uneven", 5.0, 2.5, 6.0, "percent of the period", "Weber fraction of click rates, Frontiers in Psychology 2014, abstract";
    SHIFT: "the least shift of one attack that is noticed", 2.5, 2.5, 2.5, "percent of the period", "Friberg & Sundberg 1995, JASA 98, abstract";
    SHIFT_LEAST: "the least shift of one attack that is noticed at fast rates", 6.0, 6.0, 6.0, "ms", "Friberg & Sundberg 1995, JASA 98, abstract";
    TEMPO_CHANGE: "the least difference of two tempos that is noticed", 3.0, 1.5, 6.0, "percent", "Drake & Botte 1993, Perception & Psychophysics 54, abstract";
    TOGETHER: "how close two attacks are taken as one", 20.0, 20.0, 20.0, "ms", "Hirsh 1959, temporal order";
    RESONANCE: "the rate at which a pulse is most salient", 2.0, 1.8, 2.0, "Hz", "van Noorden & Moelants 1999, Journal of New Music Research 28(1)";
    DAMPING: "the damping of the resonance", 1.0, 1.0, 1.5, "Hz squared", "van Noorden & Moelants 1999, formula from memory";
    TAP_SPREAD: "how far taps spread around a pulse that is followed", 5.0, 3.0, 8.0, "percent of the period", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory; the value is ours";
    TAP_SPREAD_MIN: "how far taps spread at fast rates", 20.0, 10.0, 25.0, "ms", "Wing & Kristofferson 1973, Perception & Psychophysics 14, from memory; the value is ours";
    TAP_EARLY: "how far before a pulse taps commonly fall", 80.0, 20.0, 80.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory: some tens of ms";
    TAP_FASTEST: "the fastest tapping with one finger", 150.0, 100.0, 200.0, "ms", "Repp 2005, Psychonomic Bulletin & Review 12(6), from memory";
}

/// The limits of one player: the published ones, with the fastest cell set to the player's own ear where asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The fastest subdivision this player feels, in ms, 20 to 1000.
    pub cell_ms: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { cell_ms: FASTEST_CELL.value }
    }
}

impl Limits {
    /// Limits with the player's own fastest cell in ms; `None` outside 20 to 1000.
    pub fn with_cell(ms: f64) -> Option<Self> {
        (20.0..=1000.0).contains(&ms).then_some(Self { cell_ms: ms })
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

/// Tempo salience of a pulse of `period_ms`, 0 to 1, 1 at the most salient period.
///
/// # Formula
/// ```text
/// R(f) = 1 / sqrt((f0^2 - f^2)^2 + b f^2) - 1 / sqrt(f0^4 + f^4),   salience = max(R(f), 0) / max over f of R
/// ```
/// with `f` = 1000 / period, `f0` = [`RESONANCE`], `b` = [`DAMPING`] (van Noorden & Moelants 1999). 0 for a period that is not positive.
pub fn salience(period_ms: f64) -> f64 {
    if period_ms.is_nan() || period_ms <= 0.0 {
        return 0.0;
    }
    (resonance(1000.0 / period_ms) / PEAK).clamp(0.0, 1.0)
}

/// The greatest value of the resonance curve with the constants above (at 1.915 Hz); a test searches for it anew.
const PEAK: f64 = 0.330_207_453;

fn resonance(f: f64) -> f64 {
    let f0 = RESONANCE.value;
    1.0 / ((f0 * f0 - f * f).powi(2) + DAMPING.value * f * f).sqrt() - 1.0 / (f0.powi(4) + f.powi(4)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_peak_of_the_resonance_is_the_greatest_value() {
        let greatest = (1..200_000).map(|i| resonance(f64::from(i) / 20_000.0)).fold(0.0, f64::max);
        assert!((greatest - PEAK).abs() < 1e-6, "{greatest}");
    }

    #[test]
    fn the_curve_peaks_and_halves_where_published() {
        // van Noorden & Moelants 1999, abstract: best fit 500-550 ms, half height about 400-800 ms.
        let peak =
            (300..1000).max_by(|a, b| salience(f64::from(*a)).total_cmp(&salience(f64::from(*b)))).expect("range");
        assert!((500..=550).contains(&peak), "{peak}");
        let half: Vec<i32> = (200..2000).filter(|ms| salience(f64::from(*ms)) >= 0.5).collect();
        assert!((390..=410).contains(&half[0]) && (700..=850).contains(half.last().expect("some")), "{half:?}");
    }

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
