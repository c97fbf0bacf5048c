//! `teeter propose`: lists tempos and meters that a recording may have.

use super::args::ProposeArgs;
use super::{CliError, Exit, recordings};
use crate::jobs::grid::words;
use crate::recording::fit::propose::{Excerpt, Meter, Proposal, Proposals, propose};
use crate::recording::grid::Grid;
use crate::recording::score::linear_onsets;
use serde_json::json;
use std::fmt::Write as _;
use std::io::{self, Write};

/// Version of the JSON: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

pub(super) fn run(args: &ProposeArgs) -> Result<Exit, CliError> {
    let detected = recordings::detect_onsets(&args.recording, args.threshold.value, false)?;
    let onsets = linear_onsets(&detected.onsets);
    let proposals = propose(&onsets, excerpt(args.excerpt.is_excerpt));
    let first = onsets.first().map_or(0.0, |o| o.seconds);
    let text =
        if args.json { json(&args.recording.to_string_lossy(), &proposals, first) } else { table(&proposals, first) };
    io::stdout().lock().write_all(text.as_bytes())?;
    Ok(Exit::Success)
}

pub(super) fn excerpt(is_excerpt: bool) -> Excerpt {
    if is_excerpt { Excerpt::Middle } else { Excerpt::Beginning }
}

fn table(proposals: &Proposals, first: f64) -> String {
    let mut text = String::new();
    if !proposals.list.is_empty() {
        let _ = writeln!(text, "  {}", words::PROPOSAL_HEADINGS.trim_end());
    }
    for (number, proposal) in (1..).zip(&proposals.list) {
        if let Some(grid) = Grid::of_proposal(proposal, first) {
            let _ = writeln!(text, "{number} {}", words::proposal(proposal, &grid));
        }
    }
    let remarks = words::proposal_remarks(proposals);
    if !remarks.is_empty() {
        text.push_str(if text.is_empty() { "Remarks\n" } else { "\nRemarks\n" });
    }
    for remark in remarks {
        let _ = writeln!(text, "- {remark}");
    }
    text
}

fn json(recording: &str, proposals: &Proposals, first: f64) -> String {
    let proposal = |(number, p): (usize, &Proposal)| {
        let grid = Grid::of_proposal(p, first);
        let (kind, groups, cells) = match &p.meter {
            Meter::Even { cells, .. } => ("even", Vec::new(), *cells),
            Meter::Additive { groups, cells } => ("additive", groups.clone(), *cells),
            Meter::Average => ("average", Vec::new(), 0),
        };
        json!({
            "number": number,
            "share": round(p.share),
            "bpm": round(p.rate),
            "kind": kind,
            "meter": grid.as_ref().map(|g| g.meter.to_string()),
            "groups": groups,
            "cells": cells,
            "beats": p.beats.iter().map(|s| round(*s)).collect::<Vec<_>>(),
            "bar_lines": p.downbeats().map(round).collect::<Vec<_>>(),
        })
    };
    let value = json!({
        "schema": SCHEMA,
        "recording": recording,
        "proposals": (1..).zip(&proposals.list).map(proposal).collect::<Vec<_>>(),
        "remarks": words::proposal_remarks(proposals),
    });
    format!("{value}\n")
}

fn round(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}
