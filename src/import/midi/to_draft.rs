//! Turns a parsed MIDI file into a draft: bars, tempos, layers.

use super::super::assemble::{Rounding, assemble, fit};
use super::TOLERANCE_MS;
use super::read::{RawNote, RawPart, Song, read};
use crate::import::draft::{DraftBar, DraftTrack, ImportDraft};
use crate::import::{ImportWarning, Imported};
use crate::notation::TimedNote;
use crate::notation::general_midi;
use crate::notation::teeter_meta::MetaEvent;
use crate::notation::{FormatError, count};
use crate::rhythm::bounds::{CELLS_OF_LAYER, TEMPO};
use crate::rhythm::{Attack, Fraction, Meter, Pitch, Swing, Tempo, Time, Voice, expected};
use std::collections::{BTreeMap, BTreeSet};

/// Grids of at most so many cells per beat are taken as meant where times stand on them exactly (ours, no source).
const MEANT: u16 = 16;

/// A groove from the bytes of a file, with a tolerance of [`TOLERANCE_MS`].
///
/// # Errors
/// As [`import_with`].
pub fn import(bytes: &[u8]) -> Result<Imported, FormatError> {
    import_with(bytes, Fraction::whole(TOLERANCE_MS))
}

/// A groove from the bytes of a file. Times go to the smallest grid that is exact; where there is none, to one within the tolerance
/// (in ms, zero or more) that is no chance; where there is none either, to the nearest plain one.
///
/// # Errors
/// [`FormatError`] for what is no file of format 0 or 1, is cut off, has no note or more than a groove can hold, with the place.
pub(crate) fn import_with(bytes: &[u8], tolerance: Fraction) -> Result<Imported, FormatError> {
    let song = read(bytes)?;
    let mut warnings = song.warnings.clone();
    let clock =
        Clock { quarter: song.quarter.ok_or_else(|| FormatError::new("byte 0", expected("a header", "none")))? };
    let bars = bars(&song, clock, &mut warnings)?;
    let (tracks, lengths) = tracks(&song, clock, &mut warnings)?;
    if tracks.is_empty() && song.ours.is_none() {
        return Err(FormatError::new("", expected("at least one note", "none")));
    }
    let mut draft = ImportDraft { title: song.title.clone(), note: song.note.clone(), bars, tracks };
    let half = clock.at(1).and_then(|t| t.divided(2)).unwrap_or(Time::ZERO);
    let rounding = match song.ours {
        Some(true) => Rounding { grain: Time::ZERO, tolerance, cells: u16::MAX },
        Some(false) => Rounding { grain: half, tolerance, cells: u16::MAX },
        None => Rounding { grain: half, tolerance, cells: MEANT },
    };
    warnings.extend(fit(&mut draft, &lengths, rounding));
    let made = assemble(&draft)?;
    warnings.extend(made.warnings);
    Ok(Imported { groove: made.groove, warnings })
}

/// Ticks to exact time.
#[derive(Debug, Clone, Copy)]
struct Clock {
    quarter: Fraction,
}

impl Clock {
    fn at(self, tick: u64) -> Option<Time> {
        let ticks = Fraction::new(i64::try_from(tick).ok()?, 4)?;
        let wholes = ticks.over(self.quarter)?;
        Time::new(wholes.numer(), wholes.denom())
    }
}

fn too_long(place: String) -> FormatError {
    let message = expected(format!("at most {} beats", CELLS_OF_LAYER.greatest), "a longer file");
    FormatError::new(place, message)
}

/// The meter, and the swing, from a tick on.
fn meters(song: &Song, warnings: &mut Vec<ImportWarning>) -> BTreeMap<u64, (Meter, Option<Swing>)> {
    let plain = Meter::new(vec![4], 4).expect("4/4 is a meter");
    let mut all = BTreeMap::from([(0, (plain, None))]);
    if song.ours.is_none() && !song.meters.contains_key(&0) {
        let message = match song.meters.keys().next() {
            None => "the file has no time signature; read as 4/4".to_owned(),
            Some(tick) => format!("the file has no time signature before tick {tick}; read as 4/4 until then"),
        };
        warnings.push(ImportWarning { place: "meter".into(), message });
    }
    for (tick, (upper, power)) in &song.meters {
        let lower = 1_u16.checked_shl(u32::from(*power)).unwrap_or(0);
        match Meter::new(vec![u16::from(*upper)], lower) {
            Ok(meter) => drop(all.insert(*tick, (meter, None))),
            Err(error) => {
                warnings.push(ImportWarning { place: format!("tick {tick}"), message: format!("{error}; left out") });
            }
        }
    }
    for (tick, own) in &song.sections {
        if let MetaEvent::Section { meter, swing, .. } = own {
            all.insert(*tick, (meter.clone(), *swing));
        }
    }
    all
}

fn bars(song: &Song, clock: Clock, warnings: &mut Vec<ImportWarning>) -> Result<Vec<DraftBar>, FormatError> {
    let notes = || song.parts.iter().flat_map(|p| &p.notes);
    // What rings on a little beyond the last bar line makes no bar of its own.
    let ring = (clock.quarter.floor().max(0) / 4) as u64;
    let sounded = notes().map(|n| (n.start + 1).max(n.end.saturating_sub(ring))).max().unwrap_or(1);
    // Where our own ticks are rounded, the end may lie a part of one beyond the last bar line; no bar is that short.
    let end = clock.at(if song.ours.is_some() { song.end.max(sounded).saturating_sub(1) } else { sounded });
    let end = end.ok_or_else(|| too_long(String::new()))?;
    let mut changes = meters(song, warnings).into_iter().peekable();
    let mut tempos = Tempos::new(song, clock, warnings);
    let mut markers: BTreeMap<Time, (u64, &String)> =
        song.markers.iter().filter_map(|(tick, name)| Some((clock.at(*tick)?, (*tick, name)))).collect();
    let (mut all, mut at, mut beats) = (Vec::new(), Time::ZERO, 0_usize);
    let mut short: Vec<(usize, Time)> = Vec::new();
    let mut now = changes.next().map(|c| c.1).expect("the first meter stands at tick 0");
    while at < end || all.is_empty() {
        while let Some((_, change)) = changes.next_if(|c| clock.at(c.0).is_some_and(|t| t <= at)) {
            now = change;
        }
        let (meter, swing) = &now;
        let whole = at.plus(meter.bar()).ok_or_else(|| too_long(String::new()))?;
        let next = changes.peek().and_then(|c| clock.at(c.0)).filter(|t| *t < whole);
        let bar_end = next.unwrap_or(whole);
        let number = all.len() + 1;
        short.extend(next.and_then(|n| Some((number, n.minus(at)?))));
        beats += meter.beats();
        if beats as i64 > CELLS_OF_LAYER.greatest {
            return Err(too_long(format!("bar {number}")));
        }
        let tempo = tempos.of(at, bar_end, meter, number);
        all.push(DraftBar {
            length: next.and_then(|n| n.minus(at)),
            section: markers.remove(&at).map(|m| m.1.clone()),
            swing: *swing,
            ..DraftBar::new(meter.clone(), tempo, number.to_string())
        });
        at = bar_end;
    }
    tempos.say(warnings);
    if let Some((number, length)) = short.first() {
        let message = match short.len() {
            1 => format!(
                "the meter changes within this bar; it was shortened to {length} of a whole note and became its own section"
            ),
            n => {
                format!("the meter changes within {n} bars, first here; each was shortened and became its own section")
            }
        };
        warnings.push(ImportWarning { place: format!("bar {number}"), message });
    }
    markers.retain(|t, _| *t < at);
    if let Some((tick, name)) = markers.values().next() {
        let message = match markers.len() {
            1 => format!("ignored the marker '{name}', which is within a bar"),
            n => format!("ignored {n} markers within bars, the first '{name}'"),
        };
        warnings.push(ImportWarning { place: format!("tick {tick}"), message });
    }
    Ok(all)
}

/// Tempos as the bars need them.
struct Tempos {
    /// Microseconds per quarter from a time on.
    changes: Vec<(Time, u32)>,
    /// Exact tempos of a file of ours.
    own: Vec<(Time, Tempo)>,
    next: usize,
    within: usize,
    first: usize,
    clamped: usize,
    /// The last tempo in force and what became of it: it is mostly that of the next bar too.
    last: Option<(u32, Meter, Tempo, bool)>,
}

impl Tempos {
    fn new(song: &Song, clock: Clock, warnings: &mut Vec<ImportWarning>) -> Self {
        let mut changes = vec![(Time::ZERO, 500_000)];
        if song.frames {
            let message = "times are SMPTE frames, not beats; read at 120 quarters per minute";
            warnings.push(ImportWarning { place: "header".into(), message: message.into() });
        } else {
            let known = song.tempos.iter().filter(|t| *t.1 > 0);
            for (tick, _) in song.tempos.iter().filter(|t| *t.1 == 0) {
                let message = "ignored a tempo of 0 microseconds per quarter";
                warnings.push(ImportWarning { place: format!("tick {tick}"), message: message.into() });
            }
            if song.ours.is_none() && song.tempos.get(&0).is_none_or(|us| *us == 0) {
                let message = match known.clone().next() {
                    None => "the file has no tempo; read at 120 quarters per minute".to_owned(),
                    Some((tick, _)) => {
                        format!("the file has no tempo before tick {tick}; read at 120 quarters per minute until then")
                    }
                };
                warnings.push(ImportWarning { place: "tempo".into(), message });
            }
            changes.extend(known.filter_map(|(tick, us)| Some((clock.at(*tick)?, *us))));
        }
        let own = song.sections.iter().filter_map(|(tick, own)| match own {
            MetaEvent::Section { tempo, .. } => Some((clock.at(*tick)?, *tempo)),
            _ => None,
        });
        Self { changes, own: own.collect(), next: 0, within: 0, first: 0, clamped: 0, last: None }
    }

    /// The tempo of a bar: the one in force, or the mean one of a bar in which it changes.
    fn of(&mut self, from: Time, to: Time, meter: &Meter, number: usize) -> Tempo {
        let own = self.own.partition_point(|o| o.0 <= from).checked_sub(1).map(|i| self.own[i]);
        while self.changes.get(self.next + 1).is_some_and(|c| c.0 <= from) {
            self.next += 1;
        }
        let started = self.changes[self.next];
        let mut later = self.next + 1;
        if self.changes.get(later).is_none_or(|c| c.0 >= to) {
            // An exact tempo counts until something else was set after it.
            if let Some((at, tempo)) = own.filter(|o| o.0 >= started.0) {
                debug_assert!(at <= from);
                return tempo;
            }
            if let Some((_, _, tempo, clamped)) = self.last.as_ref().filter(|l| l.0 == started.1 && l.1 == *meter) {
                self.clamped += usize::from(*clamped);
                return *tempo;
            }
            let before = self.clamped;
            let tempo = self.tempo(Fraction::whole(started.1 as i32), meter, true);
            self.last = Some((started.1, meter.clone(), tempo, self.clamped > before));
            return tempo;
        }
        if self.within == 0 {
            self.first = number;
        }
        self.within += 1;
        let (mut at, mut us, mut sum) = (from, started.1, 0.0);
        let wholes = |t: Time| t.numer() as f64 / t.denom() as f64;
        while let Some((time, next)) = self.changes.get(later).filter(|c| c.0 < to) {
            sum += (wholes(*time) - wholes(at)) * f64::from(us);
            (at, us, later) = (*time, *next, later + 1);
        }
        sum += (wholes(to) - wholes(at)) * f64::from(us);
        let mean = sum / (wholes(to) - wholes(from));
        self.tempo(Fraction::new((mean * 1000.0).round() as i64, 1000).unwrap_or(Fraction::ONE), meter, false)
    }

    /// Beats per minute of so many microseconds per quarter: the shortest decimal that a file would tell by the same number, if
    /// the number is a file's.
    fn tempo(&mut self, us: Fraction, meter: &Meter, told: bool) -> Tempo {
        let units = [Some(meter.beat()), Time::new(1, 4), Time::new(1, 1), Time::new(1, 16), Time::new(1, 64)];
        for unit in units.into_iter().flatten() {
            let per_minute = |us: Fraction| Fraction::whole(15_000_000).over(us)?.over(unit.wholes());
            let Some(exact) = per_minute(us).filter(|b| *b > Fraction::ZERO) else { continue };
            let short = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000].into_iter().find_map(|scale| {
                let decimal = Fraction::new(exact.times(Fraction::new(scale, 1)?)?.round(), scale)?;
                let back = Fraction::whole(15_000_000).over(decimal.times(unit.wholes())?)?;
                // Some programs cut the number off instead of rounding it.
                let same = [back.round(), back.floor()].contains(&us.round());
                (same && (told || scale == 1000)).then_some(decimal)
            });
            if let Ok(tempo) = Tempo::new(short.unwrap_or(exact), unit) {
                return tempo;
            }
        }
        self.clamped += 1;
        let slow = us > Fraction::whole(1_000_000);
        let bpm = if slow { TEMPO.least } else { TEMPO.greatest } as i32;
        Tempo::new(Fraction::whole(bpm), meter.beat()).expect("the bound itself is within it")
    }

    fn say(&self, warnings: &mut Vec<ImportWarning>) {
        if self.within > 0 {
            let message = match self.within {
                1 => "the tempo changes within this bar; replaced by one tempo with the same duration".to_owned(),
                n => {
                    format!("the tempo changes within {n} bars, first here; each got one tempo with the same duration")
                }
            };
            warnings.push(ImportWarning { place: format!("bar {}", self.first), message });
        }
        if self.clamped > 0 {
            let have = if self.clamped == 1 { "has" } else { "have" };
            let bars = count(self.clamped, "bar");
            let message = format!("{bars} {have} a tempo outside the range of a groove; replaced by the nearest one");
            warnings.push(ImportWarning { place: "tempo".into(), message });
        }
    }
}

/// The layers of all parts, and whether the lengths of their notes mean anything.
fn tracks(
    song: &Song,
    clock: Clock,
    warnings: &mut Vec<ImportWarning>,
) -> Result<(Vec<DraftTrack>, Vec<bool>), FormatError> {
    let mut all = Vec::new();
    for part in &song.parts {
        match &part.own {
            Some(MetaEvent::Click) => {
                let message = format!("skipped '{}': the clicks of a hearing, not part of the groove", part.name);
                warnings.push(ImportWarning { place: format!("track {}", part.track), message });
            }
            Some(MetaEvent::Layer { voice, division, gain, pan, mute, solo, swing, depth, sound }) => {
                let has_pitch = part.channel != general_midi::PERCUSSION && voice.is_pitched();
                let attack = |n: &RawNote| Attack {
                    accent: general_midi::accent(n.velocity),
                    pitch: Pitch::new(n.key).filter(|_| has_pitch && n.release != 0),
                };
                let notes = notes(part, clock, attack)?;
                let track = DraftTrack {
                    notes,
                    division: Some(*division),
                    swing: *swing,
                    gain: *gain,
                    pan: *pan,
                    mute: *mute,
                    solo: *solo,
                    depth: *depth,
                    sound: sound.clone(),
                    ..DraftTrack::new(&part.name, *voice)
                };
                all.push((track, true));
            }
            _ if part.channel == general_midi::PERCUSSION => percussion(part, clock, warnings, &mut all)?,
            _ => {
                let middle = middle(part);
                let attack = |n: &RawNote| Attack {
                    accent: general_midi::relative_accent(n.velocity, middle),
                    pitch: Pitch::new(n.key),
                };
                let voice = general_midi::voice_of_program(part.program.unwrap_or(0));
                let track = DraftTrack { notes: notes(part, clock, attack)?, ..levels(part, part.name.clone(), voice) };
                all.push((track, true));
            }
        }
    }
    Ok(all.into_iter().unzip())
}

fn levels(part: &RawPart, name: String, voice: Voice) -> DraftTrack {
    DraftTrack {
        gain: part.volume.map_or(0, general_midi::gain),
        pan: part.pan.map_or(0, general_midi::pan_position),
        mute: part.volume == Some(0),
        ..DraftTrack::new(name, voice)
    }
}

/// The middle velocity of a part.
fn middle(part: &RawPart) -> u8 {
    let mut velocities: Vec<u8> = part.notes.iter().map(|n| n.velocity).collect();
    velocities.sort_unstable();
    velocities.get(velocities.len() / 2).copied().unwrap_or(64)
}

fn notes(part: &RawPart, clock: Clock, attack: impl Fn(&RawNote) -> Attack) -> Result<Vec<TimedNote>, FormatError> {
    let one = |n: &RawNote| {
        let (start, end) = (clock.at(n.start)?, clock.at(n.end.max(n.start + 1))?);
        Some(TimedNote { start, length: end.minus(start)?, attack: attack(n) })
    };
    let place = |n: &RawNote| too_long(format!("track {}, tick {}", part.track, n.start));
    part.notes.iter().map(|n| one(n).ok_or_else(|| place(n))).collect()
}

/// A layer per voice of a percussion track. How long a drum is held means nothing; it sounds until the voice's next attack.
fn percussion(
    part: &RawPart,
    clock: Clock,
    warnings: &mut Vec<ImportWarning>,
    all: &mut Vec<(DraftTrack, bool)>,
) -> Result<(), FormatError> {
    let middle = middle(part);
    let mut voices: Vec<(Voice, Vec<RawNote>)> = Vec::new();
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
        warnings.push(ImportWarning { place: format!("track {}", part.track), message });
    }
    let several = voices.len() > 1;
    for (voice, mut raw) in voices {
        raw.sort_by_key(|n| n.start);
        let starts: Vec<u64> = raw.iter().map(|n| n.start).collect();
        for note in &mut raw {
            if let Some(next) = starts.get(starts.partition_point(|s| *s <= note.start)) {
                note.end = note.end.min(*next);
            }
        }
        let attack = |n: &RawNote| Attack { accent: general_midi::relative_accent(n.velocity, middle), pitch: None };
        let name = if several { format!("{}: {voice}", part.name) } else { part.name.clone() };
        let of_voice = RawPart { notes: raw, ..part.clone() };
        let track = DraftTrack { notes: notes(&of_voice, clock, attack)?, ..levels(part, name, voice) };
        all.push((track, false));
    }
    Ok(())
}
