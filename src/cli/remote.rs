//! `teeter remote`: edits on another host through ssh and plays here; and what the host does for an editor that runs already.

use super::args::RemoteArgs;
use super::{COMMAND_NOT_FOUND, CliError, Exit, user_config};
use crate::config::ConfigPart;
use crate::describe::visible;
use crate::jobs::{SampleFolder, SoundAccess, UserSampleCache};
use crate::rhythm::{Groove, expected};
use crate::sound::SampleRate;
use crate::sound::playback::{self, EventSink, Requests};
use crate::sound::remote::Speaker;
use crate::store::{self, StateFolder, reason};
use crate::terminal::shell::{SocketFile, leave_screen};
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use std::ffi::OsString;
use std::fs::Permissions;
use std::io::{self, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::{Child, Command, ExitStatus};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// Interval between looks whether ssh, or the editor that was joined, has ended.
const POLL_INTERVAL: Duration = Duration::from_millis(100);
/// Exit code of ssh if the connection failed; ssh has said why.
const SSH_FAILED: i32 = 255;

/// A path on the host that nobody can guess or has created before.
fn host_socket() -> Result<String, CliError> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes)
        .map_err(|e| CliError::new(Exit::Output, format!("cannot get random bytes from the operating system: {e}")))?;
    Ok(bytes.iter().fold("/tmp/teeter-".to_owned(), |path, b| path + &format!("{b:02x}")))
}

/// Quotes a word for the host's shell.
fn shell_quote(word: &str) -> String {
    format!("'{}'", word.replace('\'', r"'\''"))
}

/// The arguments of ssh. The user's options follow ours: of an option given twice, ssh uses the first (`ssh_config(5)`).
fn ssh_arguments(args: &RemoteArgs, local_socket: &Path, host_socket: &str) -> Vec<OsString> {
    let join = match args.join {
        Some(Some(pid)) => format!(" --join={pid}"),
        Some(None) => " --join".to_owned(),
        None => String::new(),
    };
    let file = args.file.as_deref().map(|file| format!(" -- {}", shell_quote(file))).unwrap_or_default();
    let command = format!("{} --speaker {}{join}{file}", shell_quote(&args.program), shell_quote(host_socket));
    let mut forward = OsString::from(format!("{host_socket}:"));
    forward.push(local_socket);
    let fixed = ["-t", "-o", "ExitOnForwardFailure=yes", "-R"].map(OsString::from);
    let own = args.ssh_options.iter().cloned();
    fixed.into_iter().chain([forward]).chain(own).chain([args.host.clone().into(), command.into()]).collect()
}

/// Serves one editor after the other until `ended`; returns why the last connection ended.
fn serve(listener: &UnixListener, folder: &Path, output: Option<&str>, ended: &AtomicBool) -> Option<String> {
    let mut files = SampleFolder::new(folder);
    let recordings = files.recordings();
    let start = |requests: Requests, events: EventSink| {
        let file = Some(folder.join("groove.toml"));
        let (mut cache, access) = (UserSampleCache::default(), SoundAccess { file, ..SoundAccess::default() });
        // The editor's host has reported what is wrong with a file, and one that is on its way is not wrong.
        let recordings = recordings.clone();
        let load = move |groove: &Groove, rate: SampleRate| {
            let mut samples = cache.load(groove, &access, rate).0;
            samples.set_recording(recordings.source(groove, &access));
            (samples, Vec::new())
        };
        playback::spawn(requests, output.map(str::to_owned), Box::new(load), events)
    };
    let read = |text: &str| store::parse(text, "").ok().map(|loaded| loaded.groove);
    let mut speaker = Speaker { files: &mut files, read, start: &start };
    let mut why = None;
    for stream in listener.incoming() {
        if ended.load(Ordering::Relaxed) {
            break;
        }
        match stream {
            Ok(stream) => why = Some(speaker.serve(&stream)),
            // Out of file descriptors, for example; that passes.
            Err(_) => thread::sleep(POLL_INTERVAL),
        }
    }
    why
}

/// Waits for ssh, and ends it if this process is to end.
fn wait(ssh: &mut Child) -> io::Result<ExitStatus> {
    let (interrupted, terminated) = (Arc::<AtomicBool>::default(), Arc::<AtomicBool>::default());
    // ssh has the terminal and handles what is typed there.
    signal_hook::flag::register(SIGINT, interrupted)?;
    for signal in [SIGTERM, SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&terminated))?;
    }
    loop {
        if let Some(status) = ssh.try_wait()? {
            return Ok(status);
        }
        if terminated.load(Ordering::Relaxed) {
            ssh.kill()?;
        }
        thread::sleep(POLL_INTERVAL);
    }
}

/// Runs ssh and plays what the editor on the host asks for.
pub(super) fn run(args: &RemoteArgs) -> Result<Exit, CliError> {
    if !cfg!(feature = "audio") {
        return Err(CliError::usage(
            "this teeter was built without audio output and cannot be a remote speaker; its editor can still play through one",
        ));
    }
    let output = user_config(ConfigPart::Sound)?.output;
    let private = Permissions::from_mode(0o700);
    let folder = tempfile::Builder::new().prefix("teeter-").permissions(private).tempdir()?;
    let here = folder.path().join("speaker");
    let listener = UnixListener::bind(&here)?;
    let arguments = ssh_arguments(args, &here, &host_socket()?);
    let mut ssh = Command::new("ssh").args(arguments).spawn().map_err(|e| {
        CliError::new(Exit::Output, format!("cannot run ssh ({}); install an OpenSSH client", reason(&e)))
    })?;
    let ended = AtomicBool::new(false);
    let (status, why) = thread::scope(|scope| {
        let served = scope.spawn(|| serve(&listener, folder.path(), output.as_deref(), &ended));
        let status = wait(&mut ssh);
        ended.store(true, Ordering::Relaxed);
        // Wakes the thread that waits for connections.
        drop(UnixStream::connect(&here));
        (status, served.join().ok().flatten())
    });
    match status?.code() {
        Some(0) => Ok(Exit::Success),
        Some(COMMAND_NOT_FOUND) => Err(CliError::usage(format!(
            "{}: {}: command not found in a non-interactive SSH session; give its path with --program",
            args.host, args.program
        ))),
        Some(SSH_FAILED) | None => Err(connection_error(args, why)),
        Some(1) => Ok(Exit::BadGroove),
        Some(2) => Ok(Exit::Usage),
        Some(_) => Ok(Exit::Output),
    }
}

/// What to say when ssh failed; `why` the connection to an editor ended, if there was one.
fn connection_error(args: &RemoteArgs, why: Option<String>) -> CliError {
    let host = &args.host;
    let message = match (why, args.join) {
        (None, _) => format!("cannot connect to {host}"),
        (Some(why), Some(_)) => format!("the connection to {host} was lost ({why}); the editor there is still running"),
        (Some(why), None) => {
            leave_screen();
            format!(
                "the connection to {host} was lost ({why}); unsaved changes are kept there, and offered when the groove is \
                 opened again"
            )
        }
    };
    CliError::new(Exit::Output, message)
}

/// On the host: hands the socket to an editor that runs, and waits until it is not used any more.
pub(super) fn join(socket: &Path, pid: Option<u32>) -> Result<Exit, CliError> {
    let _removed_at_end = SocketFile::new(socket).map_err(CliError::usage)?;
    let folder =
        StateFolder::of_user().ok_or_else(|| CliError::usage("cannot look for running editors: no home folder"))?;
    let editors = folder.running_editors();
    let list = || editors.iter().map(|e| format!("{} ({})", e.pid, e.groove)).collect::<Vec<_>>().join(", ");
    let editor = match (pid, editors.as_slice()) {
        (_, []) => {
            return Err(CliError::usage("no running editor found on this host; start one over SSH first"));
        }
        (None, [editor]) => editor,
        (None, _) => {
            return Err(CliError::usage(format!(
                "several editors are running on the host; choose one with --join=PID: {}",
                list()
            )));
        }
        (Some(pid), _) => editors.iter().find(|e| e.pid == pid).ok_or_else(|| {
            let error = expected("the process ID of an editor running on the host", pid);
            CliError::usage(format!("{error}; running editors: {}", list()))
        })?,
    };
    if !folder.offer_socket(editor.pid, &socket.to_string_lossy()) {
        return Err(CliError::new(Exit::Output, "cannot write to the state folder"));
    }
    let groove = visible(&editor.groove);
    writeln!(io::stdout(), "Playing the sound of {groove} (editor {}); press Ctrl-C to stop.", editor.pid)?;
    // The editor removes the socket when it has lost it or ends; not if it is killed.
    while socket.exists() && folder.is_editor_running(editor.pid) {
        thread::sleep(POLL_INTERVAL);
    }
    Ok(Exit::Success)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ssh_gets_a_forward_to_a_fresh_socket_and_a_quoted_command() {
        let args = RemoteArgs {
            host: "isle".into(),
            file: Some("the pilot's riff.toml".into()),
            join: None,
            program: "teeter".into(),
            ssh_options: vec!["-p".into(), "2222".into()],
        };
        let (one, other) = (host_socket().expect("a path"), host_socket().expect("a path"));
        assert!(one != other && one.starts_with("/tmp/teeter-") && one.len() == "/tmp/teeter-".len() + 32, "{one}");
        let arguments = ssh_arguments(&args, Path::new("/run/s"), "/tmp/x");
        let command = r"'teeter' --speaker '/tmp/x' -- 'the pilot'\''s riff.toml'";
        let wanted = ["-t", "-o", "ExitOnForwardFailure=yes", "-R", "/tmp/x:/run/s", "-p", "2222", "isle", command];
        assert_eq!(arguments, wanted);
        for (join, ending) in [(None, " --join"), (Some(7), " --join=7")] {
            let args = RemoteArgs {
                file: None,
                join: Some(join),
                program: "teeter".into(),
                host: "isle".into(),
                ssh_options: vec![],
            };
            let arguments = ssh_arguments(&args, Path::new("/run/s"), "/tmp/x");
            let command = arguments.last().expect("a command").to_string_lossy().into_owned();
            assert_eq!(command, format!("'teeter' --speaker '/tmp/x'{ending}"));
        }
    }
}
