//! Reads keys, mouse reports and pasted text from the terminal: level-triggered, so that nothing waits unread.

mod parser;

use crate::terminal::{Background, Event};
pub(super) use parser::BACKGROUND_QUERY;
use parser::Parser;
use ratatui::crossterm::event::Event as Input;
use rustix::event::{PollFd, PollFlags, poll};
use rustix::io::Errno;
use std::io;
use std::sync::mpsc::{Receiver, Sender, sync_channel};
use std::thread;
use std::time::Instant;

/// Maximum inputs sent and not yet handled. The terminal keeps the others, so that a signal does not wait behind a flood of keys.
const MAX_BACKLOG: usize = 256;

/// Inputs that were sent and are not handled yet: one message each.
pub(super) struct InputBacklog(Receiver<()>);

impl InputBacklog {
    /// Removes an input that is being handled; other events are not counted.
    pub(super) fn remove(&self, event: &Event) {
        if matches!(event, Event::Key(..) | Event::Mouse(_) | Event::Pasted(_)) {
            let _ = self.0.try_recv();
        }
    }
}

/// Starts the thread that reads standard input; [`Event::Signal`] says that the terminal is gone.
pub(super) fn start(events: Sender<Event>) -> io::Result<InputBacklog> {
    let (places, backlog) = sync_channel(MAX_BACKLOG);
    let read = move || {
        let stdin = io::stdin();
        let (mut parser, mut buffer) = (Parser::default(), [0; 4096]);
        loop {
            let mut fds = [PollFd::new(&stdin, PollFlags::IN)];
            let received = poll(&mut fds, parser.timeout()).and_then(|ready| match ready {
                0 => Ok(None),
                _ => rustix::io::read(&stdin, &mut buffer).map(Some),
            });
            let inputs = match received {
                Ok(None) => parser.flush(),
                Ok(Some(count @ 1..)) => parser.feed(&buffer[..count]),
                Err(Errno::INTR | Errno::AGAIN) => continue,
                // The terminal is gone: quit and keep unsaved changes.
                Ok(Some(0)) | Err(_) => return drop(events.send(Event::Signal)),
            };
            // Read the clock at once: the time of a tap depends on it.
            let arrival = Some(Instant::now());
            if let Some(colour) = parser.take_background()
                && events.send(Event::Background(Background::of_colour(colour))).is_err()
            {
                return;
            }
            for input in inputs {
                let event = match input {
                    Input::Key(key) => Event::Key(key, arrival),
                    Input::Mouse(mouse) => Event::Mouse(mouse),
                    Input::Paste(text) => Event::Pasted(text),
                    _ => continue,
                };
                if places.send(()).is_err() || events.send(event).is_err() {
                    return;
                }
            }
        }
    };
    thread::Builder::new().name("input".into()).spawn(read)?;
    Ok(InputBacklog(backlog))
}
