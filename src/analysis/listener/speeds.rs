//! The same groove over playing speeds: how hard it is, and which hearing leads.

use super::super::limits;
use super::hypothesis::PulseKind;
use super::input::Input;
use super::listening::{ABOUT_AS_LIKELY, Listening, ModelHearing};
use super::{listen, merge};
use std::panic::resume_unwind;
use std::thread;

/// Playing speeds of the chart, in percent.
const MIN_PERCENT: u16 = 40;
const MAX_PERCENT: u16 = 120;
/// A groove of more attacks gets a coarse chart.
const MAX_FINE_ATTACKS: usize = 2500;
/// Pulses within this part of the period make two hearings one.
const PULSE_TOLERANCE: f64 = 0.12;

/// Who leads at a speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Leader {
    /// The written beat and all that keep it.
    Written,
    /// A hearing, as an index into the chart's.
    Hearing(usize),
    /// The written beat trails, but no other hearing leads clearly.
    Unclear,
}

/// The model at one playing speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SpeedPoint {
    /// Playing speed in percent of the written tempos.
    pub(crate) percent: u16,
    /// Probability that the written beat is lost.
    pub(crate) hardness: f64,
    /// Who has the greatest probability, before anything is smoothed.
    pub(crate) leader: Leader,
    /// Its probability over that of the next.
    pub(crate) lead: f64,
    /// Probability of the likeliest hearing that loses the written beat.
    pub(crate) best: f64,
}

/// A playing speed from which on another hearing leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LeadChange {
    /// In percent of the written tempos.
    pub(crate) percent: u16,
    /// Who leads from here on.
    pub(crate) leader: Leader,
}

/// The model over the playing speeds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct SpeedChart {
    /// From slow to fast.
    pub(crate) points: Vec<SpeedPoint>,
    /// The hearings that lead somewhere, each as it is at the speed where it leads first.
    pub(crate) hearings: Vec<ModelHearing>,
    /// Where the leader changes, from slow to fast; the first row is the slowest speed. A hearing that never leads by a factor of
    /// 1.5 before it loses again does not count; but where it is likelier than the written beat by that factor, nobody leads.
    pub(crate) lead_changes: Vec<LeadChange>,
}

/// The chart from 40 to 120 % in steps of 5 %, and of 1 % where the leader changes; of a long groove in steps of 10 % and 5 %.
pub(crate) fn chart(input: &Input) -> SpeedChart {
    let (step, min_step) = if input.attacks.len() > MAX_FINE_ATTACKS { (10, 5) } else { (5, 1) };
    let mut percents: Vec<u16> = (MIN_PERCENT..=MAX_PERCENT).step_by(step).collect();
    let mut heard: Vec<(u16, Listening)> = Vec::new();
    loop {
        let at =
            |percent: &u16| Some((*percent, listen(&Input { speed: f64::from(*percent) / 100.0, ..input.clone() })?));
        heard.extend(in_parallel(&percents, at).into_iter().flatten());
        heard.sort_by_key(|h| h.0);
        let mut chart = SpeedChart::default();
        for (percent, listening) in &heard {
            let point = chart.point(*percent, listening);
            chart.points.push(point);
        }
        let changes = chart.points.windows(2).filter(|p| p[0].leader != p[1].leader);
        let between = changes.map(|p| (p[0].percent, p[1].percent)).filter(|(a, b)| b - a > min_step);
        percents = between.map(|(a, b)| a + (b - a) / 2).collect();
        if percents.is_empty() {
            chart.lead_changes = lead_changes(&chart.points);
            chart.keep_leaders(&heard);
            return chart;
        }
    }
}

/// Some items through a function, several at a time; the results are in the order of the items.
pub(super) fn in_parallel<T: Sync, R: Send>(items: &[T], of: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let threads = thread::available_parallelism().map_or(1, usize::from).min(items.len()).max(1);
    let work = |from: usize| {
        let mine = items.iter().enumerate().skip(from).step_by(threads);
        mine.map(|(i, item)| (i, of(item))).collect::<Vec<_>>()
    };
    let work = &work;
    thread::scope(|scope| {
        // Without another thread the work is done on this one.
        let spawn = |from| (from, thread::Builder::new().spawn_scoped(scope, move || work(from)).ok());
        let others: Vec<_> = (1..threads).map(spawn).collect();
        let mut all = work(0);
        all.extend(others.into_iter().flat_map(|(from, thread)| match thread {
            Some(thread) => thread.join().unwrap_or_else(|e| resume_unwind(e)),
            None => work(from),
        }));
        all.sort_by_key(|x| x.0);
        all.into_iter().map(|x| x.1).collect()
    })
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
        SpeedPoint { percent, hardness: heard.hardness(), leader, lead, best }
    }

    /// Keeps the hearings that lead from a change on as they are at its speed.
    fn keep_leaders(&mut self, heard: &[(u16, Listening)]) {
        for change in self.lead_changes.iter_mut().filter(|c| matches!(c.leader, Leader::Hearing(_))) {
            let at = heard.iter().find(|h| h.0 == change.percent);
            if let Some(hearing) = at.and_then(|h| h.1.hearings.iter().find(|h| !h.keeps_written())) {
                change.leader = Leader::Hearing(self.hearings.len());
                self.hearings.push(hearing.clone());
            }
        }
    }

    fn index(&mut self, hearing: &ModelHearing, length: f64) -> usize {
        let near = |a: &ModelHearing, b: &ModelHearing| {
            let difference = (a.period / b.period - 1.0).abs() * 100.0;
            let kind = a.main_kind();
            let are_averages = kind == PulseKind::Average && b.main_kind() == kind;
            are_averages
                || kind == b.main_kind()
                    && difference < limits::TEMPO_CHANGE.high
                    && merge::on_each_other(&a.pulses, &b.pulses, length, PULSE_TOLERANCE * a.period.min(b.period))
        };
        self.hearings.iter().position(|h| near(h, hearing)).unwrap_or_else(|| {
            self.hearings.push(hearing.clone());
            self.hearings.len() - 1
        })
    }
}

/// Runs of one leader. A run without a clear lead somewhere belongs to the run before it, unless it leaves the written beat behind.
fn lead_changes(points: &[SpeedPoint]) -> Vec<LeadChange> {
    let mut changes: Vec<LeadChange> = Vec::new();
    for run in points.chunk_by(|a, b| a.leader == b.leader) {
        let first = run[0];
        let last = changes.last().map(|c| c.leader);
        let is_clear = run.iter().any(|p| p.lead >= ABOUT_AS_LIKELY);
        let leaves = |p: &&SpeedPoint| p.leader != Leader::Written && p.best >= ABOUT_AS_LIKELY * (1.0 - p.hardness);
        let change = if is_clear || last.is_none() && first.leader == Leader::Written {
            Some((first.percent, first.leader))
        } else if last.is_none_or(|l| l == Leader::Written) {
            let left = if last.is_none() { Some(&first) } else { run.iter().find(leaves) };
            left.map(|p| (p.percent, Leader::Unclear))
        } else {
            None
        };
        changes.extend(change.filter(|c| Some(c.1) != last).map(|(percent, leader)| LeadChange { percent, leader }));
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_leads_where_the_written_beat_trails_several() {
        let point = |percent, leader, written: f64, best, lead| SpeedPoint {
            percent,
            hardness: 1.0 - written,
            leader,
            lead,
            best,
        };
        let (one, other) = (Leader::Hearing(0), Leader::Hearing(1));
        let written = point(40, Leader::Written, 0.3, 0.1, 3.0);
        // Ahead by less than 1.5: the written beat still stands.
        let near = point(50, one, 0.2, 0.25, 1.2);
        let trails = point(60, other, 0.1, 0.2, 1.1);
        let clear = point(70, one, 0.05, 0.6, 4.0);
        let changes =
            |points: &[SpeedPoint]| lead_changes(points).iter().map(|c| (c.percent, c.leader)).collect::<Vec<_>>();
        assert_eq!(changes(&[written, near]), [(40, Leader::Written)]);
        assert_eq!(changes(&[written, near, trails]), [(40, Leader::Written), (60, Leader::Unclear)]);
        assert_eq!(changes(&[written, near, trails, clear]), [(40, Leader::Written), (60, Leader::Unclear), (70, one)]);
        // After a clear lead, one that is not clear changes nothing.
        assert_eq!(changes(&[clear, SpeedPoint { percent: 80, ..trails }]), [(70, one)]);
        assert_eq!(changes(&[near]), [(50, Leader::Unclear)]);
        assert_eq!(
            changes(&[trails, SpeedPoint { percent: 90, ..written }]),
            [(60, Leader::Unclear), (90, Leader::Written)]
        );
    }
}
