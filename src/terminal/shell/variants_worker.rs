//! Works for the list of variants on a thread of its own. A newer request comes before what an older one has left.

use crate::jobs::variants::{VariantsRequest, VariantsRun};
use crate::sound::playback::LatestSlot;
use crate::terminal::Event;
use crate::terminal::shell::spawn;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::Sender;
use std::time::Duration;

#[derive(Debug)]
pub(crate) struct VariantsWorker(LatestSlot<Option<VariantsRequest>>);

impl VariantsWorker {
    /// Starts the thread; answers come as events.
    pub(crate) fn start(events: Sender<Event>) -> Self {
        let requests = LatestSlot::new();
        let worker = Self(requests.clone());
        spawn("variants", move || work(&requests, &events));
        worker
    }

    /// Replaces what is being worked on; `None` ends it.
    pub(crate) fn request(&self, request: Option<VariantsRequest>) {
        self.0.put(|_| Some(request));
    }
}

impl Drop for VariantsWorker {
    fn drop(&mut self) {
        self.0.close();
    }
}

/// Works on a request to its end; the events are those that the editor is sent.
pub fn make_variants(request: VariantsRequest) -> impl Iterator<Item = Event> {
    let mut run = VariantsRun::new(request, None);
    std::iter::from_fn(move || run.step()).map(Event::Variants)
}

fn work(requests: &LatestSlot<Option<VariantsRequest>>, events: &Sender<Event>) {
    let (mut run, mut has_more): (Option<VariantsRun>, bool) = (None, false);
    loop {
        let next = if has_more { requests.take_within(Duration::ZERO) } else { requests.take().map(Some) };
        let Ok(request) = next else { return };
        if let Some(request) = request {
            run = request.map(|request| VariantsRun::new(request, run.take()));
        }
        let Some(current) = &mut run else {
            has_more = false;
            continue;
        };
        // A panic must not end all later lists.
        let done = catch_unwind(AssertUnwindSafe(|| current.step()));
        has_more = matches!(done, Ok(Some(_)));
        let answer = done.unwrap_or_else(|_| Some(current.failed()));
        if answer.is_some_and(|answer| events.send(Event::Variants(answer)).is_err()) {
            return;
        }
    }
}
