//! Sound on another machine: legs and the transport travel, of samples only those of the user's own sounds, once each.
//!
//! The first 16 bytes of each direction never change their form: magic, version, role. Every change of a message's form or meaning raises
//! `VERSION`. Both ends prove with HMAC-SHA-256 that they know the token, which is never sent; each message has a tag over its number.
//! List limits are checked while reading. Both ends send at least twice a second; three seconds of silence are a lost connection.

// Without a device there is only the editor's end.
#![cfg_attr(not(feature = "audio"), allow(dead_code))]

#[cfg(feature = "audio")]
mod desk;
#[cfg(feature = "audio")]
mod door;
mod editor;
mod few;
mod frame;
mod hello;
mod leg;
mod line;
mod meet;
mod message;
mod packed;
mod proof;
#[cfg(feature = "audio")]
mod said;
#[cfg(feature = "audio")]
mod sendings;
mod shelf;
#[cfg(feature = "audio")]
mod speaker;
#[cfg(feature = "audio")]
mod strangers;
#[cfg(all(test, feature = "audio"))]
mod tests;
mod track;
#[cfg(feature = "audio")]
mod visit;

pub(crate) use editor::RemotePlayer;
#[cfg(test)]
pub(crate) use hello::VERSION;
#[cfg(test)]
pub(crate) use meet::RemoteError;
pub(crate) use proof::Token;
#[cfg(feature = "audio")]
pub(crate) use said::Said;
pub(crate) use shelf::{SOUND, SOUNDS};
#[cfg(feature = "audio")]
pub(crate) use speaker::{Device, Speaker};

/// The port that is used when none is given.
pub(crate) const PORT: u16 = 7450;
