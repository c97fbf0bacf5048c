//! The whole report: what the other rooms show of a groove.

use super::attacks::{self, Scope, TimedAttack};
use super::clock::{Clock, wholes};
use super::finding::{self, Finding};
use super::groups::{Groups, groups};
use super::hearing::{self, Hearing, Kind, Turn};
use super::landing::{Landings, landings};
use super::limits::Limits;
use super::measure::{self, Measure};
use super::stream::{self, Pair, Stream};
use crate::rhythm::{Fraction, Groove, Place};

/// What is asked of the analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Whose attacks the hearings are found for.
    pub scope: Scope,
    /// Playing speed, as a part of the written tempos (1 = as written).
    pub speed: Fraction,
    /// The player's limits.
    pub limits: Limits,
}

impl Default for Ask {
    fn default() -> Self {
        Self { scope: Scope::default(), speed: Fraction::ONE, limits: Limits::default() }
    }
}

/// How a layer is built in one section.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionReport {
    /// Section, from 0.
    pub section: usize,
    /// Its groups; `None` without an attack.
    pub groups: Option<Groups>,
    /// Its landings.
    pub landings: Landings,
}

/// How a layer is built.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerReport {
    /// Layer, from 0.
    pub layer: usize,
    /// Section by section.
    pub sections: Vec<SectionReport>,
    /// The landings of all sections.
    pub landings: Landings,
}

/// All that is said of a groove.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Playing speed the report was made for, as a part of the written tempos.
    pub speed: f64,
    /// Every layer, in order.
    pub layers: Vec<LayerReport>,
    /// The layers the hearings are found for.
    pub focus: Vec<usize>,
    /// Their attacks, in order of time, in seconds at full speed.
    pub attacks: Vec<TimedAttack>,
    /// The shortest cell that a fifth of these attacks need, in ms at the playing speed.
    pub cell_ms: Option<f64>,
    /// The hearings, best first at the playing speed.
    pub hearings: Vec<Hearing>,
    /// At which playing speeds another hearing becomes the first, from slow to fast; the first row is the slowest speed looked at.
    pub turns: Vec<Turn>,
    /// The streams: the written beat, hearings with one stretch, layers of even attacks.
    pub streams: Vec<Stream>,
    /// Every pair of streams.
    pub pairs: Vec<Pair>,
    /// Why the groove is hard, heaviest first; empty for an easy one.
    pub findings: Vec<Finding>,
    /// Published measures of the first of the focus layers, section by section where it has attacks.
    pub measures: Vec<(usize, Vec<Measure>)>,
    /// Positions to seconds and back, at full speed.
    pub clock: Clock,
}

impl Report {
    /// The best hearing that is not counted along with the written meter; where there is none, the best that is not the written
    /// beat. As an index.
    pub fn rival(&self) -> Option<usize> {
        let rivals = self.hearings.iter().position(|h| !h.kind.is_counted() && h.score >= 0.5);
        rivals.or_else(|| self.hearings.iter().position(|h| h.kind != Kind::Written))
    }

    /// How many hearings stand so near the first that none is clearly heard: those of at least nine tenths of its score (ours, no source).
    pub fn near_the_first(&self) -> usize {
        let best = self.hearings.first().map_or(0.0, |h| h.score);
        self.hearings.iter().take_while(|h| best > 0.0 && h.score >= 0.9 * best).count()
    }
}

/// What can be said of a groove.
pub fn report(groove: &Groove, ask: &Ask) -> Report {
    let clock = Clock::new(groove);
    let focus = ask.scope.layers_of(groove);
    let found = ask.scope.attacks(groove, &clock);
    let everything = attacks::of_layers(
        groove,
        &clock,
        &(0..groove.layers().len()).filter(|l| groove.is_audible(*l)).collect::<Vec<_>>(),
        None,
    );
    let speed = ask.speed.numer() as f64 / ask.speed.denom() as f64;
    let layers: Vec<LayerReport> = (0..groove.layers().len()).map(|l| layer_report(groove, l)).collect();
    let needs = needs(groove, &found, &clock);
    let cell = common_cell(&needs);
    let scale = hearing::Scale {
        range: ask.scope.range(groove, &clock),
        speed,
        cell: cell.unwrap_or(f64::INFINITY),
        limits: ask.limits,
    };
    let (hearings, turns) = hearing::hearings(groove, &clock, &found, &everything, &scale);
    let streams = stream::streams(groove, &clock, &hearings, speed);
    let pairs = stream::pairs(groove, &streams, &clock, speed);
    let measured = focus.first().and_then(|l| layers.get(*l)).map(|l| l.sections.as_slice()).unwrap_or_default();
    let measures = measured
        .iter()
        .filter_map(|s| Some((s.section, measure::measures(groove, s.section, s.groups.as_ref()?))))
        .collect();
    let cell_ms = cell.map(|s| s * 1000.0 / speed);
    let findings = finding::findings(&finding::Material {
        groove,
        layers: &layers,
        focus: &focus,
        attacks: &found,
        cell_ms,
        needs: &needs,
        everything: &everything,
        clock: &clock,
        hearings: &hearings,
        streams: &streams,
        pairs: &pairs,
        speed,
        limits: ask.limits,
    });
    Report { speed, layers, focus, attacks: found, cell_ms, hearings, turns, streams, pairs, findings, measures, clock }
}

fn layer_report(groove: &Groove, layer: usize) -> LayerReport {
    let sections: Vec<SectionReport> = (0..groove.sections().len())
        .map(|s| SectionReport { section: s, groups: groups(groove, layer, s), landings: landings(groove, layer, s) })
        .collect();
    let mut all = Landings::default();
    for s in &sections {
        all.merge(&s.landings);
    }
    LayerReport { layer, sections, landings: all }
}

/// A beat or tuplet with the cell its attacks need.
pub(super) struct Need {
    /// Length of the cell in seconds at full speed.
    pub(super) cell: f64,
    /// Attacks in the beat or tuplet, one time through.
    pub(super) attacks: usize,
    /// The first of them.
    pub(super) place: Place,
}

/// The cells the attacks need, in order: within each beat or tuplet the longest equal parts of it that reach all of its attacks; with
/// swing, the short one of a pair. Attacks on whole beats need no cell but the beat.
fn needs(groove: &Groove, found: &[TimedAttack], clock: &Clock) -> Vec<Need> {
    let mut cells: Vec<(usize, usize, usize)> = found.iter().map(|a| (a.section, a.layer, a.cell)).collect();
    cells.sort_unstable();
    cells.dedup();
    let mut needs = Vec::new();
    for group in cells.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        let (section, layer, _) = group[0];
        let (part, context) = (groove.part(layer, section), groove.context(layer, section));
        let Some(per_whole) = clock.seconds_per_whole(section) else { continue };
        let mut next = group.iter().map(|c| c.2).peekable();
        for spot in part.spots(context) {
            let (count, mut reach, mut swung, mut attacks) = (usize::from(spot.span.cells), 0, false, 0);
            let place = next.peek().map(|cell| Place { layer, section, cell: *cell });
            while let Some(cell) = next.next_if(|c| *c < spot.first + count) {
                reach = num_integer::gcd(reach, cell - spot.first);
                swung |= (cell - spot.first) % 2 == 1;
                attacks += 1;
            }
            let (Some(place), true) = (place, attacks > 0) else { continue };
            let reach = num_integer::gcd(reach, count);
            let length = wholes(context.meter.beat()) * f64::from(spot.span.beats) * reach as f64 / count as f64;
            let short = context.swing.filter(|_| swung && count.is_multiple_of(2)).map_or(1.0, |s| {
                let share = s.share();
                2.0 * (1.0 - share.numer() as f64 / share.denom() as f64)
            });
            needs.push(Need { cell: length * short.min(1.0) * per_whole, attacks, place });
        }
    }
    needs
}

/// Share of the attacks that must need a cell for it to be the groove's cell (ours, no source): a single tuplet does not decide how
/// fast the whole groove's grid runs.
const FIFTH: f64 = 0.2;

/// The shortest cell that a fifth of the attacks need, in seconds at full speed.
fn common_cell(needs: &[Need]) -> Option<f64> {
    let mut order: Vec<(f64, usize)> = needs.iter().map(|n| (n.cell, n.attacks)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: usize = order.iter().map(|o| o.1).sum();
    let mut sum = 0;
    order
        .into_iter()
        .find(|(_, n)| {
            sum += n;
            sum as f64 >= FIFTH * all as f64
        })
        .map(|(cell, _)| cell)
}
