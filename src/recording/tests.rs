//! Tests of decoding: WAV files built here, files of the common codecs in `tests/sounds`, and damaged ones.

use super::*;
use crate::sound::SampleRate;
use proptest::prelude::*;
use std::io::{Cursor, Read, Seek, SeekFrom};
use std::path::Path;

const RATE: SampleRate = SampleRate::STUDIO;

/// How the samples of a WAV file are written.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Bits {
    Whole(u16),
    Float(u16),
}

/// A WAV file of interleaved samples, in the extensible form if there is a channel mask.
fn wav(rate: u32, channels: u16, bits: Bits, mask: Option<u32>, samples: &[f64]) -> Vec<u8> {
    let (tag, width) = match bits {
        Bits::Whole(width) => (1_u16, width),
        Bits::Float(width) => (3, width),
    };
    let mut data = Vec::new();
    for &x in samples {
        match bits {
            Bits::Whole(8) => data.push((x * 127.0 + 128.0).round() as u8),
            Bits::Whole(width) => {
                let full = f64::from(2_u32.pow(u32::from(width) - 1) - 1);
                data.extend_from_slice(&((x * full).round() as i32).to_le_bytes()[..usize::from(width / 8)]);
            }
            Bits::Float(64) => data.extend_from_slice(&x.to_le_bytes()),
            Bits::Float(_) => data.extend_from_slice(&(x as f32).to_le_bytes()),
        }
    }
    let block = channels * width / 8;
    let mut format = Vec::new();
    format.extend_from_slice(&(if mask.is_some() { 0xFFFE } else { tag }).to_le_bytes());
    format.extend_from_slice(&channels.to_le_bytes());
    format.extend_from_slice(&rate.to_le_bytes());
    format.extend_from_slice(&(rate * u32::from(block)).to_le_bytes());
    format.extend_from_slice(&block.to_le_bytes());
    format.extend_from_slice(&width.to_le_bytes());
    if let Some(mask) = mask {
        format.extend_from_slice(&22_u16.to_le_bytes());
        format.extend_from_slice(&width.to_le_bytes());
        format.extend_from_slice(&mask.to_le_bytes());
        format.extend_from_slice(&tag.to_le_bytes());
        format.extend_from_slice(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    }
    let mut file = b"RIFF".to_vec();
    file.extend_from_slice(&(20 + format.len() as u32 + data.len() as u32).to_le_bytes());
    file.extend_from_slice(b"WAVEfmt ");
    file.extend_from_slice(&(format.len() as u32).to_le_bytes());
    file.extend_from_slice(&format);
    file.extend_from_slice(b"data");
    file.extend_from_slice(&(data.len() as u32).to_le_bytes());
    file.extend_from_slice(&data);
    file
}

fn wave(rate: u32, hertz: f64, seconds: f64) -> Vec<f64> {
    let frames = (f64::from(rate) * seconds) as usize;
    (0..frames).map(|k| 0.5 * (std::f64::consts::TAU * hertz * k as f64 / f64::from(rate)).sin()).collect()
}

/// The same samples in so many channels, each with its factor.
fn spread(mono: &[f64], factors: &[f64]) -> Vec<f64> {
    mono.iter().flat_map(|x| factors.iter().map(move |f| x * f)).collect()
}

fn of(bytes: Vec<u8>) -> Result<DecodedSound, DecodeError> {
    decode(Cursor::new(bytes), Some("wav"), RATE)
}

fn words(bytes: Vec<u8>) -> String {
    of(bytes).map(|d| d.samples.len()).expect_err("refused").to_string()
}

fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0, |m, x| m.max(x.abs()))
}

/// The largest share by which two sounds differ, each taken at its own peak.
fn apart(a: &[f32], b: &[f32]) -> f32 {
    let (p, q) = (peak(a), peak(b));
    a.iter().zip(b).map(|(x, y)| (x / p - y / q).abs()).fold(0.0, f32::max)
}

#[test]
fn every_width_of_sample_gives_the_same_sound() {
    let mono = wave(48_000, 440.0, 0.1);
    let reference = of(wav(48_000, 1, Bits::Float(64), None, &mono)).expect("a sound");
    assert_eq!(reference.samples.len(), 4800);
    assert_eq!(reference.warnings, [""; 0]);
    for (bits, step) in [
        (Bits::Whole(8), 0.02),
        (Bits::Whole(16), 1e-4),
        (Bits::Whole(24), 1e-6),
        (Bits::Whole(32), 1e-6),
        (Bits::Float(32), 1e-6),
    ] {
        for mask in [None, Some(4)] {
            let found = of(wav(48_000, 1, bits, mask, &mono)).expect("a sound");
            assert_eq!(found.samples.len(), 4800, "{bits:?}");
            assert!(apart(&found.samples, &reference.samples) < step, "{bits:?} {mask:?}");
        }
    }
}

#[test]
fn channels_are_folded_by_their_places() {
    let mono = wave(48_000, 440.0, 0.1);
    let other = wave(48_000, 1333.0, 0.1);
    // Left right centre low-frequency, then two behind, as in WAVE_FORMAT_EXTENSIBLE's 0x3F.
    let five_one: Vec<f64> =
        mono.iter().zip(&other).flat_map(|(x, y)| [0.4 * x, 0.4 * x, 0.3 * y, 0.9, 0.2 * x, 0.2 * y]).collect();
    let expected: Vec<f64> =
        mono.iter().zip(&other).map(|(x, y)| 0.4 * x + 0.3 * y / 2_f64.sqrt() + 0.2 * (x + y) / 8_f64.sqrt()).collect();
    let found = of(wav(48_000, 6, Bits::Whole(24), Some(0x3F), &five_one)).expect("a sound");
    let wanted = of(wav(48_000, 1, Bits::Float(64), None, &expected)).expect("a sound");
    assert!(apart(&found.samples, &wanted.samples) < 1e-4, "{}", apart(&found.samples, &wanted.samples));
    let stereo: Vec<f64> = mono.iter().zip(&other).flat_map(|(x, y)| [*x, *y]).collect();
    let mean: Vec<f64> = mono.iter().zip(&other).map(|(x, y)| (x + y) / 2.0).collect();
    let found = of(wav(48_000, 2, Bits::Whole(16), None, &stereo)).expect("a sound");
    let wanted = of(wav(48_000, 1, Bits::Float(64), None, &mean)).expect("a sound");
    assert!(apart(&found.samples, &wanted.samples) < 1e-3);
    for channels in 1..=8_u16 {
        let all = spread(&mono, &vec![0.5; usize::from(channels)]);
        let found = of(wav(48_000, channels, Bits::Whole(16), None, &all)).expect("a sound");
        assert_eq!(found.samples.len(), 4800, "{channels}");
    }
}

#[test]
fn channels_that_cancel_are_told_and_the_first_one_sounds() {
    let mono = wave(48_000, 440.0, 0.1);
    let found = of(wav(48_000, 2, Bits::Whole(16), None, &spread(&mono, &[1.0, -1.0]))).expect("a sound");
    assert_eq!(found.warnings, ["its channels cancel each other; only the first one plays"]);
    let wanted = of(wav(48_000, 1, Bits::Whole(16), None, &mono)).expect("a sound");
    assert!(apart(&found.samples, &wanted.samples) < 1e-3);
}

#[test]
fn other_rates_keep_pitch_place_and_length() {
    for own in [8_000_u32, 11_025, 22_050, 44_100, 88_200, 96_000, 192_000] {
        // Silence, then a wave from 100 ms on.
        let silence = vec![0.0; own as usize / 10];
        let sound: Vec<f64> = silence.into_iter().chain(wave(own, 1000.0, 0.2)).collect();
        let found = of(wav(own, 1, Bits::Whole(24), None, &sound)).expect("a sound").samples;
        assert!((found.len() as i64 - 14_400).abs() <= 8, "{own}: {}", found.len());
        let limit = 0.25 * peak(&found);
        let first = found.iter().position(|x| x.abs() > limit).expect("a sound") as i64;
        assert!((first - 4800).abs() <= 12, "{own}: begins at {first}");
        // A wave of 1000 hertz crosses zero every 24 frames.
        let steady = &found[6000..13_200];
        let crossings = steady.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
        assert!((149..=151).contains(&crossings), "{own}: {crossings}");
    }
}

#[test]
fn files_of_the_common_coders_begin_where_their_burst_does() {
    for (extension, spread) in [("aiff", 6), ("flac", 6), ("ogg", 40), ("mp3", 60), ("m4a", 60)] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/sounds/burst.{extension}"));
        let bytes = std::fs::read(path).expect("a file of this package");
        for hint in [Some(extension), None, Some("wav")] {
            let found = decode(Cursor::new(bytes.clone()), hint, RATE).expect(extension);
            assert_eq!(found.warnings, [""; 0], "{extension}");
            let first = found.samples.iter().position(|x| x.abs() > 0.3).expect("a burst") as i64;
            // 200 ms after the start.
            assert!((first - 9600).abs() <= spread, "{extension}: begins at {first}");
        }
    }
}

#[test]
fn the_level_is_that_of_the_voices() {
    for (gain, expected) in [(2.0, 1.0), (0.9, 1.0), (0.2, 1.0), (0.01, 0.1)] {
        // A short tick: its peak decides, up to 20 dB above what it was.
        let tick: Vec<f64> = (0..4800)
            .map(|k| gain * (-f64::from(k) / 60.0).exp() * (f64::from(k) * 0.4).cos() * f64::from(u8::from(k > 3)))
            .collect();
        let at = tick.iter().fold(0.0_f64, |m, x| m.max(x.abs())) / gain;
        let found = of(wav(48_000, 1, Bits::Float(32), None, &tick)).expect("a sound").samples;
        let wanted = if expected < 1.0 { expected * at } else { 1.0 };
        assert!((f64::from(peak(&found)) - wanted).abs() < 0.01, "{gain}: {}", peak(&found));
    }
    // A square wave at full scale has the greatest RMS; it is lowered to that of the voices.
    let square: Vec<f64> = (0..24_000).map(|k| if k / 50 % 2 == 0 { 1.0 } else { -1.0 }).collect();
    let found = of(wav(48_000, 1, Bits::Float(32), None, &square)).expect("a sound").samples;
    assert!((peak(&found) - 0.35).abs() < 0.001);
    assert_eq!((found[0], found[found.len() - 1]), (0.0, 0.0), "the ends are faded");
}

#[test]
fn what_is_no_sound_is_refused_in_words() {
    let forms = "a WAV, AIFF, FLAC, Ogg Vorbis, MP3 or M4A file";
    assert_eq!(words(Vec::new()), format!("expected {forms}, found an empty file"));
    assert!(words(b"this is a text and no sound\n".repeat(40)).contains("found a "));
    assert!(words(vec![0; 5000]).starts_with(&format!("expected {forms}, found ")));
    assert_eq!(
        words(wav(48_000, 1, Bits::Whole(16), None, &[])),
        format!("expected {forms}, found a file without audio samples")
    );
    assert_eq!(
        words(wav(48_000, 2, Bits::Whole(24), None, &vec![0.0; 9600])),
        "expected an audible sound, found digital silence"
    );
    let mut strange = wave(48_000, 440.0, 0.1);
    (strange[7], strange[900]) = (f64::NAN, f64::INFINITY);
    assert_eq!(
        words(wav(48_000, 1, Bits::Float(32), None, &strange)),
        "expected finite samples, found 2 NaN or infinite samples"
    );
    let long = wave(8_000, 440.0, 31.5);
    assert_eq!(words(wav(8_000, 1, Bits::Whole(8), None, &long)), "expected at most 30 s, found a sound of 31 s");
    assert!(of(wav(8_000, 1, Bits::Whole(8), None, &wave(8_000, 440.0, 29.9))).is_ok());
    assert!(words(wav(100, 1, Bits::Whole(16), None, &wave(100, 10.0, 2.0))).contains("1000 to 768000"));
}

/// A WAV file of three hours that is generated while it is read, with the number of bytes read.
struct Hours {
    head: Vec<u8>,
    at: u64,
    length: u64,
    read: std::sync::Arc<std::sync::atomic::AtomicU64>,
}

impl Read for Hours {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let count = (self.length.saturating_sub(self.at) as usize).min(into.len());
        for (k, byte) in into[..count].iter_mut().enumerate() {
            let at = self.at as usize + k;
            *byte = self.head.get(at).copied().unwrap_or((at % 251) as u8);
        }
        self.at += count as u64;
        self.read.fetch_add(count as u64, std::sync::atomic::Ordering::Relaxed);
        Ok(count)
    }
}

impl Seek for Hours {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.at = match to {
            SeekFrom::Start(n) => n,
            SeekFrom::End(n) => self.length.saturating_add_signed(n),
            SeekFrom::Current(n) => self.at.saturating_add_signed(n),
        };
        Ok(self.at)
    }
}

#[test]
fn a_file_of_three_hours_is_refused_after_reading_little_of_it() {
    let mut head = wav(48_000, 2, Bits::Whole(24), None, &[]);
    let data = 3 * 3600 * 48_000 * 6_u32;
    let at = head.len();
    head[at - 4..].copy_from_slice(&data.to_le_bytes());
    head[4..8].copy_from_slice(&(data + 36).to_le_bytes());
    let read = std::sync::Arc::new(std::sync::atomic::AtomicU64::new(0));
    let length = u64::from(data) + at as u64;
    let source = Hours { head, at: 0, length, read: read.clone() };
    let words = decode(source, Some("wav"), RATE).map(|d| d.samples.len()).expect_err("refused").to_string();
    assert_eq!(words, "expected at most 30 s, found a sound of 3 h 0 min");
    let read = read.load(std::sync::atomic::Ordering::Relaxed);
    assert!(read < 10 << 20, "{read} bytes read");
}

#[test]
fn a_file_that_is_cut_off_sounds_as_far_as_it_goes_and_says_so() {
    let mut file = wav(48_000, 1, Bits::Whole(16), None, &wave(48_000, 440.0, 1.0));
    file.truncate(44 + 48_000);
    let found = of(file).expect("a sound");
    assert_eq!(found.warnings, ["it is truncated: 0.50 s of 1.00 s are present"]);
    assert!((found.samples.len() as i64 - 24_000).abs() < 2000);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(96))]
    #[test]
    fn any_damage_is_decoded_or_refused(
        which in 0_usize..6, cuts in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12), keep in 0.0_f64..1.0, cut in any::<bool>(),
    ) {
        let extension = ["aiff", "flac", "ogg", "mp3", "m4a", "wav"][which];
        let mut bytes = if extension == "wav" {
            wav(44_100, 6, Bits::Whole(24), Some(0x3F), &wave(44_100, 300.0, 0.3))
        } else {
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/sounds/burst.{extension}"));
            std::fs::read(path).expect("a file of this package")
        };
        for (k, (at, value)) in cuts.into_iter().enumerate() {
            // Half of the damage where it hurts: in the heads.
            let within = if k % 2 == 0 { bytes.len() } else { bytes.len().min(200) };
            let at = at.index(within);
            bytes[at] = value;
        }
        if cut {
            bytes.truncate((bytes.len() as f64 * keep) as usize);
        }
        if let Ok(found) = decode(Cursor::new(bytes), Some(extension), RATE) {
            prop_assert!(!found.samples.is_empty() && found.samples.len() <= 31 * 48_000);
            prop_assert!(found.samples.iter().all(|x| x.abs() <= 1.0) && peak(&found.samples) > 0.0);
        }
    }
}
