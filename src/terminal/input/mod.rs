//! Keys and the mouse: what they are called and what they ask for. It must not know what is done with it.

pub(crate) mod key;
pub(crate) mod key_time;
pub mod keymap;
pub(crate) mod mouse;
