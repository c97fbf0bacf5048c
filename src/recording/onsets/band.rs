//! The bands in which an onset sounds, as a hint of the instrument.

use super::Onset;

/// A band of the energy of an onset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Band {
    /// 50 to 200 Hz: a kick drum, a low string.
    Low,
    /// 200 to 2700 Hz: a snare, a tom, most notes.
    Mid,
    /// Above: a hat, a cymbal.
    High,
}

/// Decibels of one band above another from which only the first one sounds. Measured on isolated drums of a General MIDI soundfont: a
/// kick has 17 dB (standard deviation 2) more in the low band than in the middle one, hats and a ride 11 to 13 dB more in the high
/// one; snare and toms have most in the middle one, which is 11 to 14 dB above the high one.
const LOW_ALONE: f32 = 12.0;
const HIGH_ALONE: f32 = 9.0;
/// Decibels above the middle band from which the low or the high one is the strongest.
const LOW_LEADS: f32 = 8.0;
const HIGH_LEADS: f32 = 2.0;
/// Decibels under the middle band down to which another instrument sounds in the low or the high one.
const LOW_SOUNDS: f32 = 4.0;
const HIGH_SOUNDS: f32 = 6.0;

impl Onset {
    /// The band that stands for it.
    pub fn band(&self) -> Band {
        if self.low_db - self.mid_db > LOW_LEADS && self.low_db >= self.high_db {
            Band::Low
        } else if self.high_db - self.mid_db > HIGH_LEADS {
            Band::High
        } else {
            Band::Mid
        }
    }

    /// Whether something begins in a band: at least in the one that stands for it.
    pub fn sounds_in(&self, band: Band) -> bool {
        let sounds = match band {
            Band::Low => self.low_db - self.mid_db > -LOW_SOUNDS,
            Band::Mid => self.low_db - self.mid_db < LOW_ALONE && self.high_db - self.mid_db < HIGH_ALONE,
            Band::High => self.high_db - self.mid_db > -HIGH_SOUNDS,
        };
        sounds || self.band() == band
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drums_sound_in_their_bands_alone_and_together() {
        let (low, mid, high) = (Band::Low, Band::Mid, Band::High);
        // The values of one drum are those measured; those of two are the sums of their energies.
        let rows: [(&str, [f32; 3], Band, &[Band]); 6] = [
            ("kick", [0.0, -17.0, -30.0], low, &[low]),
            ("snare", [-10.0, 0.0, -12.0], mid, &[mid]),
            ("hat", [-40.0, -12.0, 0.0], high, &[high]),
            ("kick and snare", [0.4, 0.1, -12.0], mid, &[low, mid]),
            ("kick and hat", [0.0, -10.8, 0.0], low, &[low, high]),
            ("snare and hat", [-10.0, 0.3, 0.3], mid, &[mid, high]),
        ];
        for (what, bands, leads, sounds) in rows {
            let onset = Onset::of_bands(0.0, bands);
            assert_eq!(onset.band(), leads, "{what}");
            let found: Vec<Band> = [low, mid, high].into_iter().filter(|b| onset.sounds_in(*b)).collect();
            assert_eq!(found, sounds, "{what}");
        }
    }
}
