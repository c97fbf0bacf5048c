//! Draws the pane: groups, landings, hearings, and reasons why the groove is hard.

use crate::analysis::{Hearing, HearingKind, Leader, LeadingHearing, Report, SectionReport};
use crate::describe;
use crate::describe::ladder as describe_ladder;
use crate::rhythm::Fraction;
use crate::terminal::playback::practice;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::view::full::{Item, further_blocks};
use crate::terminal::view::{Layout, Pen, StyledLine, fit, grid, hanging_indent, styled_lines, wrap};
use crate::terminal::{State, Theme};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

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
/// Minimum rows of a pane below the grid that fills the rest of its left half with further parts of the report.
const MIN_HEIGHT_FOR_FURTHER: usize = 18;
/// Minimum rows of a pane next to the grid whose blocks have fixed numbers of rows.
const MIN_FIXED_HEIGHT: usize = 26;
/// Maximum number of hearings in a lower one.
const MAX_HEARINGS_LOW: usize = 4;
/// Rows for the heading and the first reason.
const MIN_REASON_ROWS: usize = 4;
/// Minimum number of hearings of which one is the written beat.
const MIN_WITH_WRITTEN: usize = 3;

/// Draws the pane: in one column next to the grid, or in two below it.
pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout) {
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
        if rows < MIN_FIXED_HEIGHT {
            return pen.put_lines(area, 1, 0, &compact_column(state, report, theme, (inner, rows), fresh));
        }
        // Each block has a fixed number of rows, so that an edit moves nothing.
        let mut lines = groups(state, report, theme, inner, fresh, 3);
        lines.resize(6, Vec::new());
        lines.extend(landings_or_ladder(state, report, theme, inner, 7));
        lines.resize(14, Vec::new());
        // A third of the rest for heading, column names, hearings, lead change and a blank line; two thirds for the reasons.
        let max = (rows.saturating_sub(lines.len()) / 3).saturating_sub(4).clamp(4, MAX_HEARINGS);
        lines.extend(hearings(state, report, theme, inner, max));
        lines.resize(14 + max + 4, Vec::new());
        lines.extend(reasons(state, theme, inner, rows.saturating_sub(lines.len())));
        return pen.put_lines(area, 1, 0, &lines);
    }
    // Names of hearings and reasons need the columns more than the bars of the landings do.
    let split = if width < MIN_HALVES_WIDTH { MIN_LANDINGS_WIDTH } else { width / 2 - 1 };
    let right_width = width.saturating_sub(split + 2);
    let mut left = groups(state, report, theme, split, fresh, if rows > 12 { 2 } else { 1 });
    let groups_rows = match rows {
        13.. => 5,
        10.. => 4,
        _ => 2,
    };
    left.resize(groups_rows, Vec::new());
    // Without playback the steps cannot be scrolled: all are shown, if necessary in place of the groups.
    if practice::visible_ladder(state)
        .is_some_and(|(l, at)| at.is_none() && l.speeds.len() + 1 > rows.saturating_sub(groups_rows))
    {
        left.clear();
    }
    let landings_rows = rows.saturating_sub(left.len());
    left.extend(landings_or_ladder(state, report, theme, split, landings_rows));
    // A low pane shows at least the first hearing and the first reason.
    let (max, lead_change) = match rows {
        0..=6 => (1, 0),
        7 => (2, 0),
        8..=9 => (3, 0),
        _ => ((rows / 2).saturating_sub(4).clamp(4, MAX_HEARINGS_BELOW), 1),
    };
    let is_tall = rows >= MIN_TALL_HEIGHT;
    let max = if is_tall { report.hearings.len().min(rows / 2) } else { max };
    let mut right = hearings(state, report, theme, right_width, max);
    // In a low pane each block has a fixed number of rows, so that an edit moves little; in a tall one nothing is left out for it.
    let hearings_rows = if is_tall { right.len() + 1 } else { max + 2 + lead_change };
    right.resize(hearings_rows, Vec::new());
    right.extend(reasons(state, theme, right_width, rows.saturating_sub(right.len())));
    if rows >= MIN_HEIGHT_FOR_FURTHER {
        let blocks = further_blocks(state, split);
        let mut has_heading = false;
        for (i, block) in blocks.iter().enumerate() {
            // No heading without a line below it, and no line without its heading.
            let is_heading = block.item == Item::Heading;
            let next = blocks.get(i + 1).filter(|_| is_heading).map_or(0, |next| next.lines.len());
            let has_room = left.len() + block.lines.len() + next <= rows;
            has_heading = if is_heading { has_room } else { has_heading };
            if has_heading && has_room {
                left.extend(block.lines.iter().cloned());
            }
        }
    }
    pen.put_lines(area, 0, 0, &left);
    pen.put_lines(area, split + 2, 0, &right);
}

/// The blocks of a low pane next to the grid, without empty rows where the reasons need them.
fn compact_column(
    state: &State,
    report: &Report,
    theme: Theme,
    (width, rows): (usize, usize),
    fresh: bool,
) -> Vec<StyledLine> {
    let blocks = [
        groups(state, report, theme, width, fresh, 2),
        landings_or_ladder(state, report, theme, width, 7),
        hearings(state, report, theme, width, MAX_HEARINGS_LOW),
    ];
    let used: usize = blocks.iter().map(Vec::len).sum();
    let is_spaced = used + blocks.len() + MIN_REASON_ROWS <= rows;
    let mut lines = Vec::new();
    for block in blocks {
        lines.extend(block);
        lines.extend(is_spaced.then(Vec::new));
    }
    lines.extend(reasons(state, theme, width, rows.saturating_sub(lines.len())));
    lines
}

fn section<'a>(state: &State, report: &'a Report) -> Option<&'a SectionReport> {
    let place = state.session.cursor().place;
    report.layers.get(place.layer)?.sections.get(place.section)
}

fn groups(
    state: &State,
    report: &Report,
    theme: Theme,
    width: usize,
    fresh: bool,
    max_lines: usize,
) -> Vec<StyledLine> {
    let place = state.session.cursor().place;
    let name = state.groove().layers().get(place.layer).map_or("", |l| &l.name);
    // A single character: an edit sends it, and the analysis that follows removes it.
    let stale = if fresh { "" } else { "…" };
    let heading = fit(&format!("Groups of {name}"), width.saturating_sub(1));
    let mut lines = vec![vec![(heading, theme.heading()), (stale.to_owned(), Style::new())]];
    let Some(groups) = section(state, report).and_then(|s| s.groups.as_ref()) else {
        lines.extend(styled_lines(wrap("no attacks in this section yet", width), theme.faint()));
        return lines;
    };
    let lead = if groups.lead_cells > 0 { format!("rest {}, then ", groups.lead_cells) } else { String::new() };
    let trailing = grid::trailing_group(state.groove(), place.layer, place.section);
    let mut wrapped = wrap(&format!("{lead}{}", group_line(&groups.text, trailing)), width);
    if wrapped.len() > max_lines {
        wrapped.truncate(max_lines);
        wrapped[max_lines - 1] = fit(&format!("{}.....", wrapped[max_lines - 1]), width.saturating_sub(1));
    }
    lines.extend(styled_lines(wrapped, theme.strong()));
    if let Some(f) = groups.figures.iter().find(|f| describe::is_notable(f)) {
        let beat = state.groove().sections()[place.section].meter.beat();
        let beats = groups.unit.repeated(f.units as usize).and_then(|l| l.ratio_to(beat));
        let length = match beats {
            Some(beats) if beats == Fraction::ONE && !groups.in_cells => "1 beat".to_owned(),
            Some(beats) if !groups.in_cells => format!("{beats} beats"),
            _ => format!("{} cells", f.units),
        };
        let text = format!("figure of {length}, {} times; {}", f.times, describe::bar_relation(f));
        lines.extend(styled_lines(wrap(&text, width), Style::new()).take(2));
    }
    lines
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
    let top = landings.rows.iter().map(|r| r.count).max().unwrap_or(1).max(1);
    for row in landings.rows.iter().take(max_lines - 1) {
        let (halves, glyphs) = (row.count * room * 2 / top, theme.glyphs());
        let half = (halves % 2 == 1 || halves == 0).then_some(glyphs.half);
        let bar: String = std::iter::repeat_n(glyphs.full, halves / 2).chain(half).collect();
        let percent = 100.0 * row.count as f64 / landings.total as f64;
        let style = if row.depth.on_beat() { theme.written() } else { theme.hearing() };
        lines.push(vec![
            (format!("{:<label$} ", depth(row)), Style::new()),
            (format!("{bar:<room$}"), style),
            (format!("{:>4} {percent:>3.0}%", row.count), Style::new()),
        ]);
    }
    lines
}

fn hearings(state: &State, report: &Report, theme: Theme, width: usize, max: usize) -> Vec<StyledLine> {
    let (of, fresh) = state.focus_label().unwrap_or_default();
    let stale = if fresh { "" } else { "…" };
    let heading = beat_heading(&of, report, width.saturating_sub(1));
    let mut lines = vec![vec![(heading, theme.heading()), (stale.to_owned(), Style::new())]];
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
    let numbers = format!("{likely:>6} {:>5.1}{deviation} {:>3.0}% ", h.bpm(report.speed), h.share() * 100.0);
    let mark = if selected { theme.glyphs().here } else { ' ' };
    let name = fit(&format!("{mark}{}", h.kind.short()), width.saturating_sub(numbers.len()));
    vec![(numbers, style), (name, style)]
}

fn reasons(state: &State, theme: Theme, width: usize, rows: usize) -> Vec<StyledLine> {
    let findings = state.findings();
    if findings.is_empty() || rows < 2 {
        return Vec::new();
    }
    let mut lines = vec![vec![("Why it is hard".to_owned(), theme.heading())]];
    let mut listed = Vec::new();
    for finding in findings {
        let text = finding.reason.to_string();
        // The same in another place; the full view names the places.
        if listed.contains(&text) {
            continue;
        }
        let mut wrapped = wrap(&text, width.saturating_sub(2));
        let room = rows - lines.len();
        // Only the first one is cut; the full view has all.
        if room == 0 || (wrapped.len() > room && lines.len() > 1) {
            break;
        }
        if wrapped.len() > room {
            wrapped.truncate(room);
            wrapped[room - 1].push('…');
        }
        lines.extend(hanging_indent(wrapped, ("- ", theme.faint()), Style::new()));
        listed.push(text);
    }
    lines
}
