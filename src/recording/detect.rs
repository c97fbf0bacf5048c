//! Finds the onsets of a recorded file: decodes it and runs the detector on the mean of its channels.

use super::onsets::{DEFAULT_THRESHOLD, Mono, Onset, measure_timbres, onsets};
use super::packed::PackedSound;
use super::spool::{Layout, Progress, SpoolError, spool};
use super::spool_file::SpoolFile;
use super::stretch::Frames;
use std::io::{Read, Seek};
use std::ops::ControlFlow;

/// The part of the whole time that decoding takes, roughly: a compressed format takes more, WAV less.
const DECODING: f64 = 0.6;

/// A recording begins with a stroke if its first samples reach this share of the peak of its first second.
const START_SECONDS: f64 = 0.01;
const START_SHARE: f32 = 0.1;
/// Silence that is put before such a recording.
const SILENCE_SECONDS: f64 = 0.2;

/// What was found in a recording.
#[derive(Debug, Clone)]
pub struct DetectedOnsets {
    /// How its frames are laid out.
    pub layout: Layout,
    /// Its length in seconds.
    pub seconds: f64,
    /// Its onsets, in order of time.
    pub onsets: Vec<Onset>,
    /// Damage, truncation, silence: one sentence each.
    pub warnings: Vec<String>,
}

/// Finds the onsets of a recording with a confidence of at least `threshold`. `extension` is that of the file, as a hint.
///
/// A minute takes 6 MB of memory at 48,000 Hz.
///
/// # Errors
/// [`SpoolError`] for a file that cannot be decoded, and if `progress` cancels the work.
pub fn detect(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    threshold: f32,
    progress: Progress<'_>,
) -> Result<DetectedOnsets, SpoolError> {
    Ok(decode_and_detect(source, extension, threshold, progress)?.0)
}

/// Finds them as [`detect`] does, with their timbres.
///
/// # Errors
/// Those of [`detect`].
pub fn detect_with_timbres(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    threshold: f32,
    progress: Progress<'_>,
) -> Result<DetectedOnsets, SpoolError> {
    let (mut found, sound) = decode_and_detect(source, extension, threshold, progress)?;
    measure_timbres(&sound, found.layout.rate, &mut found.onsets, &|| true).ok_or(SpoolError::Cancelled)?;
    Ok(found)
}

/// The onsets, and the sound in which they were found.
fn decode_and_detect(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
    threshold: f32,
    progress: Progress<'_>,
) -> Result<(DetectedOnsets, PackedSound), SpoolError> {
    let mut sound = PackedSound::default();
    let spooled = spool(source, extension, &mut sound, &mut |share| progress(DECODING * share))?;
    let mut warnings = spooled.warnings;
    if sound.is_silent() && !sound.is_cancelled_out() {
        warnings.push("it is silent".into());
    } else if sound.is_cancelled_out() {
        warnings.push("its channels cancel each other, so nothing is left of their mean".into());
    }
    let mut report = |share: f32| {
        let share = DECODING + (1.0 - DECODING) * f64::from(share);
        matches!(progress(share), ControlFlow::Continue(()))
    };
    let found = onsets_from_start(&sound, spooled.layout.rate, threshold, &mut report).ok_or(SpoolError::Cancelled)?;
    let seconds = spooled.frames as f64 / f64::from(spooled.layout.rate);
    Ok((DetectedOnsets { layout: spooled.layout, seconds, onsets: found, warnings }, sound))
}

/// The mean of the channels of a decoded recording, read from its file.
struct Mean<'a>(&'a SpoolFile);

impl Mono for Mean<'_> {
    fn len(&self) -> usize {
        usize::try_from(self.0.frames()).unwrap_or(usize::MAX)
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        let channels = self.0.channels().max(1);
        let mut frames = vec![0.0; out.len() * channels];
        if self.0.read(from as u64, &mut frames).is_err() {
            // What cannot be read is silent, as when it is played.
            frames.fill(0.0);
        }
        for (out, frame) in out.iter_mut().zip(frames.chunks_exact(channels)) {
            *out = frame.iter().sum::<f32>() / channels as f32;
        }
    }
}

/// Finds the onsets of a recording that is decoded, with the usual threshold; `None` if `goes_on` stops it. It takes little memory.
pub fn detect_in(spool: &SpoolFile, goes_on: &dyn Fn() -> bool) -> Option<Vec<Onset>> {
    onsets_from_start(&Mean(spool), spool.rate(), DEFAULT_THRESHOLD, &mut |_| goes_on())
}

/// Finds them as [`detect_in`] does, with their timbres.
pub fn detect_with_timbres_in(spool: &SpoolFile, goes_on: &dyn Fn() -> bool) -> Option<Vec<Onset>> {
    let mut found = detect_in(spool, goes_on)?;
    measure_timbres(&Mean(spool), spool.rate(), &mut found, goes_on)?;
    Some(found)
}

/// Sound after some frames of silence.
struct AfterSilence<'a> {
    sound: &'a dyn Mono,
    silence: usize,
}

impl Mono for AfterSilence<'_> {
    fn len(&self) -> usize {
        self.silence + self.sound.len()
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        let silent = self.silence.saturating_sub(from).min(out.len());
        let (before, after) = out.split_at_mut(silent);
        before.fill(0.0);
        self.sound.read((from + silent).saturating_sub(self.silence), after);
    }
}

/// The onsets of a recording, which may begin with a stroke: the detector needs sound before a stroke to hear it.
fn onsets_from_start(
    sound: &dyn Mono,
    rate: u32,
    threshold: f32,
    report: &mut dyn FnMut(f32) -> bool,
) -> Option<Vec<Onset>> {
    let peak = |seconds: f64| {
        let mut start = vec![0.0_f32; ((f64::from(rate) * seconds) as usize).min(sound.len())];
        sound.read(0, &mut start);
        start.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()))
    };
    let is_short = (sound.len() as f64) < SILENCE_SECONDS * f64::from(rate);
    if is_short || peak(START_SECONDS) < START_SHARE * peak(1.0) {
        return onsets(sound, rate, threshold, report);
    }
    let silence = (f64::from(rate) * SILENCE_SECONDS) as usize;
    let found = onsets(&AfterSilence { sound, silence }, rate, threshold, report)?;
    let moved = |onset: Onset| Onset { seconds: (onset.seconds - silence as f64 / f64::from(rate)).max(0.0), ..onset };
    Some(found.into_iter().map(moved).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::onsets::Timbre;
    use crate::recording::spool::Sink;
    use std::io::Cursor;
    use std::sync::Arc;

    fn reference() -> Vec<u8> {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/onsets/reference.wav");
        std::fs::read(path).expect("a file of the repository")
    }

    #[test]
    fn a_file_has_the_onsets_of_its_samples() {
        let bytes = reference();
        let rate = u32::from_le_bytes(bytes[24..28].try_into().expect("four bytes"));
        let samples: Vec<f32> =
            bytes[44..].as_chunks::<2>().0.iter().map(|b| f32::from(i16::from_le_bytes(*b)) / 32_768.0).collect();
        let expected = onsets(&samples, rate, DEFAULT_THRESHOLD, &mut |_| true).expect("not cancelled");
        let mut shares = Vec::new();
        let found = detect(Cursor::new(bytes), Some("wav"), DEFAULT_THRESHOLD, &mut |share| {
            shares.push(share);
            ControlFlow::Continue(())
        });
        let found = found.expect("a recording");
        let go_on = &mut |_| ControlFlow::Continue(());
        let with_timbres = detect_with_timbres(Cursor::new(reference()), None, DEFAULT_THRESHOLD, go_on);
        let with_timbres = with_timbres.expect("a recording").onsets;
        assert!(with_timbres.iter().all(|onset| onset.timbre.is_known()));
        let plain = |onset: &Onset| Onset { timbre: Timbre::default(), ..*onset };
        assert_eq!(with_timbres.iter().map(plain).collect::<Vec<_>>(), found.onsets);
        assert_eq!(found.seconds, samples.len() as f64 / f64::from(rate));
        assert_eq!((found.onsets.len(), found.warnings.len()), (expected.len(), 0));
        for (a, b) in found.onsets.iter().zip(&expected) {
            assert!((a.seconds - b.seconds).abs() < 5e-5 && (a.confidence - b.confidence).abs() < 1e-3, "{a:?} {b:?}");
        }
        assert!(shares.is_sorted() && shares[shares.len() - 1] > 0.9, "{shares:?}");
    }

    #[test]
    fn a_stroke_on_the_first_frame_is_an_onset() {
        // Decaying noise at 0.0, 0.5 and 1.0 s, of the same envelope but not of the same samples.
        let rate = 48_000_u32;
        let sample = |k: u32| {
            let (after, noise) = (k % (rate / 2), f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 32_768.0 - 1.0);
            (0.5 * (-f64::from(after) / 2400.0).exp() * noise) as f32
        };
        let samples: Vec<f32> = (0..3 * rate / 2).map(sample).collect();
        let found = onsets_from_start(&samples, rate, DEFAULT_THRESHOLD, &mut |_| true).expect("not cancelled");
        let times: Vec<f64> = found.iter().map(|o| o.seconds).collect();
        assert_eq!(times.len(), 3, "{times:?}");
        assert!(times.iter().zip([0.0, 0.5, 1.0]).all(|(t, wanted)| (t - wanted).abs() < 0.005), "{times:?}");
    }

    #[test]
    fn work_can_be_cancelled_while_it_detects() {
        let done = detect(Cursor::new(reference()), None, DEFAULT_THRESHOLD, &mut |share| {
            if share > DECODING { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert!(matches!(done, Err(SpoolError::Cancelled)), "{done:?}");
    }

    #[test]
    fn a_decoded_recording_has_the_onsets_of_the_mean_of_its_channels() {
        let bytes = reference();
        let rate = u32::from_le_bytes(bytes[24..28].try_into().expect("four bytes"));
        let samples: Vec<f32> =
            bytes[44..].as_chunks::<2>().0.iter().map(|b| f32::from(i16::from_le_bytes(*b)) / 32_768.0).collect();
        let expected = onsets(&samples, rate, DEFAULT_THRESHOLD, &mut |_| true).expect("not cancelled");
        let mut spool = Arc::new(SpoolFile::new(tempfile::tempfile().expect("a file")));
        Sink::start(&mut spool, Layout { rate, channels: 2 }).expect("a layout");
        // All of it is in the left channel.
        let frames: Vec<f32> = samples.iter().flat_map(|x| [2.0 * x, 0.0]).collect();
        spool.write(&frames).expect("written");
        assert_eq!(detect_in(&spool, &|| true), Some(expected));
        assert_eq!(detect_in(&spool, &|| false), None);
    }
}
