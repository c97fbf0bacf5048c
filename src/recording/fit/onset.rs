//! The onsets of a recording.

use crate::recording::onsets::Timbre;

/// A stroke as it is heard in a recording.
///
/// Strengths are linear. Their scale does not matter as long as it is the same for the whole recording.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Onset {
    /// Seconds from the start of the recording.
    pub seconds: f64,
    /// Strength over all bands.
    pub strength: f64,
    /// Strength of the low band.
    pub low: f64,
    /// Strength of the middle band.
    pub mid: f64,
    /// Strength of the high band.
    pub high: f64,
    /// What it sounds like, more finely; not measured if unknown.
    pub timbre: Timbre,
}

impl Onset {
    /// Low, middle and high.
    pub fn bands(&self) -> [f64; 3] {
        [self.low, self.mid, self.high]
    }
}

/// The median of some numbers, the mean of the middle two of an even number of them; `None` without any.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    let upper = sorted.get(middle).copied()?;
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    Some(f64::midpoint(sorted[middle - 1], upper))
}

/// Seconds of all onsets.
pub(crate) fn seconds_of(onsets: &[Onset]) -> Vec<f64> {
    onsets.iter().map(|o| o.seconds).collect()
}

/// Strengths divided by their median and clipped, so that neither a single loud stroke nor many faint ones decide.
pub(crate) fn clipped_strengths(onsets: &[Onset], least: f64, most: f64) -> Vec<f64> {
    let strengths: Vec<f64> = onsets.iter().map(|o| o.strength).collect();
    let middle = median(&strengths).unwrap_or(1.0).max(f64::MIN_POSITIVE);
    strengths.iter().map(|s| (s / middle).clamp(least, most)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_number_is_the_mean_of_the_middle_two() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
    }

    #[test]
    fn strengths_are_clipped_about_their_median() {
        let onsets: Vec<Onset> =
            [1.0, 10.0, 10.0, 10.0, 90.0].map(|strength| Onset { strength, ..Onset::default() }).to_vec();
        assert_eq!(clipped_strengths(&onsets, 0.4, 2.0), vec![0.4, 1.0, 1.0, 1.0, 2.0]);
    }
}
