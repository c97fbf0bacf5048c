//! The thread that saves, and writes the files of the state folder except the journals.

use crate::terminal::Event;
use crate::terminal::shell::documents::Documents;
use std::sync::mpsc::{self, Sender};
use std::thread::{self, JoinHandle};

/// Reads or writes files, and may report the result.
type Task = Box<dyn FnOnce(&mut Documents) -> Option<Event> + Send>;

pub(crate) struct Disk {
    tasks: Sender<Task>,
    thread: Option<JoinHandle<()>>,
}

impl Disk {
    pub(crate) fn start(mut documents: Documents, events: Sender<Event>) -> Self {
        let (tasks, received) = mpsc::channel::<Task>();
        // The thread ends when either channel is disconnected.
        let work = move || {
            for task in received {
                if task(&mut documents).is_some_and(|event| events.send(event).is_err()) {
                    return;
                }
            }
        };
        Self { tasks, thread: thread::Builder::new().name("disk".into()).spawn(work).ok() }
    }

    /// Runs a task on the thread, after those before it.
    pub(super) fn run(&self, task: impl FnOnce(&mut Documents) -> Option<Event> + Send + 'static) {
        drop(self.tasks.send(Box::new(task)));
    }

    /// Ends the thread after all tasks are done.
    pub(crate) fn end(self) {
        drop(self.tasks);
        if let Some(thread) = self.thread {
            drop(thread.join());
        }
    }
}
