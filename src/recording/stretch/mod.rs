//! Plays a part of a recording slower, faster or transposed, with its attacks in their exact places.
//!
//! The signal is cut at its attacks. The beginning of each piece is copied unchanged to the place where the attack belongs, so
//! attacks keep their sharpness; the rest of the piece is stretched by a phase vocoder that sees nothing of the attacks before
//! and after it, so nothing of them is smeared. It must not know paths, threads, the session, the screen or the store.

mod feed;
mod filter;
mod settings;
mod transient;
mod vocoder;

#[cfg(test)]
mod tests;

pub(crate) use settings::{Band, Settings, StretchError, Voice};

use feed::Feed;
use std::io;
use std::ops::Range;
use std::sync::Arc;
use transient::Transients;
use vocoder::Vocoder;

/// Samples of a recording that can be read anywhere.
pub(crate) trait Frames: Send + Sync {
    /// Frames per second.
    fn rate(&self) -> u32;

    /// 1 or 2.
    fn channels(&self) -> usize;

    /// Number of frames.
    fn len(&self) -> u64;

    /// Reads interleaved frames from `start` on; frames after the end are zero.
    ///
    /// # Errors
    /// Whatever prevents reading.
    fn read(&self, start: u64, into: &mut [f32]) -> io::Result<()>;
}

/// Seconds of an attack that are copied unchanged, at most.
const HEAD_SECONDS: f64 = 0.04;
/// Seconds over which the copied part passes into the stretched one, at most.
const BLEND_SECONDS: f64 = 0.01;
/// Seconds before an attack that are copied too, because an attack may begin before the place found for it, and seconds of these
/// over which the piece before fades out.
const LEAD_SECONDS: f64 = 0.004;
const FADE_SECONDS: f64 = 0.002;
/// Length of the vocoder's window: shorter ones break low tones into pulses, longer ones smear decays.
const WINDOW_SECONDS: f64 = 0.064;
/// Attacks nearer than this are one.
const APART_SECONDS: f64 = 0.001;

/// A piece from one attack to the next. Places in the source count prepared frames.
#[derive(Debug, Clone, Copy)]
struct Piece {
    source: i64,
    output: i64,
    /// Frames copied at the beginning, the last `blend` of which pass into the stretched ones.
    head: i64,
    blend: i64,
    /// The frame of the output, from the beginning of the piece, from which on the map is exact again.
    merge: i64,
    /// The next attack or the end of the region: its place in the source and in the output.
    next: Option<(i64, i64)>,
}

/// A part of a recording being stretched.
///
/// Frame `f` of the output, in the rate of the source, is frame `start + f * speed` of the source, exactly so at attacks. After an attack, which is copied
/// unchanged, the map is left for at most 0.4 s of the output and by at most 40 ms of the source.
pub(crate) struct Stretch {
    feed: Feed,
    transients: Transients,
    vocoder: Vocoder,
    /// Prepared frames per frame of the output.
    speed: f64,
    total: i64,
    /// Prepared frames in the region.
    length: i64,
    rate: f64,
    at: i64,
    piece: Piece,
    /// Where the next frame of the vocoder lies, from the beginning of the piece.
    center: i64,
}

impl Stretch {
    /// Prepares to stretch `region` of `source`. `attacks` are frames of the source, in rising order, where an attack is known to
    /// be; others are found here.
    ///
    /// # Errors
    /// [`StretchError`] for a region or settings out of range.
    pub(crate) fn new(
        source: Arc<dyn Frames>,
        region: Range<u64>,
        settings: &Settings,
        attacks: &[u64],
    ) -> Result<Self, StretchError> {
        settings.check(&*source, &region)?;
        let rate = settings.output_rate(source.rate());
        let pitch = settings.pitch(source.rate());
        let speed = settings.step(source.rate());
        let length = (region.end - region.start) as f64;
        let feed = Feed::new(source, &region, settings)?;
        let channels = feed.channels();
        let prepared = |frame: &u64| ((*frame - region.start) as f64 / pitch).round() as i64;
        let given = attacks.iter().filter(|frame| region.contains(frame)).map(prepared).collect();
        let transients = Transients::new(rate, channels, feed.end(), given);
        let mut stretch = Self {
            vocoder: Vocoder::new((WINDOW_SECONDS * rate).round() as usize, channels),
            feed,
            transients,
            speed: speed / pitch,
            total: (length / speed).round() as i64,
            length: (length / pitch).round() as i64,
            rate,
            at: 0,
            piece: Piece { source: 0, output: 0, head: 0, blend: 0, merge: 0, next: None },
            center: 0,
        };
        stretch.begin(0, 0)?;
        Ok(stretch)
    }

    /// Number of frames of the whole output.
    pub(crate) fn frames(&self) -> u64 {
        self.total as u64
    }

    /// 1 or 2.
    pub(crate) fn channels(&self) -> usize {
        self.feed.channels()
    }

    /// Makes the next interleaved frames and returns how many; fewer than fit only at the end.
    ///
    /// # Errors
    /// [`StretchError::Source`] if the source cannot be read.
    pub(crate) fn read(&mut self, into: &mut [f32]) -> Result<usize, StretchError> {
        let channels = self.channels();
        let wanted = (into.len() / channels) as i64;
        let end = (self.at + wanted).min(self.total);
        let start = self.at;
        for frame in into.chunks_exact_mut(channels).take((end - start) as usize) {
            self.make(frame)?;
        }
        Ok((end - start) as usize)
    }

    fn seconds(&self, seconds: f64) -> i64 {
        (seconds * self.rate).round() as i64
    }

    /// Starts the piece whose attack lies at `source` and is to sound at `output`.
    fn begin(&mut self, source: i64, output: i64) -> Result<(), StretchError> {
        let head = self.seconds(HEAD_SECONDS);
        self.piece = Piece { source, output, head, blend: 0, merge: 0, next: None };
        self.look(source + 2 * head)?;
        if let Some((next, next_output)) = self.piece.next {
            self.piece.head = head.min((next - source) / 2).min((next_output - output) / 2);
        }
        let head = self.piece.head;
        self.piece.blend = self.seconds(BLEND_SECONDS).min(head / 2);
        let merge = if self.speed < 1.0 { 2.0 * head as f64 / self.speed } else { 3.0 * head as f64 };
        self.piece.merge = merge as i64;
        self.vocoder.reset();
        self.center = head - self.piece.blend;
        self.transients.forget(source);
        Ok(())
    }

    /// Makes sure that the piece's next attack is known if it lies before `until`.
    fn look(&mut self, until: i64) -> Result<(), StretchError> {
        if self.piece.next.is_some() {
            return Ok(());
        }
        while self.transients.known() < until {
            self.feed.prepare(self.transients.known().max(self.feed.end()) + self.transients.lookahead())?;
            self.transients.advance(&self.feed);
        }
        let after = self.piece.source + self.seconds(APART_SECONDS);
        self.piece.next = match self.transients.after(after) {
            Some(next) if next < self.length => Some((next, (next as f64 / self.speed).round() as i64)),
            _ if until > self.length => Some((self.length, self.total)),
            _ => None,
        };
        Ok(())
    }

    /// The place in the source of a frame of the output, both from the beginning of the piece.
    fn map(&self, frame: i64) -> f64 {
        let Piece { head, merge, .. } = self.piece;
        let merge = self.piece.next.map_or(merge, |(_, next)| merge.min(next - self.piece.output));
        if frame <= head {
            frame as f64
        } else if frame < merge {
            let (from, to) = (head as f64, merge as f64 * self.speed);
            from + (to - from) * (frame - head) as f64 / (merge - head) as f64
        } else {
            frame as f64 * self.speed
        }
    }

    fn make(&mut self, into: &mut [f32]) -> Result<(), StretchError> {
        if self.speed == 1.0 {
            self.feed.prepare(self.at + 1)?;
            into.copy_from_slice(self.feed.frame(self.at));
            self.feed.forget(self.at);
            self.at += 1;
            return Ok(());
        }
        if let Some((source, output)) = self.piece.next
            && self.at >= output
        {
            self.begin(source, output)?;
        }
        let piece = self.piece;
        let frame = self.at - piece.output;
        let stretched_from = piece.head - piece.blend;
        if frame < stretched_from {
            into.copy_from_slice(self.feed.frame(piece.source + frame));
        } else {
            self.stretch()?;
            self.vocoder.take(into);
            if frame < piece.head {
                let share = (frame - stretched_from) as f32 / piece.blend as f32;
                for (x, head) in into.iter_mut().zip(self.feed.frame(piece.source + frame)) {
                    *x = share * *x + (1.0 - share) * head;
                }
            }
        }
        if let Some((source, output)) = self.piece.next {
            let (lead, fade) = (self.seconds(LEAD_SECONDS), self.seconds(FADE_SECONDS));
            let left = output - self.at;
            if left <= lead && source < self.length {
                let share = ((left + fade - lead).max(0) as f32 / fade as f32).min(1.0);
                for (x, next) in into.iter_mut().zip(self.feed.frame(source - left)) {
                    *x = share * *x + (1.0 - share) * next;
                }
            }
        }
        self.at += 1;
        Ok(())
    }

    /// Makes sure that the vocoder has a frame ready.
    fn stretch(&mut self) -> Result<(), StretchError> {
        while self.vocoder.ready() == 0 {
            let half = self.vocoder.half() as i64;
            let mut at = self.piece.source + self.map(self.center).round() as i64;
            if self.piece.next.is_none() {
                self.look(at + half + 1)?;
                at = self.piece.source + self.map(self.center).round() as i64;
            }
            let low = self.piece.source + self.piece.head - self.piece.blend;
            let guard = self.seconds(LEAD_SECONDS);
            let high = self.piece.next.map_or(i64::MAX, |(next, _)| (next - guard).max(low + 1));
            self.feed.prepare(at + half)?;
            let feed = &self.feed;
            self.vocoder.add(at, |k| feed.frame(reflect(k, low, high)));
            self.center += self.vocoder.hop() as i64;
            self.feed.forget(self.piece.source.min(at - 2 * half - self.seconds(0.1)));
        }
        Ok(())
    }
}

/// The place within `low..high` that `at` becomes if the signal goes back and forth between them.
fn reflect(at: i64, low: i64, high: i64) -> i64 {
    if (low..high).contains(&at) {
        return at;
    }
    if high == i64::MAX {
        return 2 * low - at;
    }
    let length = high - low;
    let phase = (at - low).rem_euclid(2 * length);
    low + phase.min(2 * length - 1 - phase)
}
