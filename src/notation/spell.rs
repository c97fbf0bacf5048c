//! Spells the cells of a layer, or of several, in one section as bars of notes.

use super::beam::Breaks;
use super::names::Names;
use super::pitch::BarAccidentals;
use super::tree::{Node, windows};
use super::value::{NoteValue, difference, is_reachable};
use super::{Bar, Beaming, Note, NoteLengths, NoteSound, Spelling, Tuplet, beam, cut};
use crate::notation::FormatError;
use crate::rhythm::{Groove, MeterKind, PartContext, Pitch, SoundedAttack, Spot, Time};

/// A part of a bar in which one attack sounds, or none.
#[derive(Debug, Clone, Copy)]
struct SoundRun {
    start: Time,
    end: Time,
    /// Index into the section's attacks.
    attack: Option<usize>,
}

/// A part of a bar that is written without a tuplet, or as one.
#[derive(Debug, Clone, Copy)]
struct WrittenSpan {
    start: Time,
    end: Time,
    tuplet: Option<Ratio>,
}

/// The ratio and the unit of a [`Tuplet`].
#[derive(Debug, Clone, Copy)]
struct Ratio {
    actual: u16,
    normal: u16,
    unit: NoteValue,
}

/// A note or rest without ties and beams.
struct UnbeamedNote {
    start: Time,
    length: Time,
    value: Option<NoteValue>,
    attack: Option<usize>,
    tuplet: Option<usize>,
}

fn sum(a: Time, b: Time) -> Time {
    a.plus(b).expect("times of a section are bounded")
}

/// Beats with equal cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct CellBeats {
    /// From the start of the section.
    pub(super) beat: usize,
    pub(super) beats: usize,
    pub(super) cells: usize,
}

impl CellBeats {
    pub(super) fn end(self) -> usize {
        self.beat + self.beats
    }
}

/// What one voice of a staff plays in a section, without swing.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) attacks: Vec<SoundedAttack>,
    /// Without gaps; none crosses a bar line.
    pub(super) cells: Vec<CellBeats>,
}

impl Line {
    pub(super) fn of_layer(groove: &Groove, layer: usize, section: usize) -> Self {
        let context = PartContext { swing: None, ..groove.context(layer, section) };
        let part = groove.part(layer, section);
        let cells =
            |s: &Spot| CellBeats { beat: s.beat, beats: usize::from(s.span.beats), cells: usize::from(s.span.cells) };
        Self { attacks: part.attacks(context), cells: part.spots(context).iter().map(cells).collect() }
    }

    /// Extends every attack to the next one or to the end of the section.
    fn hold(&mut self, end: Time) {
        let nexts: Vec<Time> = self.attacks.iter().skip(1).map(|a| a.start).chain([end]).collect();
        self.attacks.iter_mut().zip(nexts).for_each(|(attack, next)| attack.end = next);
    }

    /// Spells the bars. `layer` is the one that an error names; `pitched` has the names of the pitches of a staff with a clef, and the
    /// key of an attack without a pitch.
    pub(super) fn bars(
        mut self,
        groove: &Groove,
        layer: usize,
        section: usize,
        pitched: Option<(Names, u8)>,
        spelling: Spelling,
    ) -> Result<Vec<Bar>, FormatError> {
        let context = PartContext { swing: None, ..groove.context(layer, section) };
        if spelling.lengths == NoteLengths::Groups {
            self.hold(context.length());
        }
        let Self { attacks, cells } = &self;
        let per_bar = context.meter.beats();
        let tree = Node::bar(context.meter);
        let windows = windows(context.meter);
        let (mut bars, mut next_sound, mut next_cells) = (Vec::with_capacity(context.bars), 0, 0);
        for number in 0..context.bars {
            let start = context.meter.bar().repeated(number).expect("bars are bounded");
            let end = sum(start, context.meter.bar());
            while attacks.get(next_sound).is_some_and(|s| s.end <= start) {
                next_sound += 1;
            }
            let runs = runs(attacks, next_sound, start, end);
            let mut written_spans = Vec::new();
            while let Some(span) = cells.get(next_cells).filter(|s| s.beat < (number + 1) * per_bar) {
                let beats = span.beats;
                let start = context.meter.beat().repeated(span.beat - number * per_bar).expect("bounded");
                let units = beats * if context.meter.kind() == MeterKind::Compound { 3 } else { 1 };
                let length = context.meter.beat().repeated(beats).expect("bounded");
                let span = CellSpan { start, length, units, cells: span.cells };
                push_written(&runs, span, &mut written_spans).ok_or_else(|| {
                    let place = format!(
                        "layer '{}', section '{}', bar {}",
                        groove.layers()[layer].name,
                        groove.sections()[section].name,
                        number + 1
                    );
                    FormatError::new(place, "a cell is shorter than the shortest note value, 1/1024 of a whole note")
                })?;
                next_cells += 1;
            }
            let (notes, tuplets) = unbeamed_notes(&runs, &written_spans, &tree);
            let beaming = spelling.beams;
            let bar = BarContext { attacks, start, end: context.length(), pitched, windows: &windows, beaming };
            let notes = bar.finish(notes, &tuplets);
            bars.push(Bar { section, number, notes, tuplets });
        }
        Ok(bars)
    }
}

/// The attacks and rests of a bar, cut at the bar lines.
fn runs(attacks: &[SoundedAttack], first: usize, start: Time, end: Time) -> Vec<SoundRun> {
    let (mut runs, mut at) = (Vec::new(), start);
    let mut push = |from: Time, to: Time, attack| {
        if from < to {
            runs.push(SoundRun { start: difference(from, start), end: difference(to, start), attack });
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

/// Consecutive cells of equal length.
#[derive(Clone, Copy)]
struct CellSpan {
    start: Time,
    length: Time,
    /// Beats; in a compound meter thirds of them.
    units: usize,
    cells: usize,
}

/// Appends a span without a tuplet, as a tuplet, or as equal tuplets. `None` if a value would be too short.
fn push_written(runs: &[SoundRun], span: CellSpan, out: &mut Vec<WrittenSpan>) -> Option<()> {
    let CellSpan { start, length, units, cells } = span;
    let end = sum(start, length);
    let cell = length.divided(cells)?;
    let edges = || runs.iter().map(|r| r.start).filter(|t| start < *t && *t < end);
    let step = edges().try_fold(cells, |step, t| {
        let at = difference(t, start).ratio_to(cell)?;
        Some(num_integer::gcd(step, usize::try_from(at.numer()).ok().filter(|_| at.denom() == 1)?))
    })?;
    let cells = cells / step;
    let cell = length.divided(cells)?;
    let whole = (cell.denom() as u64).is_power_of_two();
    if cells == 1 || (whole && (cell.numer() == 1 || (cell.numer() == 3 && cells == 2))) {
        let short = edges().any(|t| !is_reachable(t)) || !is_reachable(start) || !is_reachable(end);
        out.push(WrittenSpan { start, end, tuplet: None });
        return (!short).then_some(());
    }
    // The most equal parts, in whole beats, whose borders no sound crosses.
    let shared = num_integer::gcd(units, cells);
    for parts in (2..=shared).rev().filter(|p| shared.is_multiple_of(*p)) {
        let each = length.divided(parts)?;
        let border = |n: usize| Some(sum(start, each.repeated(n)?));
        let sounds_across = |t: Time| runs.iter().any(|r| r.attack.is_some() && r.start < t && t < r.end);
        if (1..parts).all(|n| border(n).is_some_and(|t| !sounds_across(t))) {
            for n in 0..parts {
                let (units, cells) = (units / parts, cells / parts);
                push_written(runs, CellSpan { start: border(n)?, length: each, units, cells }, out)?;
            }
            return Some(());
        }
    }
    // The odd part of the length, doubled while it does not exceed the cells: 3:2, 5:4, 7:4, in three beats 4:3.
    let odd = usize::try_from(length.numer()).ok()? >> length.numer().trailing_zeros();
    let mut normal = odd;
    while normal * 2 <= cells {
        normal *= 2;
    }
    let unit = NoteValue::undotted(length.divided(normal)?)?;
    out.push(WrittenSpan { start, end, tuplet: Some(Ratio { actual: cells as u16, normal: normal as u16, unit }) });
    Some(())
}

fn unbeamed_notes(runs: &[SoundRun], spans: &[WrittenSpan], tree: &Node) -> (Vec<UnbeamedNote>, Vec<Tuplet>) {
    if let [SoundRun { start, end, attack: None }] = *runs {
        let rest = UnbeamedNote { start, length: difference(end, start), value: None, attack: None, tuplet: None };
        return (vec![rest], Vec::new());
    }
    let (mut notes, mut tuplets): (Vec<UnbeamedNote>, Vec<Tuplet>) = (Vec::new(), Vec::new());
    // Consecutive spans without a tuplet are written as one.
    for spans in spans.chunk_by(|a, b| a.tuplet.is_none() && b.tuplet.is_none()) {
        let (start, end) = (spans[0].start, spans[spans.len() - 1].end);
        let first = notes.len();
        for run in runs.iter().filter(|r| r.start < end && start < r.end) {
            let (from, to, attack) = (run.start.max(start), run.end.min(end), run.attack);
            let Some(ratio) = spans[0].tuplet else {
                let mut pieces = Vec::new();
                let cut = if attack.is_some() { cut::note } else { cut::rest };
                cut(tree, from, to, &mut pieces);
                notes.extend(pieces.into_iter().map(|(start, value)| {
                    let length = value.length();
                    UnbeamedNote { start, length, value: Some(value), attack, tuplet: None }
                }));
                continue;
            };
            let cell = difference(end, start).divided(usize::from(ratio.actual)).expect("bounded");
            let count = |t: Time| difference(t, start).ratio_to(cell).map_or(0, |r| r.floor() as usize);
            for (at, size) in tuplet_pieces(count(from), count(to), attack.is_some(), ratio.unit) {
                notes.push(UnbeamedNote {
                    start: sum(start, cell.repeated(at).expect("bounded")),
                    length: cell.repeated(size).expect("bounded"),
                    value: value_of(ratio.unit, size),
                    attack,
                    tuplet: Some(tuplets.len()),
                });
            }
        }
        if let Some(Ratio { actual, normal, unit }) = spans[0].tuplet {
            tuplets.push(Tuplet { first, last: notes.len() - 1, actual, normal, unit });
        }
    }
    (notes, tuplets)
}

/// Starts and lengths, in cells, of the note values for cells `from` to `to` of a tuplet: for a note the longest first, with dots; for a
/// rest powers of two at multiples of themselves.
fn tuplet_pieces(from: usize, to: usize, is_note: bool, unit: NoteValue) -> Vec<(usize, usize)> {
    const NOTES: [usize; 11] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48];
    const RESTS: [usize; 6] = [1, 2, 4, 8, 16, 32];
    let sizes = if is_note { &NOTES[..] } else { &RESTS[..] };
    let (mut at, mut pieces) = (from, Vec::new());
    while at < to {
        let fits = |s: &&usize| **s <= to - at && (is_note || at % **s == 0) && value_of(unit, **s).is_some();
        let size = sizes.iter().rfind(fits).copied().unwrap_or(1);
        pieces.push((at, size));
        at += size;
    }
    pieces
}

fn value_of(unit: NoteValue, count: usize) -> Option<NoteValue> {
    unit.length().repeated(count).and_then(NoteValue::from_length)
}

struct BarContext<'a> {
    attacks: &'a [SoundedAttack],
    start: Time,
    /// End of the section.
    end: Time,
    /// On a staff with a clef, the names of the pitches, and the key of an attack without a pitch.
    pitched: Option<(Names, u8)>,
    windows: &'a [Time],
    beaming: Beaming,
}

impl BarContext<'_> {
    /// From an attack to the next, or to the section's end, in times of the bar.
    fn group(&self, attack: usize) -> (Time, Time) {
        let end = self.attacks.get(attack + 1).map_or(self.end, |next| next.start);
        (difference(self.attacks[attack].start, self.start), difference(end, self.start))
    }

    fn finish(&self, notes: Vec<UnbeamedNote>, tuplets: &[Tuplet]) -> Vec<Note> {
        // An accidental holds for its bar only: a note tied over the bar line leaves none in force.
        let mut accidentals = BarAccidentals::default();
        let mut finished = |UnbeamedNote { start, length, value, attack, tuplet }| {
            let sound = attack.map(|number| {
                let SoundedAttack { start: first, end, attack, cell, .. } = self.attacks[number];
                let from = sum(self.start, start);
                let (tied_from, tied_to) = (first < from, sum(from, length) < end);
                let pitch = self.pitched.and_then(|(names, own)| Some((attack.pitch.or(Pitch::new(own))?, names)));
                let spelled_pitch = pitch.map(|(pitch, names)| accidentals.spell(pitch, names, tied_from));
                NoteSound { attack, number, cell, spelled_pitch, tied_from, tied_to }
            });
            Note { start, length, value, sound, tuplet, beams: Vec::new() }
        };
        let mut notes: Vec<Note> = notes.into_iter().map(&mut finished).collect();
        let groups: Vec<(Time, Time)>;
        let breaks = match self.beaming {
            Beaming::Meter => Breaks::Windows,
            Beaming::Accents => Breaks::Accents,
            Beaming::Groups => {
                let group = |n: &Note| n.sound.map_or((Time::ZERO, Time::ZERO), |s| self.group(s.number));
                groups = notes.iter().map(group).collect();
                Breaks::Groups(&groups)
            }
        };
        beam::set_beams(&mut notes, tuplets, self.windows, breaks);
        notes
    }
}
