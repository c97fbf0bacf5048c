//! The pulses of the written beat and of the chosen hearings.

use crate::analysis::clock::wholes;
use crate::analysis::{Hearing, HearingKind, limits};
use crate::describe;
use crate::export::ExportInput;

/// Maximum number of hearings in one picture.
const MAX_HEARINGS: usize = 6;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pulse {
    /// Seconds from the groove's start at full speed.
    pub(super) seconds: f64,
    /// Whether an attack falls on it.
    pub(super) sounded: bool,
    /// Whether a written beat falls so close to it that the two are heard as one ([`limits::COINCIDENCE`]).
    pub(super) meets_beat: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strip {
    pub(super) name: String,
    pub(super) tempo: String,
    /// In order of time.
    pub(super) pulses: Vec<Pulse>,
}

/// The seconds of every written beat in all passes.
pub(in crate::export) fn beats(piece: &ExportInput<'_>) -> Vec<f64> {
    let (groove, clock) = (piece.groove, &piece.report.clock);
    let mut beats = Vec::new();
    for (s, section) in groove.sections().iter().enumerate() {
        let beat = section.meter.beat();
        let length = wholes(beat) * clock.seconds_per_whole(s).unwrap_or(0.0);
        for pass in 0..usize::from(section.times) {
            let Some((from, _)) = clock.range(s, pass) else { continue };
            beats.extend((0..section.beats()).map(|b| from + b as f64 * length));
        }
    }
    beats
}

/// The strips of the [`selected_hearings`].
pub(super) fn hearings(piece: &ExportInput<'_>, beats: &[f64]) -> Vec<Strip> {
    let together = limits::COINCIDENCE.value / 1000.0;
    let attacks: Vec<f64> = piece.report.attacks.iter().map(|a| a.seconds).collect();
    let strip = |(index, h): (usize, &Hearing)| {
        let tolerance = |i: usize| {
            let gap = |a: usize, b: usize| Some(h.pulses.get(b)? - h.pulses.get(a)?);
            let before = i.checked_sub(1).and_then(|b| gap(b, i));
            let period = gap(i, i + 1).or(before).unwrap_or(f64::INFINITY);
            period.min(before.unwrap_or(period)) * limits::PULSE_TOLERANCE.value / 100.0
        };
        let pulse = |(i, seconds): (usize, &f64)| Pulse {
            seconds: *seconds,
            sounded: distance(&attacks, *seconds) <= tolerance(i) + 1e-9,
            meets_beat: distance(beats, *seconds) <= together + 1e-9,
        };
        let (name, tempo) = (format!("{}: {}", index + 1, h.kind), format!("{} BPM", describe::tempos(h, 1.0)));
        Strip { name, tempo, pulses: h.pulses.iter().enumerate().map(pulse).collect() }
    };
    selected_hearings(piece).into_iter().map(strip).collect()
}

pub(super) fn hearing_label(index: usize, h: &Hearing) -> String {
    format!("hearing {} ({}) at {} BPM", index + 1, h.kind, describe::tempos(h, 1.0))
}

pub(super) fn beat_label(piece: &ExportInput<'_>, section: usize) -> String {
    let Some(s) = piece.groove.sections().get(section) else { return String::new() };
    let per_whole = piece.report.clock.seconds_per_whole(section).unwrap_or(1.0);
    format!("written beat {:.1} BPM", 60.0 / (wholes(s.meter.beat()) * per_whole))
}

/// The hearings to draw, with their indices in the report: at most [`MAX_HEARINGS`], without the written beat.
pub(super) fn selected_hearings<'a>(piece: &'a ExportInput<'_>) -> Vec<(usize, &'a Hearing)> {
    let found = piece.hearings.iter().filter_map(|h| Some((*h, piece.report.hearings.get(*h)?)));
    found.filter(|(_, h)| h.kind != HearingKind::Written).take(MAX_HEARINGS).collect()
}

/// The distance to the nearest of some ascending times; infinite if there are none.
fn distance(times: &[f64], at: f64) -> f64 {
    let next = times.partition_point(|t| *t < at);
    let to = |i: Option<usize>| i.and_then(|i| times.get(i)).map_or(f64::INFINITY, |t| (t - at).abs());
    to(Some(next)).min(to(next.checked_sub(1)))
}
