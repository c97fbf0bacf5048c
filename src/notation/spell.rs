//! Spells a layer's cells in one section as bars of notes.

use super::beam::Breaks;
use super::names::Names;
use super::pitch::Signs;
use super::tree::{Node, windows};
use super::value::{Value, reachable};
use super::{Bar, Beaming, Note, Strike, Tuplet, beam, cut};
use crate::notation::FormatError;
use crate::rhythm::{Groove, MeterKind, PartContext, Pitch, SoundedAttack, Time};

/// A stretch of a bar in which one attack sounds, or none.
#[derive(Debug, Clone, Copy)]
struct Run {
    from: Time,
    to: Time,
    /// Index into the section's attacks.
    attack: Option<usize>,
}

/// A stretch of a bar that is written plain (`tuplet` is `None`) or as one tuplet: its cells and its unit.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    from: Time,
    to: Time,
    tuplet: Option<(u16, u16, Value)>,
}

/// A note or rest before ties and beams are known.
struct Draft {
    at: Time,
    length: Time,
    value: Option<Value>,
    attack: Option<usize>,
    tuplet: Option<usize>,
}

fn less(a: Time, b: Time) -> Time {
    a.minus(b).expect("times of a section are bounded")
}

fn more(a: Time, b: Time) -> Time {
    a.plus(b).expect("times of a section are bounded")
}

/// The bars of a layer in a section.
pub(super) fn section(
    groove: &Groove,
    layer: usize,
    section: usize,
    names: Option<Names>,
    beaming: Beaming,
) -> Result<Vec<Bar>, FormatError> {
    let context = PartContext { swing: None, ..groove.context(layer, section) };
    let part = groove.part(layer, section);
    let attacks = part.attacks(context);
    let spots = part.spots(context);
    let per_bar = context.meter.beats();
    let tree = Node::bar(context.meter);
    let borders = windows(context.meter);
    let (mut bars, mut next_sound, mut next_spot) = (Vec::with_capacity(context.bars), 0, 0);
    for number in 0..context.bars {
        let start = context.meter.bar().repeated(number).expect("bars are bounded");
        let end = more(start, context.meter.bar());
        while attacks.get(next_sound).is_some_and(|s| s.end <= start) {
            next_sound += 1;
        }
        let runs = runs(&attacks, next_sound, start, end);
        let mut stretches = Vec::new();
        while let Some(spot) = spots.get(next_spot).filter(|s| s.beat < (number + 1) * per_bar) {
            let beats = usize::from(spot.span.beats);
            let from = context.meter.beat().repeated(spot.beat - number * per_bar).expect("bounded");
            let units = beats * if context.meter.kind() == MeterKind::Compound { 3 } else { 1 };
            let length = context.meter.beat().repeated(beats).expect("bounded");
            let ok = stretch(&runs, from, length, units, usize::from(spot.span.cells), &mut stretches);
            ok.ok_or_else(|| {
                let place = format!(
                    "layer '{}', section '{}', bar {}",
                    groove.layers()[layer].name,
                    groove.sections()[section].name,
                    number + 1
                );
                FormatError::new(place, "a cell is shorter than the shortest note value, 1/1024 of a whole note")
            })?;
            next_spot += 1;
        }
        let (drafts, tuplets) = drafts(&runs, &stretches, &tree);
        let pitched = names.zip(groove.layers()[layer].voice.default_pitch());
        let of = Finish { attacks: &attacks, start, end: context.length(), pitched, windows: &borders, beaming };
        let notes = finish(&of, drafts, &tuplets);
        bars.push(Bar { section, number, notes, tuplets });
    }
    Ok(bars)
}

/// The attacks and rests of a bar, cut at the bar lines, in times of the bar.
fn runs(attacks: &[SoundedAttack], first: usize, start: Time, end: Time) -> Vec<Run> {
    let (mut runs, mut at) = (Vec::new(), start);
    let mut push = |from: Time, to: Time, attack| {
        if from < to {
            runs.push(Run { from: less(from, start), to: less(to, start), attack });
        }
    };
    for (i, attack) in attacks.iter().enumerate().skip(first) {
        if attack.start >= end {
            break;
        }
        let (from, to) = (attack.start.max(start), attack.end.min(end));
        push(at, from, None);
        push(from, to, Some(i));
        at = to;
    }
    push(at, end, None);
    runs
}

/// The stretches of one span: plain, tuplet, or cut into equal tuplets. `None` if a value would be too short.
fn stretch(runs: &[Run], from: Time, length: Time, units: usize, cells: usize, out: &mut Vec<Stretch>) -> Option<()> {
    let to = more(from, length);
    let cell = length.divided(cells)?;
    let edges = || runs.iter().map(|r| r.from).filter(|t| from < *t && *t < to);
    let step = edges().try_fold(cells, |step, t| {
        let at = less(t, from).ratio_to(cell)?;
        Some(num_integer::gcd(step, usize::try_from(at.numer()).ok().filter(|_| at.denom() == 1)?))
    })?;
    let cells = cells / step;
    let cell = length.divided(cells)?;
    let whole = (cell.denom() as u64).is_power_of_two();
    if cells == 1 || (whole && (cell.numer() == 1 || (cell.numer() == 3 && cells == 2))) {
        let short = edges().any(|t| !reachable(t)) || !reachable(from) || !reachable(to);
        out.push(Stretch { from, to, tuplet: None });
        return (!short).then_some(());
    }
    // Equal parts by beat, as many as nothing sounds across.
    let shared = num_integer::gcd(units, cells);
    for parts in (2..=shared).rev().filter(|p| shared.is_multiple_of(*p)) {
        let each = length.divided(parts)?;
        let border = |n: usize| Some(more(from, each.repeated(n)?));
        let sounds_across = |t: Time| runs.iter().any(|r| r.attack.is_some() && r.from < t && t < r.to);
        if (1..parts).all(|n| border(n).is_some_and(|t| !sounds_across(t))) {
            for n in 0..parts {
                stretch(runs, border(n)?, each, units / parts, cells / parts, out)?;
            }
            return Some(());
        }
    }
    // The odd part of the length, doubled as often as it stays within the cells: 3:2, 5:4, 7:4, 4:3 in three.
    let odd = usize::try_from(length.numer()).ok()? >> length.numer().trailing_zeros();
    let mut normal = odd;
    while normal * 2 <= cells {
        normal *= 2;
    }
    let unit = Value::plain(length.divided(normal)?)?;
    out.push(Stretch { from, to, tuplet: Some((cells as u16, normal as u16, unit)) });
    Some(())
}

fn drafts(runs: &[Run], stretches: &[Stretch], tree: &Node) -> (Vec<Draft>, Vec<Tuplet>) {
    if let [run] = runs
        && run.attack.is_none()
    {
        let whole = Draft { at: run.from, length: less(run.to, run.from), value: None, attack: None, tuplet: None };
        return (vec![whole], Vec::new());
    }
    let (mut drafts, mut tuplets, mut i): (Vec<Draft>, Vec<Tuplet>, usize) = (Vec::new(), Vec::new(), 0);
    while i < stretches.len() {
        let first = stretches[i];
        // Neighbours written plain are one stretch.
        let mut to = first.to;
        while first.tuplet.is_none() && stretches.get(i + 1).is_some_and(|s| s.tuplet.is_none()) {
            i += 1;
            to = stretches[i].to;
        }
        i += 1;
        let tuplet = first.tuplet.map(|t| (t, less(to, first.from)));
        let head = drafts.len();
        for run in runs.iter().filter(|r| r.from < to && first.from < r.to) {
            let (from, end) = (run.from.max(first.from), run.to.min(to));
            match tuplet {
                None => {
                    let mut pieces = Vec::new();
                    if run.attack.is_some() {
                        cut::note(tree, from, end, &mut pieces);
                    } else {
                        cut::rest(tree, from, end, &mut pieces);
                    }
                    drafts.extend(pieces.into_iter().map(|(at, value)| Draft {
                        at,
                        length: value.length(),
                        value: Some(value),
                        attack: run.attack,
                        tuplet: None,
                    }));
                }
                Some(((cells, _, unit), length)) => {
                    let cell = length.divided(usize::from(cells)).expect("bounded");
                    let count = |t: Time| less(t, first.from).ratio_to(cell).map_or(0, |r| r.floor() as usize);
                    for (at, size) in in_tuplet(count(from), count(end), run.attack.is_some(), unit) {
                        let written = written(unit, size);
                        drafts.push(Draft {
                            at: more(first.from, cell.repeated(at).expect("bounded")),
                            length: cell.repeated(size).expect("bounded"),
                            value: written,
                            attack: run.attack,
                            tuplet: Some(tuplets.len()),
                        });
                    }
                }
            }
        }
        if let Some(((actual, normal, unit), _)) = tuplet {
            tuplets.push(Tuplet { first: head, last: drafts.len() - 1, actual, normal, unit });
        }
    }
    (drafts, tuplets)
}

/// Cells `from` to `to` of a tuplet as written values, in cells: for a note the longest first, with a dot where it fits; for a rest powers of two
/// from places they may begin on.
fn in_tuplet(from: usize, to: usize, attacks: bool, unit: Value) -> Vec<(usize, usize)> {
    let (mut at, mut pieces) = (from, Vec::new());
    while at < to {
        let left = to - at;
        let size = if attacks {
            [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48]
                .into_iter()
                .filter(|s| *s <= left && written(unit, *s).is_some())
                .max()
        } else {
            (0..6).map(|p| 1_usize << p).filter(|s| *s <= left && at % s == 0 && written(unit, *s).is_some()).max()
        };
        let size = size.unwrap_or(1);
        pieces.push((at, size));
        at += size;
    }
    pieces
}

/// So many units as one value.
fn written(unit: Value, size: usize) -> Option<Value> {
    unit.length().repeated(size).and_then(Value::of)
}

/// What is the same for a whole bar.
struct Finish<'a> {
    attacks: &'a [SoundedAttack],
    start: Time,
    /// The section's end.
    end: Time,
    /// The names of its pitches, and the key of an attack without one; where it stands on a staff of five lines.
    pitched: Option<(Names, u8)>,
    windows: &'a [Time],
    beaming: Beaming,
}

impl Finish<'_> {
    /// From an attack to the next, or to the section's end, in times of the bar.
    fn group(&self, attack: usize) -> (Time, Time) {
        let end = self.attacks.get(attack + 1).map_or(self.end, |next| next.start);
        (less(self.attacks[attack].start, self.start), less(end, self.start))
    }
}

fn finish(of: &Finish<'_>, drafts: Vec<Draft>, tuplets: &[Tuplet]) -> Vec<Note> {
    let mut signs = Signs::default();
    let mut notes: Vec<Note> = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let attack = draft.attack.map(|i| {
            let attack = &of.attacks[i];
            let at = more(of.start, draft.at);
            let (tied_from, tied_to) = (attack.start < at, more(at, draft.length) < attack.end);
            let pitch = of.pitched.and_then(|(names, own)| Some((attack.attack.pitch.or(Pitch::new(own))?, names)));
            // A sign holds for its bar only, so a note tied over the bar line keeps none for what follows.
            let spelled = pitch.map(|(pitch, names)| signs.spell(pitch, names, tied_from));
            Strike { attack: attack.attack, number: i, cell: attack.cell, spelled, tied_from, tied_to }
        });
        let Draft { at, length, value, tuplet, .. } = draft;
        notes.push(Note { at, length, value, sound: attack, tuplet, beams: Vec::new() });
    }
    let groups: Vec<(Time, Time)>;
    let breaks = match of.beaming {
        Beaming::Meter => Breaks::Windows,
        Beaming::Accents => Breaks::Accents,
        Beaming::Groups => {
            let group = |n: &Note| n.sound.map_or((Time::ZERO, Time::ZERO), |s| of.group(s.number));
            groups = notes.iter().map(group).collect();
            Breaks::Groups(&groups)
        }
    };
    beam::lay(&mut notes, tuplets, of.windows, breaks);
    notes
}
