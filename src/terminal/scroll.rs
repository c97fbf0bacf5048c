//! Scrolls the grid to the cursor or the playhead.

use crate::terminal::transcription::seconds;
use crate::terminal::view::Layout;
use crate::terminal::{State, transcription};

/// Shows the cursor's section, and scrolls as little as necessary to show the cursor, by whole bars if a bar fits.
pub(crate) fn show_cursor(state: &mut State) {
    state.view.followed_section = None;
    let Some(layout) = state.layout() else { return };
    let cursor = state.session.cursor();
    let scale = state.scale();
    let column = if cursor.past_end { scale.width() } else { scale.time_column(cursor.column) };
    // The first column of the cell and the one after it.
    show_column(state, &layout, column, 2);
    let rows = usize::from(layout.cells.height);
    let layer = cursor.place.layer;
    state.view.top_layer = state.view.top_layer.clamp((layer + 1).saturating_sub(rows), layer);
    state.view.top_layer = state.view.top_layer.min(state.groove().layers().len().saturating_sub(rows));
}

/// Shows the section of the playhead, and scrolls to it. The cursor stays where it is.
pub(crate) fn follow_playhead(state: &mut State) {
    seconds::follow_playhead(state);
    let Some(position) = state.playback.position else { return };
    let Some(beats) = state.beats(position) else { return };
    state.view.followed_section = Some(position.section);
    let Some(layout) = state.layout() else { return };
    let column = state.scale().nearest_column(beats);
    show_column(state, &layout, column, 1);
}

/// Changes the width of the columns, and scrolls the cursor's bar to the left. Before there is an anchor it changes those of the
/// recording's lane instead.
pub(crate) fn zoom_by(state: &mut State, by: i32) {
    if transcription::zoom_by(state, by) {
        return;
    }
    state.view.zoom = (state.view.zoom + by).clamp(-4, 2);
    state.view.scroll = 0;
    show_cursor(state);
}

fn show_column(state: &mut State, layout: &Layout, column: usize, room: usize) {
    let (scale, width) = (state.scale(), layout.visible_columns());
    if layout.systems > 1 {
        // Whole bars: those before the last ones that fill the systems.
        let visible = width / scale.bar_width();
        let first = (state.view.scroll / scale.bar_width()).min(scale.bars.saturating_sub(visible));
        let bar = scale.bar_of(column);
        let first =
            if (first..first + visible).contains(&bar) { first } else { bar.min(scale.bars.saturating_sub(visible)) };
        state.view.scroll = first * scale.bar_width();
        return;
    }
    let last = (scale.width() + 1).saturating_sub(width);
    state.view.scroll = state.view.scroll.min(last);
    if column < state.view.scroll || column + room > state.view.scroll + width {
        let bar = scale.bar_of(column) * scale.bar_width();
        // The bar of the column goes to the left; a bar wider than the window is scrolled by pages.
        let page = width.saturating_sub(scale.per_beat.min(width / 2)).max(1);
        let within = column - bar.min(column);
        state.view.scroll = (bar + within / page * page).min(last);
        if column + room > state.view.scroll + width {
            state.view.scroll = (column + room).saturating_sub(width);
        }
    }
}
