//! The lines of groups nearest to an even pulse, found exactly.
//!
//! A line has one attack for each pulse. The deviation of a line is the RMS distance of these attacks from the pulse in its best
//! phase. With `d_j` the distance of attack `j` from pulse `j`, counted from the first attack, the sum of squares is
//! `sum d^2 - (sum d)^2 / n`: it depends on nothing but two sums. Dynamic programming over the place of the last attack, the number of
//! pulses and the sum of the places keeps the least sum of squares of each state; the lines are then read back from the end, best first.
//! As the final sums are known there, the bound of every partial line is exact, and the lines come in order of their deviation.

use super::figure::{Budget, FigureRequest, Figures, FoundFigure, MeanSquare, Period};
use std::collections::{BinaryHeap, HashSet};

/// Stands for a state that no line reaches.
const NONE: i64 = i64::MAX;

/// The least sums of squares of all states: a place, the number of its pulse, and the sum of the places of the attacks on pulses.
struct Table<'a> {
    request: &'a FigureRequest,
    /// Pulses in the figure.
    pulses: usize,
    /// Greatest `|d|` in units of `1 / denom` cells.
    reach: i64,
    /// For each number of a pulse, the least and the greatest sum of places.
    sums: Vec<(i64, i64)>,
    /// For each cell, its first pulse number and where the row of each starts in `costs`.
    rows: Vec<(usize, Vec<usize>)>,
    costs: Vec<i64>,
    /// For each cell, the next one after it that must be struck; the length at the end.
    next_must: Vec<usize>,
}

impl<'a> Table<'a> {
    fn new(request: &'a FigureRequest, pulses: usize, budget: Budget) -> Option<Self> {
        let cells = request.may.len();
        let Period { numer, denom } = request.period;
        let half = request.period.cells() / 2.0;
        let greatest = request.max_deviation.map_or(half, |m| m.min(half));
        // Both the first attack and another one may be off by that much, in opposite directions.
        let reach = (2.0 * greatest * denom as f64 + 1e-6).floor() as i64;
        let mut sums = Vec::with_capacity(pulses);
        let (mut least, mut most) = (0, 0);
        for j in 0..pulses as i64 {
            let at = |d: i64| numer * j + d;
            if j > 0 {
                least += num_integer::Integer::div_ceil(&at(-reach), &denom).max(j);
                most += at(reach).div_euclid(denom).min(cells as i64);
            }
            sums.push((least, most));
        }
        let (mut rows, mut size) = (Vec::with_capacity(cells), 0_usize);
        for a in 0..cells as i64 {
            // Attacks between pulses may stand up to the end, at most half a period after the last pulse's successor.
            let slack = if request.between { 2 * numer } else { 0 };
            let first = num_integer::Integer::div_ceil(&(denom * a - reach - slack), &numer).max(0) as usize;
            let last = (denom * a + reach).div_euclid(numer).min(pulses as i64 - 1);
            let mut starts = Vec::new();
            if request.may[a as usize] || a == 0 {
                for j in first as i64..=last {
                    let (least, most) = sums[j as usize];
                    starts.push(size);
                    size += (most - least + 1).max(0) as usize;
                }
            }
            if size > budget.states {
                return None;
            }
            rows.push((first, starts));
        }
        let mut next_must = vec![cells; cells];
        for a in (0..cells.saturating_sub(1)).rev() {
            next_must[a] = if request.must[a + 1] { a + 1 } else { next_must[a + 1] };
        }
        Some(Self { request, pulses, reach, sums, rows, costs: vec![NONE; size], next_must })
    }

    /// Where a state is kept, if it can be one.
    fn index(&self, cell: usize, pulse: usize, sum: i64) -> Option<usize> {
        let (first, starts) = &self.rows[cell];
        let start = starts.get(pulse.checked_sub(*first)?)?;
        let (least, most) = self.sums[pulse];
        (least..=most).contains(&sum).then(|| start + (sum - least) as usize)
    }

    fn cost(&self, cell: usize, pulse: usize, sum: i64) -> i64 {
        self.index(cell, pulse, sum).map_or(NONE, |i| self.costs[i])
    }

    /// Distance of an attack from its pulse, counted from the first attack, in units of `1 / denom` cells.
    fn distance(&self, cell: usize, pulse: usize) -> i64 {
        self.request.period.denom * cell as i64 - self.request.period.numer * pulse as i64
    }

    fn lower(&mut self, cell: usize, pulse: usize, sum: i64, cost: i64) {
        if let Some(i) = self.index(cell, pulse, sum) {
            self.costs[i] = self.costs[i].min(cost);
        }
    }

    fn fill(&mut self) {
        let cells = self.request.may.len();
        self.lower(0, 0, 0, 0);
        for a in 0..cells {
            let (first, starts) = self.rows[a].clone();
            for (j, start) in (first..).zip(starts) {
                let (least, most) = self.sums[j];
                let last_pulse = j + 1 >= self.pulses;
                for sum in least..=most {
                    let cost = self.costs[start + (sum - least) as usize];
                    if cost == NONE {
                        continue;
                    }
                    for size in &self.request.sizes {
                        let b = a + size;
                        if b >= cells || b > self.next_must[a] {
                            break;
                        }
                        if !self.request.may[b] {
                            continue;
                        }
                        let d = self.distance(b, j + 1);
                        if !last_pulse && d.abs() <= self.reach {
                            self.lower(b, j + 1, sum + b as i64, cost + d * d);
                        }
                        if self.request.between && (last_pulse || d <= self.reach) {
                            self.lower(b, j, sum, cost);
                        }
                    }
                }
            }
        }
    }

    /// Sum of all `d` for a sum of places.
    fn distances(&self, sum: i64) -> i64 {
        let n = self.pulses as i64;
        self.request.period.denom * sum - self.request.period.numer * (n * (n - 1) / 2)
    }

    /// Change of `d` from one coming of the figure to the next.
    fn drift(&self) -> i64 {
        self.distance(self.request.may.len(), self.pulses)
    }

    /// The mean square over all repetitions of the figure: within one of them, and between them.
    fn mean_square(&self, squares: i64, distances: i64) -> MeanSquare {
        let (n, denom) = (self.pulses as i128, i128::from(self.request.period.denom));
        let (times, drift) = (self.request.times as i128, i128::from(self.drift()));
        let within = n * i128::from(squares) - i128::from(distances).pow(2);
        MeanSquare {
            numer: 12 * within + n * n * drift * drift * (times * times - 1),
            denom: 12 * n * n * denom * denom,
        }
    }

    /// Greatest distance from the phase in cells, for an attack in any coming of the figure.
    fn greatest(&self, distance: i64, distances: i64) -> f64 {
        let within = (distance as f64 - distances as f64 / self.pulses as f64).abs();
        let between = self.drift().abs() as f64 * (self.request.times as f64 - 1.0) / 2.0;
        (within + between) / self.request.period.denom as f64
    }
}

/// A partial line, read from the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Partial {
    cell: usize,
    pulse: usize,
    sum: i64,
    /// Squares of the attacks after this one.
    squares: i64,
    /// Attacks after this one.
    count: usize,
    /// The partial line that it continues, as an index.
    after: Option<usize>,
    /// Sum of the places of the whole line.
    total: i64,
}

/// The figures nearest to the pulse, at most `keep`, in order. `None` if the table would be larger than the budget.
pub(crate) fn nearest(request: &FigureRequest, keep: usize, budget: Budget) -> Option<Figures> {
    let mut all = Figures::default();
    for pulses in request.period.pulses_in(request.may.len()) {
        let Figures { found, out_of_budget } = nearest_with(request, pulses, keep, budget)?;
        all.found.extend(found);
        all.out_of_budget |= out_of_budget;
    }
    all.found.sort_by(|a, b| a.deviation.cmp(&b.deviation).then_with(|| a.attacks.cmp(&b.attacks)));
    let mut seen = HashSet::new();
    all.found.retain(|f| seen.insert(f.attacks.clone()));
    all.found.truncate(keep);
    Some(all)
}

fn nearest_with(request: &FigureRequest, pulses: usize, keep: usize, budget: Budget) -> Option<Figures> {
    if !request.between && request.attacks.is_some_and(|n| n != pulses) {
        return Some(Figures::default());
    }
    let mut table = Table::new(request, pulses, budget)?;
    table.fill();
    let table = table;
    let cells = request.may.len();
    let (least_size, most_size) = (*request.sizes.first()?, *request.sizes.last()?);
    let half = request.period.cells() / 2.0;
    let limit = request.max_deviation.map_or(half, |m| m.min(half)) + 1e-9;
    // The numbers of attacks before a cell that leave the wanted number possible.
    let is_possible = |cell: usize, after: usize| {
        request.attacks.is_none_or(|wanted| {
            let left = (wanted as i64 - after as i64 - 1).max(-1);
            left >= cell.div_ceil(most_size) as i64 && left <= (cell / least_size) as i64
        })
    };
    let mut partials: Vec<Partial> = Vec::new();
    // Least first; of equal ones the later place, so that a line is finished before others are begun.
    let mut open: BinaryHeap<(std::cmp::Reverse<i128>, usize, usize)> = BinaryHeap::new();
    let push = |p: Partial, partials: &mut Vec<Partial>, open: &mut BinaryHeap<_>| {
        let cost = table.cost(p.cell, p.pulse, p.sum);
        if cost == NONE || !is_possible(p.cell, p.count) {
            return;
        }
        let distances = i128::from(table.distances(p.total));
        let bound = i128::from(cost + p.squares) * pulses as i128 - distances * distances;
        open.push((std::cmp::Reverse(bound), cells - p.cell, partials.len()));
        partials.push(p);
    };
    for size in request.sizes.iter().take_while(|s| **s <= cells) {
        let cell = cells - size;
        if table.next_must[cell] < cells || (cell > 0 && !request.may[cell]) {
            continue;
        }
        let (least, most) = table.sums[pulses - 1];
        for sum in least..=most {
            let last = Partial { cell, pulse: pulses - 1, sum, squares: 0, count: 0, after: None, total: sum };
            push(last, &mut partials, &mut open);
        }
    }
    let mut answer = Figures::default();
    let mut seen = HashSet::new();
    let mut steps = 0;
    while let Some((_, _, index)) = open.pop() {
        steps += 1;
        if steps > budget.steps {
            answer.out_of_budget = true;
            break;
        }
        let p = partials[index];
        let distances = table.distances(p.total);
        if p.cell == 0 {
            if p.pulse > 0 || table.greatest(0, distances) > limit || !is_possible(0, p.count) {
                continue;
            }
            let figure = read(&table, &partials, index);
            if seen.insert(figure.attacks.clone()) {
                answer.found.push(figure);
            }
            if answer.found.len() == keep {
                break;
            }
            continue;
        }
        let d = table.distance(p.cell, p.pulse);
        let is_near = table.greatest(d, distances) <= limit;
        for size in request.sizes.iter().take_while(|s| **s <= p.cell) {
            let cell = p.cell - size;
            if table.next_must[cell] < p.cell {
                break;
            }
            let before = Partial { cell, count: p.count + 1, after: Some(index), ..p };
            if is_near && p.pulse > 0 {
                let sum = p.sum - p.cell as i64;
                let on_pulse = Partial { pulse: p.pulse - 1, sum, squares: p.squares + d * d, ..before };
                push(on_pulse, &mut partials, &mut open);
            }
            if request.between {
                push(before, &mut partials, &mut open);
            }
        }
    }
    Some(answer)
}

/// The figure of a partial line that reaches the start.
fn read(table: &Table<'_>, partials: &[Partial], index: usize) -> FoundFigure {
    let line: Vec<&Partial> =
        std::iter::successors(Some(&partials[index]), |p| p.after.map(|after| &partials[after])).collect();
    let total = partials[index].total;
    let distances = table.distances(total);
    // An attack is on a pulse if the number of pulses changes before it.
    let on_pulse = line.windows(2).filter(|w| w[1].pulse > w[0].pulse).map(|w| table.distance(w[1].cell, w[1].pulse));
    let greatest = on_pulse.chain([0]).map(|d| table.greatest(d, distances)).fold(0.0, f64::max);
    FoundFigure {
        attacks: line.iter().map(|p| p.cell).collect(),
        pulses: table.pulses,
        deviation: table.mean_square(partials[index].squares, distances),
        greatest: (greatest * 1e6).round() as u64,
    }
}
