//! The tracks of a MIDI file: one per channel, and one per voice of percussion.

use super::flams;
use super::read::{RawPart, Song, TickNote};
use super::to_draft::{TickScale, too_long_error};
use crate::import::{DraftTrack, Warnings};
use crate::notation::teeter_meta::MetaEvent;
use crate::notation::{FormatError, TimedNote, general_midi};
use crate::rhythm::{Attack, Layer, Pitch, Voice, count};
use std::collections::BTreeSet;

pub(super) fn tracks(song: &Song, scale: TickScale, warnings: &mut Warnings) -> Result<Vec<DraftTrack>, FormatError> {
    let mut all = Vec::new();
    for part in &song.parts {
        match &part.meta {
            Some(MetaEvent::Click) => {
                let message = format!("skipped '{}': the clicks of a hearing, not part of the groove", part.name);
                warnings.add(format!("track {}", part.track), message);
            }
            Some(MetaEvent::Layer(layer)) => {
                let has_pitch = part.channel != general_midi::PERCUSSION_CHANNEL && layer.voice.is_pitched();
                let attack = |n: &TickNote| Attack {
                    flam: n.flam,
                    accent: general_midi::accent(n.velocity),
                    pitch: Pitch::new(n.key).filter(|_| has_pitch && n.release_velocity != 0),
                };
                let notes = notes(part, &flams::of_layer(&part.notes, song.end_tick), scale, attack)?;
                let layer = Layer { name: part.name.clone(), ..layer.clone() };
                all.push(DraftTrack { layer, notes, ignore_lengths: false });
            }
            _ if part.channel == general_midi::PERCUSSION_CHANNEL => {
                all.extend(percussion(&with_flams(part, song, warnings), scale, warnings)?);
            }
            _ => {
                let part = &with_flams(part, song, warnings);
                let median = median_velocity(part);
                let attack = |n: &TickNote| Attack {
                    flam: n.flam,
                    accent: general_midi::relative_accent(n.velocity, median),
                    pitch: Pitch::new(n.key),
                };
                let voice = general_midi::voice_of_program(part.program.unwrap_or(0));
                let notes = notes(part, &part.notes, scale, attack)?;
                all.push(DraftTrack { notes, ..empty_track(part, &part.name, voice) });
            }
        }
    }
    Ok(all)
}

/// The part with its flams found.
fn with_flams(part: &RawPart, song: &Song, warnings: &mut Warnings) -> RawPart {
    let (notes, flams) = flams::of_track(&part.notes, song);
    if flams > 0 {
        let message = format!("{} just before another of the same key read as a flam", count(flams, "softer note"));
        warnings.add(format!("track {}", part.track), message);
    }
    RawPart { notes, ..part.clone() }
}

/// A track with the levels of a part.
fn empty_track(part: &RawPart, name: &str, voice: Voice) -> DraftTrack {
    let mut track = DraftTrack::new(name, voice);
    track.layer.gain = part.volume.map_or(0, general_midi::gain);
    track.layer.pan = part.pan.map_or(0, general_midi::pan_position);
    track.layer.mute = part.volume == Some(0);
    track
}

fn median_velocity(part: &RawPart) -> u8 {
    let mut velocities: Vec<u8> = part.notes.iter().map(|n| n.velocity).collect();
    velocities.sort_unstable();
    velocities.get(velocities.len() / 2).copied().unwrap_or(64)
}

fn notes(
    part: &RawPart,
    raw: &[TickNote],
    scale: TickScale,
    attack: impl Fn(&TickNote) -> Attack,
) -> Result<Vec<TimedNote>, FormatError> {
    let note = |n: &TickNote| {
        let (start, end) = (scale.time(n.start)?, scale.time(n.end.max(n.start + 1))?);
        Some(TimedNote { start, length: end.minus(start)?, attack: attack(n) })
    };
    let place = |n: &TickNote| too_long_error(format!("track {}, tick {}", part.track, n.start));
    raw.iter().map(|n| note(n).ok_or_else(|| place(n))).collect()
}

/// A track per voice of a percussion part. How long a drum is held means nothing; it sounds until the voice's next attack.
fn percussion(part: &RawPart, scale: TickScale, warnings: &mut Warnings) -> Result<Vec<DraftTrack>, FormatError> {
    let median = median_velocity(part);
    let mut voices: Vec<(Voice, Vec<TickNote>)> = Vec::new();
    let mut unknown = BTreeSet::new();
    for note in &part.notes {
        let voice = general_midi::voice(note.key).unwrap_or_else(|| {
            unknown.insert(note.key);
            Voice::Wood
        });
        match voices.iter_mut().find(|v| v.0 == voice) {
            Some((_, notes)) => notes.push(*note),
            None => voices.push((voice, vec![*note])),
        }
    }
    if !unknown.is_empty() {
        let keys: Vec<String> = unknown.iter().map(u8::to_string).collect();
        let message = format!("no voice is similar to the percussion keys {}; replaced by wood", keys.join(", "));
        warnings.add(format!("track {}", part.track), message);
    }
    let several = voices.len() > 1;
    let track = |(voice, mut raw): (Voice, Vec<TickNote>)| {
        raw.sort_by_key(|n| n.start);
        let starts: Vec<u64> = raw.iter().map(|n| n.start).collect();
        for note in &mut raw {
            if let Some(next) = starts.get(starts.partition_point(|s| *s <= note.start)) {
                note.end = note.end.min(*next);
            }
        }
        let attack = |n: &TickNote| Attack {
            flam: n.flam,
            accent: general_midi::relative_accent(n.velocity, median),
            pitch: None,
        };
        let name = if several { format!("{}: {voice}", part.name) } else { part.name.clone() };
        let notes = notes(part, &raw, scale, attack)?;
        Ok(DraftTrack { notes, ignore_lengths: true, ..empty_track(part, &name, voice) })
    };
    voices.into_iter().map(track).collect()
}
