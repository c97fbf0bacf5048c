//! The program on a terminal, through a PTY: keys in, the screen out. It must not know the rooms.

use crate::support::in_package;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Longest wait for something that must come; nothing is measured by it.
const PATIENCE: Duration = Duration::from_secs(20);

fn cells(n: u16) -> std::num::NonZero<u16> {
    std::num::NonZero::new(n).expect("a screen has cells")
}

struct Terminal {
    child: Box<dyn Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    keys: Box<dyn Write + Send>,
    bytes: Receiver<Vec<u8>>,
    screen: vt100::Parser,
}

impl Terminal {
    fn open(words: &[&str], home: &Path, (columns, lines): (u16, u16)) -> Self {
        let size = PtySize { rows: lines, cols: columns, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a PTY");
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_teeter"));
        command.args(words);
        command.cwd(home);
        command.env("TERM", "xterm-256color");
        command.env("LANG", "C.UTF-8");
        command.env("HOME", home);
        command.env("XDG_STATE_HOME", home.join("state"));
        command.env("XDG_CONFIG_HOME", home.join("config"));
        // No sound server: the editor must do without.
        command.env("PULSE_SERVER", "unix:/nowhere");
        let child = pair.slave.spawn_command(command).expect("the program");
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let (sender, bytes) = channel();
        std::thread::spawn(move || {
            let mut block = [0; 4096];
            while let Ok(n) = reader.read(&mut block) {
                if n == 0 || sender.send(block[..n].to_vec()).is_err() {
                    break;
                }
            }
        });
        let keys = pair.master.take_writer().expect("a writer");
        let screen = vt100::Parser::new(cells(lines), cells(columns), 0);
        Self { child, master: pair.master, keys, bytes, screen }
    }

    fn keys(&mut self, text: &str) {
        self.keys.write_all(text.as_bytes()).expect("the program reads keys");
        self.keys.flush().expect("the program reads keys");
    }

    fn text(&self) -> String {
        self.screen.screen().contents()
    }

    fn take(&mut self, wait: Duration) -> bool {
        match self.bytes.recv_timeout(wait) {
            Ok(bytes) => {
                self.screen.process(&bytes);
                true
            }
            Err(_) => false,
        }
    }

    /// Waits until the program has nothing more to say.
    fn settle(&mut self) {
        while self.take(Duration::from_millis(150)) {}
    }

    /// Waits until the screen shows what is looked for.
    fn until(&mut self, what: &str, test: impl Fn(&str) -> bool) -> String {
        let start = Instant::now();
        while !test(&self.text()) {
            assert!(start.elapsed() < PATIENCE, "no {what} on the screen:\n{}", self.text());
            self.take(Duration::from_millis(50));
        }
        self.text()
    }

    fn shows(&mut self, words: &str) -> String {
        self.until(words, |text| text.contains(words))
    }

    fn resize(&mut self, columns: u16, lines: u16) {
        self.master.resize(PtySize { rows: lines, cols: columns, pixel_width: 0, pixel_height: 0 }).expect("a size");
        self.screen.screen_mut().set_size(cells(lines), cells(columns));
    }

    /// Waits for the program's end and gives its exit code.
    fn end(&mut self) -> u32 {
        let start = Instant::now();
        loop {
            while self.take(Duration::from_millis(20)) {}
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.exit_code();
            }
            assert!(start.elapsed() < PATIENCE, "the program does not end:\n{}", self.text());
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
    }
}

const ENTER: &str = "\r";
const SAVE: &str = "\x13";
const QUIT: &str = "\x11";

#[test]
fn from_an_empty_groove_to_a_saved_one_and_back_by_keys_alone() {
    let home = tempfile::tempdir().expect("a home");
    let mut t = Terminal::open(&["riff.toml"], home.path(), (80, 24));
    t.shows("riff");
    t.keys("T150\r");
    t.shows("= 150");
    // Four bars of sixteenths: 16 cells each.
    t.keys("445445445445");
    t.keys("444");
    t.shows("4(4+4+5)+3(4)");
    t.until("the hearing near 138", |s| s.contains("138.") || s.contains("139.") || s.contains("140."));
    t.keys("nkick\r");
    t.shows("kick");
    t.keys("\x1b[H");
    t.keys("8888");
    t.keys(ENTER);
    t.until("playing or the reason why not", |s| s.contains("no sound") || s.contains("playing"));
    t.keys(SAVE);
    t.shows("(saved)");
    t.keys(QUIT);
    assert_eq!(t.end(), 0);

    let file = home.path().join("riff.toml");
    let explained = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(["explain", "--json", "riff.toml"])
        .current_dir(home.path())
        .output()
        .expect("explain");
    let value: serde_json::Value = serde_json::from_slice(&explained.stdout).expect("JSON");
    assert_eq!(value["layers"][1]["name"], "kick");
    let mut t = Terminal::open(&[file.to_str().expect("a path")], home.path(), (80, 24));
    let first = &value["hearings"][0];
    let bpm = format!("{:.1}", first["bpm"].as_f64().expect("a tempo"));
    let screen = t.shows(&bpm);
    let score = format!("{:.0}", first["score"].as_f64().expect("a score"));
    let share = format!("{:.0}%", first["share"].as_f64().expect("a share") * 100.0);
    let line = screen.lines().find(|l| l.contains(&bpm) && l.contains("ms")).expect("the first hearing's line");
    for figure in [&score, &share, &first["kind"].as_str().expect("a kind").to_owned()] {
        assert!(line.contains(figure.as_str()), "{figure} in {line}");
    }
    for row in value["layers"][0]["landings"].as_array().expect("landings") {
        let (depth, count) = (row["depth"].as_str().expect("a depth"), row["count"].to_string());
        assert!(screen.lines().any(|l| l.contains(depth) && l.contains(&count)), "{depth} {count} in\n{screen}");
    }
    t.keys(QUIT);
    assert_eq!(t.end(), 0);
}

#[test]
fn any_window_size_is_taken_and_the_terminal_is_given_back() {
    let home = tempfile::tempdir().expect("a home");
    let demo = in_package("patterns/half-tide-winch.toml");
    let mut t = Terminal::open(&[demo.to_str().expect("a path")], home.path(), (80, 24));
    t.shows("Half-Tide Winch");
    for size in [(1, 1), (20, 5), (200, 60), (60, 18), (3, 50), (80, 24)] {
        t.resize(size.0, size.1);
        t.settle();
        t.keys("?");
        t.settle();
        t.keys("\x1b");
        t.settle();
    }
    t.shows("Half-Tide Winch");
    t.keys(QUIT);
    assert_eq!(t.end(), 0);
    assert!(!t.screen.screen().alternate_screen(), "the first screen is back");
    assert!(!t.screen.screen().hide_cursor(), "the cursor is back");
}

#[cfg(unix)]
#[test]
fn a_signal_gives_the_terminal_back_and_keeps_the_work() {
    let home = tempfile::tempdir().expect("a home");
    let mut t = Terminal::open(&["lost.toml"], home.path(), (80, 24));
    t.shows("riff");
    t.keys("3323");
    t.shows("3+3+2+");
    let id = t.child.process_id().expect("a process").to_string();
    assert!(std::process::Command::new("kill").args(["-TERM", &id]).status().expect("kill").success());
    t.end();
    assert!(!t.screen.screen().alternate_screen(), "the first screen is back");
    let mut t = Terminal::open(&["lost.toml"], home.path(), (80, 24));
    t.shows("3+3+2+");
}

#[test]
fn a_wrong_file_is_reported_on_the_plain_terminal() {
    let home = tempfile::tempdir().expect("a home");
    std::fs::write(home.path().join("wrong.toml"), "format = 1\ntitle = 3\n").expect("a file");
    let mut t = Terminal::open(&["wrong.toml"], home.path(), (80, 24));
    assert_eq!(t.end(), 1);
    assert!(t.text().contains("wrong.toml:2:9: found"), "{}", t.text());
}
