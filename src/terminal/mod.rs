//! Keys to commands and state to cells: `update` without I/O, `view` without mutation. But for `run` within it, it must not know threads,
//! the disk, the terminal or the sound device.

mod action;
mod answer;
mod arrival;
mod clicks;
mod columns;
mod config;
mod copying;
mod encode;
mod event;
mod forms;
mod giving;
mod hearings;
mod importing;
mod key;
pub mod keymap;
mod layout;
mod lists;
mod mouse;
mod order;
mod overlay;
mod perform;
mod playing;
mod practice;
mod prompt;
mod question;
pub mod run;
mod saving;
mod scroll;
mod sounding;
mod state;
mod table;
mod tapping;
#[cfg(test)]
mod tests;
mod theme;
mod transport;
mod typing;
mod update;
mod view;

pub use action::{Action, Text};
pub use arrival::Arrival;
pub use config::{Config, ConfigError};
pub use event::{Effect, Event, Practised, Unsaved};
pub use key::Key;
pub use keymap::Keymap;
pub use layout::{LEAST_HEIGHT, LEAST_WIDTH};
pub use order::{Arrived, Choice, Length, Look, Mark, Offer, Offers, Order, Ungiven, What};
pub use playing::SPEED;
pub use question::Question;
pub use sounding::{Clicks, Head, Heard, Over, Playing, Pulses, SIDES, Sequence, Sounding, Switches, Take};
pub use state::State;
pub use table::{Group, Mode, Row, rows};
pub use theme::{Colours, Theme};
pub use update::{start, update};
pub use view::view;
