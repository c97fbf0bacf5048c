//! Draws the list of variants in the pane: each with its groups, what changes for the ear, and how it was made.

use crate::describe::rest_lead;
use crate::jobs::variants::{Aim, Effect, Entry, Reason, RotationOf, Variant};
use crate::rhythm::{count, group_line};
use crate::terminal::variants::VariantList;
use crate::terminal::view::{Pen, Theme, fit, wrap};
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::fmt::Write as _;
use unicode_width::UnicodeWidthStr;

/// Columns of a figure before and after, such as `100>100%`, and of the space before it.
const FIGURE: usize = 10;
/// Minimum columns for the groups left of the figures; where there are fewer, the figures stand above the groups.
const MIN_GROUPS: usize = 24;
/// Minimum columns of a pane in which the words stand to the right of the figures.
const MIN_WIDTH_FOR_WORDS: usize = 130;
const MAX_GROUPS: usize = 60;
/// Maximum lines of the groups of an entry.
const MAX_GROUP_LINES: usize = 3;

/// Where the columns of the list are.
struct Columns {
    width: usize,
    /// Columns of the groups.
    groups: usize,
    /// First column of the figures.
    figures: usize,
    /// First column of the words, if they stand to the right.
    words: Option<usize>,
    has_aimed: bool,
}

/// A piece of an entry: column, row, text and style.
type Piece = (usize, usize, String, Style);

impl Columns {
    fn new(width: usize, list: &VariantList) -> Self {
        let has_aimed = matches!(list.aim, Aim::Hearing(_)) && list.ranks.is_some();
        let figures = FIGURE * if has_aimed { 4 } else { 3 };
        if width >= MIN_WIDTH_FOR_WORDS {
            let groups = (width / 3).min(MAX_GROUPS);
            return Self { width, groups, figures: groups, words: Some(groups + figures + 2), has_aimed };
        }
        match width.checked_sub(figures) {
            Some(groups) if groups >= MIN_GROUPS => Self { width, groups, figures: groups, words: None, has_aimed },
            _ => Self { width, groups: width, figures: 0, words: None, has_aimed },
        }
    }

    /// The pieces of an entry, and its number of lines.
    fn entry(&self, list: &VariantList, entry: Entry, theme: Theme) -> (Vec<Piece>, usize) {
        let plain = Style::new();
        let (lead, groups) = list.variant(entry).map_or_else(|| list.original_line(), |v| (v.lead, v.groups.clone()));
        let line = rest_lead(lead) + &group_line::print(&group_line::compress(&groups));
        let mut lines = wrap(&line, self.groups.saturating_sub(1));
        if lines.len() > MAX_GROUP_LINES {
            let rest = lines.split_off(MAX_GROUP_LINES - 1).concat();
            lines.push(fit(&rest, self.groups.saturating_sub(1)));
        }
        let above = usize::from(self.figures == 0);
        let mut pieces: Vec<Piece> = Vec::new();
        for (x, text) in self.figures(list, entry) {
            pieces.push((x, 0, text, plain));
        }
        let mut rows = above + lines.len();
        pieces.extend(lines.into_iter().enumerate().map(|(y, text)| (0, above + y, text, theme.strong())));
        let (x, mut y) = self.words.map_or((2, rows), |x| (x, 0));
        let room = self.width.saturating_sub(x + 1);
        let mut used = 0;
        for (text, style) in words(list, entry, theme) {
            for part in wrap(&text, room) {
                // On the line of the text before, if it has room.
                if used > 0 && used + 2 + part.width() > room {
                    (y, used) = (y + 1, 0);
                }
                let at = if used > 0 { used + 2 } else { 0 };
                used = at + part.width();
                pieces.push((x + at, y, part, style));
            }
        }
        rows = rows.max(if used > 0 { y + 1 } else { y });
        (pieces, rows)
    }

    /// The figures of an entry with their columns.
    fn figures(&self, list: &VariantList, entry: Entry) -> Vec<(usize, String)> {
        let percent = |p: f64| format!("{:.0}", 100.0 * p);
        let before = list.effect(Entry::Original);
        let Some(after) = list.effect(entry) else { return Vec::new() };
        let change = |value: &dyn Fn(&Effect) -> Option<String>, unit: &str| {
            changed(before.map(|b| value(b).unwrap_or_else(|| "-".into())), value(after), unit)
        };
        let mut texts = vec![
            change(&|e| e.shown_written.map(percent), "%"),
            change(&|e| e.first.as_ref().map(|(_, bpm)| format!("{bpm:.0}")), ""),
            change(&|e| Some(percent(e.on_beat)), "%"),
        ];
        if self.has_aimed {
            texts.push(changed(list.aimed(Entry::Original).map(percent), list.aimed(entry).map(percent), "%"));
        }
        let right = |(k, text): (usize, String)| (self.figures + (k + 1) * FIGURE - text.width().min(FIGURE), text);
        texts.into_iter().enumerate().map(right).collect()
    }
}

/// `before>after`, or only one of them if they are equal.
fn changed(before: Option<String>, after: Option<String>, unit: &str) -> String {
    let after = after.unwrap_or_else(|| "-".into());
    match before.filter(|before| *before != after) {
        Some(before) => format!("{before}>{after}{unit}"),
        None => format!("{after}{unit}"),
    }
}

/// How an entry was made, what else it is, and what changes in the reasons why it is hard.
fn words(list: &VariantList, entry: Entry, theme: Theme) -> Vec<(String, Style)> {
    let Some(variant) = list.variant(entry) else { return vec![("the original".to_owned(), theme.faint())] };
    let has_same_groups = list.original_line() == (variant.lead, variant.groups.clone());
    let mut words = vec![(made(variant, has_same_groups), theme.faint())];
    let (Some(before), Some(after)) = (list.effect(Entry::Original), list.effect(entry)) else { return words };
    let kind = |effect: &Effect| effect.first.as_ref().map(|(kind, _)| kind.short());
    if let Some(kind) = kind(after).filter(|now| kind(before).as_ref() != Some(now)) {
        words.push((format!("heard: {kind}"), theme.hearing()));
    }
    // A kind of reason may hold for several places.
    let names = |of: &Effect, other: &Effect| {
        let mut names: Vec<&str> = Vec::new();
        for name in of.reasons_without(other).map(Reason::short) {
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names.join(", ")
    };
    let won = ("now: ", names(after, before), theme.warning());
    let lost = ("no longer: ", names(before, after), theme.value());
    let has_names = |(_, names, _): &(&str, String, Style)| !names.is_empty();
    words.extend(
        [won, lost].into_iter().filter(has_names).map(|(head, names, style)| (head.to_owned() + &names, style)),
    );
    words
}

fn made(variant: &Variant, has_same_groups: bool) -> String {
    let mut text = variant.made.first().map(ToString::to_string).unwrap_or_default();
    let others = variant.made.len().saturating_sub(1);
    if others > 0 {
        let _ = write!(text, " (or in {})", count(others, "other way"));
    }
    if has_same_groups {
        text += ", the same groups";
    } else if variant.rotation_of == Some(RotationOf::Original) {
        text += ", a rotation";
    }
    text
}

/// The order of the rows, or how far the sorting is.
fn order(list: &VariantList) -> String {
    let words = match list.aim {
        Aim::Near => "nearest first".to_owned(),
        Aim::Harder => "hardest first".to_owned(),
        Aim::Easier => "easiest first".to_owned(),
        Aim::Hearing(bpm) => format!("{bpm:.0} BPM likeliest first"),
        Aim::OnBeat => "most on the beat first".to_owned(),
        Aim::OffBeat => "most off the beat first".to_owned(),
    };
    match (list.aim, &list.ranks) {
        (Aim::Near, _) | (_, Some(_)) => words,
        _ => format!("sorting {}%: {words}", list.progress.unwrap_or(0)),
    }
}

pub(crate) fn draw(pen: &mut Pen<'_>, pane: Rect, list: &VariantList) {
    let theme = pen.theme;
    let is_right = pane.x > 0;
    if is_right {
        let line = Rect::new(pane.x - 1, pane.y, 1, pane.height);
        (0..usize::from(pane.height)).for_each(|y| pen.put_char(line, 0, y, theme.glyphs().bar_line, theme.faint()));
    }
    let indent = u16::from(is_right);
    let area = Rect { x: pane.x + indent, width: pane.width - indent, ..pane };
    let width = usize::from(area.width);
    let Some(variants) = &list.variants else {
        pen.put(area, 0, 0, &fit(&format!("making the variants of {}", list.what), width), theme.heading());
        return;
    };
    let more = if variants.has_more { "first " } else { "" };
    let all = count(variants.found.len(), "variant");
    let place = match list.selected {
        0 => "original".to_owned(),
        row => format!("{row} of {}", list.order.len()),
    };
    let order = order(list);
    let titles = [format!("{more}{all} of {}, {order}", list.what), format!("{}, {order}", list.what), order.clone()];
    let room = width.saturating_sub(place.len() + 2);
    let title = titles.iter().find(|title| title.width() <= room).unwrap_or(&titles[2]);
    pen.put(area, 0, 0, &fit(title, room), theme.heading());
    pen.put(area, width.saturating_sub(place.len() + 1), 0, &place, theme.faint());
    let columns = Columns::new(width, list);
    let mut heads = vec!["written", "heard BPM", "on beat"];
    heads.extend(columns.has_aimed.then_some("aimed"));
    for (k, head) in heads.iter().enumerate() {
        pen.put(area, columns.figures + (k + 1) * FIGURE - head.len(), 1, head, theme.faint());
    }
    if columns.figures > 0 {
        let heard = format!("heard in {}", list.listener());
        pen.put(area, 0, 1, &fit(&heard, columns.groups.saturating_sub(1)), theme.faint());
    }
    let rows = Rect { y: area.y + 2, height: area.height.saturating_sub(2), ..area };
    draw_rows(pen, rows, list, &columns);
}

/// Draws the entries around the selected one, as many as there is room for.
fn draw_rows(pen: &mut Pen<'_>, area: Rect, list: &VariantList, columns: &Columns) {
    let theme = pen.theme;
    let height = usize::from(area.height);
    let lines = |row: usize| list.entry(row).map_or(0, |entry| columns.entry(list, entry, theme).1);
    // From the top if the selected one is visible then; otherwise it is the last one, with half a page after it where there is one.
    let mut first = list.selected;
    let mut used = lines(first);
    let after = lines(first + 1);
    while first > 0 && used + after + lines(first - 1) <= height {
        first -= 1;
        used += lines(first);
    }
    let mut y = 0;
    for row in first..=list.order.len() {
        let Some(entry) = list.entry(row).filter(|_| y < height) else { break };
        let (pieces, rows) = columns.entry(list, entry, theme);
        for (x, line, text, style) in pieces {
            pen.put(area, x, y + line, &text, style);
        }
        if row == list.selected {
            (y..(y + rows).min(height)).for_each(|y| pen.row_style(area, y, theme.cursor()));
        }
        y += rows;
    }
}
