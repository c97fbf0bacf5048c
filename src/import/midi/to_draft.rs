//! Turns a parsed MIDI file into a draft: bars, tempos, layers.

use super::TOLERANCE_MS;
use super::read::{Origin, RawNote, RawPart, Song, read};
use crate::import::assemble::{Rounding, assemble, quantize_draft};
use crate::import::{DraftBar, DraftTrack, ImportDraft, Imported, Warnings};
use crate::notation::general_midi;
use crate::notation::teeter_meta::MetaEvent;
use crate::notation::{FormatError, TimedNote, count};
use crate::rhythm::bounds::{CELLS_OF_LAYER, TEMPO};
use crate::rhythm::{Attack, Fraction, Meter, Pitch, Swing, Tempo, Time, Voice, expected};
use std::collections::{BTreeMap, BTreeSet};

/// Most cells per beat of the grids that are accepted because times lie on them exactly (ours, no source).
const MAX_EXACT_CELLS: u16 = 16;

/// Imports a file with a tolerance of [`TOLERANCE_MS`].
///
/// # Errors
/// As `import_with`.
pub fn import(bytes: &[u8]) -> Result<Imported, FormatError> {
    import_with(bytes, Fraction::whole(TOLERANCE_MS))
}

/// Imports a file. Times go to the smallest exact grid; where there is none, to one within the tolerance (in ms, zero or more) that
/// is unlikely to fit by chance; where there is none either, to the nearest plain one.
///
/// # Errors
/// [`FormatError`] with the place: for what is no file of format 0 or 1, is truncated, has no note or more than a groove can hold.
pub(crate) fn import_with(bytes: &[u8], tolerance: Fraction) -> Result<Imported, FormatError> {
    let mut song = read(bytes)?;
    let mut warnings = std::mem::take(&mut song.warnings);
    let no_header = || FormatError::new("byte 0", expected("a header", "none"));
    let scale = TickScale { per_quarter: song.quarter.ok_or_else(no_header)? };
    let bars = bars(&song, scale, &mut warnings)?;
    let tracks = tracks(&song, scale, &mut warnings)?;
    if tracks.is_empty() && song.origin == Origin::Other {
        return Err(FormatError::new("", expected("at least one note", "none")));
    }
    let half_tick = scale.time(1).and_then(|t| t.divided(2)).unwrap_or(Time::ZERO);
    let (grain, cells) = match song.origin {
        Origin::TeeterExact => (Time::ZERO, u16::MAX),
        Origin::TeeterRounded => (half_tick, u16::MAX),
        Origin::Other => (half_tick, MAX_EXACT_CELLS),
    };
    let mut draft = ImportDraft { title: song.title, note: song.note, bars, tracks };
    quantize_draft(&mut draft, Rounding { grain, tolerance, cells }, &mut warnings);
    let groove = assemble(&draft, &mut warnings)?;
    Ok(Imported { groove, warnings: warnings.finish() })
}

#[derive(Debug, Clone, Copy)]
struct TickScale {
    per_quarter: Fraction,
}

impl TickScale {
    fn time(self, tick: u64) -> Option<Time> {
        let wholes = Fraction::new(i64::try_from(tick).ok()?, 4)?.over(self.per_quarter)?;
        Time::new(wholes.numer(), wholes.denom())
    }
}

fn too_long(place: impl Into<String>) -> FormatError {
    FormatError::new(place, expected(format!("at most {} beats", CELLS_OF_LAYER.greatest), "a longer file"))
}

/// The meter and the swing from a tick on.
fn meters(song: &Song, warnings: &mut Warnings) -> BTreeMap<u64, (Meter, Option<Swing>)> {
    let common = Meter::new(vec![4], 4).expect("4/4 is a meter");
    let mut all = BTreeMap::from([(0, (common, None))]);
    if song.origin == Origin::Other && !song.meters.contains_key(&0) {
        let message = match song.meters.keys().next() {
            None => "the file has no time signature; read as 4/4".to_owned(),
            Some(tick) => format!("the file has no time signature before tick {tick}; read as 4/4 until then"),
        };
        warnings.add("meter", message);
    }
    for (tick, (upper, power)) in &song.meters {
        let lower = 1_u16.checked_shl(u32::from(*power)).unwrap_or(0);
        match Meter::new(vec![u16::from(*upper)], lower) {
            Ok(meter) => drop(all.insert(*tick, (meter, None))),
            Err(error) => warnings.add(format!("tick {tick}"), format!("{error}; left out")),
        }
    }
    for (tick, section) in &song.sections {
        if let MetaEvent::Section { meter, swing, .. } = section {
            all.insert(*tick, (meter.clone(), *swing));
        }
    }
    all
}

fn bars(song: &Song, scale: TickScale, warnings: &mut Warnings) -> Result<Vec<DraftBar>, FormatError> {
    let notes = || song.parts.iter().flat_map(|p| &p.notes);
    // A note that rings a little beyond the last bar line adds no bar.
    let ring = (scale.per_quarter.floor().max(0) / 4) as u64;
    let sounded = notes().map(|n| (n.start + 1).max(n.end.saturating_sub(ring))).max().unwrap_or(1);
    // Rounded ticks may put the end a part of a tick beyond the last bar line; no bar is that short.
    let end = if song.origin == Origin::Other { sounded } else { song.end.max(sounded).saturating_sub(1) };
    let end = scale.time(end).ok_or_else(|| too_long(""))?;
    let mut changes = meters(song, warnings).into_iter().peekable();
    let mut tempos = Tempos::new(song, scale, warnings);
    let mut markers: BTreeMap<Time, (u64, &String)> =
        song.markers.iter().filter_map(|(tick, name)| Some((scale.time(*tick)?, (*tick, name)))).collect();
    let (mut all, mut at, mut beats) = (Vec::new(), Time::ZERO, 0_usize);
    let mut shortened: Vec<(usize, Time)> = Vec::new();
    let mut now = changes.next().map(|c| c.1).expect("the first meter is at tick 0");
    while at < end || all.is_empty() {
        while let Some((_, change)) = changes.next_if(|c| scale.time(c.0).is_some_and(|t| t <= at)) {
            now = change;
        }
        let (meter, swing) = &now;
        let whole = at.plus(meter.bar()).ok_or_else(|| too_long(""))?;
        let change = changes.peek().and_then(|c| scale.time(c.0)).filter(|t| *t < whole);
        let length = change.and_then(|t| t.minus(at));
        let bar_end = change.unwrap_or(whole);
        let number = all.len() + 1;
        shortened.extend(length.map(|length| (number, length)));
        beats += meter.beats();
        if beats as i64 > CELLS_OF_LAYER.greatest {
            return Err(too_long(format!("bar {number}")));
        }
        let tempo = tempos.of_bar(at, bar_end, meter, number);
        all.push(DraftBar {
            length,
            section: markers.remove(&at).map(|m| m.1.clone()),
            swing: *swing,
            ..DraftBar::new(meter.clone(), tempo, number.to_string())
        });
        at = bar_end;
    }
    tempos.warn(warnings);
    if let Some((number, length)) = shortened.first() {
        let message = match shortened.len() {
            1 => format!(
                "the meter changes within this bar; it was shortened to {length} of a whole note and became its own section"
            ),
            n => {
                format!("the meter changes within {n} bars, first here; each was shortened and became its own section")
            }
        };
        warnings.add(format!("bar {number}"), message);
    }
    markers.retain(|t, _| *t < at);
    if let Some((tick, name)) = markers.values().next() {
        let message = match markers.len() {
            1 => format!("ignored the marker '{name}', which is within a bar"),
            n => format!("ignored {n} markers within bars, the first '{name}'"),
        };
        warnings.add(format!("tick {tick}"), message);
    }
    Ok(all)
}

/// Tempos by bar, asked for in order.
struct Tempos {
    /// Microseconds per quarter from a time on.
    changes: Vec<(Time, u32)>,
    /// Exact tempos of the section events of this program.
    exact: Vec<(Time, Tempo)>,
    /// Index of the change in force.
    current: usize,
    /// Bars in which the tempo changes, and the first of them.
    changing: usize,
    first_changing: usize,
    /// Bars whose tempo is out of range.
    clamped: usize,
    /// The last conversion, which mostly serves the next bar too.
    cached: Option<Conversion>,
}

struct Conversion {
    us: u32,
    meter: Meter,
    tempo: Tempo,
    clamped: bool,
}

impl Tempos {
    fn new(song: &Song, scale: TickScale, warnings: &mut Warnings) -> Self {
        let mut changes = vec![(Time::ZERO, 500_000)];
        if song.frames {
            warnings.add("header", "times are SMPTE frames, not beats; read at 120 quarters per minute");
        } else {
            let known = song.tempos.iter().filter(|t| *t.1 > 0);
            for (tick, _) in song.tempos.iter().filter(|t| *t.1 == 0) {
                warnings.add(format!("tick {tick}"), "ignored a tempo of 0 microseconds per quarter");
            }
            if song.origin == Origin::Other && song.tempos.get(&0).is_none_or(|us| *us == 0) {
                let message = match known.clone().next() {
                    None => "the file has no tempo; read at 120 quarters per minute".to_owned(),
                    Some((tick, _)) => {
                        format!("the file has no tempo before tick {tick}; read at 120 quarters per minute until then")
                    }
                };
                warnings.add("tempo", message);
            }
            changes.extend(known.filter_map(|(tick, us)| Some((scale.time(*tick)?, *us))));
        }
        let exact = song.sections.iter().filter_map(|(tick, section)| match section {
            MetaEvent::Section { tempo, .. } => Some((scale.time(*tick)?, *tempo)),
            _ => None,
        });
        Self { changes, exact: exact.collect(), current: 0, changing: 0, first_changing: 0, clamped: 0, cached: None }
    }

    /// The tempo of a bar: the one in force, or the mean of a bar in which it changes.
    fn of_bar(&mut self, from: Time, to: Time, meter: &Meter, number: usize) -> Tempo {
        while self.changes.get(self.current + 1).is_some_and(|c| c.0 <= from) {
            self.current += 1;
        }
        let (since, us) = self.changes[self.current];
        let mut later = self.changes[self.current + 1..].iter().take_while(|c| c.0 < to).peekable();
        if later.peek().is_none() {
            // An exact tempo holds until another one is set after it.
            let exact = self.exact.partition_point(|e| e.0 <= from).checked_sub(1).map(|i| self.exact[i]);
            if let Some((_, tempo)) = exact.filter(|e| e.0 >= since) {
                return tempo;
            }
            let cached = self.cached.take().filter(|c| c.us == us && c.meter == *meter);
            let conversion = cached.unwrap_or_else(|| {
                let (tempo, clamped) = tempo_of(Fraction::whole(us as i32), meter, TempoSource::File);
                Conversion { us, meter: meter.clone(), tempo, clamped }
            });
            self.clamped += usize::from(conversion.clamped);
            return self.cached.insert(conversion).tempo;
        }
        if self.changing == 0 {
            self.first_changing = number;
        }
        self.changing += 1;
        let wholes = |t: Time| t.numer() as f64 / t.denom() as f64;
        let (mut at, mut current, mut sum) = (from, us, 0.0);
        for &(time, next) in later {
            sum += (wholes(time) - wholes(at)) * f64::from(current);
            (at, current) = (time, next);
        }
        sum += (wholes(to) - wholes(at)) * f64::from(current);
        let mean = sum / (wholes(to) - wholes(from));
        let mean = Fraction::new((mean * 1000.0).round() as i64, 1000).unwrap_or(Fraction::ONE);
        let (tempo, clamped) = tempo_of(mean, meter, TempoSource::Mean);
        self.clamped += usize::from(clamped);
        tempo
    }

    fn warn(&self, warnings: &mut Warnings) {
        if self.changing > 0 {
            let message = match self.changing {
                1 => "the tempo changes within this bar; replaced by one tempo with the same duration".to_owned(),
                n => {
                    format!("the tempo changes within {n} bars, first here; each got one tempo with the same duration")
                }
            };
            warnings.add(format!("bar {}", self.first_changing), message);
        }
        if self.clamped > 0 {
            let have = if self.clamped == 1 { "has" } else { "have" };
            let bars = count(self.clamped, "bar");
            let message = format!("{bars} {have} a tempo outside the range of a groove; replaced by the nearest one");
            warnings.add("tempo", message);
        }
    }
}

/// Where a number of microseconds per quarter comes from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum TempoSource {
    File,
    Mean,
}

/// Beats per minute for microseconds per quarter, and whether they had to be clamped. A number from the file becomes the shortest
/// decimal that is written as the same number of microseconds.
fn tempo_of(us: Fraction, meter: &Meter, source: TempoSource) -> (Tempo, bool) {
    let units = [Some(meter.beat()), Time::new(1, 4), Time::new(1, 1), Time::new(1, 16), Time::new(1, 64)];
    for unit in units.into_iter().flatten() {
        let per_minute = |us: Fraction| Fraction::whole(15_000_000).over(us)?.over(unit.wholes());
        let Some(exact) = per_minute(us).filter(|b| *b > Fraction::ZERO) else { continue };
        let short = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000].into_iter().find_map(|scale| {
            let decimal = Fraction::new(exact.times(Fraction::new(scale, 1)?)?.round(), scale)?;
            let back = Fraction::whole(15_000_000).over(decimal.times(unit.wholes())?)?;
            // Some programs truncate instead of rounding.
            let is_same = [back.round(), back.floor()].contains(&us.round());
            (is_same && (source == TempoSource::File || scale == 1000)).then_some(decimal)
        });
        if let Ok(tempo) = Tempo::new(short.unwrap_or(exact), unit) {
            return (tempo, false);
        }
    }
    let bpm = if us > Fraction::whole(1_000_000) { TEMPO.least } else { TEMPO.greatest };
    (Tempo::new(Fraction::whole(bpm as i32), meter.beat()).expect("a bound is within the bounds"), true)
}

fn tracks(song: &Song, scale: TickScale, warnings: &mut Warnings) -> Result<Vec<DraftTrack>, FormatError> {
    let mut all = Vec::new();
    for part in &song.parts {
        match &part.meta {
            Some(MetaEvent::Click) => {
                let message = format!("skipped '{}': the clicks of a hearing, not part of the groove", part.name);
                warnings.add(format!("track {}", part.track), message);
            }
            Some(MetaEvent::Layer { voice, division, gain, pan, mute, solo, swing, depth, sound }) => {
                let has_pitch = part.channel != general_midi::PERCUSSION && voice.is_pitched();
                let attack = |n: &RawNote| Attack {
                    accent: general_midi::accent(n.velocity),
                    pitch: Pitch::new(n.key).filter(|_| has_pitch && n.release != 0),
                };
                all.push(DraftTrack {
                    notes: notes(part, &part.notes, scale, attack)?,
                    division: Some(*division),
                    swing: *swing,
                    gain: *gain,
                    pan: *pan,
                    mute: *mute,
                    solo: *solo,
                    depth: *depth,
                    sound: sound.clone(),
                    ..DraftTrack::new(&part.name, *voice)
                });
            }
            _ if part.channel == general_midi::PERCUSSION => all.extend(percussion(part, scale, warnings)?),
            _ => {
                let median = median_velocity(part);
                let attack = |n: &RawNote| Attack {
                    accent: general_midi::relative_accent(n.velocity, median),
                    pitch: Pitch::new(n.key),
                };
                let voice = general_midi::voice_of_program(part.program.unwrap_or(0));
                let notes = notes(part, &part.notes, scale, attack)?;
                all.push(DraftTrack { notes, ..empty_track(part, part.name.clone(), voice) });
            }
        }
    }
    Ok(all)
}

/// A track with the levels of a part.
fn empty_track(part: &RawPart, name: String, voice: Voice) -> DraftTrack {
    DraftTrack {
        gain: part.volume.map_or(0, general_midi::gain),
        pan: part.pan.map_or(0, general_midi::pan_position),
        mute: part.volume == Some(0),
        ..DraftTrack::new(name, voice)
    }
}

fn median_velocity(part: &RawPart) -> u8 {
    let mut velocities: Vec<u8> = part.notes.iter().map(|n| n.velocity).collect();
    velocities.sort_unstable();
    velocities.get(velocities.len() / 2).copied().unwrap_or(64)
}

fn notes(
    part: &RawPart,
    raw: &[RawNote],
    scale: TickScale,
    attack: impl Fn(&RawNote) -> Attack,
) -> Result<Vec<TimedNote>, FormatError> {
    let note = |n: &RawNote| {
        let (start, end) = (scale.time(n.start)?, scale.time(n.end.max(n.start + 1))?);
        Some(TimedNote { start, length: end.minus(start)?, attack: attack(n) })
    };
    let place = |n: &RawNote| too_long(format!("track {}, tick {}", part.track, n.start));
    raw.iter().map(|n| note(n).ok_or_else(|| place(n))).collect()
}

/// A track per voice of a percussion part. How long a drum is held means nothing; it sounds until the voice's next attack.
fn percussion(part: &RawPart, scale: TickScale, warnings: &mut Warnings) -> Result<Vec<DraftTrack>, FormatError> {
    let median = median_velocity(part);
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
        warnings.add(format!("track {}", part.track), message);
    }
    let several = voices.len() > 1;
    let track = |(voice, mut raw): (Voice, Vec<RawNote>)| {
        raw.sort_by_key(|n| n.start);
        let starts: Vec<u64> = raw.iter().map(|n| n.start).collect();
        for note in &mut raw {
            if let Some(next) = starts.get(starts.partition_point(|s| *s <= note.start)) {
                note.end = note.end.min(*next);
            }
        }
        let attack = |n: &RawNote| Attack { accent: general_midi::relative_accent(n.velocity, median), pitch: None };
        let name = if several { format!("{}: {voice}", part.name) } else { part.name.clone() };
        let notes = notes(part, &raw, scale, attack)?;
        Ok(DraftTrack { notes, ignore_lengths: true, ..empty_track(part, name, voice) })
    };
    voices.into_iter().map(track).collect()
}
