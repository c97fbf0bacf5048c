//! Maps positions in the groove to frames of a loop and back.

use super::clock::FrameTime;
use super::units::Frame;
use serde::{Deserialize, Serialize};

/// Difference, in frames, up to which two times are the same.
const EPSILON_FRAMES: f64 = 1e-12;

/// A position in the groove: section, pass through it, and whole notes from its start.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Position {
    pub section: usize,
    pub pass: usize,
    /// Whole notes from the section's start, rounded.
    pub wholes: f64,
}

/// The position that is heard.
#[cfg(feature = "audio")]
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Playhead {
    pub position: Position,
    /// Completed passes of the loop.
    pub loop_pass: u64,
    /// Id of the segment that is heard.
    pub segment: u64,
}

/// A part of the loop within one pass through a section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    /// Start in the loop.
    pub(super) start: FrameTime,
    pub(super) section: usize,
    pub(super) pass: usize,
    /// First and last position in whole notes of the section.
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) frames_per_whole: f64,
}

impl Piece {
    /// The unrounded frame of a position, which is clamped to the piece.
    fn frame(&self, wholes: f64, denom: i128) -> f64 {
        let wholes = if wholes.is_finite() { wholes.clamp(self.from, self.to) } else { self.from };
        self.start.to_f64(denom) + (wholes - self.from) * self.frames_per_whole
    }
}

/// The pieces of a loop in order, and the length of the loop.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PositionMap {
    pub(super) pieces: Vec<Piece>,
    pub(super) length: FrameTime,
    pub(super) denom: i128,
}

impl PositionMap {
    /// The position at a frame of the loop, modulo its length.
    #[cfg(any(feature = "audio", test))]
    pub(super) fn position(&self, frame: Frame) -> Position {
        self.locate(frame.0 as f64).0
    }

    /// The same for an unrounded frame, with its piece.
    fn locate(&self, frame: f64) -> (Position, Option<&Piece>) {
        let length = self.length.to_f64(self.denom);
        let at = if length > 0.0 { frame.rem_euclid(length) } else { 0.0 };
        let after = self.pieces.partition_point(|p| p.start.to_f64(self.denom) <= at);
        let piece = self.pieces.get(after.saturating_sub(1));
        let position = match piece {
            Some(p) => {
                let wholes = p.from + (at - p.start.to_f64(self.denom)) / p.frames_per_whole;
                Position { section: p.section, pass: p.pass, wholes: wholes.clamp(p.from, p.to) }
            }
            None => Position::default(),
        };
        (position, piece)
    }

    /// The unrounded frame with the same position as frame `at` of another loop, and the length in frames here of one frame
    /// there. `None` if the section is not in this loop.
    pub(super) fn map_from(&self, other: &Self, at: f64) -> Option<(f64, f64)> {
        let (position, old) = other.locate(at);
        let new = self.piece(position)?;
        Some((new.frame(position.wholes, self.denom), new.frames_per_whole / old?.frames_per_whole))
    }

    /// The frame of a position. A later pass than the last one becomes the last; whole notes are clamped to the piece. `None` if
    /// the section is not in the loop.
    #[cfg(any(feature = "audio", test))]
    pub(super) fn frame(&self, position: Position) -> Option<Frame> {
        Some(self.nearest_frame(self.piece(position)?.frame(position.wholes, self.denom)))
    }

    /// The piece with this position, or the nearest one of its section.
    fn piece(&self, position: Position) -> Option<&Piece> {
        let first = self.pieces.partition_point(|p| p.section < position.section);
        let rest = self.pieces[first..].iter().take_while(|p| p.section == position.section);
        let pass = rest.clone().take_while(|p| p.pass <= position.pass.max(self.pieces[first].pass)).last()?.pass;
        // A pass over a recording has a piece for every anchor.
        let mut pieces = rest.filter(|p| p.pass == pass);
        let head = pieces.next()?;
        Some(pieces.take_while(|p| p.from <= position.wholes).last().unwrap_or(head))
    }

    /// The unrounded frame of whole notes from the start of the first section, in its first pass.
    pub(super) fn frame_in_first_pass(&self, wholes: f64) -> f64 {
        let Some(first) = self.pieces.first() else { return 0.0 };
        let position = Position { section: first.section, pass: first.pass, wholes };
        self.piece(position).map_or(0.0, |piece| piece.frame(wholes, self.denom))
    }

    /// The nearest whole frame of the loop.
    pub(super) fn nearest_frame(&self, frame: f64) -> Frame {
        let last = (self.length.to_f64(self.denom).ceil() as i64 - 1).max(0);
        Frame((frame.round() as i64).clamp(0, last))
    }

    /// Length of the loop, rounded to whole frames.
    pub(super) fn rounded_length(&self) -> Frame {
        Frame(self.length.rounded(self.denom))
    }

    /// The whole frame at which pass `pass` begins.
    pub(super) fn pass_start(&self, pass: u64) -> Frame {
        Frame(self.length.times(pass, self.denom).rounded(self.denom))
    }

    /// Whether every position has the same exact frame as in `other`.
    pub(super) fn same_clock(&self, other: &Self) -> bool {
        // The denominators may differ (an edit added a tuplet). Different tempos differ by much more than the tolerance.
        let part = |time: FrameTime, denom: i128| time.part as f64 / denom as f64;
        let same = |a: FrameTime, b: FrameTime| {
            a.frame == b.frame && (part(a, self.denom) - part(b, other.denom)).abs() < EPSILON_FRAMES
        };
        same(self.length, other.length)
            && self.pieces.len() == other.pieces.len()
            && self
                .pieces
                .iter()
                .zip(&other.pieces)
                .all(|(a, b)| same(a.start, b.start) && Piece { start: b.start, ..*a } == *b)
    }
}
