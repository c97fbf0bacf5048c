//! Turns a document into a draft: bars in playing order and tracks of notes.

use super::document::{Instrument, Note, Part, ScoreDocument};
use super::unfold::order;
use super::warnings::Warnings;
use crate::import::{DraftBar, DraftTrack, ImportDraft};
use crate::notation::FormatError;
use crate::notation::TimedNote;
use crate::notation::general_midi;
use crate::rhythm::bounds::{BARS, NAME};
use crate::rhythm::{Attack, Fraction, Meter, Pitch, Swing, Tempo, Time, Voice, expected};
use std::collections::BTreeMap;

/// Most notes, every repeat written out.
const MAX_NOTES: usize = 400_000;
/// Most tracks, before those that sound at once in one come on further layers.
const MAX_TRACKS: usize = 256;

/// A measure as it is played.
struct Played {
    measure: usize,
    start: Time,
    end: Time,
}

fn too_long() -> FormatError {
    FormatError::new("", "the sum of the times does not fit a 64-bit fraction")
}

/// The draft of a document.
pub(super) fn draft(written: &ScoreDocument, warnings: &mut Warnings) -> Result<ImportDraft, FormatError> {
    let order = order(&written.measures)?;
    let mut played = Vec::with_capacity(order.len());
    let mut at = Time::ZERO;
    for &measure in &order {
        let length = written.measures[measure].length;
        if length <= Time::ZERO {
            continue;
        }
        let end = at.plus(length).ok_or_else(too_long)?;
        played.push(Played { measure, start: at, end });
        at = end;
    }
    let swings: Vec<Vec<Option<(Swing, Time)>>> =
        written.parts.iter().map(|p| swings(p, written.measures.len())).collect();
    let bars = bars(written, &played, &swings, warnings)?;
    let mut draft =
        ImportDraft { title: cut(&written.title, 200), note: cut(&written.note, 4000), bars, tracks: Vec::new() };
    let mut count = 0;
    for (part, swing) in written.parts.iter().zip(&swings) {
        let own = own_swing(&draft.bars, &played, swing);
        let found = tracks(part);
        if draft.tracks.len() + found.len() > MAX_TRACKS {
            let message = expected(format!("at most {MAX_TRACKS} voices and instruments"), "more");
            return Err(FormatError::new(format!("part '{}'", part.name), message));
        }
        for (mut track, notes) in found {
            track.swing = own;
            track.notes = sounding(notes, &played, swing)?;
            count += track.notes.len();
            if count > MAX_NOTES {
                let message = expected(format!("at most {MAX_NOTES} notes with repeats written out"), "more");
                return Err(FormatError::new(format!("part '{}'", part.name), message));
            }
            draft.tracks.push(track);
        }
    }
    Ok(draft)
}

/// Text of at most so many characters, without control characters.
fn cut(text: &str, most: usize) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(most).collect::<String>().trim().to_owned()
}

/// The swing of every measure.
fn swings(part: &Part, measures: usize) -> Vec<Option<(Swing, Time)>> {
    let (mut all, mut now, mut next) = (Vec::with_capacity(measures), None, 0);
    for measure in 0..measures {
        while let Some((_, swing)) = part.swings.get(next).filter(|s| s.0 <= measure) {
            now = *swing;
            next += 1;
        }
        all.push(now);
    }
    all
}

fn bars(
    written: &ScoreDocument,
    played: &[Played],
    swings: &[Vec<Option<(Swing, Time)>>],
    warnings: &mut Warnings,
) -> Result<Vec<DraftBar>, FormatError> {
    let common = Meter::new(vec![4], 4).map_err(|e| FormatError::new("", e.to_string()))?;
    let mut meters = Vec::new();
    let mut meter: Option<Meter> = None;
    for measure in &written.measures {
        meter = measure.meter.clone().or(meter);
        meters.push(meter.clone().unwrap_or_else(|| common.clone()));
    }
    let tempos = tempos(written, &meters)?;
    // A section begins where a repeat jumps to, and after it.
    let mut heads = vec![false; written.measures.len()];
    for (i, bar) in played.iter().enumerate() {
        let jumped = i > 0 && bar.measure != played[i - 1].measure + 1;
        if jumped {
            heads[bar.measure] = true;
            if let Some(after) = heads.get_mut(played[i - 1].measure + 1) {
                *after = true;
            }
        }
    }
    let names: Vec<Option<String>> = (0..heads.len())
        .map(|m| {
            let measure = &written.measures[m];
            let mark = measure.mark.as_ref().map(|t| cut(t, NAME.greatest as usize)).filter(|t| !t.is_empty());
            mark.or_else(|| {
                heads[m].then(|| {
                    format!(
                        "from measure {}",
                        if measure.number.is_empty() { (m + 1).to_string() } else { cut(&measure.number, 20) }
                    )
                })
            })
        })
        .collect();
    let mut odd = Vec::new();
    let bars = played.iter().map(|p| {
        let measure = &written.measures[p.measure];
        let meter = meters[p.measure].clone();
        let length = (measure.length != meter.bar()).then_some(measure.length);
        if length.is_some() && odd.last() != Some(&p.measure) {
            odd.push(p.measure);
        }
        // What most parts say.
        let mut said: BTreeMap<Option<Fraction>, (usize, Option<Swing>)> = BTreeMap::new();
        for swing in swings.iter().map(|s| s[p.measure].map(|x| x.0)) {
            said.entry(swing.map(Swing::share)).or_insert((0, swing)).0 += 1;
        }
        let swing = said.values().max_by_key(|v| v.0).and_then(|v| v.1);
        DraftBar {
            length,
            section: names[p.measure].clone(),
            swing,
            ..DraftBar::new(meter, tempos[p.measure], &measure.number)
        }
    });
    let bars: Vec<DraftBar> = bars.collect();
    if let Some(first) = odd.first() {
        let message = match odd.len() {
            1 => "shorter or longer than a bar of its meter (a pickup, for example); it keeps its length".to_owned(),
            n => format!(
                "{n} measures, first here, are shorter or longer than a bar of their meter (pickups, for example); they keep their length"
            ),
        };
        warnings.add(format!("measure {}", written.measures[*first].number), message);
    }
    if bars.len() > 64 * BARS.greatest as usize {
        return Err(FormatError::new("", expected(format!("at most {} measures", 64 * BARS.greatest), bars.len())));
    }
    Ok(bars)
}

/// The tempo of every measure: the last one told; 120 quarters a minute before the first.
fn tempos(written: &ScoreDocument, meters: &[Meter]) -> Result<Vec<Tempo>, FormatError> {
    let mut now: Option<Tempo> = None;
    let mut all = Vec::with_capacity(meters.len());
    for (measure, meter) in written.measures.iter().zip(meters) {
        now = measure.tempo.or(now);
        let in_beats = |unit: Time| Tempo::new(Fraction::whole(30).over(unit.wholes())?, unit).ok();
        let plain = || in_beats(meter.beat()).or_else(|| in_beats(Time::new(1, 4)?));
        all.push(now.or_else(plain).ok_or_else(too_long)?);
    }
    Ok(all)
}

/// A swing of the part that differs from its bars' in the same way throughout.
fn own_swing(bars: &[DraftBar], played: &[Played], swings: &[Option<(Swing, Time)>]) -> Option<Swing> {
    let straight = || Swing::new(1, 1).ok();
    let own = |p: &Played| swings[p.measure].map(|s| s.0);
    let differs = bars.iter().zip(played).any(|(b, p)| b.swing != own(p));
    let first = played.first().map(own)?;
    (differs && played.iter().all(|p| own(p) == first)).then(|| first.or_else(straight)).flatten()
}

/// The tracks of a part: one per instrument of percussion, one per staff and voice of what has pitch.
fn tracks(part: &Part) -> Vec<(DraftTrack, Vec<&Note>)> {
    let percussion = |n: &Note| n.key.is_none() && n.instrument.is_some() && part.instruments.len() > 1;
    let mut rows: BTreeMap<(bool, usize, u32, String), Vec<&Note>> = BTreeMap::new();
    for note in &part.notes {
        let key = if percussion(note) {
            (true, note.instrument.unwrap_or(0), 0, String::new())
        } else {
            (false, 0, note.voice.0, note.voice.1.clone())
        };
        rows.entry(key).or_default().push(note);
    }
    if rows.is_empty() && !part.name.is_empty() {
        rows.insert((false, 0, 1, "1".into()), Vec::new());
    }
    let count = rows.len();
    let made = rows.into_iter().enumerate().map(|(i, (key, notes))| {
        let instrument = if key.0 {
            part.instruments.get(key.1)
        } else {
            notes.iter().find_map(|n| n.instrument).and_then(|i| part.instruments.get(i)).or(part.instruments.first())
        };
        let base = if part.name.trim().is_empty() { "part".to_owned() } else { cut(&part.name, 40) };
        let name = match (key.0, instrument) {
            (true, Some(own)) if !own.name.is_empty() => cut(&own.name, NAME.greatest as usize),
            _ if count > 1 && i > 0 => format!("{base} {}", i + 1),
            _ => cut(&part.name, NAME.greatest as usize),
        };
        let mut track = DraftTrack::new(name, voice(instrument, &notes));
        track.gain = part.gain.unwrap_or(0);
        track.pan = part.pan.unwrap_or(0);
        (track, notes)
    });
    made.collect()
}

/// The voice of some notes: the one their instrument is called by, else by its number in General MIDI, else by pitch.
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
        Some(voice @ (Voice::Bass | Voice::Bell | Voice::Tom)) => voice,
        // The first program stands in many files whatever plays.
        _ if mean < 45 => Voice::Bass,
        _ => Voice::Pluck,
    }
}

/// The notes as they sound: in playing order, cut where a repeat jumps away under them, swung where that is told.
fn sounding(
    mut notes: Vec<&Note>,
    played: &[Played],
    swing: &[Option<(Swing, Time)>],
) -> Result<Vec<TimedNote>, FormatError> {
    notes.sort_by_key(|n| n.measure);
    let mut all = Vec::new();
    for (i, bar) in played.iter().enumerate() {
        let first = notes.partition_point(|n| n.measure < bar.measure);
        for note in notes[first..].iter().take_while(|n| n.measure == bar.measure) {
            if all.len() > MAX_NOTES {
                return Ok(all);
            }
            let start = bar.start.plus(note.at).ok_or_else(too_long)?;
            let mut end = start.plus(note.length).ok_or_else(too_long)?;
            let mut last = i;
            while end > played[last].end {
                match played.get(last + 1) {
                    Some(next) if next.measure == played[last].measure + 1 => last += 1,
                    _ => end = played[last].end,
                }
            }
            let at = |t: Time, bar: &Played, exempt: bool| match swing[bar.measure] {
                Some(how) if !exempt => swung(t, bar.start, how).ok_or_else(too_long),
                _ => Ok(t),
            };
            let start = at(start, bar, note.in_tuplet.0)?;
            let end = at(end, &played[last], note.in_tuplet.1)?;
            let length = end.minus(start).ok_or_else(too_long)?;
            let pitch = note.key.and_then(Pitch::new);
            all.push(TimedNote { start, length, attack: Attack { accent: note.accent, pitch } });
        }
    }
    Ok(all)
}

/// Where a straight time is put by swing: each pair of values is bent at its middle.
fn swung(t: Time, from: Time, (swing, value): (Swing, Time)) -> Option<Time> {
    let pair = value.repeated(2)?;
    let into = t.minus(from)?.ratio_to(pair)?;
    let rest = into.minus(Fraction::new(into.floor(), 1)?)?;
    let (share, two, half) = (swing.share(), Fraction::whole(2), Fraction::new(1, 2)?);
    let bent = if rest <= half {
        rest.times(two)?.times(share)?
    } else {
        let late = rest.minus(half)?.times(two)?;
        share.plus(late.times(Fraction::ONE.minus(share)?)?)?
    };
    let moved = bent.minus(rest)?;
    t.plus(pair.scaled(moved)?)
}
