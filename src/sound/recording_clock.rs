//! Lays a loop over a recording: its times follow the recording's anchors instead of the written tempos.

use super::clock::FrameTime;
use super::position::{Piece, PositionMap};
use super::schedule::Schedule;
use super::units::SampleRate;
use crate::rhythm::{AnchorMap, Fraction};

/// Parts of a frame, as a power of two. A nanosecond is about 2^-14 frames.
const PART_BITS: u32 = 32;
const NANOS: f64 = 1e9;

/// The clock of a loop that lies over a recording.
#[derive(Debug, Clone)]
pub(super) struct RecordingClock {
    pub(super) anchors: AnchorMap,
    /// Score time at the start of the loop.
    pub(super) start: i64,
    pub(super) speed: Fraction,
    pub(super) rate: SampleRate,
}

impl RecordingClock {
    /// The time of the recording at the start of the loop, in nanoseconds.
    pub(super) fn recording_start(&self) -> i64 {
        self.anchors.recording_time(self.start)
    }

    /// The frame of the loop at frames from its start at the written tempo.
    fn frame(&self, written: f64) -> f64 {
        let score = self.start.saturating_add((written / f64::from(self.rate.hertz()) * NANOS).round() as i64);
        let nanos = self.anchors.recording_time(score).saturating_sub(self.recording_start());
        let speed = self.speed.numer() as f64 / self.speed.denom() as f64;
        nanos as f64 / NANOS / speed * f64::from(self.rate.hertz())
    }

    /// Frames from the start of the loop at the written tempo to a score time.
    fn written(&self, score: i64) -> f64 {
        score.saturating_sub(self.start) as f64 / NANOS * f64::from(self.rate.hertz())
    }

    /// The same loop, built at full speed, over the recording.
    pub(super) fn apply(&self, mut schedule: Schedule) -> Schedule {
        let old = schedule.map.denom;
        for note in &mut schedule.notes {
            let from = note.at.to_f64(old);
            let at = self.frame(from);
            if note.hold != u32::MAX {
                let length = self.frame(from + f64::from(note.hold)) - at;
                note.hold = length.round().clamp(1.0, f64::from(u32::MAX - 1)) as u32;
            }
            note.at = frame_time(at);
        }
        // Rounding may have put two notes in another order.
        schedule.notes.sort_by_key(|n| n.at);
        let end = schedule.map.length.to_f64(old);
        let mut pieces = Vec::new();
        for (k, piece) in schedule.map.pieces.iter().enumerate() {
            let from = piece.start.to_f64(old);
            let to = schedule.map.pieces.get(k + 1).map_or(end, |next| next.start.to_f64(old));
            let knots = self.anchors.knots().iter().map(|(score, _)| self.written(*score));
            let mut cuts: Vec<f64> = knots.filter(|cut| *cut > from + 1.0 && *cut < to - 1.0).collect();
            cuts.insert(0, from);
            cuts.push(to);
            let wholes = |written: f64| piece.from + (written - from) / piece.frames_per_whole;
            for pair in cuts.windows(2) {
                let (start, length) = (self.frame(pair[0]), self.frame(pair[1]) - self.frame(pair[0]));
                let (first, last) = (wholes(pair[0]), wholes(pair[1]).min(piece.to));
                let frames_per_whole = length / (last - first);
                pieces.push(Piece { start: frame_time(start), from: first, to: last, frames_per_whole, ..*piece });
            }
        }
        let map = PositionMap { pieces, length: frame_time(self.frame(end)), denom: 1 << PART_BITS };
        schedule.map = map.into();
        schedule
    }
}

fn frame_time(frames: f64) -> FrameTime {
    let frames = frames.max(0.0);
    let frame = frames.floor();
    let part = ((frames - frame) * (1_i64 << PART_BITS) as f64).round() as i128;
    FrameTime { frame: frame as i64, part: part.min((1 << PART_BITS) - 1) }
}
