//! What a kind of sound is called.
//!
//! An instrument is named only where the spectrum tells it from others. The bounds lie between the drums of teeter's own voices and
//! of two sample libraries, each struck alone; no source. Where two kinds might be the same instrument and neither is clearly more
//! like it, both have the name of their pitch.

use super::sound::Energies;
use crate::recording::onsets::{decibels_after, share_between, strengths};
use std::ops::{Range, RangeFrom};

/// A hat or cymbal has this share of its energy above so many hertz.
const HAT: (RangeFrom<f64>, f64) = (5_000.0.., 0.4);
/// Any high sound has this share above so many hertz.
const HIGH: (RangeFrom<f64>, f64) = (2_500.0.., 0.5);
/// A bass drum or low tom has this share below so many hertz, and any low sound that one.
const LOW_BELOW: f64 = 230.0;
const DRUM_LOW: f64 = 0.85;
const LOW: f64 = 0.5;
/// Decibels by which a drum dies away within about 50 ms, unlike a string.
const DRUM_DECAY: f64 = 1.5;
/// A snare drum has a tone and noise: at least so much of its energy between these frequencies, and above that one; unlike a tom it
/// has little at the bottom.
const SNARE_TONE: (Range<f64>, f64) = (150.0..350.0, 0.1);
const SNARE_NOISE: (RangeFrom<f64>, f64) = (800.0.., 0.04);
const SNARE_BOTTOM: (Range<f64>, f64) = (0.0..90.0, 0.05);
/// Bands by which the deepest of several low drums is deeper than the next if it is the bass drum.
const DEEPER: f64 = 0.4;
/// Decibels by which the driest of several high sounds dies away faster than the next if it is the hat.
const DRIER: f64 = 2.0;

/// What instrument a kind of sound suggests, or where it lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A bass drum.
    Kick,
    /// A snare drum.
    Snare,
    /// A hat, or a cymbal or shaker that sounds like one.
    Hat,
    /// Something low.
    Low,
    /// Something between low and high.
    Middle,
    /// Something high.
    High,
}

impl Role {
    /// The name of a layer of such sounds.
    pub fn name(self) -> &'static str {
        match self {
            Self::Kick => "kick",
            Self::Snare => "snare",
            Self::Hat => "hat",
            Self::Low => "low",
            Self::Middle => "middle",
            Self::High => "high",
        }
    }
}

/// A kind of sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prototype {
    /// Shares of the low, middle and high band.
    pub bands: [f64; 3],
    /// Suggested instrument.
    pub role: Role,
}

impl Prototype {
    /// Sounds of all kinds.
    pub(super) const ANY: Self = Self { bands: [1.0 / 3.0; 3], role: Role::Middle };

    /// Kinds with such energies.
    pub(super) fn of_kinds(kinds: &[Energies]) -> Vec<Self> {
        let prototype = |(energies, role): (&Energies, Role)| {
            let bands = strengths(energies);
            let sum: f64 = bands.iter().sum();
            Self { bands: bands.map(|band| band / sum.max(f64::MIN_POSITIVE)), role }
        };
        kinds.iter().zip(roles(kinds)).map(prototype).collect()
    }
}

/// What kinds that occur together are called.
fn roles(kinds: &[Energies]) -> Vec<Role> {
    let mut roles: Vec<Role> = kinds.iter().map(role).collect();
    keep_one(&mut roles, kinds, Role::Kick, Role::Low, |energies| depth(energies) / DEEPER);
    keep_one(&mut roles, kinds, Role::Hat, Role::High, |energies| -decibels_after(energies) / DRIER);
    roles
}

/// What a kind could be by itself.
fn role(energies: &Energies) -> Role {
    let above = |(hertz, share): &(RangeFrom<f64>, f64)| share_between(energies, hertz.start..f64::INFINITY) >= *share;
    let between = |hertz: &Range<f64>| share_between(energies, hertz.clone());
    let low = between(&(0.0..LOW_BELOW));
    let decay = -decibels_after(energies);
    let is_snare = between(&SNARE_TONE.0) >= SNARE_TONE.1
        && between(&SNARE_BOTTOM.0) <= SNARE_BOTTOM.1
        && above(&SNARE_NOISE)
        && decay >= DRUM_DECAY;
    if above(&HAT) {
        Role::Hat
    } else if low >= DRUM_LOW && decay >= DRUM_DECAY {
        Role::Kick
    } else if is_snare {
        Role::Snare
    } else if above(&HIGH) {
        Role::High
    } else if low >= LOW {
        Role::Low
    } else {
        Role::Middle
    }
}

/// How deep a low sound lies, in bands: 0 if all of its low energy is in the lowest one, and less the higher it lies.
fn depth(energies: &Energies) -> f64 {
    let bands = [0.0..90.0, 90.0..150.0, 150.0..LOW_BELOW].map(|hertz| share_between(energies, hertz));
    -(bands[1] + 2.0 * bands[2]) / bands.iter().sum::<f64>().max(f64::MIN_POSITIVE)
}

/// Of several kinds of one role, leaves it to the first by some measure if it leads by 1, and gives the others another one.
fn keep_one(roles: &mut [Role], kinds: &[Energies], role: Role, other: Role, measure: impl Fn(&Energies) -> f64) {
    let mut of_role: Vec<(f64, usize)> =
        (0..roles.len()).filter(|&kind| roles[kind] == role).map(|kind| (measure(&kinds[kind]), kind)).collect();
    of_role.sort_by(|a, b| b.0.total_cmp(&a.0));
    let is_clear = of_role.len() < 2 || of_role[0].0 - of_role[1].0 >= 1.0;
    of_role.iter().skip(usize::from(is_clear)).for_each(|&(_, kind)| roles[kind] = other);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::onsets::Timbre;

    /// Decibels per band while the sound lasts, and how many fewer there are just after.
    fn energies(decibels: [f64; 14], decay: f64) -> Energies {
        std::array::from_fn(|i| {
            let below = if i < 14 { 0.0 } else { decay };
            10_f64.powf((decibels[i % 14] - below) / 10.0)
        })
    }

    /// Drums of two sample libraries and voices of teeter, each struck alone.
    fn measured(name: &str) -> Energies {
        let (decibels, decay) = match name {
            "kick" => ([-9, 0, -8, -19, -25, -33, -42, -40, -39, -44, -50, -55, -64, -71], 3),
            "sampled kick" => ([0, -6, -9, -15, -21, -27, -37, -45, -50, -53, -62, -64, -69, -72], 5),
            "sampled tom" => ([-15, 0, -9, -17, -23, -29, -39, -45, -50, -55, -64, -67, -72, -76], 5),
            "tom" => ([-13, 0, -10, -17, -24, -31, -37, -35, -35, -38, -40, -41, -48, -48], 2),
            "snare" => ([-21, -15, 0, -9, -6, -19, -18, -15, -11, -9, -9, -7, -9, -10], 6),
            "sampled snare" => ([-24, -15, 0, -5, -11, -11, -16, -16, -17, -18, -17, -18, -27, -35], 11),
            "hat" => ([-90, -90, -90, -90, -90, -86, -72, -50, -32, -21, -13, -8, -3, 0], 14),
            "open-hat" => ([-90, -90, -90, -90, -90, -86, -72, -50, -32, -21, -13, -8, -3, 0], 5),
            "sampled ride" => ([-44, -36, -32, -23, -22, -22, -16, -17, -15, -7, -6, -8, -6, 0], 4),
            "crash" => ([-52, -47, -41, -28, -17, -11, -6, -3, 0, -2, -2, -3, -3, -3], 1),
            "sampled bass" => ([0, -2, -5, -11, -16, -27, -35, -36, -48, -57, -65, -71, -73, -83], -1),
            "clap" => ([-22, -24, -21, -18, -15, -10, -3, -1, 0, -5, -8, -10, -12, -15], -2),
            "cowbell" => ([-47, -40, -35, -28, -16, 0, -3, -15, -14, -22, -33, -35, -37, -37], 4),
            "pluck" => ([-33, -33, -18, -3, 0, -4, -6, -12, -8, -4, -10, -10, -12, -16], 1),
            other => panic!("no measurement of {other}"),
        };
        energies(decibels.map(f64::from), f64::from(decay))
    }

    fn roles_of(names: &[&str]) -> Vec<Role> {
        roles(&names.iter().map(|name| measured(name)).collect::<Vec<_>>())
    }

    #[test]
    fn instruments_are_named_where_the_spectrum_tells() {
        for (name, role) in [
            ("kick", Role::Kick),
            ("sampled kick", Role::Kick),
            ("snare", Role::Snare),
            ("sampled snare", Role::Snare),
            ("hat", Role::Hat),
            ("sampled ride", Role::Hat),
            ("crash", Role::High),
            ("sampled bass", Role::Low),
            ("clap", Role::Middle),
            ("cowbell", Role::Middle),
            ("pluck", Role::Middle),
        ] {
            assert_eq!(roles_of(&[name]), [role], "{name}");
        }
    }

    #[test]
    fn of_two_like_drums_neither_is_named_unless_one_leads() {
        assert_eq!(roles_of(&["sampled tom", "sampled kick", "snare"]), [Role::Low, Role::Kick, Role::Snare]);
        assert_eq!(roles_of(&["tom", "kick"]), [Role::Low, Role::Low]);
        assert_eq!(roles_of(&["open-hat", "hat"]), [Role::High, Role::Hat]);
        assert_eq!(roles_of(&["sampled ride", "open-hat"]), [Role::High, Role::High]);
    }

    #[test]
    fn three_bands_are_enough_for_a_name() {
        for (bands, role) in
            [([1.0, 0.2, 0.1], Role::Kick), ([0.3, 0.9, 0.7], Role::Snare), ([0.02, 0.15, 1.0], Role::Hat)]
        {
            assert_eq!(roles(&[Timbre::of_bands(bands).rise.map(f64::from)]), [role], "{bands:?}");
        }
    }
}
