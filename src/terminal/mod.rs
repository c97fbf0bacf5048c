//! Keys to commands and state to cells: `update` without I/O, `view` without mutation; only `run` and `world` touch the
//! terminal, threads, disk and sound.

mod action;
mod arrival;
mod columns;
mod config;
mod encode;
mod event;
mod key;
pub mod keymap;
mod layout;
mod lists;
mod mouse;
mod prompt;
pub mod run;
mod saving;
mod scroll;
mod state;
pub mod streams;
mod table;
pub mod tap_words;
mod tapping;
#[cfg(test)]
mod tests;
mod theme;
mod typing;
mod update;
mod view;
pub mod words;

pub use action::{Action, Question};
pub use arrival::Arrival;
pub use config::{Config, ConfigError};
pub use event::{Effect, Event, Head, Heard, Over, Playing, Unsaved};
pub use key::Key;
pub use keymap::Keymap;
pub use layout::{LEAST_HEIGHT, LEAST_WIDTH};
pub use state::{SPEED, State};
pub use table::{Group, Mode, Row, rows};
pub use theme::{Colours, Theme};
pub use update::{start, update};
pub use view::view;
