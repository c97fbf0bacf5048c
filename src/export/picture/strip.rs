//! A strip of pulses: the written beat or a chosen hearing.

use crate::analysis::{Hearing, Kind, limits};
use crate::describe;
use crate::export::ExportInput;

/// Most hearings of one picture.
pub(super) const MAX_HEARINGS: usize = 6;
/// A pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pulse {
    /// Seconds from the groove's start at full speed.
    pub(super) seconds: f64,
    /// Whether an attack falls on it.
    pub(super) sounded: bool,
    /// Whether the written beat falls with it, within what the ear takes as one (limits: together).
    pub(super) meets: bool,
}

/// A line of pulses.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strip {
    /// What stands before it.
    pub(super) name: String,
    /// Its tempos.
    pub(super) tempo: String,
    /// Its pulses in order.
    pub(super) pulses: Vec<Pulse>,
}

/// Seconds of every written beat, each time through counted.
pub(super) fn beats(piece: &ExportInput<'_>) -> Vec<f64> {
    let (groove, clock) = (piece.groove, &piece.report.clock);
    let mut beats = Vec::new();
    for (s, section) in groove.sections().iter().enumerate() {
        let beat = section.meter.beat();
        let length = beat.numer() as f64 / beat.denom() as f64 * clock.seconds_per_whole(s).unwrap_or(0.0);
        for pass in 0..usize::from(section.times) {
            let Some((from, _)) = clock.range(s, pass) else { continue };
            beats.extend((0..section.beats()).map(|b| from + b as f64 * length));
        }
    }
    beats
}

/// The chosen hearings' strips, at most six, those that are not there and the written beat itself left out.
pub(super) fn hearings(piece: &ExportInput<'_>, beats: &[f64]) -> Vec<Strip> {
    let together = limits::TOGETHER.value / 1000.0;
    let attacks: Vec<f64> = piece.report.attacks.iter().map(|a| a.seconds).collect();
    let strip = |(index, h): (usize, &Hearing)| {
        let near = |i: usize| {
            let gap = |a: usize, b: usize| Some(h.pulses.get(b)? - h.pulses.get(a)?);
            let before = i.checked_sub(1).and_then(|b| gap(b, i));
            let period = gap(i, i + 1).or(before).unwrap_or(f64::INFINITY);
            period.min(before.unwrap_or(period)) * limits::AGREES.value / 100.0
        };
        let pulse = |(i, seconds): (usize, &f64)| Pulse {
            seconds: *seconds,
            sounded: away(&attacks, *seconds) <= near(i) + 1e-9,
            meets: away(beats, *seconds) <= together + 1e-9,
        };
        let (name, tempo) = (format!("{}: {}", index + 1, h.kind), format!("{} BPM", describe::tempos(h, 1.0)));
        Strip { name, tempo, pulses: h.pulses.iter().enumerate().map(pulse).collect() }
    };
    chosen(piece).into_iter().map(strip).collect()
}

/// A hearing by the number it has in the report's list, from 1.
pub(super) fn named(index: usize, h: &Hearing) -> String {
    format!("hearing {} ({}) at {} BPM", index + 1, h.kind, describe::tempos(h, 1.0))
}

/// The written beat's name with its tempo.
pub(super) fn written(piece: &ExportInput<'_>, section: usize) -> String {
    let Some(s) = piece.groove.sections().get(section) else { return String::new() };
    let beat = s.meter.beat();
    let per_whole = piece.report.clock.seconds_per_whole(section).unwrap_or(1.0);
    format!("written beat {:.1} BPM", 60.0 / (beat.numer() as f64 / beat.denom() as f64 * per_whole))
}

/// The hearings that are drawn, each with its place in the report.
pub(super) fn chosen<'a>(piece: &'a ExportInput<'_>) -> Vec<(usize, &'a Hearing)> {
    let found = piece.hearings.iter().filter_map(|h| Some((*h, piece.report.hearings.get(*h)?)));
    found.filter(|(_, h)| h.kind != Kind::Written).take(MAX_HEARINGS).collect()
}

/// Distance from a time to the nearest of some rising times; infinite where there is none.
pub(super) fn away(times: &[f64], at: f64) -> f64 {
    let next = times.partition_point(|t| *t < at);
    let to = |i: Option<usize>| i.and_then(|i| times.get(i)).map_or(f64::INFINITY, |t| (t - at).abs());
    to(Some(next)).min(to(next.checked_sub(1)))
}
