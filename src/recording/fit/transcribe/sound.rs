//! What onsets sound like, as energies that add up when sounds begin together.

use crate::recording::fit::onset::{Onset, median};
use crate::recording::onsets::{ENERGIES, Timbre};

/// One number per energy of a timbre.
pub(super) type Energies = [f64; ENERGIES];

/// Of the backgrounds of a recording, the share that is quieter than its noise.
const NOISE: f64 = 0.2;
/// Part of an onset's energy below which a band says nothing: what leaks from its loudest band.
const LEAK: f64 = 1e-4;
/// Part of the doubt in an energy that counts as energy of a typical sound, so that none is zero.
const TRACE: f64 = 1e-3;
/// So that quotients of nothing are 1.
const NOTHING: f64 = 1e-30;

/// What one onset sounds like.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sound {
    pub(super) seconds: f64,
    pub(super) energies: Energies,
    /// What may be wrong with each energy: the background may have risen or fallen by as much.
    pub(super) doubt: Energies,
}

impl Sound {
    /// Energy in all bands.
    pub(super) fn sum(&self) -> f64 {
        self.energies.iter().sum()
    }

    /// The energies, or what cannot be told from them.
    pub(super) fn heard(&self) -> Energies {
        std::array::from_fn(|band| self.energies[band] + self.doubt[band])
    }
}

/// The sounds of onsets.
pub(super) fn sounds(onsets: &[Onset]) -> Vec<Sound> {
    let timbre = |o: &Onset| if o.timbre.is_known() { o.timbre } else { Timbre::of_bands(o.bands()) };
    let timbres: Vec<Timbre> = onsets.iter().map(timbre).collect();
    let noise: Energies = std::array::from_fn(|band| {
        let mut levels: Vec<f32> = timbres.iter().map(|timbre| timbre.background[band]).collect();
        levels.sort_by(f32::total_cmp);
        levels.get((levels.len() as f64 * NOISE) as usize).copied().unwrap_or_default().into()
    });
    let sound = |(onset, timbre): (&Onset, &Timbre)| {
        let energies = timbre.rise.map(f64::from);
        let leak = LEAK * energies.iter().sum::<f64>() + NOTHING;
        let doubt = std::array::from_fn(|band| f64::from(timbre.background[band]) + noise[band] + leak);
        Sound { seconds: onset.seconds, energies, doubt }
    };
    onsets.iter().zip(&timbres).map(sound).collect()
}

/// The middle one of some sounds, band by band. Nothing without any.
pub(super) fn typical<'s>(sounds: &(impl Iterator<Item = &'s Sound> + Clone)) -> Sound {
    let middle = |of: &dyn Fn(&Sound) -> f64| median(&sounds.clone().map(of).collect::<Vec<_>>()).unwrap_or(NOTHING);
    let doubt: Energies = std::array::from_fn(|band| middle(&|sound| sound.doubt[band]));
    let energies = std::array::from_fn(|band| middle(&|sound| sound.energies[band]) + TRACE * doubt[band]);
    Sound { seconds: 0.0, energies, doubt }
}
