//! The editor: `update` applies an event to the state and returns effects, `view` draws the state. Only `shell` uses threads, the
//! disk, the terminal and the output device; the rest must not know them.
//!
//! The table of commands gives the keys their actions, and the help, the searched list and the manual their entries. Slow work goes
//! to worker threads, each of which takes the newest request; taps go through a channel, because every tap counts.

mod anchors;
mod commands;
mod confirmation;
mod dispatch;
mod event;
mod files;
mod grid_search;
mod hearings;
mod help;
mod input;
mod lists;
mod manual;
mod overlay;
mod playback;
mod prompts;
mod recording;
mod scroll;
mod search;
mod sections;
pub mod shell;
mod state;
#[cfg(test)]
mod tests;
mod transcription;
mod update;
mod variants;
mod view;

pub use event::{Effect, Event};
pub use input::key_time::KeyTime;
pub use input::keymap::{self, Keymap};
pub use state::State;
pub use update::{start, update};
pub use view::theme::{Background, Colours, Theme};
pub use view::view;

// Names that most files here use.
use commands::{Action, CommandSpec, Mode};
use confirmation::Confirmation;
use dispatch::run_command;
use input::key::Key;
use overlay::Overlay;
use playback::transport::replay;
use prompts::ask;
use prompts::question::Question;
use prompts::typing::TextField;
use state::Message;
