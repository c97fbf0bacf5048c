//! Exact notes and bars to a groove: sections, layers, the smallest exact grid of each.
//!
//! Runs of bars with one meter and tempo become sections. Notes that sound at once in one track go to further layers. Each layer gets
//! the division that writes it with the fewest cells, and tuplets where that does not reach. What a groove cannot hold is
//! cut or moved, never dropped in silence: a [`ImportWarning`] says so, with the exact distance.

mod bars;
mod grid;
mod performance;
mod quantize;
#[cfg(test)]
mod tests;
mod voices;

pub(crate) use quantize::{Rounding, fit};

use super::draft::{DraftTrack, ImportDraft};
use crate::import::{ImportWarning, Imported};
use crate::notation::{FormatError, count, were};
use crate::rhythm::bounds::{GAIN, LAYERS, PAN, TIMES};
use crate::rhythm::{Groove, Layer, Part, Section, Time};
use bars::{Bars, Run};
use std::sync::Arc;

/// Most warnings of one kind about one track; the others are counted.
const SHOWN: usize = 8;

/// Remarks of one kind about one track: the first of them whole, the rest as a number.
struct WarningGroup<'a> {
    warnings: &'a mut Vec<ImportWarning>,
    shown: usize,
    more: usize,
    /// Where the first one that is only counted stands.
    next: String,
    what: &'static str,
}

impl<'a> WarningGroup<'a> {
    fn new(warnings: &'a mut Vec<ImportWarning>, what: &'static str) -> Self {
        Self { warnings, shown: 0, more: 0, next: String::new(), what }
    }

    fn say(&mut self, place: impl FnOnce() -> String, message: impl FnOnce() -> String) {
        if self.shown < SHOWN {
            self.warnings.push(ImportWarning { place: place(), message: message() });
            self.shown += 1;
        } else {
            if self.more == 0 {
                self.next = place();
            }
            self.more += 1;
        }
    }
}

impl Drop for WarningGroup<'_> {
    fn drop(&mut self) {
        if self.more > 0 {
            let message = match self.more {
                1 => format!("and 1 more note {}", self.what),
                n => format!("and {n} more notes {}, first here", self.what),
            };
            self.warnings.push(ImportWarning { place: std::mem::take(&mut self.next), message });
        }
    }
}

/// A note placed in its section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Placed {
    /// Onset from the section's start.
    start: Time,
    /// End from the section's start.
    end: Time,
    attack: crate::rhythm::Attack,
}

/// Makes a groove of a draft.
///
/// # Errors
/// [`FormatError`] if there is no bar, a bar or a sum of lengths is beyond what a groove can hold, or it would have more sections,
/// bars or cells than [`crate::rhythm::bounds`] allow.
pub(crate) fn assemble(draft: &ImportDraft) -> Result<Imported, FormatError> {
    let mut warnings = Vec::new();
    let found = bars::gather(draft, &mut warnings)?;
    let most = LAYERS.greatest as usize;
    let mut lanes: Vec<(&DraftTrack, voices::Lane)> = Vec::new();
    for track in &draft.tracks {
        let placed = place(track, &found, &mut warnings)?;
        let (made, left) = voices::lanes(track, placed, most - lanes.len(), &found, &mut warnings);
        lanes.extend(made.into_iter().map(|lane| (track, lane)));
        if let Some(left) = left {
            let message = format!("a groove has at most {most} layers; {} dropped", were(left, "note"));
            warnings.push(ImportWarning { place: format!("track '{}'", track.name), message });
        }
    }
    let names = bars::layer_names(lanes.iter().enumerate().map(|(i, (track, _))| match track.name.trim() {
        "" => format!("layer {}", i + 1),
        name => name.to_owned(),
    }));
    let layers = lanes.into_iter().zip(names).map(|((track, lane), name)| Layer {
        swing: track.swing,
        gain: i64::from(track.gain).clamp(GAIN.least, GAIN.greatest) as i8,
        pan: i64::from(track.pan).clamp(PAN.least, PAN.greatest) as i8,
        mute: track.mute,
        solo: track.solo,
        depth: track.depth,
        sound: track.sound.clone(),
        ..Layer::new(&name, track.voice, lane.division, lane.parts)
    });
    let (sections, layers) = fold(&found.runs, bars::sections(&found.runs), layers.collect());
    let refused = |e: crate::rhythm::EditError| FormatError::new("", e.to_string());
    let groove = Groove::new(&draft.title, &draft.note, sections, layers).map_err(refused)?;
    Ok(Imported { groove, warnings })
}

/// Notes by section, cut at its end, in order of onset, the higher of two first.
fn place(track: &DraftTrack, found: &Bars, warnings: &mut Vec<ImportWarning>) -> Result<Vec<Vec<Placed>>, FormatError> {
    let too_fine =
        || FormatError::new(format!("track '{}'", track.name), "the sum of the times does not fit a 64-bit fraction");
    let mut cut = WarningGroup::new(warnings, "cut at the end of a section");
    let mut sections = vec![Vec::new(); found.runs.len()];
    let mut outside = 0_usize;
    let mut empty = 0_usize;
    for note in &track.notes {
        let end = note.start.plus(note.length).ok_or_else(too_fine)?;
        let Some(first) = found.bar_at(note.start).filter(|_| note.start < found.end) else {
            outside += 1;
            continue;
        };
        if note.length <= Time::ZERO {
            empty += 1;
            continue;
        }
        let bar = &found.all[first];
        let into = |bar: &bars::Bar, at: Time| at.minus(bar.start).and_then(|t| t.plus(bar.within));
        let start = into(bar, note.start).ok_or_else(too_fine)?;
        let last = found.bar_before(end);
        let section_end = found.length(bar.section);
        let end = if found.all[last].section == bar.section && end <= found.end {
            into(&found.all[last], end).ok_or_else(too_fine)?.min(section_end)
        } else {
            let kept = section_end.minus(start).ok_or_else(too_fine)?;
            let message = || format!("a note of {} crosses the end of its section; cut to {kept}", note.length);
            cut.say(|| place_of(&track.name, found, bar.section, start), message);
            section_end
        };
        sections[bar.section].push(Placed { start, end, attack: note.attack });
    }
    drop(cut);
    for (n, what) in [(outside, "outside the bars"), (empty, "of length 0")] {
        if n > 0 {
            let message = format!("dropped {} {what}", count(n, "note"));
            warnings.push(ImportWarning { place: format!("track '{}'", track.name), message });
        }
    }
    for notes in &mut sections {
        // The sort keeps the source's order of equal ones.
        notes.sort_by_key(|n| (n.start, std::cmp::Reverse(n.attack.pitch)));
    }
    Ok(sections)
}

/// Where a time within a section stands, in message.
fn place_of(track: &str, found: &Bars, section: usize, at: Time) -> String {
    let bar = found.bar_within(section, at);
    let beat = at.minus(bar.within).and_then(|t| t.ratio_to(bar.meter.beat()));
    let beat = beat.and_then(|b| b.plus(crate::rhythm::Fraction::ONE));
    let beat = beat.map_or(String::new(), |b| format!(", beat {}", mixed(b)));
    format!("track '{track}', bar {}{beat}", bar.number)
}

/// `2` or `2+1/3`.
fn mixed(x: crate::rhythm::Fraction) -> String {
    match (x.floor(), x.numer() - x.floor() * x.denom()) {
        (whole, 0) => whole.to_string(),
        (whole, part) => format!("{whole}+{part}/{}", x.denom()),
    }
}

/// Joins runs that the source calls by one name and that sound the same into times through.
fn fold(runs: &[Run], sections: Vec<Section>, layers: Vec<Layer>) -> (Vec<Section>, Vec<Layer>) {
    let mut kept: Vec<usize> = Vec::new();
    let mut out: Vec<Section> = Vec::new();
    for (i, section) in sections.into_iter().enumerate() {
        let same = kept.last().is_some_and(|&k| {
            runs[k].name.is_some() && runs[k] == runs[i] && layers.iter().all(|l| l.parts[k] == l.parts[i])
        });
        match out.last_mut() {
            Some(last) if same && i64::from(last.times) < TIMES.greatest => last.times += 1,
            _ => {
                kept.push(i);
                out.push(section);
            }
        }
    }
    let layers = layers.into_iter().map(|layer| {
        let parts: Vec<Arc<Part>> = kept.iter().map(|k| layer.parts[*k].clone()).collect();
        Layer { parts, ..layer }
    });
    let layers = layers.collect();
    (out, layers)
}
