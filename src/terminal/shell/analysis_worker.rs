//! Runs the analysis on a thread of its own, for the newest request.

use crate::analysis::{AnalysisOptions, Report, report};
use crate::rhythm::Groove;
use crate::sound::playback::LatestSlot;
use crate::terminal::Event;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::thread;

type Request = (u64, Arc<Groove>, AnalysisOptions);

#[derive(Debug)]
pub(crate) struct AnalysisWorker {
    reports: LatestSlot<Request>,
    details: LatestSlot<(Request, Report)>,
}

impl AnalysisWorker {
    /// Starts the threads; results come as events. A report comes first without what takes longer, then with it.
    pub(crate) fn start(sender: Sender<Event>) -> Self {
        let worker = Self { reports: LatestSlot::new(), details: LatestSlot::new() };
        let (reports, details, events) = (worker.reports.clone(), worker.details.clone(), sender.clone());
        spawn("analysis", move || {
            while let Ok(request) = reports.take() {
                let (revision, groove, ask) = request.clone();
                let Some(report) = guarded(|| report(&groove, &ask)) else { continue };
                details.put(|_| Some((request, report.clone())));
                if events.send(Event::Analysed { revision, ask, report: Arc::new(report) }).is_err() {
                    return;
                }
            }
        });
        let details = worker.details.clone();
        spawn("analysis details", move || {
            while let Ok(((revision, groove, ask), mut report)) = details.take() {
                let refined = guarded(move || {
                    report.refine(&groove, &ask);
                    (ask, report)
                });
                if let Some((ask, report)) = refined
                    && sender.send(Event::Analysed { revision, ask, report: Arc::new(report) }).is_err()
                {
                    return;
                }
            }
        });
        worker
    }

    /// Asks; what was asked before and is not begun is dropped.
    pub(crate) fn ask(&self, revision: u64, groove: Arc<Groove>, ask: AnalysisOptions) {
        self.reports.put(|_| Some((revision, groove, ask)));
    }
}

/// A fault in one report must not end all later ones; what is shown stays marked as old.
fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(work)).ok()
}

fn spawn(name: &str, work: impl FnOnce() + Send + 'static) {
    drop(thread::Builder::new().name(name.into()).spawn(work));
}

impl Drop for AnalysisWorker {
    fn drop(&mut self) {
        self.reports.close();
        self.details.close();
    }
}
