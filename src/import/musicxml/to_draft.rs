//! Turns a document into a draft: bars in playing order and tracks of notes.

use super::document::{Instrument, Note, Part, ScoreDocument, VoiceId};
use super::unfold::playing_order;
use crate::import::{DraftBar, DraftTrack, ImportDraft, Warnings, too_fine_error};
use crate::notation::{FormatError, SwungValue, TimedNote, general_midi};
use crate::rhythm::bounds::{BARS, NAME};
use crate::rhythm::{Attack, Fraction, Layer, Meter, Pitch, Swing, Tempo, Time, Voice, expected};
use std::collections::BTreeMap;

/// Most notes, every repeat written out.
const MAX_NOTES: usize = 400_000;
/// Most tracks, before simultaneous notes of one go to further layers.
const MAX_TRACKS: usize = 256;
/// Most bars, every repeat written out.
const MAX_BARS: usize = 64 * BARS.greatest as usize;
const MAX_TITLE_CHARS: usize = 200;
const MAX_NOTE_CHARS: usize = 4000;
/// Most characters of a part's name before a number.
const MAX_NUMBERED_NAME_CHARS: usize = 40;
const MAX_MEASURE_NUMBER_CHARS: usize = 20;
/// Mean MIDI keys below this play the bass voice (A2).
const BASS_BELOW: usize = 45;

struct PlayedMeasure {
    measure: usize,
    start: Time,
    end: Time,
}

impl PlayedMeasure {
    /// Where a written time of the measure sounds.
    fn swing_time(&self, at: Time, swing: SwungValue) -> Option<Time> {
        let sounding = swing.sounding_time(at.minus(self.start)?, self.end.minus(self.start)?)?;
        self.start.plus(sounding)
    }
}

pub(super) fn draft(document: &ScoreDocument, warnings: &mut Warnings) -> Result<ImportDraft, FormatError> {
    let mut played = Vec::new();
    let mut start = Time::ZERO;
    for measure in playing_order(&document.measures)? {
        let length = document.measures[measure].length;
        if length > Time::ZERO {
            let end = start.plus(length).ok_or_else(|| too_fine_error(""))?;
            played.push(PlayedMeasure { measure, start, end });
            start = end;
        }
    }
    let bars = bars(document, &played, warnings)?;
    let (title, note) = (clean_text(&document.title, MAX_TITLE_CHARS), clean_text(&document.note, MAX_NOTE_CHARS));
    let mut draft = ImportDraft { title, note, bars, tracks: Vec::new() };
    let mut count = 0;
    for part in &document.parts {
        let swing = constant_swing(&draft.bars, &played, &part.swings);
        let tracks = tracks(part);
        let too_many = |wanted: String| FormatError::new(format!("part '{}'", part.name), expected(wanted, "more"));
        if draft.tracks.len() + tracks.len() > MAX_TRACKS {
            return Err(too_many(format!("at most {MAX_TRACKS} voices and instruments")));
        }
        for (track, notes) in tracks {
            let notes = sounding_notes(notes, &played, &part.swings)?;
            count += notes.len();
            if count > MAX_NOTES {
                return Err(too_many(format!("at most {MAX_NOTES} notes with repeats written out")));
            }
            draft.tracks.push(DraftTrack { layer: Layer { swing, ..track.layer }, notes, ..track });
        }
    }
    Ok(draft)
}

/// Text of at most so many characters, without control characters.
fn clean_text(text: &str, most: usize) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(most).collect::<String>().trim().to_owned()
}

fn bars(
    document: &ScoreDocument,
    played: &[PlayedMeasure],
    warnings: &mut Warnings,
) -> Result<Vec<DraftBar>, FormatError> {
    if played.len() > MAX_BARS {
        return Err(FormatError::new("", expected(format!("at most {MAX_BARS} measures"), played.len())));
    }
    let mut meter = Meter::new(vec![4], 4).expect("4/4 is a meter");
    let mut meters = Vec::with_capacity(document.measures.len());
    for measure in &document.measures {
        meter = measure.meter.clone().unwrap_or(meter);
        meters.push(meter.clone());
    }
    let tempos = tempos(document, &meters)?;
    let names = section_names(document, played);
    let mut odd: Vec<usize> = Vec::new();
    let bar = |p: &PlayedMeasure| {
        let measure = &document.measures[p.measure];
        let meter = meters[p.measure].clone();
        let length = Some(measure.length).filter(|length| *length != meter.bar());
        if length.is_some() && odd.last() != Some(&p.measure) {
            odd.push(p.measure);
        }
        DraftBar {
            length,
            section: names[p.measure].clone(),
            swing: most_common_swing(document.parts.iter().map(|part| part.swings[p.measure])),
            ..DraftBar::new(meter, tempos[p.measure], &measure.number)
        }
    };
    let bars = played.iter().map(bar).collect();
    if let Some(first) = odd.first() {
        warnings.add_counted(
            format_args!("measure {}", document.measures[*first].number),
            odd.len(),
            "shorter or longer than a bar of its meter (a pickup, for example); it keeps its length",
            format_args!(
                "{} measures, first here, are shorter or longer than a bar of their meter (pickups, for example); they keep their length",
                odd.len()
            ),
        );
    }
    Ok(bars)
}

/// The names of the sections that begin with each measure: rehearsal marks, and where a repeat jumps to and goes on after it.
fn section_names(document: &ScoreDocument, played: &[PlayedMeasure]) -> Vec<Option<String>> {
    let mut begins = vec![false; document.measures.len()];
    for pair in played.windows(2) {
        let [before, bar] = pair else { continue };
        if bar.measure != before.measure + 1 {
            begins[bar.measure] = true;
            if let Some(after) = begins.get_mut(before.measure + 1) {
                *after = true;
            }
        }
    }
    let name = |(m, begins): (usize, bool)| {
        let measure = &document.measures[m];
        let mark =
            measure.rehearsal_mark.as_ref().map(|t| clean_text(t, NAME.greatest as usize)).filter(|t| !t.is_empty());
        let number = || match measure.number.as_str() {
            "" => (m + 1).to_string(),
            number => clean_text(number, MAX_MEASURE_NUMBER_CHARS),
        };
        mark.or_else(|| begins.then(|| format!("from measure {}", number())))
    };
    begins.into_iter().enumerate().map(name).collect()
}

fn most_common_swing(swings: impl Iterator<Item = Option<SwungValue>>) -> Option<Swing> {
    let mut counts: BTreeMap<Option<Fraction>, (usize, Option<Swing>)> = BTreeMap::new();
    for swing in swings.map(|s| s.map(|s| s.swing)) {
        counts.entry(swing.map(Swing::share)).or_insert((0, swing)).0 += 1;
    }
    counts.values().max_by_key(|c| c.0).and_then(|c| c.1)
}

/// The tempo of every measure: the last one set; 120 quarters per minute before the first.
fn tempos(document: &ScoreDocument, meters: &[Meter]) -> Result<Vec<Tempo>, FormatError> {
    let mut now: Option<Tempo> = None;
    let mut all = Vec::with_capacity(meters.len());
    for (measure, meter) in document.measures.iter().zip(meters) {
        now = measure.tempo.or(now);
        let in_beats = |unit: Time| Tempo::new(Fraction::whole(30).over(unit.wholes())?, unit).ok();
        let default = || in_beats(meter.beat()).or_else(|| in_beats(Time::new(1, 4)?));
        all.push(now.or_else(default).ok_or_else(|| too_fine_error(""))?);
    }
    Ok(all)
}

/// The swing of a part if it is the same throughout but not that of the bars.
fn constant_swing(bars: &[DraftBar], played: &[PlayedMeasure], swings: &[Option<SwungValue>]) -> Option<Swing> {
    let of_part = |p: &PlayedMeasure| swings[p.measure].map(|s| s.swing);
    let first = played.first().map(of_part)?;
    let differs = bars.iter().zip(played).any(|(b, p)| b.swing != of_part(p));
    let is_constant = played.iter().all(|p| of_part(p) == first);
    if differs && is_constant { first.or_else(|| Swing::new(1, 1).ok()) } else { None }
}

/// What the notes of a track have in common, in the order of the tracks.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum TrackKey {
    Voice(VoiceId),
    /// By the index of its instrument.
    Percussion(usize),
}

/// The tracks of a part: one per instrument of percussion, one per staff and voice of what has pitch.
fn tracks<'a>(part: &'a Part) -> Vec<(DraftTrack, Vec<&'a Note>)> {
    let mut rows: BTreeMap<TrackKey, Vec<&Note>> = BTreeMap::new();
    for note in &part.notes {
        let key = match note.instrument {
            Some(instrument) if note.key.is_none() && part.instruments.len() > 1 => TrackKey::Percussion(instrument),
            _ => TrackKey::Voice(note.voice.clone()),
        };
        rows.entry(key).or_default().push(note);
    }
    if rows.is_empty() && !part.name.is_empty() {
        rows.insert(TrackKey::Voice(VoiceId { staff: 1, voice: "1".into() }), Vec::new());
    }
    let several = rows.len() > 1;
    let max_name = NAME.greatest as usize;
    let track = |(i, (key, notes)): (usize, (TrackKey, Vec<&'a Note>))| {
        let of_notes = || notes.iter().find_map(|n| part.instruments.get(n.instrument?));
        let instrument = match key {
            TrackKey::Percussion(index) => part.instruments.get(index),
            TrackKey::Voice(_) => of_notes().or(part.instruments.first()),
        };
        let is_percussion = matches!(key, TrackKey::Percussion(_));
        let name = match (key, instrument) {
            (TrackKey::Percussion(_), Some(own)) if !own.name.is_empty() => clean_text(&own.name, max_name),
            _ if several && i > 0 => {
                let base = if part.name.trim().is_empty() { "part" } else { &part.name };
                format!("{} {}", clean_text(base, MAX_NUMBERED_NAME_CHARS), i + 1)
            }
            _ => clean_text(&part.name, max_name),
        };
        // One of several instruments may be named after anything.
        let of_key = instrument.filter(|_| is_percussion).and_then(|i| i.key).and_then(general_midi::voice);
        let mut track = DraftTrack::new(&name, of_key.unwrap_or_else(|| voice(instrument, &notes)));
        let mix = |of: fn(&Instrument) -> Option<i8>| {
            let first = part.instruments.iter().find_map(of);
            instrument.and_then(of).or(first).unwrap_or(0)
        };
        (track.layer.gain, track.layer.pan) = (mix(|i| i.gain), mix(|i| i.pan));
        (track, notes)
    };
    rows.into_iter().enumerate().map(track).collect()
}

/// The voice that the instrument is named after, else that of its General MIDI number, else one by pitch.
fn voice(instrument: Option<&Instrument>, notes: &[&Note]) -> Voice {
    let keys: Vec<u8> = notes.iter().filter_map(|n| n.key).collect();
    let named = instrument.and_then(|i| Voice::parse(i.name.trim()));
    if let Some(voice) = named.filter(|v| keys.is_empty() || v.is_pitched()) {
        return voice;
    }
    if keys.is_empty() {
        return instrument.and_then(|i| i.key).and_then(general_midi::voice).unwrap_or(Voice::Wood);
    }
    let mean = keys.iter().map(|k| usize::from(*k)).sum::<usize>() / keys.len();
    match instrument.and_then(|i| i.program).map(|p| general_midi::voice_of_program(p - 1)) {
        Some(voice @ (Voice::Bass | Voice::Bell | Voice::Tom | Voice::LowTom)) => voice,
        // Any other program is ignored: many files have the first one, whatever plays.
        _ if mean < BASS_BELOW => Voice::Bass,
        _ => Voice::Pluck,
    }
}

/// The notes as they sound: in playing order, cut where a repeat jumps away, with swing applied.
fn sounding_notes(
    mut notes: Vec<&Note>,
    played: &[PlayedMeasure],
    swings: &[Option<SwungValue>],
) -> Result<Vec<TimedNote>, FormatError> {
    notes.sort_by_key(|n| n.measure);
    let mut all = Vec::new();
    for (i, bar) in played.iter().enumerate() {
        let first = notes.partition_point(|n| n.measure < bar.measure);
        for note in notes[first..].iter().take_while(|n| n.measure == bar.measure) {
            if all.len() > MAX_NOTES {
                return Ok(all);
            }
            let start = bar.start.plus(note.start).ok_or_else(|| too_fine_error(""))?;
            let mut end = start.plus(note.length).ok_or_else(|| too_fine_error(""))?;
            let mut last = i;
            while end > played[last].end {
                match played.get(last + 1) {
                    Some(next) if next.measure == played[last].measure + 1 => last += 1,
                    _ => end = played[last].end,
                }
            }
            let swung = |t: Time, bar: &PlayedMeasure, in_tuplet: bool| match swings[bar.measure] {
                Some(swing) if !in_tuplet => bar.swing_time(t, swing).ok_or_else(|| too_fine_error("")),
                _ => Ok(t),
            };
            let start = swung(start, bar, note.starts_in_tuplet)?;
            let length =
                swung(end, &played[last], note.ends_in_tuplet)?.minus(start).ok_or_else(|| too_fine_error(""))?;
            let attack = Attack { accent: note.accent, flam: note.flam, pitch: note.key.and_then(Pitch::new) };
            all.push(TimedNote { start, length, attack });
        }
    }
    Ok(all)
}
