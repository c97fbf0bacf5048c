//! Groups notes under beams.

use super::{Note, Tuplet};
use crate::rhythm::{Accent, Time};

/// The state of a beam at a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beam {
    Begin,
    Continue,
    End,
    /// A stub towards the next note.
    Forward,
    /// A stub towards the previous note.
    Backward,
}

/// Where the beams of a bar break, apart from the borders of windows.
#[derive(Debug, Clone, Copy)]
pub(super) enum Breaks<'a> {
    Windows,
    /// Before accented attacks.
    Accents,
    /// Before and after every group that crosses a window's border; its beams cross the border too and extend over its rests. For each
    /// note its group, from one attack to the next, in times of the bar, which it may exceed on both sides.
    Groups(&'a [(Time, Time)]),
}

/// The index of a tuplet, or else that of the window after the note.
type Window = (Option<usize>, usize);

fn window(note: &Note, windows: &[Time]) -> Window {
    (note.tuplet, if note.tuplet.is_some() { 0 } else { windows.partition_point(|w| *w <= note.start) })
}

/// Sets the beams of a bar. Beams break at the times of `windows`.
pub(super) fn set_beams(notes: &mut [Note], tuplets: &[Tuplet], windows: &[Time], breaks: Breaks<'_>) {
    let mut chain: Vec<usize> = Vec::new();
    let mut before = None;
    // Whether the previous group lies within one window.
    let mut was_whole = true;
    for i in 0..notes.len() {
        let note = &notes[i];
        let window = window(note, windows);
        let short = note.value.is_some_and(|v| v.flags() > 0);
        let (tied, attack) = note.sound.map_or((false, None), |s| (s.tied_from, (!s.tied_from).then_some(s.attack)));
        let mut breaks_here = before != Some(window);
        let mut extends_beam = false;
        match breaks {
            Breaks::Windows => {}
            Breaks::Accents => breaks_here |= attack.is_some_and(|a| a.accent == Accent::Accent),
            Breaks::Groups(groups) => {
                let plain = note.tuplet.is_none() && before.is_some_and(|(tuplet, _): Window| tuplet.is_none());
                // A rest of a group that has its own beam.
                extends_beam = note.sound.is_none() && !was_whole;
                breaks_here &= !((tied || extends_beam) && plain);
                if note.sound.is_some() {
                    let whole = is_whole(notes, tuplets, i, groups[i], windows);
                    breaks_here |= attack.is_some() && !(whole && was_whole);
                    was_whole = whole;
                }
            }
        }
        if !short || breaks_here {
            join(notes, &mut chain, windows);
        }
        before = Some(window);
        if notes[i].tuplet.is_none() && chain.last().is_some_and(|last| rests_between(notes, *last, i) > time(1, 8)) {
            join(notes, &mut chain, windows);
        }
        if short && (notes[i].sound.is_some() || extends_beam && !chain.is_empty()) {
            chain.push(i);
        }
    }
    join(notes, &mut chain, windows);
}

/// Whether a group lies within the window of its note `i`.
fn is_whole(notes: &[Note], tuplets: &[Tuplet], i: usize, (from, to): (Time, Time), windows: &[Time]) -> bool {
    let (start, end) = match window(&notes[i], windows) {
        (Some(tuplet), _) => {
            let edge = |note: fn(&Tuplet) -> usize| tuplets.get(tuplet).and_then(|t| notes.get(note(t)));
            (edge(|t| t.first).map(|n| n.start), edge(|t| t.last).and_then(|n| n.start.plus(n.length)))
        }
        (None, next) => (next.checked_sub(1).map(|w| windows[w]), windows.get(next).copied()),
    };
    start.is_some_and(|s| s <= from) && end.is_some_and(|e| to <= e)
}

fn time(numer: i64, denom: i64) -> Time {
    Time::new(numer, denom).expect("the denominator is positive")
}

/// The total length of the rests between two notes. Outside a tuplet a beam spans at most an eighth of rests.
fn rests_between(notes: &[Note], from: usize, to: usize) -> Time {
    notes[from + 1..to].iter().fold(Time::ZERO, |sum, n| sum.plus(n.length).unwrap_or(sum))
}

/// Joins the notes of a chain under beams, and empties it.
fn join(notes: &mut [Note], chain: &mut Vec<usize>, windows: &[Time]) {
    let chain = std::mem::take(chain);
    if chain.len() < 2 {
        return;
    }
    // Only the first beam extends over the rests at the end.
    let last_note = chain.iter().copied().rfind(|i| notes[*i].sound.is_some());
    let flags = |notes: &[Note], i: usize| {
        let flags = notes[i].value.map_or(0, super::NoteValue::flags);
        if Some(i) > last_note { flags.min(1) } else { flags }
    };
    for (k, &i) in chain.iter().enumerate() {
        let mut beams = Vec::new();
        for level in 1..=flags(notes, i) {
            let are_joined = |a: usize, b: usize| {
                let both = flags(notes, a) >= level && flags(notes, b) >= level;
                let no_gap = (a + 1..b).all(|r| flags(notes, r) >= level || level == 1);
                both && no_gap && (level == 1 || !is_broken(&notes[a], &notes[b], level, windows))
            };
            let from = k > 0 && are_joined(chain[k - 1], i);
            let to = k + 1 < chain.len() && are_joined(i, chain[k + 1]);
            beams.push(match (from, to) {
                (true, true) => Beam::Continue,
                (false, true) => Beam::Begin,
                (true, false) => Beam::End,
                // A rest has no stub.
                (false, false) if notes[i].sound.is_none() => break,
                (false, false) => stub(notes, &chain, k),
            });
        }
        notes[i].beams = beams;
    }
}

/// Whether a secondary beam breaks between two notes: in a window longer than three eighths the second beam breaks at quarters, and
/// further beams break at eighths everywhere, so that long beams can be counted.
fn is_broken(a: &Note, b: &Note, level: usize, windows: &[Time]) -> bool {
    if a.tuplet.is_some() {
        return false;
    }
    let next = windows.partition_point(|w| *w <= a.start);
    let start = next.checked_sub(1).map_or(Time::ZERO, |i| windows[i]);
    let length = windows.get(next).and_then(|end| end.minus(start)).unwrap_or(Time::ZERO);
    if level == 2 && length <= time(3, 8) {
        return false;
    }
    let size = time(1, if level == 2 { 4 } else { 8 });
    let step = |n: &Note| n.start.minus(start).and_then(|t| t.ratio_to(size)).map(crate::rhythm::Fraction::floor);
    step(a) != step(b)
}

/// The direction of a stub: forward from an even multiple of its own value, else backward.
fn stub(notes: &[Note], chain: &[usize], k: usize) -> Beam {
    if k == 0 {
        return Beam::Forward;
    }
    if k + 1 == chain.len() {
        return Beam::Backward;
    }
    let note = &notes[chain[k]];
    let even = note.start.ratio_to(note.length).is_some_and(|r| r.denom() == 1 && r.numer() % 2 == 0);
    if even { Beam::Forward } else { Beam::Backward }
}
