//! The analysis on a thread of its own: one request waits, the newest.

use super::super::Event;
use super::latest_slot::LatestSlot;
use crate::analysis::{Ask, report};
use crate::rhythm::Groove;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::thread;

type Request = (u64, Arc<Groove>, Ask);

/// Asks for analyses.
#[derive(Debug)]
pub(crate) struct AnalysisWorker(LatestSlot<Request>);

impl AnalysisWorker {
    /// Starts the thread; results come as events.
    pub(crate) fn start(sender: Sender<Event>) -> Self {
        let slot: LatestSlot<Request> = LatestSlot::new();
        let worker = slot.clone();
        let work = move || {
            while let Some((revision, groove, ask)) = worker.take() {
                // A fault in one report must not end all later ones; what is shown stays marked as old.
                let made = catch_unwind(AssertUnwindSafe(|| report(&groove, &ask)));
                if let Ok(report) = made
                    && sender.send(Event::Analysed { revision, ask, report: Arc::new(report) }).is_err()
                {
                    return;
                }
            }
        };
        drop(thread::Builder::new().name("analysis".into()).spawn(work));
        Self(slot)
    }

    /// Asks; what was asked before and is not begun is dropped.
    pub(crate) fn ask(&self, revision: u64, groove: Arc<Groove>, ask: Ask) {
        self.0.put(|_| Some((revision, groove, ask)));
    }
}

impl Drop for AnalysisWorker {
    fn drop(&mut self) {
        self.0.close();
    }
}
