//! Draws the grid: ruler, layer names, cells in proportion to time, cursor, selection, playhead.

use crate::analysis::landing;
use crate::rhythm::{Accent, Cell, Groove, Place, Spot};
use crate::session::LoopRegion;
use crate::terminal::State;
use crate::terminal::transcription::section_onsets::PlacedOnset;
use crate::terminal::view::onsets::{CellMarks, suggestion, visible_onsets};
use crate::terminal::view::strips::shown_pass;
use crate::terminal::view::{Labels, Layout, Pen, Scale, fit};
use ratatui::style::Style;

/// The column of a system under the playhead, if it is there.
pub(crate) fn playhead(state: &State, layout: &Layout, scale: Scale) -> Option<usize> {
    let position = state.playback.position.filter(|p| p.section == state.shown_section())?;
    // Rounded down: the playhead must not be ahead of the sound.
    let beats = state.beats(position)?;
    layout.x(scale.nearest_column((beats * scale.per_beat as f64 + 1e-6).floor() / scale.per_beat as f64))
}

pub(crate) fn draw_ruler(state: &State, pen: &mut Pen<'_>, layout: &Layout, scale: Scale) {
    let (area, theme, glyphs) = (layout.ruler, pen.theme, pen.theme.glyphs());
    let width = usize::from(area.width);
    let (layer, section) = (state.session.cursor().place.layer, state.shown_section());
    let groove = state.shown_groove();
    let first = scale.bar_of(layout.first_column);
    let end = layout.first_column + layout.system_columns;
    for bar in first..=scale.bars {
        let Some(x) = (bar * scale.bar_width()).checked_sub(layout.first_column) else { continue };
        if x >= width {
            break;
        }
        pen.put_char(area, x, 1, glyphs.bar_line, theme.faint());
        // The bar line that closes a system has no number.
        if bar < scale.bars && (layout.systems == 1 || bar * scale.bar_width() < end) {
            pen.put(area, x + 1, 0, &(bar + 1).to_string(), theme.heading());
        }
    }
    if layer < groove.layers().len() {
        let (part, context) = (groove.part(layer, section), groove.context(layer, section));
        let meter = &groove.sections()[section].meter;
        let heads = (meter.terms().len() > 1).then(|| meter.strong_beats());
        let mut free = 0;
        for spot in part.spots(context) {
            let start = scale.cell_column(spot.beat, spot.span, 0);
            if start >= layout.first_column + width {
                break;
            }
            if start + scale.per_beat * usize::from(spot.span.beats) < layout.first_column {
                continue;
            }
            for cell in 0..usize::from(spot.span.cells) {
                let column = scale.cell_column(spot.beat, spot.span, cell);
                if column < layout.first_column || column < free {
                    continue;
                }
                let text = landing::syllable(Spot { cell, ..spot }, context);
                let on_beat = text.starts_with(|c: char| c.is_ascii_digit());
                // In an additive meter the heads of its terms stand out from the other beats.
                let is_head = heads.as_ref().is_none_or(|heads| heads.contains(&(spot.beat % scale.beats)));
                let next = scale.cell_column(spot.beat, spot.span, cell + 1);
                // Long syllables are cut to the width of their cell.
                let text: String = text.chars().take((next - column).max(1)).collect();
                let style = match (on_beat, is_head) {
                    (true, true) => theme.strong(),
                    (true, false) => Style::new(),
                    (false, _) => theme.faint(),
                };
                pen.put(area, column - layout.first_column, 1, &text, style);
                free = column + 1;
            }
        }
    }
    // Of several marks in one column the last is seen.
    let mut marks: Vec<(usize, char, Style)> = Vec::new();
    let first_in_order = groove.bar_in_order(section, shown_pass(state), first).unwrap_or_default();
    let last = scale.bars.min(scale.bar_of(layout.first_column + width) + 1);
    let visible = first_in_order..first_in_order + last.saturating_sub(first);
    let anchors = groove.recording().map_or(&[][..], |r| r.anchors());
    for anchor in anchors.iter().filter(|a| a.place.pass == 0 && visible.contains(&(a.place.bar as usize))) {
        if let Some((.., at)) = groove.grid_time(anchor.place) {
            marks.push((scale.time_column(at).saturating_sub(1), glyphs.anchor, theme.value()));
        }
    }
    if let Some(LoopRegion { start, end }) = state.session.loop_region() {
        // Before the first cell and on the last one, or on the bar lines there.
        let ends =
            [(start, glyphs.loop_start), (end, glyphs.loop_end)].into_iter().filter(|(m, _)| m.section == section);
        marks.extend(ends.map(|(m, glyph)| (scale.time_column(m.at).saturating_sub(1), glyph, theme.value())));
    }
    if let Some(region) = state.session.selection().filter(|r| r.section == section) {
        let (from, to) = (scale.time_column(region.from), end_column(scale, region.to));
        let end = |column| if column == from { Some('[') } else { (column + 1 == to).then_some(']') };
        marks.extend((from..to).map(|column| (column, end(column).unwrap_or(glyphs.between), theme.faint())));
    }
    marks.extend(cursor_columns(state, scale).map(|(column, _)| (column, glyphs.cursor, theme.strong())));
    for (column, mark, style) in marks {
        if let Some(x) = layout.x(column) {
            pen.put_char(area, x, 0, mark, style);
        }
    }
    if let Some(x) = playhead(state, layout, scale) {
        pen.put_char(area, x, 0, glyphs.playhead, theme.value());
    }
}

/// The column after a time, before any bar line there.
fn end_column(scale: Scale, to: crate::rhythm::Time) -> usize {
    let column = scale.time_column(to);
    if column % scale.bar_width() == 1 { column.saturating_sub(1) } else { column }
}

/// First column of the cursor's cell, and the column after it; `None` while another section is shown.
fn cursor_columns(state: &State, scale: Scale) -> Option<(usize, usize)> {
    let cursor = state.session.cursor();
    let (groove, place) = (state.shown_groove(), cursor.place);
    if place.section != state.shown_section() {
        return None;
    }
    if cursor.past_end || place.layer >= groove.layers().len() {
        let column = if cursor.past_end { scale.width() } else { 1 };
        return Some((column, column + 1));
    }
    let from = scale.time_column(groove.written_at(place));
    let to = end_column(scale, groove.written_at(Place { cell: place.cell + 1, ..place }));
    Some((from, to.max(from + 1)))
}

pub(crate) fn draw_layers(state: &State, pen: &mut Pen<'_>, layout: &Layout, scale: Scale) {
    let groove = state.shown_groove();
    if groove.layers().is_empty() {
        let text = format!("no layers yet; {} adds one", state.key("add-layer"));
        pen.put(layout.cells, 1, 0, &text, pen.theme.value());
        return;
    }
    let rows = usize::from(layout.cells.height);
    let onsets = visible_onsets(state, layout, scale);
    for row in 0..rows.min(groove.layers().len() - state.view.top_layer.min(groove.layers().len())) {
        draw_name(state, pen, layout, row);
        draw_cells(state, pen, layout, scale, (row, &onsets));
    }
    if let Some(x) = playhead(state, layout, scale) {
        pen.column_style(layout.cells, x, pen.theme.playhead());
    }
    let cursor = state.session.cursor();
    if let Some(row) = cursor.place.layer.checked_sub(state.view.top_layer)
        && let Some((from, to)) = cursor_columns(state, scale)
    {
        for column in from..to {
            if let Some(x) = layout.x(column) {
                pen.cell_style(layout.cells, x, row, pen.theme.cursor());
            }
        }
    }
}

fn draw_name(state: &State, pen: &mut Pen<'_>, layout: &Layout, row: usize) {
    let (theme, glyphs) = (pen.theme, pen.theme.glyphs());
    let layer = state.view.top_layer + row;
    let (groove, place) = (state.shown_groove(), state.session.cursor().place);
    let l = &groove.layers()[layer];
    let here = layer == place.layer;
    let audible_style = if groove.is_audible(layer) { Style::new() } else { theme.muted() };
    let rows = usize::from(layout.names.height);
    let hidden = (row == 0 && state.view.top_layer > 0) || (row + 1 == rows && layer + 1 < groove.layers().len());
    let (mark, style) = match (here, hidden) {
        (true, _) => (glyphs.here, theme.strong()),
        (false, true) => (glyphs.more, audible_style),
        (false, false) => (' ', audible_style),
    };
    pen.put_char(layout.names, 0, row, mark, style);
    let room = usize::from(layout.names.width);
    let is_cycle = groove.part(layer, state.shown_section()).is_cycle();
    let flags = [(l.mute, 'm'), (l.solo, 's'), (is_cycle, 'c')];
    let flags: String = flags.into_iter().filter_map(|(on, flag)| on.then_some(flag)).collect();
    // A column stays free before the cells, and one between the name and its flags.
    let flags_at = room - 1 - flags.len();
    pen.put(layout.names, flags_at, row, &flags, theme.value());
    pen.put(layout.names, 1, row, &fit(&l.name, flags_at - 1 - usize::from(!flags.is_empty())), style);
}

/// The content of a column. Of several marks in one column, that of the highest rank is drawn.
#[derive(Clone, Copy, Default)]
struct Column {
    rank: u8,
    mark: char,
    style: Style,
}

fn draw_cells(
    state: &State,
    pen: &mut Pen<'_>,
    layout: &Layout,
    scale: Scale,
    (row, onsets): (usize, &[PlacedOnset<'_>]),
) {
    let (theme, glyphs) = (pen.theme, pen.theme.glyphs());
    let layer = state.view.top_layer + row;
    let (groove, section) = (state.shown_groove(), state.shown_section());
    let (part, context) = (groove.part(layer, section), groove.context(layer, section));
    let width = usize::from(layout.cells.width);
    let (first, end) = (layout.first_column, layout.first_column + width);
    let audible = groove.is_audible(layer);
    let mut line = vec![Column { rank: 0, mark: ' ', style: Style::new() }; width];
    let mut put = |column: usize, rank: u8, mark: char, style: Style| {
        if let Some(old) = column.checked_sub(first).and_then(|x| line.get_mut(x))
            && rank > old.rank
        {
            *old = Column { rank, mark, style };
        }
    };
    for bar in scale.bar_of(first)..=scale.bar_of(end).min(scale.bars) + 1 {
        put(bar.min(scale.bars) * scale.bar_width(), 2, glyphs.bar_line, theme.faint());
    }
    let dim = |style: Style| if audible { style } else { theme.muted() };
    let spots = part.spots(context);
    let from = spots.partition_point(|s| scale.cell_column(s.beat, s.span, usize::from(s.span.cells)) <= first);
    let to = spots.partition_point(|s| scale.cell_column(s.beat, s.span, 0) < end).max(from);
    let mut onsets = CellMarks::new(onsets, &spots, from..to, context, state.band(layer));
    for spot in &spots[from..to] {
        for c in 0..usize::from(spot.span.cells) {
            let (from, to) =
                (scale.cell_column(spot.beat, spot.span, c), scale.cell_column(spot.beat, spot.span, c + 1));
            let index = spot.first + c;
            if let Some(onset) = onsets.at(index)
                && part.cell(index).attack().is_none()
            {
                put(from, 3, suggestion(theme, onset), theme.faint());
            }
            let held_on = part.cell(index + 1) == Cell::Hold && index + 1 < part.len(context);
            match part.cell(index) {
                Cell::Rest => put(from, 1, if c == 0 { glyphs.rest_on_beat } else { glyphs.rest }, theme.faint()),
                Cell::Hold => {
                    let style = dim(theme.attack());
                    let stop = if held_on { to } else { to - 1 };
                    (from..stop.max(from + 1)).for_each(|column| put(column, 2, glyphs.hold, style));
                }
                Cell::Attack(a) => {
                    let (mark, style) = match a.accent {
                        Accent::Ghost => (glyphs.ghost, theme.ghost()),
                        Accent::Soft => (glyphs.soft, theme.ghost()),
                        Accent::Plain => (glyphs.plain, theme.attack()),
                        Accent::Strong => (glyphs.strong, theme.attack()),
                        Accent::Accent => (glyphs.accent, theme.accent()),
                    };
                    put(from, 4 + a.accent as u8, mark, dim(style));
                    // Within its cell, where it cannot be taken for a part of the cell before.
                    let flam = usize::from(a.flam && to > from + 1);
                    if flam > 0 {
                        put(from + 1, 4, glyphs.flam, dim(style));
                    }
                    if held_on {
                        (from + 1..to).for_each(|column| put(column, 2, glyphs.hold, dim(theme.attack())));
                    }
                    let next = next_attack(state, layer, index);
                    let end = group_end(&spots, next, from, scale);
                    let room = end.saturating_sub(from + flam + 2);
                    if let Some(text) = labels(state, layer, index, next).into_iter().find(|text| text.len() <= room) {
                        for (column, c) in (from + flam + 1..).zip(text.chars()) {
                            put(column, 3, c, dim(theme.value()));
                        }
                    }
                }
            }
        }
    }
    // Every other beat is shaded, or every other group of an additive meter.
    let meter = &groove.sections()[section].meter;
    let heads = if meter.terms().len() > 1 { meter.strong_beats() } else { (1..meter.beats()).collect() };
    let is_shaded = |beat: usize| heads.partition_point(|head| *head <= beat) % 2 == 1;
    let selected = state.session.selection().filter(|r| r.layers.contains(&layer));
    let selected = selected.map(|r| (scale.time_column(r.from), end_column(scale, r.to)));
    for (x, cell) in line.iter().enumerate() {
        let column = first + x;
        let mut style = cell.style;
        let within = column % scale.bar_width();
        if column < scale.width() && within > 0 && is_shaded((within - 1) / scale.per_beat) {
            style = style.patch(theme.other_beat());
        }
        if selected.is_some_and(|(from, to)| (from..to).contains(&column)) {
            style = style.patch(theme.selected());
        }
        if cell.mark != ' ' || style != Style::new() {
            pen.put_char(layout.cells, x, row, cell.mark, style);
        }
    }
}

/// The labels of an attack, whose group ends before cell `next`, the longest first; the first one with room is drawn.
fn labels(state: &State, layer: usize, cell: usize, next: usize) -> Vec<String> {
    let (groove, section) = (state.shown_groove(), state.shown_section());
    let pitch = groove.cell(Place { layer, section, cell }).attack().and_then(|a| a.pitch).map(|p| p.to_string());
    match state.view.labels {
        Labels::None => Vec::new(),
        Labels::Pitches => pitch.into_iter().collect(),
        Labels::Groups => {
            let trailing = next == groove.cells(layer, section) && trailing_group(groove, layer, section).is_some();
            if next - cell < 2 || trailing {
                return Vec::new();
            }
            let group = (next - cell).to_string();
            pitch.map(|pitch| format!("{group} {pitch}")).into_iter().chain([group.clone()]).collect()
        }
    }
}

/// The length in cells of a layer's last group in a section, if it ends with more than a bar of rests and no other group is as long:
/// then it is the silence after the line, not a part of its pattern.
pub(crate) fn trailing_group(groove: &Groove, layer: usize, section: usize) -> Option<usize> {
    groove.layers().get(layer)?;
    let (part, context) = (groove.part(layer, section), groove.context(layer, section));
    let end = part.len(context);
    let sounding_end = (0..end).rev().find(|c| part.cell(*c) != Cell::Rest)? + 1;
    let s = &groove.sections()[section];
    let rests = s.length().minus(groove.written_at(Place { layer, section, cell: sounding_end }))?;
    if sounding_end == end || rests <= s.meter.bar() {
        return None;
    }
    let last = (0..sounding_end).rev().find(|c| part.cell(*c).attack().is_some())?;
    let mut next = last;
    let mut others = (0..last).rev().filter(|c| part.cell(*c).attack().is_some());
    others.all(|c| std::mem::replace(&mut next, c) - c < end - last).then_some(end - last)
}

/// The cell of the next attack in the section, or the number of cells.
fn next_attack(state: &State, layer: usize, cell: usize) -> usize {
    let (groove, section) = (state.shown_groove(), state.shown_section());
    let part = groove.part(layer, section);
    let end = part.len(groove.context(layer, section));
    (cell + 1..end).find(|c| part.cell(*c).attack().is_some()).unwrap_or(end)
}

/// The column after the group of an attack at column `from`, whose next attack is in cell `next`, or after its bar if the group is
/// longer. The spots are those of the whole section.
fn group_end(spots: &[Spot], next: usize, from: usize, scale: Scale) -> usize {
    let after_bar = (from / scale.bar_width() + 1) * scale.bar_width();
    let spot = spots.get(spots.partition_point(|s| s.first + usize::from(s.span.cells) <= next));
    spot.map_or(after_bar, |s| scale.cell_column(s.beat, s.span, next - s.first).min(after_bar))
}
