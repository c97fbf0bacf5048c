//! Keys and the mouse: what they are called and what they ask for.

pub(crate) mod key;
pub(crate) mod key_time;
pub mod keymap;
pub(crate) mod mouse;
