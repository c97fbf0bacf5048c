//! Renders a schedule into samples, for devices and files alike. After construction nothing here allocates or frees.

mod tracks;

use super::clock::FrameTime;
use super::limiter::{DELAY, Limiter};
use super::schedule::{Note, Schedule};
use super::units::{Frame, Gain, SampleRate};
use std::ops::Range;
use std::sync::Arc;
use tracks::LeavingTrack;

/// Most sounds that ring at once; another attack replaces the oldest.
const MAX_POLYPHONY: usize = 256;
/// Number of sounds from which an attack damps the oldest, so that it is silent before it is replaced.
const MAX_UNDAMPED: usize = MAX_POLYPHONY - 32;
/// Gain of the mix before the limiter: -2 dB, which leaves a mix of five layers near -21 dBFS RMS.
pub(super) const MIX_DB: f32 = -2.0;
/// Frames by which the output lags the schedule.
pub(super) const RENDER_LATENCY: usize = DELAY;

const BLOCK_FRAMES: usize = 256;
/// Rounding error, in frames, of a time carried from one loop to another.
const EPSILON_FRAMES: f64 = 1e-6;

/// Frames of the fade of a damped sound: 8 ms.
pub(super) fn release(rate: SampleRate) -> u32 {
    rate.hertz() / 125
}

#[derive(Debug)]
struct ActiveSound {
    samples: Arc<[f32]>,
    start: i64,
    /// Frame from which it is damped.
    damp_at: i64,
    left: f32,
    right: f32,
}

impl ActiveSound {
    fn end(&self, release: i64) -> i64 {
        (self.start + self.samples.len() as i64).min(self.damp_at.saturating_add(release))
    }
}

/// Renders the passes of a schedule into stereo samples.
#[derive(Debug)]
pub struct Renderer {
    schedule: Option<Box<Schedule>>,
    pub(super) playing: bool,
    /// Frames rendered so far, not counting the limiter's delay.
    pub(super) now: i64,
    /// Frame at which pass 0 began.
    origin: i64,
    /// Pass of the next note, start of that pass from `origin`, and index of the note.
    pass: u64,
    start: FrameTime,
    next: usize,
    /// Limit of the passes since the start; what rings after that decays naturally.
    pub(super) max_passes: u64,
    /// Passes completed before the last change of loop.
    passes_before: u64,
    sounds: Vec<ActiveSound>,
    leaving: Option<LeavingTrack>,
    /// Gain of the track of the current loop, which fades in.
    track_gain: f32,
    gain: f32,
    target: f32,
    limiter: Limiter,
    pub(super) rate: SampleRate,
    left: [f32; BLOCK_FRAMES],
    right: [f32; BLOCK_FRAMES],
}

impl Renderer {
    /// A silent renderer.
    pub fn new(rate: SampleRate) -> Self {
        let gain = Gain::from_db(MIX_DB).linear();
        Self {
            schedule: None,
            playing: false,
            now: 0,
            origin: 0,
            pass: 0,
            start: FrameTime::ZERO,
            next: 0,
            max_passes: u64::MAX,
            passes_before: 0,
            sounds: Vec::with_capacity(MAX_POLYPHONY),
            leaving: None,
            track_gain: 1.0,
            gain,
            target: gain,
            limiter: Limiter::new(),
            rate,
            left: [0.0; BLOCK_FRAMES],
            right: [0.0; BLOCK_FRAMES],
        }
    }

    /// Starts a schedule at a frame of its loop and returns the previous one. What rings is damped.
    pub fn play(&mut self, schedule: Box<Schedule>, from: Frame) -> Option<Box<Schedule>> {
        self.damp();
        let old = self.schedule.replace(schedule);
        self.playing = true;
        self.passes_before = 0;
        self.track_gain = 0.0;
        self.jump(from.0);
        old
    }

    /// Starts a schedule at a frame of its loop and returns the previous one. What rings continues.
    pub(super) fn follow(&mut self, schedule: Box<Schedule>, from: Frame) -> Option<Box<Schedule>> {
        self.start_rounded_notes();
        let old = self.schedule.replace(schedule);
        (self.playing, self.max_passes, self.passes_before) = (true, u64::MAX, 0);
        self.jump(from.0);
        old
    }

    /// Ends playback after this many passes, all of them rendered. What rings decays naturally.
    pub(super) fn finish(&mut self, passes: u64) {
        self.max_passes = passes;
        self.start_rounded_notes();
        (self.playing, self.max_passes) = (false, u64::MAX);
    }

    /// Starts notes of the ending loop that rounding moved onto the next frame.
    fn start_rounded_notes(&mut self) {
        while let Some((at, note)) = self.next_note(self.now + 1) {
            self.start_note(at, note);
        }
    }

    /// Replaces the schedule without a gap at the same position in the groove and returns the previous one. What rings
    /// continues. If only cells, voices or gains changed, the frame is kept exactly.
    pub(super) fn swap(&mut self, schedule: Box<Schedule>) -> Option<Box<Schedule>> {
        let map = &schedule.map;
        let jump = match &self.schedule {
            Some(old) if old.map.same_clock(map) => None,
            Some(old) => {
                let position = map.map_from(&old.map, self.loop_time().1.to_f64(old.map.denom));
                // A note half a frame or less before that position was rounded onto the next frame.
                let to = |(to, scale): (f64, f64)| (map.nearest_frame(to), to - scale / 2.0 - EPSILON_FRAMES);
                Some(position.map_or((Frame(0), 0.0), to))
            }
            None => Some((Frame(0), 0.0)),
        };
        let pass = self.passes() - self.passes_before;
        let track = |schedule: &Schedule| schedule.track.as_ref().map(Arc::as_ptr);
        if self.schedule.as_deref().and_then(track) != track(&schedule) || jump.is_some() {
            self.leave_track();
            self.track_gain = 0.0;
        }
        let old = self.schedule.replace(schedule);
        if let Some((frame, started)) = jump {
            self.passes_before += pass;
            self.jump(frame.0);
            self.skip_notes_before(started);
        } else {
            self.pass = pass;
            self.find_next_note();
        }
        old
    }

    /// Stops: nothing begins any more, what rings is damped.
    pub(super) fn stop(&mut self) {
        self.damp();
        self.playing = false;
    }

    /// Jumps to the start of pass `pass` as if all passes before it had been rendered.
    #[cfg(test)]
    pub(super) fn skip_to_pass(&mut self, pass: u64) {
        if let Some(schedule) = &self.schedule {
            self.sounds.clear();
            self.now = self.origin + schedule.map.pass_start(pass).0;
            self.pass = pass;
            self.find_next_note();
        }
    }

    /// Changes the gain of the mix within milliseconds.
    pub fn set_gain(&mut self, gain: Gain) {
        self.target = gain.linear();
    }

    #[cfg(test)]
    pub(super) fn is_silent(&self) -> bool {
        self.sounds.is_empty()
    }

    pub(super) fn schedule(&self) -> Option<&Schedule> {
        self.schedule.as_deref()
    }

    /// The next frame of the loop, rounded down.
    pub(super) fn frame(&self) -> Frame {
        Frame(self.loop_time().1.frame)
    }

    /// Completed passes since the start.
    pub(super) fn passes(&self) -> u64 {
        self.passes_before + self.loop_time().0
    }

    /// Length of the loop, rounded to whole frames.
    pub(super) fn length(&self) -> Frame {
        self.schedule.as_ref().map_or(Frame(0), |s| s.map.rounded_length())
    }

    /// Frames until pass `pass` begins, 0 if it has begun; `None` if the loop is shorter than a frame.
    pub(super) fn frames_until_pass(&self, pass: u64) -> Option<usize> {
        let schedule = self.schedule.as_ref().filter(|s| s.map.length.frame > 0)?;
        let start = self.origin.saturating_add(schedule.map.pass_start(pass.saturating_sub(self.passes_before)).0);
        Some(usize::try_from(start - self.now).unwrap_or(0))
    }

    /// The current pass since the last jump and the time in it. The next note may already belong to the pass after it.
    fn loop_time(&self) -> (u64, FrameTime) {
        let Some(schedule) = &self.schedule else { return (0, FrameTime::ZERO) };
        let denom = schedule.map.denom;
        let now = FrameTime { frame: self.now - self.origin, part: 0 };
        if now >= self.start || self.pass == 0 {
            return (self.pass, now.minus(self.start, denom).max(FrameTime::ZERO));
        }
        let before = self.start.minus(schedule.map.length, denom);
        (self.pass - 1, now.minus(before, denom).max(FrameTime::ZERO))
    }

    fn jump(&mut self, frame: i64) {
        let last = self.schedule.as_ref().map_or(0, |s| s.map.length.frame.max(0));
        self.origin = self.now - frame.clamp(0, last);
        self.pass = 0;
        self.find_next_note();
    }

    /// Finds the first note of the current pass that is not in the past.
    fn find_next_note(&mut self) {
        if let Some(schedule) = &self.schedule {
            let denom = schedule.map.denom;
            self.start = schedule.map.length.times(self.pass, denom);
            let (origin, start, now) = (self.origin, self.start, self.now);
            self.next = schedule.notes.partition_point(|n| origin + start.plus(n.at, denom).rounded(denom) < now);
        }
    }

    /// Skips notes before an unrounded frame of the loop: they started in the previous loop.
    fn skip_notes_before(&mut self, frame: f64) {
        if let Some(schedule) = &self.schedule {
            let denom = schedule.map.denom;
            self.next = schedule.notes.partition_point(|n| n.at.to_f64(denom) < frame);
        }
    }

    fn damp(&mut self) {
        self.leave_track();
        for sound in &mut self.sounds {
            sound.damp_at = sound.damp_at.min(self.now);
        }
    }

    /// Fills `out` with interleaved stereo samples; its length is even (an odd last sample is left as it is).
    pub fn render(&mut self, out: &mut [f32]) {
        let step = 100.0 / self.rate.hertz() as f32;
        for block in out.chunks_mut(2 * BLOCK_FRAMES) {
            let frames = block.len() / 2;
            self.mix(frames);
            let mixed = self.left.iter().zip(&self.right);
            for (pair, (left, right)) in block.chunks_exact_mut(2).zip(mixed) {
                if self.gain != self.target {
                    self.gain += (self.target - self.gain).clamp(-step, step);
                }
                let (left, right) = self.limiter.next(left * self.gain, right * self.gain);
                pair[0] = left;
                pair[1] = right;
            }
        }
    }

    fn mix(&mut self, frames: usize) {
        let base = self.now;
        let end = base + frames as i64;
        self.left[..frames].fill(0.0);
        self.right[..frames].fill(0.0);
        while let Some((at, note)) = self.next_note(end) {
            if self.sounds.len() >= MAX_UNDAMPED {
                self.mix_until(base, at);
                self.damp_oldest(at);
            }
            self.start_note(at, note);
        }
        self.mix_until(base, end);
    }

    /// Damps the oldest sounds from frame `at` until there is room again.
    fn damp_oldest(&mut self, at: i64) {
        let ringing = self.sounds.iter().filter(|s| s.damp_at > at).count();
        let excess = (ringing + 1).saturating_sub(MAX_UNDAMPED);
        self.sounds.iter_mut().filter(|s| s.damp_at > at).take(excess).for_each(|s| s.damp_at = at);
    }

    fn start_note(&mut self, at: i64, note: Note) {
        let Some(schedule) = &self.schedule else { return };
        if self.sounds.len() == MAX_POLYPHONY {
            self.sounds.remove(0);
        }
        self.sounds.push(ActiveSound {
            samples: Arc::clone(&schedule.sounds[note.sound as usize]),
            start: at,
            damp_at: if note.hold == u32::MAX { i64::MAX } else { at + i64::from(note.hold) },
            left: note.left,
            right: note.right,
        });
    }

    /// Mixes what rings up to frame `to`, in a block that began at frame `base`, and drops sounds that have ended.
    fn mix_until(&mut self, base: i64, to: i64) {
        let release = release(self.rate);
        let block = (self.now - base) as usize..(to - base) as usize;
        self.mix_tracks(block.clone(), to);
        for sound in &self.sounds {
            mix_sound(sound, self.now, &mut self.left[block.clone()], &mut self.right[block.clone()], release);
        }
        // Sounds keep their order, so that the sums are the same for every block size.
        self.sounds.retain(|s| s.end(i64::from(release)) > to);
        self.now = to;
    }

    /// The next note that begins before frame `end`, and its frame.
    fn next_note(&mut self, end: i64) -> Option<(i64, Note)> {
        let schedule = self.schedule.as_ref().filter(|_| self.playing)?;
        let (denom, length) = (schedule.map.denom, schedule.map.length);
        if length.frame < 1 {
            return None;
        }
        loop {
            let pass = self.passes_before + self.pass;
            if let Some(&note) = schedule.notes_in_pass(pass).get(self.next) {
                if !schedule.sounds_in_pass(&note, pass) {
                    self.next += 1;
                    continue;
                }
                let at = self.origin + self.start.plus(note.at, denom).rounded(denom);
                if at >= end || pass >= self.max_passes {
                    return None;
                }
                self.next += 1;
                return Some((at.max(self.now), note));
            }
            let after = self.start.plus(length, denom);
            if self.origin + after.frame >= end {
                return None;
            }
            (self.pass, self.start, self.next) = (self.pass + 1, after, 0);
        }
    }
}

/// Adds a sound to a block that starts at frame `from`.
fn mix_sound(sound: &ActiveSound, from: i64, left: &mut [f32], right: &mut [f32], release: u32) {
    let first = sound.start.max(from);
    let last = sound.end(i64::from(release)).min(from + left.len() as i64);
    let undamped = last.min(sound.damp_at).max(first);
    add_frames(sound, from, first..undamped, left, right, |_| 1.0);
    let damped = undamped - sound.damp_at;
    add_frames(sound, from, undamped..last, left, right, |k| 1.0 - (damped + k as i64) as f32 / release as f32);
}

/// Adds a range of frames of a sound with a gain for each of them.
#[inline]
fn add_frames(
    sound: &ActiveSound,
    from: i64,
    frames: Range<i64>,
    left: &mut [f32],
    right: &mut [f32],
    gain: impl Fn(usize) -> f32,
) {
    if frames.is_empty() {
        return;
    }
    let relative_to = |origin: i64| (frames.start - origin) as usize..(frames.end - origin) as usize;
    let outs = left[relative_to(from)].iter_mut().zip(&mut right[relative_to(from)]);
    for (k, ((l, r), x)) in outs.zip(&sound.samples[relative_to(sound.start)]).enumerate() {
        let x = x * gain(k);
        *l += x * sound.left;
        *r += x * sound.right;
    }
}
