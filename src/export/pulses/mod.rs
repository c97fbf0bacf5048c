//! The written positions of a hearing's pulses in a score.

use super::ExportInput;
use crate::analysis::Hearing;
use crate::analysis::clock::wholes;
use crate::describe;
use crate::rhythm::{Spot, Time, written_start};

/// How far in whole notes a pulse may lie from a place and be there: what is lost when seconds are made of exact times. At 120 quarters
/// a minute it is 2 microseconds.
const EPSILON_WHOLES: f64 = 1e-6;

/// A hearing whose pulses all fall on written cells or beats, the same ones each time through.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Marked {
    /// What stands at each pulse.
    pub(super) sign: String,
    /// What it is, with its sign.
    pub(super) words: String,
    /// Its pulses as written, by section, from the section's start.
    pub(super) at: Vec<Vec<Time>>,
}

impl Marked {
    /// Its pulses from a time of a section on, before another.
    pub(super) fn within(&self, section: usize, from: Time, to: Time) -> &[Time] {
        let all = self.at.get(section).map_or(&[][..], Vec::as_slice);
        &all[all.partition_point(|t| *t < from)..all.partition_point(|t| *t < to)]
    }
}

/// The layer over whose notes pulses stand: the first that the report's hearings are found for.
pub(super) fn layer(piece: &ExportInput<'_>) -> Option<usize> {
    piece.report.focus.first().copied()
}

/// The chosen hearings that a score can hold.
pub(super) fn marks(piece: &ExportInput<'_>) -> Vec<Marked> {
    let found = chosen(piece).filter_map(|(index, h)| Some((index, h, places(piece, h).ok()?)));
    let found: Vec<_> = found.collect();
    let single = found.len() == 1;
    let marked = |(index, h, at): (usize, &Hearing, _)| {
        let sign = if single { "\u{2193}".to_owned() } else { format!("\u{2193}{}", index + 1) };
        let kind = describe::hearing_name(h);
        let words = format!("{sign} hearing {}: {kind}, {} BPM", index + 1, describe::tempos(h, 1.0));
        Marked { sign, words, at }
    };
    found.into_iter().map(marked).collect()
}

/// The chosen hearings that a score cannot hold, one sentence each.
pub(crate) fn left_out(piece: &ExportInput<'_>) -> Vec<String> {
    let out = chosen(piece).filter_map(|(index, h)| {
        let why = places(piece, h).err()?;
        Some(format!("skipped hearing {} ({}), which cannot be notated exactly: {why}", index + 1, h.kind))
    });
    out.collect()
}

fn chosen<'a>(piece: &'a ExportInput<'_>) -> impl Iterator<Item = (usize, &'a Hearing)> {
    let first = |(k, h): &(usize, &usize)| !piece.hearings[..*k].contains(h);
    piece.hearings.iter().enumerate().filter(first).filter_map(|(_, h)| Some((*h, piece.report.hearings.get(*h)?)))
}

/// The written places of a hearing's pulses by section, or why it has none.
fn places(piece: &ExportInput<'_>, hearing: &Hearing) -> Result<Vec<Vec<Time>>, &'static str> {
    let sections = piece.groove.sections();
    let wanted = |s: usize| piece.section.is_none_or(|only| only == s);
    let grids: Vec<Vec<(f64, Time)>> =
        (0..sections.len()).map(|s| if wanted(s) { grid(piece, s) } else { Vec::new() }).collect();
    let mut passes: Vec<Vec<Vec<Time>>> = sections.iter().map(|s| vec![Vec::new(); usize::from(s.times)]).collect();
    for moment in hearing.pulses.iter().filter_map(|p| piece.report.clock.moment(*p)).filter(|m| wanted(m.section)) {
        let place = nearest(&grids[moment.section], moment.wholes)
            .ok_or("not all of its pulses fall on written cells or beats")?;
        passes[moment.section][moment.pass].push(place);
    }
    let once = |mut passes: Vec<Vec<Time>>| {
        let same = passes.windows(2).all(|p| p[0] == p[1]);
        if same {
            Ok(passes.pop().unwrap_or_default())
        } else {
            Err("its pulses fall on different places in different passes through a section")
        }
    };
    passes.into_iter().map(once).collect()
}

/// The cells of the layers that hearings are found for, and the beats: where each sounds in whole notes, and where it is written.
fn grid(piece: &ExportInput<'_>, section: usize) -> Vec<(f64, Time)> {
    let groove = piece.groove;
    let meter = &groove.sections()[section].meter;
    let mut places: Vec<(f64, Time)> = Vec::new();
    for layer in piece.report.focus.iter().copied().filter(|l| *l < groove.layers().len()) {
        let (part, context) = (groove.part(layer, section), groove.context(layer, section));
        let spots = part.spots(context).into_iter();
        let cells = spots.flat_map(|s| (0..usize::from(s.span.cells)).map(move |cell| Spot { cell, ..s }));
        places.extend(
            part.starts(context).into_iter().zip(cells).map(|(at, spot)| (wholes(at), written_start(spot, context))),
        );
    }
    let beats = (0..groove.sections()[section].beats()).filter_map(|b| meter.beat().repeated(b));
    places.extend(beats.map(|b| (wholes(b), b)));
    // A swung cell comes before a beat at the same time, since the sort is stable.
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    places
}

fn nearest(grid: &[(f64, Time)], at: f64) -> Option<Time> {
    let first = grid.partition_point(|g| g.0 < at - EPSILON_WHOLES);
    grid.get(first).filter(|g| g.0 <= at + EPSILON_WHOLES).map(|g| g.1)
}

#[cfg(test)]
mod tests;
