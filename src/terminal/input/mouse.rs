//! The mouse on the grid: a click moves, a drag selects, the wheel moves by beats and bars.

use crate::rhythm::Place;
use crate::session::{Command, Motion};
use crate::terminal::lists::{Step, navigate};
use crate::terminal::{Overlay, State, run_command};
use ratatui::crossterm::event::{KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ratatui::layout::Position;

pub(crate) fn on_mouse(state: &mut State, event: MouseEvent) {
    if state.overlay != Overlay::None {
        return match event.kind {
            MouseEventKind::ScrollUp => navigate(state, Step::Lines(-1)),
            MouseEventKind::ScrollDown => navigate(state, Step::Lines(1)),
            _ => {}
        };
    }
    let place = place(state, event.column, event.row);
    match (event.kind, place) {
        (MouseEventKind::Down(MouseButton::Left), Some(place)) => {
            state.input.is_dragging = true;
            let motion = Motion::To(place);
            let select = event.modifiers.contains(KeyModifiers::SHIFT);
            run_command(state, if select { Command::Extend(motion) } else { Command::Move(motion) });
        }
        (MouseEventKind::Drag(MouseButton::Left), Some(place))
            if state.input.is_dragging && place != state.session.cursor().place =>
        {
            run_command(state, Command::Extend(Motion::To(place)));
        }
        (MouseEventKind::Up(_), _) => state.input.is_dragging = false,
        (MouseEventKind::ScrollUp, _) => run_command(state, Command::Move(Motion::BeatLeft)),
        (MouseEventKind::ScrollDown, _) => run_command(state, Command::Move(Motion::BeatRight)),
        (MouseEventKind::ScrollLeft, _) => run_command(state, Command::Move(Motion::BarLeft)),
        (MouseEventKind::ScrollRight, _) => run_command(state, Command::Move(Motion::BarRight)),
        _ => {}
    }
}

/// The cell at a position of the window.
fn place(state: &State, column: u16, row: u16) -> Option<Place> {
    let layout = state.layout()?;
    let at = Position::new(column, row);
    let section = state.shown_section();
    let mut systems = (0..layout.systems).map(|k| layout.system(k));
    let layout = systems.find(|l| l.cells.contains(at) || l.names.contains(at))?;
    let on_names = layout.names.contains(at);
    let layer = state.view.top_layer + usize::from(row - layout.cells.y);
    if layer >= state.groove().layers().len() {
        return None;
    }
    let time = if on_names {
        state.session.cursor().column
    } else {
        state.scale().time_at(layout.first_column + usize::from(column - layout.cells.x))
    };
    let cell = state.groove().part(layer, section).cell_at(time, state.groove().context(layer, section));
    Some(Place { layer, section, cell })
}
