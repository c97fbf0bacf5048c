//! The attacks the analysis looks at: of one layer, several, or a region, in seconds.

use super::clock::Clock;
use crate::rhythm::{Accent, Groove, Region};
use std::borrow::Cow;

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
    pub(crate) layer: usize,
    pub(crate) section: usize,
    /// Time through, from 0.
    pub(crate) pass: usize,
    /// Cell of the layer in the section.
    pub(crate) cell: usize,
    /// The strongest accent of those that sound together.
    pub(crate) accent: Accent,
}

impl Scope {
    /// The layers meant in this groove, in order; empty if there is none with attacks.
    pub(crate) fn layers_of(&self, groove: &Groove) -> Vec<usize> {
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
    pub(crate) fn range(&self, groove: &Groove, clock: &Clock) -> (f64, f64) {
        let of_region = self.region.as_ref().and_then(|r| {
            let end = groove.sections().get(r.section)?.length().min(r.to);
            Some((clock.seconds(r.section, 0, r.from)?, clock.seconds(r.section, 0, end)?))
        });
        of_region.filter(|(a, b)| a < b).unwrap_or((0.0, clock.total()))
    }
}

/// Most attacks that [`LayerAttacks`] keeps: some ten megabytes.
const MAX_KEPT_ATTACKS: usize = 1 << 18;
/// Fewest attacks that are joined before all of them are there.
pub(super) const MIN_UNJOINED_ATTACKS: usize = 4096;

/// The attacks of each layer in playing order: worked out once for all that ask about them, unless they are too many to keep.
pub(crate) struct LayerAttacks<'a> {
    pub(crate) groove: &'a Groove,
    pub(crate) clock: &'a Clock,
    /// Those of the first layers.
    kept: Vec<Vec<TimedAttack>>,
}

impl<'a> LayerAttacks<'a> {
    pub(crate) fn new(groove: &'a Groove, clock: &'a Clock) -> Self {
        let (mut kept, mut count) = (Vec::new(), 0);
        for layer in 0..groove.layers().len() {
            let attacks = attacks_of(groove, clock, layer);
            count += attacks.len();
            if count > MAX_KEPT_ATTACKS {
                break;
            }
            kept.push(attacks);
        }
        Self { groove, clock, kept }
    }

    pub(crate) fn layer(&self, layer: usize) -> Cow<'_, [TimedAttack]> {
        match self.kept.get(layer) {
            Some(attacks) => Cow::Borrowed(attacks),
            None => Cow::Owned(attacks_of(self.groove, self.clock, layer)),
        }
    }

    /// The attacks of some layers in order of time, those at one time joined.
    pub(crate) fn joined(&self, layers: &[usize], region: Option<&Region>) -> Vec<TimedAttack> {
        let (mut all, mut joined) = (Vec::new(), 0);
        for &layer in layers {
            let cells = region.map(|r| self.groove.cells_in(layer, r));
            let is_inside = |a: &&TimedAttack| {
                region.is_none_or(|r| r.section == a.section && a.pass == 0)
                    && cells.as_ref().is_none_or(|c| c.contains(&a.cell))
            };
            all.extend(self.layer(layer).iter().filter(is_inside));
            // Layers that sound together would otherwise need memory for each of them.
            if all.len() > 2 * joined + MIN_UNJOINED_ATTACKS {
                join(&mut all);
                joined = all.len();
            }
        }
        join(&mut all);
        all
    }
}

fn attacks_of(groove: &Groove, clock: &Clock, layer: usize) -> Vec<TimedAttack> {
    let mut all = Vec::new();
    for (section, s) in groove.sections().iter().enumerate() {
        let attacks = groove.part(layer, section).attacks(groove.context(layer, section));
        for pass in 0..usize::from(s.times) {
            all.extend(attacks.iter().filter_map(|a| {
                let seconds = clock.seconds(section, pass, a.start)?;
                Some(TimedAttack { seconds, layer, section, pass, cell: a.cell, accent: a.attack.accent })
            }));
        }
    }
    all
}

/// Puts attacks in order of time, and joins those at one time.
fn join(attacks: &mut Vec<TimedAttack>) {
    attacks.sort_by(|a, b| a.seconds.total_cmp(&b.seconds).then(a.layer.cmp(&b.layer)));
    // Positions are exact before they are rounded to seconds, so a microsecond tells them apart.
    attacks.dedup_by(|next, kept| {
        let together = next.seconds - kept.seconds < 1e-6;
        if together {
            kept.accent = kept.accent.max(next.accent);
        }
        together
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Cell, Fraction, Layer, Meter, Part, Section, Tempo, Time, Voice};

    #[test]
    fn attacks_of_many_layers_are_joined_as_those_of_all_at_once() {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let meter = Meter::parse("4/4").expect("meter");
        let section = Section { name: "A".into(), meter, tempo, bars: 64, times: 1, swing: None };
        let layer = |n: usize| {
            let accent = Accent::ALL[n % 5];
            let mut cells = vec![Cell::Rest; n % 7 + 1];
            cells[n % 5 % (n % 7 + 1)] = Cell::Attack(crate::rhythm::Attack { accent, ..Default::default() });
            let part = Part::Cycled { cells, start: 0 };
            Layer::new(&format!("l{n}"), Voice::Rim, [4, 3, 5][n % 3], vec![part])
        };
        let groove = Groove::new("t", "", vec![section], (0..48).map(layer).collect()).expect("groove");
        let clock = Clock::new(&groove);
        let attacks = LayerAttacks::new(&groove, &clock);
        let each: Vec<Vec<TimedAttack>> = (0..48).map(|l| attacks.joined(&[l], None)).collect();
        let mut all = each.concat();
        assert!(all.len() > 2 * MIN_UNJOINED_ATTACKS, "joined more than once");
        join(&mut all);
        assert_eq!(attacks.joined(&(0..48).collect::<Vec<_>>(), None), all);
        // A time at a time: the topmost layer, and the strongest accent.
        for attack in &all {
            let at = |a: &&TimedAttack| (a.seconds - attack.seconds).abs() < 1e-6;
            let together: Vec<&TimedAttack> = each.iter().flatten().filter(at).collect();
            assert_eq!(Some(attack.layer), together.iter().map(|a| a.layer).min());
            assert_eq!(Some(attack.accent), together.iter().map(|a| a.accent).max());
        }
    }
}
