//! Runs the analysis on threads of its own, for the newest request.

use crate::analysis::{AnalysisOptions, Report, report};
use crate::rhythm::Groove;
use crate::sound::playback::LatestSlot;
use crate::terminal::Event;
use crate::terminal::shell::spawn;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::Sender;

#[derive(Debug)]
pub(crate) struct Request {
    pub revision: u64,
    pub groove: Arc<Groove>,
    pub options: AnalysisOptions,
}

impl Request {
    fn result_event(&self, report: Report) -> Event {
        Event::Analysed { revision: self.revision, options: self.options.clone(), report: Arc::new(report) }
    }
}

#[derive(Debug)]
pub(crate) struct AnalysisWorker {
    requests: LatestSlot<Request>,
    /// Reports without what takes longer.
    unrefined: LatestSlot<(Request, Report)>,
}

impl AnalysisWorker {
    /// Starts the threads; results come as events. A report comes first without what takes longer, then with it.
    pub(crate) fn start(events: Sender<Event>) -> Self {
        let worker = Self { requests: LatestSlot::new(), unrefined: LatestSlot::new() };
        let unrefined = worker.unrefined.clone();
        start_thread("analysis", worker.requests.clone(), events.clone(), move |request: Request| {
            let report = report(&request.groove, &request.options);
            let event = request.result_event(report.clone());
            unrefined.put(|_| Some((request, report)));
            event
        });
        start_thread(
            "analysis details",
            worker.unrefined.clone(),
            events,
            |(request, mut report): (Request, Report)| {
                report.refine(&request.groove, &request.options);
                request.result_event(report)
            },
        );
        worker
    }

    /// Drops earlier requests that are not begun.
    pub(crate) fn request(&self, request: Request) {
        self.requests.put(|_| Some(request));
    }
}

/// Starts a thread that answers requests with events.
fn start_thread<T: Send + 'static>(
    name: &str,
    requests: LatestSlot<T>,
    events: Sender<Event>,
    answer: impl Fn(T) -> Event + Send + 'static,
) {
    let run = move || {
        while let Ok(request) = requests.take() {
            // A panic in one report must not end all later ones; what is shown stays marked as old.
            let event = catch_unwind(AssertUnwindSafe(|| answer(request)));
            if event.is_ok_and(|event| events.send(event).is_err()) {
                return;
            }
        }
    };
    spawn(name, run);
}

impl Drop for AnalysisWorker {
    fn drop(&mut self) {
        self.requests.close();
        self.unrefined.close();
    }
}
