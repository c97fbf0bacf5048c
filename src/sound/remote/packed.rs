//! A schedule as it travels: exact points and what each sound is made from, no samples.

#[cfg(test)]
mod tests;

use super::few::Few;
use crate::rhythm::{Accent, Pitch, Voice};
use crate::sound::CLICK_TONES;
use crate::sound::clock::FrameTime;
use crate::sound::position::{Piece, PositionMap};
use crate::sound::render::MAX_POLYPHONY;
use crate::sound::schedule::{Note, Schedule};
use crate::sound::units::SampleRate;
use crate::sound::voice::{self, SampleSource, SynthKey, Tone};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::sync::Arc;

/// Most sounds of a loop.
pub(super) const NOTES: usize = 1 << 19;
/// Most different sounds, and most ways to strike them.
const SOUNDS: usize = 512;
const KINDS: usize = 1 << 16;
/// Most stretches of one pace: 128 sections, 64 times through each.
const PIECES: usize = 128 * 64;
/// Longest loop in frames; the playhead has no place for more.
const LONGEST: u64 = 1 << 46;
/// Largest common denominator of the ruler.
const DENOM: u128 = 1 << 120;
/// Largest factor of a channel: +30 dB, more than a layer's gain and accent depth together.
const FACTOR: f32 = 32.0;
/// Sounds that may begin at one frame.
const AT_ONCE: usize = MAX_POLYPHONY;

/// Why a schedule cannot travel, or what came cannot be sounded, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Unfit(String);

impl std::fmt::Display for Unfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl Unfit {
    pub(super) fn new(words: &str) -> Self {
        Self(words.to_owned())
    }
}

fn unfit<T>(words: impl Into<String>) -> Result<T, Unfit> {
    Err(Unfit(words.into()))
}

/// A point: whole frames, and a part over the schedule's denominator.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct At(u64, u128);

/// What a sound is made from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Made {
    /// A voice by its name, the key of its pitch, its accent.
    Voice(String, Option<u8>, u8),
    /// The click of the written beat, with its accent.
    Beat(u8),
    /// The click of a hearing: its tone and accent.
    Line(u8, u8),
    /// A sound of the user's own that was sent before, by its hash.
    Own(u64),
}

/// One way to strike: sound, frames after which it is damped, factors of the channels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Kind(u32, u32, f32, f32);

/// Section, time through, whole notes from and to, frames per whole note.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Stretch(At, u16, u16, f64, f64, f64);

/// Frames since the note before, part of a frame, and its kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Knock(u64, u128, u32);

/// The form that travels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Packed {
    rate: u32,
    denom: u128,
    length: At,
    pieces: Few<Stretch, PIECES>,
    sounds: Few<Made, SOUNDS>,
    kinds: Few<Kind, KINDS>,
    notes: Few<Knock, NOTES>,
}

fn accent_number(accent: Accent) -> u8 {
    match accent {
        Accent::Ghost => 0,
        Accent::Plain => 1,
        Accent::Accent => 2,
    }
}

fn accent_of(number: u8) -> Result<Accent, Unfit> {
    match number {
        0 => Ok(Accent::Ghost),
        1 => Ok(Accent::Plain),
        2 => Ok(Accent::Accent),
        n => unfit(format!("unknown accent {n}")),
    }
}

/// Gives a sound of the user's own by its hash.
pub(super) type Shelved<'a> = &'a dyn Fn(u64) -> Option<Arc<[f32]>>;

impl Made {
    fn of(origin: SampleSource) -> Self {
        let strike = match origin {
            SampleSource::Synth(strike) => strike,
            SampleSource::User { hash, .. } => return Made::Own(hash),
        };
        let accent = accent_number(strike.accent);
        match strike.tone {
            Tone::Voice(voice, pitch) => Made::Voice(voice.name().to_owned(), pitch.map(Pitch::key), accent),
            Tone::Beat => Made::Beat(accent),
            Tone::Line(tone) => Made::Line(tone, accent),
        }
    }

    /// The sound, at a rate.
    fn sound(&self, rate: SampleRate, own: Shelved<'_>) -> Result<(SampleSource, Arc<[f32]>), Unfit> {
        let strike = match self {
            Made::Own(hash) => {
                let Some(samples) = own(*hash) else { return unfit("a sound file is missing") };
                return Ok((SampleSource::User { hash: *hash, rate }, samples));
            }
            made => made.strike(rate)?,
        };
        Ok((SampleSource::Synth(strike), voice::sound(strike)))
    }

    fn strike(&self, rate: SampleRate) -> Result<SynthKey, Unfit> {
        match self {
            Made::Own(_) => unfit("a sound file where a voice is expected"),
            Made::Voice(name, key, accent) => {
                let Some(voice) = Voice::parse(name) else {
                    return unfit("unknown voice");
                };
                let pitch = match key {
                    Some(key) => Some(Pitch::new(*key).ok_or_else(|| Unfit(format!("unknown pitch {key}")))?),
                    None => None,
                };
                Ok(SynthKey::new(rate, voice, pitch, accent_of(*accent)?))
            }
            Made::Beat(accent) => Ok(SynthKey { rate, tone: Tone::Beat, accent: accent_of(*accent)? }),
            Made::Line(tone, accent) if *tone < CLICK_TONES => {
                Ok(SynthKey { rate, tone: Tone::Line(*tone), accent: accent_of(*accent)? })
            }
            Made::Line(tone, _) => unfit(format!("unknown click tone {tone}")),
        }
    }
}

fn packed_point(point: FrameTime) -> Result<At, Unfit> {
    match (u64::try_from(point.frame), u128::try_from(point.part)) {
        (Ok(frame), Ok(part)) => Ok(At(frame, part)),
        _ => unfit("a time before the loop"),
    }
}

/// Packs a schedule.
///
/// # Errors
/// [`Unfit`] if it is larger than the far speaker takes.
pub(super) fn pack(schedule: &Schedule) -> Result<Packed, Unfit> {
    if schedule.notes.len() > NOTES {
        return unfit(format!(
            "expected a loop of at most {NOTES} notes for the remote speaker, found {}",
            schedule.notes.len()
        ));
    }
    if schedule.sources.len() > SOUNDS {
        let many = schedule.sources.len();
        return unfit(format!(
            "expected a loop of at most {SOUNDS} different sounds for the remote speaker, found {many}"
        ));
    }
    let map = &schedule.map;
    let mut kinds = Vec::new();
    let mut known = HashMap::new();
    let mut notes = Vec::with_capacity(schedule.notes.len());
    let mut last = 0;
    for note in &schedule.notes {
        let At(frame, part) = packed_point(note.at)?;
        let key = (note.sound, note.hold, note.left.to_bits(), note.right.to_bits());
        let kind = *known.entry(key).or_insert_with(|| {
            kinds.push(Kind(note.sound, note.hold, note.left, note.right));
            kinds.len() as u32 - 1
        });
        let Some(gap) = frame.checked_sub(last) else { return unfit("the notes of the loop are not in order") };
        notes.push(Knock(gap, part, kind));
        last = frame;
    }
    if kinds.len() > KINDS {
        return unfit(format!("expected at most {KINDS} kinds of notes for the remote speaker, found {}", kinds.len()));
    }
    let stretch = |p: &Piece| -> Result<Stretch, Unfit> {
        Ok(Stretch(packed_point(p.start)?, p.section as u16, p.pass as u16, p.from, p.to, p.frames_per_whole))
    };
    Ok(Packed {
        rate: schedule.rate.hertz(),
        denom: map.denom.unsigned_abs(),
        length: packed_point(map.length)?,
        pieces: Few(map.pieces.iter().map(stretch).collect::<Result<_, _>>()?),
        sounds: Few(schedule.sources.iter().copied().map(Made::of).collect()),
        kinds: Few(kinds),
        notes: Few(notes),
    })
}

impl Packed {
    /// The first sound of the user's own that it needs and that is not there.
    pub(super) fn lacks(&self, own: Shelved<'_>) -> Option<u64> {
        self.sounds.0.iter().find_map(|s| match s {
            Made::Own(hash) if own(*hash).is_none() => Some(*hash),
            _ => None,
        })
    }

    /// Makes the schedule for a device of this rate, with the user's own sounds that have come. This synthesises sounds.
    ///
    /// # Errors
    /// [`Unfit`] if it is for another rate, or breaks a rule that every schedule keeps.
    pub(super) fn unpack(&self, rate: SampleRate, own: Shelved<'_>) -> Result<Schedule, Unfit> {
        if self.rate != rate.hertz() {
            return unfit(format!(
                "expected the sample rate of the device, found {} Hz instead of {} Hz",
                self.rate,
                rate.hertz()
            ));
        }
        if self.denom == 0 || self.denom > DENOM {
            return unfit("the denominator is out of range");
        }
        let point = |At(frame, part): At| -> Result<FrameTime, Unfit> {
            if frame > LONGEST || part >= self.denom {
                return unfit("a time is out of range");
            }
            Ok(FrameTime { frame: frame as i64, part: part as i128 })
        };
        let length = point(self.length)?;
        // The renderer would count its turns without end; one of no length at all has none.
        if length.frame == 0 && length.part > 0 {
            return unfit("the loop is shorter than a frame");
        }
        let pieces = self.stretches(&point, length)?;
        let sounds = self.sounds.0.iter().map(|s| s.sound(rate, own)).collect::<Result<Vec<_>, _>>()?;
        for &Kind(sound, _, left, right) in &self.kinds.0 {
            if sound as usize >= sounds.len() {
                return unfit(format!("unknown sound {sound} of {}", sounds.len()));
            }
            // A side that is silent may have a factor a hair below 0: the cosine of a right angle.
            if ![left, right].iter().all(|f| f.abs() <= FACTOR) {
                return unfit("a gain is not a number up to 32");
            }
        }
        let notes = self.knocks(&point, length)?;
        let map = PositionMap { pieces, length, denom: self.denom as i128 };
        Ok(Schedule::from_parts(notes, sounds, map, rate))
    }

    fn stretches(
        &self,
        point: &impl Fn(At) -> Result<FrameTime, Unfit>,
        length: FrameTime,
    ) -> Result<Vec<Piece>, Unfit> {
        let mut pieces: Vec<Piece> = Vec::with_capacity(self.pieces.0.len());
        for &Stretch(start, section, pass, from, to, pace) in &self.pieces.0 {
            let start = point(start)?;
            let finite = [from, to, pace].iter().all(|x| x.is_finite()) && 0.0 <= from && from <= to && pace > 0.0;
            let ordered = pieces
                .last()
                .is_none_or(|p| p.start <= start && (p.section, p.pass) < (usize::from(section), usize::from(pass)));
            if !finite || !ordered || start > length {
                return unfit("the sections are not in order");
            }
            pieces.push(Piece { start, section: section.into(), pass: pass.into(), from, to, frames_per_whole: pace });
        }
        Ok(pieces)
    }

    fn knocks(&self, point: &impl Fn(At) -> Result<FrameTime, Unfit>, length: FrameTime) -> Result<Vec<Note>, Unfit> {
        let mut notes: Vec<Note> = Vec::with_capacity(self.notes.0.len());
        let (mut last, mut frame, mut at_once) = (FrameTime::ZERO, 0_u64, 0);
        for &Knock(gap, part, kind) in &self.notes.0 {
            frame = frame.saturating_add(gap);
            let at = point(At(frame, part))?;
            let Some(&Kind(sound, hold, left, right)) = self.kinds.0.get(kind as usize) else {
                return unfit(format!("unknown kind of note {kind} of {}", self.kinds.0.len()));
            };
            if at < last {
                return unfit("the notes are not in order");
            }
            if at >= length {
                return unfit("a note is beyond the end of the loop");
            }
            at_once = if at.frame == last.frame { at_once + 1 } else { 1 };
            if at_once > AT_ONCE {
                return unfit(format!("more than {AT_ONCE} notes begin at one frame"));
            }
            last = at;
            notes.push(Note { at, sound, hold, left, right });
        }
        Ok(notes)
    }
}
