//! The same groove over playing speeds: how hard it is, and which hearing leads.

use super::input::Input;
use super::listening::{ABOUT_AS_LIKELY, Hearing, Listening};
use super::{listen, merge};

/// Playing speeds of the chart, in percent.
const SLOWEST: u16 = 40;
const FASTEST: u16 = 120;
/// Attacks times speeds that are heard at most: a chart takes the time of a few reports.
const WORK: usize = 40_000;
/// Share of the pulses within a part of the period that makes two hearings one.
const SAME: (f64, f64) = (0.85, 0.12);

/// Who leads at a speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Leader {
    /// The written beat and all that keep it.
    Written,
    /// A hearing, as an index into the chart's.
    Hearing(usize),
}

/// The model at one playing speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SpeedPoint {
    /// Playing speed in percent of the written tempos.
    pub percent: u16,
    /// Probability that the written beat is lost.
    pub hardness: f64,
    /// Who has the greatest probability, before anything is smoothed.
    pub leader: Leader,
    /// Its probability over that of the next.
    pub lead: f64,
}

/// A speed from which on another hearing leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Turn {
    /// Playing speed in percent.
    pub percent: u16,
    /// Who leads from here on.
    pub leader: Leader,
}

/// The model over the playing speeds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct SpeedChart {
    /// From slow to fast.
    pub points: Vec<SpeedPoint>,
    /// The hearings that lead somewhere, each as it is at the speed where it leads first.
    pub hearings: Vec<Hearing>,
    /// Where the leader changes, from slow to fast; the first row is the slowest speed. A hearing that never leads by a factor of
    /// 1.5 before it loses again does not count.
    pub turns: Vec<Turn>,
}

/// The chart from 40 to 120 %: every percent for a groove of up to 490 attacks, coarser for a longer one.
pub(crate) fn chart(input: &Input) -> SpeedChart {
    let count = (WORK / input.attacks.len().max(1)).clamp(9, usize::from(FASTEST - SLOWEST) + 1);
    let step = usize::from(FASTEST - SLOWEST).div_ceil(count.saturating_sub(1).max(1)).max(1);
    let mut chart = SpeedChart::default();
    for percent in (SLOWEST..=FASTEST).step_by(step) {
        let asked = Input { speed: f64::from(percent) / 100.0, ..input.clone() };
        if let Some(heard) = listen(&asked) {
            let point = chart.point(percent, &heard);
            chart.points.push(point);
        }
    }
    chart.turns = turns(&chart.points);
    chart
}

impl SpeedChart {
    fn point(&mut self, percent: u16, heard: &Listening) -> SpeedPoint {
        let mut others = heard.hearings.iter().filter(|h| !h.keeps_written());
        let first = others.next();
        let second = others.next().map_or(0.0, |h| h.probability);
        let best = first.map_or(0.0, |h| h.probability);
        let (leader, lead) = match first.filter(|h| h.probability > heard.written) {
            Some(h) => (Leader::Hearing(self.index(h, heard.length)), best / heard.written.max(second).max(1e-9)),
            None => (Leader::Written, heard.written / best.max(1e-9)),
        };
        SpeedPoint { percent, hardness: heard.hardness(), leader, lead }
    }

    fn index(&mut self, hearing: &Hearing, length: f64) -> usize {
        let near = |a: &Hearing, b: &Hearing| {
            let tolerance = SAME.1 * a.period.min(b.period);
            merge::share_near(&a.pulses, &b.pulses, length, tolerance) >= SAME.0
                && merge::share_near(&b.pulses, &a.pulses, length, tolerance) >= SAME.0
        };
        self.hearings.iter().position(|h| near(h, hearing)).unwrap_or_else(|| {
            self.hearings.push(hearing.clone());
            self.hearings.len() - 1
        })
    }
}

/// Runs of one leader; a run without a clear lead somewhere belongs to the run before it.
fn turns(points: &[SpeedPoint]) -> Vec<Turn> {
    let mut turns: Vec<Turn> = Vec::new();
    for run in points.chunk_by(|a, b| a.leader == b.leader) {
        let clear = run.iter().any(|p| p.lead >= ABOUT_AS_LIKELY);
        let (percent, leader) = (run[0].percent, run[0].leader);
        if turns.is_empty() || clear && turns.last().is_some_and(|t| t.leader != leader) {
            turns.push(Turn { percent, leader });
        }
    }
    turns
}
