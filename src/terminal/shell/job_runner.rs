//! Runs jobs on a thread of their own, one at a time.

use crate::jobs::{self, CancelToken, Job, JobControl, JobError};
use crate::rhythm::Fraction;
use crate::store::reason;
use crate::terminal::Event;
use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;
use std::time::Duration;

/// Longest wait for a cancelled job when the program ends, so that it leaves no temporary file.
const EXIT_TIMEOUT: Duration = Duration::from_secs(5);

pub(crate) struct JobRunner {
    events: Sender<Event>,
    /// The running job, and a channel that is disconnected when it ends.
    running: RefCell<Option<(CancelToken, Receiver<()>)>>,
}

impl JobRunner {
    pub(crate) fn new(events: Sender<Event>) -> Self {
        Self { events, running: RefCell::new(None) }
    }

    /// Runs a job; it ends with [`Event::ExportDone`].
    pub(crate) fn run(&self, job: Box<Job>) {
        let copy = job.clone();
        self.spawn(move |control| jobs::run(&job, control), move |result| Event::ExportDone(copy.clone(), result));
    }

    /// Imports a file; it ends with [`Event::ImportDone`].
    pub(crate) fn import(&self, path: String, tolerance: Fraction) {
        let import = move |control: &JobControl| jobs::import(Path::new(&path), tolerance, control).map(Box::new);
        self.spawn(import, Event::ImportDone);
    }

    fn spawn<T: 'static>(
        &self,
        work: impl FnOnce(&JobControl) -> Result<T, JobError> + Send + 'static,
        done: impl Fn(Result<T, JobError>) -> Event + Clone + Send + 'static,
    ) {
        let token = CancelToken::default();
        let (alive, ended) = mpsc::channel();
        let (events, progress, end) = (self.events.clone(), self.events.clone(), done.clone());
        let control = JobControl::new(token.clone(), move |percent| drop(progress.send(Event::JobProgress(percent))));
        let run = move || {
            let panicked = |_| Err(JobError::Internal("internal error in the job; the groove is unchanged".into()));
            let result = catch_unwind(AssertUnwindSafe(|| work(&control))).unwrap_or_else(panicked);
            drop(events.send(end(result)));
            drop(alive);
        };
        match thread::Builder::new().name("job".into()).spawn(run) {
            Ok(_) => *self.running.borrow_mut() = Some((token, ended)),
            Err(error) => {
                let error = JobError::Internal(format!("cannot start a thread ({})", reason(&error)));
                drop(self.events.send(done(Err(error))));
            }
        }
    }

    pub(crate) fn cancel(&self) {
        if let Some((token, _)) = &*self.running.borrow() {
            token.cancel();
        }
    }
}

impl Drop for JobRunner {
    fn drop(&mut self) {
        self.cancel();
        if let Some((_, ended)) = self.running.borrow_mut().take() {
            // On a timeout the program ends anyway.
            let _ = ended.recv_timeout(EXIT_TIMEOUT);
        }
    }
}
