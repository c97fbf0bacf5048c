//! The editor: `update` turns events into a new state and effects, `view` draws the state. Only `shell` within it touches
//! threads, the disk, the terminal or the sound device; the rest must not know them.
//!
//! A row of the table of commands gives a key its action, the help its line, the searched list its entry and the manual its table. Slow
//! work goes to workers behind slots that keep the newest request; taps go through a channel, because every tap counts.

mod action;
mod commands;
mod config;
mod dispatch;
mod event;
mod files;
mod hearings;
mod input;
mod lists;
mod manual;
mod order;
mod overlay;
mod playback;
mod prompts;
mod scroll;
pub mod shell;
mod state;
#[cfg(test)]
mod tests;
mod update;
mod view;

/// Long work in the background.
pub mod run {
    mod config;
    mod give;
    pub mod handout;
    pub(crate) mod playing;
    pub(crate) mod sounds;
    pub mod takes;
    pub mod watch;

    pub use config::{ConfigRefused, config};
    pub(crate) use give::Giver;
    pub use give::offers;
    pub use sounds::Sounds;
}

pub use action::{Action, Text};
pub use commands::{Group, Mode, Row, rows};
pub use config::{Config, ConfigError};
pub use event::{Effect, Event, Practised, Unsaved};
pub use input::key::Key;
pub use input::key_time::Arrival;
pub use input::keymap::{self, Keymap};
pub use manual::Direction;
pub use order::{Arrived, Choice, Length, Look, Mark, Offer, Offers, Order, Ungiven, What};
pub use playback::playing::SPEED;
pub use playback::request::{Clicks, Head, Heard, Over, Playing, Pulses, SIDES, Sequence, Sounding, Switches, Take};
pub use prompts::question::Question;
pub use state::State;
pub use update::{start, update};
pub use view::layout::{LEAST_HEIGHT, LEAST_WIDTH};
pub use view::theme::{Colours, Theme};
pub use view::view;
