//! Draws the pane: groups, landings, hearings, and reasons why the groove is hard.

use crate::analysis::{Hearing, HearingKind, Leader, LeadingHearing, Report, SectionReport};
use crate::describe;
use crate::describe::ladder as describe_ladder;
use crate::rhythm::Fraction;
use crate::terminal::playback::practice;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::view::{KeptBlocks, Layout, Pen, StyledLine, fit, grid, styled_lines, wrap};
use crate::terminal::{State, Theme};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

mod flow;

/// Minimum columns for the deviation of hearings.
const MIN_DEVIATION_WIDTH: usize = 34;
/// Minimum columns for the note value of the beat in the steps of a ladder.
const MIN_NOTE_VALUE_WIDTH: usize = 48;
/// Minimum columns for a pane with equal halves.
const MIN_HALVES_WIDTH: usize = 72;
/// Minimum columns for landings: name, bar, number, share.
const MIN_LANDINGS_WIDTH: usize = 26;

/// Maximum number of hearings in the pane; the full view has all.
const MAX_HEARINGS: usize = 12;
/// Maximum in a pane below the grid: each edit sends them again.
const MAX_HEARINGS_BELOW: usize = 6;
/// Minimum rows of a pane below the grid that shows everything it has room for.
const MIN_TALL_HEIGHT: usize = 26;
/// Minimum rows of a pane next to the grid whose blocks have fixed numbers of rows.
const MIN_FIXED_HEIGHT: usize = 26;
/// Maximum number of hearings in a lower one.
const MAX_HEARINGS_LOW: usize = 4;
/// Rows of a long line of groups in a low pane.
const MAX_GROUP_ROWS: usize = 2;
/// Minimum number of hearings of which one is the written beat.
const MIN_WITH_WRITTEN: usize = 3;

/// Draws the pane: in one column next to the grid, or in two below it.
pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout, kept: &mut KeptBlocks) {
    let area = layout.pane;
    let theme = pen.theme;
    if layout.pane_right {
        let line = Rect::new(area.x - 1, area.y, 1, area.height);
        (0..usize::from(area.height)).for_each(|y| pen.put_char(line, 0, y, theme.glyphs().bar_line, theme.faint()));
    }
    let Some((report, fresh)) = state.report() else {
        pen.put(area, 1, 0, "analyzing...", theme.faint());
        return;
    };
    let (width, rows) = (usize::from(area.width), usize::from(area.height));
    if layout.pane_right {
        let inner = width.saturating_sub(2);
        return pen.put_lines(area, 1, 0, &one_column(state, report, kept, (inner, rows), fresh));
    }
    // Names of hearings and reasons need the columns more than the bars of the landings do.
    let split = if width < MIN_HALVES_WIDTH { MIN_LANDINGS_WIDTH } else { width / 2 - 1 };
    let right_width = width.saturating_sub(split + 2);
    let left = left_half(state, report, theme, (split, rows), fresh);
    let listed = flow::reasons(state);
    let reason_rows = flow::reason_rows(&listed, right_width);
    // A low pane shows at least the first hearing and the first reason.
    let max = match rows {
        0..=6 => 1,
        7 => 2,
        8..=9 => 3,
        _ if rows >= MIN_TALL_HEIGHT => rows / 2,
        _ => (rows / 2).saturating_sub(4).clamp(4, MAX_HEARINGS_BELOW),
    };
    let mut right = hearings(state, report, theme, right_width, max);
    // Rows that the reasons do not need.
    let free = rows.saturating_sub(right.len() + 1 + reason_rows);
    if free > 0 && report.hearings.len() > max {
        right = hearings(state, report, theme, right_width, max + free);
    }
    let is_tall = rows >= MIN_TALL_HEIGHT;
    // As long as nothing is cut for it each block has a fixed number of rows, so that an edit moves little.
    let fixed = if is_tall { right.len() + 1 } else { (max + 2 + usize::from(rows >= 10)).max(right.len() + 1) };
    let least = right.len() + usize::from(right.len() + 1 + reason_rows <= rows);
    right.resize(if fixed + reason_rows <= rows { fixed } else { least }, Vec::new());
    // Reasons that have no room in the right half take free rows below both.
    if right.len() + reason_rows > rows && left.len() < rows {
        let mut trial = [Vec::new(), Vec::new()];
        trial[0].resize(left.len(), Vec::new());
        trial[1].resize(right.len(), Vec::new());
        let complete = flow::add_reasons(state, theme, &mut trial, &listed, (&[split, right_width], rows));
        let across =
            flow::across(state, theme, &listed, (left.len(), right.len()), (right_width, area.width.into(), rows));
        if across.complete > complete {
            right.extend(across.right);
            pen.put_lines(area, 0, 0, &left);
            pen.put_lines(area, split + 2, 0, &right);
            return pen.put_lines(area, 0, across.from, &across.below);
        }
    }
    let mut columns = [left, right];
    flow::add_reasons(state, theme, &mut columns, &listed, (&[split, right_width], rows));
    if practice::visible_ladder(state).is_none() {
        flow::add_further(state, kept, &mut columns, (split.min(right_width), rows));
    }
    pen.put_lines(area, 0, 0, &columns[0]);
    pen.put_lines(area, split + 2, 0, &columns[1]);
}

/// The left half of a pane below the grid: groups, then landings or the steps of a ladder.
fn left_half(
    state: &State,
    report: &Report,
    theme: Theme,
    (width, rows): (usize, usize),
    fresh: bool,
) -> Vec<StyledLine> {
    let fixed = match rows {
        13.. => 5,
        10.. => 4,
        _ => 2,
    };
    if let Some((ladder, at)) = practice::visible_ladder(state) {
        let mut lines = groups(state, report, theme, width, fresh, fixed);
        lines.resize(fixed, Vec::new());
        // Without playback the steps cannot be scrolled: all are shown, if necessary in place of the groups.
        if at.is_none() && ladder.speeds.len() + 1 > rows.saturating_sub(fixed) {
            lines.clear();
        }
        let max = rows.saturating_sub(lines.len());
        lines.extend(landings_or_ladder(state, report, theme, width, max));
        return lines;
    }
    let landings_rows = landings(state, report, theme, width, rows).len();
    let mut lines = groups(state, report, theme, width, fresh, rows.saturating_sub(landings_rows).max(fixed));
    lines.resize(lines.len().max(fixed.min(rows.saturating_sub(landings_rows))), Vec::new());
    let max = rows.saturating_sub(lines.len());
    lines.extend(landings(state, report, theme, width, max));
    lines
}

/// The blocks of a pane next to the grid: with fixed numbers of rows, so that an edit moves nothing, where nothing is cut for it.
fn one_column(
    state: &State,
    report: &Report,
    kept: &mut KeptBlocks,
    (width, rows): (usize, usize),
    fresh: bool,
) -> Vec<StyledLine> {
    let theme = state.view.theme;
    let listed = flow::reasons(state);
    let reason_rows = flow::reason_rows(&listed, width);
    let is_low = rows < MIN_FIXED_HEIGHT;
    let mut blocks = [
        (groups(state, report, theme, width, fresh, if is_low { 4 } else { 6 }), 6),
        (landings_or_ladder(state, report, theme, width, if is_low { 7 } else { 12 }), 8),
        (hearings(state, report, theme, width, if is_low { MAX_HEARINGS_LOW } else { MAX_HEARINGS }), 0),
    ];
    let used = |blocks: &[(Vec<StyledLine>, usize)]| blocks.iter().map(|b| b.0.len()).sum::<usize>();
    if used(&blocks) + reason_rows > rows {
        blocks[2].0 = hearings(state, report, theme, width, MAX_HEARINGS_LOW);
    }
    let is_spaced = used(&blocks) + blocks.len() + reason_rows <= rows;
    let fixed: usize = blocks.iter().map(|(lines, fixed)| (lines.len() + 1).max(*fixed)).sum();
    let mut lines = Vec::new();
    for (block, fixed_rows) in blocks {
        let end = lines.len() + if fixed + reason_rows <= rows { fixed_rows.max(block.len() + 1) } else { block.len() };
        lines.extend(block);
        lines.resize(end.max(lines.len() + usize::from(is_spaced && end == lines.len())), Vec::new());
    }
    let mut columns = [lines];
    flow::add_reasons(state, theme, &mut columns, &listed, (&[width], rows));
    if practice::visible_ladder(state).is_none() {
        flow::add_further(state, kept, &mut columns, (width, rows));
    }
    let [lines] = columns;
    lines
}

fn section<'a>(state: &State, report: &'a Report) -> Option<&'a SectionReport> {
    let place = state.session.cursor().place;
    report.layers.get(place.layer)?.sections.get(place.section)
}

fn groups(state: &State, report: &Report, theme: Theme, width: usize, fresh: bool, max_rows: usize) -> Vec<StyledLine> {
    let place = state.session.cursor().place;
    let name = state.groove().layers().get(place.layer).map_or("", |l| &l.name);
    let stale = if fresh { "" } else { "…" };
    let mut lines = vec![stale_heading(&fit(&format!("Groups of {name}"), width), stale, theme, width)];
    let Some(groups) = section(state, report).and_then(|s| s.groups.as_ref()) else {
        lines.extend(styled_lines(wrap("no attacks in this section yet", width), theme.faint()));
        return lines;
    };
    let lead = if groups.lead_cells > 0 { format!("rest {}, then ", groups.lead_cells) } else { String::new() };
    let trailing = grid::trailing_group(state.groove(), place.layer, place.section);
    let wrapped = wrap(&format!("{lead}{}", group_line(&groups.text, trailing)), width);
    let mut figure = Vec::new();
    if let Some(f) = groups.figures.iter().find(|f| describe::is_notable(f)) {
        let beat = state.groove().sections()[place.section].meter.beat();
        let beats = groups.unit.repeated(f.units as usize).and_then(|l| l.ratio_to(beat));
        let length = match beats {
            Some(beats) if beats == Fraction::ONE && !groups.in_cells => "1 beat".to_owned(),
            Some(beats) if !groups.in_cells => format!("{beats} beats"),
            _ => format!("{} cells", f.units),
        };
        figure = wrap(&format!("figure of {length}, {} times; {}", f.times, describe::bar_relation(f)), width);
    }
    // The figure, which says what matters about a long line of groups, keeps its rows unless they are too few for both.
    let room = max_rows.saturating_sub(1);
    let for_groups = room.saturating_sub(figure.len()).max(MAX_GROUP_ROWS.min(room)).max(1).min(wrapped.len());
    let shown = flow::cut(wrapped, for_groups, width);
    let rest = room.saturating_sub(shown.len());
    lines.extend(styled_lines(shown, theme.strong()));
    lines.extend(styled_lines(flow::cut(figure, rest, width), Style::new()));
    lines
}

/// A heading with a sign that its block is older than the last edit: a single character, which replaces the last one if there is no
/// room. An edit sends it, and the analysis that follows removes it.
fn stale_heading(heading: &str, stale: &str, theme: Theme, width: usize) -> StyledLine {
    let room = if stale.is_empty() { width } else { width.saturating_sub(1) };
    let mut kept = heading.to_owned();
    while kept.width() > room {
        kept.pop();
    }
    vec![(kept, theme.heading()), (stale.to_owned(), Style::new())]
}

/// A line of groups, with a trailing group named separately.
fn group_line(text: &str, trailing: Option<usize>) -> String {
    let Some(cells) = trailing else { return text.to_owned() };
    match text.strip_suffix(&cells.to_string()) {
        Some("") => format!("{cells} to the end"),
        Some(before) if before.ends_with('+') => format!("{}, then {cells} to the end", before.trim_end_matches('+')),
        _ => text.to_owned(),
    }
}

fn landings_or_ladder(state: &State, report: &Report, theme: Theme, width: usize, max_lines: usize) -> Vec<StyledLine> {
    match practice::visible_ladder(state) {
        Some((ladder, at)) => ladder_steps(state, report, theme, (width, max_lines), &ladder, at),
        None => landings(state, report, theme, width, max_lines),
    }
}

/// The steps of a ladder around the current one: tempo, the hearing that leads from there on, cells too short to be felt.
fn ladder_steps(
    state: &State,
    report: &Report,
    theme: Theme,
    (width, max_lines): (usize, usize),
    ladder: &Ladder,
    at: Option<usize>,
) -> Vec<StyledLine> {
    let changes = describe_ladder::changes(report, state.hearings.limits, &ladder.speeds);
    let section = &state.groove().sections()[state.session.cursor().place.section];
    let mut lines = vec![vec![(fit(&format!("Ladder {}", ladder.to_text()), width), theme.heading())]];
    let mut rows = max_lines.saturating_sub(1);
    if let Some(text) = state.playback.progress.as_ref().filter(|_| rows > 3) {
        lines.push(vec![(fit(text, width), theme.faint())]);
        rows -= 1;
    }
    let first = (at.unwrap_or(0) + 1).saturating_sub(rows.div_ceil(2)).min(ladder.speeds.len().saturating_sub(rows));
    for (k, (&speed, change)) in ladder.speeds.iter().zip(&changes).enumerate().skip(first).take(rows) {
        let mark = if at == Some(k) { theme.glyphs().here } else { ' ' };
        let tempo = describe_ladder::tempo_of(section, speed);
        let tempo =
            tempo.split_once("= ").filter(|_| width < MIN_NOTE_VALUE_WIDTH).map_or(tempo.as_str(), |(_, bpm)| bpm);
        let room = if width < MIN_NOTE_VALUE_WIDTH { 5 } else { 11 };
        let (percent, value) = (describe_ladder::percent(speed), describe_ladder::value(speed));
        let leader = |leader: Leader| {
            let of = report.speeds.as_deref().and_then(|s| s.hearing(leader));
            let tempos = of.map(|h| format!(" {}", describe::tempo_row(&h.tempos(value)))).unwrap_or_default();
            format!("{}{tempos}", short_name(leader, of))
        };
        let first = change.leader.map(leader);
        let style = if at == Some(k) { theme.value() } else { Style::new() };
        let row = |cells: &str| {
            let notes: Vec<&str> = change.unfelt_cell_ms.map(|_| cells).into_iter().chain(first.as_deref()).collect();
            format!("{mark}{:>2} {percent:>4} {tempo:<room$} {}", k + 1, notes.join(", ")).trim_end().to_owned()
        };
        let text = Some(row("cells too short")).filter(|r| r.width() <= width).unwrap_or_else(|| row("too short"));
        lines.push(vec![(fit(&text, width), style)]);
    }
    lines
}

fn landings(state: &State, report: &Report, theme: Theme, width: usize, max_lines: usize) -> Vec<StyledLine> {
    let Some(section) = section(state, report) else { return Vec::new() };
    let landings = &section.landings;
    if landings.total == 0 || max_lines == 0 {
        return Vec::new();
    }
    let mut lines = vec![vec![("Landings".to_owned(), theme.heading())]];
    let depth = |r: &crate::analysis::Landing| {
        let text = r.depth.to_string();
        if width < 36 { text.replace(" of the beat", "") } else { text }
    };
    let label = landings.rows.iter().map(|r| depth(r).len()).max().unwrap_or(0).max(8);
    let room = width.saturating_sub(label + 11).max(4);
    // Without rows for all of them, the smallest are added up in the last one.
    let mut listed: Vec<_> = landings.rows.iter().map(|r| (depth(r), r.count, r.depth.on_beat())).collect();
    if listed.len() > max_lines - 1 && max_lines > 2 {
        let mut others = (0, 0);
        while listed.len() > max_lines - 2 {
            let smallest = (0..listed.len()).min_by_key(|i| listed[*i].1).unwrap_or(0);
            others = (others.0 + 1, others.1 + listed.remove(smallest).1);
        }
        listed.push((format!("{} others", others.0), others.1, false));
    }
    let top = listed.iter().map(|r| r.1).max().unwrap_or(1).max(1);
    for (name, count, on_beat) in listed.into_iter().take(max_lines - 1) {
        let (halves, glyphs) = (count * room * 2 / top, theme.glyphs());
        let half = (halves % 2 == 1 || halves == 0).then_some(glyphs.half);
        let bar: String = std::iter::repeat_n(glyphs.full, halves / 2).chain(half).collect();
        let percent = (100.0 * count as f64 / landings.total as f64).round();
        let style = if on_beat { theme.written() } else { theme.hearing() };
        lines.push(vec![
            (format!("{name:<label$} "), Style::new()),
            (format!("{bar:<room$}"), style),
            (format!("{count:>4} {percent:>3.0}%"), Style::new()),
        ]);
    }
    lines
}

fn hearings(state: &State, report: &Report, theme: Theme, width: usize, max: usize) -> Vec<StyledLine> {
    let (of, fresh) = state.focus_label().unwrap_or_default();
    let stale = if fresh { "" } else { "…" };
    let mut lines = vec![stale_heading(&beat_heading(&of, report, width), stale, theme, width)];
    if report.hearings.is_empty() {
        lines.push(vec![(describe::no_hearing_reason(report).into(), theme.faint())]);
        return lines;
    }
    let names = if width < MIN_DEVIATION_WIDTH { "likely   BPM   on" } else { "likely   BPM    dev   on" };
    let more = match report.hearings.len().saturating_sub(max) {
        0 => String::new(),
        n => format!("  h: {n} more"),
    };
    let more = if names.width() + more.width() <= width { more } else { String::new() };
    lines.push(vec![(format!("{names}{more}"), theme.faint())]);
    let selected = state.strip_hearing().map(|(i, _)| i);
    let listed = listed_hearings(&report.hearings, max).into_iter();
    lines.extend(listed.map(|i| hearing(&report.hearings[i], report, theme, width, selected == Some(i))));
    lines.extend(lead_change(state, report, width).map(|text| vec![(text, theme.faint())]));
    lines
}

/// The layers heard, the share that keeps the written beat, and further facts that fit the width.
fn beat_heading(of: &str, report: &Report, width: usize) -> String {
    let mut heading = format!("Heard in {of}");
    let beat = report.answer.map(|a| format!(": beat {}", describe::percent(a.shown_written)));
    let all = report.all.as_ref().map(|a| describe::percent(a.answer.shown_written));
    let fits = |heading: &str, more: &str| heading.width() + more.width() <= width;
    let with_beat = format!("{heading}{}", beat.as_deref().unwrap_or_default());
    let all = all.map(|all| {
        let long = format!(", all layers {all}");
        if fits(&with_beat, &long) { long } else { format!(", all {all}") }
    });
    let cell = report.cell_ms.map(|ms| format!(", cell {ms:.0} ms"));
    let doubt = (describe::about_as_likely(report) > 1).then(|| ", no clear winner".to_owned());
    for more in [beat, all, doubt, cell].into_iter().flatten() {
        if fits(&heading, &more) {
            heading.push_str(&more);
        }
    }
    fit(&heading, width)
}

/// What leads, in few letters.
fn short_name(leader: Leader, hearing: Option<&LeadingHearing>) -> String {
    let other = || if leader == Leader::Unclear { "no clear leader" } else { "written beat" }.to_owned();
    hearing.map_or_else(other, |h| h.kind.short())
}

/// The speed from which the current leader leads, or if it leads from the slowest speed on, the next leader's.
fn lead_change(state: &State, report: &Report, width: usize) -> Option<String> {
    let speeds = report.speeds.as_deref()?;
    let next = speeds.changes.get(1)?;
    let now = speeds.change_at(report.speed * 100.0).filter(|c| c.percent > speeds.changes[0].percent);
    let change = now.unwrap_or(*next);
    let leader = speeds.hearing(change.leader);
    let name = short_name(change.leader, leader);
    let bpm = leader.map(|h| describe::tempo_row(&h.tempos(f64::from(change.percent) / 100.0)));
    // A chart of an older groove is marked.
    let stale = if state.hearings.result.as_ref().is_some_and(|r| !r.is_refined) { "…" } else { "" };
    let forms = [
        format!("likeliest from {}% speed: {name} {}{stale}", change.percent, bpm.unwrap_or_default()),
        format!("likeliest from {}% speed: {name}{stale}", change.percent),
        format!("likeliest from {}%: {name}{stale}", change.percent),
    ];
    Some(fit(forms.iter().find(|f| f.trim_end().width() <= width).unwrap_or(&forms[2]).trim_end(), width))
}

/// The best hearings; the written beat replaces the last one if it is not among them.
fn listed_hearings(hearings: &[Hearing], max: usize) -> Vec<usize> {
    let mut shown: Vec<usize> = (0..hearings.len().min(max)).collect();
    let written = hearings.iter().position(|h| h.kind == HearingKind::Written);
    if let (Some(written), Some(last)) = (written.filter(|w| *w >= max && max >= MIN_WITH_WRITTEN), shown.last_mut()) {
        *last = written;
    }
    shown
}

/// The row of a hearing: likelihood, tempo, deviation, share, name.
fn hearing(h: &Hearing, report: &Report, theme: Theme, width: usize, selected: bool) -> StyledLine {
    let style = if selected { theme.hearing() } else { Style::new() };
    let deviation = if width < MIN_DEVIATION_WIDTH {
        String::new()
    } else if h.deviation_ms < 0.5 {
        "   -   ".to_owned()
    } else {
        format!("{:>4.0} ms", h.deviation_ms)
    };
    let likely = describe::likelihood(h);
    let mut numbers = format!("{likely:>6} {:>5.1}{deviation} {:>3.0}% ", h.bpm(report.speed), h.share() * 100.0);
    let mark = if selected { theme.glyphs().here } else { ' ' };
    let name = format!("{mark}{}", h.kind.short());
    // The mark also separates, where a column is missing.
    if name.width() + numbers.len() == width + 1 {
        numbers.pop();
    }
    let name = fit(&name, width.saturating_sub(numbers.len()));
    vec![(numbers, style), (name, style)]
}
