//! Runs the analysis on a thread of its own, for the newest request.

use super::super::Event;
use super::latest_slot::LatestSlot;
use crate::analysis::{Ask, report};
use crate::rhythm::Groove;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::thread;

type Request = (u64, Arc<Groove>, Ask);

#[derive(Debug)]
pub(crate) struct AnalysisWorker(LatestSlot<Request>);

impl AnalysisWorker {
    /// Starts the thread, which sends [`Event::Analysed`].
    pub(crate) fn start(sender: Sender<Event>) -> Self {
        let slot: LatestSlot<Request> = LatestSlot::new();
        let worker = slot.clone();
        let work = move || {
            while let Ok((revision, groove, ask)) = worker.take() {
                // After a panic the shown report stays marked as old, and the next request still works.
                let result = catch_unwind(AssertUnwindSafe(|| report(&groove, &ask)));
                if let Ok(report) = result
                    && sender.send(Event::Analysed { revision, ask, report: Arc::new(report) }).is_err()
                {
                    return;
                }
            }
        };
        drop(thread::Builder::new().name("analysis".into()).spawn(work));
        Self(slot)
    }

    /// Replaces the waiting request.
    pub(crate) fn ask(&self, revision: u64, groove: Arc<Groove>, ask: Ask) {
        self.0.put(|_| Some((revision, groove, ask)));
    }
}

impl Drop for AnalysisWorker {
    fn drop(&mut self) {
        self.0.close();
    }
}
