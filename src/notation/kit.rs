//! Drums that share a staff: the layers of one voice of it become one line of notes. The feet have stems that point down, the hands
//! stems that point up.

use super::spell::{CellBeats, Line};
use super::{Bar, FormatError, HeadShape, Score, Spelling, Staff, StaffKind, section_range};
use crate::rhythm::{Attack, Groove, SoundedAttack, Time, Voice};
use num_integer::Integer;
use std::ops::Range;

/// Most cells in a beat of several layers together.
const MAX_CELLS: usize = 4096;

/// A staff for several layers of drums.
#[derive(Debug, Clone)]
pub(crate) struct Kit {
    /// With stems up and with stems down; the second is `None` without a bass drum.
    pub(crate) voices: [Option<KitVoice>; 2],
}

/// The layers whose stems point in one direction, as one line of notes: a note is as long as the longest of its strokes, and ends at
/// the next one.
#[derive(Debug, Clone)]
pub(crate) struct KitVoice {
    pub(crate) layers: Vec<usize>,
    pub(crate) bars: Vec<Bar>,
    /// The strokes of each attack, by section from the first one written.
    strokes: Vec<Vec<Vec<Stroke>>>,
    first_section: usize,
}

/// What one layer plays at an attack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stroke {
    pub(crate) layer: usize,
    pub(crate) attack: Attack,
    /// The attack in the layer's part of the section, from 0.
    pub(crate) number: usize,
    /// The cell of the attack.
    pub(crate) cell: usize,
}

impl Kit {
    /// The staff for the drums of a score that can share one, or `None` if fewer than two can. A layer keeps a line of its own if it
    /// is muted, if its voice is in the kit already, or if its tuplets do not fit into those of the others.
    pub(crate) fn of_score(
        score: &Score,
        groove: &Groove,
        section: Option<usize>,
        spelling: Spelling,
    ) -> Result<Option<Self>, FormatError> {
        let sections = section_range(groove, section)?;
        let mut voices: [Option<KitVoice>; 2] = [None, None];
        let mut used: Vec<Voice> = Vec::new();
        for staff in &score.staves {
            let layer = &groove.layers()[staff.layer];
            if staff.kind != StaffKind::Line || layer.mute || used.contains(&layer.voice) {
                continue;
            }
            let voice = &mut voices[usize::from(layer.voice == Voice::Kick)];
            let mut layers = voice.as_ref().map_or_else(Vec::new, |v| v.layers.clone());
            layers.push(staff.layer);
            if let Some(merged) = KitVoice::merged(score, groove, layers, sections.clone(), spelling) {
                *voice = Some(merged);
                used.push(layer.voice);
            }
        }
        Ok((used.len() > 1).then_some(Self { voices }))
    }

    pub(crate) fn layers(&self) -> impl Iterator<Item = usize> {
        self.voices.iter().flatten().flat_map(|v| v.layers.iter().copied())
    }
}

/// The place of a drum on the staff, in steps above the middle line: common practice for a drum set, no source.
pub(crate) fn step(voice: Voice) -> i32 {
    match voice {
        Voice::Kick => -3,
        Voice::Clap | Voice::Bass | Voice::Pluck => 0,
        Voice::Snare | Voice::Rim => 1,
        Voice::LowTom => -1,
        Voice::Tom => 2,
        Voice::Wood | Voice::Cowbell => 3,
        Voice::Bell | Voice::Shaker | Voice::Ride => 4,
        Voice::Hat | Voice::OpenHat => 5,
        Voice::Crash => 6,
    }
}

impl Stroke {
    /// The head of the stroke, and its place in steps above the middle line.
    pub(crate) fn head(self, groove: &Groove) -> (HeadShape, i32) {
        let voice = groove.layers()[self.layer].voice;
        (HeadShape::for_voice(voice), step(voice))
    }
}

impl KitVoice {
    /// The strokes of an attack of a section.
    pub(crate) fn strokes(&self, section: usize, attack: usize) -> &[Stroke] {
        let section = section.checked_sub(self.first_section).and_then(|s| self.strokes.get(s));
        section.and_then(|s| s.get(attack)).map_or(&[], Vec::as_slice)
    }

    /// `None` if tuplets of the layers do not fit into each other.
    fn merged(
        score: &Score,
        groove: &Groove,
        layers: Vec<usize>,
        sections: Range<usize>,
        spelling: Spelling,
    ) -> Option<Self> {
        let (mut bars, mut strokes) = (Vec::new(), Vec::new());
        for section in sections.clone() {
            let lines: Vec<(usize, Line)> = layers.iter().map(|l| (*l, Line::of_layer(groove, *l, section))).collect();
            let (line, struck) = merge(&lines)?;
            bars.extend(line.bars(groove, layers[0], section, None, spelling).ok()?);
            strokes.push(struck);
        }
        let members: Vec<&Staff> = score.staves.iter().filter(|s| layers.contains(&s.layer)).collect();
        let fits = bars.iter().enumerate().all(|(i, bar)| has_no_new_tuplet(bar, &members.iter().map(|s| &s.bars[i])));
        fits.then_some(Self { layers, bars, strokes, first_section: sections.start })
    }
}

/// Whether every tuplet of a bar is one of the layers' own.
fn has_no_new_tuplet<'a>(bar: &Bar, members: &(impl Iterator<Item = &'a Bar> + Clone)) -> bool {
    let start = |bar: &Bar, first: usize| bar.notes[first].start;
    bar.tuplets.iter().all(|t| {
        let is_same = |other: &Bar| {
            let same = |o: &&super::Tuplet| (o.actual, o.normal, o.unit) == (t.actual, t.normal, t.unit);
            other.tuplets.iter().filter(same).any(|o| start(other, o.first) == start(bar, t.first))
        };
        members.clone().any(is_same)
    })
}

/// The attacks of several layers in one line, and the strokes of each. `None` if their cells have no common measure of a usual size.
fn merge(lines: &[(usize, Line)]) -> Option<(Line, Vec<Vec<Stroke>>)> {
    let mut all: Vec<(Time, Time, Stroke)> = Vec::new();
    for (layer, line) in lines {
        let stroke = |(number, a): (usize, &SoundedAttack)| {
            (a.start, a.end, Stroke { layer: *layer, attack: a.attack, number, cell: a.cell })
        };
        all.extend(line.attacks.iter().enumerate().map(stroke));
    }
    all.sort_by_key(|(start, ..)| *start);
    let chords: Vec<&[(Time, Time, Stroke)]> = all.chunk_by(|a, b| a.0 == b.0).collect();
    let (mut attacks, mut strokes) = (Vec::with_capacity(chords.len()), Vec::with_capacity(chords.len()));
    for (i, chord) in chords.iter().enumerate() {
        let (start, _, first) = chord[0];
        let longest = chord.iter().map(|c| c.1).max()?;
        let end = chords.get(i + 1).map_or(longest, |next| next[0].0.min(longest));
        let accent = chord.iter().map(|c| c.2.attack.accent).max()?;
        let flam = chord.iter().any(|c| c.2.attack.flam);
        let attack = Attack { accent, flam, ..first.attack };
        attacks.push(SoundedAttack { cell: first.cell, attack, start, end });
        strokes.push(chord.iter().map(|c| c.2).collect());
    }
    let lines: Vec<&[CellBeats]> = lines.iter().map(|(_, line)| &line.cells[..]).collect();
    Some((Line { attacks, cells: merge_cells(&lines)? }, strokes))
}

/// Divides the beats so that every cell of every line consists of whole cells.
fn merge_cells(lines: &[&[CellBeats]]) -> Option<Vec<CellBeats>> {
    let mut rest: Vec<&[CellBeats]> = lines.to_vec();
    let mut merged: Vec<CellBeats> = Vec::new();
    while let Some(beat) = rest.first().and_then(|l| l.first()).map(|c| c.beat) {
        // The first beat at which a span ends in every line.
        let mut end = beat;
        loop {
            let ends = rest.iter().filter_map(|l| l.iter().map(|c| c.end()).find(|e| *e >= end.max(beat + 1)));
            let farthest = ends.max()?;
            if farthest == end {
                break;
            }
            end = farthest;
        }
        let mut per_beat = 1_usize;
        for line in &mut rest {
            let count = line.iter().take_while(|c| c.end() <= end).count();
            let (taken, later) = line.split_at(count);
            for span in taken {
                per_beat = per_beat.lcm(&(span.cells / span.cells.gcd(&span.beats)));
            }
            *line = later;
        }
        let beats = end - beat;
        merged.push(CellBeats { beat, beats, cells: beats.checked_mul(per_beat).filter(|c| *c <= MAX_CELLS)? });
    }
    Some(merged)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::tests::grooves;
    use crate::rhythm::{Fraction, Layer, Meter, Section, Tempo, cell_notation};
    use proptest::prelude::*;

    /// A bar of 4/4 with a layer for each voice, division and drawing of its cells.
    fn groove(rows: &[(Voice, u16, &str)]) -> Groove {
        let meter = Meter::parse("4/4").expect("meter");
        let tempo = Tempo::new(Fraction::whole(100), meter.beat()).expect("tempo");
        let layer = |(i, (voice, division, cells)): (usize, &(Voice, u16, &str))| {
            let part = cell_notation::parse_bars(cells, &meter, 1, *division).expect("cells");
            Layer::new(&format!("{voice} {i}"), *voice, *division, vec![part])
        };
        let layers = rows.iter().enumerate().map(layer).collect();
        let section = Section { name: "A".into(), meter: meter.clone(), tempo, bars: 1, times: 1, swing: None };
        Groove::new("t", "", vec![section], layers).expect("groove")
    }

    fn kit(groove: &Groove) -> Option<Kit> {
        let score = Score::spell(groove, None, Spelling::default()).expect("a score");
        Kit::of_score(&score, groove, None, Spelling::default()).expect("the section exists")
    }

    #[test]
    fn hands_and_feet_have_a_voice_each() {
        let groove = groove(&[
            (Voice::Hat, 2, "xxxxxxxx"),
            (Voice::Snare, 4, "....X..x....X..."),
            (Voice::Kick, 1, "x.x."),
            (Voice::Bass, 1, "x..."),
        ]);
        let kit = kit(&groove).expect("three drums");
        let [Some(hands), Some(feet)] = &kit.voices else { panic!("{kit:?}") };
        assert_eq!((&hands.layers[..], &feet.layers[..]), (&[0, 1][..], &[2][..]));
        let values: Vec<String> = hands.bars[0].notes.iter().map(|n| n.length.to_string()).collect();
        assert_eq!(values.join(" "), "1/8 1/8 1/8 1/16 1/16 1/8 1/8 1/8 1/8");
        let beat_two: Vec<usize> = hands.strokes(0, 2).iter().map(|s| s.layer).collect();
        assert_eq!(beat_two, [0, 1]);
    }

    #[test]
    fn tuplets_against_each_other_keep_separate_lines() {
        let with = |snare: (Voice, u16, &str)| {
            let groove = groove(&[(Voice::Hat, 3, "xxxxxxxxxxxx"), snare, (Voice::Kick, 1, "x...")]);
            kit(&groove).map(|k| k.layers().collect::<Vec<_>>())
        };
        assert_eq!(with((Voice::Snare, 4, "....x.......x...")), Some(vec![0, 1, 2]), "on the beats");
        assert_eq!(with((Voice::Snare, 4, "......x.....x...")), Some(vec![0, 2]), "against them");
        // A second layer of a voice would have the same heads.
        assert_eq!(with((Voice::Hat, 3, "x..x..x..x..")), Some(vec![0, 2]));
        assert!(kit(&groove(&[(Voice::Hat, 1, "xxxx"), (Voice::Bass, 1, "xxxx")])).is_none());
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(128))]

        #[test]
        fn every_attack_of_a_layer_is_a_stroke(groove in grooves()) {
            let Some(kit) = kit(&groove) else { return Ok(()) };
            for voice in kit.voices.iter().flatten() {
                for (section, layer) in (0..groove.sections().len()).flat_map(|s| voice.layers.iter().map(move |l| (s, *l))) {
                    let notes = voice.bars.iter().filter(|b| b.section == section).flat_map(|b| &b.notes);
                    let struck = notes.filter_map(|n| n.sound).filter(|s| !s.tied_from);
                    let strokes = struck.flat_map(|s| voice.strokes(section, s.number)).filter(|s| s.layer == layer);
                    let numbers: Vec<usize> = strokes.map(|s| s.number).collect();
                    let attacks = groove.part(layer, section).attacks(groove.context(layer, section)).len();
                    prop_assert_eq!(numbers, (0..attacks).collect::<Vec<_>>());
                }
            }
        }
    }
}
