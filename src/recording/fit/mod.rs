//! Puts a recording on an exact grid: pure functions from the onsets of a recording to a clock and anchors, the same on every
//! machine.
//!
//! - [`align`] finds where a known groove is played, and at what tempo;
//! - [`propose`] finds tempos and meters of a recording nobody has written down;
//! - [`follow`] follows beats of a known tempo;
//! - [`marks`] fits a number of beats between two marks, [`taps`] beats that were tapped along;
//! - [`transcribe`] turns onsets with known beats into layers of cells.

pub mod align;
mod banded;
mod clock;
pub mod follow;
pub mod marks;
mod matching;
mod onset;
pub mod propose;
pub mod taps;
mod track;
pub mod transcribe;

pub use banded::Banded;
pub use clock::{Clock, Fit, FitOptions, FitPoint, fit_clock, fit_map};
pub use matching::match_one_to_one;
pub use onset::{Onset, median};
pub use track::{Direction, TrackOptions, TrackStart, Tracked, track};
