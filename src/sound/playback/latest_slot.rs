//! A slot for one request to a worker thread: the newest request replaces the one that waits.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

#[derive(Debug)]
pub(crate) struct LatestSlot<T>(Arc<(Mutex<SlotState<T>>, Condvar)>);

#[derive(Debug)]
struct SlotState<T> {
    newest: Option<T>,
    closed: bool,
}

impl<T> SlotState<T> {
    fn must_wait(&mut self) -> bool {
        self.newest.is_none() && !self.closed
    }
}

/// The slot is closed, and empty.
#[derive(Debug)]
pub(crate) struct ClosedError;

impl<T> Clone for LatestSlot<T> {
    fn clone(&self) -> Self {
        Self(self.0.clone())
    }
}

impl<T> LatestSlot<T> {
    pub(crate) fn new() -> Self {
        Self(Arc::new((Mutex::new(SlotState { newest: None, closed: false }), Condvar::new())))
    }

    fn lock(&self) -> MutexGuard<'_, SlotState<T>> {
        // A worker that panicked left a complete request.
        self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Replaces the waiting request by one made from it.
    pub(crate) fn put(&self, make: impl FnOnce(Option<T>) -> Option<T>) {
        let mut state = self.lock();
        state.newest = make(state.newest.take());
        self.0.1.notify_all();
    }

    /// Ends the worker after the waiting request.
    pub(crate) fn close(&self) {
        self.lock().closed = true;
        self.0.1.notify_all();
    }

    pub(crate) fn take(&self) -> Result<T, ClosedError> {
        let state = self.0.1.wait_while(self.lock(), SlotState::must_wait);
        state.unwrap_or_else(PoisonError::into_inner).newest.take().ok_or(ClosedError)
    }

    /// Waits for a request, and returns `None` if there is none within the timeout.
    pub(crate) fn take_within(&self, timeout: Duration) -> Result<Option<T>, ClosedError> {
        let waited = self.0.1.wait_timeout_while(self.lock(), timeout, SlotState::must_wait);
        let mut state = waited.unwrap_or_else(PoisonError::into_inner).0;
        match state.newest.take() {
            None if state.closed => Err(ClosedError),
            request => Ok(request),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_request_wins_and_is_taken_after_closing() {
        let slot = LatestSlot::new();
        slot.put(|_| Some(1));
        slot.put(|old: Option<i32>| old.map(|o| o + 10));
        slot.close();
        assert_eq!(slot.take().ok(), Some(11));
        assert!(slot.take().is_err());
        assert!(slot.take_within(Duration::from_secs(9)).is_err());
    }
}
