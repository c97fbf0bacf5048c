//! Keys to commands and state to cells: `update` without I/O, `view` without mutation; only `run` and `world` touch the
//! terminal, threads, disk and sound.

mod action;
mod arrival;
mod columns;
mod config;
mod copying;
mod encode;
mod event;
mod giving;
mod key;
pub mod keymap;
mod layout;
mod lists;
mod mouse;
mod order;
mod practice;
mod prompt;
pub mod run;
mod saving;
mod scroll;
mod state;
mod table;
mod tapping;
#[cfg(test)]
mod tests;
mod theme;
mod typing;
mod update;
mod view;

pub use action::{Action, Question, Text};
pub use arrival::Arrival;
pub use config::{Config, ConfigError};
pub use event::{Clicks, Effect, Event, Head, Heard, Over, Playing, Practised, Pulses, SIDES, Sequence, Take, Unsaved};
pub use key::Key;
pub use keymap::Keymap;
pub use layout::{LEAST_HEIGHT, LEAST_WIDTH};
pub use order::{Arrived, Choice, Length, Look, Mark, Offer, Offers, Order, Ungiven, What};
pub use state::{SPEED, State};
pub use table::{Group, Mode, Row, rows};
pub use theme::{Colours, Theme};
pub use update::{start, update};
pub use view::view;
