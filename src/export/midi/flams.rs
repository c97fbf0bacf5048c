//! The grace strokes of flams: short, softer notes of the same key just before their attacks, inside the file.

use crate::notation::{Pass, general_midi};
use crate::rhythm::{FLAM_LEAD_MS, Fraction, Groove, Time};

/// A note of a track.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct TickNote {
    pub(super) start: u64,
    pub(super) end: u64,
    pub(super) key: u8,
    pub(super) velocity: u8,
    pub(super) release: u8,
    /// Ticks from its grace stroke, if it is a flam.
    pub(super) lead: Option<u64>,
}

fn to_f64(x: Fraction) -> f64 {
    x.numer() as f64 / x.denom() as f64
}

/// How many ticks before a time the grace stroke of a flam there sounds. Before the start of a pass, the tempo of the pass before
/// counts; the last pass comes before the first.
pub(super) fn lead(groove: &Groove, passes: &[Pass], at: Time, per_quarter: i64) -> u64 {
    let Some(last) = passes.len().checked_sub(1) else { return 0 };
    let pass = passes.partition_point(|p| p.start <= at).saturating_sub(1);
    let wholes_per_ms = |pass: usize| {
        let tempo = groove.sections()[passes[pass].section].tempo;
        to_f64(tempo.wholes_per_minute()) / 60_000.0
    };
    let (here, before) = (wholes_per_ms(pass), wholes_per_ms(pass.checked_sub(1).unwrap_or(last)));
    let within = at.minus(passes[pass].start).map_or(0.0, |t| to_f64(t.wholes()));
    let lead = f64::from(FLAM_LEAD_MS);
    let wholes = if within >= lead * here { lead * here } else { within + (lead - within / here) * before };
    (wholes * 4.0 * per_quarter as f64).round().max(1.0) as u64
}

/// Adds the grace strokes to a track of notes in order of time. One that would sound before the file sounds at its end, as in a
/// loop. It begins after the note before it has ended, or that note ends there; it is left out if there is no tick for it.
pub(super) fn add_grace_strokes(notes: &mut Vec<TickNote>, end: u64) {
    let count = notes.len();
    for i in 0..count {
        let note = notes[i];
        let Some(lead) = note.lead else { continue };
        let before = match i.checked_sub(1) {
            Some(before) => Some((before, note.start)),
            None if note.start >= lead => None,
            None => Some((count - 1, note.start + end)),
        };
        let (start, attack) = match before {
            None => (note.start - lead, note.start),
            Some((before, attack)) => {
                let other = &mut notes[before];
                let start = attack - lead.min((attack - other.start) / 2);
                if other.end < attack {
                    (start.max(other.end + 1), attack)
                } else {
                    other.end = start.min(other.end);
                    (start, attack)
                }
            }
        };
        if start >= attack {
            continue;
        }
        let velocity = general_midi::grace_velocity(note.velocity);
        let (start, grace_end) = if start >= end { (start - end, note.start) } else { (start, attack.min(end)) };
        notes.push(TickNote { start, end: grace_end, velocity, lead: None, ..note });
    }
    notes.sort_by_key(|n| n.start);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(start: u64, end: u64, lead: Option<u64>) -> TickNote {
        TickNote { start, end, key: 38, velocity: 80, release: 0, lead }
    }

    /// Start, end and velocity of the notes with their grace strokes, in a file of 960 ticks.
    fn played(mut notes: Vec<TickNote>) -> Vec<(u64, u64, u8)> {
        add_grace_strokes(&mut notes, 960);
        notes.iter().map(|n| (n.start, n.end, n.velocity)).collect()
    }

    #[test]
    fn a_grace_stroke_ends_at_its_attack_and_meets_no_other_note() {
        let rows = [
            (vec![note(0, 240, None), note(480, 960, Some(30))], vec![(0, 240, 80), (450, 480, 50), (480, 960, 80)]),
            // The note before is cut, and one that ends in between is not.
            (vec![note(0, 480, None), note(480, 960, Some(30))], vec![(0, 450, 80), (450, 480, 50), (480, 960, 80)]),
            (vec![note(0, 460, None), note(480, 960, Some(30))], vec![(0, 460, 80), (461, 480, 50), (480, 960, 80)]),
            // Attacks closer than the lead: half of the distance.
            (vec![note(0, 20, None), note(20, 40, Some(30))], vec![(0, 10, 80), (10, 20, 50), (20, 40, 80)]),
            (vec![note(0, 1, None), note(1, 40, Some(30))], vec![(0, 1, 80), (1, 40, 80)]),
            // At the start of the file: at its end.
            (vec![note(0, 240, Some(30)), note(480, 960, None)], vec![(0, 240, 80), (480, 930, 80), (930, 960, 50)]),
            (vec![note(0, 960, Some(30))], vec![(0, 930, 80), (930, 960, 50)]),
            (vec![note(10, 100, Some(30))], vec![(10, 100, 80), (940, 960, 50)]),
            (vec![note(40, 100, Some(30))], vec![(10, 40, 50), (40, 100, 80)]),
        ];
        for (notes, expected) in rows {
            assert_eq!(played(notes.clone()), expected, "{notes:?}");
        }
    }
}
