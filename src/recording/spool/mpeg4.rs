//! The edit list of an MPEG-4 or `QuickTime` file: where the sound of its first audio track begins and ends.
//!
//! Boxes are those of ISO/IEC 14496-12. The reader of the container ignores edits, so what an encoder inserted before the sound
//! would be heard.

use std::io::{self, Read, Seek, SeekFrom};

/// Largest `moov` box that is read.
const MAX_MOOV: u64 = 64 << 20;
/// Boxes passed at the top level before giving up.
const MAX_BOXES: usize = 100_000;

/// What the file says of its first audio track.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct AudioTrack {
    /// Name of its sample entry.
    pub(super) entry: [u8; 4],
    /// Ticks of the track's time per second.
    pub(super) timescale: u32,
    /// The tick at which the sound begins.
    pub(super) start: u64,
    /// Whether an edit list says so.
    pub(super) has_edits: bool,
    /// Most ticks of the sound, if the edit list limits them.
    pub(super) length: Option<u64>,
}

/// Reads the boxes of a file that may be an MPEG-4 one. The source is left at its beginning.
pub(super) fn audio_track(source: &mut (impl Read + Seek), length: u64) -> io::Result<Option<AudioTrack>> {
    let found = find_moov(source, length)?.and_then(|moov| first_audio_track(&moov));
    source.rewind()?;
    Ok(found)
}

fn find_moov(source: &mut (impl Read + Seek), length: u64) -> io::Result<Option<Vec<u8>>> {
    let mut at = 0;
    for k in 0..MAX_BOXES {
        source.seek(SeekFrom::Start(at))?;
        let mut header = [0; 16];
        let read = read_up_to(source, &mut header)?;
        let Some((name, start, size)) = read_header(&header[..read], length - at) else { return Ok(None) };
        if k == 0 && !matches!(&name, b"ftyp" | b"moov" | b"mdat" | b"wide" | b"free" | b"skip" | b"pnot") {
            return Ok(None);
        }
        if &name == b"moov" && size <= MAX_MOOV {
            source.seek(SeekFrom::Start(at + start))?;
            let mut content = Vec::new();
            source.by_ref().take(size - start).read_to_end(&mut content)?;
            return Ok(Some(content));
        }
        at += size;
        if at >= length {
            break;
        }
    }
    Ok(None)
}

fn read_up_to(source: &mut impl Read, into: &mut [u8]) -> io::Result<usize> {
    let mut read = 0;
    while read < into.len() {
        match source.read(&mut into[read..])? {
            0 => break,
            count => read += count,
        }
    }
    Ok(read)
}

/// Name, length of the header and size of a box with `left` bytes to the end of what contains it.
fn read_header(bytes: &[u8], left: u64) -> Option<([u8; 4], u64, u64)> {
    let name = bytes.get(4..8)?.try_into().ok()?;
    let (start, size) = match u64::from(word(bytes, 0)?) {
        0 => (8, left),
        1 => (16, long(bytes, 8)?),
        size => (8, size),
    };
    (size >= start && size <= left.max(start)).then_some((name, start, size))
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

fn long(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_be_bytes(bytes.get(at..at.checked_add(8)?)?.try_into().ok()?))
}

/// The boxes within the content of a box.
fn boxes(content: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = content;
    std::iter::from_fn(move || {
        let (name, start, size) = read_header(rest, rest.len() as u64)?;
        let (this, after) = rest.split_at_checked(size as usize)?;
        rest = after;
        Some((name, this.get(start as usize..)?))
    })
}

fn find<'b>(content: &'b [u8], path: &[&[u8; 4]]) -> Option<&'b [u8]> {
    path.iter().try_fold(content, |content, name| boxes(content).find(|(n, _)| n == *name).map(|(_, inner)| inner))
}

fn first_audio_track(moov: &[u8]) -> Option<AudioTrack> {
    let movie_timescale = find(moov, &[b"mvhd"]).and_then(timescale)?;
    boxes(moov).filter(|(name, _)| name == b"trak").find_map(|(_, trak)| {
        let handler = find(trak, &[b"mdia", b"hdlr"])?;
        if handler.get(8..12)? != b"soun" {
            return None;
        }
        let timescale = find(trak, &[b"mdia", b"mdhd"]).and_then(timescale)?;
        let entries = find(trak, &[b"mdia", b"minf", b"stbl", b"stsd"])?;
        let entry = entries.get(12..16)?.try_into().ok()?;
        let edit = find(trak, &[b"edts", b"elst"]).and_then(first_edit);
        let (start, duration) = edit.unwrap_or_default();
        // An edit's duration counts the movie's ticks, which are coarser; it is rounded up.
        let ticks = u128::from(duration + 1) * u128::from(timescale) / u128::from(movie_timescale.max(1));
        let length = (duration > 0).then(|| u64::try_from(ticks).unwrap_or(u64::MAX));
        Some(AudioTrack { entry, timescale, start, has_edits: edit.is_some(), length })
    })
}

/// The ticks per second in a header of a movie or of a track's media.
fn timescale(header: &[u8]) -> Option<u32> {
    word(header, if *header.first()? == 1 { 20 } else { 12 })
}

/// Start and duration of the first edit that is not empty.
fn first_edit(list: &[u8]) -> Option<(u64, u64)> {
    let wide = *list.first()? == 1;
    let count = word(list, 4)?.min(16) as usize;
    (0..count).find_map(|k| {
        let (duration, start) = if wide {
            (long(list, 8 + 20 * k)?, long(list, 16 + 20 * k).filter(|t| *t != u64::MAX)?)
        } else {
            let start = word(list, 12 + 12 * k).filter(|t| *t != u32::MAX)?;
            (u64::from(word(list, 8 + 12 * k)?), u64::from(start))
        };
        Some((start, duration))
    })
}
