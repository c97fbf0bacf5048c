//! Runs the program in a pseudo-terminal: keys in, screen and files out.

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::fs;
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

/// Maximum wait for anything, much longer than necessary.
const TIMEOUT: Duration = Duration::from_secs(20);

pub(crate) struct Editor {
    pub(crate) child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    bytes: Receiver<Vec<u8>>,
    screen: vt100::Parser,
    master: Box<dyn MasterPty + Send>,
}

fn size(n: u16) -> NonZero<u16> {
    NonZero::new(n).expect("not zero")
}

fn window(columns: u16, lines: u16) -> PtySize {
    PtySize { rows: lines, cols: columns, pixel_width: 0, pixel_height: 0 }
}

impl Editor {
    /// Opens the editor in a window of 80 x 24, with a home directory of its own.
    pub(crate) fn open(home: &Path, file: Option<&Path>) -> Self {
        let pair = native_pty_system().openpty(window(80, 24)).expect("a terminal");
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_teeter"));
        command.env_clear();
        command.env("HOME", home);
        command.env("TERM", "xterm-256color");
        command.env("LANG", "C.UTF-8");
        command.cwd(home);
        if let Some(file) = file {
            command.arg(file);
        }
        let child = pair.slave.spawn_command(command).expect("starts");
        let mut reader = pair.master.try_clone_reader().expect("readable");
        let keys = pair.master.take_writer().expect("writable");
        let (sender, bytes) = channel();
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(n @ 1..) = reader.read(&mut buffer) {
                if sender.send(buffer[..n].to_vec()).is_err() {
                    return;
                }
            }
        });
        let screen = vt100::Parser::new(size(24), size(80), 0);
        Self { child, keys, bytes, screen, master: pair.master }
    }

    pub(crate) fn text(&self) -> String {
        self.screen.screen().contents()
    }

    /// Waits until the screen passes a test; returns its text.
    pub(crate) fn until(&mut self, what: &str, test: impl Fn(&str) -> bool) -> String {
        let end = Instant::now() + TIMEOUT;
        while !test(&self.text()) {
            let left = end.saturating_duration_since(Instant::now());
            match self.bytes.recv_timeout(left) {
                Ok(bytes) => self.screen.process(&bytes),
                Err(error) => panic!("{error}: no '{what}' on\n{}", self.text()),
            }
        }
        self.text()
    }

    /// Waits until the screen shows a text; returns all of it.
    pub(crate) fn shows(&mut self, words: &str) -> String {
        self.until(words, |text| text.contains(words))
    }

    /// Waits until the program sends nothing for a while.
    pub(crate) fn settles(&mut self) {
        while let Ok(bytes) = self.bytes.recv_timeout(Duration::from_millis(150)) {
            self.screen.process(&bytes);
        }
    }

    pub(crate) fn types(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("takes keys");
        self.keys.flush().expect("takes keys");
    }

    pub(crate) fn resize(&mut self, columns: u16, lines: u16) {
        self.master.resize(window(columns, lines)).expect("a size");
        self.screen.screen_mut().set_size(size(lines), size(columns));
    }

    pub(crate) fn wait(mut self) -> End {
        let end = Instant::now() + TIMEOUT;
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                break status;
            }
            assert!(Instant::now() < end, "does not end:\n{}", self.text());
            while let Ok(bytes) = self.bytes.recv_timeout(Duration::from_millis(20)) {
                self.screen.process(&bytes);
            }
        };
        self.settles();
        let screen = self.screen.screen();
        let no_mouse = screen.mouse_protocol_mode() == vt100::MouseProtocolMode::None;
        let restored = no_mouse && !screen.alternate_screen() && !screen.hide_cursor();
        End { code: status.exit_code(), restored, text: self.text() }
    }

    /// Waits for the end, which must be successful and restore the terminal.
    pub(crate) fn assert_ends(self) {
        let end = self.wait();
        assert!(end.code == 0 && end.restored, "{end:?}");
    }
}

/// How the program ended.
#[derive(Debug)]
pub(crate) struct End {
    pub(crate) code: u32,
    /// Whether it left raw mode and the alternate screen.
    pub(crate) restored: bool,
    pub(crate) text: String,
}

/// The files of the journal in a home directory.
pub(crate) fn journal(home: &Path) -> Vec<String> {
    let folder = home.join(".local/state/teeter");
    let files = fs::read_dir(folder).map(|d| d.flatten().collect::<Vec<_>>()).unwrap_or_default();
    files.iter().map(|f| fs::read_to_string(f.path()).expect("text")).collect()
}
