//! Cues of a rendered sequence, as a table in text and as chunks of a RIFF file.

use crate::sound::units::{Frame, SampleRate};
use std::fmt::Write;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Cue {
    pub frame: Frame,
    pub name: String,
    /// May be empty.
    pub note: String,
}

/// The cues as a tab-separated table: a header, then frame, seconds (rounded to nanoseconds), name and note of each.
pub(crate) fn cue_table(cues: &[Cue], rate: SampleRate) -> String {
    let mut text = String::from("frame\tseconds\tname\tnote\n");
    for cue in cues {
        let hertz = i128::from(rate.hertz());
        let nanos = (i128::from(cue.frame.0) * 1_000_000_000 + hertz / 2) / hertz;
        let (whole, part) = (nanos / 1_000_000_000, nanos % 1_000_000_000);
        let (name, note) = (single_line(&cue.name), single_line(&cue.note));
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}\t{whole}.{part:09}\t{name}\t{note}", cue.frame.0);
    }
    text
}

/// The cues as RIFF chunks: `cue ` with the frames, and `LIST` of type `adtl` with a `labl` per name and a `note` per note
/// (Multimedia Programming Interface and Data Specifications 1.0, RIFF WAVE, IBM and Microsoft 1991). Nothing without cues.
pub(super) fn chunks(cues: &[Cue]) -> Vec<u8> {
    if cues.is_empty() {
        return Vec::new();
    }
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX).to_le_bytes();
    let mut points = number(cues.len()).to_vec();
    let mut texts = b"adtl".to_vec();
    for (k, cue) in cues.iter().enumerate() {
        let id = number(k + 1);
        let frame = number(usize::try_from(cue.frame.0).unwrap_or(0));
        points.extend([id, frame, *b"data", [0; 4], [0; 4], frame].concat());
        for (kind, text) in [(b"labl", &cue.name), (b"note", &cue.note)] {
            if !text.is_empty() {
                push_chunk(&mut texts, *kind, &[&id, single_line(text).as_bytes(), &[0]].concat());
            }
        }
    }
    let mut bytes = Vec::new();
    push_chunk(&mut bytes, *b"cue ", &points);
    push_chunk(&mut bytes, *b"LIST", &texts);
    bytes
}

/// Appends a chunk: kind, length, bytes, and a zero if the length is odd.
fn push_chunk(all: &mut Vec<u8>, kind: [u8; 4], bytes: &[u8]) {
    all.extend(kind);
    all.extend(u32::try_from(bytes.len()).unwrap_or(u32::MAX).to_le_bytes());
    all.extend(bytes);
    all.extend((bytes.len() % 2 == 1).then_some(0));
}

/// The text on one line, without tabs and other control characters.
fn single_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
