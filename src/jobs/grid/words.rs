//! Proposals and transcriptions in words.

use crate::recording::fit::propose::{Meter, Proposal, Proposals, Remark};
use crate::recording::fit::transcribe::Accent;
use crate::recording::grid::Grid;
use crate::recording::grid::transcription::{Transcribed, WrittenLayer};
use crate::rhythm::{count, print_note_value};
use std::fmt::Write as _;

/// Shares nearer than this factor are about as likely: they are an order, not calibrated.
const AS_LIKELY: f64 = 1.5;

/// A proposal in one line without its number: share, tempo, meter, where its first bar line is.
pub(crate) fn proposal(proposal: &Proposal, grid: &Grid) -> String {
    let percent = 100.0 * proposal.share;
    let line = grid.bar_lines.first().map_or(0.0, |line| line.1);
    format!(
        "{percent:3.0}%  {:6.1}  {:<10}  {line:8.3} s  {}",
        proposal.rate,
        grid.meter.to_string(),
        beats(proposal, grid)
    )
}

/// The headings of the columns of [`proposal`].
pub(crate) const PROPOSAL_HEADINGS: &str = "   p     BPM  meter         bar line  ";

/// How the beats of a proposal are made, and the tempo to write where that is another number.
fn beats(proposal: &Proposal, grid: &Grid) -> String {
    let tempo = format!("{} = {}", print_note_value(grid.tempo.unit()), grid.tempo.bpm());
    match &proposal.meter {
        Meter::Even { cells: 1, .. } => format!("{tempo}; the cells are the beats"),
        Meter::Even { cells, .. } => format!("{tempo}; {cells} cells to the beat"),
        Meter::Additive { groups, cells } => {
            let groups: Vec<String> = groups.iter().map(u8::to_string).collect();
            let units = if *cells == 1 { "cells".to_owned() } else { format!("units of {}", count(*cells, "cell")) };
            format!("{tempo}; beats of {} {units}; the rate is their mean", groups.join("+"))
        }
        Meter::Average => "the average of the attacks; no beat need be on them".to_owned(),
    }
}

/// What has to be said about proposals, one sentence each.
pub(crate) fn proposal_remarks(proposals: &Proposals) -> Vec<String> {
    let mut remarks: Vec<String> = proposals.remarks.iter().map(remark).collect();
    if let [first, second, ..] = &proposals.list[..]
        && first.share < AS_LIKELY * second.share
    {
        remarks.push("the first two proposals are about as likely".to_owned());
    }
    remarks
}

fn remark(remark: &Remark) -> String {
    match *remark {
        Remark::NoPulse => "no pulse was found in the onsets".to_owned(),
        Remark::SilentBeatsOfFastCells { sounding } => format!(
            "the written tempo cannot be known from these attacks: the cells are too fast to be felt, and only {:.0}% of the best \
             even beats sound",
            100.0 * sounding
        ),
        Remark::SilentBeats { sounding } => {
            format!("the written tempo is uncertain: only {:.0}% of the best even beats sound", 100.0 * sounding)
        }
        Remark::MeanOfGroups { rate } => format!(
            "the written beat cannot be known from these attacks alone: {rate:.1} BPM is the heard rate, the mean of the groups"
        ),
        Remark::AveragePulse => {
            "the written beat cannot be known from these attacks: the first proposal is their average rate".to_owned()
        }
        Remark::PlaceOfBeatOpen => {
            "the place of the beat is open: the same tempo is about as likely with the beat elsewhere".to_owned()
        }
    }
}

/// What was written, a line for each layer, then what was left out.
pub(crate) fn transcription(t: &Transcribed) -> Vec<String> {
    let mut lines: Vec<String> = t.layers.iter().map(layer).collect();
    lines.push(format!("deviation from the cells: {:.0} ms", 1000.0 * t.sigma));
    if t.outside > 0 {
        lines.push(format!("{} outside the bars of the groove", count(t.outside, "onset")));
    }
    lines
}

fn layer(layer: &WrittenLayer) -> String {
    let of = |accent: Accent| layer.attacks.iter().filter(|a| a.accent == accent).count();
    let (accents, ghosts) = (of(Accent::Accent), of(Accent::Ghost));
    let mut line = format!("{}: {}", layer.name, count(layer.attacks.len(), "attack"));
    let suggested: Vec<String> = [(accents, "accent"), (ghosts, "ghost")]
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| count(n, what))
        .collect();
    if !suggested.is_empty() {
        let _ = write!(line, ", {} suggested", suggested.join(" and "));
    }
    if layer.doubled > 0 {
        let _ = write!(line, ", {} in a cell that was taken", layer.doubled);
    }
    line
}
