//! Mixes the recording under a loop, and lets that of the loop before fade out.

use super::{Renderer, release};
use crate::sound::track::Track;
use std::ops::Range;
use std::sync::Arc;

/// A track that fades out after its loop has been left.
#[derive(Debug)]
pub(super) struct LeavingTrack {
    track: Arc<Track>,
    pass: u64,
    frame: i64,
    /// Frames to its end.
    left: i64,
}

impl Renderer {
    /// Lets the track of the current loop fade out. Its owner keeps it until nothing else has it, so dropping it frees nothing.
    pub(super) fn leave_track(&mut self) {
        let Some(track) = self.schedule.as_ref().filter(|_| self.playing).and_then(|s| s.track.clone()) else { return };
        let (pass, at) = self.loop_time();
        let left = i64::from(release(self.rate));
        self.leaving = Some(LeavingTrack { track, pass: self.passes_before + pass, frame: at.frame, left });
    }

    /// Mixes the recording under the loop up to frame `to`, and what fades out of the one before.
    pub(super) fn mix_tracks(&mut self, block: Range<usize>, to: i64) {
        let step = 1.0 / release(self.rate) as f32;
        if let Some(leaving) = &mut self.leaving {
            let frames = leaving.left.min(to - self.now);
            let range = block.start..block.start + frames as usize;
            let fade = (leaving.left as f32 * step, -step);
            let (left, right) = (&mut self.left[range.clone()], &mut self.right[range]);
            leaving.track.mix(leaving.pass, leaving.frame, fade, left, right);
            (leaving.frame, leaving.left) = (leaving.frame + frames, leaving.left - frames);
            if leaving.left <= 0 {
                self.leaving = None;
            }
        }
        let mut pass = self.loop_time().0;
        let Some(schedule) = self.schedule.as_ref().filter(|s| self.playing && s.map.length.frame > 0) else { return };
        let Some(track) = &schedule.track else { return };
        let mut at = self.now;
        while at < to {
            let start = self.origin + schedule.map.pass_start(pass).0;
            let end = self.origin + schedule.map.pass_start(pass + 1).0;
            let heard = self.passes_before + pass;
            if heard >= self.max_passes {
                break;
            }
            let until = to.min(end);
            if at < until {
                let mixed = block.start + (at - self.now) as usize..block.start + (until - self.now) as usize;
                let audible = schedule.track_frames_in_pass(heard).saturating_sub(at - start).clamp(0, until - at);
                let range = mixed.start..mixed.start + audible as usize;
                let (left, right) = (&mut self.left[range.clone()], &mut self.right[range]);
                track.mix(heard, at - start, (self.track_gain, step), left, right);
                self.track_gain = (self.track_gain + step * (until - at) as f32).min(1.0);
                at = until;
            }
            pass += 1;
        }
    }
}
