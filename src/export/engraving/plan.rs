//! What stands on each staff: its voices with the shapes of their notes, its text, and the height of all of it.

use super::shape::{HALF_STAFF, HeadSpec, NoteShape, Stems, shapes, union};
use super::{ExportInput, TEXT_SIZE, glyph};
use crate::describe::notes::{KitStaves, NotationOptions};
use crate::export::annotations::Annotator;
use crate::export::picture::font;
use crate::export::picture::music_font::{Bounds, Glyph};
use crate::export::picture::theme::StyleClass;
use crate::export::pulses::{self, MarkedHearing};
use crate::notation::{
    Bar, Clef, FormatError, Kit, KitVoice, NoteSound, Score, SpelledPitch, Staff, StaffKind, Stroke, Tuplet,
};
use crate::rhythm::{Accent, Time};

/// From one line of text to the next.
const TEXT_STEP: f32 = 10.0;
/// From the notes to the baseline of the first line of text above or below them.
const TEXT_OVER: f32 = 3.5;
const TEXT_UNDER: f32 = 8.5;
/// From the notes of a tuplet to its bracket, and half the height of its number.
pub(super) const BRACKET_DISTANCE: f32 = 5.5;
const HALF_NUMBER: f32 = 3.5;
/// From one name to the next where a staff has several.
pub(super) const NAME_STEP: f32 = 10.5;

/// A staff of the score. Heights are measured downwards from its middle line.
pub(super) struct StaffPlan<'a> {
    pub(super) names: Vec<&'a str>,
    /// Whether it has five lines and not one.
    pub(super) has_five_lines: bool,
    pub(super) clef: Option<(Glyph, f32)>,
    pub(super) voices: Vec<Vec<PlannedBar<'a>>>,
    pub(super) rows: Vec<TextRow<'a>>,
    /// The hearings whose pulses are marked over the notes, and the baseline of their signs.
    pub(super) marks: &'a [MarkedHearing],
    pub(super) marks_y: f32,
    /// The edges of all of it.
    pub(super) top: f32,
    pub(super) bottom: f32,
}

/// A line of text over or under the notes.
pub(super) struct TextRow<'a> {
    pub(super) baseline: f32,
    /// The layer that it is about, if the staff has several.
    pub(super) name: Option<&'a str>,
}

/// A bar of one voice.
pub(super) struct PlannedBar<'a> {
    pub(super) bar: &'a Bar,
    /// Of each note and rest.
    pub(super) shapes: Vec<NoteShape>,
    pub(super) tuplets: Vec<TupletShape>,
    pub(super) labels: Vec<Label>,
}

pub(super) struct TupletShape {
    pub(super) first: usize,
    pub(super) last: usize,
    /// The height of its bracket.
    pub(super) y: f32,
    pub(super) is_above: bool,
    pub(super) number: String,
}

/// Text at an onset.
pub(super) struct Label {
    pub(super) start: Time,
    /// Index into the staff's rows.
    pub(super) row: usize,
    pub(super) text: String,
    pub(super) class: StyleClass,
}

impl Label {
    pub(super) fn width(&self) -> f32 {
        font::width(&self.text, TEXT_SIZE)
    }
}

/// The layers that share a staff, if any do.
pub(super) fn kit(
    piece: &ExportInput<'_>,
    score: &Score,
    notation: &NotationOptions,
) -> Result<Option<Kit>, FormatError> {
    match notation.kit {
        KitStaves::Shared => Kit::of_score(score, piece.groove, piece.section, notation.spelling),
        KitStaves::Separate => Ok(None),
    }
}

/// The staves from top to bottom; that of the kit stands where its first layer does.
pub(super) fn plans<'a>(
    piece: &'a ExportInput<'a>,
    score: &'a Score,
    kit: Option<&'a Kit>,
    notation: &NotationOptions,
    marks: &'a [MarkedHearing],
) -> Vec<StaffPlan<'a>> {
    let shared: Vec<usize> = kit.into_iter().flat_map(Kit::layers).collect();
    let first = score.staves.iter().map(|s| s.layer).find(|l| shared.contains(l));
    let plan = |staff: &'a Staff| match kit {
        Some(kit) if Some(staff.layer) == first => Some(of_kit(piece, kit, notation, marks)),
        _ if shared.contains(&staff.layer) => None,
        _ => Some(of_layer(piece, staff, notation, marks)),
    };
    score.staves.iter().filter_map(plan).collect()
}

/// A sound of a layer at a note.
type LayerSound = (usize, NoteSound);

fn of_layer<'a>(
    piece: &'a ExportInput<'a>,
    staff: &'a Staff,
    notation: &NotationOptions,
    marks: &'a [MarkedHearing],
) -> StaffPlan<'a> {
    let has_pitch = |s: &NoteSound| s.attack.pitch.is_some();
    let mut sounds = staff.bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.sound);
    // Without a pitch a single line shows as much.
    let clef = match staff.kind {
        StaffKind::Pitched(clef) if sounds.any(|s| has_pitch(&s)) => Some(clef),
        _ => None,
    };
    let heads = move |sound: &NoteSound| {
        let pitch = sound.spelled_pitch.zip(clef);
        vec![HeadSpec {
            step: pitch.map_or(0, |(pitch, clef)| step(pitch, clef)),
            shape: staff.shape,
            is_ghost: sound.attack.accent == Accent::Ghost && !sound.tied_from,
            is_flam: sound.attack.flam && !sound.tied_from,
            accidental: pitch.and_then(|(pitch, _)| pitch.accidental),
        }]
    };
    let stems = if clef.is_some() { Stems::ByPitch } else { Stems::Line };
    let bars = staff.bars.iter().map(|bar| planned(bar, stems, heads)).collect();
    let mut plan = StaffPlan::new(piece, &[staff.layer], vec![bars], marks);
    plan.has_five_lines = clef.is_some();
    plan.clef = clef.map(glyph::clef).map(|(glyph, y, _)| (glyph, y));
    let sounds = |_: usize, _: &Bar, sound: &NoteSound| vec![(staff.layer, *sound)];
    plan.arrange(piece, &[staff.layer], notation, sounds);
    plan
}

fn of_kit<'a>(
    piece: &'a ExportInput<'a>,
    kit: &'a Kit,
    notation: &NotationOptions,
    marks: &'a [MarkedHearing],
) -> StaffPlan<'a> {
    let voices: Vec<(usize, &KitVoice)> =
        kit.voices.iter().enumerate().filter_map(|(i, v)| Some((i, v.as_ref()?))).collect();
    let is_single = voices.len() == 1;
    let bars = |(i, voice): &(usize, &'a KitVoice)| {
        let voice: &'a KitVoice = voice;
        let stems = match i {
            _ if is_single => Stems::ByPitch,
            0 => Stems::Upper,
            _ => Stems::Lower,
        };
        let heads = |bar: &Bar, sound: &NoteSound| {
            let head = |s: &Stroke| {
                let (shape, step) = s.head(piece.groove);
                let is_ghost = s.attack.accent == Accent::Ghost && !sound.tied_from;
                HeadSpec { step, shape, is_ghost, is_flam: s.attack.flam && !sound.tied_from, accidental: None }
            };
            voice.strokes(bar.section, sound.number).iter().map(head).collect()
        };
        voice.bars.iter().map(|bar| planned(bar, stems, |sound| heads(bar, sound))).collect()
    };
    let mut layers: Vec<usize> = kit.layers().collect();
    layers.sort_by_key(|l| std::cmp::Reverse(crate::notation::kit_step(piece.groove.layers()[*l].voice)));
    let mut plan = StaffPlan::new(piece, &layers, voices.iter().map(bars).collect(), marks);
    plan.has_five_lines = true;
    plan.clef = Some((glyph::PERCUSSION_CLEF, 0.0));
    let sounds = |voice: usize, bar: &Bar, sound: &NoteSound| {
        let own = |s: &Stroke| (s.layer, NoteSound { attack: s.attack, number: s.number, cell: s.cell, ..*sound });
        voices[voice].1.strokes(bar.section, sound.number).iter().map(own).collect()
    };
    plan.arrange(piece, &layers, notation, sounds);
    plan
}

/// Half spaces above the middle line.
fn step(pitch: SpelledPitch, clef: Clef) -> i32 {
    let letter = "CDEFGAB".find(pitch.letter).unwrap_or(0) as i32;
    i32::from(pitch.octave) * 7 + letter - glyph::clef(clef).2
}

fn planned(bar: &Bar, stems: Stems, heads: impl Fn(&NoteSound) -> Vec<HeadSpec>) -> PlannedBar<'_> {
    let shapes = shapes(bar, stems, heads);
    let tuplet = |t: &Tuplet| {
        let extent =
            shapes.get(t.first..=t.last)?.iter().filter_map(|s| s.extent).fold(None, |a, b| Some(union(a, b)))?;
        let is_above = stems != Stems::Lower;
        // Outside a staff of five lines.
        let outside = if stems == Stems::Line { 0.0 } else { HALF_STAFF };
        let y = if is_above {
            extent.top.min(-outside) - BRACKET_DISTANCE
        } else {
            extent.bottom.max(outside) + BRACKET_DISTANCE
        };
        Some(TupletShape { first: t.first, last: t.last, y, is_above, number: number(t) })
    };
    let tuplets = bar.tuplets.iter().filter_map(tuplet).collect();
    PlannedBar { bar, shapes, tuplets, labels: Vec::new() }
}

/// One number suffices if the other is the next smaller power of two.
fn number(tuplet: &Tuplet) -> String {
    let usual = if tuplet.actual > 1 { 1 << (tuplet.actual - 1).ilog2() } else { 1 };
    if usual == tuplet.normal { tuplet.actual.to_string() } else { format!("{}:{}", tuplet.actual, tuplet.normal) }
}

impl<'a> StaffPlan<'a> {
    fn new(
        piece: &'a ExportInput<'a>,
        layers: &[usize],
        voices: Vec<Vec<PlannedBar<'a>>>,
        marks: &'a [MarkedHearing],
    ) -> Self {
        let names = layers.iter().map(|l| piece.groove.layers()[*l].name.as_str()).collect();
        let is_marked = pulses::marked_layer(piece).is_some_and(|l| layers.contains(&l));
        let marks = if is_marked { marks } else { &[] };
        let (has_five_lines, clef, rows) = (false, None, Vec::new());
        Self { names, has_five_lines, clef, voices, rows, marks, marks_y: 0.0, top: 0.0, bottom: 0.0 }
    }

    /// Places the text around the notes; `sounds` gives what the layers play at a note of a voice.
    fn arrange(
        &mut self,
        piece: &'a ExportInput<'a>,
        layers: &[usize],
        notation: &NotationOptions,
        sounds: impl Fn(usize, &Bar, &NoteSound) -> Vec<LayerSound>,
    ) {
        let (top, bottom) = self.content_edges();
        let annotators: Vec<Annotator<'_>> = layers.iter().map(|l| Annotator::new(piece, *l)).collect();
        // For each layer the rows of its labels over and under the notes: the lengths of groups, and landings.
        let mut rows_of = vec![[[None; 2]; 2]; layers.len()];
        let (mut over, mut under) = (top - TEXT_OVER, bottom + TEXT_UNDER);
        let shown = |text: &crate::describe::notes::Text| [text.groups, text.has_landings()];
        for (layer, annotator) in annotators.iter().enumerate() {
            let name = (layers.len() > 1).then_some(self.names[layer]);
            if annotator.max_labels(&notation.over) > 0 {
                for kind in [1, 0].into_iter().filter(|kind| shown(&notation.over)[*kind]) {
                    rows_of[layer][0][kind] = Some(self.rows.len());
                    self.rows.push(TextRow { baseline: over, name });
                    over -= TEXT_STEP;
                }
            }
            if annotator.max_labels(&notation.under) > 0 {
                for kind in [0, 1].into_iter().filter(|kind| shown(&notation.under)[*kind]) {
                    rows_of[layer][1][kind] = Some(self.rows.len());
                    self.rows.push(TextRow { baseline: under, name });
                    under += TEXT_STEP;
                }
            }
        }
        for (v, voice) in self.voices.iter_mut().enumerate() {
            for PlannedBar { bar, labels, .. } in voice {
                for note in &bar.notes {
                    let Some(sound) = note.sound.filter(|s| !s.tied_from) else { continue };
                    for (layer, own) in sounds(v, bar, &sound) {
                        let Some(index) = layers.iter().position(|l| *l == layer) else { continue };
                        for (side, text) in [&notation.over, &notation.under].into_iter().enumerate() {
                            let found = annotators[index].labels(text, bar, own);
                            for (kind, text) in found.into_iter().enumerate() {
                                let Some((text, row)) = text.zip(rows_of[index][side][kind]) else { continue };
                                // Landings are fainter, since both can be numbers.
                                let class = [StyleClass::Text, StyleClass::Faint][kind];
                                labels.push(Label { start: note.start, row, text, class });
                            }
                        }
                    }
                }
            }
        }
        self.marks_y = over;
        if !self.marks.is_empty() {
            over -= TEXT_STEP;
        }
        self.top = over + TEXT_OVER - 2.0;
        self.bottom = under - TEXT_UNDER + 4.0;
    }

    /// The edges of the notes, the staff and its names.
    fn content_edges(&self) -> (f32, f32) {
        let half = if self.has_five_lines { HALF_STAFF + 1.0 } else { 5.0 };
        let half = half.max(self.names.len() as f32 * NAME_STEP / 2.0);
        let mut edges = Bounds { left: 0.0, top: -half, right: 0.0, bottom: half };
        if let Some((glyph, y)) = self.clef {
            let b = glyph.bounds();
            edges = union(Some(edges), Bounds { top: b.top + y, bottom: b.bottom + y, ..b });
        }
        for bar in self.voices.iter().flatten() {
            edges = bar.shapes.iter().filter_map(|s| s.extent).fold(edges, |a, b| union(Some(a), b));
            for t in &bar.tuplets {
                edges.top = edges.top.min(t.y - HALF_NUMBER);
                edges.bottom = edges.bottom.max(t.y + HALF_NUMBER);
            }
        }
        (edges.top, edges.bottom)
    }
}
