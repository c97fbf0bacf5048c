//! Turns a parsed MIDI file into a groove, and its meters and markers into bars.

use super::TOLERANCE_MS;
use super::read::{Origin, Song, read};
use super::tempos::Tempos;
use super::tracks::tracks;
use crate::import::assemble::{Rounding, Source, assemble, quantize_draft};
use crate::import::{DraftBar, ImportDraft, Imported, Warnings};
use crate::notation::FormatError;
use crate::notation::teeter_meta::MetaEvent;
use crate::rhythm::bounds::CELLS_OF_LAYER;
use crate::rhythm::{Fraction, Meter, Swing, Time, expected};
use std::collections::BTreeMap;

/// Imports a file with a tolerance of [`TOLERANCE_MS`].
///
/// # Errors
/// As `import_with_tolerance`.
pub fn import(bytes: &[u8]) -> Result<Imported, FormatError> {
    import_with_tolerance(bytes, Fraction::whole(TOLERANCE_MS))
}

/// Imports a file. Times go to the smallest exact grid; where there is none, to one within the tolerance (in ms, zero or more) that
/// is unlikely to fit by chance; where there is none either, to the nearest plain one. A tolerance of 0 moves no onset.
///
/// # Errors
/// [`FormatError`] with the place: for what is no file of format 0 or 1, is truncated, has no note or more than a groove can hold, or
/// has an onset that no grid can hold and the tolerance is 0.
pub(crate) fn import_with_tolerance(bytes: &[u8], tolerance: Fraction) -> Result<Imported, FormatError> {
    let mut song = read(bytes)?;
    let mut warnings = std::mem::take(&mut song.warnings);
    let no_header = || FormatError::new("byte 0", expected("a header", "none"));
    let scale = TickScale { per_quarter: song.ticks_per_quarter.ok_or_else(no_header)? };
    let bars = bars(&song, scale, &mut warnings)?;
    let tracks = tracks(&song, scale, &mut warnings)?;
    if tracks.is_empty() && song.origin == Origin::Other {
        return Err(FormatError::new("", expected("at least one note", "none")));
    }
    let half_tick = scale.time(1).and_then(|t| t.divided(2)).unwrap_or(Time::ZERO);
    let (grain, source) = match song.origin {
        Origin::TeeterExact => (Time::ZERO, Source::Groove),
        Origin::TeeterRounded => (half_tick, Source::Groove),
        Origin::Other => (half_tick, Source::Other),
    };
    let mut draft = ImportDraft { title: song.title, note: song.note, bars, tracks };
    quantize_draft(&mut draft, Rounding { grain, tolerance, source }, &mut warnings)?;
    let groove = assemble(&draft, &mut warnings)?;
    Ok(Imported { groove, warnings: warnings.finish() })
}

#[derive(Debug, Clone, Copy)]
pub(super) struct TickScale {
    per_quarter: Fraction,
}

impl TickScale {
    pub(super) fn time(self, tick: u64) -> Option<Time> {
        let wholes = Fraction::new(i64::try_from(tick).ok()?, 4)?.over(self.per_quarter)?;
        Time::new(wholes.numer(), wholes.denom())
    }
}

pub(super) fn too_long_error(place: impl Into<String>) -> FormatError {
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
    let end = if song.origin == Origin::Other { sounded } else { song.end_tick.max(sounded).saturating_sub(1) };
    let end = scale.time(end).ok_or_else(|| too_long_error(""))?;
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
        let whole = at.plus(meter.bar()).ok_or_else(|| too_long_error(""))?;
        let change = changes.peek().and_then(|c| scale.time(c.0)).filter(|t| *t < whole);
        let length = change.and_then(|t| t.minus(at));
        let bar_end = change.unwrap_or(whole);
        let number = all.len() + 1;
        shortened.extend(length.map(|length| (number, length)));
        beats += meter.beats();
        if beats as i64 > CELLS_OF_LAYER.greatest {
            return Err(too_long_error(format!("bar {number}")));
        }
        let tempo = tempos.tempo_of_bar(at, bar_end, meter, number);
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
        let n = shortened.len();
        warnings.add_counted(
            format_args!("bar {number}"),
            n,
            format_args!("the meter changes within this bar; it was shortened to {length} of a whole note and became its own section"),
            format_args!("the meter changes within {n} bars, first here; each was shortened and became its own section"),
        );
    }
    markers.retain(|t, _| *t < at);
    if let Some((tick, name)) = markers.values().next() {
        let one = format!("ignored the marker '{name}', which is within a bar");
        let many = format!("ignored {} markers within bars, the first '{name}'", markers.len());
        warnings.add_counted(format_args!("tick {tick}"), markers.len(), one, many);
    }
    Ok(all)
}
