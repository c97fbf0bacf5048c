//! What a variant does to the ear, beside its original.

use super::listened::{Wanted, probability_of};
use crate::analysis::listener::Listening;
use crate::analysis::{AnalysisOptions, HearingKind, Reason, Report, landing, listening, report};
use crate::rhythm::Groove;

/// What a groove does to the ear.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Effect {
    /// Probability that the written beat is kept; `None` where there is nothing to hear a pulse from.
    pub(crate) written: Option<f64>,
    /// The same as it is shown, drawn closer to the others.
    pub(crate) shown_written: Option<f64>,
    /// The likeliest hearing and its tempo.
    pub(crate) first: Option<(HearingKind, f64)>,
    /// Share of the attacks that land on a beat.
    pub(crate) on_beat: f64,
    /// The reasons why it is hard, the weightiest first.
    pub(crate) reasons: Vec<Reason>,
    /// Probability of the hearing that is aimed at.
    pub(crate) aimed: Option<f64>,
}

/// By what the variants are sorted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Aim {
    /// Those that differ least from the original first.
    Near,
    Harder,
    Easier,
    /// A pulse of so many beats per minute is likelier.
    Hearing(f64),
    OnBeat,
    OffBeat,
}

impl Effect {
    /// The effect of a groove on somebody who follows the layers of the options.
    pub(crate) fn new(groove: &Groove, options: &AnalysisOptions, aim: Aim) -> Self {
        let aimed = match aim {
            Aim::Hearing(bpm) => Some(aimed(listening(groove, options).as_ref(), bpm)),
            _ => None,
        };
        Self { aimed, ..Self::of_report(groove, options, &report(groove, options)) }
    }

    /// The same from a report of the groove, without an aim.
    pub(crate) fn of_report(groove: &Groove, options: &AnalysisOptions, report: &Report) -> Self {
        let first = report.hearings.first().map(|h| (h.kind, h.bpm(report.speed)));
        Self {
            written: report.answer.map(|a| a.written),
            shown_written: report.answer.map(|a| a.shown_written),
            first,
            on_beat: on_beat(groove, options),
            aimed: None,
            reasons: report.findings.iter().map(|f| f.reason.clone()).collect(),
        }
    }

    /// The reasons that another effect does not have, by their kind.
    pub(crate) fn reasons_without<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = &'a Reason> {
        let has = |reason: &Reason| other.reasons.iter().any(|o| o.name() == reason.name());
        self.reasons.iter().filter(move |r| !has(r))
    }
}

impl Aim {
    /// The value by which a variant is sorted, the least first. Only what the aim needs is worked out.
    pub(crate) fn rank(self, groove: &Groove, distance: f64, options: &AnalysisOptions) -> f64 {
        let heard = || listening(groove, options);
        match self {
            Self::Near => distance,
            Self::Harder => heard().map_or(1.0, |h| h.written),
            Self::Easier => -heard().map_or(1.0, |h| h.written),
            Self::Hearing(bpm) => -aimed(heard().as_ref(), bpm),
            Self::OnBeat => -on_beat(groove, options),
            Self::OffBeat => on_beat(groove, options),
        }
    }
}

/// Probability that a tempo is heard.
fn aimed(heard: Option<&Listening>, bpm: f64) -> f64 {
    heard.map_or(0.0, |h| probability_of(h, &[Wanted::throughout(bpm)]))
}

/// Share of the attacks of the followed layers that land on a beat.
fn on_beat(groove: &Groove, options: &AnalysisOptions) -> f64 {
    let (mut on, mut all) = (0, 0);
    for layer in options.scope.layers_of(groove) {
        for section in 0..groove.sections().len() {
            let landings = landing::landings(groove, layer, section);
            on += landings.rows.iter().filter(|r| r.depth.on_beat()).map(|r| r.count).sum::<usize>();
            all += landings.total;
        }
    }
    if all == 0 { 0.0 } else { on as f64 / all as f64 }
}
