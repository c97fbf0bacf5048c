//! Making files of a groove, and grooves of files, on a thread of its own that can be called off. It must not know what is made,
//! nor the screen.

mod bring;
mod make;

pub use make::offers;

use super::super::{Event, Order, Ungiven};
use super::watch::Watch;
use crate::rhythm::Fraction;
use crate::store::reason;
use bring::bring;
use make::make;
use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;
use std::time::Duration;

/// Longest wait for called-off work when the program ends, so that it leaves no half file behind.
const LAST_WAIT: Duration = Duration::from_secs(5);

/// The thread's end of the program: one piece of work at a time.
pub(crate) struct Giver {
    events: Sender<Event>,
    /// The switch of the work under way, and what hangs up when that has ended.
    now: RefCell<Option<(Arc<AtomicBool>, Receiver<()>)>>,
}

impl Giver {
    pub(crate) fn new(events: Sender<Event>) -> Self {
        Self { events, now: RefCell::new(None) }
    }

    /// Makes something; its end comes as an event.
    pub(crate) fn give(&self, order: Order) {
        self.work(move |watch| make(&order, watch), Event::Given);
    }

    /// Makes a groove of a file; likewise.
    pub(crate) fn bring(&self, path: String, tolerance: Fraction) {
        self.work(move |watch| bring(&path, tolerance, watch).map(Box::new), Event::Brought);
    }

    fn work<T: 'static>(
        &self,
        work: impl FnOnce(&Watch) -> Result<T, Ungiven> + Send + 'static,
        told: fn(Result<T, Ungiven>) -> Event,
    ) {
        let off = Arc::new(AtomicBool::new(false));
        let (alive, ended) = mpsc::channel();
        let (events, percents, switch) = (self.events.clone(), self.events.clone(), off.clone());
        let run = move || {
            let watch = Watch::new(switch, move |percent| drop(percents.send(Event::Giving(percent))));
            let fault = || Err(Ungiven::Failed("not made: the program has a fault here; the groove is safe".into()));
            let made = catch_unwind(AssertUnwindSafe(|| work(&watch))).unwrap_or_else(|_| fault());
            drop(events.send(told(made)));
            drop(alive);
        };
        match thread::Builder::new().name("give".into()).spawn(run) {
            Ok(_) => *self.now.borrow_mut() = Some((off, ended)),
            Err(error) => {
                let words = format!("not made, there is no thread for it ({})", reason(&error));
                drop(self.events.send(told(Err(Ungiven::Failed(words)))));
            }
        }
    }

    /// Calls off what is under way.
    pub(crate) fn cancel(&self) {
        if let Some((off, _)) = &*self.now.borrow() {
            off.store(true, Ordering::Relaxed);
        }
    }
}

impl Drop for Giver {
    fn drop(&mut self) {
        self.cancel();
        if let Some((_, ended)) = self.now.borrow_mut().take() {
            // Whether it ended by then or not, the program ends.
            let _ = ended.recv_timeout(LAST_WAIT);
        }
    }
}

#[cfg(test)]
mod tests;
