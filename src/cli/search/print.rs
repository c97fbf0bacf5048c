//! The answers of `teeter search` as text and as JSON.

use super::request::{Asked, Setting};
use crate::describe::rest_lead;
use crate::rhythm::{Groove, count, group_line};
use crate::variation::search::count::necklaces;
use crate::variation::search::request::{Constraint, FirstAttack, Line, LineRequest, Lines, Relaxation, Repeats};
use serde_json::{Value, json};
use std::fmt::Write;

/// Version of the JSON: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

/// Below this probability of the wanted pulse, a remark says that it is hardly heard.
const MIN_HEARD: f64 = 0.1;

/// A line with what a listener hears.
pub(super) struct Heard {
    pub(super) line: Line,
    pub(super) groove: Groove,
    /// Probability that the wanted pulse is heard.
    pub(super) wanted: f64,
    /// Probability that the written beat is kept; `None` where there is nothing to hear a pulse from.
    pub(super) written: Option<f64>,
    pub(super) first: Option<Likeliest>,
}

/// The likeliest hearing.
pub(super) struct Likeliest {
    pub(super) bpm: f64,
    pub(super) keeps_written: bool,
    /// Whether its beats are unequal; the tempo is that of their mean.
    pub(super) is_unequal: bool,
}

impl Likeliest {
    fn text(&self) -> String {
        let kind = match (self.keeps_written, self.is_unequal) {
            (true, _) => "beat ",
            (_, true) => "unequal ",
            _ => "",
        };
        format!("{kind}{:.1}", self.bpm)
    }
}

pub(super) struct Results<'a> {
    pub(super) setting: &'a Setting,
    pub(super) asked: &'a Asked,
    pub(super) lines: &'a Lines,
    /// The lines that the listener was asked about, the likeliest first.
    pub(super) heard: Vec<Heard>,
    /// What may be given up, with the nearest answers; only if there is no line.
    pub(super) relaxations: Vec<(&'a Relaxation, Vec<Heard>)>,
}

/// The groups of a line in their shortest form, with the rests before and after them.
pub(super) fn line_text(line: &Line, cells: usize) -> String {
    let lead = rest_lead(line.attacks.first().copied().unwrap_or(0));
    let groups = group_line::print(&group_line::compress(&line.groups(cells - line.rest)));
    let rest = if line.rest > 0 { format!(", then {} of rest", count(line.rest, "cell")) } else { String::new() };
    format!("{lead}{groups}{rest}")
}

/// `3`, `3 and 4`, `2, 3 and 4`.
fn list(sizes: &[usize]) -> String {
    let words: Vec<String> = sizes.iter().map(usize::to_string).collect();
    match &words[..] {
        [others @ .., last] if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        _ => words.concat(),
    }
}

impl Results<'_> {
    pub(super) fn text(&self, top: usize) -> String {
        let Asked { request, bpm, cell_ms, beat_bpm } = self.asked;
        let cells = request.cells();
        let mut text = String::new();
        let pulses: Vec<String> = request
            .pulses
            .iter()
            .zip(bpm)
            .map(|(p, bpm)| {
                let part =
                    if request.pulses.len() > 1 { format!(" over {}", count(p.cells, "cell")) } else { String::new() };
                format!(
                    "{bpm:.1} BPM{part}, a pulse every {:.2} cells ({:.0} ms)",
                    p.period.cells(),
                    p.period.cells() * cell_ms
                )
            })
            .collect();
        // Writing to a String cannot fail.
        let _ = writeln!(text, "wanted: {}", pulses.join("; then "));
        let _ =
            writeln!(text, "line: {} at {beat_bpm:.1} BPM, groups of {}", count(cells, "cell"), list(&request.sizes));
        if !self.lines.found.is_empty() {
            let _ = writeln!(text, "{}", self.proof());
            let _ = writeln!(text, "{}\n", self.listened());
        }
        if !self.heard.is_empty() {
            text += &table(&self.heard, top, cells, *cell_ms);
            let best = self.heard.iter().map(|h| h.wanted).fold(0.0, f64::max);
            if best < MIN_HEARD {
                let _ = writeln!(
                    text,
                    "\nthe wanted pulse is unlikely to be heard at this speed in any of these lines: at most {best:.2}"
                );
                let _ = writeln!(text, "try a slower or faster --tempo, a longer length, or --listen with more lines");
            }
        }
        for (relaxation, heard) in &self.relaxations {
            let _ = writeln!(text, "\nwithout {}:", self.constraint(relaxation));
            text += &table(heard, top, cells, *cell_ms);
        }
        text
    }

    /// What is proved.
    fn proof(&self) -> String {
        let best = self.lines.found.first().map_or(0.0, |l| l.deviation * self.asked.cell_ms);
        let ties = self.lines.ties;
        if self.lines.out_of_budget {
            return format!("not proved: the search ran out of its budget; the least deviation found is {best:.1} ms");
        }
        let least = if self.lines.is_full && ties == self.lines.found.len() { "at least " } else { "" };
        let reach = if ties == 1 { "line reaches it" } else { "lines reach it" };
        format!("proved: the least deviation from the wanted pulse is {best:.1} ms; {least}{ties} {reach}")
    }

    /// How many lines the listener was asked about.
    fn listened(&self) -> String {
        let asked = self.lines.found.len();
        let request = &self.asked.request;
        let all = match self.lines.candidates {
            Some(n) if is_free(request) => {
                let loops = necklaces(&request.sizes, request.cells(), request.attacks);
                let loops = loops.map(|n| format!(", {n} if rotations count once")).unwrap_or_default();
                format!("the {asked} nearest of {n} lines with these groups{loops}")
            }
            Some(n) => format!("the {asked} nearest of {n} lines with these groups and places"),
            None => format!("the {}", count(asked, "nearest line")),
        };
        format!("listener: asked about {all}; the order is proved among these only")
    }

    /// The error where there is no line.
    pub(super) fn no_line(&self) -> String {
        if self.lines.out_of_budget {
            return "the search ran out of its budget before it found a line; use a shorter length, fewer group sizes or a narrower \
                    --deviation"
                .to_owned();
        }
        match self.relaxations.first() {
            Some((relaxation, _)) => format!("no line fulfils the request; relax {}", self.constraint(relaxation)),
            None => {
                "no line fulfils the request, nor with any one constraint relaxed; relax several of them".to_owned()
            }
        }
    }

    /// A constraint with what the nearest line does instead.
    fn constraint(&self, relaxation: &Relaxation) -> String {
        let (request, cells) = (&self.asked.request, self.asked.request.cells());
        let Some(line) = relaxation.found.first() else { return String::new() };
        let place = |cell: usize| self.setting.place(cell);
        let is_struck = |cell: &usize| line.attacks.contains(cell);
        match relaxation.constraint {
            Constraint::MaxDeviation => {
                format!("--deviation (the nearest line needs {:.1} ms)", line.greatest * self.asked.cell_ms)
            }
            Constraint::Never => {
                let struck = (0..cells).filter(|c| request.never[*c]).find(is_struck);
                format!("--never (the nearest line strikes {})", struck.map_or_else(String::new, place))
            }
            Constraint::Must => {
                let silent = (0..cells).filter(|c| request.must[*c]).find(|c| !is_struck(c));
                format!("--strike (the nearest line does not strike {})", silent.map_or_else(String::new, place))
            }
            Constraint::Attacks => format!("--attacks (the nearest line has {})", count(line.attacks.len(), "attack")),
            Constraint::First => {
                let first = line.attacks.first().copied().unwrap_or(0);
                format!("--first (the nearest line starts on {})", place(first))
            }
            Constraint::Repeats if request.repeats == Repeats::default() => {
                format!(
                    "the length (the nearest line ends with {} of rest; --rest allows it)",
                    count(line.rest, "cell")
                )
            }
            Constraint::Repeats => {
                format!(
                    "the repeats (the nearest line ends with {} of rest; --rest allows it)",
                    count(line.rest, "cell")
                )
            }
            Constraint::Sizes => {
                let mut sizes: Vec<usize> = line.groups(cells - line.rest).into_iter().map(|g| g as usize).collect();
                sizes.sort_unstable();
                sizes.dedup();
                format!("--groups (the nearest line has groups of {})", list(&sizes))
            }
            Constraint::Pulse => {
                let periods =
                    relaxation.request.pulses.iter().map(|p| 60_000.0 / (p.period.cells() * self.asked.cell_ms));
                let bpm: Vec<String> = periods.map(|b| format!("{b:.1}")).collect();
                format!("--pulse (these groups reach {} BPM)", bpm.join(" and "))
            }
        }
    }

    pub(super) fn json(&self, top: usize) -> Value {
        let Asked { request, bpm, cell_ms, beat_bpm } = self.asked;
        let cells = request.cells();
        let lines =
            |heard: &[Heard]| -> Vec<Value> { heard.iter().take(top).map(|h| line_json(h, cells, *cell_ms)).collect() };
        json!({
            "schema": SCHEMA,
            "cells": cells,
            "cell_ms": round(*cell_ms),
            "beat_bpm": round(*beat_bpm),
            "groups": request.sizes,
            "pulses": request.pulses.iter().zip(bpm).map(|(p, bpm)| json!({
                "bpm": round(*bpm),
                "period_cells": round(p.period.cells()),
                "cells": p.cells,
            })).collect::<Vec<_>>(),
            "proved": !self.lines.out_of_budget,
            "least_deviation_ms": self.lines.found.first().map(|l| round(l.deviation * cell_ms)),
            "nearest_lines": self.lines.ties,
            "listened_to": self.lines.found.len(),
            "candidates": self.lines.candidates.map(|n| n.to_string()),
            "lines": lines(&self.heard),
            "relax": self.relaxations.iter().map(|(relaxation, heard)| json!({
                "constraint": name(relaxation.constraint),
                "words": self.constraint(relaxation),
                "lines": lines(heard),
            })).collect::<Vec<_>>(),
        })
    }
}

/// Whether nothing but the sizes and the number of attacks limits the lines.
fn is_free(request: &LineRequest) -> bool {
    let free = |cells: &[bool]| !cells.iter().any(|c| *c);
    free(&request.never)
        && free(&request.must)
        && request.repeats == Repeats::default()
        && request.first == FirstAttack::At(0)
        && request.pulses.len() == 1
}

fn table(heard: &[Heard], top: usize, cells: usize, cell_ms: f64) -> String {
    let mut text = String::from("  #  wanted  written  likeliest      deviation  greatest  line\n");
    for (i, h) in heard.iter().take(top).enumerate() {
        let share = |p: f64| format!("{p:.2}");
        let first = h.first.as_ref().map_or_else(|| "no pulse".to_owned(), Likeliest::text);
        let _ = writeln!(
            text,
            "{:3}  {:>6}  {:>7}  {first:<13}  {:>6.1} ms  {:>5.1} ms  {}",
            i + 1,
            share(h.wanted),
            h.written.map(share).unwrap_or_default(),
            h.line.deviation * cell_ms,
            h.line.greatest * cell_ms,
            line_text(&h.line, cells),
        );
    }
    text
}

fn line_json(h: &Heard, cells: usize, cell_ms: f64) -> Value {
    json!({
        "text": line_text(&h.line, cells),
        "groups": h.line.groups(cells - h.line.rest),
        "attacks": h.line.attacks,
        "rest": h.line.rest,
        "figure": h.line.figure.map(|(cells, times)| json!({ "cells": cells, "times": times })),
        "pulses": h.line.pulses,
        "deviation_ms": round(h.line.deviation * cell_ms),
        "greatest_ms": round(h.line.greatest * cell_ms),
        "wanted": round(h.wanted),
        "written": h.written.map(round),
        "likeliest_bpm": h.first.as_ref().map(|f| round(f.bpm)),
        "likeliest_keeps_written": h.first.as_ref().map(|f| f.keeps_written),
        "likeliest_is_unequal": h.first.as_ref().map(|f| f.is_unequal),
    })
}

fn name(constraint: Constraint) -> &'static str {
    match constraint {
        Constraint::MaxDeviation => "deviation",
        Constraint::Never => "never",
        Constraint::Must => "strike",
        Constraint::Attacks => "attacks",
        Constraint::First => "first",
        Constraint::Repeats => "repeats",
        Constraint::Sizes => "groups",
        Constraint::Pulse => "pulse",
    }
}

fn round(x: f64) -> f64 {
    (x * 1e6).round() / 1e6 + 0.0
}
