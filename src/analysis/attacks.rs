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
        of_layers(groove, clock, &self.layers_of(groove), self.region.as_ref())
    }
}

/// Fewest attacks that are joined before all of them are there.
pub(super) const MIN_UNJOINED: usize = 4096;

/// The attacks of some layers in order of time, those at one time joined.
pub(crate) fn of_layers(groove: &Groove, clock: &Clock, layers: &[usize], region: Option<&Region>) -> Vec<TimedAttack> {
    let (mut all, mut joined) = (Vec::new(), 0);
    for &layer in layers {
        let cells = region.map(|r| groove.cells_in(layer, r));
        for e in groove.events(layer) {
            let inside = region.is_none_or(|r| r.section == e.section && e.pass == 0)
                && cells.as_ref().is_none_or(|c| c.contains(&e.cell));
            if let (true, Some(seconds)) = (inside, clock.seconds(e.section, e.pass, e.offset)) {
                all.push(TimedAttack {
                    seconds,
                    layer,
                    section: e.section,
                    pass: e.pass,
                    cell: e.cell,
                    accent: e.attack.accent,
                });
            }
        }
        // Layers that sound together would otherwise need memory for each of them.
        if all.len() > 2 * joined + MIN_UNJOINED {
            join(&mut all);
            joined = all.len();
        }
    }
    join(&mut all);
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
            let accent = [Accent::Ghost, Accent::Plain, Accent::Accent][n % 3];
            let mut cells = vec![Cell::Rest; n % 7 + 1];
            cells[n % 5 % (n % 7 + 1)] = Cell::Attack(crate::rhythm::Attack { accent, pitch: None });
            let part = Part::Cycled { cells, start: 0 };
            Layer::new(&format!("l{n}"), Voice::Rim, [4, 3, 5][n % 3], vec![part])
        };
        let groove = Groove::new("t", "", vec![section], (0..48).map(layer).collect()).expect("groove");
        let clock = Clock::new(&groove);
        let each: Vec<Vec<TimedAttack>> = (0..48).map(|l| of_layers(&groove, &clock, &[l], None)).collect();
        let mut all = each.concat();
        assert!(all.len() > 2 * MIN_UNJOINED, "joined more than once");
        join(&mut all);
        assert_eq!(of_layers(&groove, &clock, &(0..48).collect::<Vec<_>>(), None), all);
        // A time at a time: the topmost layer, and the strongest accent.
        for attack in &all {
            let at = |a: &&TimedAttack| (a.seconds - attack.seconds).abs() < 1e-6;
            let together: Vec<&TimedAttack> = each.iter().flatten().filter(at).collect();
            assert_eq!(Some(attack.layer), together.iter().map(|a| a.layer).min());
            assert_eq!(Some(attack.accent), together.iter().map(|a| a.accent).max());
        }
    }
}
