//! The order of hearings at every playing speed, whichever is asked for.

use super::score::{self, Counted, Fall, HAIR, Scale};
use super::{Hearing, Kind, alike};
use crate::analysis::limits;

/// Playing speeds looked at, in percent.
const SPEEDS: std::ops::RangeInclusive<u16> = 20..=200;
const COUNT: usize = (*SPEEDS.end() - *SPEEDS.start() + 1) as usize;

/// A playing speed from which on another hearing is the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Playing speed in percent of the written tempos.
    pub percent: u16,
    /// The hearing that is first from here on, as an index into the report's hearings.
    pub hearing: usize,
}

/// How a hearing's attacks are counted at every speed of [`SPEEDS`].
#[derive(Debug, Clone)]
pub(super) struct Profile {
    /// One row for every speed, or a single one if it is the same for all.
    rows: Vec<Counted>,
    /// Until they are summed: what is the same for all.
    same: Step,
    /// Until they are summed: what comes and what goes from each speed on, if anything does.
    steps: Vec<Step>,
    /// Attacks in all, those within the tolerance of a pulse however fast, and the squares of what these are away from it.
    near: (usize, usize, f64),
}

#[derive(Debug, Clone, Copy, Default)]
struct Step {
    on: i32,
    between: [i32; Counted::CUTS],
    astray: i32,
    shares: f64,
}

impl Step {
    fn add(&mut self, fall: Fall, share: f64, sign: i32) {
        match fall {
            Fall::On => {
                self.on += sign;
                self.shares += share * f64::from(sign);
            }
            Fall::Between(row) => self.between[row] += sign,
            Fall::Astray => self.astray += sign,
        }
    }
}

impl Profile {
    pub(super) fn new() -> Self {
        Self { rows: Vec::new(), same: Step::default(), steps: Vec::new(), near: (0, 0, 0.0) }
    }

    /// Counts an attack that stands `away` periods from its pulse and falls where `fall` says at a speed. Over all speeds it may come to
    /// fall elsewhere, but never back.
    pub(super) fn add(&mut self, away: f64, fall: impl Fn(f64) -> Fall) {
        self.note(away);
        let at = |row: usize| fall(speed(row));
        let (slowest, fastest) = (at(0), at(COUNT - 1));
        if slowest == fastest {
            self.same.add(slowest, away.powi(2), 1);
            return;
        }
        self.steps.resize(COUNT + 1, Step::default());
        self.run(away.powi(2), &at, (0, slowest), (COUNT - 1, fastest));
    }

    /// The same for an attack that falls alike at every speed.
    pub(super) fn add_same(&mut self, away: f64, fall: Fall) {
        self.note(away);
        self.same.add(fall, away.powi(2), 1);
    }

    fn note(&mut self, away: f64) {
        self.near.0 += 1;
        if away.abs() <= limits::AGREES.value / 100.0 + HAIR {
            self.near.1 += 1;
            self.near.2 += away.powi(2);
        }
    }

    /// The same between two rows whose falls are known.
    fn run(&mut self, share: f64, at: &impl Fn(usize) -> Fall, from: (usize, Fall), to: (usize, Fall)) {
        if from.1 == to.1 {
            self.steps[from.0].add(from.1, share, 1);
            self.steps[to.0 + 1].add(from.1, share, -1);
            return;
        }
        let middle = usize::midpoint(from.0, to.0);
        self.run(share, at, from, (middle, at(middle)));
        self.run(share, at, (middle + 1, at(middle + 1)), to);
    }

    /// Ends the counting.
    pub(super) fn sum(&mut self) {
        let mut now = self.same;
        self.steps.resize(self.steps.len().max(2), Step::default());
        self.rows = Vec::with_capacity(self.steps.len() - 1);
        for step in &self.steps[..self.steps.len() - 1] {
            now.on += step.on;
            now.astray += step.astray;
            now.shares += step.shares;
            now.between.iter_mut().zip(step.between).for_each(|(n, s)| *n += s);
            self.rows.push(Counted {
                on: now.on as usize,
                between: now.between.map(|n| n as usize),
                astray: now.astray as usize,
                shares: now.shares,
            });
        }
        self.steps = Vec::new();
    }

    /// How well it fits where no cell is felt, 0 to 1: the share of the attacks near a pulse, less for their wobble.
    pub(super) fn plain(&self) -> f64 {
        let (all, near, squares) = self.near;
        let wobble = (squares / near.max(1) as f64).sqrt();
        near as f64 / all.max(1) as f64 * (-(wobble / score::UNSTEADY).powi(2) / 2.0).exp()
    }

    /// The scores of a hearing at every speed.
    fn scores(&self, hearing: &Hearing, scale: &Scale) -> impl Iterator<Item = f64> {
        let last = self.rows.len() - 1;
        (0..COUNT).map(move |row| {
            score::parts(hearing, &self.rows[row.min(last)], &Scale { speed: speed(row), ..*scale }).score()
        })
    }
}

fn speed(row: usize) -> f64 {
    (f64::from(*SPEEDS.start()) + row as f64) / 100.0
}

/// Least score of a hearing that is kept for its score: what is shown as 0 is none (ours, no source).
const LEAST: f64 = 0.5;

/// Orders the hearings at the playing speed, keeps the best `kept` that have a score, those that are first at some speed and the
/// written beat, and finds the speeds at which the first one changes. Those speeds and who is first there do not hang on the playing
/// speed. Whoever lists hearings lists all that are kept, so that their numbers agree.
pub(super) fn rank(mut pool: Vec<(Hearing, Profile)>, scale: &Scale, kept: usize) -> (Vec<Hearing>, Vec<Turn>) {
    // Of equal ones the one that was made first.
    let mut best = vec![(-1.0, 0); COUNT];
    for (i, (hearing, profile)) in pool.iter().enumerate() {
        for (best, score) in best.iter_mut().zip(profile.scores(hearing, scale)) {
            if score > best.0 + HAIR {
                *best = (score, i);
            }
        }
    }
    let mut order: Vec<usize> = (0..pool.len()).collect();
    order.sort_by_key(|i| std::cmp::Reverse((pool[*i].0.score / HAIR).round() as i64));
    let is_first = |i: usize| best.iter().any(|b| b.1 == i);
    // Of hearings that differ only in phase the best one is listed, and one that is first at another speed.
    let (mut keep, mut leaders): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
    for i in order {
        let hearing = &pool[i].0;
        let leads = !leaders.iter().any(|l| alike(&pool[*l].0, hearing));
        if leads {
            leaders.push(i);
        }
        if hearing.kind == Kind::Written || is_first(i) || leads && leaders.len() <= kept && hearing.score >= LEAST {
            keep.push(i);
        }
    }
    let mut turns: Vec<Turn> = Vec::new();
    for (percent, (_, first)) in SPEEDS.zip(&best) {
        let Some(hearing) = keep.iter().position(|k| k == first) else { continue };
        if turns.last().is_none_or(|t| t.hearing != hearing) {
            turns.push(Turn { percent, hearing });
        }
    }
    let mut all: Vec<Option<Hearing>> = pool.drain(..).map(|(h, _)| Some(h)).collect();
    (keep.into_iter().filter_map(|k| all[k].take()).collect(), turns)
}
