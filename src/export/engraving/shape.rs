//! What the notes of a bar look like: symbols and stems around the position of each onset. Lengths are in CSS pixels; x is measured
//! from the onset, y downwards from the middle line of the staff.

use super::glyph::{self, BEAM_STEP, BEAM_THICKNESS, HALF_HEAD, Head, STEM_THICKNESS};
use crate::export::picture::music_font::{Bounds, Glyph, SPACE};
use crate::notation::{Accidental, Bar, Beam, HeadShape, Note, NoteSound, NoteValue};
use crate::rhythm::Accent;

/// From a head to the end of its stem.
const STEM_LENGTH: f32 = 3.5 * SPACE;
/// From the middle line to the outer lines of a staff of five, and to the ends of bar lines.
pub(super) const HALF_STAFF: f32 = 2.0 * SPACE;
/// How far a ledger line reaches beyond the head.
const LEDGER_REACH: f32 = 0.3 * SPACE;
/// Between a symbol and what it belongs to.
const GAP: f32 = 0.35 * SPACE;
/// Steps of the first ledger lines above and below the middle line.
const FIRST_LEDGER: i32 = 6;

/// Where the stems of a voice point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stems {
    /// Up, on a single line.
    Line,
    /// Away from the end of the staff that is farther from the notes.
    ByPitch,
    /// Up, with a second voice below.
    Upper,
    /// Down, with a second voice above.
    Lower,
}

/// A head on the staff.
#[derive(Debug, Clone, Copy)]
pub(super) struct HeadSpec {
    /// In half spaces above the middle line.
    pub(super) step: i32,
    pub(super) shape: HeadShape,
    pub(super) is_ghost: bool,
    pub(super) is_flam: bool,
    pub(super) accidental: Option<Accidental>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Sign {
    pub(super) glyph: Glyph,
    pub(super) x: f32,
    pub(super) y: f32,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Stem {
    /// Its left edge.
    pub(super) x: f32,
    /// Its ends, at the head and away from it.
    pub(super) from: f32,
    pub(super) to: f32,
}

/// A grace note: its left edge, the middle of its head, and the shape of its head.
#[derive(Debug, Clone, Copy)]
pub(super) struct GraceSign {
    pub(super) left: f32,
    pub(super) y: f32,
    pub(super) shape: HeadShape,
    pub(super) is_up: bool,
}

#[derive(Debug, Clone, Default)]
pub(super) struct NoteShape {
    pub(super) signs: Vec<Sign>,
    pub(super) graces: Vec<GraceSign>,
    pub(super) stem: Option<Stem>,
    /// Whether the stem, or the beam over a rest, is above.
    pub(super) is_up: bool,
    /// The end of the stem or where the beam is.
    pub(super) end: f32,
    /// Left and right end, and height of each ledger line.
    pub(super) ledgers: Vec<(f32, f32, f32)>,
    /// The middles of the heads, for ties.
    pub(super) heads: Vec<f32>,
    /// Whether ties are above the heads.
    pub(super) ties_above: bool,
    /// The edges of all of it; `None` for the rest of a whole bar, which stands in its middle.
    pub(super) extent: Option<Bounds>,
}

/// The rectangle around two.
pub(super) fn union(a: Option<Bounds>, b: Bounds) -> Bounds {
    a.map_or(b, |a| Bounds {
        left: a.left.min(b.left),
        top: a.top.min(b.top),
        right: a.right.max(b.right),
        bottom: a.bottom.max(b.bottom),
    })
}

fn height(step: i32) -> f32 {
    -(step as f32) * SPACE / 2.0
}

impl NoteShape {
    fn include(&mut self, bounds: Bounds) {
        self.extent = Some(union(self.extent, bounds));
    }

    fn add(&mut self, glyph: Glyph, x: f32, y: f32) {
        let b = glyph.bounds();
        self.include(Bounds { left: b.left + x, top: b.top + y, right: b.right + x, bottom: b.bottom + y });
        self.signs.push(Sign { glyph, x, y });
    }

    /// Adds a symbol whose left edge is given.
    fn add_left(&mut self, glyph: Glyph, left: f32, y: f32) {
        self.add(glyph, left - glyph.bounds().left, y);
    }

    fn edges(&self) -> (f32, f32) {
        self.extent.map_or((0.0, 0.0), |e| (e.left, e.right))
    }
}

/// The first and last notes under each beam.
fn beam_groups(bar: &Bar) -> Vec<(usize, usize)> {
    let (mut groups, mut first) = (Vec::new(), None);
    for (i, note) in bar.notes.iter().enumerate() {
        match note.beams.first() {
            Some(Beam::Begin) => first = Some(i),
            Some(Beam::End) => groups.extend(first.take().map(|f| (f, i))),
            _ => {}
        }
    }
    groups
}

/// The shapes of a bar's notes and rests; `heads_of` gives the heads of a sound.
pub(super) fn shapes(bar: &Bar, stems: Stems, heads_of: impl Fn(&NoteSound) -> Vec<HeadSpec>) -> Vec<NoteShape> {
    let heads: Vec<Vec<HeadSpec>> =
        bar.notes.iter().map(|n| n.sound.as_ref().map_or_else(Vec::new, &heads_of)).collect();
    let points_up = |heads: &[Vec<HeadSpec>]| match stems {
        Stems::Line | Stems::Upper => true,
        Stems::Lower => false,
        Stems::ByPitch => {
            let steps = || heads.iter().flatten().map(|h| h.step);
            steps().min().unwrap_or(0) + steps().max().unwrap_or(0) < 0
        }
    };
    let mut up: Vec<bool> = heads.iter().map(|h| points_up(std::slice::from_ref(h))).collect();
    let groups = beam_groups(bar);
    for &(first, last) in &groups {
        let is_up = points_up(&heads[first..=last]);
        up[first..=last].fill(is_up);
    }
    let mut ends: Vec<f32> = (0..heads.len()).map(|i| stem_end(&bar.notes[i], &heads[i], up[i])).collect();
    for (first, last) in groups {
        let levels = bar.notes[first..=last].iter().map(|n| n.beams.len()).max().unwrap_or(1);
        let depth = BEAM_THICKNESS + BEAM_STEP * (levels - 1) as f32 + GAP;
        let limit = |i: usize| match (&bar.notes[i], up[first]) {
            (note, true) if note.sound.is_none() => rest_bounds(note, stems).top - depth,
            (note, false) if note.sound.is_none() => rest_bounds(note, stems).bottom + depth,
            _ => ends[i],
        };
        let limits = (first..=last).map(limit);
        let end = if up[first] { limits.fold(f32::MAX, f32::min) } else { limits.fold(f32::MIN, f32::max) };
        ends[first..=last].fill(end);
    }
    let shape = |(i, note): (usize, &Note)| match &note.sound {
        Some(sound) => struck(note, sound, &heads[i], stems, (up[i], ends[i])),
        None => rest(note, stems, (up[i], ends[i])),
    };
    bar.notes.iter().enumerate().map(shape).collect()
}

/// Where the stem of a note without a beam ends.
fn stem_end(note: &Note, heads: &[HeadSpec], is_up: bool) -> f32 {
    let heights = heads.iter().map(|h| height(h.step));
    // Long beams need longer stems; the flags of the font lengthen theirs.
    let levels = note.beams.len().saturating_sub(2);
    let has_flag = note.beams.is_empty() && note.value.is_some_and(|v| v.flags() > 0);
    // A flag does not reach a head below it: its own, if the stem points down, one beside the stem, or the parentheses of a ghost.
    let is_beside = |h: &HeadSpec| heads.iter().filter(|other| (other.step - h.step).abs() < 2).count() > 1;
    let has_reach = has_flag && (!is_up || heads.iter().any(|h| h.is_ghost || is_beside(h)));
    let reach = if has_reach { 0.5 * SPACE } else { 0.0 };
    let length = STEM_LENGTH + BEAM_STEP * levels as f32 + reach;
    // A stem from a ledger line reaches the middle line.
    if is_up {
        (heights.fold(f32::MAX, f32::min) - length).min(if heads.iter().any(|h| h.step < -7) { 0.0 } else { f32::MAX })
    } else {
        (heights.fold(f32::MIN, f32::max) + length).max(if heads.iter().any(|h| h.step > 7) { 0.0 } else { f32::MIN })
    }
}

fn head_kind(value: NoteValue) -> Head {
    match value.halvings {
        ..=-1 => Head::Breve,
        0 => Head::Whole,
        1 => Head::Half,
        _ => Head::Full,
    }
}

fn struck(note: &Note, sound: &NoteSound, heads: &[HeadSpec], stems: Stems, (is_up, end): (bool, f32)) -> NoteShape {
    let value = note.value.unwrap_or(NoteValue::QUARTER);
    let kind = head_kind(value);
    let has_stem = value.halvings > 0;
    let mut shape = NoteShape { is_up, end, ..NoteShape::default() };
    shape.heads = heads.iter().map(|h| height(h.step)).collect();
    shape.ties_above = match stems {
        Stems::Line | Stems::Lower => false,
        Stems::Upper => true,
        Stems::ByPitch => heads.iter().any(|h| h.step >= 0),
    };
    let mut sorted = heads.to_vec();
    sorted.sort_by_key(|h| if is_up { h.step } else { -h.step });
    place_heads(&mut shape, &sorted, kind, has_stem, is_up);
    for h in &sorted {
        let (left, right) = shape.edges();
        let ledgers = (FIRST_LEDGER..=h.step.abs()).filter(|s| s % 2 == 0);
        let ledgers = ledgers.map(|s| (left - LEDGER_REACH, right + LEDGER_REACH, height(s * h.step.signum())));
        shape.ledgers.extend(ledgers);
    }
    for (left, right, y) in shape.ledgers.clone() {
        shape.include(Bounds { left, top: y, right, bottom: y });
    }
    add_parentheses(&mut shape, &sorted);
    for (h, accidental) in sorted.iter().filter_map(|h| Some((h, h.accidental?))) {
        let glyph = glyph::accidental(accidental);
        let left = shape.edges().0 - 0.25 * SPACE - glyph.width();
        shape.add_left(glyph, left, height(h.step));
    }
    add_graces(&mut shape, &sorted, stems);
    if has_stem && let Some(far) = sorted.first() {
        add_stem(&mut shape, note, height(far.step), glyph::stem_start(kind, far.shape, is_up));
    }
    if value.dotted {
        add_dots(&mut shape, sorted.iter().map(|h| h.step));
    }
    if sound.attack.accent == Accent::Accent && !sound.tied_from {
        add_accent(&mut shape, stems);
    }
    shape
}

/// Heads that would touch stand side by side.
fn place_heads(shape: &mut NoteShape, sorted: &[HeadSpec], kind: Head, has_stem: bool, is_up: bool) {
    let mut columns: Vec<(usize, i32)> = Vec::new();
    for h in sorted {
        let is_free = |k: &usize| columns.iter().all(|(column, step)| column != k || (step - h.step).abs() > 1);
        let column = (0..=sorted.len()).find(is_free).unwrap_or(0);
        columns.push((column, h.step));
        let glyph = glyph::head(kind, h.shape);
        let (wide, beside) = (glyph.width(), 2.0 * HALF_HEAD * column as f32);
        let left = match (has_stem, is_up) {
            (false, _) => beside * wide / (2.0 * HALF_HEAD) - wide / 2.0,
            (true, true) if column == 0 => HALF_HEAD - wide,
            (true, true) => HALF_HEAD - STEM_THICKNESS + beside - 2.0 * HALF_HEAD,
            (true, false) if column == 0 => -HALF_HEAD,
            (true, false) => -HALF_HEAD + STEM_THICKNESS - wide - (beside - 2.0 * HALF_HEAD),
        };
        shape.add_left(glyph, left, height(h.step));
    }
}

fn add_parentheses(shape: &mut NoteShape, heads: &[HeadSpec]) {
    let [open, close] = glyph::PARENTHESES;
    let (left, right) = shape.edges();
    let mut before: Option<(i32, f32)> = None;
    for h in heads.iter().filter(|h| h.is_ghost) {
        // Parentheses of close heads stand side by side.
        let shift = match before {
            Some((step, shift)) if (step - h.step).abs() < 3 => shift + 0.5 * SPACE,
            _ => 0.0,
        };
        let reach = 0.1 * SPACE + shift;
        shape.add_left(open, left - reach - open.width(), height(h.step));
        shape.add_left(close, right + reach, height(h.step));
        before = Some((h.step, shift));
    }
}

/// The grace notes of flams, side by side before everything else of the note. Their stems are up, those of a lower voice down.
fn add_graces(shape: &mut NoteShape, heads: &[HeadSpec], stems: Stems) {
    let is_up = stems != Stems::Lower;
    let (above, below) =
        if is_up { (glyph::GRACE_HEIGHT, glyph::GRACE_DEPTH) } else { (glyph::GRACE_DEPTH, glyph::GRACE_HEIGHT) };
    for h in heads.iter().filter(|h| h.is_flam) {
        let right = shape.edges().0 - GAP;
        let left = right - glyph::GRACE_WIDTH;
        let y = height(h.step);
        shape.include(Bounds { left, top: y - above, right, bottom: y + below });
        shape.graces.push(GraceSign { left, y, shape: h.shape, is_up });
    }
}

fn add_stem(shape: &mut NoteShape, note: &Note, head: f32, start: f32) {
    let (is_up, end) = (shape.is_up, shape.end);
    let x = if is_up { HALF_HEAD - STEM_THICKNESS } else { -HALF_HEAD };
    let from = if is_up { head - start } else { head + start };
    let mut to = end;
    let flags = note.value.map_or(0, NoteValue::flags);
    if note.beams.is_empty() && flags > 0 {
        let (flag, beyond) = glyph::flag(flags, is_up);
        to += if is_up { -beyond } else { beyond };
        shape.add_left(flag, x, end);
    }
    shape.include(Bounds { left: x, top: from.min(to), right: x + STEM_THICKNESS, bottom: from.max(to) });
    shape.stem = Some(Stem { x, from, to });
}

fn add_dots(shape: &mut NoteShape, steps: impl Iterator<Item = i32>) {
    let x = shape.edges().1 + GAP;
    let mut used: Vec<i32> = Vec::new();
    for step in steps {
        // A dot never stands on a line.
        let space = if step % 2 == 0 { step + 1 } else { step };
        if !used.contains(&space) {
            used.push(space);
            shape.add_left(glyph::AUGMENTATION_DOT, x, height(space));
        }
    }
}

/// An accent at the heads, or at the stem if another voice is at the heads.
fn add_accent(shape: &mut NoteShape, stems: Stems) {
    let Some(extent) = shape.extent else { return };
    let above = match stems {
        Stems::Line | Stems::Lower => false,
        Stems::Upper => true,
        Stems::ByPitch => !shape.is_up,
    };
    let outside = if stems == Stems::Line { 0.0 } else { HALF_STAFF };
    let glyph = glyph::accent(above);
    let y = if above { extent.top.min(-outside) - GAP } else { extent.bottom.max(outside) + GAP };
    shape.add_left(glyph, -glyph.width() / 2.0, y);
}

/// Height of the origin of a rest.
fn rest_height(note: &Note, stems: Stems) -> f32 {
    let glyph = glyph::rest(note.value.map_or(0, |v| v.halvings));
    let bounds = glyph.bounds();
    match stems {
        // The rest of a whole note hangs from the line above the middle.
        Stems::ByPitch if note.value.is_none_or(|v| v.halvings == 0) => -SPACE,
        Stems::Line | Stems::ByPitch => 0.0,
        Stems::Upper => (-HALF_STAFF).min(-bounds.bottom - 0.25 * SPACE),
        Stems::Lower => (1.25 * SPACE - bounds.top).max(HALF_STAFF),
    }
}

fn rest_bounds(note: &Note, stems: Stems) -> Bounds {
    let (glyph, y) = (glyph::rest(note.value.map_or(0, |v| v.halvings)), rest_height(note, stems));
    let b = glyph.bounds();
    Bounds { top: b.top + y, bottom: b.bottom + y, ..b }
}

fn rest(note: &Note, stems: Stems, (is_up, end): (bool, f32)) -> NoteShape {
    let mut shape = NoteShape { is_up, end, ..NoteShape::default() };
    let (glyph, y) = (glyph::rest(note.value.map_or(0, |v| v.halvings)), rest_height(note, stems));
    shape.add_left(glyph, -glyph.width() / 2.0, y);
    if note.value.is_none() {
        shape.extent = None;
    } else if note.value.is_some_and(|v| v.dotted) {
        let x = shape.edges().1 + GAP;
        shape.add_left(glyph::AUGMENTATION_DOT, x, y - SPACE / 2.0);
    }
    shape
}
