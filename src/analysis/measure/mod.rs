//! Published measures of a rhythm, by name and source.

mod clock;
mod cycle;
#[cfg(test)]
pub(crate) mod table;
mod tree;

pub(crate) use clock::best_clock;
pub(crate) use cycle::{evenness, keith, metric_complexity, npvi, oddity, off_beatness, weighted_beat_distance};
pub(crate) use tree::{Tree, indispensability, syncopations};

use crate::analysis::groups::Groups;
use crate::rhythm::{Groove, MeterKind, Time, count as count_of};
#[cfg(test)]
use clock::{accented, clock};

/// Pulses of a cycle that is measured; a longer one is not heard as a cycle (ours, no source).
pub(crate) const MAX_PULSES: usize = 1024;

/// A rhythm as a cycle of equal pulses, some of which are attacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ring {
    pub(crate) pulses: usize,
    /// The attacks, ascending, each below `pulses`; at least one.
    pub(crate) attacks: Vec<usize>,
}

impl Ring {
    /// `None` without attacks, or if they are not ascending within the cycle.
    pub(crate) fn new(pulses: usize, attacks: Vec<usize>) -> Option<Self> {
        let ascending = attacks.windows(2).all(|w| w[0] < w[1]);
        (ascending && attacks.last().is_some_and(|l| *l < pulses)).then_some(Self { pulses, attacks })
    }

    /// From each attack to the next; from the last to the first of the next cycle.
    pub(crate) fn intervals(&self) -> Vec<usize> {
        let next = self.attacks.iter().skip(1).copied().chain([self.attacks[0] + self.pulses]);
        self.attacks.iter().zip(next).map(|(a, b)| b - a).collect()
    }
}

/// One measure of a rhythm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Measure {
    pub(crate) name: &'static str,
    pub(crate) source: &'static str,
    /// Its value, or why it is undefined.
    pub(crate) value: Result<f64, &'static str>,
    /// Details of the value, or empty.
    pub(crate) detail: String,
}

/// The measures of a layer in one section, as a cycle in the greatest unit that fits all attacks.
pub(super) fn measures(groove: &Groove, section: usize, groups: &Groups) -> Vec<Measure> {
    let s = &groove.sections()[section];
    let count = |t: Time| t.ratio_to(groups.unit).filter(|r| r.denom() == 1).map(|r| r.numer() as usize);
    let ring = ring(groups).map(|r| shortest(r, count(s.meter.bar()), usize::from(s.bars)));
    let beat = count(s.meter.beat());
    let tree = beat.ok_or("the beat is not a whole number of cells").and_then(|cells| Tree::of_meter(&s.meter, cells));
    let too_long = "the cycle is longer than 1024 cells";
    let on = |f: &dyn Fn(&Ring) -> Result<f64, &'static str>| match &ring {
        Some(r) if r.pulses <= MAX_PULSES => f(r),
        _ => Err(too_long),
    };
    let with_tree =
        |f: &dyn Fn(&Ring, &Tree) -> Result<f64, &'static str>| tree.clone().and_then(|t| on(&|r| f(r, &t)));
    let plain = |name, source, value| Measure { name, source, value, detail: String::new() };
    let clock = ring.as_ref().filter(|r| r.pulses <= MAX_PULSES).and_then(best_clock);
    let clock_detail = clock.as_ref().map(|c| {
        let time = |cells: usize| match groups.unit.repeated(cells) {
            Some(t) if t.denom() == 1 => count_of(t.numer() as usize, "whole note"),
            Some(t) => format!("{t} of a whole note"),
            None => String::new(),
        };
        let start = if c.start == 0 { String::new() } else { format!("{} after ", time(c.start)) };
        format!(
            "best clock: every {} from {start}the downbeat, ticks: {} accented, {} unaccented, {} silent",
            time(c.unit),
            c.accented,
            c.plain,
            c.silent
        )
    });
    let additive = s.meter.kind() == MeterKind::Additive;
    vec![
        plain(
            "weighted note-to-beat distance",
            "Gómez, Melvin, Rappaport & Toussaint 2005, Mathematical measures of syncopation, Proc. BRIDGES",
            on(&|r| match beat {
                _ if additive => Err("the strong beats of an additive meter are unequal"),
                Some(b) if r.pulses.is_multiple_of(b) => Ok(weighted_beat_distance(r, b)),
                _ => Err("the cycle is not a whole number of beats"),
            }),
        ),
        plain(
            "Keith's syncopation, as a count",
            "Keith 1991, counted as in Gómez et al. 2005",
            on(&|r| Ok(keith(r) as f64)),
        ),
        plain(
            "Longuet-Higgins and Lee's syncopation",
            "Longuet-Higgins & Lee 1984, Music Perception 1(4)",
            with_tree(&|r, t| syncopations(r, t).map(|s| s.iter().map(|(_, strength)| f64::from(*strength)).sum())),
        ),
        plain("off-beatness", "Toussaint 2005, as in Gómez et al. 2005", on(&|r| Ok(off_beatness(r) as f64))),
        plain(
            "nPVI of the groups",
            "Daniele & Patel 2013; Condit-Schultz 2019, Music Perception 36(3)",
            on(&|r| npvi(&r.intervals())),
        ),
        plain("evenness", "Toussaint 2013, The Geometry of Musical Rhythm; Demaine et al. 2009", on(&evenness)),
        plain(
            "rhythmic oddity",
            "Chemillier & Truchet 2003; Toussaint 2013",
            on(&|r| oddity(r).map(|o| f64::from(u8::from(o)))),
        ),
        plain("metric complexity", "Toussaint 2002, Proc. BRIDGES", with_tree(&metric_complexity)),
        plain(
            "mean metrical indispensability",
            "Barlow 1987, Computer Music Journal 11(1)",
            with_tree(&|r, t| {
                let weights = indispensability(t);
                let greatest = (weights.len() as f64 - 1.0).max(1.0);
                let sum: f64 = r.attacks.iter().map(|a| f64::from(weights[a % weights.len()]) / greatest).sum();
                Ok(sum / r.attacks.len() as f64)
            }),
        ),
        Measure {
            name: "clock score",
            source: "Povel & Essens 1985, Music Perception 2(4), weight 4",
            value: clock.as_ref().map(|c| f64::from(c.score)).ok_or(if ring.is_some() {
                "no clock divides the cycle"
            } else {
                too_long
            }),
            detail: clock_detail.unwrap_or_default(),
        },
    ]
}

/// The shortest run of whole bars of which the cycle is a repetition.
fn shortest(ring: Ring, bar: Option<usize>, bars: usize) -> Ring {
    let Some(bar) = bar.filter(|bar| bar * bars == ring.pulses) else { return ring };
    let n = ring.attacks.len();
    let is_period = |k: &usize| {
        let (pulses, attacks) = (bar * k, n * k / bars);
        let again = |i: usize| (ring.attacks[i] + pulses) % ring.pulses == ring.attacks[(i + attacks) % n];
        bars.is_multiple_of(*k) && (n * k).is_multiple_of(bars) && (0..n).all(again)
    };
    match (1..bars).find(is_period) {
        Some(k) => Ring { pulses: bar * k, attacks: ring.attacks[..n * k / bars].to_vec() },
        None => ring,
    }
}

/// The cycle as it is written: a finer grid gives other measures.
fn ring(groups: &Groups) -> Option<Ring> {
    let mut at = groups.lead;
    let mut attacks = Vec::with_capacity(groups.line.len());
    for group in &groups.line {
        attacks.push(at as usize);
        at += group;
    }
    Ring::new(at as usize, attacks)
}

#[cfg(test)]
mod tests;
