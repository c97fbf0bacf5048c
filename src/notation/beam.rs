//! Beams.

use super::{Note, Tuplet};
use crate::rhythm::{Accent, Time};

/// What a beam does at a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beam {
    /// It begins here.
    Begin,
    /// It comes from the note before and goes on.
    Continue,
    /// It ends here.
    End,
    /// A stub towards the next note.
    Forward,
    /// A stub towards the note before.
    Backward,
}

/// Where else than at its windows a bar's beams break.
#[derive(Debug, Clone, Copy)]
pub(super) enum Breaks<'a> {
    /// Nowhere.
    Windows,
    /// Before accented attacks.
    Accents,
    /// Before and after every group that a window would cut, which then has beams of its own across the windows. For each note the
    /// group it belongs to, from its attack to the next, in times of the bar, which it may begin before and end after.
    Groups(&'a [(Time, Time)]),
}

/// The window a note lies in: a tuplet is one of its own.
type Window = (Option<usize>, usize);

fn window(note: &Note, windows: &[Time]) -> Window {
    (note.tuplet, if note.tuplet.is_some() { 0 } else { windows.partition_point(|w| *w <= note.at) })
}

/// Lays the beams of a bar. Windows are the times where beams break.
pub(super) fn lay(notes: &mut [Note], tuplets: &[Tuplet], windows: &[Time], breaks: Breaks<'_>) {
    let mut chain: Vec<usize> = Vec::new();
    let mut before = None;
    // Whether the group before lies within one window.
    let mut whole_before = true;
    for i in 0..notes.len() {
        let note = &notes[i];
        let window = window(note, windows);
        let short = note.value.is_some_and(|v| v.flags() > 0);
        let (tied, attack) = note.sound.map_or((false, None), |s| (s.tied_from, (!s.tied_from).then_some(s.attack)));
        let mut apart = before != Some(window);
        match breaks {
            Breaks::Windows => {}
            Breaks::Accents => apart |= attack.is_some_and(|a| a.accent == Accent::Accent),
            Breaks::Groups(groups) => {
                let plain = note.tuplet.is_none() && before.is_some_and(|(tuplet, _): Window| tuplet.is_none());
                apart &= !(tied && plain);
                if note.sound.is_some() {
                    let whole = is_whole(notes, tuplets, i, groups[i], windows);
                    apart |= attack.is_some() && !(whole && whole_before);
                    whole_before = whole;
                }
            }
        }
        if !short || apart {
            close(notes, &mut chain, windows);
        }
        before = Some(window);
        if notes[i].tuplet.is_none() && chain.last().is_some_and(|last| silence(notes, *last, i) > eighth()) {
            close(notes, &mut chain, windows);
        }
        if short && notes[i].sound.is_some() {
            chain.push(i);
        }
    }
    close(notes, &mut chain, windows);
}

/// Whether a group lies within the window of a note of it.
fn is_whole(notes: &[Note], tuplets: &[Tuplet], i: usize, (from, to): (Time, Time), windows: &[Time]) -> bool {
    let (start, end) = match window(&notes[i], windows) {
        (Some(tuplet), _) => {
            let edge = |note: fn(&Tuplet) -> usize| tuplets.get(tuplet).and_then(|t| notes.get(note(t)));
            (edge(|t| t.first).map(|n| n.at), edge(|t| t.last).and_then(|n| n.at.plus(n.length)))
        }
        (None, next) => (next.checked_sub(1).map(|w| windows[w]), windows.get(next).copied()),
    };
    start.is_some_and(|s| s <= from) && end.is_some_and(|e| to <= e)
}

fn eighth() -> Time {
    Time::new(1, 8).expect("an eighth")
}

/// The rests between two notes: a beam does not run over more than an eighth of them, except in a tuplet.
fn silence(notes: &[Note], from: usize, to: usize) -> Time {
    notes[from + 1..to].iter().fold(Time::ZERO, |sum, n| sum.plus(n.length).unwrap_or(sum))
}

fn close(notes: &mut [Note], chain: &mut Vec<usize>, windows: &[Time]) {
    let chain = std::mem::take(chain);
    if chain.len() < 2 {
        return;
    }
    let flags = |notes: &[Note], i: usize| notes[i].value.map_or(0, super::Value::flags);
    for (k, &i) in chain.iter().enumerate() {
        let mut beams = Vec::new();
        for level in 1..=flags(notes, i) {
            let joined = |a: usize, b: usize| {
                let both = flags(notes, a) >= level && flags(notes, b) >= level;
                let between = (a + 1..b).all(|r| flags(notes, r) >= level || level == 1);
                both && between && (level == 1 || !broken(&notes[a], &notes[b], level, windows))
            };
            let from = k > 0 && joined(chain[k - 1], i);
            let to = k + 1 < chain.len() && joined(i, chain[k + 1]);
            beams.push(match (from, to) {
                (true, true) => Beam::Continue,
                (false, true) => Beam::Begin,
                (true, false) => Beam::End,
                (false, false) => stub(notes, &chain, k),
            });
        }
        notes[i].beams = beams;
    }
}

/// In a window longer than three eighths sixteenths break at quarters; shorter values break at eighths everywhere, so that a long
/// beam can be counted.
fn broken(a: &Note, b: &Note, level: usize, windows: &[Time]) -> bool {
    if a.tuplet.is_some() {
        return false;
    }
    let time = |n, d| Time::new(n, d).expect("positive");
    let next = windows.partition_point(|w| *w <= a.at);
    let start = next.checked_sub(1).map_or(Time::ZERO, |i| windows[i]);
    let length = windows.get(next).and_then(|end| end.minus(start)).unwrap_or(Time::ZERO);
    if level == 2 && length <= time(3, 8) {
        return false;
    }
    let size = time(1, if level == 2 { 4 } else { 8 });
    let step = |n: &Note| n.at.minus(start).and_then(|t| t.ratio_to(size)).map(crate::rhythm::Fraction::floor);
    step(a) != step(b)
}

/// A lone stub points to the neighbour in whose half it lies: forward from an even place of its own value, else backward.
fn stub(notes: &[Note], chain: &[usize], k: usize) -> Beam {
    if k == 0 {
        return Beam::Forward;
    }
    if k + 1 == chain.len() {
        return Beam::Backward;
    }
    let note = &notes[chain[k]];
    let even = note.at.ratio_to(note.length).is_some_and(|r| r.denom() == 1 && r.numer() % 2 == 0);
    if even { Beam::Forward } else { Beam::Backward }
}
