//! What is asked of a line of groups, and the search for it.

use super::count;
use super::exact::nearest;
use super::figure::{Budget, FigureRequest, FoundFigure, MAX_CELLS, MeanSquare, Period};
use std::collections::HashSet;

/// Greatest sum of the squares of the figures' lengths that are tried: the work for a figure grows with its square.
const MAX_LAYOUT_WORK: usize = 1 << 25;
/// Nearest answers that are looked for where a constraint is relaxed.
const RELAXED_ANSWERS: usize = 3;

/// A part of the length with one wanted pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WantedPulse {
    pub(crate) period: Period,
    /// Its length in cells.
    pub(crate) cells: usize,
}

/// Where the first attack stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum FirstAttack {
    /// On this cell, from 0.
    At(usize),
    /// On any cell that leaves no longer silence, round the loop, than the largest group.
    Any,
}

/// A figure that fills the length by its repeats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Repeats {
    /// Its length in cells; `None` leaves it to the search.
    pub(crate) cells: Option<usize>,
    /// How often it comes; `None` for as often as it fits.
    pub(crate) times: Option<usize>,
    /// Whether a rest shorter than the figure may follow the last one.
    pub(crate) rest: bool,
}

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LineRequest {
    /// The group sizes that may stand in the line, ascending.
    pub(crate) sizes: Vec<usize>,
    /// The wanted pulse, or several in a row; together they fill the length.
    pub(crate) pulses: Vec<WantedPulse>,
    pub(crate) first: FirstAttack,
    pub(crate) repeats: Repeats,
    /// Attacks in the whole line.
    pub(crate) attacks: Option<usize>,
    /// For each cell, whether it must not be struck.
    pub(crate) never: Vec<bool>,
    /// For each cell, whether it must be struck.
    pub(crate) must: Vec<bool>,
    /// Whether other attacks may stand between those of the pulse.
    pub(crate) between: bool,
    /// In cells.
    pub(crate) max_deviation: Option<f64>,
}

/// A line that was found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// The cells of its attacks.
    pub(crate) attacks: Vec<usize>,
    /// Length in cells and number of repetitions of its figure, if it is played more than once.
    pub(crate) figure: Option<(usize, usize)>,
    /// Cells after the last figure.
    pub(crate) rest: usize,
    /// Pulses in each part.
    pub(crate) pulses: Vec<usize>,
    /// RMS distance from the pulse in cells; of several pulses, the root of the mean of their squares.
    pub(crate) deviation: f64,
    /// Greatest distance of an attack from its pulse in cells.
    pub(crate) greatest: f64,
}

/// The answer of a search.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Lines {
    /// The nearest lines, in order. No line that fulfils the request and is left out is nearer than one that is listed, unless the
    /// budget ran out.
    pub(crate) found: Vec<Line>,
    /// Number of lines with these groups, places and attacks, whatever their deviation; `None` if it is not known.
    pub(crate) candidates: Option<u128>,
    /// Number of those in `found` that have the least deviation; there may be more if these are all of them and `is_full`.
    pub(crate) ties: usize,
    /// Whether there are as many as were asked for, so that others may follow.
    pub(crate) is_full: bool,
    pub(crate) out_of_budget: bool,
}

/// What can be given up so that there are lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Constraint {
    MaxDeviation,
    Never,
    Must,
    Attacks,
    First,
    Repeats,
    Sizes,
    Pulse,
}

/// A request with one constraint given up, and its answers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Relaxation {
    pub(crate) constraint: Constraint,
    pub(crate) request: LineRequest,
    pub(crate) found: Vec<Line>,
}

/// A figure laid into the length.
struct Layout {
    lead: usize,
    cells: usize,
    times: usize,
    rest: usize,
}

impl LineRequest {
    /// The length in cells.
    pub(crate) fn cells(&self) -> usize {
        self.pulses.iter().map(|p| p.cells).sum()
    }

    /// The nearest lines, at most `keep`.
    pub(crate) fn search(&self, keep: usize, budget: Budget) -> Lines {
        if self.pulses.len() > 1 { self.search_in_parts(keep, budget) } else { self.search_whole(keep, budget) }
    }

    /// The lines of one pulse.
    fn search_whole(&self, keep: usize, budget: Budget) -> Lines {
        let Some(pulse) = self.pulses.first() else { return Lines::default() };
        let mut layouts = self.layouts();
        let work = layouts.iter().scan(0, |work, l| {
            *work += l.cells * l.cells;
            Some(*work)
        });
        let affordable = work.take_while(|w| *w <= MAX_LAYOUT_WORK).count().max(1);
        let mut all: Vec<(MeanSquare, Line)> = Vec::new();
        // Lines whose last group ends in a rest may be found as figures of several lengths.
        let is_counted = !self.repeats.rest && layouts.len() <= affordable;
        let mut lines = Lines { candidates: is_counted.then_some(0), ..Lines::default() };
        lines.out_of_budget = layouts.len() > affordable;
        layouts.truncate(affordable);
        for layout in &layouts {
            let Some(figure) = self.figure(layout, pulse.period) else { continue };
            let ways = count::lines(&figure.sizes, &figure.may, &figure.must, figure.attacks);
            lines.candidates = lines.candidates.zip(ways).and_then(|(a, b)| a.checked_add(b));
            if ways == Some(0) {
                continue;
            }
            match nearest(&figure, keep, budget) {
                Some(found) => {
                    lines.out_of_budget |= found.out_of_budget;
                    all.extend(found.found.into_iter().map(|f| (f.deviation, layout.line(&f))));
                }
                None => lines.out_of_budget = true,
            }
        }
        all.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| a.1.attacks.cmp(&b.1.attacks)));
        let mut seen = HashSet::new();
        all.retain(|(_, line)| seen.insert(line.attacks.clone()));
        all.truncate(keep);
        lines.ties = all.iter().take_while(|(deviation, _)| *deviation == all[0].0).count();
        lines.is_full = all.len() == keep;
        lines.found = all.into_iter().map(|(_, line)| line).collect();
        lines
    }

    /// Lines of several pulses in a row: every part by itself, and the best sums of their squares.
    fn search_in_parts(&self, keep: usize, budget: Budget) -> Lines {
        let mut from = 0;
        let mut whole = Lines { candidates: Some(1), ..Lines::default() };
        let mut sums: Vec<Line> = Vec::new();
        for (index, pulse) in self.pulses.iter().enumerate() {
            let range = from..from + pulse.cells;
            let part = Self {
                pulses: vec![*pulse],
                never: self.never[range.clone()].to_vec(),
                must: self.must[range.clone()].to_vec(),
                first: FirstAttack::At(0),
                repeats: Repeats::default(),
                attacks: None,
                ..self.clone()
            };
            let found = part.search_whole(keep, budget);
            whole.out_of_budget |= found.out_of_budget;
            whole.candidates = whole.candidates.zip(found.candidates).and_then(|(a, b)| a.checked_mul(b));
            let joined = |before: Option<&Line>, line: &Line| Line {
                attacks: before
                    .iter()
                    .flat_map(|b| b.attacks.clone())
                    .chain(line.attacks.iter().map(|a| a + from))
                    .collect(),
                pulses: before.iter().flat_map(|b| b.pulses.clone()).chain(line.pulses.clone()).collect(),
                // The sum of squares so far.
                deviation: before.map_or(0.0, |b| b.deviation) + line.deviation.powi(2),
                greatest: before.map_or(0.0, |b| b.greatest).max(line.greatest),
                figure: None,
                rest: 0,
            };
            sums = if index == 0 {
                found.found.iter().map(|l| joined(None, l)).collect()
            } else {
                sums.iter().flat_map(|a| found.found.iter().map(|b| joined(Some(a), b)).collect::<Vec<_>>()).collect()
            };
            sums.sort_by(|a, b| a.deviation.total_cmp(&b.deviation));
            sums.truncate(keep);
            from = range.end;
        }
        let parts = self.pulses.len() as f64;
        for line in &mut sums {
            line.deviation = (line.deviation / parts).sqrt();
        }
        let best = sums.first().map_or(0.0, |l| l.deviation);
        whole.ties = sums.iter().take_while(|l| l.deviation - best < 1e-9).count();
        whole.is_full = sums.len() == keep;
        whole.found = sums;
        whole
    }

    /// Every way to lay a figure into the length, those with the shortest rests first.
    fn layouts(&self) -> Vec<Layout> {
        let cells = self.cells();
        let most = self.sizes.last().copied().unwrap_or(0);
        let leads = match self.first {
            FirstAttack::At(cell) => cell..cell + 1,
            FirstAttack::Any => 0..most.min(cells),
        };
        let Repeats { cells: figure, times, rest } = self.repeats;
        let mut layouts = Vec::new();
        for lead in leads {
            // Without a rest the last group goes on round the loop.
            let room = if rest { cells.saturating_sub(lead) } else { cells };
            for length in figure.map_or(1..=room, |f| f..=f) {
                let fits = room / length;
                let repetitions = times.unwrap_or(if figure.is_some() { fits } else { 1 });
                if repetitions == 0 || length * repetitions > room {
                    continue;
                }
                let left = room - length * repetitions;
                if left == 0 || rest && left < length {
                    layouts.push(Layout { lead, cells: length, times: repetitions, rest: left });
                }
            }
        }
        layouts.sort_by_key(|l| l.rest);
        layouts
    }

    /// The search for a figure of this layout; `None` if the places that must or must not be struck do not allow it.
    fn figure(&self, layout: &Layout, period: Period) -> Option<FigureRequest> {
        let cells = self.cells();
        let end = layout.lead + layout.cells * layout.times;
        let is_silent = |cell: usize| cell < layout.lead || cell >= end;
        if (0..cells).any(|c| self.must[c] && is_silent(c)) {
            return None;
        }
        let (mut may, mut must) = (vec![true; layout.cells], vec![false; layout.cells]);
        for place in layout.lead..end {
            let within = (place - layout.lead) % layout.cells;
            if place < cells {
                may[within] &= !self.never[place];
                must[within] |= self.must[place];
            } else {
                // Round the loop, before the first attack.
                may[within] = false;
            }
        }
        let is_contradictory = !may[0] || may.iter().zip(&must).any(|(may, must)| *must && !*may);
        let attacks = match self.attacks {
            Some(n) if !n.is_multiple_of(layout.times) => return None,
            attacks => attacks.map(|n| n / layout.times),
        };
        (!is_contradictory).then(|| FigureRequest {
            sizes: self.sizes.clone(),
            may,
            must,
            period,
            times: layout.times,
            between: self.between,
            attacks,
            max_deviation: self.max_deviation,
        })
    }

    /// The constraints each of which can be given up alone so that there are lines; for a request without any.
    pub(crate) fn relaxations(&self, budget: Budget) -> Vec<Relaxation> {
        let order = [
            Constraint::MaxDeviation,
            Constraint::Never,
            Constraint::Must,
            Constraint::Attacks,
            Constraint::First,
            Constraint::Repeats,
            Constraint::Sizes,
            Constraint::Pulse,
        ];
        let relaxed = order.into_iter().filter_map(|constraint| {
            let request = self.without(constraint)?;
            let found = request.search(RELAXED_ANSWERS, budget).found;
            (!found.is_empty()).then_some(Relaxation { constraint, request, found })
        });
        relaxed.collect()
    }

    /// The request without a constraint; `None` if it does not have it.
    fn without(&self, constraint: Constraint) -> Option<Self> {
        let mut request = self.clone();
        let free = vec![false; self.cells()];
        match constraint {
            Constraint::MaxDeviation => request.max_deviation = None,
            Constraint::Never => request.never = free,
            Constraint::Must => request.must = free,
            Constraint::Attacks => request.attacks = None,
            Constraint::First => request.first = FirstAttack::Any,
            Constraint::Repeats if self.repeats == Repeats::default() => {
                request.repeats = Repeats { times: Some(1), rest: true, cells: None };
            }
            Constraint::Repeats => request.repeats = Repeats { rest: true, ..self.repeats },
            Constraint::Sizes => {
                let periods = self.pulses.iter().map(|p| p.period.cells());
                let around = periods.flat_map(|p| [p.floor() as usize, p.ceil() as usize]);
                let beside = self.sizes.iter().flat_map(|s| [s.saturating_sub(1), *s, s + 1]);
                request.sizes = around.chain(beside).filter(|s| *s > 0).collect();
                request.sizes.sort_unstable();
                request.sizes.dedup();
            }
            Constraint::Pulse => {
                let (least, most) = (*self.sizes.first()?, *self.sizes.last()?);
                for pulse in &mut request.pulses {
                    let nearest = pulse.period.cells().clamp(least as f64, most as f64);
                    if nearest != pulse.period.cells() {
                        pulse.period = Period::new(nearest as i64, 1)?;
                    }
                }
            }
        }
        (request != *self).then_some(request)
    }
}

impl Layout {
    fn line(&self, found: &FoundFigure) -> Line {
        let repetitions =
            (0..self.times).flat_map(|n| found.attacks.iter().map(move |a| self.lead + n * self.cells + a));
        Line {
            attacks: repetitions.collect(),
            figure: (self.times > 1).then_some((self.cells, self.times)),
            rest: self.rest,
            pulses: vec![found.pulses * self.times],
            deviation: found.deviation.rms(),
            greatest: found.greatest_cells(),
        }
    }
}

impl Line {
    /// The groups, the last one to the end of so many cells.
    pub(crate) fn groups(&self, cells: usize) -> Vec<u32> {
        let ends = self.attacks.iter().skip(1).chain([&cells]);
        self.attacks.iter().zip(ends).map(|(a, b)| (b - a) as u32).collect()
    }
}

/// Whether a length can be searched.
pub(crate) fn is_searchable(cells: usize) -> bool {
    (1..=MAX_CELLS).contains(&cells)
}
