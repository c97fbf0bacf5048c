//! The full view: everything a report says, in blocks of lines that are gone through one by one.

use super::pen::{Pen, Pieces, fit, wrap};
use crate::analysis::{Finding, Hearing, Report};
use crate::describe;
use crate::describe::streams::{self, Marks};
use crate::terminal::state::State;
use crate::terminal::view::theme::Theme;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Stretches of a hearing that are told.
const STRETCHES: usize = 24;
/// Lines that a line of groups may take.
const GROUP_LINES: usize = 12;
/// Streams up to which each pair has a picture of its own.
const PICTURES: usize = 4;

/// What a block stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Item {
    /// A heading: it is passed over.
    Heading,
    /// Words only.
    Words,
    /// A hearing, as an index into the report.
    Hearing(usize),
    /// A reason, as an index into the findings.
    Reason(usize),
}

/// The parts of the view, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    Hearings,
    Reasons,
    Streams,
    Measures,
    Built,
}

impl Part {
    pub(crate) const ALL: [Part; 5] = [Part::Hearings, Part::Reasons, Part::Streams, Part::Measures, Part::Built];
}

/// Lines that belong together.
pub(crate) struct Block {
    pub part: Part,
    pub item: Item,
    pub lines: Vec<Pieces>,
}

/// Rows of the list in a window of so many rows: between the tabs and the transport.
pub(crate) fn rows(height: u16) -> usize {
    usize::from(height.saturating_sub(4).max(1))
}

/// Everything, for a window so wide; empty without a report.
pub(crate) fn blocks(state: &State) -> Vec<Block> {
    let Some((report, _)) = state.report() else { return Vec::new() };
    let width = usize::from(state.size.0).max(20);
    let mut sheet = Sheet { state, report, theme: state.theme, width, blocks: Vec::new() };
    sheet.hearings();
    sheet.reasons();
    sheet.streams();
    sheet.measures();
    sheet.built();
    sheet.blocks
}

struct Sheet<'a> {
    state: &'a State,
    report: &'a Report,
    theme: Theme,
    width: usize,
    blocks: Vec<Block>,
}

impl Sheet<'_> {
    fn add(&mut self, part: Part, item: Item, lines: Vec<Pieces>) {
        self.blocks.push(Block { part, item, lines });
    }

    fn heading(&mut self, part: Part, words: &str) {
        let mut lines = if self.blocks.is_empty() { Vec::new() } else { vec![Vec::new()] };
        lines.extend(wrap(words, self.width).into_iter().map(|l| vec![(l, self.theme.heading())]));
        self.add(part, Item::Heading, lines);
    }

    fn words(&mut self, part: Part, words: &str, style: Style) {
        let lines = self.indented(words, 2, style);
        self.add(part, Item::Words, lines);
    }

    fn indented(&self, words: &str, by: usize, style: Style) -> Vec<Pieces> {
        let lines = wrap(words, self.width.saturating_sub(by));
        lines.into_iter().map(|l| vec![(format!("{:by$}{l}", ""), style)]).collect()
    }

    fn hearings(&mut self) {
        let part = Part::Hearings;
        let (report, theme) = (self.report, self.theme);
        let (of, fresh) = self.state.heard_in().unwrap_or_default();
        let stale = if fresh { "" } else { "…" };
        let cell = report.cell_ms.map(|ms| format!("; the shortest cell lasts {ms:.0} ms")).unwrap_or_default();
        let speed = format!(" at {:.0}% speed", report.speed * 100.0);
        self.heading(part, &format!("Heard in {of}{speed}{cell}{stale}"));
        if report.hearings.is_empty() {
            return self.words(part, describe::no_hearing_reason(self.state.groove(), report), theme.faint());
        }
        let head = format!("{:>4} {:>5} {:>6} {:>5} {:>12}  pulse", "", "score", "BPM", "on", "deviation");
        self.add(part, Item::Heading, vec![vec![(head, theme.faint())]]);
        let current = self.state.strip().map(|(i, _)| i);
        for (i, h) in report.hearings.iter().enumerate() {
            let lines = self.hearing(i, h, current == Some(i));
            self.add(part, Item::Hearing(i), lines);
        }
        self.heading(part, "Leading hearing by speed");
        let now = report.turns.iter().rposition(|t| f64::from(t.percent) <= report.speed * 100.0 + 0.5);
        for (i, turn) in report.turns.iter().enumerate() {
            let Some(h) = report.hearings.get(turn.hearing) else { continue };
            let (mark, style) =
                if now == Some(i) { (theme.glyphs().here, theme.figure()) } else { (' ', Style::new()) };
            let here = if now == Some(i) { format!(" (now {:.0}%)", report.speed * 100.0) } else { String::new() };
            let line = format!(
                "from {:>3}%, written {:>5.1}: {}, {:.1} at full speed{here}",
                turn.percent,
                describe::written_tempo(self.state.groove(), turn.percent),
                h.kind,
                h.bpm(1.0)
            );
            let mut lines: Vec<Pieces> = Vec::new();
            for (j, line) in wrap(&line, self.width.saturating_sub(2)).into_iter().enumerate() {
                lines.push(vec![(format!("{} {line}", if j == 0 { mark } else { ' ' }), style)]);
            }
            self.add(part, Item::Words, lines);
        }
    }

    fn hearing(&self, index: usize, h: &Hearing, current: bool) -> Vec<Pieces> {
        let (theme, report, groove) = (self.theme, self.report, self.state.groove());
        let style = if current { theme.hearing() } else { Style::new() };
        let mark = if current { theme.glyphs().here } else { ' ' };
        let figures = format!(
            "{mark}{:>3} {:>5.0} {:>6.1} {:>4.0}% {:>4.0} ms {:>3.0}%  ",
            index + 1,
            h.score,
            h.bpm(report.speed),
            h.share() * 100.0,
            h.wobble_ms,
            h.wobble * 100.0
        );
        let room = self.width.saturating_sub(figures.chars().count()).max(8);
        let mut lines: Vec<Pieces> = Vec::new();
        for (i, line) in wrap(&describe::hearing_name(groove, report, h), room).into_iter().enumerate() {
            let before = if i == 0 { figures.clone() } else { " ".repeat(figures.chars().count()) };
            lines.push(vec![(before, style), (line, style)]);
        }
        lines.extend(self.indented(&describe::score_parts(h), 4, theme.faint()));
        lines.extend(self.indented(&describe::hearing_landings(h), 4, Style::new()));
        lines.extend(self.indented(&describe::silent_pulses(h), 4, Style::new()));
        for s in h.stretches.iter().filter(|s| s.attacks > 0).take(STRETCHES) {
            lines.extend(self.indented(&describe::stretch(groove, report, s), 4, theme.hearing()));
        }
        if h.stretches.len() > STRETCHES {
            let more = format!("and {} more stretches", h.stretches.len() - STRETCHES);
            lines.extend(self.indented(&more, 4, theme.hearing()));
        }
        lines
    }

    fn reasons(&mut self) {
        let part = Part::Reasons;
        self.heading(part, "Why it is hard");
        if self.report.findings.is_empty() {
            let words = if self.report.attacks.is_empty() { "no attacks" } else { "no reasons found" };
            return self.words(part, words, self.theme.faint());
        }
        for (i, finding) in self.report.findings.iter().enumerate() {
            let lines = self.reason(finding);
            self.add(part, Item::Reason(i), lines);
        }
    }

    fn reason(&self, finding: &Finding) -> Vec<Pieces> {
        let theme = self.theme;
        let mut lines: Vec<Pieces> = Vec::new();
        for (i, line) in wrap(&finding.reason.to_string(), self.width.saturating_sub(6)).into_iter().enumerate() {
            let weight = if i == 0 { format!("{:>4.0}% ", finding.weight * 100.0) } else { "      ".into() };
            lines.push(vec![(weight, theme.figure()), (line, Style::new())]);
        }
        let groove = self.state.groove();
        let place = finding.place.map(|p| {
            let layer = groove.layers().get(p.layer).map_or("", |l| l.name.as_str());
            format!("; first in {layer}, {}", describe::place(groove, p))
        });
        let source =
            format!("{} ({}){}", describe::threshold(finding), describe::source(finding), place.unwrap_or_default());
        lines.extend(self.indented(&source, 6, theme.faint()));
        lines
    }

    fn streams(&mut self) {
        let part = Part::Streams;
        let (report, theme, groove) = (self.report, self.theme, self.state.groove());
        self.heading(part, "Streams against each other");
        if report.pairs.is_empty() {
            return self.words(part, "fewer than two streams", theme.faint());
        }
        let glyphs = theme.glyphs();
        let marks = Marks { alone: glyphs.pulse_alone, together: glyphs.pulse_met };
        let told = describe::main_streams(report);
        let picture = |streams: &[usize]| -> Vec<Pieces> {
            let drawn = streams::draw_streams(groove, report, streams, self.width.saturating_sub(2), marks);
            drawn.into_iter().map(|l| vec![(format!("  {l}"), theme.hearing())]).collect()
        };
        let all = picture(&told);
        let pictures = (3..=PICTURES).contains(&told.len());
        let mut blocks: Vec<Vec<Pieces>> = Vec::new();
        let is_told = |p: &&crate::analysis::Pair| told.contains(&p.a) && told.contains(&p.b);
        for p in report.pairs.iter().filter(is_told) {
            let mut lines = self.indented(&describe::stream_pair(groove, report, p), 2, Style::new());
            if pictures {
                lines.extend(picture(&[p.a, p.b]));
            }
            blocks.push(lines);
        }
        let others = report.pairs.iter().filter(|p| !is_told(p));
        blocks.extend(others.map(|p| self.indented(&describe::stream_pair(groove, report, p), 2, theme.faint())));
        if !all.is_empty() {
            self.add(part, Item::Words, all);
        }
        for lines in blocks {
            self.add(part, Item::Words, lines);
        }
    }

    fn measures(&mut self) {
        let part = Part::Measures;
        let (report, theme, groove) = (self.report, self.theme, self.state.groove());
        let layer = report.focus.first().and_then(|l| groove.layers().get(*l)).map_or("", |l| l.name.as_str());
        self.heading(part, &format!("Published measures of {layer}"));
        if report.measures.is_empty() {
            return self.words(part, "no attacks to measure", theme.faint());
        }
        for (section, measures) in &report.measures {
            if let Some(s) = groove.sections().get(*section).filter(|_| report.measures.len() > 1) {
                self.heading(part, &format!("in section {}", s.name));
            }
            for m in measures {
                let style = if m.value.is_ok() { Style::new() } else { theme.faint() };
                let mut lines = self.indented(&describe::measure(m), 2, style);
                lines.extend(self.indented(&format!("({})", m.source), 6, theme.faint()));
                self.add(part, Item::Words, lines);
            }
        }
    }

    fn built(&mut self) {
        let part = Part::Built;
        self.heading(part, "Structure");
        let groove = self.state.groove();
        for layer in &self.report.layers {
            let Some(l) = groove.layers().get(layer.layer) else { continue };
            let silent = if groove.is_audible(layer.layer) { "" } else { ", muted" };
            let mut lines = self.indented(&format!("{} ({}{silent})", l.name, l.voice), 2, Style::new());
            for (by, line) in describe::structure(groove, layer) {
                // A line without order may be as long as the groove; `explain` prints all of it.
                let line = fit(&line, self.width.saturating_sub(by + 4) * GROUP_LINES);
                lines.extend(self.indented(&line, by + 4, Style::new()));
            }
            self.add(part, Item::Words, lines);
        }
    }
}

/// Draws the view with the block `at` marked and its line `into` in sight.
pub(crate) fn full(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize, into: usize) {
    let theme = pen.theme;
    let blocks = blocks(state);
    let Some(own) = blocks.get(at.min(blocks.len().saturating_sub(1))) else {
        pen.put(area, 0, 0, "analysing...", theme.faint());
        return;
    };
    let at = at.min(blocks.len() - 1);
    let (hearings, reasons) = state.report().map_or((0, 0), |(r, _)| (r.hearings.len(), r.findings.len()));
    let mut x = 0;
    for part in Part::ALL {
        let words = match part {
            Part::Hearings => format!(" Hearings {hearings} "),
            Part::Reasons => format!(" Reasons {reasons} "),
            Part::Streams => " Streams ".to_owned(),
            Part::Measures => " Measures ".to_owned(),
            Part::Built => " Structure ".to_owned(),
        };
        let style = if part == own.part { theme.chosen().patch(theme.bar()) } else { theme.faint() };
        x = pen.put(area, x, 0, &words, style);
    }
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let height = usize::from(list.height);
    let before: usize = blocks[..at].iter().map(|b| b.lines.len()).sum();
    let total: usize = blocks.iter().map(|b| b.lines.len()).sum();
    let line = before + into.min(own.lines.len().saturating_sub(1));
    // What is marked stays in the upper third where it can, with all of it in sight.
    let last = (before + own.lines.len()).min(line + height);
    let mut first = line.saturating_sub(height / 3).max(last.saturating_sub(height));
    if into == 0 {
        // What stands over a block belongs to it.
        let over = blocks[..at].iter().rev().take_while(|b| b.item == Item::Heading);
        let over: usize = over.map(|b| b.lines.len()).sum();
        first = first.min(line - over.min(line).min(height / 3));
    }
    let first = first.min(total.saturating_sub(height));
    if total > height {
        let seen = format!(" {}%", 100 * (first + height).min(total) / total);
        pen.put(area, usize::from(area.width).saturating_sub(seen.len()).max(x), 0, &seen, theme.faint());
    }
    let lines = blocks.iter().enumerate().flat_map(|(i, b)| b.lines.iter().enumerate().map(move |(j, l)| (i, j, l)));
    for (y, (i, j, line)) in lines.skip(first).take(height).enumerate() {
        pen.pieces(list, 0, y, line);
        if i == at && j == into.min(own.lines.len().saturating_sub(1)) {
            pen.row_style(list, y, theme.chosen());
        }
    }
}
