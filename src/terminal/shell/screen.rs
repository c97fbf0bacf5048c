//! The terminal: raw mode and back, and frames sent as what changed. It must not know what a frame shows.

use super::super::{State, view};
use super::disk::Disk;
use super::encode::Encoder;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use ratatui::buffer::Buffer;
use ratatui::crossterm::event::{DisableBracketedPaste, DisableMouseCapture, EnableBracketedPaste, EnableMouseCapture};
use ratatui::crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode};
use ratatui::crossterm::{cursor, execute};
use ratatui::layout::Rect;
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::{panic, thread};

/// Counts the bytes written through it.
#[derive(Debug)]
pub struct Counter<W> {
    inner: W,
    count: Arc<AtomicU64>,
}

impl<W> Counter<W> {
    /// A counter in front of a writer, and its count.
    pub fn new(inner: W) -> (Self, Arc<AtomicU64>) {
        let count = Arc::new(AtomicU64::new(0));
        (Self { inner, count: count.clone() }, count)
    }
}

impl<W: Write> Write for Counter<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.count.fetch_add(written as u64, Ordering::Relaxed);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

/// What the terminal shows, so that only changes are sent. A frame without a change sends nothing at all.
#[derive(Debug)]
pub struct Screen<W> {
    out: W,
    encoder: Encoder,
    bytes: Vec<u8>,
    shown: Buffer,
    next: Buffer,
    known: bool,
}

impl<W: Write> Screen<W> {
    /// A screen of which nothing is known yet.
    pub fn new(out: W) -> Self {
        let empty = || Buffer::empty(Rect::ZERO);
        Self { out, encoder: Encoder::default(), bytes: Vec::new(), shown: empty(), next: empty(), known: false }
    }

    /// Forgets what is shown: the next frame is sent whole.
    pub fn forget(&mut self) {
        self.known = false;
    }

    /// Gives a text to the terminal's clipboard (OSC 52, as in xterm's control sequences), which reaches the user's own machine over
    /// SSH too. Within tmux it is sent as well in the form that tmux hands on unread; which of the two it takes is its setting.
    ///
    /// # Errors
    /// That of the terminal.
    pub fn copy(&mut self, text: &str, tmux: bool) -> io::Result<()> {
        let packed = STANDARD.encode(text);
        write!(self.out, "\x1b]52;c;{packed}\x07")?;
        if tmux {
            write!(self.out, "\x1bPtmux;\x1b\x1b]52;c;{packed}\x07\x1b\\")?;
        }
        self.out.flush()
    }

    /// Shows the state; a frame leaves in one piece.
    ///
    /// # Errors
    /// That of the terminal.
    pub fn show(&mut self, state: &State) -> io::Result<()> {
        let (width, height) = state.size;
        let area = Rect::new(0, 0, width, height);
        self.next.resize(area);
        self.next.reset();
        view::draw(state, &mut self.next);
        self.bytes.clear();
        if !self.known || *self.shown.area() != area {
            self.shown.resize(area);
            self.shown.reset();
            self.encoder.clear(&mut self.bytes);
            self.known = true;
        }
        self.encoder.frame(&self.shown, &self.next, &mut self.bytes);
        if !self.bytes.is_empty() {
            self.out.write_all(&self.bytes)?;
            self.out.flush()?;
            std::mem::swap(&mut self.shown, &mut self.next);
        }
        Ok(())
    }
}

/// Gives the terminal back when it goes.
pub(crate) struct Guard;

/// Takes the terminal, and sees to it that a panic gives it back and keeps the work.
pub(crate) fn guard(disk: &Disk) -> io::Result<Guard> {
    let rescue = disk.rescue();
    let own = thread::current().id();
    let before = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        // A worker's panic is caught where it works and must not touch the screen.
        if thread::current().id() == own {
            restore();
            #[cfg(feature = "audio")]
            crate::sound::stderr_guard::restore();
            rescue.keep();
            before(info);
        }
    }));
    enable_raw_mode()?;
    TAKEN.store(true, Ordering::SeqCst);
    let guard = Guard;
    execute!(io::stdout(), EnterAlternateScreen, EnableMouseCapture, EnableBracketedPaste, cursor::Hide)?;
    Ok(guard)
}

impl Drop for Guard {
    fn drop(&mut self) {
        restore();
    }
}

/// Whether the terminal is ours and has to be given back.
static TAKEN: AtomicBool = AtomicBool::new(false);

fn restore() {
    // Once only: a second time would put the cursor back over what a panic has printed.
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    // The terminal may be gone; there is nothing left to do then.
    drop(execute!(io::stdout(), DisableBracketedPaste, DisableMouseCapture, LeaveAlternateScreen, cursor::Show));
    drop(disable_raw_mode());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_copied_plainly_and_through_tmux() {
        // "x.x\n" in base64 (RFC 4648) is eC54Cg==.
        let mut screen = Screen::new(Vec::new());
        screen.copy("x.x\n", false).expect("a vector");
        assert_eq!(screen.out, b"\x1b]52;c;eC54Cg==\x07");
        screen.out.clear();
        screen.copy("x.x\n", true).expect("a vector");
        assert_eq!(screen.out, b"\x1b]52;c;eC54Cg==\x07\x1bPtmux;\x1b\x1b]52;c;eC54Cg==\x07\x1b\\");
    }
}
