//! Assembles exact notes and bars into a groove: sections, layers, the smallest exact grid of each.
//!
//! Runs of bars with one meter and tempo become sections. Simultaneous notes of a track go to further layers. Each layer gets, for
//! each note value that is a beat, the division that writes it with the fewest cells, and tuplets where that does not suffice.
//! What a groove cannot hold is cut or moved with a warning that gives the exact distance.

mod bars;
mod grid;
mod performance;
mod quantize;
#[cfg(test)]
mod tests;
mod voices;

pub(super) use grid::magnitude;
pub(crate) use quantize::{Rounding, Source, quantize_draft};

use super::draft::{DraftTrack, ImportDraft};
use crate::import::{Warnings, too_fine_error};
use crate::notation::{FormatError, count_were};
use crate::rhythm::bounds::{GAIN, LAYERS, PAN, TIMES};
use crate::rhythm::{Attack, Fraction, Groove, Layer, Section, Time, count};
use bars::{BarRun, Timeline, TimelineBar};
use std::cmp::Reverse;
use std::sync::Arc;

/// Most warnings of one kind about one track; the others are counted.
const MAX_WARNINGS_PER_KIND: usize = 8;

/// Warnings of one kind about one track: the first are shown, the rest counted.
struct WarningGroup<'a> {
    warnings: &'a mut Warnings,
    description: &'static str,
    count: usize,
    first_omitted_place: String,
}

impl<'a> WarningGroup<'a> {
    fn new(warnings: &'a mut Warnings, description: &'static str) -> Self {
        Self { warnings, description, count: 0, first_omitted_place: String::new() }
    }

    fn add(&mut self, place: impl FnOnce() -> String, message: impl FnOnce() -> String) {
        self.count += 1;
        if self.count <= MAX_WARNINGS_PER_KIND {
            self.warnings.add(place(), message());
        } else if self.first_omitted_place.is_empty() {
            self.first_omitted_place = place();
        }
    }
}

impl Drop for WarningGroup<'_> {
    fn drop(&mut self) {
        let (what, n) = (self.description, self.count.saturating_sub(MAX_WARNINGS_PER_KIND));
        let one = format!("and 1 more note {what}");
        let many = format!("and {n} more notes {what}, first here");
        self.warnings.add_counted(&self.first_omitted_place, n, one, many);
    }
}

/// A note with its times from the start of its section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct PlacedNote {
    start: Time,
    end: Time,
    attack: Attack,
}

impl PlacedNote {
    /// The order of onset, the higher pitch first.
    fn onset_order(&self) -> (Time, Reverse<Option<crate::rhythm::Pitch>>) {
        (self.start, Reverse(self.attack.pitch))
    }
}

/// Makes a groove of a draft.
///
/// # Errors
/// [`FormatError`] if there is no bar, a length or a sum of lengths is beyond what a groove can hold, or there would be more
/// sections, bars or cells than [`crate::rhythm::bounds`] allow.
pub(crate) fn assemble(draft: &ImportDraft, warnings: &mut Warnings) -> Result<Groove, FormatError> {
    let timeline = bars::place_bars(draft, warnings)?;
    let most = LAYERS.greatest as usize;
    let mut layers: Vec<(&DraftTrack, voices::LayerCells)> = Vec::new();
    for track in &draft.tracks {
        let notes = place_notes(track, &timeline, warnings)?;
        let (voices, dropped) = voices::divide(track, notes, most - layers.len(), &timeline, warnings);
        layers.extend(voices.into_iter().map(|cells| (track, cells)));
        if let Some(dropped) = dropped {
            let message = format!("a groove has at most {most} layers; {} dropped", count_were(dropped, "note"));
            warnings.add(format!("track '{}'", track.layer.name), message);
        }
    }
    let names = bars::layer_names(layers.iter().enumerate().map(|(i, (track, _))| match track.layer.name.trim() {
        "" => format!("layer {}", i + 1),
        name => name.to_owned(),
    }));
    let layers = layers.into_iter().zip(names).map(|((track, cells), name)| Layer {
        name,
        divisions: cells.divisions,
        gain: i64::from(track.layer.gain).clamp(GAIN.least, GAIN.greatest) as i8,
        pan: i64::from(track.layer.pan).clamp(PAN.least, PAN.greatest) as i8,
        parts: cells.parts.into_iter().map(Arc::new).collect(),
        ..track.layer.clone()
    });
    let (sections, layers) = fold_repeats(&timeline.runs, bars::sections(&timeline.runs), layers.collect());
    Groove::new(&draft.title, &draft.note, sections, layers).map_err(|e| FormatError::new("", e.to_string()))
}

/// The notes of a track by section, cut at its end, in [`PlacedNote::onset_order`].
fn place_notes(
    track: &DraftTrack,
    timeline: &Timeline,
    warnings: &mut Warnings,
) -> Result<Vec<Vec<PlacedNote>>, FormatError> {
    let place = || format!("track '{}'", track.layer.name);
    let too_fine_error = || too_fine_error(place());
    let mut cut = WarningGroup::new(warnings, "cut at the end of a section");
    let mut sections = vec![Vec::new(); timeline.runs.len()];
    let (mut outside, mut empty) = (0, 0);
    for note in &track.notes {
        let end = note.start.plus(note.length).ok_or_else(too_fine_error)?;
        let Some(first) = timeline.bar_at(note.start).filter(|_| note.start < timeline.end) else {
            outside += 1;
            continue;
        };
        if note.length <= Time::ZERO {
            empty += 1;
            continue;
        }
        let section = first.section;
        let in_section = |bar: &TimelineBar, at: Time| at.minus(bar.start).and_then(|t| t.plus(bar.start_in_section));
        let start = in_section(first, note.start).ok_or_else(too_fine_error)?;
        let last = timeline.bar_before(end);
        let section_end = timeline.length(section);
        let end = if last.section == section && end <= timeline.end {
            in_section(last, end).ok_or_else(too_fine_error)?.min(section_end)
        } else {
            let kept = section_end.minus(start).ok_or_else(too_fine_error)?;
            let message = || format!("a note of {} crosses the end of its section; cut to {kept}", note.length);
            cut.add(|| timeline.describe(&track.layer.name, section, start), message);
            section_end
        };
        sections[section].push(PlacedNote { start, end, attack: note.attack });
    }
    drop(cut);
    for (n, what) in [(outside, "outside the bars"), (empty, "of length 0")] {
        if n > 0 {
            warnings.add(place(), format!("dropped {} {what}", count(n, "note")));
        }
    }
    for notes in &mut sections {
        // A stable sort: equal notes keep the source's order.
        notes.sort_by_key(PlacedNote::onset_order);
    }
    Ok(sections)
}

/// `2` or `2+1/3`.
fn mixed_number(x: Fraction) -> String {
    match (x.floor(), x.numer() - x.floor() * x.denom()) {
        (whole, 0) => whole.to_string(),
        (whole, part) => format!("{whole}+{part}/{}", x.denom()),
    }
}

/// Folds runs of one name that sound the same into one section played several times.
fn fold_repeats(runs: &[BarRun], sections: Vec<Section>, layers: Vec<Layer>) -> (Vec<Section>, Vec<Layer>) {
    let mut kept: Vec<usize> = Vec::new();
    let mut folded: Vec<Section> = Vec::new();
    for (i, section) in sections.into_iter().enumerate() {
        let is_repeat = kept.last().is_some_and(|&k| {
            runs[k].name.is_some()
                && runs[k] == runs[i]
                && layers.iter().all(|l| l.parts[k] == l.parts[i] && l.divisions[k] == l.divisions[i])
        });
        match folded.last_mut() {
            Some(last) if is_repeat && i64::from(last.times) < TIMES.greatest => last.times += 1,
            _ => {
                kept.push(i);
                folded.push(section);
            }
        }
    }
    let layers = layers.into_iter().map(|l| Layer {
        parts: kept.iter().map(|k| l.parts[*k].clone()).collect(),
        divisions: kept.iter().map(|k| l.divisions[*k]).collect(),
        ..l
    });
    (folded, layers.collect())
}
