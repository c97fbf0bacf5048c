//! The swing that a part states: only what the groove plays, for a section where that is possible, else bar by bar.

use crate::notation::{Bar, NoteLengths, NoteValue, Staff, SwungValue};
use crate::rhythm::{Fraction, Groove, PartContext, SoundedAttack, Swing, Time};

/// The swing in force over a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct StatedSwing {
    /// `None` is straight.
    pub(super) words: Option<Swing>,
    /// As an instruction for playback; `None` plays straight.
    pub(super) playback: Option<SwungValue>,
}

/// The onset or end of a note, from the start of its bar.
pub(super) struct Edge {
    pub(super) written: Time,
    pub(super) sounding: Time,
    pub(super) in_tuplet: bool,
}

impl StatedSwing {
    /// The edges that are played at other times than in the groove; `None` if playback moves one to a wrong time. Tuplets are played
    /// as written.
    fn missed_edges(self, edges: &[Edge], bar: Time) -> Option<usize> {
        let mut misses = 0;
        for edge in edges {
            let played = match self.playback {
                Some(swung) if !edge.in_tuplet => swung.sounding_time(edge.written, bar)?,
                _ => edge.written,
            };
            if played != edge.sounding {
                misses += 1;
                if played != edge.written {
                    return None;
                }
            }
        }
        Some(misses)
    }
}

/// The swing over each bar of a layer's staff. Adds a sentence for each section whose swing cannot be stated.
pub(super) fn plan_swing(
    groove: &Groove,
    staff: &Staff,
    lengths: NoteLengths,
    remarks: &mut Vec<String>,
) -> Vec<StatedSwing> {
    plan_swing_of(groove, staff.layer, &staff.bars, remarks, |bars, context| {
        let attacks = groove.part(staff.layer, bars[0].section).attacks(context);
        bars.iter().map(|b| edges(b, &attacks, context.meter.bar(), lengths)).collect()
    })
}

/// The swing over bars that have the swing and the cells of a layer. `edges` gives those of the bars of a section.
pub(super) fn plan_swing_of(
    groove: &Groove,
    layer: usize,
    bars: &[Bar],
    remarks: &mut Vec<String>,
    edges: impl Fn(&[Bar], PartContext<'_>) -> Vec<Vec<Edge>>,
) -> Vec<StatedSwing> {
    let mut all: Vec<StatedSwing> = Vec::with_capacity(bars.len());
    for bars in bars.chunk_by(|a, b| a.section == b.section) {
        let section = bars[0].section;
        let context = groove.context(layer, section);
        let Some(swing) = context.swing.filter(|s| Some(s.share()) != Fraction::new(1, 2)) else {
            all.extend(bars.iter().map(|_| StatedSwing::default()));
            continue;
        };
        let bar = context.meter.bar();
        let edges = edges(bars, context);
        let of_cell = context.meter.beat().divided(usize::from(context.division)).and_then(NoteValue::undotted);
        let before = all.last().copied().unwrap_or_default();
        let whole = candidates(before, swing, of_cell);
        if let Some(found) = whole.into_iter().find(|c| edges.iter().all(|e| c.missed_edges(e, bar) == Some(0))) {
            all.extend(bars.iter().map(|_| found));
            continue;
        }
        let mut misses = 0;
        for edges in &edges {
            let before = all.last().copied().unwrap_or_default();
            let possible = candidates(before, swing, of_cell).into_iter();
            let best =
                possible.filter_map(|c| Some((c.missed_edges(edges, bar)?, c))).min_by_key(|(missed, _)| *missed);
            let (missed, mut best) = best.unwrap_or_default();
            if missed > 0 {
                best.words = Some(swing);
            }
            misses += missed;
            all.push(best);
        }
        if misses > 0 {
            let (layer, section) = (&groove.layers()[layer].name, &groove.sections()[section].name);
            remarks.push(format!(
                "layer '{layer}', section '{section}': MusicXML cannot express all of its swing {swing}; {misses} of the \
                 onsets and note ends play straight"
            ));
        }
    }
    all
}

/// What may be stated, the preferred first: what is in force, straight, and the swing of each value, that of the layer's cells first.
fn candidates(before: StatedSwing, swing: Swing, of_cell: Option<NoteValue>) -> Vec<StatedSwing> {
    let mut values = SwungValue::VALUES;
    values.sort_by_key(|v| Some(*v) != of_cell);
    let swung = values.map(|v| SwungValue { swing, value: v.length() });
    let swung = swung.map(|s| StatedSwing { words: Some(swing), playback: Some(s) });
    let before = Some(before).filter(|b| b.words == Some(swing));
    before.into_iter().chain([StatedSwing::default()]).chain(swung).collect()
}

/// The ends of notes count if they are written where the attacks end.
fn edges(bar: &Bar, attacks: &[SoundedAttack], length: Time, lengths: NoteLengths) -> Vec<Edge> {
    let start = length.repeated(bar.number);
    let mut all = Vec::new();
    for note in &bar.notes {
        let Some(sound) = note.sound else { continue };
        let (attack, in_tuplet) = (attacks[sound.number], note.tuplet.is_some());
        let ends = [
            (!sound.tied_from).then_some((Some(note.start), attack.start)),
            (!sound.tied_to && lengths == NoteLengths::Cells).then_some((note.start.plus(note.length), attack.end)),
        ];
        for (written, sounding) in ends.into_iter().flatten() {
            let sounding = start.and_then(|s| sounding.minus(s));
            all.extend(written.zip(sounding).map(|(written, sounding)| Edge { written, sounding, in_tuplet }));
        }
    }
    all
}
