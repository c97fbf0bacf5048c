//! Parses a Standard MIDI File to notes, meters and tempos in ticks.

use super::{MAX_BYTES, MAX_NOTES};
use crate::import::Warnings;
use crate::notation::FormatError;
use crate::notation::general_midi;
use crate::notation::teeter_meta::{self, MetaEvent};
use crate::rhythm::{Fraction, count, expected};
use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};
use std::collections::{BTreeMap, HashMap, VecDeque};

const MAX_TRACK_CHANNELS: usize = 1024;
const MAX_TEXT_CHARS: usize = 100_000;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct TickNote {
    pub(super) start: u64,
    pub(super) end: u64,
    pub(super) key: u8,
    pub(super) velocity: u8,
    pub(super) release_velocity: u8,
    /// Whether a grace stroke before it was found.
    pub(super) flam: bool,
}

/// The notes of one track on one channel.
#[derive(Debug, Clone, Default)]
pub(super) struct RawPart {
    /// From 1.
    pub(super) track: usize,
    pub(super) channel: u8,
    pub(super) name: String,
    pub(super) meta: Option<MetaEvent>,
    pub(super) program: Option<u8>,
    pub(super) volume: Option<u8>,
    pub(super) pan: Option<u8>,
    pub(super) notes: Vec<TickNote>,
}

/// What wrote a file.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) enum Origin {
    #[default]
    Other,
    /// This program, with times rounded to ticks.
    TeeterRounded,
    /// This program, with every time exact.
    TeeterExact,
}

#[derive(Debug, Default)]
pub(super) struct Song {
    /// Ticks per quarter; in a file that counts SMPTE frames, per half second.
    pub(super) ticks_per_quarter: Option<Fraction>,
    pub(super) counts_smpte_frames: bool,
    pub(super) origin: Origin,
    pub(super) title: String,
    pub(super) note: String,
    /// Meters by tick: the upper number, and the lower one as a power of two.
    pub(super) meters: BTreeMap<u64, (u8, u8)>,
    /// Microseconds per quarter by tick.
    pub(super) tempos: BTreeMap<u64, u32>,
    pub(super) markers: BTreeMap<u64, String>,
    /// The section events of this program, by tick.
    pub(super) sections: BTreeMap<u64, MetaEvent>,
    pub(super) end_tick: u64,
    pub(super) parts: Vec<RawPart>,
    pub(super) warnings: Warnings,
}

fn error(at: usize, message: impl Into<String>) -> FormatError {
    FormatError::new(byte_place(at), message)
}

fn byte_place(at: usize) -> String {
    format!("byte {at}")
}

/// # Errors
/// [`FormatError`] with the byte, or the track and the tick: for what is no Standard MIDI File of format 0 or 1, for a truncated
/// file, and for one beyond [`MAX_BYTES`] bytes or [`MAX_NOTES`] notes.
pub(super) fn read(bytes: &[u8]) -> Result<Song, FormatError> {
    if bytes.len() as u64 > MAX_BYTES {
        return Err(FormatError::new("", expected(format!("at most {MAX_BYTES} bytes"), bytes.len())));
    }
    let (start, bytes) = strip_riff(bytes)?;
    let mut at = start;
    let mut song = Song::default();
    let mut declared = None;
    let mut tracks = 0;
    while at < bytes.len() {
        let is_complete = declared.is_some_and(|n| tracks >= n);
        let chunk = bytes.get(at..at + 8).map(|h| (&h[..4], u32::from_be_bytes([h[4], h[5], h[6], h[7]]) as usize));
        // Some programs leave bytes after the last track, which mostly look like no chunk.
        let fits = |length: usize| length <= bytes.len() - at - 8;
        let is_chunk = |id: &[u8], length| id == b"MTrk" || id.iter().all(u8::is_ascii_graphic) && fits(length);
        let Some((id, length)) = chunk.filter(|c| !is_complete || is_chunk(c.0, c.1)) else {
            song.warnings
                .add(byte_place(at), format!("ignored {} after the last track", count(bytes.len() - at, "byte")));
            break;
        };
        let (body, left) = (at + 8, bytes.len() - at - 8);
        if length > left {
            let what = if id == b"MTrk" { format!("track {}", tracks + 1) } else { "a chunk".into() };
            return Err(error(
                at,
                format!("the file is truncated: {what} declares {length} bytes, {left} are present"),
            ));
        }
        let data = &bytes[body..body + length];
        match id {
            b"MThd" if declared.is_none() => declared = Some(read_header(data, at, &mut song)?),
            b"MTrk" => {
                tracks += 1;
                read_track(data, body, tracks, &mut song)?;
            }
            _ => {
                let message = format!("skipped the chunk '{}', which is not a track", id.escape_ascii());
                song.warnings.add(byte_place(at), message);
            }
        }
        at = body + length;
    }
    match declared {
        Some(n) if n > tracks => {
            let message = format!("the file is truncated: it declares {n} tracks, {tracks} are present");
            return Err(error(bytes.len(), message));
        }
        Some(n) if n < tracks => {
            let message = format!("the file declares {n} tracks but has {tracks}; all were read");
            song.warnings.add(byte_place(start + 10), message);
        }
        _ => {}
    }
    Ok(song)
}

/// The start of the MIDI data, and the bytes up to its end: some files are wrapped in a RIFF container.
fn strip_riff(bytes: &[u8]) -> Result<(usize, &[u8]), FormatError> {
    if bytes.starts_with(b"MThd") {
        return Ok((0, bytes));
    }
    let size = |at: usize| bytes.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]) as usize);
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID") {
        let mut at = 12;
        while let (Some(id), Some(length)) = (bytes.get(at..at + 4), size(at + 4)) {
            let body = at + 8;
            if id == b"data" {
                let truncated = || error(at, format!("the file is truncated: its data chunk declares {length} bytes"));
                let end = body.checked_add(length).filter(|e| *e <= bytes.len()).ok_or_else(truncated)?;
                return Ok((body, &bytes[..end]));
            }
            at = body.saturating_add(length).saturating_add(length % 2);
        }
    }
    let found = format!("'{}'", bytes[..bytes.len().min(4)].escape_ascii());
    Err(error(0, expected("a Standard MIDI File, which begins with 'MThd'", found)))
}

/// Reads the header and returns the number of tracks it declares.
fn read_header(data: &[u8], at: usize, song: &mut Song) -> Result<usize, FormatError> {
    let word = |i: usize| data.get(i..i + 2).map(|b| u16::from_be_bytes([b[0], b[1]]));
    let (Some(format), Some(tracks), Some(division)) = (word(0), word(2), word(4)) else {
        return Err(error(at, expected("a header of at least 6 bytes", data.len())));
    };
    if format > 1 {
        let kind = if format == 2 { " (independent patterns)" } else { "" };
        return Err(error(at + 8, expected("format 0 or 1", format!("format {format}{kind}"))));
    }
    song.counts_smpte_frames = division & 0x8000 != 0;
    song.ticks_per_quarter = if song.counts_smpte_frames {
        let per_frame = i64::from(division & 0xff);
        // 29 stands for the 30000 frames in 1001 seconds of colour television.
        let per_second = match (division >> 8) as u8 as i8 {
            -24 => Fraction::new(24, 1),
            -25 => Fraction::new(25, 1),
            -29 => Fraction::new(30_000, 1001),
            -30 => Fraction::new(30, 1),
            n => return Err(error(at + 12, expected("24, 25, 29 or 30 frames per second", -i32::from(n)))),
        };
        per_second.and_then(|f| f.times(Fraction::new(per_frame, 2)?))
    } else {
        Fraction::new(i64::from(division), 1)
    };
    if song.ticks_per_quarter.is_none_or(|q| q <= Fraction::ZERO) {
        return Err(error(at + 12, expected("1 to 32767 ticks per quarter", 0)));
    }
    Ok(usize::from(tracks))
}

/// Decodes a text event: UTF-8, or else one character per byte. Line ends stay, other control characters go.
fn decode_text(bytes: &[u8]) -> String {
    let text =
        std::str::from_utf8(bytes).map_or_else(|_| bytes.iter().map(|b| char::from(*b)).collect(), str::to_owned);
    text.chars().filter(|c| !c.is_control() || *c == '\n').take(MAX_TEXT_CHARS).collect()
}

struct TrackReader<'a> {
    /// From 1.
    number: usize,
    song: &'a mut Song,
    name: String,
    meta: Option<MetaEvent>,
    /// By channel.
    parts: BTreeMap<u8, RawPart>,
    /// Indices of the notes that sound, by channel and key, the earliest first.
    open_notes: HashMap<(u8, u8), VecDeque<usize>>,
    note_count: usize,
    stray_offs: usize,
}

fn read_track(data: &[u8], body: usize, number: usize, song: &mut Song) -> Result<(), FormatError> {
    let mut reader = TrackReader {
        number,
        name: String::new(),
        meta: None,
        parts: BTreeMap::new(),
        open_notes: HashMap::new(),
        note_count: song.parts.iter().map(|p| p.notes.len()).sum(),
        stray_offs: 0,
        song,
    };
    let mut events = EventIter::new(data);
    let mut now = 0_u64;
    let mut ended = false;
    while !ended {
        let left = events.unread().len();
        let Some(event) = events.next().and_then(Result::ok) else {
            if left > 0 {
                let place = format!("track {number}, tick {now}, byte {}", body + data.len() - left);
                return Err(FormatError::new(place, "truncated or invalid event"));
            }
            break;
        };
        now += u64::from(event.delta.as_int());
        match event.kind {
            TrackEventKind::Meta(MetaMessage::EndOfTrack) => ended = true,
            TrackEventKind::Meta(meta) => reader.meta_event(meta, now),
            TrackEventKind::Midi { channel, message } => reader.message(channel.as_int(), message, now)?,
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
        }
    }
    if !ended {
        let message = "the track has no end-of-track event; its events were read";
        reader.song.warnings.add(format!("track {number}, tick {now}"), message);
    }
    reader.finish(now);
    Ok(())
}

impl TrackReader<'_> {
    fn meta_event(&mut self, meta: MetaMessage<'_>, now: u64) {
        match meta {
            MetaMessage::TimeSignature(upper, power, _, _) => drop(self.song.meters.insert(now, (upper, power))),
            MetaMessage::Tempo(microseconds) => drop(self.song.tempos.insert(now, microseconds.as_int())),
            MetaMessage::Marker(text) => drop(self.song.markers.insert(now, decode_text(text).replace('\n', " "))),
            MetaMessage::TrackName(text) if self.name.is_empty() => {
                decode_text(text).replace('\n', " ").trim().clone_into(&mut self.name);
            }
            MetaMessage::Text(text) => match teeter_meta::parse(&decode_text(text)) {
                Some(MetaEvent::File { exact }) => {
                    self.song.origin = if exact { Origin::TeeterExact } else { Origin::TeeterRounded };
                }
                Some(MetaEvent::Note(note)) => self.song.note = note,
                Some(section @ MetaEvent::Section { .. }) => drop(self.song.sections.insert(now, section)),
                Some(meta) => self.meta = Some(meta),
                None => {}
            },
            _ => {}
        }
    }

    fn part_of_channel(&mut self, channel: u8) -> &mut RawPart {
        let track = self.number;
        self.parts.entry(channel).or_insert_with(|| RawPart { track, channel, ..RawPart::default() })
    }

    fn message(&mut self, channel: u8, message: MidiMessage, now: u64) -> Result<(), FormatError> {
        match message {
            MidiMessage::NoteOn { key, vel } if vel > 0 => {
                self.note_count += 1;
                if self.note_count > MAX_NOTES {
                    let place = format!("track {}, tick {now}", self.number);
                    return Err(FormatError::new(place, expected(format!("at most {MAX_NOTES} notes"), "more")));
                }
                let (key, velocity) = (key.as_int(), vel.as_int());
                let notes = &mut self.part_of_channel(channel).notes;
                let index = notes.len();
                notes.push(TickNote { start: now, end: u64::MAX, key, velocity, release_velocity: 64, flam: false });
                self.open_notes.entry((channel, key)).or_default().push_back(index);
            }
            MidiMessage::NoteOn { key, .. } => self.note_off(channel, key.as_int(), 64, now),
            MidiMessage::NoteOff { key, vel } => self.note_off(channel, key.as_int(), vel.as_int(), now),
            MidiMessage::ProgramChange { program } => {
                self.part_of_channel(channel).program.get_or_insert(program.as_int());
            }
            MidiMessage::Controller { controller, value } => {
                let part = self.part_of_channel(channel);
                match controller.as_int() {
                    general_midi::VOLUME_CONTROLLER => drop(part.volume.get_or_insert(value.as_int())),
                    general_midi::PAN_CONTROLLER => drop(part.pan.get_or_insert(value.as_int())),
                    _ => {}
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn note_off(&mut self, channel: u8, key: u8, release_velocity: u8, now: u64) {
        let Some(index) = self.open_notes.get_mut(&(channel, key)).and_then(VecDeque::pop_front) else {
            self.stray_offs += 1;
            return;
        };
        let note = &mut self.part_of_channel(channel).notes[index];
        (note.end, note.release_velocity) = (now, release_velocity);
    }

    /// Ends the track and adds its parts to the song, in order of channels.
    fn finish(self, now: u64) {
        let place = format!("track {}", self.number);
        let song = self.song;
        song.end_tick = song.end_tick.max(now);
        let open = self.open_notes.values().map(VecDeque::len).sum();
        let many = format!("{open} notes have no note-off; they end with the track");
        song.warnings.add_counted(&place, open, "1 note has no note-off; it ends with the track", many);
        if self.stray_offs > 0 {
            let message = format!("ignored {} without a note-on", count(self.stray_offs, "note-off"));
            song.warnings.add(&place, message);
        }
        let mut parts: Vec<RawPart> = self.parts.into_values().filter(|p| !p.notes.is_empty()).collect();
        for part in &mut parts {
            part.notes.iter_mut().filter(|n| n.end == u64::MAX).for_each(|n| n.end = now);
        }
        if parts.is_empty() {
            if self.number == 1 && self.meta.is_none() {
                song.title.clone_from(&self.name);
            }
            // A layer or a click track without a note is still one.
            parts.extend(self.meta.as_ref().map(|_| RawPart { track: self.number, ..RawPart::default() }));
        }
        let several = parts.len() > 1;
        for mut part in parts {
            part.name = match (self.name.as_str(), several) {
                ("", false) => place.clone(),
                ("", true) => format!("channel {}", part.channel + 1),
                (name, false) => name.to_owned(),
                (name, true) => format!("{name}, channel {}", part.channel + 1),
            };
            part.meta.clone_from(&self.meta);
            if song.parts.len() < MAX_TRACK_CHANNELS {
                song.parts.push(part);
            } else {
                let left_out = count(part.notes.len(), "note");
                let message =
                    format!("more than {MAX_TRACK_CHANNELS} tracks and channels with notes; {left_out} left out");
                song.warnings.add(&place, message);
            }
        }
    }
}
