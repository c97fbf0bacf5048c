//! Keys and the mouse: their names, and the commands they run.

mod command_search;
pub(crate) mod key;
pub(crate) mod key_time;
pub mod keymap;
pub(crate) mod mouse;

#[derive(Debug, Clone)]
pub(crate) struct InputState {
    pub keymap: keymap::Keymap,
    /// Moves extend the selection.
    pub is_selecting: bool,
    pub is_dragging: bool,
}
