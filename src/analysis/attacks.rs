//! The attacks the analysis looks at: of one layer, several, or a region, in seconds.

use super::clock::Clock;
use crate::rhythm::{Accent, Groove, Region};

/// Which attacks are meant.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Scope {
    /// Layers, from 0; empty means the first layer that has attacks. Muted layers count like the others.
    pub layers: Vec<usize>,
    /// Only what begins in this region; its layers count only if `layers` is empty.
    pub region: Option<Region>,
}

/// An attack in seconds at the written tempos. Attacks of several layers at one time are one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedAttack {
    /// Seconds from the start of the groove.
    pub seconds: f64,
    /// Layer, from 0; the topmost of those that sound together.
    pub layer: usize,
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Cell of the layer in the section.
    pub cell: usize,
    /// The strongest accent of those that sound together.
    pub accent: Accent,
}

impl Scope {
    /// The layers meant in this groove, in order; empty if there is none with attacks.
    pub fn layers_of(&self, groove: &Groove) -> Vec<usize> {
        let count = groove.layers().len();
        if !self.layers.is_empty() {
            let mut layers: Vec<usize> = self.layers.iter().copied().filter(|l| *l < count).collect();
            layers.sort_unstable();
            layers.dedup();
            return layers;
        }
        if let Some(region) = &self.region {
            return region.layers.clone().filter(|l| *l < count).collect();
        }
        let has_attacks =
            |l: &usize| groove.layers()[*l].parts.iter().any(|p| p.stored().iter().any(|c| c.attack().is_some()));
        (0..count).find(has_attacks).into_iter().collect()
    }

    /// Start and end of the time meant, in seconds: the region, or the whole groove.
    pub fn range(&self, groove: &Groove, clock: &Clock) -> (f64, f64) {
        let of_region = self.region.as_ref().and_then(|r| {
            let end = groove.sections().get(r.section)?.length().min(r.to);
            Some((clock.seconds(r.section, 0, r.from)?, clock.seconds(r.section, 0, end)?))
        });
        of_region.filter(|(a, b)| a < b).unwrap_or((0.0, clock.total()))
    }

    /// The attacks meant, in order of time.
    pub fn attacks(&self, groove: &Groove, clock: &Clock) -> Vec<TimedAttack> {
        of_layers(groove, &by_layer(groove, clock), &self.layers_of(groove), self.region.as_ref())
    }
}

/// The attacks of each layer in playing order: worked out once for all that asks about them.
pub(crate) fn by_layer(groove: &Groove, clock: &Clock) -> Vec<Vec<TimedAttack>> {
    let of_layer = |layer| {
        let mut all = Vec::new();
        for (section, s) in groove.sections().iter().enumerate() {
            let once = groove.part(layer, section).attacks(groove.context(layer, section));
            for pass in 0..usize::from(s.times) {
                all.extend(once.iter().filter_map(|a| {
                    let seconds = clock.seconds(section, pass, a.start)?;
                    Some(TimedAttack { seconds, layer, section, pass, cell: a.cell, accent: a.attack.accent })
                }));
            }
        }
        all
    };
    (0..groove.layers().len()).map(of_layer).collect()
}

/// The attacks of some layers in order of time, those at one time joined.
pub(crate) fn of_layers(
    groove: &Groove,
    by_layer: &[Vec<TimedAttack>],
    layers: &[usize],
    region: Option<&Region>,
) -> Vec<TimedAttack> {
    let mut all: Vec<TimedAttack> = Vec::new();
    for &layer in layers {
        let cells = region.map(|r| groove.cells_in(layer, r));
        let is_inside = |a: &&TimedAttack| {
            region.is_none_or(|r| r.section == a.section && a.pass == 0)
                && cells.as_ref().is_none_or(|c| c.contains(&a.cell))
        };
        all.extend(by_layer[layer].iter().filter(is_inside));
    }
    all.sort_by(|a, b| a.seconds.total_cmp(&b.seconds).then(a.layer.cmp(&b.layer)));
    let mut joined: Vec<TimedAttack> = Vec::with_capacity(all.len());
    for attack in all {
        match joined.last_mut() {
            // Positions are exact before they are rounded to seconds, so a microsecond tells them apart.
            Some(last) if attack.seconds - last.seconds < 1e-6 => last.accent = last.accent.max(attack.accent),
            _ => joined.push(attack),
        }
    }
    joined
}
