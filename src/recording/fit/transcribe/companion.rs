//! Sounds that another one always accompanies: a steady layer goes on through the strokes of the others.
//!
//! A kick that never sounds without the hat looks like a kind of its own. Its bands cannot tell, since a sound may well be low and
//! bright. But if the hat plays before and after every such stroke at its usual distance, it can be expected to sound there too
//! (common practice, no source: a time-keeping layer is rarely interrupted for a stroke of another limb).

/// Distance before and after a stroke may differ by this share of it.
const TOLERANCE: f64 = 0.15;
/// A steady layer's strokes that have the next one at its usual distance, at least.
const STEADY: f64 = 0.4;
/// Strokes with a place of the steady layer on both sides, at least.
const CONTINUED: f64 = 0.6;
/// An onset may contain a sound if its strongest band has so much of the sound's usual strength there.
const ENOUGH: f64 = 0.5;
/// Fewest strokes of a layer that may be steady.
const MIN_STROKES: usize = 6;

/// A layer that may go on through the strokes of others.
#[derive(Debug, Clone)]
pub(super) struct Companion {
    /// Usual distance of its strokes, in seconds.
    distance: f64,
    /// Seconds of all onsets that may contain it, ascending, with their strength in its band.
    places: Vec<(f64, f64)>,
    band: usize,
    /// Least strength in that band.
    least: f64,
}

impl Companion {
    /// A layer with strokes alone at `alone`, and usual `bands`, among onsets with their bands. `None` if it is not steady.
    pub(super) fn new(alone: &[f64], bands: [f64; 3], onsets: &[(f64, [f64; 3])]) -> Option<Self> {
        let mut distances: Vec<f64> = alone.windows(2).map(|pair| pair[1] - pair[0]).collect();
        distances.sort_by(f64::total_cmp);
        // The distance that most others are near to.
        let near = |distance: f64| distances.iter().filter(|d| (*d / distance - 1.0).abs() < TOLERANCE).count();
        let distance = distances.iter().copied().max_by_key(|distance| near(*distance)).filter(|d| *d > 0.0)?;
        if alone.len() < MIN_STROKES || (near(distance) as f64) < STEADY * distances.len() as f64 {
            return None;
        }
        let band = super::prototype::strongest(bands);
        let least = ENOUGH * bands[band];
        let strengths = onsets.iter().map(|(seconds, found)| (*seconds, found[band]));
        let places = strengths.filter(|(_, strength)| *strength >= least).collect();
        Some(Self { distance, places, band, least })
    }

    /// Its strongest band.
    pub(super) fn band(&self) -> usize {
        self.band
    }

    /// The strength in its band that it has around strokes with such bands at `seconds`, if it goes on through them.
    pub(super) fn strength_through(&self, bands: [f64; 3], seconds: &[f64]) -> Option<f64> {
        let at = |place: f64| {
            let reach = TOLERANCE * self.distance;
            let next = self.places.partition_point(|p| p.0 < place - reach);
            self.places.get(next).filter(|p| p.0 < place + reach).map(|p| p.1)
        };
        let around: Vec<f64> =
            seconds.iter().filter_map(|t| Some([at(t - self.distance)?, at(t + self.distance)?])).flatten().collect();
        let goes_on = around.len() as f64 >= 2.0 * CONTINUED * seconds.len() as f64;
        if bands[self.band] >= self.least && goes_on { crate::recording::fit::onset::median(&around) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HAT: [f64; 3] = [0.02, 0.15, 1.0];
    const KICK: [f64; 3] = [1.0, 0.2, 0.1];
    const BRIGHT_KICK: [f64; 3] = [1.02, 0.35, 1.1];

    fn every(distance: f64, first: f64) -> Vec<f64> {
        (0..20).map(|i| first + f64::from(i) * distance).collect()
    }

    #[test]
    fn a_steady_layer_goes_on_through_strokes_that_leave_room_for_it() {
        let (hats, strokes) = (every(1.0, 0.5), every(1.0, 0.0));
        let mut onsets: Vec<(f64, [f64; 3])> = hats.iter().map(|t| (*t, HAT)).collect();
        onsets.extend(strokes.iter().map(|t| (*t, BRIGHT_KICK)));
        onsets.sort_by(|a, b| a.0.total_cmp(&b.0));
        let companion = Companion::new(&hats, HAT, &onsets).expect("steady");
        assert_eq!(companion.strength_through(BRIGHT_KICK, &strokes[1..19]), Some(1.1));
        assert_eq!(companion.strength_through(KICK, &strokes), None);
    }

    #[test]
    fn a_layer_between_the_strokes_does_not_sound_on_them() {
        // Bright strokes on every second beat, plain ones on the others: the layer is off the beat.
        let (hats, plain, bright) = (every(1.0, 0.5), every(2.0, 0.0), every(2.0, 1.0));
        let mut onsets: Vec<(f64, [f64; 3])> = hats.iter().map(|t| (*t, HAT)).collect();
        onsets.extend(plain.iter().map(|t| (*t, KICK)));
        onsets.extend(bright.iter().map(|t| (*t, BRIGHT_KICK)));
        onsets.sort_by(|a, b| a.0.total_cmp(&b.0));
        let companion = Companion::new(&hats, HAT, &onsets).expect("steady");
        assert_eq!(companion.strength_through(BRIGHT_KICK, &bright), None);
    }

    #[test]
    fn a_layer_without_a_usual_distance_is_no_companion() {
        let strokes: Vec<f64> = (0..12).map(|i| f64::from(i * i)).collect();
        assert!(Companion::new(&strokes, HAT, &[]).is_none());
    }
}
