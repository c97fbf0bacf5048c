//! Grooves for the model's tests, written as patterns, and what they share.

mod cuts;
mod figures;
mod grooves;
mod invariance;
mod listeners;
mod off_grid;
mod oracle;
mod over_time;
mod plain;
mod results;

use super::{Context, Input, Listening, Params, PulseKind, TimedSection, VoicedAttack, WrittenMeter, listen};
use crate::rhythm::{Accent, Voice};

/// A meter as it is written: beats in a bar, divided into as many parts; heads in beats.
#[derive(Debug, Clone, Copy)]
pub(super) struct Meter {
    pub(super) beats: usize,
    pub(super) parts: u8,
    pub(super) heads: &'static [usize],
}

pub(super) const FOUR: Meter = simple(4);
pub(super) const THREE: Meter = simple(3);
pub(super) const TWO: Meter = simple(2);
/// 6/8: two beats of three.
pub(super) const SIX: Meter = Meter { beats: 2, parts: 3, heads: &[] };

/// 12/8: four beats of three.
pub(super) const TWELVE: Meter = Meter { beats: 4, parts: 3, heads: &[] };

pub(super) const fn simple(beats: usize) -> Meter {
    Meter { beats, parts: 2, heads: &[] }
}

/// Bars of one meter with layers that are repeated as cycles until the bars are full.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub(super) meter: Meter,
    pub(super) bpm: f64,
    pub(super) bars: usize,
    /// Voice, cells per beat, cells: `x` an attack, `X` an accent, `o` a ghost, anything else a rest.
    pub(super) layers: Vec<(Voice, usize, String)>,
}

impl Piece {
    pub(super) fn new(meter: Meter, bpm: f64, bars: usize, layers: &[(Voice, usize, &str)]) -> Self {
        let layers = layers.iter().map(|l| (l.0, l.1, l.2.to_owned())).collect();
        Self { meter, bpm, bars, layers }
    }

    /// A layer of groups, each an attack and rests.
    pub(super) fn groups(meter: Meter, bpm: f64, bars: usize, division: usize, groups: &[usize]) -> Self {
        let mut cells = String::new();
        for g in groups {
            cells.push('x');
            cells.extend(std::iter::repeat_n('.', g - 1));
        }
        Self::new(meter, bpm, bars, &[(Voice::Pluck, division, &cells)])
    }

    pub(super) fn input(&self) -> Input {
        sequence(std::slice::from_ref(self))
    }

    pub(super) fn heard(&self) -> Listening {
        listen(&self.input()).expect("a pulse")
    }
}

/// Pieces one after the other.
pub(super) fn sequence(pieces: &[Piece]) -> Input {
    let (mut attacks, mut sections, mut start) = (Vec::new(), Vec::new(), 0.0);
    for piece in pieces {
        let beat = 60.0 / piece.bpm;
        let bar = beat * piece.meter.beats as f64;
        for (layer, (voice, division, cells)) in piece.layers.iter().enumerate() {
            let cells: Vec<char> = cells.chars().filter(|c| *c != ' ').collect();
            for i in 0..piece.bars * piece.meter.beats * division {
                let accent = match cells[i % cells.len()] {
                    'x' => Accent::Plain,
                    'X' => Accent::Accent,
                    'o' => Accent::Ghost,
                    _ => continue,
                };
                let seconds = start + i as f64 * beat / *division as f64;
                attacks.push(VoicedAttack { seconds, accent, voice: *voice, layer });
            }
        }
        let heads = piece.meter.heads.iter().map(|h| *h as f64 * beat).collect();
        let meter = WrittenMeter { origin: start, bar, beat, parts: piece.meter.parts, heads };
        let end = start + bar * piece.bars as f64;
        // Pieces of one tempo are heard as one.
        sections.push(TimedSection { start, end, whole: beat * 4.0, meter });
        start = end;
    }
    Input { attacks, sections, speed: 1.0, params: Params::default(), context: Context::After(None) }
}

/// The answer in a line, for messages.
pub(super) fn line(l: &Listening) -> String {
    let hearings: Vec<String> = l
        .hearings
        .iter()
        .take(4)
        .map(|h| {
            let tempos: Vec<String> = h.stretches.iter().map(|s| format!("{:.1}", s.bpm)).collect();
            let mark = if h.keeps_written() { "*" } else { "" };
            format!("{:?}{mark} {} {:.2} at {:.0}", h.kind, tempos.join(">"), h.probability, h.pulses[0] * 1000.0)
        })
        .collect();
    format!("{} written {:.2} feel {:.2}", hearings.join(" | "), l.written, l.feel)
}

/// Ranks with ties averaged.
fn ranks(values: &[f64]) -> Vec<f64> {
    values
        .iter()
        .map(|v| {
            let below = values.iter().filter(|x| *x < v).count() as f64;
            let same = values.iter().filter(|x| *x == v).count() as f64;
            below + 0.5 * same + 0.5
        })
        .collect()
}

/// Spearman's rank correlation.
pub(super) fn spearman(a: &[f64], b: &[f64]) -> f64 {
    let (a, b) = (ranks(a), ranks(b));
    let mean = 0.5 * (a.len() + 1) as f64;
    let sum = |f: &dyn Fn(usize) -> f64| (0..a.len()).map(f).sum::<f64>();
    let cov = sum(&|i| (a[i] - mean) * (b[i] - mean));
    cov / (sum(&|i| (a[i] - mean).powi(2)) * sum(&|i| (b[i] - mean).powi(2))).sqrt()
}

pub(super) fn is_even_on(l: &Listening, every: usize, from: usize, cell: f64, cells: usize) -> bool {
    let h = &l.hearings[0];
    h.kind == PulseKind::Even
        && h.pulses.iter().all(|p| {
            let at = (p / cell).round() as usize % cells;
            (at + cells - from % cells).is_multiple_of(every)
        })
}
