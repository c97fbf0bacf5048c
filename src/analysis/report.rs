//! The whole report on a groove.

use super::answer::Answer;
use super::attacks::{LayerAttacks, Scope, TimedAttack};
use super::clock::{Clock, wholes};
use super::finding::{self, Finding};
use super::groups::{Groups, groups};
use super::hearing::{self, Hearing, hearing_kind};
use super::landing::{Landings, landings};
use super::limits::{Carry, Limits};
use super::listener::{self, Context, Input, Params};
use super::measure::{self, Measure};
use super::speeds::SpeedReport;
use super::stream::{self, Stream, StreamPair};
use crate::rhythm::{Fraction, Groove, Place, Region, Time};
use std::sync::Arc;

/// What the analysis is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysisOptions {
    /// The layers and the region whose beat is asked for.
    pub scope: Scope,
    /// Playing speed, as a part of the written tempos (1 = as written).
    pub speed: Fraction,
    /// The player's limits.
    pub limits: Limits,
}

impl Default for AnalysisOptions {
    fn default() -> Self {
        Self { scope: Scope::default(), speed: Fraction::ONE, limits: Limits::default() }
    }
}

/// How a layer is built in one section.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SectionReport {
    pub(crate) section: usize,
    /// Its groups; `None` without an attack.
    pub(crate) groups: Option<Groups>,
    pub(crate) landings: Landings,
}

/// How a layer is built.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LayerReport {
    pub(crate) layer: usize,
    pub(crate) sections: Vec<SectionReport>,
    /// The landings of all sections.
    pub(crate) landings: Landings,
}

/// The beat of somebody who takes in all layers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct AllLayers {
    pub(crate) answer: Answer,
    /// The attacks, in order of time.
    pub(crate) attacks: Vec<TimedAttack>,
    /// The likeliest first.
    pub(crate) hearings: Vec<Hearing>,
    /// P(written) of the layers asked about less that of all layers, where these lead to different beats.
    pub(crate) stream_difference: Option<f64>,
}

/// All that is said of a groove.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Playing speed the report was made for, as a part of the written tempos.
    pub speed: f64,
    /// Every layer, in order.
    pub(crate) layers: Vec<LayerReport>,
    /// The layers whose beat was asked for.
    pub(crate) focus: Vec<usize>,
    /// Their attacks, in order of time, in seconds at full speed.
    pub attacks: Vec<TimedAttack>,
    /// The shortest cell that a fifth of these attacks need, in ms at the playing speed.
    pub cell_ms: Option<f64>,
    /// How likely somebody who follows these layers keeps the written beat; `None` where there is nothing to hear a pulse from.
    pub(crate) answer: Option<Answer>,
    /// What such a listener may take as the beat, the likeliest first, and the written beat.
    pub hearings: Vec<Hearing>,
    /// The same for somebody who takes in all layers, where those are more.
    pub(crate) all: Option<AllLayers>,
    /// The model over the playing speeds, once it was asked: see [`Report::refine`].
    pub(crate) speeds: Option<Arc<SpeedReport>>,
    /// The streams: the written beat, the likely hearings stretch by stretch, layers of even attacks.
    pub(crate) streams: Vec<Stream>,
    /// Every pair of streams.
    pub(crate) pairs: Vec<StreamPair>,
    /// Why the groove is hard, by the parts of the hardness, the largest first; empty for an easy groove.
    pub findings: Vec<Finding>,
    /// Published measures of the first of the focus layers, section by section where it has attacks.
    pub(crate) measures: Vec<(usize, Vec<Measure>)>,
    /// Positions to seconds and back, at full speed.
    pub clock: Clock,
}

impl Report {
    /// The likeliest hearing that does not keep the written beat, as an index.
    pub(crate) fn rival(&self) -> Option<usize> {
        let others = self.hearings.iter().enumerate().filter(|(_, h)| !h.keeps_written() && h.shown.is_some());
        others.max_by(|a, b| a.1.probability.total_cmp(&b.1.probability).then(b.0.cmp(&a.0))).map(|(i, _)| i)
    }

    /// The written beat, as an index into the hearings.
    pub(crate) fn written(&self) -> Option<usize> {
        self.hearings.iter().position(|h| h.kind == hearing::HearingKind::Written)
    }

    /// Whether [`Report::refine`] has added what takes longer.
    pub(crate) fn is_refined(&self) -> bool {
        self.speeds.is_some()
    }

    /// Adds what takes longer: the chart over the playing speeds, and the order of the reasons by what the written beat would
    /// regain without each.
    pub fn refine(&mut self, groove: &Groove, options: &AnalysisOptions) {
        let input = input(&LayerAttacks::new(groove, &self.clock), &self.focus, options);
        let chart = listener::chart(&input);
        let range = options.scope.range(groove, &self.clock);
        let m = hearing::HearingContext {
            groove,
            clock: &self.clock,
            range,
            speed: 1.0,
            attacks: &[],
            everything: &[],
            sections: &input.sections,
        };
        self.speeds = Some(Arc::new(SpeedReport::new(chart, |h| hearing_kind(h, &m))));
        if self.findings.len() > 1 {
            finding::order_by_gain(&mut self.findings, &listener::gains(&input));
        }
    }
}

/// What can be said of a groove, but for what takes longer ([`Report::refine`]).
pub fn report(groove: &Groove, options: &AnalysisOptions) -> Report {
    let clock = Clock::new(groove);
    let focus = options.scope.layers_of(groove);
    let every_layer: Vec<usize> = (0..groove.layers().len()).collect();
    let region = options.scope.region.as_ref();
    let layer_attacks = LayerAttacks::new(groove, &clock);
    let found = layer_attacks.joined(&focus, region);
    let everything = layer_attacks.joined(&every_layer, None);
    let speed = options.speed.numer() as f64 / options.speed.denom() as f64;
    let layers: Vec<LayerReport> = every_layer.iter().map(|l| layer_report(groove, *l)).collect();
    let needs = needs(groove, &found, &clock);
    let cell_ms = common_cell(&needs).map(|s| s * 1000.0 / speed);
    let asked: Vec<Input> = std::iter::once(&focus)
        .chain((focus.len() < every_layer.len()).then_some(&every_layer))
        .map(|layers| input(&layer_attacks, layers, options))
        .collect();
    let mut answers = listener::listen_to_each(&asked).into_iter();
    let heard = answers.next().flatten();
    let times = |attacks: &[TimedAttack]| attacks.iter().map(|a| a.seconds).collect::<Vec<f64>>();
    let range = options.scope.range(groove, &clock);
    let all_times = times(&everything);
    let found_times = times(&found);
    let material = hearing::HearingContext {
        groove,
        clock: &clock,
        range,
        speed,
        attacks: &found_times,
        everything: &all_times,
        sections: &asked[0].sections,
    };
    let hearings = heard.as_ref().map(|h| hearing::hearings(h, &material)).unwrap_or_default();
    // In a region without a pulse, as one within a beat, nothing can be said of the beat.
    let heard = heard.filter(|_| !hearings.is_empty());
    let all = answers.next().flatten().map(|of_all| {
        let inside = |a: &&TimedAttack| a.seconds >= range.0 - 1e-9 && a.seconds < range.1 - 1e-9;
        let inside: Vec<TimedAttack> = everything.iter().filter(inside).copied().collect();
        let inside_times = times(&inside);
        let material = hearing::HearingContext { attacks: &inside_times, sections: &asked[1].sections, ..material };
        AllLayers {
            answer: Answer::new(&of_all),
            attacks: inside,
            hearings: hearing::hearings(&of_all, &material),
            stream_difference: heard.as_ref().and_then(|h| listener::stream_difference(h, &of_all)),
        }
    });
    let answer = heard.as_ref().map(Answer::new);
    let streams = stream::streams(&layer_attacks, &hearings, range, speed);
    let pairs = stream::pairs(groove, &streams, &clock, speed);
    let measured = focus.first().and_then(|l| layers.get(*l)).map(|l| l.sections.as_slice()).unwrap_or_default();
    let measures = measured
        .iter()
        .filter_map(|s| Some((s.section, measure::measures(groove, s.section, s.groups.as_ref()?))))
        .collect();
    let mut report = Report {
        speed,
        layers,
        focus,
        attacks: found,
        cell_ms,
        answer,
        hearings,
        all,
        speeds: None,
        streams,
        pairs,
        findings: Vec::new(),
        measures,
        clock,
    };
    let two_streams = report.all.as_ref().and_then(|a| {
        let difference = a.stream_difference?;
        let (followed, all) = a.main_hearings(&report.hearings)?;
        let meets_after = stream::meets_after(followed, all, range.1 - range.0, speed);
        Some(finding::TwoStreams { difference, followed, all, meets_after })
    });
    let (needs, everything, limits) = (&needs[..], &everything[..], options.limits);
    let context = finding::FindingContext { groove, report: &report, needs, everything, range, two_streams, limits };
    report.findings = finding::findings(&context);
    report
}

/// The model's answer alone, without what the report lays over it.
pub(crate) fn listening(groove: &Groove, options: &AnalysisOptions) -> Option<listener::Listening> {
    let clock = Clock::new(groove);
    let focus = options.scope.layers_of(groove);
    listener::listen(&input(&LayerAttacks::new(groove, &clock), &focus, options))
}

impl AllLayers {
    /// The first hearing of the layers asked about and of all layers, if they do not both keep the written beat.
    pub(crate) fn main_hearings<'a>(&'a self, followed: &'a [Hearing]) -> Option<(&'a Hearing, &'a Hearing)> {
        let (a, b) = main_hearing(followed).zip(main_hearing(&self.hearings))?;
        (!(a.keeps_written() && b.keeps_written())).then_some((a, b))
    }
}

/// The first hearing; where it keeps the written beat, that.
fn main_hearing(hearings: &[Hearing]) -> Option<&Hearing> {
    let first = hearings.first()?;
    let written = hearings.iter().find(|h| h.kind == hearing::HearingKind::Written);
    written.filter(|_| first.keeps_written()).or(Some(first))
}

/// The report with all that takes longer.
pub fn full_report(groove: &Groove, options: &AnalysisOptions) -> Report {
    let mut report = report(groove, options);
    report.refine(groove, options);
    report
}

/// The question to the model about some layers.
fn input(layer_attacks: &LayerAttacks<'_>, layers: &[usize], options: &AnalysisOptions) -> Input {
    let speed = options.speed.numer() as f64 / options.speed.denom() as f64;
    let params = Params::new(options.limits);
    let input = |region: Option<&Region>| Input { params, ..Input::new(layer_attacks, layers, region, speed) };
    let region = options.scope.region.as_ref();
    let context = match options.limits.carry {
        Carry::Nothing => Context::Cold,
        Carry::Pulse => {
            let preceding = region.and_then(|r| preceding_region(layer_attacks.groove, r));
            Context::After(preceding.map(|r| Box::new(input(Some(&r)))))
        }
    };
    Input { context, ..input(region) }
}

/// What comes just before a region: its section from the start, or all of the section before.
fn preceding_region(groove: &Groove, region: &Region) -> Option<Region> {
    if region.from > Time::ZERO {
        return Some(Region { from: Time::ZERO, to: region.from, ..region.clone() });
    }
    let section = region.section.checked_sub(1)?;
    let to = groove.sections().get(section)?.length();
    Some(Region { section, from: Time::ZERO, to, ..region.clone() })
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
const MIN_CELL_SHARE: f64 = 0.2;

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
            sum as f64 >= MIN_CELL_SHARE * all as f64
        })
        .map(|(cell, _)| cell)
}
