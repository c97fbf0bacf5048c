//! The attacks of a recording as layers of a groove that has anchors.

use super::beats::GrooveBeats;
use super::usual_division;
use crate::recording::fit;
use crate::recording::fit::Onset;
use crate::recording::fit::transcribe::{self, Bars, Layer as FoundLayer, Role};
use crate::rhythm::bounds::{CELLS_OF_LAYER, LAYERS};
use crate::rhythm::{Accent, Attack, Cell, EditError, Groove, Layer, Part, Span, Swing, Voice};
use num_integer::lcm;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Cells that a beat off the division of its layer costs when the division is chosen (ours, no source).
const OFF_DIVISION: usize = 6;

/// Where the attacks go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// To a new layer for each kind of sound. Layers stay, unless the groove has no attacks at all.
    NewLayers,
    /// To this layer, whose cells are replaced.
    Layer(usize),
}

/// Whether suggested accents are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Accents {
    /// Every attack is plain.
    Plain,
    /// As suggested by the strengths.
    Suggested,
}

/// A layer that was written.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenLayer {
    /// Its name in the groove.
    pub name: String,
    /// Its attacks in order of time.
    pub attacks: Vec<WrittenAttack>,
    /// Attacks that found their cell taken.
    pub doubled: usize,
}

/// An attack that was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrittenAttack {
    /// Index of its onset.
    pub onset: usize,
    /// Beat in playing order, from 0, with the part of the beat.
    pub beat: f64,
    /// Seconds after its cell, before it negative.
    pub deviation: f64,
    /// Suggested accent.
    pub accent: transcribe::Accent,
}

/// A groove with the attacks of its recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Transcribed {
    /// The groove.
    pub groove: Groove,
    /// The layers written.
    pub layers: Vec<WrittenLayer>,
    /// Standard deviation of attacks from their cells, in seconds.
    pub sigma: f64,
    /// Onsets outside the groove.
    pub outside: usize,
}

impl Transcribed {
    /// Number of attacks whose suggested accent is not plain.
    pub fn accents(&self) -> usize {
        let attacks = self.layers.iter().flat_map(|layer| &layer.attacks);
        attacks.filter(|a| a.accent != transcribe::Accent::Plain).count()
    }
}

/// Onsets read as kinds of sound on the beats of a groove, to be written as its layers.
#[derive(Debug, Clone)]
pub struct Reading {
    beats: GrooveBeats,
    found: fit::transcribe::Transcription,
    outside: usize,
}

impl Reading {
    /// Reads onsets as several kinds of sound, or as one. `None` if the groove has no anchors.
    pub fn new(groove: &Groove, onsets: &[Onset], target: Target) -> Option<Self> {
        let beats = GrooveBeats::of(groove)?;
        let bars = beats.per_bar.map(|beats| Bars { beats, downbeat: 0 });
        let found = match target {
            Target::NewLayers => transcribe::transcribe(onsets, &beats.seconds, bars),
            Target::Layer(_) => transcribe::transcribe_as_one(onsets, &beats.seconds, bars),
        };
        let (first, last) = (beats.seconds[0], beats.seconds[beats.seconds.len() - 1]);
        let margin = (last - first) / (beats.seconds.len() - 1).max(1) as f64 / 2.0;
        let outside = onsets.iter().filter(|o| o.seconds < first - margin || o.seconds > last).count();
        Some(Self { beats, found, outside })
    }

    /// Writes what was read.
    ///
    /// # Errors
    /// There are no attacks, the layer is not there, or a bound of a groove is exceeded.
    pub fn written(&self, groove: &Groove, target: Target, accents: Accents) -> Result<Transcribed, EditError> {
        if self.found.layers.is_empty() {
            return Err(EditError::Impossible("there are no onsets within the bars of the groove"));
        }
        let is_empty = (0..groove.layers().len()).all(|layer| groove.events(layer).is_empty());
        let mut layers: Vec<Layer> = match target {
            Target::NewLayers if is_empty => Vec::new(),
            _ => groove.layers().iter().map(|l| (**l).clone()).collect(),
        };
        let mut written = Vec::new();
        for found in &self.found.layers {
            let cells = self.cells(groove, found, accents);
            let layer = match target {
                Target::NewLayers => Layer::new(
                    &free_name(&layers, found.prototype.role.name()),
                    voice(found.prototype.role),
                    1,
                    Vec::new(),
                ),
                Target::Layer(at) => layers.get(at).cloned().ok_or(EditError::NoSuchPlace("layer"))?,
            };
            let layer =
                Layer { divisions: cells.divisions, parts: cells.parts, swing: cells.swing.or(layer.swing), ..layer };
            written.push(WrittenLayer { name: layer.name.clone(), attacks: cells.attacks, doubled: cells.doubled });
            match target {
                Target::NewLayers if layers.len() as i64 >= LAYERS.greatest => {
                    return Err(EditError::Impossible("there is no room for more layers"));
                }
                Target::NewLayers => layers.push(layer),
                Target::Layer(at) => layers[at] = layer,
            }
        }
        let new = Groove::new(groove.title(), groove.note(), groove.sections().to_vec(), layers)?;
        let groove = new.with_recording(groove.recording().cloned())?;
        Ok(Transcribed { groove, layers: written, sigma: self.found.sigma, outside: self.outside })
    }

    /// The cells of a layer in every section: those of the first pass through it.
    fn cells(&self, groove: &Groove, found: &FoundLayer, accents: Accents) -> LayerCells {
        let swing = found.swung.as_ref().and_then(|s| {
            let swing = Swing::parse(&format!("{}:{}", s.swing.long, s.swing.short))?;
            Some((swing, s.swing.cells))
        });
        let attacks = found.swung.as_ref().filter(|_| swing.is_some()).map_or(&found.attacks, |s| &s.attacks);
        let mut beats: BTreeMap<(usize, usize), BeatCells> = BTreeMap::new();
        let (mut written, mut doubled) = (Vec::new(), 0);
        for attack in attacks {
            // A division over two beats is written as so many cells in each of them.
            let (cells, within) = (attack.division.cells, attack.cell * attack.division.beats);
            let beat = attack.beat + i64::from(within / cells);
            let place = usize::try_from(beat).ok().and_then(|beat| self.beats.places.get(beat));
            let Some(&(section, pass, beat_of_section)) = place else { continue };
            let common = num_integer::gcd(within % cells, cells).max(1);
            let at = (within % cells / common, cells / common);
            written.push(WrittenAttack {
                onset: attack.onset,
                beat: beat as f64 + f64::from(at.0) / f64::from(at.1),
                deviation: attack.deviation,
                accent: attack.accent,
            });
            if pass > 0 {
                continue;
            }
            let accent = match (accents, attack.accent) {
                (Accents::Suggested, transcribe::Accent::Ghost) => Accent::Ghost,
                (Accents::Suggested, transcribe::Accent::Accent) => Accent::Accent,
                _ => Accent::Plain,
            };
            let in_beat = beats.entry((section, beat_of_section)).or_default();
            doubled += usize::from(in_beat.insert(at, accent).is_some());
        }
        let sections = groove.sections();
        let mut cells = LayerCells { swing: swing.map(|s| s.0), attacks: written, doubled, ..LayerCells::default() };
        for (section, s) in sections.iter().enumerate() {
            let of_section: Vec<&BeatCells> =
                beats.range((section, 0)..(section + 1, 0)).map(|(_, beat)| beat).collect();
            let most = CELLS_OF_LAYER.greatest as usize / (s.beats() * usize::from(s.times)).max(1);
            let division = swing.map_or_else(|| division(&of_section, usual_division(&s.meter), most), |s| s.1 as u16);
            let (mut spans, mut all) = (Vec::with_capacity(s.beats()), Vec::new());
            for beat in 0..s.beats() {
                let in_beat = beats.get(&(section, beat));
                let count = in_beat.map_or(division, |b| if fits(b, division) { division } else { fewest(b) });
                spans.push(Span { beats: 1, cells: count });
                let first = all.len();
                all.resize(first + usize::from(count), Cell::Rest);
                for ((cell, of), accent) in in_beat.into_iter().flatten() {
                    let at = first + (*cell * u32::from(count) / of) as usize;
                    all[at] = Cell::Attack(Attack { accent: *accent, ..Attack::default() });
                }
            }
            cells.divisions.push(division);
            cells.parts.push(Arc::new(Part::Barred { spans, cells: all }));
        }
        cells
    }
}

/// Attacks within a beat: the numerator and denominator of their place, and the accent.
type BeatCells = BTreeMap<(u32, u32), Accent>;

#[derive(Default)]
struct LayerCells {
    divisions: Vec<u16>,
    parts: Vec<Arc<Part>>,
    swing: Option<Swing>,
    attacks: Vec<WrittenAttack>,
    doubled: usize,
}

/// The division that leaves the fewest beats to be divided otherwise, the usual one of equally good ones.
fn division(beats: &[&BeatCells], usual: u16, most: usize) -> u16 {
    let cost = |division: u16| {
        let others = beats.iter().filter(|beat| !fits(beat, division)).count();
        OFF_DIVISION * others + if division == usual { 0 } else { usize::from(division) }
    };
    let candidates = [usual, 1, 2, 3, 4, 6, 8, 5, 12].into_iter().filter(|d| usize::from(*d) <= most);
    candidates.min_by_key(|division| cost(*division)).unwrap_or(1)
}

fn fits(beat: &BeatCells, division: u16) -> bool {
    beat.keys().all(|(_, of)| u32::from(division).is_multiple_of(*of))
}

/// The fewest cells that have a place for every attack.
fn fewest(beat: &BeatCells) -> u16 {
    beat.keys().fold(1, |cells, (_, of)| lcm(cells, *of)) as u16
}

/// The voice that plays a kind of sound: the instrument, or one of about its pitch.
fn voice(role: Role) -> Voice {
    match role {
        Role::Kick => Voice::Kick,
        Role::Snare => Voice::Snare,
        Role::Hat => Voice::Hat,
        Role::Low => Voice::LowTom,
        Role::Middle => Voice::Wood,
        Role::High => Voice::Shaker,
    }
}

/// The name, with a number if a layer has it already.
fn free_name(layers: &[Layer], name: &str) -> String {
    let mut names = std::iter::once(name.to_owned()).chain((2..).map(|n| format!("{name} {n}")));
    names.find(|name| layers.iter().all(|l| l.name != *name)).unwrap_or_default()
}
