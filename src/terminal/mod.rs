//! Keys to commands and state to cells: `update` without I/O, `view` without mutation; only `run` and `world` touch the
//! terminal, threads, disk and sound.

mod action;
mod key;
pub mod keymap;
mod table;

pub use action::{Action, Question};
pub use key::Key;
pub use keymap::Keymap;
pub use table::{Group, Mode, Row, rows};
