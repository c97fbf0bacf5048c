//! The editor in a terminal of its own: keys in, screen and files out. It must not know the rooms' insides.

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::fs;
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

/// Longest wait for anything; far more than it takes.
const PATIENCE: Duration = Duration::from_secs(20);

struct Editor {
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    bytes: Receiver<Vec<u8>>,
    screen: vt100::Parser,
    _master: Box<dyn MasterPty + Send>,
}

fn size(n: u16) -> NonZero<u16> {
    NonZero::new(n).expect("not zero")
}

impl Editor {
    fn open(home: &Path, file: Option<&Path>) -> Self {
        let window = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(window).expect("a terminal");
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
        Self { child, keys, bytes, screen, _master: pair.master }
    }

    /// Waits until the screen shows something.
    fn shows(&mut self, words: &str) {
        let end = Instant::now() + PATIENCE;
        while !self.screen.screen().contents().contains(words) {
            let left = end.saturating_duration_since(Instant::now());
            match self.bytes.recv_timeout(left) {
                Ok(bytes) => self.screen.process(&bytes),
                Err(error) => panic!("{error}: no '{words}' on\n{}", self.screen.screen().contents()),
            }
        }
    }

    fn types(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("takes keys");
        self.keys.flush().expect("takes keys");
    }

    /// Waits for the end; gives whether it went well and whether the terminal was given back.
    fn ends(mut self) -> (bool, bool) {
        let end = Instant::now() + PATIENCE;
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                break status;
            }
            assert!(Instant::now() < end, "does not end:\n{}", self.screen.screen().contents());
            while let Ok(bytes) = self.bytes.recv_timeout(Duration::from_millis(20)) {
                self.screen.process(&bytes);
            }
        };
        while let Ok(bytes) = self.bytes.recv_timeout(Duration::from_millis(200)) {
            self.screen.process(&bytes);
        }
        let screen = self.screen.screen();
        let mouse = screen.mouse_protocol_mode() == vt100::MouseProtocolMode::None;
        (status.success(), mouse && !screen.alternate_screen() && !screen.hide_cursor())
    }
}

fn journal(home: &Path) -> Vec<String> {
    let folder = home.join(".local/state/teeter");
    let files = fs::read_dir(folder).map(|d| d.flatten().collect::<Vec<_>>()).unwrap_or_default();
    files.iter().map(|f| fs::read_to_string(f.path()).expect("text")).collect()
}

#[test]
fn a_riff_is_typed_saved_and_opened_again() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attack yet");
    editor.types("332333");
    editor.shows("3+3+2+3+3+50");
    editor.types("nkick\r44448");
    editor.shows("kick 2.3");
    editor.types("\x13ropes.toml\r");
    editor.shows("saved: ropes.toml");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
    let text = fs::read_to_string(home.path().join("ropes.toml")).expect("saved");
    assert!(text.contains("x--x --x- x--x --x-"), "{text}");
    assert!(text.contains("x--- x--- x--- x--- | x--- ----"), "{text}");
    assert!(journal(home.path()).is_empty());
    let mut editor = Editor::open(home.path(), Some(&home.path().join("ropes.toml")));
    editor.shows("(saved)");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn a_signal_gives_the_terminal_back_and_keeps_the_work() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attack yet");
    editor.types("345");
    editor.shows("3+4+57");
    let pid = editor.child.process_id().expect("runs");
    let killed = std::process::Command::new("kill").args(["-TERM", &pid.to_string()]).status().expect("kill");
    assert!(killed.success());
    assert!(editor.ends().1);
    let kept = journal(home.path());
    assert!(kept.len() == 1 && kept[0].contains("x--x ---x ----"), "{kept:?}");
    // The next start has the work again, and says so.
    let mut editor = Editor::open(home.path(), None);
    editor.shows("work of last time");
    editor.shows("3+4+57");
    editor.types("\x11");
    editor.shows("Not saved.");
    editor.types("y");
    assert_eq!(editor.ends(), (true, true));
    assert!(journal(home.path()).is_empty());
}

#[test]
fn a_file_that_others_change_take_away_or_close_is_told_about_and_nothing_is_lost() {
    let home = tempfile::tempdir().expect("a folder");
    let path = home.path().join("ropes.toml");
    let demo = fs::read_to_string(crate::support::in_package("patterns/half-tide-winch.toml")).expect("a pattern");
    fs::write(&path, &demo).expect("written");
    let mut editor = Editor::open(home.path(), Some(Path::new("ropes.toml")));
    editor.shows("(saved)");
    editor.types("+");
    editor.shows("(not saved)");
    // Changed: no keeps the other's text, yes writes over it.
    fs::write(&path, "format = 1 # another's").expect("written");
    editor.types("\x13");
    editor.shows("was changed by another program. Write over it?");
    editor.types("n");
    editor.shows("not saved; the file is as it was");
    assert_eq!(fs::read_to_string(&path).expect("text"), "format = 1 # another's");
    editor.types("\x13");
    editor.shows("Write over it?");
    editor.types("y");
    editor.shows("saved: ropes.toml");
    assert!(fs::read_to_string(&path).expect("text").contains("Half-Tide Winch"));
    // Taken away: it is written again.
    fs::remove_file(&path).expect("removed");
    editor.types("+");
    editor.shows("(not saved)");
    editor.types("\x13");
    editor.shows("(saved)");
    assert!(path.exists());
    // A folder in its place, and a file that may not be written.
    fs::remove_file(&path).expect("removed");
    fs::create_dir(&path).expect("a folder");
    editor.types("+\x13");
    editor.shows("not saved, this is not a plain file");
    fs::remove_dir(&path).expect("removed");
    fs::write(&path, "").expect("written");
    let mut mode = fs::metadata(&path).expect("a file").permissions();
    mode.set_readonly(true);
    fs::set_permissions(&path, mode).expect("read-only");
    editor.types("\x13");
    editor.shows("not saved, the file is read-only");
    // Under another name that is taken: asked too. A name no folder takes is refused.
    fs::write(home.path().join("other.toml"), "keep").expect("written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("other.toml is there already. Write over it?");
    editor.types("\x1b");
    editor.shows("not saved; the file is as it was");
    assert_eq!(fs::read_to_string(home.path().join("other.toml")).expect("text"), "keep");
    editor.types(&format!("\x17\x15{}\r", "n".repeat(300)));
    editor.shows("not saved, the file could not be written");
    editor.types("\x17\x15other.toml\r");
    editor.shows("Write over it?");
    editor.types("y");
    editor.shows("saved: other.toml");
    assert!(fs::read_to_string(home.path().join("other.toml")).expect("text").contains("Half-Tide Winch"));
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn much_and_strange_text_pasted_is_borne() {
    let home = tempfile::tempdir().expect("a folder");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attack yet");
    let pasted = |text: &str| format!("\x1b[200~{text}\x1b[201~");
    editor.types("g");
    editor.shows("Groups:");
    editor.types(&pasted(&"3+".repeat(50_000)));
    editor.shows("only 2000 characters");
    editor.types("\x15\x03R");
    editor.shows("Name of the layer");
    editor.types(&pasted("wi\0nch\r\n"));
    editor.shows("winch");
    editor.types("\r332");
    editor.shows("Groups of winch");
    editor.shows("3+3+58");
    editor.types("\x11y");
    assert_eq!(editor.ends(), (true, true));
}

#[test]
fn keys_of_the_users_own_and_a_mistake_in_them() {
    let home = tempfile::tempdir().expect("a folder");
    let config = home.path().join(".config/teeter");
    fs::create_dir_all(&config).expect("a folder");
    fs::write(config.join("config.toml"), "[keys]\nquit = \"ctrl-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("no attack yet");
    editor.types("\x05");
    assert_eq!(editor.ends(), (true, true));
    fs::write(config.join("config.toml"), "[keys]\nquit = \"hyper-e\"\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 8");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
    fs::write(config.join("config.toml"), "[hearing]\ncell-limit = 5\n").expect("written");
    let mut editor = Editor::open(home.path(), None);
    editor.shows("line 2, column 14: '5' is no cell limit");
    editor.types("\x11");
    assert_eq!(editor.ends(), (true, true));
}
