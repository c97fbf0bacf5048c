//! Puts a recording on an exact grid: pure functions from the onsets of a recording to a clock and anchors, the same on every
//! machine.
//!
//! [`align`] finds where a known groove is played, and at what tempo.

pub mod align;
mod banded;
mod clock;
mod matching;
mod onset;
mod track;

pub use banded::Banded;
pub use clock::{Clock, Fit, FitOptions, FitPoint, fit_clock, fit_map};
pub use matching::match_one_to_one;
pub use onset::{Onset, median};
pub use track::{Direction, TrackOptions, TrackStart, Tracked, track};
