//! Parses a Standard MIDI File to notes, meters and tempos in ticks.

use super::{LIMIT, MAX_NOTES};
use crate::import::ImportWarning;
use crate::notation::general_midi;
use crate::notation::teeter_meta::{self, MetaEvent};
use crate::notation::{FormatError, count};
use crate::rhythm::{Fraction, expected};
use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};
use std::collections::{BTreeMap, HashMap, VecDeque};

/// Most tracks and channels with notes that are kept apart.
const MAX_PARTS: usize = 1024;

/// A note in ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RawNote {
    pub(super) start: u64,
    pub(super) end: u64,
    pub(super) key: u8,
    pub(super) velocity: u8,
    pub(super) release: u8,
}

/// What one track plays on one channel.
#[derive(Debug, Clone, Default)]
pub(super) struct RawPart {
    /// Track, from 1.
    pub(super) track: usize,
    pub(super) channel: u8,
    pub(super) name: String,
    pub(super) own: Option<MetaEvent>,
    pub(super) program: Option<u8>,
    pub(super) volume: Option<u8>,
    pub(super) pan: Option<u8>,
    pub(super) notes: Vec<RawNote>,
}

/// A file's content.
#[derive(Debug, Clone, Default)]
pub(super) struct Song {
    /// Ticks per quarter; with a division of the second, per half second.
    pub(super) quarter: Option<Fraction>,
    /// Whether the file counts frames of film or video instead of quarters.
    pub(super) frames: bool,
    /// Whether it is one of ours, and if so whether all times are exact.
    pub(super) ours: Option<bool>,
    pub(super) title: String,
    pub(super) note: String,
    /// Meters as upper number and power of two of the lower one, by tick.
    pub(super) meters: BTreeMap<u64, (u8, u8)>,
    /// Microseconds per quarter by tick.
    pub(super) tempos: BTreeMap<u64, u32>,
    pub(super) markers: BTreeMap<u64, String>,
    /// Sections as a file of ours tells them, by tick.
    pub(super) sections: BTreeMap<u64, MetaEvent>,
    /// The last tick of all tracks.
    pub(super) end: u64,
    pub(super) parts: Vec<RawPart>,
    pub(super) warnings: Vec<ImportWarning>,
}

fn byte(at: usize) -> String {
    format!("byte {at}")
}

/// The content of a file.
///
/// # Errors
/// [`FormatError`] for what is no Standard MIDI File of format 0 or 1, for a truncated one, and for one beyond [`LIMIT`] bytes or
/// [`MAX_NOTES`] notes, with the byte, or the track and the tick.
pub(super) fn read(bytes: &[u8]) -> Result<Song, FormatError> {
    if bytes.len() as u64 > LIMIT {
        let message = expected(format!("at most {LIMIT} bytes"), bytes.len());
        return Err(FormatError::new("", message));
    }
    let (start, bytes) = unwrapped(bytes)?;
    let mut at = start;
    let mut song = Song::default();
    let mut said = None;
    let mut track = 0;
    while at < bytes.len() {
        let Some((id, length)) = bytes.get(at..at + 8).map(|h| (&h[..4], &h[4..])) else {
            let message = format!("ignored {} after the last track", count(bytes.len() - at, "byte"));
            song.warnings.push(ImportWarning { place: byte(at), message });
            break;
        };
        let length = u32::from_be_bytes([length[0], length[1], length[2], length[3]]) as usize;
        let (body, left) = (at + 8, bytes.len() - at - 8);
        if length > left {
            let what = if id == b"MTrk" { format!("track {}", track + 1) } else { "a chunk".into() };
            let message = format!("the file is truncated: {what} declares {length} bytes, {left} are present");
            return Err(FormatError::new(byte(at), message));
        }
        let data = &bytes[body..body + length];
        match id {
            b"MThd" if said.is_none() => said = Some(header(data, at, &mut song)?),
            b"MTrk" => {
                track += 1;
                self::track(data, body, track, &mut song)?;
            }
            _ => {
                let name: String = id.iter().map(|b| char::from(*b).escape_default().to_string()).collect();
                let message = format!("skipped the chunk '{name}', which is not a track");
                song.warnings.push(ImportWarning { place: byte(at), message });
            }
        }
        at = body + length;
    }
    match said {
        Some(n) if n > track => {
            let message = format!("the file is truncated: it declares {n} tracks, {track} are present");
            return Err(FormatError::new(byte(bytes.len()), message));
        }
        Some(n) if n < track => {
            let message = format!("the file declares {n} tracks but has {track}; all were read");
            song.warnings.push(ImportWarning { place: byte(start + 10), message });
        }
        _ => {}
    }
    Ok(song)
}

/// Where the MIDI data begins, and the bytes up to where they end: some files are wrapped in a RIFF container.
fn unwrapped(bytes: &[u8]) -> Result<(usize, &[u8]), FormatError> {
    if bytes.starts_with(b"MThd") {
        return Ok((0, bytes));
    }
    let size = |at: usize| bytes.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]) as usize);
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID") {
        let mut at = 12;
        while let (Some(id), Some(length)) = (bytes.get(at..at + 4), size(at + 4)) {
            let body = at + 8;
            if id == b"data" {
                let end = body.checked_add(length).filter(|e| *e <= bytes.len()).ok_or_else(|| {
                    FormatError::new(byte(at), format!("the file is truncated: its data chunk declares {length} bytes"))
                })?;
                return Ok((body, &bytes[..end]));
            }
            at = body.saturating_add(length).saturating_add(length % 2);
        }
    }
    let found: String = bytes.iter().take(4).map(|b| char::from(*b).escape_default().to_string()).collect();
    Err(FormatError::new(byte(0), expected("a Standard MIDI File, which begins with 'MThd'", format!("'{found}'"))))
}

/// Reads the header; gives the number of tracks it tells.
fn header(data: &[u8], at: usize, song: &mut Song) -> Result<usize, FormatError> {
    let word = |i: usize| data.get(i..i + 2).map(|b| u16::from_be_bytes([b[0], b[1]]));
    let (Some(format), Some(tracks), Some(division)) = (word(0), word(2), word(4)) else {
        return Err(FormatError::new(byte(at), expected("a header of at least 6 bytes", data.len())));
    };
    if format > 1 {
        let message = match format {
            2 => expected("format 0 or 1", "format 2 (independent patterns)"),
            n => expected("format 0 or 1", format!("format {n}")),
        };
        return Err(FormatError::new(byte(at + 8), message));
    }
    song.frames = division & 0x8000 != 0;
    song.quarter = if song.frames {
        let per_frame = i64::from(division & 0xff);
        // 29 stands for the 30000 frames in 1001 seconds of colour television.
        let per_second = match (division >> 8) as u8 as i8 {
            -24 => Fraction::new(24, 1),
            -25 => Fraction::new(25, 1),
            -29 => Fraction::new(30_000, 1001),
            -30 => Fraction::new(30, 1),
            n => {
                let message = expected("24, 25, 29 or 30 frames per second", -i32::from(n));
                return Err(FormatError::new(byte(at + 12), message));
            }
        };
        per_second.and_then(|f| f.times(Fraction::new(per_frame, 2)?))
    } else {
        Fraction::new(i64::from(division), 1)
    };
    if song.quarter.is_none_or(|q| q <= Fraction::ZERO) {
        return Err(FormatError::new(byte(at + 12), expected("1 to 32767 ticks per quarter", 0)));
    }
    Ok(usize::from(tracks))
}

/// Words of a file: UTF-8, or else one character a byte; line ends only where asked for.
fn text(bytes: &[u8]) -> String {
    let text =
        std::str::from_utf8(bytes).map_or_else(|_| bytes.iter().map(|b| char::from(*b)).collect(), str::to_owned);
    text.chars().filter(|c| !c.is_control() || *c == '\n').take(100_000).collect()
}

/// A track as it is read.
struct Reader<'a> {
    number: usize,
    song: &'a mut Song,
    name: String,
    own: Option<MetaEvent>,
    parts: HashMap<u8, RawPart>,
    /// Notes that sound, by channel and key, the first begun first.
    open: HashMap<(u8, u8), VecDeque<usize>>,
    count: usize,
    strays: usize,
}

fn track(data: &[u8], body: usize, number: usize, song: &mut Song) -> Result<(), FormatError> {
    let before: usize = song.parts.iter().map(|p| p.notes.len()).sum();
    let mut reader = Reader {
        number,
        song,
        name: String::new(),
        own: None,
        parts: HashMap::new(),
        open: HashMap::new(),
        count: before,
        strays: 0,
    };
    let mut events = EventIter::new(data);
    let mut now = 0_u64;
    let mut ended = false;
    while !ended {
        let left = events.unread().len();
        let Some(event) = events.next().and_then(Result::ok) else {
            if left > 0 {
                let message = "truncated or invalid event";
                let place = format!("track {number}, tick {now}, byte {}", body + data.len() - left);
                return Err(FormatError::new(place, message));
            }
            break;
        };
        now += u64::from(event.delta.as_int());
        ended = matches!(event.kind, TrackEventKind::Meta(MetaMessage::EndOfTrack));
        reader.event(event.kind, now)?;
    }
    if !ended {
        let message = "the track has no end-of-track event; its events were read";
        reader
            .song
            .warnings
            .push(ImportWarning { place: format!("track {number}, tick {now}"), message: message.into() });
    }
    reader.close(now);
    Ok(())
}

impl Reader<'_> {
    fn event(&mut self, kind: TrackEventKind<'_>, now: u64) -> Result<(), FormatError> {
        match kind {
            TrackEventKind::Meta(meta) => {
                self.meta(meta, now);
                Ok(())
            }
            TrackEventKind::Midi { channel, message } => self.message(channel.as_int(), message, now),
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => Ok(()),
        }
    }

    fn meta(&mut self, meta: MetaMessage<'_>, now: u64) {
        match meta {
            MetaMessage::TimeSignature(upper, power, _, _) => drop(self.song.meters.insert(now, (upper, power))),
            MetaMessage::Tempo(microseconds) => drop(self.song.tempos.insert(now, microseconds.as_int())),
            MetaMessage::Marker(message) => drop(self.song.markers.insert(now, text(message).replace('\n', " "))),
            MetaMessage::TrackName(message) if self.name.is_empty() => {
                text(message).replace('\n', " ").trim().clone_into(&mut self.name);
            }
            MetaMessage::Text(message) => match teeter_meta::parse(&text(message)) {
                Some(MetaEvent::File { exact }) => self.song.ours = Some(exact),
                Some(MetaEvent::Note(note)) => self.song.note = note,
                Some(section @ MetaEvent::Section { .. }) => drop(self.song.sections.insert(now, section)),
                Some(own) => self.own = Some(own),
                None => {}
            },
            _ => {}
        }
    }

    fn part(&mut self, channel: u8) -> &mut RawPart {
        let number = self.number;
        self.parts.entry(channel).or_insert_with(|| RawPart { track: number, channel, ..RawPart::default() })
    }

    fn message(&mut self, channel: u8, message: MidiMessage, now: u64) -> Result<(), FormatError> {
        match message {
            MidiMessage::NoteOn { key, vel } if vel > 0 => {
                self.count += 1;
                if self.count > MAX_NOTES {
                    let place = format!("track {}, tick {now}", self.number);
                    return Err(FormatError::new(place, expected(format!("at most {MAX_NOTES} notes"), "more")));
                }
                let note =
                    RawNote { start: now, end: u64::MAX, key: key.as_int(), velocity: vel.as_int(), release: 64 };
                let notes = &mut self.part(channel).notes;
                notes.push(note);
                let index = notes.len() - 1;
                self.open.entry((channel, key.as_int())).or_default().push_back(index);
            }
            MidiMessage::NoteOn { key, .. } => self.off(channel, key.as_int(), 64, now),
            MidiMessage::NoteOff { key, vel } => self.off(channel, key.as_int(), vel.as_int(), now),
            MidiMessage::ProgramChange { program } => {
                self.part(channel).program.get_or_insert(program.as_int());
            }
            MidiMessage::Controller { controller, value } => {
                let part = self.part(channel);
                match controller.as_int() {
                    general_midi::VOLUME => drop(part.volume.get_or_insert(value.as_int())),
                    general_midi::PAN => drop(part.pan.get_or_insert(value.as_int())),
                    _ => {}
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn off(&mut self, channel: u8, key: u8, release: u8, now: u64) {
        let Some(index) = self.open.get_mut(&(channel, key)).and_then(VecDeque::pop_front) else {
            self.strays += 1;
            return;
        };
        let note = &mut self.part(channel).notes[index];
        (note.end, note.release) = (now, release);
    }

    /// Ends the track and files its parts in the song, in order of their channels.
    fn close(self, now: u64) {
        let place = format!("track {}", self.number);
        let song = self.song;
        song.end = song.end.max(now);
        let mut parts: Vec<RawPart> = self.parts.into_values().collect();
        parts.sort_by_key(|p| p.channel);
        let open: usize = self.open.values().map(VecDeque::len).sum();
        if open > 0 {
            let message = match open {
                1 => "1 note has no note-off; it ends with the track".to_owned(),
                n => format!("{n} notes have no note-off; they end with the track"),
            };
            song.warnings.push(ImportWarning { place: place.clone(), message });
        }
        if self.strays > 0 {
            let message = match self.strays {
                1 => "ignored 1 note-off without a note-on".to_owned(),
                n => format!("ignored {n} note-offs without a note-on"),
            };
            song.warnings.push(ImportWarning { place: place.clone(), message });
        }
        for part in &mut parts {
            part.notes.iter_mut().filter(|n| n.end == u64::MAX).for_each(|n| n.end = now);
        }
        parts.retain(|p| !p.notes.is_empty());
        if let (true, Some(own)) = (parts.is_empty(), &self.own) {
            parts.push(RawPart { track: self.number, own: Some(own.clone()), ..RawPart::default() });
        }
        if self.number == 1 && parts.is_empty() {
            song.title.clone_from(&self.name);
        }
        let several = parts.len() > 1;
        for mut part in parts {
            part.name = match (self.name.as_str(), several) {
                ("", false) => format!("track {}", self.number),
                ("", true) => format!("channel {}", part.channel + 1),
                (name, false) => name.to_owned(),
                (name, true) => format!("{name}, channel {}", part.channel + 1),
            };
            part.own.clone_from(&self.own);
            if song.parts.len() < MAX_PARTS {
                song.parts.push(part);
            } else {
                let message = format!(
                    "more than {MAX_PARTS} tracks and channels with notes; {} left out",
                    count(part.notes.len(), "note")
                );
                song.warnings.push(ImportWarning { place: place.clone(), message });
            }
        }
    }
}
