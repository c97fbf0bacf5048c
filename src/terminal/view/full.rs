//! Draws the full view: a whole report, in blocks of lines that are selected one by one.

use crate::analysis::{Finding, Hearing, Report, StreamSource};
use crate::describe;
use crate::describe::streams::{self, Marks};
use crate::terminal::view::{Pen, StyledLine, fit, hanging_indent, wrap};
use crate::terminal::{State, Theme};
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::sync::Arc;
use unicode_width::UnicodeWidthStr;

/// Maximum number of listed stretches of a hearing.
const MAX_STRETCHES: usize = 24;
/// Maximum number of lines of a line of groups.
const MAX_GROUP_LINES: usize = 12;
/// Minimum columns for a drawing of streams and its indentation.
const MIN_DRAWING_WIDTH: usize = 42;
/// Maximum number of streams with a drawing of each pair.
const MAX_DRAWN_STREAMS: usize = 4;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Item {
    /// Cannot be selected.
    Heading,
    Text,
    /// Index of a hearing in the report.
    Hearing(usize),
    /// Index of a finding in the report.
    Reason(usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ReportPart {
    Hearings,
    Reasons,
    Streams,
    Measures,
    Structure,
}

impl ReportPart {
    pub(crate) const ALL: [Self; 5] = [Self::Hearings, Self::Reasons, Self::Streams, Self::Measures, Self::Structure];
}

#[derive(Debug)]
pub(crate) struct Block {
    pub part: ReportPart,
    pub item: Item,
    pub lines: Vec<StyledLine>,
}

/// Rows of the list, between the tabs and the transport.
pub(crate) fn list_height(height: u16) -> usize {
    usize::from(height.saturating_sub(4).max(1))
}

/// The room for the parts of a report in a pane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Room {
    pub width: usize,
    /// Rows of all columns. The leaders by playing speed take at most half of them, and the last part ends with the first layer that
    /// is behind so many.
    pub rows: usize,
}

/// The parts of a report in a pane, kept from frame to frame until the report or the room for them changes.
#[derive(Debug, Default)]
pub(crate) struct KeptBlocks {
    report: Option<Arc<Report>>,
    room: Option<(Room, Theme)>,
    blocks: Vec<Block>,
}

impl KeptBlocks {
    /// What a pane has room for besides its own lists. Each part begins with an empty line.
    pub(crate) fn of(&mut self, state: &State, room: Room) -> &[Block] {
        let report = state.hearings.result.as_ref().map(|result| &result.report);
        let room_and_theme = Some((room, state.view.theme));
        let is_same = self.report.as_ref().map(Arc::as_ptr) == report.map(Arc::as_ptr);
        if !is_same || self.room != room_and_theme {
            (self.report, self.room) = (report.cloned(), room_and_theme);
            self.blocks = further_blocks(state, room);
        }
        &self.blocks
    }
}

fn further_blocks(state: &State, room: Room) -> Vec<Block> {
    let builder = BlockBuilder::new(state, room.width).filter(|builder| !builder.report.attacks.is_empty());
    let Some(mut builder) = builder else { return Vec::new() };
    // A heading after other lines begins with an empty one.
    builder.add(Item::Heading, Vec::new());
    builder.speeds(room.rows / 2);
    builder.streams();
    builder.measures();
    let used: usize = builder.blocks.iter().map(|block| block.lines.len()).sum();
    builder.structure(room.rows.saturating_sub(used));
    builder.blocks.remove(0);
    builder.blocks
}

/// The whole report; empty without a report.
pub(crate) fn blocks(state: &State) -> Vec<Block> {
    let Some(mut builder) = BlockBuilder::new(state, usize::from(state.view.size.0).max(20)) else {
        return Vec::new();
    };
    builder.hearings();
    builder.reasons();
    builder.streams();
    builder.measures();
    builder.structure(usize::MAX);
    builder.blocks
}

struct BlockBuilder<'a> {
    state: &'a State,
    report: &'a Report,
    theme: Theme,
    width: usize,
    part: ReportPart,
    blocks: Vec<Block>,
}

impl<'a> BlockBuilder<'a> {
    fn new(state: &'a State, width: usize) -> Option<Self> {
        let (report, _) = state.report()?;
        let (theme, part) = (state.view.theme, ReportPart::Hearings);
        Some(Self { state, report, theme, width, part, blocks: Vec::new() })
    }
}

impl BlockBuilder<'_> {
    fn add(&mut self, item: Item, lines: Vec<StyledLine>) {
        self.blocks.push(Block { part: self.part, item, lines });
    }

    fn heading(&mut self, text: &str) {
        let mut lines = if self.blocks.is_empty() { Vec::new() } else { vec![Vec::new()] };
        lines.extend(self.indented(text, 0, self.theme.heading()));
        self.add(Item::Heading, lines);
    }

    fn text(&mut self, item: Item, text: &str, style: Style) {
        let lines = self.indented(text, 2, style);
        self.add(item, lines);
    }

    fn indented(&self, text: &str, by: usize, style: Style) -> Vec<StyledLine> {
        let lines = wrap(text, self.width.saturating_sub(by));
        lines.into_iter().map(|l| vec![(format!("{:by$}{l}", ""), style)]).collect()
    }

    fn hearings(&mut self) {
        let (report, theme) = (self.report, self.theme);
        let (of, fresh) = self.state.focus_label().unwrap_or_default();
        let stale = if fresh { "" } else { "…" };
        let cell = report.cell_ms.map(|ms| format!("; the shortest cell lasts {ms:.0} ms")).unwrap_or_default();
        let speed = format!(" at {:.0}% speed", report.speed * 100.0);
        self.heading(&format!("Heard in {of}{speed}{cell}{stale}"));
        if report.hearings.is_empty() {
            return self.text(Item::Text, describe::no_hearing_reason(report), theme.faint());
        }
        for line in describe::whose_beat(self.state.groove(), report) {
            self.text(Item::Heading, &line, Style::new());
        }
        let head = format!("{:>4} {:>6} {:>6} {:>5} {:>12}  pulse", "", "likely", "BPM", "on", "deviation");
        self.add(Item::Heading, vec![vec![(head, theme.faint())]]);
        let current = self.state.strip_hearing().map(|(i, _)| i);
        for (i, h) in report.hearings.iter().enumerate() {
            let lines = self.hearing(i, h, current == Some(i));
            self.add(Item::Hearing(i), lines);
        }
        self.speeds(usize::MAX);
    }

    fn speeds(&mut self, max_rows: usize) {
        let (report, theme) = (self.report, self.theme);
        self.heading("By playing speed");
        let Some(speeds) = &report.speeds else { return self.text(Item::Text, "analyzing...", theme.faint()) };
        let chart = describe::hardness_chart(speeds, theme.ramp());
        let here = speeds.hardness_at(report.speed * 100.0).map(|h| format!(", now {:.2}", h.max(0.0)));
        let long = format!("hardness, 0 to 1: {chart}{}", here.unwrap_or_default());
        let forms = [long, format!("hardness: {chart}"), chart.replace(' ', "")];
        let text = forms.iter().find(|text| text.width() + 2 <= self.width).unwrap_or(&forms[2]);
        self.text(Item::Text, text, Style::new());
        let now = speeds.changes.iter().rposition(|c| f64::from(c.percent) <= report.speed * 100.0 + 0.5);
        let change = |i: usize| {
            let change = &speeds.changes[i];
            let (mark, style) = if now == Some(i) { (theme.glyphs().here, theme.value()) } else { (' ', Style::new()) };
            let here = if now == Some(i) { format!(" (now {:.0}%)", report.speed * 100.0) } else { String::new() };
            let line = format!(
                "from {:>3}%, {}: {}{here}",
                change.percent,
                describe::written_tempo_text(self.state.groove(), change.percent),
                describe::leader_name(speeds, change.leader, f64::from(change.percent) / 100.0)
            );
            let lines = wrap(&line, self.width.saturating_sub(2));
            hanging_indent(lines, (&format!("{mark} "), style), style)
        };
        let mut rows: Vec<Vec<StyledLine>> = (0..speeds.changes.len()).map(change).collect();
        let used: usize = self.blocks.iter().map(|b| b.lines.len()).sum();
        let room = max_rows.saturating_sub(used);
        let now = now.unwrap_or(0);
        let (mut first, mut left_out) = (0, 0);
        // Those farthest from the current one are left out, and a row says how many.
        while rows.len() > 1 && rows.iter().map(Vec::len).sum::<usize>() + usize::from(left_out > 0) > room {
            if now - first >= rows.len() - 1 - (now - first) {
                rows.remove(0);
                first += 1;
            } else {
                rows.pop();
            }
            left_out += 1;
        }
        for lines in rows {
            self.add(Item::Text, lines);
        }
        if left_out > 0 {
            let text = format!("{}: {left_out} more", self.state.key_or_name("hearings"));
            self.text(Item::Text, &text, theme.faint());
        }
    }

    fn hearing(&self, index: usize, h: &Hearing, current: bool) -> Vec<StyledLine> {
        let (theme, report, groove) = (self.theme, self.report, self.state.groove());
        let style = if current { theme.hearing() } else { Style::new() };
        let mark = if current { theme.glyphs().here } else { ' ' };
        let deviation = if h.deviation_ms < 0.5 {
            "   -        ".to_owned()
        } else {
            format!("{:>4.0} ms {:>3.0}%", h.deviation_ms, h.deviation * 100.0)
        };
        let numbers = format!(
            "{mark}{:>3} {:>6} {:>6.1} {:>4.0}% {deviation}  ",
            index + 1,
            describe::likelihood(h),
            h.bpm(report.speed),
            h.share() * 100.0,
        );
        let room = self.width.saturating_sub(numbers.chars().count()).max(8);
        let name = wrap(&describe::hearing_name(h), room);
        let mut lines = hanging_indent(name, (&numbers, style), style);
        lines.extend(self.indented(&describe::hearing_landings(h), 4, Style::new()));
        lines.extend(self.indented(&describe::silent_pulses(h), 4, Style::new()));
        let sounding: Vec<usize> = (0..h.stretches.len()).filter(|i| h.stretches[*i].attacks > 0).collect();
        for &i in sounding.iter().take(MAX_STRETCHES) {
            let mut text = describe::stretch(groove, report, h, i);
            if text.width() + 4 > self.width {
                text = text.replace("deviation ", "dev ");
            }
            lines.extend(self.indented(&text, 4, theme.hearing()));
        }
        let more = sounding.len().saturating_sub(MAX_STRETCHES);
        if more > 0 {
            let stretches = if more == 1 { "stretch" } else { "stretches" };
            let more = format!("and {more} more {stretches}");
            lines.extend(self.indented(&more, 4, theme.hearing()));
        }
        lines
    }

    fn reasons(&mut self) {
        self.part = ReportPart::Reasons;
        self.heading("Why it is hard");
        if let Some(answer) = &self.report.answer {
            self.text(Item::Heading, &describe::hardness(answer), Style::new());
        }
        if self.report.findings.is_empty() {
            let text = if self.report.attacks.is_empty() { "no attacks" } else { "no reason reported" };
            return self.text(Item::Text, text, self.theme.faint());
        }
        let mut own = None;
        for (i, finding) in self.report.findings.iter().enumerate() {
            if let (Some(under), Some(answer)) = (finding.part.filter(|p| Some(*p) != own), &self.report.answer) {
                let text = format!("{under}, {:.2}", answer.hardness_parts.get(under));
                self.text(Item::Heading, &text, self.theme.value());
            }
            own = finding.part;
            let lines = self.reason(finding);
            self.add(Item::Reason(i), lines);
        }
    }

    fn reason(&self, finding: &Finding) -> Vec<StyledLine> {
        let theme = self.theme;
        let text = wrap(&finding.reason.to_string(), self.width.saturating_sub(4));
        let mut lines = hanging_indent(text, ("  - ", theme.faint()), Style::new());
        let groove = self.state.groove();
        let place = finding.place.map(|p| {
            let layer = groove.layers().get(p.layer).map_or("", |l| l.name.as_str());
            format!("; first in {layer}, {}", describe::place(groove, p))
        });
        let source = format!("{} ({}){}", describe::threshold(finding), finding.source, place.unwrap_or_default());
        lines.extend(self.indented(&source, 6, theme.faint()));
        lines
    }

    fn streams(&mut self) {
        self.part = ReportPart::Streams;
        let (report, theme, groove) = (self.report, self.theme, self.state.groove());
        self.heading("Streams compared");
        if report.pairs.is_empty() {
            return self.text(Item::Text, "fewer than two streams", theme.faint());
        }
        let glyphs = theme.glyphs();
        let marks = Marks { pulse: glyphs.pulse_without_attack, coincidence: glyphs.pulse_with_attack };
        let main = describe::main_streams(report);
        let draw = |streams: &[usize]| -> Vec<StyledLine> {
            if self.width < MIN_DRAWING_WIDTH {
                return Vec::new();
            }
            let drawn = streams::draw_streams(groove, report, streams, self.width.saturating_sub(2), marks);
            let is_written = |k: usize| {
                let stream = streams.get(k).and_then(|i| report.streams.get(*i));
                stream.is_some_and(|s| matches!(s.source, StreamSource::Written))
            };
            let style = |k| if is_written(k) { theme.written() } else { theme.hearing() };
            drawn.into_iter().enumerate().map(|(k, l)| vec![(format!("  {l}"), style(k))]).collect()
        };
        let mut blocks = vec![draw(&main)];
        let draw_pairs = (3..=MAX_DRAWN_STREAMS).contains(&main.len());
        let (of_main, others): (Vec<_>, Vec<_>) =
            report.pairs.iter().partition(|p| main.contains(&p.a) && main.contains(&p.b));
        for p in of_main {
            let mut lines = self.indented(&describe::stream_pair(groove, report, p), 2, Style::new());
            if draw_pairs {
                lines.extend(draw(&[p.a, p.b]));
            }
            blocks.push(lines);
        }
        let other = |p| self.indented(&describe::stream_pair(groove, report, p), 2, theme.faint());
        blocks.extend(others.into_iter().map(other));
        for lines in blocks.into_iter().filter(|lines| !lines.is_empty()) {
            self.add(Item::Text, lines);
        }
    }

    fn measures(&mut self) {
        self.part = ReportPart::Measures;
        let (report, theme, groove) = (self.report, self.theme, self.state.groove());
        let layer = report.focus.first().and_then(|l| groove.layers().get(*l)).map_or("", |l| l.name.as_str());
        self.heading(&format!("Published measures of {layer}"));
        if report.measures.is_empty() {
            return self.text(Item::Text, "no attacks to measure", theme.faint());
        }
        for (section, measures) in &report.measures {
            if let Some(s) = groove.sections().get(*section).filter(|_| report.measures.len() > 1) {
                self.heading(&format!("in section {}", s.name));
            }
            for m in measures {
                let style = if m.value.is_ok() { Style::new() } else { theme.faint() };
                let mut lines = self.indented(&describe::measure(m), 2, style);
                lines.extend(self.indented(&format!("({})", m.source), 6, theme.faint()));
                self.add(Item::Text, lines);
            }
        }
    }

    /// The layers, up to the first one behind so many lines.
    fn structure(&mut self, most: usize) {
        self.part = ReportPart::Structure;
        self.heading("Structure");
        let groove = self.state.groove();
        let mut added = 0;
        for layer in &self.report.layers {
            if added > most {
                break;
            }
            let Some(l) = groove.layers().get(layer.layer) else { continue };
            let muted = if groove.is_audible(layer.layer) { "" } else { ", muted" };
            let mut lines = self.indented(&format!("{} ({}{muted})", l.name, l.voice), 2, Style::new());
            for (by, line) in describe::structure(groove, layer) {
                // A line without repeats may be as long as the groove; `explain` prints all of it.
                let line = fit(&line, self.width.saturating_sub(by + 4) * MAX_GROUP_LINES);
                lines.extend(self.indented(&line, by + 4, Style::new()));
            }
            added += lines.len();
            self.add(Item::Text, lines);
        }
    }
}

/// Draws the view with one line of one block highlighted.
pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, block: usize, line_of_block: usize) {
    let theme = pen.theme;
    let blocks = blocks(state);
    let at = block.min(blocks.len().saturating_sub(1));
    let Some(own) = blocks.get(at) else {
        pen.put(area, 0, 0, "analyzing...", theme.faint());
        return;
    };
    let (hearings, reasons) = state.report().map_or((0, 0), |(r, _)| (r.hearings.len(), r.findings.len()));
    let mut x = 0;
    for part in ReportPart::ALL {
        let label = match part {
            ReportPart::Hearings => format!(" Hearings {hearings} "),
            ReportPart::Reasons => format!(" Reasons {reasons} "),
            ReportPart::Streams => " Streams ".to_owned(),
            ReportPart::Measures => " Measures ".to_owned(),
            ReportPart::Structure => " Structure ".to_owned(),
        };
        let style = if part == own.part { theme.strong().patch(theme.cursor()) } else { theme.faint() };
        x = pen.put(area, x, 0, &label, style);
    }
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let height = usize::from(list.height);
    let before: usize = blocks[..at].iter().map(|b| b.lines.len()).sum();
    let total: usize = blocks.iter().map(|b| b.lines.len()).sum();
    let selected = before + line_of_block.min(own.lines.len().saturating_sub(1));
    // Prefer the highlighted line in the upper third, and the whole block visible.
    let last = (before + own.lines.len()).min(selected + height);
    let mut first = selected.saturating_sub(height / 3).max(last.saturating_sub(height));
    if line_of_block == 0 {
        // The headings above a block belong to it.
        let headings = blocks[..at].iter().rev().take_while(|b| b.item == Item::Heading);
        let headings: usize = headings.map(|b| b.lines.len()).sum();
        first = first.min(selected - headings.min(selected).min(height / 2));
        if selected < height {
            first = 0;
        }
    }
    let first = first.min(total.saturating_sub(height));
    pen.scroll_percent(area, x, first, height, total);
    for (y, line) in blocks.iter().flat_map(|b| &b.lines).skip(first).take(height).enumerate() {
        pen.put_line(list, 0, y, line);
        if first + y == selected {
            pen.row_style(list, y, theme.cursor());
        }
    }
}
