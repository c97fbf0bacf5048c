//! teeter: write a groove, see how it is built and why it is hard, find the pulses that may be heard as the beat instead, and play it.
#![forbid(unsafe_code)]

pub mod analysis;
pub mod cli;
pub mod config;
pub mod describe;
pub mod export;
pub mod import;
pub(crate) mod jobs;
pub mod manual;
pub mod notation;
pub mod recording;
pub mod rhythm;
pub(crate) mod session;
pub mod sound;
pub mod store;
pub mod terminal;
pub(crate) mod variation;
