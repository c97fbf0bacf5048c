//! A decoded recording in a file of its own, which grows while it is played.

use super::onsets::Onset;
use super::spool::{Layout, Sink};
use super::stretch::{Band, Frames, Settings, Stretch, Voice};
use crate::sound::{Channels, FrameSource, FrameStream, Listening, RecordingTone};
use std::fs::File;
use std::hash::{BuildHasher, RandomState};
use std::io;
use std::os::unix::fs::FileExt;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

const BYTES_PER_SAMPLE: u64 = 4;
const NANOS: f64 = 1e9;

/// The frames of a recording that are decoded so far.
#[derive(Debug)]
pub struct SpoolFile {
    file: File,
    layout: OnceLock<Layout>,
    frames: AtomicU64,
    is_complete: AtomicBool,
    /// Frames at which strokes and notes begin, in rising order, once they are known.
    attacks: OnceLock<Vec<u64>>,
    /// A multiple of 4: the last bits tell whether it is complete and whether its attacks are known.
    id: u64,
}

impl SpoolFile {
    /// Frames will be written to this file, which is empty.
    pub fn new(file: File) -> Self {
        let id = RandomState::new().hash_one(()) & !3;
        let (frames, is_complete) = (AtomicU64::new(0), AtomicBool::new(false));
        Self { file, layout: OnceLock::new(), frames, is_complete, attacks: OnceLock::new(), id }
    }

    /// Frames that can be read so far.
    pub fn frames(&self) -> u64 {
        self.frames.load(Ordering::Acquire)
    }

    /// Nothing more will be written.
    pub fn complete(&self) {
        self.is_complete.store(true, Ordering::Release);
    }

    /// Tells where its onsets are, so that they stay sharp at other speeds. Only the first call counts.
    pub fn set_onsets(&self, onsets: &[Onset]) {
        let rate = f64::from(self.rate());
        let frame = |onset: &Onset| (onset.seconds * rate).round() as u64;
        self.attacks.get_or_init(|| onsets.iter().map(frame).collect());
    }
}

impl Sink for Arc<SpoolFile> {
    fn start(&mut self, layout: Layout) -> io::Result<()> {
        self.layout.set(layout).map_err(|_| io::Error::other("started twice"))
    }

    fn write(&mut self, frames: &[f32]) -> io::Result<()> {
        let channels = self.channels() as u64;
        let bytes: Vec<u8> = frames.iter().flat_map(|x| x.to_le_bytes()).collect();
        let before = self.frames.load(Ordering::Relaxed);
        self.file.write_all_at(&bytes, before * channels * BYTES_PER_SAMPLE)?;
        self.frames.store(before + frames.len() as u64 / channels, Ordering::Release);
        Ok(())
    }
}

impl Frames for SpoolFile {
    fn rate(&self) -> u32 {
        self.layout.get().map_or(48_000, |l| l.rate)
    }

    fn channels(&self) -> usize {
        self.layout.get().map_or(1, |l| l.channels)
    }

    fn len(&self) -> u64 {
        self.frames()
    }

    fn read(&self, start: u64, into: &mut [f32]) -> io::Result<()> {
        let channels = self.channels();
        let available = self.frames().saturating_sub(start).saturating_mul(channels as u64);
        let count = into.len().min(usize::try_from(available).unwrap_or(usize::MAX));
        let (present, rest) = into.split_at_mut(count);
        let mut bytes = vec![0; count * BYTES_PER_SAMPLE as usize];
        self.file.read_exact_at(&mut bytes, start * channels as u64 * BYTES_PER_SAMPLE)?;
        for (x, bytes) in present.iter_mut().zip(bytes.as_chunks().0) {
            *x = f32::from_le_bytes(*bytes);
        }
        rest.fill(0.0);
        Ok(())
    }
}

/// Another name for the shared file, to play it.
impl FrameSource for Arc<SpoolFile> {
    fn id(&self) -> u64 {
        // What was silent for want of frames is read again once all are there, and what was stretched once its attacks are known.
        self.id | u64::from(self.is_complete.load(Ordering::Acquire)) | u64::from(self.attacks.get().is_some()) << 1
    }

    fn open(&self, listening: &Listening) -> Box<dyn FrameStream> {
        Box::new(SpoolStream {
            file: Arc::clone(self),
            listening: *listening,
            stretch: None,
            next: 0,
            silent_from: 0,
            end: 0,
            known: 0,
        })
    }
}

/// A recording as it is listened to.
struct SpoolStream {
    file: Arc<SpoolFile>,
    listening: Listening,
    stretch: Option<Stretch>,
    /// The frame that the stretch makes next; those from `silent_from` to it lie before the recording.
    next: i64,
    silent_from: i64,
    /// The frame after the last one that it makes.
    end: i64,
    /// Frames of the file when the stretch was begun.
    known: u64,
}

impl SpoolStream {
    /// The frame of the file at a frame of the output.
    fn place(&self, frame: i64) -> f64 {
        let Listening { from, speed, rate, .. } = self.listening;
        let speed = speed.numer() as f64 / speed.denom() as f64;
        let seconds = from as f64 / NANOS + frame as f64 * speed / f64::from(rate.hertz());
        seconds * f64::from(self.file.rate())
    }

    /// Begins at a frame of the output, or at the first one after it that is in the file.
    fn seek(&mut self, frame: i64) {
        self.stretch = None;
        let Listening { speed, rate, tone, .. } = self.listening;
        let speed = speed.numer() as f64 / speed.denom() as f64;
        let before = (-self.place(frame) / f64::from(self.file.rate()) / speed * f64::from(rate.hertz())).ceil();
        let first = frame + before.max(0.0) as i64;
        let (start, end) = (self.place(first).round().max(0.0) as u64, self.file.frames());
        if start < end {
            let settings = Settings { speed, rate: Some(rate.hertz()), ..settings(tone) };
            let source: Arc<dyn Frames> = Arc::<SpoolFile>::clone(&self.file);
            let attacks = self.file.attacks.get().map_or(&[][..], Vec::as_slice);
            self.stretch = Stretch::new(source, start..end, &settings, attacks).ok();
        }
        let made = self.stretch.as_ref().map_or(0, Stretch::frames);
        (self.silent_from, self.next, self.end, self.known) = (frame, first, first + made as i64, end);
    }
}

fn settings(tone: RecordingTone) -> Settings {
    let voice = match tone.channels {
        Channels::Both => Voice::All,
        Channels::Left => Voice::Left,
        Channels::Right => Voice::Right,
        Channels::Middle => Voice::Middle,
        Channels::Side => Voice::Side,
    };
    let band = tone.band.map(|(low, high)| Band { low: low.into(), high: high.into() });
    let (least, most) = (*Settings::SEMITONES.start(), *Settings::SEMITONES.end());
    Settings { semitones: f64::from(tone.semitones).clamp(least, most), voice, band, ..Settings::default() }
}

impl FrameStream for SpoolStream {
    fn read(&mut self, start: i64, out: &mut [f32]) {
        out.fill(0.0);
        let goes_on = self.stretch.is_some() && (self.silent_from..=self.next).contains(&start);
        let has_grown = self.next >= self.end && self.file.frames() > self.known;
        if !goes_on || has_grown {
            self.seek(start);
        }
        let Some(stretch) = &mut self.stretch else { return };
        let skipped = usize::try_from(self.next - start).unwrap_or(0) * 2;
        if skipped >= out.len() {
            return;
        }
        let out = &mut out[skipped..];
        let channels = stretch.channels();
        let mut frames = vec![0.0; out.len() / 2 * channels];
        // What cannot be read is silent.
        let made = stretch.read(&mut frames).unwrap_or(0);
        for (out, frame) in out.chunks_exact_mut(2).zip(frames.chunks_exact(channels)).take(made) {
            (out[0], out[1]) = (frame[0], frame[channels - 1]);
        }
        self.next += made as i64;
        self.silent_from = self.next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Fraction;
    use crate::sound::SampleRate;

    fn spool(layout: Layout) -> Arc<SpoolFile> {
        let mut file = Arc::new(SpoolFile::new(tempfile::tempfile().expect("a file")));
        Sink::start(&mut file, layout).expect("a layout");
        file
    }

    fn listening(from: i64, percent: i64, rate: u32) -> Listening {
        let speed = Fraction::new(percent, 100).expect("a speed");
        let rate = SampleRate::new(rate).expect("a rate");
        Listening { from, speed, rate, tone: RecordingTone::default() }
    }

    /// Frames of a stream, read in blocks, of the left channel.
    fn left(stream: &mut dyn FrameStream, start: i64, frames: usize) -> Vec<f32> {
        let mut block = vec![0.0; 2 * 512];
        let mut all = Vec::new();
        while all.len() < frames {
            stream.read(start + all.len() as i64, &mut block);
            all.extend(block.iter().step_by(2));
        }
        all.truncate(frames);
        all
    }

    #[test]
    fn at_full_speed_frames_are_read_unchanged_from_any_place_and_silent_outside() {
        let mut file = spool(Layout { rate: 48_000, channels: 2 });
        let ramp: Vec<f32> = (0..96_000).map(|k| k as f32 / 96_000.0).collect();
        file.write(&ramp).expect("written");
        file.complete();
        let at = |frame: i64| if (0..48_000).contains(&frame) { (2 * frame) as f32 / 96_000.0 } else { 0.0 };
        let mut stream = file.open(&listening(-100_000_000, 100, 48_000));
        // Frame 0 is 0.1 s before the recording; also backwards, and over both ends.
        for start in [0, 4700, 20_000, 3000, 52_000, 60_000, 0] {
            let wanted: Vec<f32> = (0..3000).map(|k| at(start + k - 4800)).collect();
            assert_eq!(left(&mut *stream, start, 3000), wanted, "{start}");
        }
    }

    #[test]
    fn what_is_decoded_later_is_heard_and_then_it_is_another_source() {
        let mut file = spool(Layout { rate: 48_000, channels: 1 });
        file.write(&[0.25; 1000]).expect("written");
        let (id, mut stream) = (file.id(), file.open(&listening(0, 100, 48_000)));
        assert_eq!(left(&mut *stream, 0, 1024)[999..1001], [0.25, 0.0]);
        file.write(&vec![0.5; 9000]).expect("written");
        assert_eq!(left(&mut *stream, 1024, 1024), [0.5; 1024]);
        file.complete();
        assert_ne!(file.id(), id);
    }

    #[test]
    fn known_onsets_are_attacks_and_make_it_another_source() {
        let mut file = spool(Layout { rate: 48_000, channels: 1 });
        // A tone that begins so softly that no attack is found in it.
        let tone = |k: usize| (k as f32 / 48_000.0).min(1.0) * 0.5 * (k as f32 * 0.05).sin();
        file.write(&(0..96_000).map(tone).collect::<Vec<f32>>()).expect("written");
        file.complete();
        let heard = |file: &Arc<SpoolFile>| left(&mut *file.open(&listening(0, 50, 48_000)), 0, 120_000);
        let (id, before) = (file.id(), heard(&file));
        file.set_onsets(&[Onset::of_bands(1.0, [0.0; 3])]);
        assert_ne!(file.id(), id);
        // After the onset, at frame 96,000, the sound is copied unchanged.
        let after = heard(&file);
        let is_copied = |heard: &[f32]| (0..960).all(|k| (heard[96_000 + k] - tone(48_000 + k)).abs() < 1e-6);
        assert!(is_copied(&after) && !is_copied(&before));
    }

    #[test]
    fn a_stroke_is_heard_where_the_speed_and_the_rates_put_it() {
        for rate in [8_000, 44_100, 192_000] {
            let mut file = spool(Layout { rate, channels: 1 });
            let mut samples = vec![0.0; 2 * rate as usize];
            let second = samples.len() / 2;
            for (k, x) in samples[second..second + second / 10].iter_mut().enumerate() {
                let t = k as f64 / f64::from(rate);
                *x = (0.8 * (-90.0 * t).exp() * (4400.0 * t).cos()) as f32;
            }
            file.write(&samples).expect("written");
            for percent in [20, 50, 75, 100, 200] {
                let mut stream = file.open(&listening(0, percent, 48_000));
                let ideal = 48_000 * 100 / percent as usize;
                let heard = left(&mut *stream, 0, ideal + 4800);
                let first = heard.iter().position(|x| x.abs() > 0.4).expect("a stroke");
                // Three samples of the recording, which may be longer than half a millisecond.
                let bound = (3 * 48_000 * 100 / (rate as usize * percent as usize)).max(24);
                assert!(first.abs_diff(ideal) <= bound, "{rate} Hz, {percent} %: expected {ideal}, found {first}");
            }
        }
    }
}
