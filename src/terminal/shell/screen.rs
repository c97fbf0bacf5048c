//! Enters and leaves raw mode, and sends the changes of each frame to the terminal.

use crate::terminal::view::KeptBlocks;
use crate::terminal::{State, view};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::buffer::{Buffer, Cell};
use ratatui::crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use ratatui::crossterm::style::Print;
use ratatui::crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode};
use ratatui::crossterm::{cursor, execute};
use ratatui::layout::Rect;
use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::{panic, thread};
use unicode_width::UnicodeWidthStr;

/// Maximum unchanged cells between two changed ones that are sent again, since moving the cursor takes as many bytes.
const MAX_GAP: u16 = 6;

/// Adds the cells of short gaps, if no change of style is needed for them.
fn with_short_gaps<'a>(changes: Vec<(u16, u16, &'a Cell)>, next: &'a Buffer) -> Vec<(u16, u16, &'a Cell)> {
    let mut filled: Vec<(u16, u16, &Cell)> = Vec::with_capacity(changes.len());
    for (x, y, cell) in changes {
        if let Some(&(last_x, last_y, last)) = filled.last()
            && last_y == y
            && (1..=MAX_GAP).contains(&x.saturating_sub(last_x + 1))
            && last.symbol().width() == 1
        {
            let gap = (last_x + 1..x).map(|x| (x, y, &next[(x, y)]));
            if gap.clone().all(|(_, _, c)| c.symbol().len() == 1 && c.style() == last.style()) {
                filled.extend(gap);
            }
        }
        filled.push((x, y, cell));
    }
    filled
}

/// Sends the cells that changed since the last frame.
#[derive(Debug)]
pub struct Screen<W> {
    out: W,
    bytes: Vec<u8>,
    current: Buffer,
    next: Buffer,
    kept: KeptBlocks,
    /// Whether the terminal shows `current`.
    is_known: bool,
}

impl<W: Write> Screen<W> {
    /// A screen whose contents are unknown.
    pub fn new(out: W) -> Self {
        let empty = || Buffer::empty(Rect::ZERO);
        Self { out, bytes: Vec::new(), current: empty(), next: empty(), kept: KeptBlocks::default(), is_known: false }
    }

    /// Makes the next frame redraw the whole screen.
    pub(crate) fn invalidate(&mut self) {
        self.is_known = false;
    }

    /// Copies a text to the terminal's clipboard (OSC 52, as in xterm's control sequences), which also works over SSH. Within tmux
    /// the text is sent in tmux's passthrough form as well; tmux's settings decide which one it takes.
    pub(crate) fn copy(&mut self, text: &str, tmux: bool) -> io::Result<()> {
        let encoded = STANDARD.encode(text);
        write!(self.out, "\x1b]52;c;{encoded}\x07")?;
        if tmux {
            write!(self.out, "\x1bPtmux;\x1b\x1b]52;c;{encoded}\x07\x1b\\")?;
        }
        self.out.flush()
    }

    /// Draws the state and sends the changes in one write.
    ///
    /// # Errors
    /// The error of the writer.
    pub fn show(&mut self, state: &State) -> io::Result<()> {
        let (width, height) = state.view.size;
        let area = Rect::new(0, 0, width, height);
        self.next.resize(area);
        self.next.reset();
        view::draw(state, &mut self.next, &mut self.kept);
        self.bytes.clear();
        let mut backend = CrosstermBackend::new(&mut self.bytes);
        if !self.is_known || *self.current.area() != area {
            self.current.resize(area);
            self.current.reset();
            backend.clear()?;
            self.is_known = true;
        }
        let changes = with_short_gaps(self.current.diff(&self.next), &self.next);
        if !changes.is_empty() {
            backend.draw(changes.into_iter())?;
        }
        if !self.bytes.is_empty() {
            self.out.write_all(&self.bytes)?;
            self.out.flush()?;
            std::mem::swap(&mut self.current, &mut self.next);
        }
        Ok(())
    }
}

/// Restores the terminal when it is dropped.
pub(crate) struct TerminalGuard;

/// Enters raw mode; a panic restores the terminal, too.
pub(crate) fn enter_guarded() -> io::Result<TerminalGuard> {
    let main_thread = thread::current().id();
    let default_hook = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        // Workers catch their own panics, which must not touch the screen.
        if thread::current().id() == main_thread {
            restore();
            #[cfg(feature = "audio")]
            crate::sound::stderr_guard::restore();
            default_hook(info);
        }
    }));
    let guard = TerminalGuard;
    enter()?;
    Ok(guard)
}

/// Mouse reports of buttons and of motion while one is held, in the form for all window sizes (xterm's control sequences).
const MOUSE_ON: &str = "\x1b[?1000h\x1b[?1002h\x1b[?1006h";
const MOUSE_OFF: &str = "\x1b[?1006l\x1b[?1002l\x1b[?1000l";

fn enter() -> io::Result<()> {
    enable_raw_mode()?;
    RAW_MODE.store(true, Ordering::SeqCst);
    execute!(io::stdout(), EnterAlternateScreen, Print(MOUSE_ON), EnableBracketedPaste, cursor::Hide)
}

/// Asks the terminal for its background. The reply comes with the input, or never.
pub(crate) fn ask_background() -> io::Result<()> {
    execute!(io::stdout(), Print(super::input::BACKGROUND_QUERY))
}

/// Gives the terminal back and stops the process until it is continued.
pub(crate) fn suspend() -> io::Result<()> {
    restore();
    signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP)
}

/// Takes the terminal again after the process was stopped. The shell may have changed its modes.
pub(crate) fn resume() -> io::Result<()> {
    disable_raw_mode()?;
    enter()
}

impl Drop for TerminalGuard {
    fn drop(&mut self) {
        restore();
    }
}

/// Whether the terminal is in raw mode and must be restored.
static RAW_MODE: AtomicBool = AtomicBool::new(false);

fn restore() {
    // Only once: a second time would move the cursor back over the panic message.
    if RAW_MODE.swap(false, Ordering::SeqCst) {
        leave_screen();
        drop(disable_raw_mode());
    }
}

/// Undoes what an editor has switched on in this terminal, also one on another host whose connection was lost.
pub(crate) fn leave_screen() {
    // The terminal may be gone.
    drop(execute!(io::stdout(), DisableBracketedPaste, Print(MOUSE_OFF), LeaveAlternateScreen, cursor::Show));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
    use crate::terminal::input::key::{Key, ch, key};
    use crate::terminal::{Colours, Event, Keymap, Theme, update};
    use ratatui::crossterm::event::{KeyCode, KeyEvent};
    use ratatui::style::Modifier;

    #[test]
    fn copies_a_text_plainly_and_through_tmux() {
        // "x.x\n" in base64 (RFC 4648) is eC54Cg==.
        let mut screen = Screen::new(Vec::new());
        screen.copy("x.x\n", false).expect("a vector");
        assert_eq!(screen.out, b"\x1b]52;c;eC54Cg==\x07");
        screen.out.clear();
        screen.copy("x.x\n", true).expect("a vector");
        assert_eq!(screen.out, b"\x1b]52;c;eC54Cg==\x07\x1bPtmux;\x1b\x1b]52;c;eC54Cg==\x07\x1b\\");
    }

    /// An independent terminal emulator (the crate vt100) that was fed the bytes shows the cells that were drawn.
    fn assert_shows(parser: &vt100::Parser, buffer: &Buffer) {
        for position in buffer.area().positions() {
            let want = &buffer[position];
            let got = parser.screen().cell(position.y, position.x).expect("a cell");
            if got.is_wide_continuation() {
                continue;
            }
            let text = if got.contents().is_empty() { " " } else { got.contents() };
            assert_eq!(text, want.symbol(), "{position}");
            assert_eq!(got.inverse(), want.modifier.contains(Modifier::REVERSED), "{position}");
            assert_eq!(got.underline(), want.modifier.contains(Modifier::UNDERLINED), "{position}");
            assert_eq!(got.bold(), want.modifier.contains(Modifier::BOLD), "{position}");
        }
    }

    /// An edit reaches a terminal over SSH in one TCP segment: 1,460 bytes on Ethernet (RFC 879, RFC 894).
    #[test]
    fn a_terminal_shows_every_frame_and_an_edit_fits_one_segment() {
        let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
        let groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 4).expect("groove");
        let theme = Theme { colours: Colours::Many, ascii: false, ..Theme::default() };
        let (width, height) = (120, 40);
        let mut state = State::new(groove, None, Keymap::default(), theme, (width, height));
        let size = |n| std::num::NonZero::new(n).expect("not zero");
        let mut parser = vt100::Parser::new(size(height), size(width), 0);
        let mut screen = Screen::new(Vec::new());
        screen.show(&state).expect("a vector");
        let rename: Vec<Key> = "R漢字".chars().map(ch).chain([key(KeyCode::Enter)]).collect();
        let edits: Vec<Key> = "3323xXo-.?".chars().map(ch).chain([key(KeyCode::Esc)]).collect();
        for key in edits.into_iter().chain(rename) {
            let event = KeyEvent::new(key.code, key.mods);
            drop(update(&mut state, Event::Key(event, None)));
            parser.process(&std::mem::take(&mut screen.out));
            screen.show(&state).expect("a vector");
            let whole_screen = matches!(key.code, KeyCode::Char('?') | KeyCode::Esc);
            assert!(whole_screen || screen.out.len() <= 1400, "{key}: {} bytes", screen.out.len());
            parser.process(&std::mem::take(&mut screen.out));
            assert_shows(&parser, &screen.current);
            screen.show(&state).expect("a vector");
            assert!(screen.out.is_empty(), "the same frame again sends nothing");
        }
    }
}
