//! A place for one request to a worker thread: the newest wins.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// The requester's and the worker's view of the place.
#[derive(Debug)]
pub(crate) struct LatestSlot<T>(Arc<(Mutex<SlotState<T>>, Condvar)>);

#[derive(Debug)]
struct SlotState<T> {
    newest: Option<T>,
    closed: bool,
}

impl<T> Clone for LatestSlot<T> {
    fn clone(&self) -> Self {
        Self(self.0.clone())
    }
}

impl<T> LatestSlot<T> {
    pub(crate) fn new() -> Self {
        Self(Arc::new((Mutex::new(SlotState { newest: None, closed: false }), Condvar::new())))
    }

    fn held(&self) -> MutexGuard<'_, SlotState<T>> {
        // A worker that panicked held a whole request; it can be used.
        self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts a request in, made from the one that waits there.
    pub(crate) fn put(&self, make: impl FnOnce(Option<T>) -> Option<T>) {
        let mut held = self.held();
        held.newest = make(held.newest.take());
        self.0.1.notify_all();
    }

    /// Tells the worker to end.
    pub(crate) fn close(&self) {
        self.held().closed = true;
        self.0.1.notify_all();
    }

    /// Waits for a request; `None` when the place is closed.
    pub(crate) fn take(&self) -> Option<T> {
        let mut held = self.held();
        loop {
            if let Some(request) = held.newest.take() {
                return Some(request);
            }
            if held.closed {
                return None;
            }
            held = self.0.1.wait(held).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Waits so long for a request: `Ok(None)` if none came.
    pub(crate) fn take_within(&self, time: Duration) -> Result<Option<T>, Closed> {
        let end = Instant::now() + time;
        let mut held = self.held();
        loop {
            if let Some(request) = held.newest.take() {
                return Ok(Some(request));
            }
            if held.closed {
                return Err(Closed);
            }
            let left = end.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(None);
            }
            held = self.0.1.wait_timeout(held, left).unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

/// The place is closed.
#[derive(Debug)]
pub(crate) struct Closed;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_wins_and_the_last_is_still_done_after_closing() {
        let slot = LatestSlot::new();
        slot.put(|_| Some(1));
        slot.put(|old: Option<i32>| old.map(|o| o + 10));
        slot.close();
        assert_eq!(slot.take(), Some(11));
        assert_eq!(slot.take(), None);
        assert!(slot.take_within(Duration::from_secs(9)).is_err());
    }
}
