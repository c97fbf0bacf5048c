//! The clock model of Povel & Essens 1985: accents of a ring and the clock that fits them best.

use super::Ring;

/// Weight of a tick on silence relative to one on an unaccented attack (Povel & Essens 1985, W = 4).
const SILENT_WEIGHT: u32 = 4;

/// A clock laid over a ring, and the evidence for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ClockFit {
    /// Pulses from tick to tick.
    pub(crate) unit: usize,
    /// First tick.
    pub(crate) start: usize,
    /// Ticks on accented attacks.
    pub(crate) accented: u32,
    /// Ticks on unaccented attacks.
    pub(crate) plain: u32,
    /// Ticks on silence.
    pub(crate) silent: u32,
    /// Counter-evidence: four times the silent ticks, and the unaccented ones.
    pub(crate) score: u32,
}

/// Which pulses are accented: isolated attacks, the second of two adjacent ones, the first and last of three or more. Runs
/// continue over the end of the cycle.
pub(crate) fn accented(ring: &Ring) -> Vec<bool> {
    let n = ring.pulses;
    let mut sounds = vec![false; n];
    ring.attacks.iter().for_each(|a| sounds[*a] = true);
    let mut accents = vec![false; n];
    for start in 0..n {
        if !sounds[start] || (sounds[(start + n - 1) % n] && ring.attacks.len() < n) {
            continue;
        }
        let length = (0..n).take_while(|i| sounds[(start + i) % n]).count();
        if length == n {
            // Without a gap no attack is accented.
            break;
        }
        match length {
            1 => accents[start] = true,
            2 => accents[(start + 1) % n] = true,
            _ => {
                accents[start] = true;
                accents[(start + length - 1) % n] = true;
            }
        }
    }
    accents
}

/// The clock of a unit and start with its evidence.
pub(super) fn clock(ring: &Ring, accents: &[bool], unit: usize, start: usize) -> ClockFit {
    let (mut accented, mut plain, mut silent) = (0, 0, 0);
    for tick in (start..ring.pulses).step_by(unit.max(1)) {
        if accents[tick] {
            accented += 1;
        } else if ring.attacks.binary_search(&tick).is_ok() {
            plain += 1;
        } else {
            silent += 1;
        }
    }
    ClockFit { unit, start, accented, plain, silent, score: SILENT_WEIGHT * silent + plain }
}

/// The clock of least counter-evidence among the units that divide the cycle and are smaller than half of it; of equally good
/// ones the one with the longest unit, then the earliest. `None` without such a unit.
pub(crate) fn best_clock(ring: &Ring) -> Option<ClockFit> {
    let accents = accented(ring);
    let n = ring.pulses;
    let units = (1..n.div_ceil(2)).filter(|u| n.is_multiple_of(*u));
    units
        .flat_map(|unit| (0..unit).map(move |start| (unit, start)))
        .map(|(unit, start)| clock(ring, &accents, unit, start))
        .min_by_key(|c| (c.score, std::cmp::Reverse(c.unit), c.start))
}
