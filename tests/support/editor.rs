//! Runs the program in a pseudo-terminal: keys in, screen and files out.

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::fs;
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
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
        self.sends(keys.as_bytes());
    }

    pub(crate) fn sends(&mut self, bytes: &[u8]) {
        self.keys.write_all(bytes).expect("takes keys");
        self.keys.flush().expect("takes keys");
    }

    /// Waits until the terminal is as it was before the start.
    pub(crate) fn until_restored(&mut self) {
        while !self.is_restored() {
            let bytes = self.bytes.recv_timeout(TIMEOUT).unwrap_or_else(|e| panic!("{e}:\n{}", self.text()));
            self.screen.process(&bytes);
        }
    }

    /// Waits until the process is stopped (`proc_pid_stat(5)`: state `T`).
    pub(crate) fn until_stopped(&self) {
        let stat = format!("/proc/{}/stat", self.child.process_id().expect("runs"));
        let end = Instant::now() + TIMEOUT;
        while !fs::read_to_string(&stat).is_ok_and(|text| text.contains(") T ")) {
            assert!(Instant::now() < end, "is not stopped");
            thread::sleep(Duration::from_millis(5));
        }
    }

    fn is_restored(&self) -> bool {
        let screen = self.screen.screen();
        let no_mouse = screen.mouse_protocol_mode() == vt100::MouseProtocolMode::None;
        no_mouse && !screen.alternate_screen() && !screen.hide_cursor()
    }

    pub(crate) fn resize(&mut self, columns: u16, lines: u16) {
        self.master.resize(window(columns, lines)).expect("a size");
        self.screen.screen_mut().set_size(size(lines), size(columns));
    }

    /// Sends a signal, named as in POSIX without its `SIG`.
    pub(crate) fn signal(&self, name: &str) {
        let pid = self.child.process_id().expect("runs");
        // The shell's own kill: a bare system has no program of that name.
        let kill = std::process::Command::new("sh").args(["-c", &format!("kill -{name} {pid}")]).status();
        assert!(kill.expect("a shell").success());
    }

    /// Ends the process without giving it a chance; returns the screen with all that was drawn.
    pub(crate) fn kill(mut self) -> String {
        self.signal("KILL");
        self.child.wait().expect("a child");
        while let Ok(bytes) = self.bytes.recv_timeout(TIMEOUT) {
            self.screen.process(&bytes);
        }
        self.screen.screen().contents()
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
        // The reader ends with the terminal.
        while let Ok(bytes) = self.bytes.recv_timeout(TIMEOUT) {
            self.screen.process(&bytes);
        }
        End { code: status.exit_code(), restored: self.is_restored(), text: self.text() }
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

/// The journals in a home directory.
pub(crate) fn journal(home: &Path) -> Vec<PathBuf> {
    let files = fs::read_dir(home.join(".local/state/teeter")).map(|d| d.flatten().collect::<Vec<_>>());
    let paths = files.unwrap_or_default().into_iter().map(|f| f.path());
    paths.filter(|p| p.extension().is_some_and(|e| e == "journal")).collect()
}
