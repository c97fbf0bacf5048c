//! The written positions of the pulses of hearings in a score.

use super::ExportInput;
use crate::analysis::Hearing;
use crate::analysis::clock::wholes;
use crate::describe;
use crate::rhythm::{Spot, Time, written_start};

/// Tolerance in whole notes for times that were converted to seconds: 2 microseconds at 120 quarters a minute.
const EPSILON_WHOLES: f64 = 1e-6;

/// A hearing whose pulses all fall on written cells or beats, the same ones in every pass.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct MarkedHearing {
    /// The mark of each pulse.
    pub(super) sign: String,
    pub(super) description: String,
    /// The written pulses of each section, from its start.
    pub(super) pulses: Vec<Vec<Time>>,
}

impl MarkedHearing {
    /// The pulses of a section from `from` up to but excluding `to`.
    pub(super) fn pulses_between(&self, section: usize, from: Time, to: Time) -> &[Time] {
        let all = self.pulses.get(section).map_or(&[][..], Vec::as_slice);
        &all[all.partition_point(|t| *t < from)..all.partition_point(|t| *t < to)]
    }
}

/// The layer over whose notes pulses are marked: the first one analysed.
pub(super) fn marked_layer(piece: &ExportInput<'_>) -> Option<usize> {
    piece.report.focus.first().copied()
}

/// The chosen hearings that can be notated.
pub(super) fn marked_hearings(piece: &ExportInput<'_>) -> Vec<MarkedHearing> {
    let written = selected_hearings(piece).filter_map(|(index, h)| Some((index, h, written_pulses(piece, h).ok()?)));
    let written: Vec<_> = written.collect();
    let is_only = written.len() == 1;
    let marked = |(index, h, pulses): (usize, &Hearing, _)| {
        let sign = if is_only { "\u{2193}".to_owned() } else { format!("\u{2193}{}", index + 1) };
        let name = describe::hearing_name(h);
        let description = format!("{sign} hearing {}: {name}, {} BPM", index + 1, describe::tempos(h, 1.0));
        MarkedHearing { sign, description, pulses }
    };
    written.into_iter().map(marked).collect()
}

/// A sentence for each chosen hearing that cannot be notated.
pub(crate) fn skipped_hearings(piece: &ExportInput<'_>) -> Vec<String> {
    let sentence = |(index, h): (usize, &Hearing)| {
        let why = written_pulses(piece, h).err()?;
        Some(format!("skipped hearing {} ({}), which cannot be notated exactly: {why}", index + 1, h.kind))
    };
    selected_hearings(piece).filter_map(sentence).collect()
}

fn selected_hearings<'a>(piece: &'a ExportInput<'_>) -> impl Iterator<Item = (usize, &'a Hearing)> {
    let first = |(k, h): &(usize, &usize)| !piece.hearings[..*k].contains(h);
    piece.hearings.iter().enumerate().filter(first).filter_map(|(_, h)| Some((*h, piece.report.hearings.get(*h)?)))
}

/// The written pulses of each section, from its start, or why they cannot be written.
fn written_pulses(piece: &ExportInput<'_>, hearing: &Hearing) -> Result<Vec<Vec<Time>>, &'static str> {
    let sections = piece.groove.sections();
    let grid = |s: usize| if piece.has_section(s) { grid(piece, s) } else { Vec::new() };
    let grids: Vec<Vec<(f64, Time)>> = (0..sections.len()).map(grid).collect();
    let mut passes: Vec<Vec<Vec<Time>>> = sections.iter().map(|s| vec![Vec::new(); usize::from(s.times)]).collect();
    let moments = hearing.pulses.iter().filter_map(|p| piece.report.clock.moment(*p));
    for moment in moments.filter(|m| piece.has_section(m.section)) {
        let at = written_position(&grids[moment.section], moment.wholes)
            .ok_or("not all of its pulses fall on written cells or beats")?;
        passes[moment.section][moment.pass].push(at);
    }
    let once = |mut passes: Vec<Vec<Time>>| {
        let all_equal = passes.windows(2).all(|p| p[0] == p[1]);
        all_equal
            .then(|| passes.pop().unwrap_or_default())
            .ok_or("its pulses fall on different places in different passes through a section")
    };
    passes.into_iter().map(once).collect()
}

/// The sounding position in whole notes and the written position of all cells of the analysed layers, and of all beats, ascending.
fn grid(piece: &ExportInput<'_>, section: usize) -> Vec<(f64, Time)> {
    let groove = piece.groove;
    let meter = &groove.sections()[section].meter;
    let mut positions: Vec<(f64, Time)> = Vec::new();
    for layer in piece.report.focus.iter().copied().filter(|l| *l < groove.layers().len()) {
        let (part, context) = (groove.part(layer, section), groove.context(layer, section));
        let spots = part.spots(context).into_iter();
        let cells = spots.flat_map(|s| (0..usize::from(s.span.cells)).map(move |cell| Spot { cell, ..s }));
        let starts = part.starts(context).into_iter().zip(cells);
        positions.extend(starts.map(|(at, spot)| (wholes(at), written_start(spot, context))));
    }
    let beats = (0..groove.sections()[section].beats()).filter_map(|b| meter.beat().repeated(b));
    positions.extend(beats.map(|b| (wholes(b), b)));
    // The sort is stable: a swung cell stays before a beat at the same time.
    positions.sort_by(|a, b| a.0.total_cmp(&b.0));
    positions
}

fn written_position(grid: &[(f64, Time)], at: f64) -> Option<Time> {
    let first = grid.partition_point(|g| g.0 < at - EPSILON_WHOLES);
    grid.get(first).filter(|g| g.0 <= at + EPSILON_WHOLES).map(|g| g.1)
}

#[cfg(test)]
mod tests;
