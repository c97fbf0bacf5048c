//! Finds the flams of a MIDI track: a grace stroke and its attack become one note.

use super::read::{Song, TickNote};
use crate::notation::general_midi;

/// Greatest distance of a grace stroke from its attack in another program's file, in ms, and the share of the attack's velocity that
/// it has at most (ours, no source).
const MAX_LEAD_MS: u128 = 40;
const MAX_VELOCITY: (u16, u16) = (4, 5);

/// The notes of a layer that this program wrote: a grace stroke has a velocity of its own, and ends at its attack, or at the end of
/// the file if its attack is the first. A note that it cut is as long again as before.
pub(super) fn of_layer(notes: &[TickNote], end: u64) -> Vec<TickNote> {
    let is_grace = |grace: &TickNote, attack: &TickNote, at: u64| {
        let level = general_midi::velocity(general_midi::accent(attack.velocity));
        grace.key == attack.key && grace.end == at && grace.velocity == general_midi::grace_velocity(level)
    };
    let mut folded: Vec<TickNote> = Vec::with_capacity(notes.len());
    let mut is_next_flam = false;
    for (i, note) in notes.iter().enumerate() {
        is_next_flam = match (notes.get(i + 1), folded.first_mut()) {
            (Some(next), _) if is_grace(note, next, next.start) => true,
            (None, Some(first)) if is_grace(note, first, end) => {
                first.flam = true;
                true
            }
            _ => {
                folded.push(TickNote { flam: is_next_flam, ..*note });
                false
            }
        };
        if let Some(cut) = folded.last_mut().filter(|before| is_next_flam && before.end == note.start) {
            cut.end = note.end;
        }
    }
    folded
}

/// The notes of another program's track, and how many flams were found: a softer note at most 40 ms before another of its key, which
/// is a flam only if no third note of that key is as close to either.
pub(super) fn of_track(notes: &[TickNote], song: &Song) -> (Vec<TickNote>, usize) {
    let mut order: Vec<usize> = (0..notes.len()).collect();
    order.sort_by_key(|i| (notes[*i].key, notes[*i].start));
    let is_close = |a: usize, b: usize| notes[a].key == notes[b].key && is_within_lead(song, notes[a], notes[b]);
    let mut folded = notes.to_vec();
    let mut graces = Vec::new();
    for (n, pair) in order.windows(2).enumerate() {
        let [grace, attack] = [pair[0], pair[1]];
        let is_softer =
            u16::from(notes[grace].velocity) * MAX_VELOCITY.1 <= u16::from(notes[attack].velocity) * MAX_VELOCITY.0;
        let follows = n.checked_sub(1).is_some_and(|before| is_close(order[before], grace));
        let precedes = order.get(n + 2).is_some_and(|after| is_close(attack, *after));
        let is_apart = notes[grace].start < notes[attack].start;
        if is_softer && is_apart && is_close(grace, attack) && !follows && !precedes {
            folded[attack].flam = true;
            graces.push(grace);
        }
    }
    graces.sort_unstable();
    let kept = folded.into_iter().enumerate().filter(|(i, _)| graces.binary_search(i).is_err()).map(|(_, n)| n);
    (kept.collect(), graces.len())
}

fn is_within_lead(song: &Song, first: TickNote, second: TickNote) -> bool {
    let known = song.tempos.range(..=first.start).next_back().map(|t| *t.1).filter(|us| *us > 0);
    let us = if song.counts_smpte_frames { None } else { known }.unwrap_or(500_000);
    let Some(per_quarter) = song.ticks_per_quarter else { return false };
    let distance = u128::from(second.start.saturating_sub(first.start)) * u128::from(us);
    let (numer, denom) = (per_quarter.numer().unsigned_abs(), per_quarter.denom().unsigned_abs());
    distance.saturating_mul(u128::from(denom)) <= MAX_LEAD_MS * 1000 * u128::from(numer)
}
