//! What a condition asks of a groove, worked out when it is asked for.

use super::condition::Quantity;
use crate::analysis::{self, AnalysisOptions, Report};
use crate::rhythm::Groove;
use std::cell::OnceCell;

/// A groove and what is known of it so far.
pub(super) struct Facts<'a> {
    pub(super) groove: &'a Groove,
    options: &'a AnalysisOptions,
    written: OnceCell<Option<f64>>,
    report: OnceCell<Report>,
}

impl<'a> Facts<'a> {
    pub(super) fn new(groove: &'a Groove, options: &'a AnalysisOptions) -> Self {
        Self { groove, options, written: OnceCell::new(), report: OnceCell::new() }
    }

    fn report(&self) -> &Report {
        self.report.get_or_init(|| analysis::report(self.groove, self.options))
    }

    /// Probability that the written beat is kept.
    fn written(&self) -> Option<f64> {
        if let Some(report) = self.report.get() {
            return report.answer.map(|a| a.written);
        }
        *self.written.get_or_init(|| analysis::listening(self.groove, self.options).map(|heard| heard.written))
    }

    /// The values of a number: one for each section for the tempo, at most one for the others.
    pub(super) fn numbers(&self, quantity: Quantity) -> Vec<f64> {
        let one = |x: Option<f64>| x.into_iter().collect();
        match quantity {
            Quantity::Tempo => {
                let bpm = |s: &crate::rhythm::Section| s.tempo.bpm().numer() as f64 / s.tempo.bpm().denom() as f64;
                let mut all: Vec<f64> = self.groove.sections().iter().map(bpm).collect();
                all.dedup();
                all
            }
            Quantity::Probability => one(self.written()),
            Quantity::Hardness => one(self.written().map(|w| 1.0 - w)),
            Quantity::HeardTempo => one(self.report().hearings.first().map(|h| h.bpm(self.report().speed))),
        }
    }

    /// Pulses of the likeliest hearing per written beat.
    pub(super) fn ratio(&self) -> Option<f64> {
        let report = self.report();
        let written = report.written().map(|w| report.hearings[w].bpm(1.0))?;
        Some(report.hearings.first()?.bpm(1.0) / written)
    }

    /// The names of the reasons why it is hard.
    pub(super) fn reasons(&self) -> Vec<&'static str> {
        self.report().findings.iter().map(|f| f.reason.name()).collect()
    }
}
