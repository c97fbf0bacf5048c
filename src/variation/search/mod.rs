//! Searches for lines of groups: the lines nearest to a wanted pulse, found exactly, with how many there are.
//!
//! [`request`] says what is asked and lays figures into the length, [`exact`] finds the nearest ones, [`count`] counts all of them, and
//! [`places`] reads places of a section from words.

pub(crate) mod count;
mod exact;
pub(crate) mod figure;
pub(crate) mod places;
pub(crate) mod request;
#[cfg(test)]
mod tests;
