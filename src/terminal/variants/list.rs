//! The open list of variants: its rows, their order, and what is known of them.

use super::scope::VariedScope;
use crate::analysis::{AnalysisOptions, Report};
use crate::jobs::variants::{Aim, Effect as EarEffect, Entry, ListId, Subject, Variant, Variants};
use crate::rhythm::Groove;
use std::collections::HashMap;
use std::sync::Arc;

/// The open list.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct VariantList {
    pub(super) id: ListId,
    /// The revision that the list belongs to: that of the groove or of the last section that was kept.
    pub(super) revision: u64,
    /// The groove that is varied, without the sections that were kept since.
    pub(crate) groove: Arc<Groove>,
    pub(super) scope: VariedScope,
    pub(crate) subject: Subject,
    /// What is varied, in words.
    pub(crate) what: String,
    pub(super) options: AnalysisOptions,
    /// The tempo of the selected hearing.
    pub(super) bpm: Option<f64>,
    pub(crate) aim: Aim,
    /// `None` while they are being made.
    pub(crate) variants: Option<Arc<Variants>>,
    /// Their indices, in the order of the rows; the original is above them.
    pub(crate) order: Vec<usize>,
    /// What the aim sorts by: of each variant, then of the original.
    pub(crate) ranks: Option<Vec<f64>>,
    /// How much of the ranks is known, in percent.
    pub(crate) progress: Option<u8>,
    /// The selected row; 0 is the original.
    pub(crate) selected: usize,
    /// Whether the selection was moved since the order was asked for.
    pub(super) has_moved: bool,
    pub(super) effects: HashMap<Entry, EarEffect>,
    pub(super) report: Option<(Entry, Arc<Report>)>,
    /// Variants that were kept as sections.
    pub(super) kept: usize,
    /// The groove of the selected row.
    pub(crate) shown: Arc<Groove>,
}

impl VariantList {
    pub(crate) fn entry(&self, row: usize) -> Option<Entry> {
        match row.checked_sub(1) {
            None => Some(Entry::Original),
            Some(row) => self.order.get(row).map(|index| Entry::Variant(*index)),
        }
    }

    pub(crate) fn variant(&self, entry: Entry) -> Option<&Variant> {
        if let Entry::Variant(index) = entry { self.variants.as_ref()?.found.get(index) } else { None }
    }

    /// What an entry does to the ear, as soon as that is known.
    pub(crate) fn effect(&self, entry: Entry) -> Option<&EarEffect> {
        self.effects.get(&entry)
    }

    /// The probability of the hearing that is aimed at.
    pub(crate) fn aimed(&self, entry: Entry) -> Option<f64> {
        let Aim::Hearing(_) = self.aim else { return None };
        let ranks = self.ranks.as_ref()?;
        let rank = if let Entry::Variant(index) = entry { ranks.get(index) } else { ranks.last() };
        rank.map(|rank| 0.0 - rank)
    }

    /// The report of the selected entry, or until it is there that of the one before.
    pub(crate) fn report(&self) -> Option<&Report> {
        self.report.as_ref().map(|(_, report)| &**report)
    }

    /// The groups of the original, with the cells before them.
    pub(crate) fn original_line(&self) -> (usize, Vec<u32>) {
        self.subject.line(&self.groove)
    }

    /// The layers that are followed, in words.
    pub(crate) fn listener(&self) -> String {
        match &self.options.scope.layers[..] {
            [only] => self.groove.layers().get(*only).map(|l| l.name.clone()).unwrap_or_default(),
            _ => "all layers".to_owned(),
        }
    }

    pub(super) fn select(&mut self, row: usize) {
        self.selected = row.min(self.order.len());
        let varied = self.entry(self.selected).and_then(|entry| self.variant(entry));
        self.shown = varied.map_or_else(|| self.groove.clone(), |variant| Arc::new(variant.groove.clone()));
    }

    pub(super) fn aims(&self) -> Vec<Aim> {
        let hearing = self.bpm.map(Aim::Hearing);
        [Aim::Near, Aim::Harder, Aim::Easier].into_iter().chain(hearing).chain([Aim::OnBeat, Aim::OffBeat]).collect()
    }

    /// Sorts by the aim if what it needs is known.
    pub(super) fn sort(&mut self) {
        let Some(variants) = &self.variants else { return };
        if self.aim != Aim::Near && self.ranks.is_none() {
            return;
        }
        let distance = |i: usize| variants.found[i].distance;
        let rank = |i: usize| self.ranks.as_ref().map_or(0.0, |ranks| ranks[i]);
        let mut order: Vec<usize> = (0..variants.found.len()).collect();
        order.sort_by(|a, b| rank(*a).total_cmp(&rank(*b)).then(distance(*a).total_cmp(&distance(*b))));
        let kept = self.entry(self.selected);
        self.order = order;
        let row = (0..=self.order.len()).find(|row| self.entry(*row) == kept).unwrap_or(0);
        self.select(if self.has_moved { row } else { 1 });
    }
}
