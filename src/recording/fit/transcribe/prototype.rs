//! What a kind of sound is called.

use super::sound::Energies;
use crate::recording::onsets::strengths;

/// Decibels of the starting rule for roles. They fit isolated drums of one sample library.
const KICK_LOW: f64 = 8.0;
const HAT_HIGH: f64 = 2.0;
const TOM_LOW: f64 = -6.0;

/// What instrument a kind of sound suggests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Low.
    Kick,
    /// Middle, with little below.
    Snare,
    /// Middle and low.
    Tom,
    /// High: hats, cymbals, shakers.
    Hat,
}

/// A kind of sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prototype {
    /// Shares of the low, middle and high band.
    pub bands: [f64; 3],
    /// Suggested instrument. The rule was not validated on recordings.
    pub role: Role,
}

impl Prototype {
    /// A kind with such bands, as linear strengths.
    pub fn new(bands: [f64; 3]) -> Self {
        let sum: f64 = bands.iter().sum();
        let bands = if sum > 0.0 { bands.map(|band| band / sum) } else { [1.0 / 3.0; 3] };
        Self { bands, role: role(bands) }
    }

    /// A kind with such energies.
    pub(super) fn of_energies(energies: &Energies) -> Self {
        Self::new(strengths(energies))
    }
}

/// The instrument that the proportions of the bands suggest.
fn role([low, mid, high]: [f64; 3]) -> Role {
    let decibels = |a: f64, b: f64| 20.0 * (a.max(1e-9) / b.max(1e-9)).log10();
    if decibels(low, mid) > KICK_LOW {
        Role::Kick
    } else if decibels(high, mid) > HAT_HIGH {
        Role::Hat
    } else if decibels(low, mid) > TOM_LOW {
        Role::Tom
    } else {
        Role::Snare
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roles_follow_the_proportions_of_the_bands() {
        for (bands, role) in [
            ([1.0, 0.2, 0.1], Role::Kick),
            ([0.3, 0.9, 0.7], Role::Snare),
            ([0.7, 0.6, 0.2], Role::Tom),
            ([0.02, 0.15, 1.0], Role::Hat),
        ] {
            assert_eq!(Prototype::new(bands).role, role, "{bands:?}");
        }
    }
}
