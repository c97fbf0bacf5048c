//! Which columns and layers of the grid are shown.

use crate::terminal::state::State;

/// Scrolls as little as keeps the cursor in view, by whole bars where a bar fits.
pub(crate) fn show_cursor(state: &mut State) {
    let Some(layout) = state.layout() else { return };
    let cursor = state.session.cursor();
    let (scale, width) = (state.scale(), usize::from(layout.cells.width));
    let column = if cursor.past_end { scale.total() } else { scale.time(cursor.column) };
    // Room for the cell itself after its first column.
    show_column(state, column, width, 2);
    let rows = usize::from(layout.cells.height);
    let layer = cursor.place.layer;
    state.top_layer = state.top_layer.clamp((layer + 1).saturating_sub(rows), layer);
    state.top_layer = state.top_layer.min(state.groove().layers().len().saturating_sub(rows));
}

/// Turns to the page of the column that sounds, if its section is shown.
pub(crate) fn follow(state: &mut State) {
    let (Some(layout), Some(head)) = (state.layout(), state.play.head) else { return };
    let section = state.session.cursor().place.section;
    if head.section != section {
        return;
    }
    let beat = state.groove().sections()[section].meter.beat();
    let column = state.scale().near(head.wholes * beat.denom() as f64 / beat.numer() as f64);
    show_column(state, column, usize::from(layout.cells.width), 1);
}

/// Brings the cursor's bar to the left after a change of scale.
pub(crate) fn centre(state: &mut State) {
    state.scroll = 0;
    show_cursor(state);
}

fn show_column(state: &mut State, column: usize, width: usize, room: usize) {
    let scale = state.scale();
    let last = (scale.total() + 1).saturating_sub(width);
    state.scroll = state.scroll.min(last);
    if column < state.scroll || column + room > state.scroll + width {
        let bar = scale.bar_of(column) * scale.bar();
        // The bar of the column comes to the left; a bar wider than the window is turned by pages of it.
        let page = width.saturating_sub(scale.per_beat.min(width / 2)).max(1);
        let within = column - bar.min(column);
        state.scroll = (bar + within / page * page).min(last);
        if column + room > state.scroll + width {
            state.scroll = (column + room).saturating_sub(width);
        }
    }
}
