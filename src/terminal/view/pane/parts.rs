//! The blocks of the pane about the groove as it plays: groups, landings or the steps of a ladder, hearings.

use crate::analysis::{Groups, Hearing, HearingKind, Landing, Leader, LeadingHearing, Report, SectionReport};
use crate::describe;
use crate::describe::ladder as describe_ladder;
use crate::rhythm::{Fraction, count};
use crate::terminal::playback::practice;
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::view::pane::reasons::cut;
use crate::terminal::view::{StyledLine, fit, grid, styled_lines, wrap};
use crate::terminal::{State, Theme};
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Minimum columns for the deviation of hearings.
const MIN_DEVIATION_WIDTH: usize = 34;
/// Minimum columns for the note value of the beat in the steps of a ladder.
const MIN_NOTE_VALUE_WIDTH: usize = 48;
/// Rows of a long line of groups in a low pane.
const MAX_GROUP_ROWS: usize = 2;
/// Minimum number of hearings of which one is the written beat.
const MIN_WITH_WRITTEN: usize = 3;

/// What the blocks are made from.
#[derive(Clone, Copy)]
pub(super) struct Parts<'a> {
    pub(super) state: &'a State,
    pub(super) report: &'a Report,
    /// Whether the report is of the groove as it is now.
    pub(super) fresh: bool,
    pub(super) theme: Theme,
}

impl Parts<'_> {
    fn section(&self) -> Option<&SectionReport> {
        let place = self.state.session.cursor().place;
        self.report.layers.get(place.layer)?.sections.get(place.section)
    }

    pub(super) fn groups(&self, width: usize, (least_rows, max_rows): (usize, usize)) -> Vec<StyledLine> {
        let Self { state, report, fresh, theme } = *self;
        let place = state.session.cursor().place;
        let name = state.groove().layers().get(place.layer).map_or("", |l| &l.name);
        let stale = if fresh { "" } else { "…" };
        let heading = fit(&format!("Groups of {name}"), width);
        let mut lines = vec![stale_heading(&heading, stale, theme, width)];
        let Some(groups) = self.section().and_then(|s| s.groups.as_ref()) else {
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
        let shown = cut(wrapped, for_groups, width);
        let rest = room.saturating_sub(shown.len());
        if rest == 0 && !figure.is_empty() {
            let more = format!("  {}: more", state.key_or_name("hearings"));
            lines[0].extend(Some((more, theme.faint())).filter(|(more, _)| heading.width() + more.width() < width));
        }
        lines.extend(styled_lines(shown, theme.strong()));
        lines.extend(styled_lines(cut(figure, rest, width), Style::new()));
        let facts = facts(report, place.section, groups).into_iter().flat_map(|fact| wrap(&fact, width));
        lines.extend(styled_lines(facts.take(least_rows.saturating_sub(lines.len())).collect(), Style::new()));
        lines
    }

    pub(super) fn landings_or_ladder(&self, width: usize, max_lines: usize) -> Vec<StyledLine> {
        match practice::visible_ladder(self.state) {
            Some((ladder, at)) => self.ladder_steps((width, max_lines), &ladder, at),
            None => self.landings(width, max_lines),
        }
    }

    /// The steps of a ladder around the current one: tempo, the hearing that leads from there on, cells too short to be felt.
    fn ladder_steps(&self, (width, max_lines): (usize, usize), ladder: &Ladder, at: Option<usize>) -> Vec<StyledLine> {
        let Self { state, report, theme, .. } = *self;
        let changes = describe_ladder::changes(report, state.hearings.limits, &ladder.speeds);
        let section = &state.groove().sections()[state.session.cursor().place.section];
        let mut lines = vec![vec![(fit(&format!("Ladder {}", ladder.to_text()), width), theme.heading())]];
        let mut rows = max_lines.saturating_sub(1);
        if let Some(text) = state.playback.progress.as_ref().filter(|_| rows > 3) {
            lines.push(vec![(fit(text, width), theme.faint())]);
            rows -= 1;
        }
        let first =
            (at.unwrap_or(0) + 1).saturating_sub(rows.div_ceil(2)).min(ladder.speeds.len().saturating_sub(rows));
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
                let notes: Vec<&str> =
                    change.unfelt_cell_ms.map(|_| cells).into_iter().chain(first.as_deref()).collect();
                format!("{mark}{:>2} {percent:>4} {tempo:<room$} {}", k + 1, notes.join(", ")).trim_end().to_owned()
            };
            let text = Some(row("cells too short")).filter(|r| r.width() <= width).unwrap_or_else(|| row("too short"));
            lines.push(vec![(fit(&text, width), style)]);
        }
        lines
    }

    pub(super) fn landings(&self, width: usize, max_lines: usize) -> Vec<StyledLine> {
        let theme = self.theme;
        let Some(section) = self.section() else { return Vec::new() };
        let landings = &section.landings;
        if landings.total == 0 || max_lines == 0 {
            return Vec::new();
        }
        let mut lines = vec![vec![("Landings".to_owned(), theme.heading())]];
        let depth = |r: &Landing| {
            let text = r.depth.to_string();
            // In few columns as a fraction, which cannot be taken for a note value.
            if width < 36 { r.depth.short() } else { text }
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

    pub(super) fn hearings(&self, width: usize, max: usize) -> Vec<StyledLine> {
        let Self { state, report, theme, .. } = *self;
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
}

/// Facts about groups that fill the rows of a block whose number of rows should not change with each edit: their sizes, the mean
/// rate, the groups from accent to accent.
fn facts(report: &Report, section: usize, groups: &Groups) -> Vec<String> {
    let (Some(least), Some(most)) = (groups.cells.iter().min(), groups.cells.iter().max()) else { return Vec::new() };
    let (attacks, cells) = (groups.cells.len() as f64, f64::from(groups.cells.iter().sum::<u32>()));
    let mean = if least == most {
        format!("one attack every {}", count(*least as usize, "cell"))
    } else {
        format!("{least} to {most} cells, {:.1} on average", cells / attacks)
    };
    let rate = report.clock.seconds_per_whole(section).map(|per_whole| {
        let units = f64::from(groups.line.iter().sum::<u32>());
        let wholes = units * groups.unit.numer() as f64 / groups.unit.denom() as f64;
        format!(": {:.1} BPM", 60.0 * attacks * report.speed / (wholes * per_whole))
    });
    let accents = groups.accents.as_ref().map(|a| format!("from accent to accent: {}", describe::accent_groups(a)));
    std::iter::once(mean + &rate.unwrap_or_default()).chain(accents).collect()
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
