//! The clock model of Povel & Essens 1985: accents of a ring and the clock that fits them best.

use super::Ring;

/// Weight of a tick on silence against one on an unaccented attack (Povel & Essens 1985, W = 4).
const SILENT_WEIGHT: u32 = 4;

/// The clock that fits a ring best.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct BestClock {
    /// Pulses from tick to tick.
    pub unit: usize,
    /// First tick.
    pub start: usize,
    /// Ticks on accented attacks.
    pub accented: u32,
    /// Ticks on unaccented attacks.
    pub plain: u32,
    /// Ticks on silence.
    pub silent: u32,
    /// Counter-evidence: four times the silent ticks, and the unaccented ones.
    pub score: u32,
}

/// Which pulses carry an accent: isolated attacks, the second of two together, the first and last of three and more together;
/// runs are taken round the cycle.
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
            // No gap anywhere: no attack stands out.
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

/// Ticks of a clock on accented attacks, on unaccented ones and on silence.
#[cfg(test)]
pub(crate) fn evidence(ring: &Ring, unit: usize, start: usize) -> (u32, u32, u32) {
    let accents = accented(ring);
    count(ring, &accents, unit, start)
}

fn count(ring: &Ring, accents: &[bool], unit: usize, start: usize) -> (u32, u32, u32) {
    let mut found = (0, 0, 0);
    for tick in (start..ring.pulses).step_by(unit.max(1)) {
        if accents[tick] {
            found.0 += 1;
        } else if ring.attacks.binary_search(&tick).is_ok() {
            found.1 += 1;
        } else {
            found.2 += 1;
        }
    }
    found
}

/// The clock of least counter-evidence among the units that divide the cycle and are smaller than half of it; of equally good
/// ones the one with the longest unit, then the earliest. `None` if there is no such unit.
pub(crate) fn best_clock(ring: &Ring) -> Option<BestClock> {
    let accents = accented(ring);
    let n = ring.pulses;
    let units = (1..n.div_ceil(2)).filter(|u| n.is_multiple_of(*u));
    units
        .flat_map(|unit| (0..unit).map(move |start| (unit, start)))
        .map(|(unit, start)| {
            let (accented, plain, silent) = count(ring, &accents, unit, start);
            BestClock { unit, start, accented, plain, silent, score: SILENT_WEIGHT * silent + plain }
        })
        .min_by_key(|c| (c.score, std::cmp::Reverse(c.unit), c.start))
}
