//! Tests of decoding with WAV files built here.

use super::*;
use std::io::Cursor;

#[derive(Default)]
struct Memory {
    layout: Option<Layout>,
    frames: Vec<f32>,
}

impl Sink for Memory {
    fn start(&mut self, layout: Layout) -> io::Result<()> {
        self.layout = Some(layout);
        Ok(())
    }

    fn write(&mut self, frames: &[f32]) -> io::Result<()> {
        self.frames.extend_from_slice(frames);
        Ok(())
    }
}

/// A WAV file of 16-bit samples that claims `claimed` bytes of them.
fn wav(rate: u32, channels: u16, samples: &[i16], claimed: u32) -> Vec<u8> {
    let mut file = b"RIFF".to_vec();
    file.extend_from_slice(&(36 + claimed).to_le_bytes());
    file.extend_from_slice(b"WAVEfmt \x10\0\0\0\x01\0");
    file.extend_from_slice(&channels.to_le_bytes());
    file.extend_from_slice(&rate.to_le_bytes());
    file.extend_from_slice(&(rate * 2 * u32::from(channels)).to_le_bytes());
    file.extend_from_slice(&(2 * channels).to_le_bytes());
    file.extend_from_slice(b"\x10\0data");
    file.extend_from_slice(&claimed.to_le_bytes());
    file.extend(samples.iter().flat_map(|x| x.to_le_bytes()));
    file
}

fn run(file: Vec<u8>) -> (Result<Spooled, SpoolError>, Memory) {
    let mut sink = Memory::default();
    let done = spool(Cursor::new(file), Some("wav"), &mut sink, &mut |_| ControlFlow::Continue(()));
    (done, sink)
}

#[test]
fn frames_keep_their_rate_and_place() {
    for (rate, channels) in [(8_000, 1_u16), (48_000, 2), (192_000, 2), (48_000, 8)] {
        let width = usize::from(channels);
        let mut samples = vec![0; rate as usize * width];
        samples[rate as usize / 2 * width] = 16_384;
        let (done, sink) = run(wav(rate, channels, &samples, samples.len() as u32 * 2));
        let done = done.expect("a recording");
        let layout = Layout { rate, channels: width.min(2) };
        assert_eq!((done.layout, sink.layout), (layout, Some(layout)));
        assert_eq!(done.frames, u64::from(rate));
        assert_eq!(sink.frames.len(), rate as usize * layout.channels);
        let loud: Vec<usize> = (0..sink.frames.len()).filter(|&k| sink.frames[k].abs() > 0.01).collect();
        assert_eq!(loud.first(), Some(&(rate as usize / 2 * layout.channels)), "{rate} {channels}");
        assert!(done.warnings.is_empty());
    }
}

#[test]
fn the_envelope_is_that_of_the_samples() {
    let samples: Vec<i16> = (0..96_000).map(|k| if k < 48_000 { 0 } else { 8_192 }).collect();
    let done = run(wav(48_000, 1, &samples, 192_000)).0.expect("a recording");
    assert_eq!(done.envelope.frames(), 96_000);
    assert_eq!(done.envelope.level(0..48_000).max, 0.0);
    for range in [48_000..96_000, 50_000..50_001, 60_000..90_000] {
        let level = done.envelope.level(range.clone());
        assert!((level.max - 0.25).abs() < 1e-3 && (level.rms - 0.25).abs() < 1e-3, "{range:?} {level:?}");
    }
    let whole = done.envelope.level(0..96_000);
    assert!((whole.rms - 0.25 / 2_f32.sqrt()).abs() < 1e-3 && whole.min == 0.0, "{whole:?}");
    assert_eq!(done.envelope.level(96_000..100_000), crate::recording::envelope::Level::default());
}

#[test]
fn a_truncated_file_says_so() {
    let done = run(wav(48_000, 1, &vec![1000; 24_000], 96_000)).0.expect("a recording");
    assert_eq!(done.frames, 24_000);
    assert_eq!(done.warnings, ["it is truncated: 0.50 s of 1.00 s are present"]);
}

#[test]
fn files_that_are_no_recordings_are_refused() {
    let found = |file| run(file).0.map(|s| s.frames).expect_err("refused").to_string();
    assert!(found(Vec::new()).ends_with("found an empty file"));
    assert!(found(b"ferry ".repeat(2000)).ends_with("found an unknown format or a damaged file"));
    assert!(found(wav(48_000, 1, &[], 0)).ends_with("found an audio track without samples"));
    assert_eq!(found(wav(500, 1, &[1; 500], 1000)), "expected a sample rate from 1000 to 768000 Hz, found 500 Hz");
}

#[test]
fn a_recording_of_more_than_three_hours_is_refused() {
    let long = vec![1; 3 * 3600 * 1000 + 1];
    let error = run(wav(1000, 1, &long, u32::MAX - 36)).0.map(|s| s.frames).expect_err("refused").to_string();
    assert_eq!(error, "expected a recording of at most 3 hours, found a longer one");
    let whole = run(wav(1000, 1, &long[1..], u32::MAX - 36)).0.expect("a recording");
    assert_eq!((whole.frames, whole.warnings.len()), (3 * 3600 * 1000, 0), "no length is claimed");
}

#[test]
fn a_full_disk_ends_the_work() {
    // Every write to this device fails as on a full disk.
    let full = std::fs::File::options().write(true).open("/dev/full").expect("a device of the system");
    let mut sink = std::sync::Arc::new(crate::recording::SpoolFile::new(full));
    let file = wav(48_000, 2, &vec![1000; 9600], 19_200);
    let done = spool(Cursor::new(file), None, &mut sink, &mut |_| ControlFlow::Continue(()));
    let Err(SpoolError::Write(error)) = done else { panic!("{done:?}") };
    assert_eq!(error.kind(), io::ErrorKind::StorageFull);
    assert_eq!(sink.frames(), 0);
}

#[test]
fn work_can_be_cancelled() {
    let mut shares = Vec::new();
    let mut sink = Memory::default();
    let done = spool(Cursor::new(wav(48_000, 1, &vec![1; 96_000], 192_000)), None, &mut sink, &mut |share| {
        shares.push(share);
        if share > 0.5 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert!(matches!(done, Err(SpoolError::Cancelled)), "{done:?}");
    assert!(shares.is_sorted() && sink.frames.len() < 60_000);
}
