//! The arguments of `teeter search` as a request.

use crate::cli::args::SearchArgs;
use crate::cli::{CliError, input};
use crate::describe;
use crate::rhythm::bounds;
use crate::rhythm::{Attack, Cell, Edit, Fraction, Groove, Meter, Part, Place, Region, Tempo, Time, expected};
use crate::variation::Wanted;
use crate::variation::search::figure::{MAX_CELLS, Period};
use crate::variation::search::places::{Ground, Places};
use crate::variation::search::request::{FirstAttack, Line, LineRequest, Repeats, WantedPulse, is_searchable};

/// Where a line is laid: a layer of a groove in one section.
pub(super) struct Setting {
    pub(super) groove: Groove,
    pub(super) layer: usize,
    pub(super) section: usize,
    /// Length of a cell.
    cell: Time,
    /// Cells of the section.
    section_cells: usize,
    /// Whether the line repeats against the bars: in a groove of its own, if it does not fill its bars.
    is_cycle: bool,
}

/// A request with the numbers that its answers are told in.
pub(super) struct Asked {
    pub(super) request: LineRequest,
    /// Each wanted pulse in beats per minute.
    pub(super) bpm: Vec<f64>,
    pub(super) cell_ms: f64,
    /// The tempo of the written beat.
    pub(super) beat_bpm: f64,
}

impl Asked {
    /// The same for another request over the same cells.
    pub(super) fn with(&self, request: &LineRequest) -> Self {
        let bpm = request.pulses.iter().map(|p| 60_000.0 / (self.cell_ms * p.period.cells())).collect();
        Self { request: request.clone(), bpm, ..*self }
    }
}

const DEFAULT_BARS: u16 = 4;
const MAX_CYCLE_BARS: usize = 64;
const PULSE_FORM: &str =
    "beats per minute such as 160, a ratio such as 6:5, or even, perhaps with 'for 2 bars' or 'for 32 cells'";

impl Setting {
    pub(super) fn new(args: &SearchArgs) -> Result<Self, CliError> {
        let mut is_cycle = false;
        let (groove, layer, section) = if let Some(path) = &args.file {
            let groove = input::read_groove(path)?;
            if groove.layers().is_empty() {
                return Err(CliError::usage("the groove has no layer for the line").in_file(path));
            }
            let layers = groove.layers().iter().map(|l| l.name.as_str());
            let layer = args.layer.as_ref().map_or(Ok(0), |name| input::index_of("layer", name, layers))?;
            let sections = groove.sections().iter().map(|s| s.name.as_str());
            let section = args.section.as_ref().map_or(Ok(0), |name| input::index_of("section", name, sections))?;
            (groove, layer, section)
        } else {
            let groove;
            (groove, is_cycle) = blank(args)?;
            (groove, 0, 0)
        };
        let context = groove.context(layer, section);
        let cell = context.meter.beat().divided(usize::from(context.division));
        let cell = cell.ok_or_else(|| CliError::usage("the cells of this layer cannot be counted"))?;
        if let Part::Barred { spans, .. } = groove.part(layer, section)
            && spans.iter().any(|s| (s.beats, s.cells) != (1, context.division))
        {
            return Err(CliError::usage("the layer has tuplets in this section; the search needs cells of one length"));
        }
        let section_cells = groove.cells(layer, section);
        let groove = match groove.part(layer, section) {
            Part::Cycled { .. } => {
                groove.edited(&Edit::Cycle { layer, section, cells: None }).map_err(CliError::usage)?
            }
            Part::Barred { .. } => groove,
        };
        Ok(Self { groove, layer, section, cell, section_cells, is_cycle })
    }

    /// The region of a line of so many cells, which the listener is asked about; `None` for the whole groove.
    pub(super) fn region(&self, cells: usize) -> Option<Region> {
        let is_whole = self.groove.sections().len() == 1 && (cells == self.section_cells || self.is_cycle);
        let section = &self.groove.sections()[self.section];
        let to = if self.is_cycle { Some(section.length()) } else { self.cell.repeated(cells) };
        (!is_whole).then(|| Region {
            layers: self.layer..self.layer + 1,
            section: self.section,
            from: Time::ZERO,
            to: to.unwrap_or(section.length()),
        })
    }

    /// A cell as players say it.
    pub(super) fn place(&self, cell: usize) -> String {
        describe::place(&self.groove, Place { layer: self.layer, section: self.section, cell })
    }

    fn ground(&self) -> Ground<'_> {
        let context = self.groove.context(self.layer, self.section);
        Ground { meter: context.meter, division: usize::from(context.division), cells: self.section_cells }
    }

    pub(super) fn asked(&self, args: &SearchArgs) -> Result<Asked, CliError> {
        let ground = self.ground();
        let length = args.length.as_ref().map_or(Ok(self.section_cells), |text| cells_of(text, ground))?;
        if !is_searchable(length) {
            return Err(CliError::usage(expected(
                format!("a length of 1 to {MAX_CELLS} cells"),
                format!("{length} cells"),
            )));
        }
        if length > self.section_cells {
            let wanted = format!("a length within the {} cells of the section", self.section_cells);
            return Err(CliError::usage(expected(wanted, format!("{length} cells"))));
        }
        let per_minute = self.groove.sections()[self.section].tempo.wholes_per_minute();
        let cells_per_minute = per_minute.over(self.cell.wholes());
        let pulses = self.pulses(args, length, cells_per_minute)?;
        let float = |f: Fraction| f.numer() as f64 / f.denom() as f64;
        let rate = cells_per_minute.map_or(f64::NAN, float);
        let bpm = pulses.iter().map(|p| rate / p.period.cells()).collect();
        let cell_ms = 60_000.0 / rate;
        let mark = |texts: &[String], option: &str| -> Result<Vec<bool>, CliError> {
            let mut marked = vec![false; length];
            for text in texts {
                let with_option = |error: String| CliError::usage(format!("{option}: {error}"));
                for places in Places::parse_list(text).map_err(with_option)? {
                    places.mark(Ground { cells: length, ..ground }, &mut marked).map_err(with_option)?;
                }
            }
            Ok(marked)
        };
        let first = match args.first.as_str() {
            "any" => FirstAttack::Any,
            word => word
                .parse()
                .ok()
                .filter(|n| (1..=length).contains(n))
                .map(|n: usize| FirstAttack::At(n - 1))
                .ok_or_else(|| {
                    CliError::usage(format!(
                        "--first: {}",
                        expected(format!("a cell from 1 to {length}, or any"), word)
                    ))
                })?,
        };
        let is_positive = |n: &usize| (1..=length).contains(n);
        for (option, value) in [("--attacks", args.attacks), ("--figure", args.figure), ("--times", args.times)] {
            if let Some(n) = value.filter(|n| !is_positive(n)) {
                return Err(CliError::usage(format!(
                    "{option}: {}",
                    expected(format!("a number from 1 to {length}"), n)
                )));
            }
        }
        if let Some(ms) = args.deviation.filter(|ms| !(0.0..=10_000.0).contains(ms)) {
            return Err(CliError::usage(format!("--deviation: {}", expected("a number from 0 to 10000 (ms)", ms))));
        }
        let repeats = Repeats {
            cells: args.figure,
            times: args.times.or((args.rest && args.figure.is_none()).then_some(1)),
            rest: args.rest,
        };
        if pulses.len() > 1 && (repeats != Repeats::default() || args.attacks.is_some() || first != FirstAttack::At(0))
        {
            let message = "--figure, --times, --rest, --attacks and --first apply to a single pulse; several in a row start on their first cells";
            return Err(CliError::usage(message));
        }
        let request = LineRequest {
            sizes: args.groups.0.clone(),
            pulses,
            first,
            repeats,
            attacks: args.attacks,
            never: mark(&args.never, "--never")?,
            must: mark(&args.strike, "--strike")?,
            between: args.between,
            max_deviation: args.deviation.map(|ms| ms / cell_ms),
        };
        let beat_cells = f64::from(u16::try_from(ground.division).unwrap_or(1));
        Ok(Asked { request, bpm, cell_ms, beat_bpm: rate / beat_cells })
    }

    fn pulses(
        &self,
        args: &SearchArgs,
        length: usize,
        per_minute: Option<Fraction>,
    ) -> Result<Vec<WantedPulse>, CliError> {
        let ground = self.ground();
        let error = |text: &str| CliError::usage(format!("--pulse: {}", expected(PULSE_FORM, format!("'{text}'"))));
        let read = |text: &String| -> Result<(Period, Option<usize>), CliError> {
            let (pulse, part) = text.split_once(" for ").map_or((text.as_str(), None), |(p, rest)| (p, Some(rest)));
            let cells = part.map(|rest| cells_of(rest, ground)).transpose()?;
            let pulse = pulse.trim();
            let period = if pulse == "even" {
                let Some(attacks) = args.attacks.filter(|n| *n > 0) else {
                    return Err(CliError::usage("--pulse even needs the number of attacks: --attacks N"));
                };
                let cells = args.figure.unwrap_or(length);
                let attacks = attacks
                    / args.times.unwrap_or(if args.figure.is_some() { length / cells.max(1) } else { 1 }).max(1);
                Period::new(cells as i64, attacks.max(1) as i64)
            } else if let Some((pulses, beats)) = pulse.split_once(':') {
                let terms = pulses.trim().parse::<i64>().ok().zip(beats.trim().parse::<i64>().ok());
                let is_term = |n: &i64| (1..=64).contains(n);
                let (pulses, beats) = terms.filter(|(a, b)| is_term(a) && is_term(b)).ok_or_else(|| error(text))?;
                Period::new(beats * ground.division as i64, pulses)
            } else {
                let bpm = Fraction::parse(pulse).filter(|b| *b > Fraction::ZERO).ok_or_else(|| error(text))?;
                per_minute.and_then(|rate| rate.over(bpm)).and_then(|p| Period::new(p.numer(), p.denom()))
            };
            let period = period.ok_or_else(|| {
                let wanted = format!("a pulse of 1 to {MAX_CELLS} cells");
                CliError::usage(format!("--pulse: {}", expected(wanted, format!("'{text}'"))))
            })?;
            Ok((period, cells))
        };
        let all: Vec<(Period, Option<usize>)> = args.pulse.iter().map(read).collect::<Result<_, _>>()?;
        let given: usize = all.iter().filter_map(|p| p.1).sum();
        let open = all.iter().filter(|p| p.1.is_none()).count();
        let left = length.checked_sub(given);
        let fits = left.is_some_and(|left| if open == 0 { left == 0 } else { left.is_multiple_of(open) && left > 0 });
        if !fits {
            let message = format!(
                "the parts of the pulses do not fill the length of {length} cells; give each its own 'for N bars'"
            );
            return Err(CliError::usage(format!("--pulse: {message}")));
        }
        let share = left.unwrap_or(0).checked_div(open).unwrap_or(0);
        Ok(all.into_iter().map(|(period, cells)| WantedPulse { period, cells: cells.unwrap_or(share) }).collect())
    }

    /// The pulses that a listener is to hear, as parts of the section.
    pub(super) fn wanted(&self, asked: &Asked) -> Vec<Wanted> {
        let mut from = 0;
        if self.is_cycle {
            return asked.bpm.iter().map(|bpm| Wanted::throughout(*bpm)).collect();
        }
        let share = |cells: usize| cells as f64 / asked.request.cells() as f64;
        let of = |(pulse, bpm): (&WantedPulse, &f64)| {
            let start = from;
            from += pulse.cells;
            Wanted { bpm: *bpm, from: share(start), to: share(from) }
        };
        asked.request.pulses.iter().zip(&asked.bpm).map(of).collect()
    }

    /// The groove with a line.
    pub(super) fn with_line(&self, line: &Line, cells: usize) -> Result<Groove, CliError> {
        let first = self.groove.part(self.layer, self.section).stored().iter().find_map(|c| c.attack());
        let attack = Attack { pitch: first.and_then(|a| a.pitch), ..Attack::default() };
        let mut row = vec![Cell::Rest; cells];
        for (at, size) in line.attacks.iter().zip(line.groups(cells - line.rest)) {
            row[*at] = Cell::Attack(attack);
            row[at + 1..at + size as usize].fill(Cell::Hold);
        }
        let at = Place { layer: self.layer, section: self.section, cell: 0 };
        let groove = self.groove.edited(&Edit::Cells(at, row));
        let cycle = Edit::Cycle { layer: self.layer, section: self.section, cells: Some(cells) };
        let groove = if self.is_cycle { groove.and_then(|g| g.edited(&cycle)) } else { groove };
        groove.map_err(CliError::usage)
    }
}

/// The groove of a line that gets its own, and whether the line repeats against the bars.
fn blank(args: &SearchArgs) -> Result<(Groove, bool), CliError> {
    let meter =
        Meter::parse(args.meter.as_deref().unwrap_or("4/4")).map_err(|e| CliError::usage(format!("--meter: {e}")))?;
    let tempo = args.tempo.as_deref().unwrap_or("120");
    let bpm = Fraction::parse(tempo);
    let tempo =
        bpm.ok_or_else(|| CliError::usage(format!("--tempo: {}", expected("beats per minute", format!("'{tempo}'")))))?;
    let tempo = Tempo::new(tempo, meter.beat()).map_err(|e| CliError::usage(format!("--tempo: {e}")))?;
    let division = args.division.unwrap_or(4);
    if !(bounds::DIVISION.least..=bounds::DIVISION.greatest).contains(&i64::from(division)) {
        return Err(CliError::usage(format!("--division: {}", expected(bounds::DIVISION.range(), division))));
    }
    let bar = meter.beats() * usize::from(division);
    let ground = Ground { meter: &meter, division: usize::from(division), cells: usize::MAX };
    let cells = args.length.as_ref().map_or(Ok(usize::from(DEFAULT_BARS) * bar), |text| cells_of(text, ground))?;
    let is_cycle = !cells.is_multiple_of(bar);
    if is_cycle && args.pulse.len() > 1 {
        return Err(CliError::usage("--length: several pulses in a row need whole bars"));
    }
    // A line that does not fill its bars comes again until it meets the bar line, in so many bars at most.
    let bars = if is_cycle {
        (num_integer::lcm(cells, bar) / bar).min(MAX_CYCLE_BARS).max(cells.div_ceil(bar))
    } else {
        cells / bar
    };
    let bars = u16::try_from(bars).unwrap_or(u16::MAX);
    let groove = Groove::blank(meter, tempo, bars).map_err(|e| CliError::usage(format!("--length: {e}")))?;
    let groove = groove.edited(&Edit::Division(0, None, division)).map_err(CliError::usage)?;
    Ok((groove, is_cycle))
}

/// Cells of `4 bars`, `64 cells` or `64`.
fn cells_of(text: &str, ground: Ground<'_>) -> Result<usize, CliError> {
    let error = || {
        CliError::usage(expected("a length such as '4 bars', '2 beats' or '64 cells'", format!("'{}'", text.trim())))
    };
    let words: Vec<&str> = text.split_whitespace().collect();
    let (number, unit) = match words[..] {
        [number] | [number, "cell" | "cells"] => (number, 1),
        [number, "beat" | "beats"] => (number, ground.division),
        [number, "bar" | "bars"] => (number, ground.division * ground.meter.beats()),
        _ => return Err(error()),
    };
    number.parse::<usize>().ok().filter(|n| *n > 0).and_then(|n| n.checked_mul(unit)).ok_or_else(error)
}
