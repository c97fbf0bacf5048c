//! The editor: `update` turns events into a new state and effects, `view` draws the state. Only `shell` within it touches
//! threads, the disk, the terminal or the sound device; the rest must not know them.
//!
//! A row of the table of commands gives a key its action, the help its line, the searched list its entry and the manual its table. Slow
//! work goes to workers behind slots that keep the newest request; taps go through a channel, because every tap counts.

mod action;
mod commands;
mod dispatch;
mod event;
mod files;
mod hearings;
mod input;
mod lists;
mod manual;
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

#[cfg(test)]
pub(crate) use action::{Action, Text};
#[cfg(test)]
pub(crate) use commands::{Mode, rows};
pub use event::{Effect, Event};
pub(crate) use event::{Practised, SaveFailed};
pub use input::key_time::KeyTime;
pub use input::keymap::{self, Keymap};
pub(crate) use playback::playing::SoundLevels;
pub(crate) use playback::request::{Head, Heard};
#[cfg(test)]
pub(crate) use prompts::question::Question;
pub(crate) use state::Message;
pub use state::State;
pub use update::{start, update};
pub use view::theme::{Colours, Theme};
pub use view::view;
