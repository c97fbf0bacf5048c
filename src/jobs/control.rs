//! Progress and cancellation of a job.

use crate::sound::Frame;
use std::cell::Cell;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Minimum time between two progress reports.
const REPORT_INTERVAL: Duration = Duration::from_millis(100);

/// Cancels a job from another thread.
#[derive(Debug, Clone, Default)]
pub(crate) struct CancelToken(Arc<AtomicBool>);

impl CancelToken {
    pub(crate) fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    pub(super) fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Receives the progress of a running job, and says whether the job was cancelled.
pub(crate) struct JobControl {
    token: CancelToken,
    on_progress: Box<dyn Fn(u8) + Send>,
    /// Start and end of the current part of the job, each 0 to 1.
    range: Cell<(f64, f64)>,
    last: Cell<Option<(Instant, u8)>>,
}

impl JobControl {
    /// `on_progress` takes percent.
    pub(crate) fn new(token: CancelToken, on_progress: impl Fn(u8) + Send + 'static) -> Self {
        Self { token, on_progress: Box::new(on_progress), range: Cell::new((0.0, 1.0)), last: Cell::new(None) }
    }

    /// For a job that cannot be cancelled and whose progress is ignored.
    pub(crate) fn detached() -> Self {
        Self::new(CancelToken::default(), |_| {})
    }

    pub(super) fn is_cancelled(&self) -> bool {
        self.token.is_cancelled()
    }

    /// Maps the progress that follows to part `index`, from 0, of `count` equal parts.
    pub(super) fn sub_range(&self, index: usize, count: usize) {
        let count = count.max(1) as f64;
        self.range.set((index as f64 / count, (index + 1) as f64 / count));
    }

    /// Reports the frames rendered so far.
    ///
    /// # Errors
    /// An error that stops the rendering once the job is cancelled.
    pub(super) fn report_rendered(&self, done: Frame, total: Frame) -> io::Result<()> {
        self.report(done.0 as f64 / total.0.max(1) as f64)
    }

    /// Reports the share of the current part that is done.
    ///
    /// # Errors
    /// An error that stops the part once the job is cancelled.
    pub(super) fn report(&self, share: f64) -> io::Result<()> {
        if self.is_cancelled() {
            return Err(io::Error::other("cancelled"));
        }
        let (from, to) = self.range.get();
        let percent = (100.0 * (from + (to - from) * share.clamp(0.0, 1.0))) as u8;
        if self.last.get().is_none_or(|(at, before)| before != percent && at.elapsed() >= REPORT_INTERVAL) {
            self.last.set(Some((Instant::now(), percent)));
            (self.on_progress)(percent);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn progress_is_that_of_the_sub_range_and_a_cancelled_job_stops() {
        let (token, reports) = (CancelToken::default(), Arc::new(Mutex::new(Vec::new())));
        let seen = reports.clone();
        let control = JobControl::new(token.clone(), move |p| seen.lock().expect("a lock").push(p));
        control.sub_range(1, 2);
        control.report_rendered(Frame(10), Frame(100)).expect("not cancelled");
        std::thread::sleep(REPORT_INTERVAL);
        control.report_rendered(Frame(50), Frame(100)).expect("not cancelled");
        // Too soon after the last report.
        control.report_rendered(Frame(60), Frame(100)).expect("not cancelled");
        token.cancel();
        control.report_rendered(Frame(90), Frame(100)).expect_err("cancelled");
        assert_eq!(*reports.lock().expect("a lock"), [55, 75]);
    }
}
