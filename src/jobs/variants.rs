//! The variants of the editor's list: made, heard and sorted in steps, so that what is on the screen comes first.

pub(crate) use crate::analysis::Reason;
pub(crate) use crate::variation::{
    Aim, Effect, FAMILIES, RotationOf, Subject, SubjectError, Variant, Variants, variants,
};

use crate::analysis::{AnalysisOptions, Report, report};
use crate::rhythm::Groove;
use std::sync::Arc;
use std::thread;

/// Variants that are made at most.
const MAX_VARIANTS: usize = 2000;
/// Variants that a core ranks in one step.
const RANKS_PER_STEP: usize = 8;

/// The number of a list; answers for another one are outdated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct ListId(pub(crate) u32);

/// A row of the list; a variant by its index in the order of making.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Entry {
    Original,
    Variant(usize),
}

/// What is to be done for a list. A newer request replaces an older one.
#[derive(Debug, Clone, PartialEq)]
pub struct VariantsRequest {
    pub(crate) list: ListId,
    pub(crate) groove: Arc<Groove>,
    /// The layers that are followed, and the playing speed.
    pub(crate) options: AnalysisOptions,
    pub(crate) work: Work,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Work {
    /// Make the variants.
    Make(Subject),
    Hear {
        variants: Arc<Variants>,
        /// The entry whose report is wanted, too.
        reported: Option<Entry>,
        /// The entries whose effects are wanted, the most urgent first.
        wanted: Vec<Entry>,
        /// By what all are to be sorted after that.
        aim: Option<Aim>,
    },
}

/// An effect of an entry, with its report if that was wanted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Heard {
    pub(crate) entry: Entry,
    pub(crate) effect: Effect,
    pub(crate) report: Option<Arc<Report>>,
}

/// A part of the answer to a request.
#[derive(Debug, Clone, PartialEq)]
pub struct VariantsAnswer {
    pub(crate) list: ListId,
    pub(crate) part: AnswerPart,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum AnswerPart {
    Made(Arc<Variants>),
    Heard(Vec<Heard>),
    /// So many percent of the ranks are known.
    Ranking(u8),
    /// The rank of every variant, and as the last one that of the original.
    Ranked(Aim, Vec<f64>),
    /// An internal error.
    Failed,
}

/// A request on its way.
#[derive(Debug)]
pub(crate) struct VariantsRun {
    request: VariantsRequest,
    /// The ranks known so far, in order.
    ranks: Vec<f64>,
    ranked_by: Option<Aim>,
}

impl VariantsRun {
    /// Starts with a request. Ranks that the run before has for the same list and aim are kept.
    pub(crate) fn new(request: VariantsRequest, before: Option<Self>) -> Self {
        let aim = if let Work::Hear { aim, .. } = &request.work { *aim } else { None };
        let is_same = |old: &Self| {
            old.request.list == request.list && old.request.options == request.options && old.ranked_by == aim
        };
        let ranks = before.filter(is_same).map(|old| old.ranks).unwrap_or_default();
        Self { request, ranks, ranked_by: aim }
    }

    /// Does the next part; `None` if all is done.
    pub(crate) fn step(&mut self) -> Option<VariantsAnswer> {
        self.next_part().map(|part| VariantsAnswer { list: self.request.list, part })
    }

    /// The answer after an internal error.
    pub(crate) fn failed(&self) -> VariantsAnswer {
        VariantsAnswer { list: self.request.list, part: AnswerPart::Failed }
    }

    fn next_part(&mut self) -> Option<AnswerPart> {
        let VariantsRequest { groove, options, work, .. } = &mut self.request;
        let (variants, reported, wanted, aim) = match work {
            Work::Make(subject) => {
                let made = Arc::new(variants(groove, subject, &FAMILIES, MAX_VARIANTS));
                *work = Work::Hear { variants: made.clone(), reported: None, wanted: Vec::new(), aim: None };
                return Some(AnswerPart::Made(made));
            }
            Work::Hear { variants, reported, wanted, aim } => (variants, reported, wanted, aim),
        };
        let groove_of = |entry: Entry| match entry {
            Entry::Original => Some(&**groove),
            Entry::Variant(index) => variants.found.get(index).map(|v| &v.groove),
        };
        let now: Vec<(Entry, bool)> = {
            let first = reported.take();
            wanted.retain(|entry| Some(*entry) != first);
            let others = wanted.drain(..wanted.len().min(cores() - usize::from(first.is_some())));
            first.map(|entry| (entry, true)).into_iter().chain(others.map(|entry| (entry, false))).collect()
        };
        if !now.is_empty() {
            let hear = |(entry, is_reported): &(Entry, bool)| {
                let groove = groove_of(*entry)?;
                let report = report(groove, options);
                let effect = Effect::of_report(groove, options, &report);
                Some(Heard { entry: *entry, effect, report: is_reported.then(|| Arc::new(report)) })
            };
            return Some(AnswerPart::Heard(in_parallel(&now, hear).into_iter().flatten().collect()));
        }
        let aim = (*aim)?;
        let all = variants.found.len() + 1;
        if self.ranks.len() < all {
            let next: Vec<usize> = (self.ranks.len()..all).take(RANKS_PER_STEP * cores()).collect();
            let rank = |index: &usize| match variants.found.get(*index) {
                Some(variant) => aim.rank(&variant.groove, variant.distance, options),
                None => aim.rank(groove, 0.0, options),
            };
            self.ranks.extend(in_parallel(&next, rank));
            if self.ranks.len() < all {
                return Some(AnswerPart::Ranking((100 * self.ranks.len() / all) as u8));
            }
        }
        if let Work::Hear { aim, .. } = &mut self.request.work {
            *aim = None;
        }
        Some(AnswerPart::Ranked(aim, self.ranks.clone()))
    }
}

fn cores() -> usize {
    thread::available_parallelism().map_or(1, usize::from).clamp(1, 8)
}

/// Works on all items, on as many cores as there are; the results are in the order of the items.
fn in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let work = &work;
    let mut chunks = items.chunks(items.len().div_ceil(cores()).max(1));
    let Some(own) = chunks.next() else { return Vec::new() };
    thread::scope(|scope| {
        let spawn = |chunk| (chunk, thread::Builder::new().spawn_scoped(scope, move || all(chunk, work)).ok());
        let others: Vec<_> = chunks.map(spawn).collect();
        let mut results = all(own, work);
        for (chunk, handle) in others {
            // Without a thread the work is done here.
            let done = handle.map(|h| h.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
            results.extend(done.unwrap_or_else(|| all(chunk, work)));
        }
        results
    })
}

fn all<T, R>(items: &[T], work: impl Fn(&T) -> R) -> Vec<R> {
    items.iter().map(work).collect()
}
